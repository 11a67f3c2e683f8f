"""Reads a small file in this process, so that a test sees a reader's table and its defects."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path

import pytest

from validator.errors import Unreadable
from validator.readers import READERS, formats
from validator.readers.cells import as_text, parse
from validator.tables import Budget, CellDefect, ParsedTable, RawTable

NAMES = ("store_id", "equipment_id", "step", "started_at", "ended_at", "performed_by")
ROW = ("TL-01", "TL-01-SYR-A", "flush", "2026-03-01T21:40:00", "2026-03-01T21:55:00", "Ana")


@dataclass
class Seen:
    """A file as a reader saw it."""

    format: str
    tables: list[RawTable]
    parsed: list[ParsedTable]
    assumptions: list[str]
    notices: list[str]

    def cells(self, column: str, table: int = 0) -> list[str]:
        raw = self.tables[table]
        text = as_text(raw.columns[column], len(raw.rows))
        return ["" if code < 0 else text.vocabulary[code] for code in text.codes]

    @property
    def rows(self) -> list[int]:
        return [int(row) for table in self.tables for row in table.rows]

    @property
    def defects(self) -> list[CellDefect]:
        return [defect for table in self.parsed for defect in table.defects]

    @property
    def faults(self) -> set[tuple[int, str, str]]:
        """Row, column and code of every defect."""
        return {(d.row, d.column, d.code) for d in self.defects}

    @property
    def lost(self) -> list[int]:
        return [d.row for d in self.defects if d.index < 0]


def see(path: Path, budget: Budget) -> Seen:
    data = path.read_bytes()
    format_ = formats.decide(path.name, data[: formats.HEAD], len(data), lambda start, n: data[start : start + n])
    tables, assumptions, notices = importlib.import_module(READERS[format_]).read(path, budget)
    return Seen(format_, tables, [parse(deepcopy(table)) for table in tables], assumptions, notices)


@pytest.fixture
def reading(tmp_path: Path) -> Callable[..., Seen]:
    """A function that writes bytes or text under a name and reads the file."""

    def read(content: bytes | str, name: str = "log.csv", budget: Budget | None = None) -> Seen:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return see(path, budget or Budget())

    return read


@pytest.fixture
def refusing(reading: Callable[..., Seen]) -> Callable[..., Unreadable]:
    """As `reading`, for a file that must be refused: gives the refusal."""

    def read(content: bytes | str, name: str = "log.csv", budget: Budget | None = None) -> Unreadable:
        with pytest.raises(Unreadable) as caught:
            reading(content, name, budget)
        return caught.value

    return read


@pytest.fixture
def line() -> Callable[..., str]:
    """A function that gives one CSV line of a plausible record, some cells replaced by name."""

    def write(delimiter: str = ",", **cells: str) -> str:
        return delimiter.join(cells.get(name, value) for name, value in zip(NAMES, ROW, strict=True))

    return write


@pytest.fixture
def header() -> str:
    return ",".join(NAMES)
