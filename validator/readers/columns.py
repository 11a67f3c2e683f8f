"""How do cells become columns? Text coded by a vocabulary, or laid end to end, block by block as a file is read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.tables import (
    TIMES,
    Budget,
    CellDefect,
    Column,
    IntArray,
    RawTable,
    StringsColumn,
    TextColumn,
)

Fault = tuple[str, str]
"""A defect code and what is wrong with the cell, to stand after the column's name."""
TOO_LONG = "cell_too_long"
NOT_UTF8: Fault = (
    "bad_encoding", "is not UTF-8 text; export the file as UTF-8, or if it is CSV name its code page in a mapping"
)  # fmt: skip
_EXCERPT = 40


def code(cells: Iterable[Any]) -> tuple[IntArray, list[Any]]:
    """Number the cells by first appearance: the codes, and the distinct cells in that order."""
    numbers: defaultdict[Any, int] = defaultdict()
    numbers.default_factory = numbers.__len__
    codes = np.array([numbers[cell] for cell in cells], dtype=np.int32)
    return codes, list(numbers)


def too_long(budget: Budget, characters: int) -> Fault:
    return TOO_LONG, f"has {characters} characters; {budget.says('cell-characters')}"


def excerpt(cell: bytes | str) -> str:
    """The beginning of a cell, with every byte that is not printable ASCII or UTF-8 text written out."""
    text = cell.decode("utf-8", "backslashreplace") if isinstance(cell, bytes) else cell
    shown = text[:_EXCERPT] + ("..." if len(text) > _EXCERPT else "")
    return ascii(shown) if any(0xD800 <= ord(c) <= 0xDFFF for c in shown) else repr(shown)


def read_cell(cell: bytes, budget: Budget) -> tuple[str, Fault | None]:
    """One cell as text; a cell that is not UTF-8 or too long is blank, with its fault."""
    try:
        text = cell.decode("utf-8")
    except UnicodeDecodeError:
        return "", NOT_UTF8
    return (text, None) if len(text) <= budget.cell_characters else ("", too_long(budget, len(text)))


