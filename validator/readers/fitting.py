"""How is a file read by a mapping? Its raw columns are fitted to the canonical table in the process that reads it."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path, PurePath
from types import ModuleType
from typing import Any

import numpy as np

from validator.errors import Unreadable
from validator.mapping.account import left_open, said
from validator.mapping.aliases import fold
from validator.mapping.apply import Fitted, apply
from validator.mapping.model import FILE, SHEET, Layout
from validator.readers.cells import as_text, parse
from validator.readers.headers import NOT_NAMED
from validator.readers.named import Named, Unknown
from validator.tables import Budget, IntArray, Origin, ParsedTable, RawTable, TextColumn

_HEAD = 4 * 2**20


class Fit:
    """One file and one layout that it is read by: its tables are fitted one by one, whole or in parts.

    Sheets that a layout `before` takes are left to it; with `every`, columns that the layout leaves aside are read as well.
    """

    def __init__(self, layout: Layout, name: str, every: bool = False, before: Sequence[Layout] = ()) -> None:
        self.layout = layout
        self.names = Named(layout, every, before)
        self.file = PurePath(name.replace("\\", "/")).name
        self.fitted: list[Fitted] = []

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
        parsed.origins, parsed.origin = _origins(self.layout, texts), one.plan
        parsed.entries = {path: numbers[one.at] for path, numbers in _entries(texts, self.names).items()}
        self.fitted.append(one.without_rows())
        return parsed

    def told(self, assumptions: Sequence[str], notices: Sequence[str]) -> tuple[list[str], list[str]]:
        """The assumptions and notices of the file, once all of it has been fitted."""
        return [*assumptions, *said(self.layout, self.fitted)], [*notices, *left_open(self.fitted)]

    def set_aside(self) -> list[Any]:
        """Of each table the number of its rows, and of those set aside by reason."""
        return [[one.rows, one.set_aside] for one in self.fitted]


def fit(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """The canonical tables of a file; where `look` is asked for, its raw ones after them."""
    layouts = _layouts(reader, request)
    told: dict[str, Any] = {"assumptions": [_by(request)], "set_aside": [], "layouts": []}
    tables: list[ParsedTable] = []
    raw: list[ParsedTable] = []
    notices: list[list[str]] = []
    for number, layout in enumerate(layouts):
        fitting = Fit(layout, request["name"], bool(request.get("look")), layouts[:number])
        try:
            read, *of_file = reader.read(path, budget, fitting.names)
        except Unreadable:
            last = number + 1 == len(layouts)
            if fitting.names.took or (last and not tables):
                raise
            continue  # a workbook without such sheets
        texts = [fitting.texts(table) for table in read]
        found = [fitting.parsed(table) for table in texts]
        assumptions, left = fitting.told(*of_file)
        which = ", ".join(repr(table.sheet) for table in found)
        told["assumptions"] += [f"{which}: {text}" for text in assumptions] if len(layouts) > 1 else assumptions
        told["set_aside"] += fitting.set_aside()
        told["layouts"] += [number] * len(found)
        tables += found
        raw += [_bare(table) for table in texts] if request.get("look") else []
        notices.append(left)
    # a sheet that one layout does not name is another's
    told["notices"] = [
        text for text in dict.fromkeys(text for left in notices for text in left)
        if NOT_NAMED not in text or all(text in left for left in notices)
    ]  # fmt: skip
    return tables + raw, told


def fit_parts(
    reader: ModuleType, path: Path, request: dict[str, Any], budget: Budget
) -> tuple[Iterator[ParsedTable], Callable[[], dict[str, Any]]] | None:
    """The canonical table part by part, and what is told once all of them have been taken.

    None where the file must be read as a whole: its format is, or what stands in a row hangs on the rows above.
    """
    layouts = _layouts(reader, request)
    if len(layouts) > 1 or layouts[0].fill_down or not hasattr(reader, "parts"):
        return None
    fitting = Fit(layouts[0], request["name"])
    raw, *of_file = reader.parts(path, budget, fitting.names)

    def told() -> dict[str, Any]:
        assumptions, notices = fitting.told(*of_file)
        return {"assumptions": [_by(request), *assumptions], "notices": list(dict.fromkeys(notices))}

    return (fitting.parsed(fitting.texts(part)) for part in raw), told


def _layouts(reader: ModuleType, request: dict[str, Any]) -> list[Layout]:
    """Those of the mapping that the file is read by."""
    layouts = [Layout.model_validate(one) for one in request["layouts"]]
    return layouts if reader.__name__.endswith("xlsx") else layouts[:1]  # sheets are those of a workbook


def _by(request: dict[str, Any]) -> str:
    return f"read by the mapping {request['mapping']}"


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
