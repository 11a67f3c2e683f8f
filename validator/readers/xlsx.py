"""What stands in a workbook? Every visible sheet that has the header; the number of a row is the sheet's own."""

from __future__ import annotations

import bisect
import math
import re
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import chain, islice
from pathlib import Path

import numpy as np

from validator.errors import Unreadable
from validator.quantities import plain_number
from validator.readers.columns import Fault, code, too_long
from validator.readers.headers import CANONICAL_NAMES, NOT_NAMED, Header, Names, Spans
from validator.readers.packages import open_package
from validator.readers.sheets import Cell, Range, SheetCells, letters
from validator.readers.workbook import DATE, LENGTH, NUMBER, PERCENT, Sheet, Workbook, damaged, read_workbook, unescape
from validator.tables import NUMBERS, TIMES, Budget, CellDefect, Column, RawTable, TextColumn

Row = tuple[int, list[Cell]]
_WHOLE = re.compile(r"-?\d{1,18}", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_DAY_MS = 86_400_000
_SHOWN = 40
_EPOCH_1900 = datetime(1899, 12, 30)
_EPOCH_1904 = datetime(1904, 1, 1)
_LAST_SERIAL = 2_958_466
"""31 December 9999 and a day: no date of the 1900 system lies beyond."""


def read(path: Path, budget: Budget, names: Names = CANONICAL_NAMES) -> tuple[list[RawTable], list[str], list[str]]:
    """One table a sheet with a header, with what was assumed to read them and notices; raise `Unreadable`."""
    with open_package(path, budget) as package:
        book = read_workbook(package, budget)
        assumptions: list[str] = []
        notices: list[str] = []
        tables: list[RawTable] = []
        best: tuple[int, str, Sequence[str]] | None = None
        for sheet in book.sheets:
            reading = _SheetReading(sheet, SheetCells(package, sheet.part, budget), book, budget, names)
            if not names.takes(sheet.name):
                notices.append(f"the sheet {sheet.name!r} {NOT_NAMED}")
                continue
            if sheet.hidden:
                notices.append(f"the hidden sheet {sheet.name!r} is not read; it has {reading.count()}")
                continue
            table = reading.table()
            if table is not None and reading.header is not None:
                tables.append(table)
                assumptions += [_of(sheet, text) for text in (*reading.assumptions, *reading.header.assumptions)]
                notices += [_of(sheet, text) for text in reading.header.notices]
                continue
            notices.append(f"the sheet {sheet.name!r} is not read: it has no header with the needed names")
            if reading.best is not None and (best is None or reading.best[0] > best[0]):
                best = reading.best
        if not tables:
            raise names.none(best[2] if best else None, best[1] if best else "1:")
        if sum(len(table.rows) for table in tables) > budget.rows:
            raise Unreadable("too_many_rows", f"has more than {budget.rows} rows; {budget.says('rows')}")
        if book.from_1904:
            assumptions.append("dates are counted from 1904, as the workbook says")
        return tables, assumptions, notices


def _of(sheet: Sheet, text: str) -> str:
    return f"sheet {sheet.name!r}: {text}"


class _SheetReading:
    """Reads one sheet: finds its header, then turns each needed cell into text."""

    def __init__(self, sheet: Sheet, cells: SheetCells, book: Workbook, budget: Budget, names: Names) -> None:
        self.sheet = sheet
        self.source = cells
        self.book = book
        self.budget = budget
        self.names = names
        self.shown = {str(style): how for style, how in enumerate(book.shown)}
        self.header: Header | None = None
        self.assumptions: list[str] = []
        self.best: tuple[int, str, Sequence[str]] | None = None
        self.merged: list[Range] = []
        self.rows: list[int] = []
        self.cells: dict[str, list[str]] = {}
        self.folded: dict[str, str] = {}
        self.defects: list[CellDefect] = []
        self.blank_rows = 0

    def count(self) -> str:
        """How many rows a sheet has that is not read: its damage is no reason to refuse the others."""
        try:
            with closing(self.source.rows()) as rows:
                return f"{sum(1 for _ in rows)} rows"
        except Unreadable as refusal:
            return f"rows that could not be counted: {refusal.sentence}"

    def table(self) -> RawTable | None:
        """The sheet's records; None where it has no header."""
        with closing(self.source.rows()) as rows:  # a refusal half way must not keep the package open
            return self._table(rows)

    def _table(self, rows: Iterator[tuple[int, list[Cell]]]) -> RawTable | None:
        if self.names.rows > 1:
            self.merged = self._merged()
        found = self._find_header(rows)
        if found is None or self.header is None:
            return None
        top, own, waiting = found
        wanted = {at + 1: name for at, name in self.header.columns.items()}
        self.cells = {name: [] for name in wanted.values()}
        self.folded = {name: "".join(own[at - 1 : at]).strip().casefold() for at, name in wanted.items()}
        last = top
        for row, cells in chain(waiting, rows):
            if self._add(row, cells, wanted):
                self.blank_rows += row - last - 1
                last = row
        self._flag_merged(wanted)
        columns: dict[str, Column] = {}
        for name, texts in self.cells.items():
            codes, words = code([None, *texts])  # None takes number 0, so that blank comes out as -1
            columns[name] = TextColumn(codes[1:] - 1, words[1:])
        rows_ = np.array(self.rows, dtype=np.int32)
        headings = {
            name: (self.header.names[at - 1].strip(), letters(at))
            for at, name in wanted.items()
            if self.names.raw or self.folded[name] != name
        }
        return RawTable(self.sheet.name, rows_, columns, self.defects, self.blank_rows, headings)

    def _merged(self) -> list[Range]:
        """The merged cells, which stand behind all rows: of a header over several rows they say what a title covers."""
        for _ in self.source.rows():
            pass
        merged, self.source.merged = self.source.merged, []
        return merged

    def _find_header(self, rows: Iterator[tuple[int, list[Cell]]]) -> tuple[int, Sequence[str], list[Row]] | None:
        """The last row of the header with its own cells, and the rows after it that have been taken already."""
        waiting: list[Row] = []
        while True:
            waiting += islice(rows, max(0, self.names.rows - len(waiting)))
            if not waiting or waiting[0][0] > self.names.within:
                return None
            row = waiting[0][0]
            together = [one for one in waiting if one[0] - row < self.names.rows]
            lines = (
                [self._names(cells) for _, cells in together]
                if together[-1][0] - row == len(together) - 1
                else [self._names(together[0][1])]
            )
            place = f"{self.sheet.name}!{row}:"
            found = self.names.header(lines, row, self._spans(row))
            if found is not None and not self.names.exact(lines[0]):
                # names for people can stand above those that are looked for, as on a record sheet
                waiting += islice(rows, max(0, self.names.within - len(waiting)))
                below = [cells for number, cells in waiting[1:] if number <= self.names.within]
                if any(self.names.exact(self._names(cells)) for cells in below):
                    found = None
            if found is not None:
                self.header = self.names.read(found[0], place)
                last = row + found[1] - 1
                if last > 1:
                    what = f"row {row}" if last == row else f"rows {row} to {last}"
                    self.assumptions.append(f"the header is {what}" + "; the rows above it are not records" * (row > 1))
                return last, lines[found[1] - 1], waiting[found[1] :]
            worth = self.names.promise(lines[0])
            if worth and (self.best is None or worth > self.best[0]):
                self.best = worth, place, lines[0]
            waiting.pop(0)

    def _names(self, cells: list[Cell]) -> list[str]:
        names = [""] * max(cell.column for cell in cells)
        for cell in cells:
            names[cell.column - 1] = self._text(cell, "")[0]
        return names

    def _spans(self, row: int) -> Spans:
        """The merged cells that begin in a row and those beneath it; None where none of them goes over several columns."""
        spans = [
            [(one.left - 1, one.right - 1) for one in self.merged if one.top == row + more]
            for more in range(self.names.rows)
        ]
        return spans if any(last > first for line in spans for first, last in line) else None

    def _add(self, row: int, cells: list[Cell], wanted: dict[int, str]) -> bool:
        """Append a row; one whose cells are all blank texts is none."""
        at = len(self.rows)
        found: dict[str, str] = {}
        faults: list[tuple[str, Fault, Cell]] = []
        filled = False
        for cell in cells:
            name = wanted.get(cell.column, "")
            text, fault = self._text(cell, name)
            filled = filled or bool(text.strip()) or fault is not None
            if name:
                found[name] = text
                if fault is not None:
                    faults.append((name, fault, cell))
        if not filled:
            return False
        for name, fault, cell in faults:
            self._flag(at, row, name, fault, cell.reference, (cell.value or "")[:_SHOWN])
        if self._repeats_header(found):
            self.defects = [d for d in self.defects if d.index != at]
            self.defects.append(CellDefect(-1, row, "", "repeated_header", "repeats the header", True, self.sheet.name))
            return True
        for name, texts in self.cells.items():
            texts.append(found.get(name) or None)  # type: ignore[arg-type]  # blank is coded apart
        self.rows.append(row)
        return True

    def _repeats_header(self, found: dict[str, str]) -> bool:
        return len(found) == len(self.cells) and all(
            text.strip().casefold() == self.folded[n] for n, text in found.items()
        )

    def _flag(self, at: int, row: int, name: str, fault: Fault, reference: str, value: str = "") -> None:
        message = f"{name} in {reference} {fault[1]}"
        self.defects.append(CellDefect(at, row, name, fault[0], message, False, self.sheet.name, value))

    def _flag_merged(self, wanted: dict[int, str]) -> None:
        """Cells that are blank because a merged cell covers them: filling them down would be a guess."""
        for block in self.source.merged:
            first = bisect.bisect_left(self.rows, block.top)
            after = bisect.bisect_right(self.rows, block.bottom)
            for column, name in wanted.items():
                if not block.left <= column <= block.right:
                    continue
                for at in range(first, after):
                    row = self.rows[at]
                    if (column, row) != (block.left, block.top) and not self.cells[name][at]:
                        reference = f"{letters(column)}{row}"
                        origin = f"{letters(block.left)}{block.top}"
                        why = f"is blank because it is merged with {origin}; write the value in every row"
                        self._flag(at, row, name, ("merged_blank", why), reference)

    # --- cells -----------------------------------------------------------------------------------------------------

    def _text(self, cell: Cell, name: str) -> tuple[str, Fault | None]:
        """A cell as text, blank where it has a fault (a truth value excepted)."""
        if cell.type == "inlineStr":
            return self._bounded(cell.inline or "")
        if cell.value is None or (cell.value == "" and cell.type != "str"):
            if cell.formula:
                return "", ("formula_without_value", "is a formula without its value; open and save the workbook once")
            return "", None
        if cell.type == "s":
            return self._bounded(self._shared(cell))
        if cell.type == "str":
            return self._bounded(unescape(cell.value))
        if cell.type == "b" and self.names.raw:
            return ("TRUE" if cell.value == "1" else "FALSE"), None
        if cell.type == "b":
            why = "is true or false where text or a number is due"
            return ("TRUE" if cell.value == "1" else "FALSE"), ("bad_type", why)
        if cell.type == "e":
            return "", ("cell_error", f"holds the error {cell.value[:20]}")
        if cell.type == "d":
            return self._bounded(cell.value)
        return self._number(cell, name)

    def _bounded(self, text: str) -> tuple[str, Fault | None]:
        return (text, None) if len(text) <= self.budget.cell_characters else ("", too_long(self.budget, len(text)))

    def _shared(self, cell: Cell) -> str:
        value = cell.value or ""
        if not (value.isascii() and value.isdigit()) or int(value[:9]) >= len(self.book.shared):
            raise damaged(f"cell {cell.reference} points at a shared text that is not there", cell.reference)
        return self.book.shared[int(value)]

    def _number(self, cell: Cell, name: str) -> tuple[str, Fault | None]:
        text = (cell.value or "").strip()
        if not _NUMBER.fullmatch(text) or not math.isfinite(float(text)):
            raise damaged(f"cell {cell.reference} holds {text[:20]!r} as a number", cell.reference)
        value = float(text)
        shown = self.shown.get(cell.style, NUMBER)
        if self.names.raw and shown != NUMBER:
            return self._as_shown(value, shown)
        if name in NUMBERS and shown != NUMBER:
            how = {PERCENT: "a percentage", DATE: "a date", LENGTH: "a length of time"}[shown]
            return "", ("unit_in_cell", f"is shown as {how}; write a plain number as 100 or 7.2")
        if shown == DATE or (shown == LENGTH and name in TIMES):
            return self._date(value)
        if _WHOLE.fullmatch(text):
            return text, None
        plain = str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)
        return self.names.number(plain), None

    def _as_shown(self, value: float, shown: str) -> tuple[str, Fault | None]:
        """A number under a mapping, with what its format says: a time of day (`T20:05:00`), a length of time, a percentage."""
        if shown == PERCENT:
            return self.names.number(f"{Decimal(repr(value)) * 100:f}") + " %", None
        if shown == DATE and not 0 <= value < 1:
            return self._date(value)
        if value < 0:
            return "", ("implausible_datetime", f"is the time number {value:g}, below nothing")
        thousandths = round(value * _DAY_MS)
        seconds, rest = divmod(thousandths, 1000)
        clock = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        return "T" * (shown == DATE) + (f"{clock}.{rest:03d}" if rest else clock), None

    def _date(self, serial: float) -> tuple[str, Fault | None]:
        """A date's number, days since the workbook's epoch, as an instant rounded to the millisecond."""
        first = 0 if self.book.from_1904 else 61
        if not first <= serial < _LAST_SERIAL:
            days = "of 1904 to 9999" if self.book.from_1904 else "from March 1900 to 9999"
            return "", ("implausible_datetime", f"is the date number {plain_number(serial)}, which is no day {days}")
        epoch = _EPOCH_1904 if self.book.from_1904 else _EPOCH_1900
        moment = epoch + timedelta(milliseconds=round(serial * _DAY_MS))
        return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds"), None
