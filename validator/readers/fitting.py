"""How is a file read by a mapping? Its raw columns are fitted to the canonical table in the process that reads it."""

from __future__ import annotations

import codecs
from pathlib import Path, PurePath
from types import ModuleType
from typing import Any

import numpy as np

from validator.mapping.account import left_open, said
from validator.mapping.apply import Fitted, apply
from validator.mapping.model import FILE, SHEET, Layout
from validator.readers.cells import as_text, parse
from validator.readers.named import Named, Unknown
from validator.tables import Budget, ParsedTable, RawTable, TextColumn

_HEAD = 4 * 2**20


class Fit:
    """One file and the layout that it is read by: its tables are fitted one by one, whole or in parts."""

    def __init__(self, request: dict[str, Any]) -> None:
        self.layout = Layout.model_validate(request["layout"])
        self.names = Named(self.layout, bool(request.get("look")))
        self.mapping = request["mapping"]
        self.file = PurePath(request["name"].replace("\\", "/")).name
        self.fitted: list[Fitted] = []

    def in_parts(self, reader: ModuleType) -> bool:
        """Whether the file can be read part by part: nothing in a row hangs on the rows above."""
        return hasattr(reader, "parts") and not self.layout.fill_down

    def texts(self, raw: RawTable) -> RawTable:
        """A raw table as text, with what the layout takes from the names of sheet and file."""
        table = _texts(raw)
        named = (SHEET, table.sheet), (FILE, self.file)
        table.columns |= {n: _same(text, len(table.rows)) for n, text in named if n in self.layout.sources()}
        return table

    def parsed(self, texts: RawTable) -> ParsedTable:
        """The canonical table of it; what was set aside is kept in mind."""
        one = apply(self.layout, texts)
        parsed = parse(one.table)
        parsed.zone = self.layout.timezone or ""
        one.table = RawTable(one.table.sheet, one.table.rows[:0], {})
        self.fitted.append(one)
        return parsed

    def told(self, assumptions: list[str], notices: list[str]) -> dict[str, Any]:
        """What must be told of the file, once all of it has been fitted."""
        return {
            "assumptions": [f"read by the mapping {self.mapping}", *assumptions, *said(self.layout, self.fitted)],
            "notices": [*notices, *left_open(self.fitted)],
            "set_aside": [[one.rows, one.set_aside] for one in self.fitted],
        }


def fit(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """The canonical tables of a file; where `look` is asked for, its raw ones after them."""
    fitting = Fit(request)
    raw, assumptions, notices = reader.read(path, budget, fitting.names)
    texts = [fitting.texts(table) for table in raw]
    tables = [fitting.parsed(table) for table in texts]
    if request.get("look"):
        tables += [_bare(table) for table in texts]
    return tables, fitting.told(assumptions, notices)


def look(reader: ModuleType, path: Path, budget: Budget) -> tuple[list[ParsedTable], dict[str, Any]]:
    """Every column of a file of which nothing is known, as text."""
    names = Unknown()
    if reader.__name__.endswith("csv_") and not _is_utf8(path):
        names.encoding = "windows-1252"
    raw, assumptions, notices = reader.read(path, budget, names)
    tables = [_bare(_texts(table)) for table in raw]
    seen: dict[str, Any] = {
        "header_row": names.seen.get("header_row", 1),
        "records": names.records,
        "lists": list(names.lists),
    }
    seen["encoding"] = names.encoding
    return tables, {"assumptions": assumptions, "notices": notices, "seen": seen}


def _is_utf8(path: Path) -> bool:
    """Whether the first part of a file is UTF-8 text, or says itself that it is something else."""
    with path.open("rb") as file:
        head = file.read(_HEAD)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return True
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return False
    return True


def _same(text: str, size: int) -> TextColumn:
    return TextColumn(np.zeros(size, dtype=np.int32), [text])


def _texts(table: RawTable) -> RawTable:
    columns = {name: as_text(column, len(table.rows)) for name, column in table.columns.items()}
    return RawTable(table.sheet, table.rows, dict(columns), table.defects, table.blank_rows)


def _bare(table: RawTable) -> ParsedTable:
    texts = {name: as_text(column, len(table.rows)) for name, column in table.columns.items()}
    whole = np.zeros(len(table.rows), dtype=bool)
    return ParsedTable(table.sheet, table.rows, texts, {}, {}, {}, whole, list(table.defects), table.blank_rows)
