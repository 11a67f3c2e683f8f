"""Where the data that travels with the program lies: `rules/`, `schemas/` and the demo scenario."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def bundled(folder: str) -> Path:
    """The folder inside the installed package, or beside it in a source tree."""
    inside = _PACKAGE / "bundled" / folder
    return inside if inside.is_dir() else _PACKAGE.parent / folder
