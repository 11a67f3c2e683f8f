"""Every hostile file by its name: the builders of all formats, and the manifest of what must come of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import yaml

from . import csv_files, json_files, packs, parquet_files, workbooks

BUILDERS: dict[str, Callable[[], bytes]] = {
    **csv_files.FILES, **json_files.FILES, **workbooks.FILES, **parquet_files.FILES, **packs.FILES,
}  # fmt: skip
MANIFEST = Path(__file__).with_name("manifest.yaml")


@dataclass(frozen=True)
class Expected:
    """What must come of one file.

    `outcome` is `accepted`, `defects` or `refused`; `places` are `row:column` (`*`: any column), as its format counts:
    a CSV line, `G3` in a workbook, `[1]` of a list from 0. A refused file has the one place that its sentence names.
    """

    file: str
    outcome: str
    codes: tuple[str, ...] = ()
    rows: int = 0
    places: tuple[str, ...] = ()
    duplicate: int = 0
    blank: int = 0
    says: tuple[str, ...] = ()

    @property
    def is_pack(self) -> bool:
        return self.file.startswith("packs/")


def _entry(given: dict) -> Expected:
    return Expected(**{name: tuple(value) if isinstance(value, list) else value for name, value in given.items()})


EXPECTED = [_entry(entry) for entry in yaml.safe_load(MANIFEST.read_text("utf-8"))]


def write(folder: Path) -> None:
    """Write every file of the corpus into a folder."""
    for name, build in BUILDERS.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(build())
