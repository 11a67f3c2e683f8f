"""What stands in the cells of one sheet? A single pass over its XML that gives every cell with its reference.

A general library hands out values; here a row's number, a formula without its value and the number behind a date must
survive, and a reference far out must be refused before anything is laid out by it.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from validator.budget import raised_by
from validator.errors import Unreadable
from validator.readers.workbook import damaged, unescape
from validator.tables import Budget

_REFERENCE = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9]\d{0,7})")
_PIECE = 128 * 1024


@dataclass(slots=True)
class Cell:
    """One cell as it stands in the XML: its type, style, and the texts of its value and formula (None: not there)."""

    column: int
    row: int
    type: str
    style: str
    value: str | None = None
    inline: str | None = None
    formula: bool = False

    @property
    def reference(self) -> str:
        return f"{letters(self.column)}{self.row}"


@dataclass
class Range:
    """A block of cells, ends included, positions from 1."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass
class SheetCells:
    """Reads one sheet part row by row; `merged` is complete when the rows have run out."""

    package: zipfile.ZipFile
    part: str
    budget: Budget
    merged: list[Range] = field(default_factory=list)

    def rows(self) -> Generator[tuple[int, list[Cell]], None, None]:
        """Rows with at least one cell that is not blank, in the sheet's order; raise `Unreadable`."""
        handler = _Handler(self)
        parser = expat.ParserCreate(namespace_separator="}")
        parser.buffer_text = True
        parser.StartElementHandler = handler.start
        parser.EndElementHandler = handler.end
        parser.CharacterDataHandler = handler.text
        parser.StartDoctypeDeclHandler = handler.doctype
        try:
            with self.package.open(self.part) as stream:
                while piece := stream.read(_PIECE):
                    parser.Parse(piece, False)
                    yield from handler.taken()
                parser.Parse(b"", True)
        except expat.ExpatError as error:
            raise damaged(f"a sheet is not XML ({error})", self.part) from None
        if not handler.is_sheet:
            raise damaged("a sheet's part holds no sheet", self.part)
        yield from handler.taken()


