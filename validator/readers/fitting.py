"""How is a file read by a mapping? Its raw columns are fitted to the canonical table in the process that reads it."""

from __future__ import annotations

import codecs
from pathlib import Path, PurePath
from types import ModuleType
from typing import Any

import numpy as np

from validator.errors import Unreadable
from validator.mapping.account import left_open, said
from validator.mapping.aliases import fold
from validator.mapping.apply import apply
from validator.mapping.model import FILE, SHEET, Layout
from validator.readers.cells import as_text, parse
from validator.readers.headers import NOT_NAMED
from validator.readers.named import Named, Unknown
from validator.tables import Budget, IntArray, Origin, ParsedTable, RawTable, TextColumn

_HEAD = 4 * 2**20


def fit(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """The canonical tables of a file; where `look` is asked for, its raw ones after them."""
    layouts = [Layout.model_validate(one) for one in request["layouts"]]
    if not reader.__name__.endswith("xlsx"):
        layouts = layouts[:1]  # sheets are those of a workbook
    told: dict[str, Any] = {
        "assumptions": [f"read by the mapping {request['mapping']}"],
        "set_aside": [],
        "layouts": [],
    }
    tables: list[ParsedTable] = []
    raw: list[ParsedTable] = []
    notices: list[list[str]] = []
    for number, layout in enumerate(layouts):
        names = Named(layout, bool(request.get("look")), layouts[:number])
        try:
            one = _fit_one(reader, path, request, budget, names)
        except Unreadable:
            last = number + 1 == len(layouts)
            if names.took or (last and not tables):
                raise
            continue  # a workbook without such sheets
        found, texts, assumptions, left, aside = one
        which = ", ".join(repr(table.sheet) for table in found)
        told["assumptions"] += [f"{which}: {text}" for text in assumptions] if len(layouts) > 1 else assumptions
        told["set_aside"] += aside
        told["layouts"] += [number] * len(found)
        tables += found
        raw += texts
        notices.append(left)
    # a sheet that one layout does not name is another's
    told["notices"] = [
        text for text in dict.fromkeys(text for left in notices for text in left)
        if NOT_NAMED not in text or all(text in left for left in notices)
    ]  # fmt: skip
    return tables + (raw if request.get("look") else []), told


def _fit_one(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget, names: Named
) -> tuple[list[ParsedTable], list[ParsedTable], list[str], list[str], list[Any]]:
    """By one layout: its canonical tables, the raw ones, assumptions, notices, and the rows set aside of each."""
    layout = names.layout
    raw, assumptions, notices = reader.read(path, budget, names)
    texts = [_texts(table) for table in raw]
    for table in texts:
        named = ((SHEET, table.sheet), (FILE, PurePath(request["name"].replace("\\", "/")).name))
        table.columns |= {name: _same(text, len(table.rows)) for name, text in named if name in layout.sources()}
    fitted = [apply(layout, table) for table in texts]
    tables = []
    for table, one in zip(texts, fitted, strict=True):
        parsed = parse(one.table)
        parsed.zone = layout.timezone or ""
        parsed.origins, parsed.origin = _origins(layout, table), one.plan
        parsed.entries = {path: numbers[one.at] for path, numbers in _entries(table, names).items()}
        tables.append(parsed)
    aside = [[one.rows, one.set_aside] for one in fitted]
    return (
        tables,
        [_bare(t) for t in texts],
        [*assumptions, *said(layout, fitted)],
        [*notices, *left_open(fitted)],
        aside,
    )


def look(reader: ModuleType, path: Path, budget: Budget) -> tuple[list[ParsedTable], dict[str, Any]]:
    """Every column of a file of which nothing is known, as text."""
    names = Unknown()
    if reader.__name__.endswith("csv_") and not _is_utf8(path):
        names.encoding = "windows-1252"
    raw, assumptions, notices = reader.read(path, budget, names)
    tables = [_bare(_texts(table)) for table in raw]
    seen: dict[str, Any] = {
        "headers": names.seen,
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


def _origins(layout: Layout, table: RawTable) -> list[Origin]:
    """For each step that a row can hold the columns of the file behind the canonical ones."""
    return [
        {
            name: [table.headings.get(source, (source, "")) for source in column.sources]
            for name, column in plan.columns.items()
        }
        for plan in layout.plans()
    ]


def _entries(table: RawTable, names: Named) -> dict[str, IntArray]:
    """For each list that the paths go through, which of its entries every row came from, from 1."""
    found: dict[str, IntArray] = {}
    for name, column in table.columns.items():
        if fold(name) in names.lists and isinstance(column, TextColumn):
            words = [int(word) if word.isdigit() else 0 for word in column.vocabulary]
            found[fold(name)] = np.array([*words, 0], dtype=np.int32)[column.codes]
    return found


def _same(text: str, size: int) -> TextColumn:
    return TextColumn(np.zeros(size, dtype=np.int32), [text])


def _texts(table: RawTable) -> RawTable:
    columns = {name: as_text(column, len(table.rows)) for name, column in table.columns.items()}
    return RawTable(table.sheet, table.rows, dict(columns), table.defects, table.blank_rows, table.headings)


def _bare(table: RawTable) -> ParsedTable:
    texts = {name: as_text(column, len(table.rows)) for name, column in table.columns.items()}
    whole = np.zeros(len(table.rows), dtype=bool)
    return ParsedTable(table.sheet, table.rows, texts, {}, {}, {}, whole, list(table.defects), table.blank_rows)
