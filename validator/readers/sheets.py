"""What stands in the cells of one sheet? A single pass over its XML that gives every cell with its reference.

A general library hands out values; here a row's number, a formula without its value and the number behind a date must
survive, and a reference far out must be refused before anything is laid out by it.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from validator.errors import Unreadable
from validator.readers.tables import Budget
from validator.readers.workbook import damaged, unescape

_REFERENCE = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9]\d{0,7})")
_PIECE = 128 * 1024
_TEXT_OF = {"v", "t", "f"}


@dataclass
class Cell:
    """One cell as it stands in the XML: its type, style, and the texts of its value and formula (None: not there)."""

    column: int
    row: int
    type: str
    style: int
    value: str | None = None
    inline: str | None = None
    formula: bool = False

    @property
    def blank(self) -> bool:
        return self.value is None and self.inline is None and not self.formula

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

    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
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
    def __init__(self, sheet: SheetCells) -> None:
        self.sheet = sheet
        self.budget = sheet.budget
        self.is_sheet = False
        self.row = 0
        self.column = 0
        self.cells: list[Cell] = []
        self.count = 0
        self.done: list[tuple[int, list[Cell]]] = []
        self.cell: Cell | None = None
        self.inside: list[str] = []
        self.pieces: list[str] = []
        self.phonetic = 0

    def taken(self) -> list[tuple[int, list[Cell]]]:
        done, self.done = self.done, []
        return done

    def doctype(self, *_: Any) -> None:
        raise Unreadable("dtd_forbidden", "declares a document type, which no workbook needs", self.sheet.part)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition("}")[2]
        if name == "c":
            self._start_cell(attributes)
        elif name in _TEXT_OF:
            self.pieces = []
        elif name == "row":
            self._start_row(attributes)
        elif name == "rPh":
            self.phonetic += 1
        elif name == "worksheet":
            self.is_sheet = True
        elif name == "mergeCell":
            self._merge(attributes.get("ref", ""))

    def text(self, data: str) -> None:
        self.pieces.append(data)

    def end(self, tag: str) -> None:
        name = tag.rpartition("}")[2]
        cell = self.cell
        if name == "v" and cell is not None:
            cell.value = "".join(self.pieces)
        elif name == "c":
            self._end_cell()
        elif name == "t" and cell is not None and not self.phonetic:
            cell.inline = (cell.inline or "") + "".join(self.pieces)
        elif name == "f" and cell is not None:
            cell.formula = True
        elif name == "rPh":
            self.phonetic -= 1
        elif name == "row" and self.cells:
            self.done.append((self.row, self.cells))
            self.cells = []

    def _start_row(self, attributes: dict[str, str]) -> None:
        given = attributes.get("r")
        row = self.row + 1
        if given is not None:
            if not (given.isascii() and given.isdigit() and len(given) < 9):
                raise damaged(f"a row is numbered {given[:20]!r}", self.sheet.part)
            if int(given) < row:
                raise damaged(f"row {given} comes after row {self.row}", f"row {given}")
            row = int(given)
        self.row, self.column, self.cells = row, 0, []

    def _start_cell(self, attributes: dict[str, str]) -> None:
        column, row = self.column + 1, self.row
        given = attributes.get("r")
        if given is not None:
            found = _REFERENCE.fullmatch(given)
            if found is None or int(found[2]) != self.row:
                self._far(found, given)
                raise damaged(f"a cell of row {self.row} is named {given[:20]!r}", self.sheet.part)
            column = number(found[1])
            if column <= self.column:
                raise damaged(f"cell {given} comes out of order", given)
        self.column = column
        style = attributes.get("s", "0")
        self.cell = Cell(column, row, attributes.get("t", "n"), int(style) if style.isdigit() else 0)
        self._in_bounds(column, row, False)

    def _far(self, found: re.Match[str] | None, given: str) -> None:
        if found is not None:
            self._in_bounds(number(found[1]), int(found[2]), False)

    def _in_bounds(self, column: int, row: int, filled: bool) -> None:
        """A filled cell beyond the rows or columns is refused; a blank one only where the sheet would grow past all."""
        outside = row > self.budget.sheet_rows or column > self.budget.columns
        if outside and (filled or column * row > self.budget.cells):
            raise Unreadable(
                "too_many_cells",
                f"has a cell at {letters(column)}{row}; at most {self.budget.sheet_rows} rows and {self.budget.columns}"
                " columns are read",
                f"{letters(column)}{row}",
            )

    def _end_cell(self) -> None:
        cell, self.cell = self.cell, None
        if cell is None or cell.blank:
            return
        self._in_bounds(cell.column, cell.row, True)
        self.count += 1
        if self.count > self.budget.cells:
            raise Unreadable("too_many_cells", f"has more than {self.budget.cells} cells", cell.reference)
        if cell.inline is not None:
            cell.inline = unescape(cell.inline)
        self.cells.append(cell)

    def _merge(self, reference: str) -> None:
        first, _, last = reference.partition(":")
        a, b = _REFERENCE.fullmatch(first), _REFERENCE.fullmatch(last or first)
        if a and b:
            self.sheet.merged.append(Range(number(a[1]), int(a[2]), number(b[1]), int(b[2])))


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