class _Handler:
    """Takes the parser's events; a row is done when it ends."""

    def __init__(self, sheet: SheetCells) -> None:
        self.sheet = sheet
        self.budget = sheet.budget
        self.is_sheet = False
        self.row = 0
        self.row_text = ""
        self.column = 0
        self.columns: dict[str, int] = {}
        self.cells: list[Cell] = []
        self.count = 0
        self.done: list[tuple[int, list[Cell]]] = []
        self.cell: Cell | None = None
        self.pieces: list[str] = []  # joined once: a long text comes in many
        self.phonetic = 0

    def taken(self) -> list[tuple[int, list[Cell]]]:
        done, self.done = self.done, []
        return done

    def doctype(self, *_: Any) -> None:
        raise Unreadable("dtd_forbidden", "declares a document type, which no workbook needs", self.sheet.part)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        react = _STARTS.get(tag)
        if react is not None:
            react(self, attributes)

    def text(self, data: str) -> None:
        self.pieces.append(data)

    def end(self, tag: str) -> None:
        react = _ENDS.get(tag)
        if react is not None:
            react(self)

    def start_sheet(self, _: dict[str, str]) -> None:
        self.is_sheet = True

    def start_text(self, _: dict[str, str]) -> None:
        self.pieces = []

    def start_phonetic(self, _: dict[str, str]) -> None:
        self.phonetic += 1

    def start_merged(self, attributes: dict[str, str]) -> None:
        first, _, last = attributes.get("ref", "").partition(":")
        a, b = _REFERENCE.fullmatch(first), _REFERENCE.fullmatch(last or first)
        if a and b:
            self.sheet.merged.append(Range(number(a[1]), int(a[2]), number(b[1]), int(b[2])))

    def start_row(self, attributes: dict[str, str]) -> None:
        given = attributes.get("r")
        row = self.row + 1
        if given is not None:
            if not (given.isascii() and given.isdigit() and len(given) < 9):
                raise damaged(f"a row is numbered {given[:20]!r}", self.sheet.part)
            if int(given) < row:
                raise damaged(f"row {given} comes after row {self.row}", f"row {given}")
            row = int(given)
        self.row, self.row_text, self.column, self.cells = row, str(row), 0, []

    def start_cell(self, attributes: dict[str, str]) -> None:
        column = self.column + 1
        given = attributes.get("r")
        if given is not None:
            word = given.rstrip("0123456789")
            if given[len(word) :] != self.row_text or word not in self.columns:
                self._learn(given, word)
            if self.columns[word] < column:
                raise damaged(f"cell {given} comes out of order", given)
            column = self.columns[word]
        self.column = column
        if column > self.budget.columns or self.row > self.budget.sheet_rows:
            self._refuse_far(column, self.row, self.budget.cells)
        self.cell = Cell(column, self.row, attributes.get("t", "n"), attributes.get("s", "0"))

    def _learn(self, given: str, word: str) -> None:
        """A column met for the first time, or a reference to another row, which is damage."""
        found = _REFERENCE.fullmatch(given)
        if found is None or int(found[2]) != self.row:
            if found is not None:
                self._refuse_far(number(found[1]), int(found[2]), self.budget.cells)
            raise damaged(f"a cell of row {self.row} is named {given[:20]!r}", self.sheet.part)
        self.columns[word] = number(found[1])

    def _refuse_far(self, column: int, row: int, area: int) -> None:
        """Refuse a cell beyond the rows and columns that are read, where more than `area` cells lie up to it."""
        outside = column > self.budget.columns or row > self.budget.sheet_rows
        if outside and column * row > area:
            most = f"at most {self.budget.sheet_rows} rows and {self.budget.columns} columns are read"
            most += f" ({raised_by('sheet-rows', 'columns')})"
            reference = f"{letters(column)}{row}"
            raise Unreadable("too_many_cells", f"has a cell at {reference}; {most}", reference)

    def end_value(self) -> None:
        if self.cell is not None:
            self.cell.value = "".join(self.pieces)

    def end_formula(self) -> None:
        if self.cell is not None:
            self.cell.formula = True

    def end_inline(self) -> None:
        if self.cell is not None and not self.phonetic:
            self.cell.inline = (self.cell.inline or "") + "".join(self.pieces)

    def end_phonetic(self) -> None:
        self.phonetic -= 1

    def end_cell(self) -> None:
        cell, self.cell = self.cell, None
        if cell is None or (cell.value is None and cell.inline is None and not cell.formula):
            return
        if cell.column > self.budget.columns or cell.row > self.budget.sheet_rows:
            self._refuse_far(cell.column, cell.row, 0)
        self.count += 1
        if self.count > self.budget.cells:
            why = f"has more than {self.budget.cells} cells; {self.budget.says('cells')}"
            raise Unreadable("too_many_cells", why, cell.reference)
        if cell.inline is not None:
            cell.inline = unescape(cell.inline)
        self.cells.append(cell)

    def end_row(self) -> None:
        if self.cells:
            self.done.append((self.row, self.cells))
            self.cells = []


def _in_both_editions(handlers: dict[str, Any]) -> dict[str, Any]:
    """The handlers by full tag name: the two editions of the format differ in their namespace."""
    return {f"{space}}}{name}": handler for name, handler in handlers.items() for space in _NAMESPACES}


_NAMESPACES = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main", "http://purl.oclc.org/ooxml/spreadsheetml/main"
)  # fmt: skip
_STARTS: dict[str, Callable[[_Handler, dict[str, str]], None]] = _in_both_editions({
    "worksheet": _Handler.start_sheet, "row": _Handler.start_row, "c": _Handler.start_cell,
    "v": _Handler.start_text, "t": _Handler.start_text, "f": _Handler.start_text,
    "rPh": _Handler.start_phonetic, "mergeCell": _Handler.start_merged,
})  # fmt: skip
_ENDS: dict[str, Callable[[_Handler], None]] = _in_both_editions({
    "row": _Handler.end_row, "c": _Handler.end_cell, "v": _Handler.end_value, "t": _Handler.end_inline,
    "f": _Handler.end_formula, "rPh": _Handler.end_phonetic,
})  # fmt: skip


def number(column: str) -> int:
    """A column's letters as its number: A is 1."""
    value = 0
    for letter in column.upper():
        value = value * 26 + ord(letter) - 64
    return value


def letters(column: int) -> str:
    """A column's number as its letters: 1 is A."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text
