"""The corpus, written once, and one audit of all its record files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from . import corpus
from .measured import Ran, command

REGISTER = """\
stores:
  - store_id: LK-0301
    timezone: Europe/Berlin
    equipment: [{equipment_id: TL-01-SYR-A, lines: [line-1]}]
"""


@pytest.fixture(scope="session")
def files(tmp_path_factory) -> Path:
    """The folder with every file of the corpus and a register."""
    folder: Path = tmp_path_factory.mktemp("hostile")
    corpus.write(folder)
    (folder / "register.yaml").write_text(REGISTER, "utf-8")
    return folder


@pytest.fixture(scope="session")
def audit(files) -> Callable[..., Ran]:
    """A function that audits files of the corpus by the sound pack."""

    def run(*names: str) -> Ran:
        return command(files, ["check", *names, "--rules", "packs/pack_ok.yaml", "--register", "register.yaml",
                               "--as-of", "2026-12-31", "--format", "json"])  # fmt: skip

    return run


@pytest.fixture(scope="session")
def whole(audit) -> Ran:
    """One audit of every record file."""
    return audit(*(e.file for e in corpus.EXPECTED if not e.is_pack))