class Growing:
    """A flat array that grows by blocks, with room made ahead so that a long file is copied once."""

    def __init__(self, dtype: npt.DTypeLike) -> None:
        self._array: npt.NDArray[Any] = np.empty(0, dtype=dtype)
        self.size = 0

    def room(self, more: int, ahead: int = 0) -> npt.NDArray[Any]:
        """The next `more` places, to be filled; `ahead` is how many are still to come, as far as is known."""
        wanted = self.size + more
        if wanted > len(self._array):
            grown = np.empty(max(wanted + ahead, len(self._array) * 3 // 2), dtype=self._array.dtype)
            grown[: self.size] = self._array[: self.size]
            self._array = grown
        self.size = wanted
        return self._array[wanted - more : wanted]

    def add(self, values: npt.NDArray[Any], ahead: int = 0) -> None:
        self.room(len(values), ahead)[:] = values

    def array(self) -> npt.NDArray[Any]:
        return self._array[: self.size]


class Texts:
    """Grows one `TextColumn`: every block brings its own codes and words, and they are joined in one vocabulary."""

    def __init__(self) -> None:
        self.vocabulary: dict[str, int] = {}
        self.codes = Growing(np.int32)

    def add(self, codes: IntArray, words: Sequence[str], ahead: int = 0) -> None:
        """Append cells; the empty word is blank, and so is code -1."""
        known = self.vocabulary
        if not known and "" not in words:
            known.update((word, number) for number, word in enumerate(words))
            self.codes.add(codes, ahead)
            return
        mapped = np.array([known.setdefault(w, len(known)) if w else -1 for w in words] + [-1], dtype=np.int32)
        place = self.codes.room(len(codes), ahead)
        if np.array_equal(mapped[:-1], np.arange(len(words), dtype=np.int32)):
            place[:] = codes
        else:
            np.take(mapped, codes, out=place, mode="wrap")

    def column(self) -> TextColumn:
        return TextColumn(self.codes.array(), list(self.vocabulary))


class Strings:
    """Grows one `StringsColumn`, for a column where nearly every cell differs."""

    def __init__(self) -> None:
        self.offsets = Growing(np.int64)
        self.data = Growing(np.uint8)
        self.offsets.add(np.zeros(1, dtype=np.int64))

    def add(self, ends: npt.NDArray[np.int64], data: npt.NDArray[np.uint8], ahead: int = 0) -> None:
        """Append cells: where each ends in `data`, which holds them one after the other."""
        per_cell = len(data) // max(len(ends), 1) + 1
        np.add(ends, self.data.size, out=self.offsets.room(len(ends), ahead))
        self.data.add(data, ahead * per_cell)

    def column(self) -> StringsColumn:
        return StringsColumn(self.offsets.array(), self.data.array())


class TableBuilder:
    """Grows one `RawTable` block by block: columns of text, the rows they stand in, and what was set aside."""

    def __init__(self, names: Iterable[str], budget: Budget, sheet: str = "") -> None:
        self.sheet = sheet
        self.budget = budget
        self.columns: dict[str, Texts | Strings] = {n: Strings() if n in TIMES else Texts() for n in names}
        self.rows = Growing(np.int32)
        self.blank_rows = 0
        self.defects: list[CellDefect] = []

    def lose(self, row: int, code: str, message: str, column: str = "") -> None:
        """Set a whole row aside that cannot be laid out in columns."""
        self.defects.append(CellDefect(-1, row, column, code, message, True, self.sheet))

    def flag(self, index: int, row: int, column: str, fault: Fault, shown: bytes | str | None = None) -> None:
        """A cell that could not be read; `index` counts from the table's first row."""
        cell = "" if shown is None else f" {excerpt(shown)}"
        message = f"{column}{cell} {fault[1]}"
        self.defects.append(CellDefect(index, row, column, fault[0], message, False, self.sheet, cell.strip(" '")))

    def add(self, rows: IntArray, cells: dict[str, Sequence[bytes]]) -> None:
        """Append a block of rows given as cells still in bytes."""
        for name, column in self.columns.items():
            if isinstance(column, Strings):
                self._add_strings(column, name, rows, cells[name])
            else:
                codes, words = code(cells[name])
                self.add_codes(name, rows, codes, words)
        self.add_rows(rows)

    @property
    def size(self) -> int:
        return self.rows.size

    def add_rows(self, rows: IntArray, ahead: int = 0) -> None:
        """Number the rows of a block whose columns have been appended."""
        self.rows.add(rows, ahead)

    def add_codes(self, name: str, rows: IntArray, codes: IntArray, words: Sequence[bytes]) -> None:
        """Append a block of one text column as codes and the bytes of its distinct words."""
        column = self.columns[name]
        assert isinstance(column, Texts)
        texts: list[str] = []
        for number, word in enumerate(words):
            text, fault = read_cell(word, self.budget)
            texts.append(text)
            if fault is not None:
                for at in np.flatnonzero(codes == number):
                    self.flag(self.size + int(at), int(rows[at]), name, fault, word)
        column.add(codes, texts)

    def _add_strings(self, column: Strings, name: str, rows: IntArray, cells: Sequence[bytes]) -> None:
        joined = b"".join(cells)
        if not joined.isascii() or max(map(len, cells), default=0) > self.budget.cell_characters:
            cells = self.sound_cells(name, rows, cells)
            joined = b"".join(cells)
        ends = np.cumsum(np.array([len(c) for c in cells], dtype=np.int64))
        column.add(ends, np.frombuffer(joined, dtype=np.uint8))

    def sound_cells(self, name: str, rows: IntArray, cells: Sequence[bytes]) -> list[bytes]:
        """The cells of the next block, each that cannot be read made blank and flagged."""
        kept = list(cells)
        for at, cell in enumerate(cells):
            fault = read_cell(cell, self.budget)[1]
            if fault is not None:
                kept[at] = b""
                self.flag(self.size + at, int(rows[at]), name, fault, cell)
        return kept

    def table(self) -> RawTable:
        columns: dict[str, Column] = {name: grown.column() for name, grown in self.columns.items()}
        return RawTable(self.sheet, self.rows.array(), columns, self.defects, self.blank_rows)
