"""How is a file read by a mapping? Its raw columns are fitted to the canonical table in the process that reads it."""

from __future__ import annotations

import codecs
from pathlib import Path, PurePath
from types import ModuleType
from typing import Any

import numpy as np

from validator.mapping.account import left_open, said
from validator.mapping.apply import apply
from validator.mapping.model import FILE, SHEET, Layout
from validator.readers.cells import as_text, parse
from validator.readers.named import Named, Unknown
from validator.tables import Budget, ParsedTable, RawTable, TextColumn

_HEAD = 4 * 2**20


def fit(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """The canonical tables of a file; where `look` is asked for, its raw ones after them."""
    layout = Layout.model_validate(request["layout"])
    raw, assumptions, notices = reader.read(path, budget, Named(layout, bool(request.get("look"))))
    texts = [_texts(table) for table in raw]
    for table in texts:
        named = ((SHEET, table.sheet), (FILE, PurePath(request["name"].replace("\\", "/")).name))
        table.columns |= {name: _same(text, len(table.rows)) for name, text in named if name in layout.sources()}
    fitted = [apply(layout, table) for table in texts]
    tables = []
    for one in fitted:
        parsed = parse(one.table)
        parsed.zone = layout.timezone or ""
        tables.append(parsed)
    told: dict[str, Any] = {
        "assumptions": [f"read by the mapping {request['mapping']}", *assumptions, *said(layout, fitted)],
        "notices": [*notices, *left_open(fitted)],
        "set_aside": [[one.rows, one.set_aside] for one in fitted],
    }
    if request.get("look"):
        tables += [_bare(table) for table in texts]
    return tables, told


def look(reader: ModuleType, path: Path, budget: Budget) -> tuple[list[ParsedTable], dict[str, Any]]:
    """Every column of a file of which nothing is known, as text."""
    names = Unknown()
    if reader.__name__.endswith("csv_") and not _is_utf8(path):
        names.encoding = "windows-1252"
    raw, assumptions, notices = reader.read(path, budget, names)
    tables = [_bare(_texts(table)) for table in raw]
    seen: dict[str, Any] = {
        "header_row": names.seen.get("header_row", 1),
        "header_rows": names.seen.get("header_rows", 1),
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
