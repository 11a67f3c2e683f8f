"""How does a JSON object become a row? RFC 8259 to the letter, numbers kept as the text that stands in the file."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable
from typing import Any, NoReturn

import numpy as np

from validator.errors import Unreadable
from validator.readers.columns import Fault, code, excerpt, too_long
from validator.readers.headers import ONE_TIME, read_header
from validator.readers.tables import CANONICAL, REQUIRED, Budget, CellDefect, RawTable, TextColumn

_ALIKE = 0.6


class Pairs(list[tuple[str, Any]]):
    """An object as its keys and values, so that a key that stands twice is seen."""


class NotANumber(ValueError):
    """NaN or Infinity, which JSON does not have."""


def _refuse(constant: str) -> NoReturn:
    raise NotANumber(constant)


DECODER = json.JSONDecoder(object_pairs_hook=Pairs, parse_float=str, parse_int=str, parse_constant=_refuse)
"""Raises `JSONDecodeError`, `NotANumber` or, for deep nesting, `RecursionError`."""


def decode(data: bytes) -> str:
    """UTF-8 text without its mark; bytes that are not UTF-8 become half characters, which a cell then shows as a fault."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in data[:4]:
        raise Unreadable("encoding_not_utf8", "is UTF-16 or UTF-32 text; JSON is UTF-8", "byte 0")
    return data.decode("utf-8", "surrogateescape").removeprefix("\ufeff")


def depth(value: Any) -> int:
    """How deep lists and objects stand in each other: 0 for a plain value."""
    deepest, waiting = 0, [(value, 1)]
    while waiting:
        here, level = waiting.pop()
        if isinstance(here, list):
            deepest = max(deepest, level)
            inner: Iterable[Any] = (v for _, v in here) if isinstance(here, Pairs) else here
            waiting.extend((v, level + 1) for v in inner)
    return deepest


def kind(value: Any) -> str:
    """What a JSON value is, in words."""
    if isinstance(value, Pairs):
        return "an object"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, bool):
        return "true or false"
    return "null" if value is None else "a single value"


class Rows:
    """Collects objects as the rows of one table; keys are matched like the names of a header."""

    def __init__(self, budget: Budget) -> None:
        self.budget = budget
        self.rows: list[int] = []
        self.cells: dict[str, list[str]] = {}
        self.defects: list[CellDefect] = []
        self.blank_rows = 0
        self._names: dict[str, str | None] = {}
        self._first: set[str] = set()

    def lose(self, row: int, code: str, message: str) -> None:
        self.defects.append(CellDefect(-1, row, "", code, message, True))

    def add(self, row: int, record: Pairs) -> None:
        """Append a record; raise `Unreadable` where it nests too deep or has too many keys."""
        at = len(self.rows)
        seen: set[str] = set()
        for key, value in record:
            name = self._name(key)
            if name is None:
                if isinstance(value, list):
                    self._shallow(value)
                continue
            if name in seen:
                self._flag(at, row, name, ("duplicate_key", "stands twice in this record"))
                value = None
            seen.add(name)
            text = self._text(at, row, name, value)
            column = self.cells.setdefault(name, [])
            if len(column) <= at:
                column.extend([""] * (at - len(column)))
                column.append(text)
            else:
                column[at] = text
        if at == 0:
            self._first = {key for key, _ in record}
        elif len(seen) < len(record):
            self._drift(at, row, record, seen)
        self.rows.append(row)
        if len(self.rows) > self.budget.rows:
            raise Unreadable("too_many_rows", f"has more than {self.budget.rows} records, the most that are read")

    def _name(self, key: str) -> str | None:
        if key not in self._names:
            if len(self._names) >= self.budget.columns:
                raise Unreadable("too_many_columns", f"has more than {self.budget.columns} different keys")
            folded = key.strip().casefold()
            self._names[key] = folded if folded in CANONICAL else None
        return self._names[key]

    def _text(self, at: int, row: int, name: str, value: Any) -> str:
        if isinstance(value, str):
            fault: Fault | None = None
            if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
                fault = "bad_encoding", "holds bytes or half a character that are no UTF-8 text"
            elif len(value) > self.budget.cell_characters:
                fault = too_long(self.budget)
            if fault is None:
                return value
            self._flag(at, row, name, fault, value)
            return ""
        if value is None:
            return ""
        if isinstance(value, bool):
            self._flag(at, row, name, ("bad_type", "is true or false where text or a number is due"))
            return "TRUE" if value else "FALSE"
        self._shallow(value)
        self._flag(at, row, name, ("bad_type", f"is {kind(value)} where text or a number is due"))
        return ""

    def _shallow(self, value: Any) -> None:
        if depth(value) + 2 > self.budget.depth:
            raise Unreadable("too_deep", f"nests lists or objects deeper than {self.budget.depth} levels")

    def _flag(self, at: int, row: int, name: str, fault: Fault, shown: str | None = None) -> None:
        cell = "" if shown is None else f" {excerpt(shown)}"
        self.defects.append(CellDefect(at, row, name, fault[0], f"{name}{cell} {fault[1]}"))

    def _drift(self, at: int, row: int, record: Pairs, seen: set[str]) -> None:
        """A needed key is gone and one like it is new: the export changed its names between two records."""
        new = [key for key, _ in record if self._names[key] is None and key not in self._first]
        for name in (*REQUIRED, *ONE_TIME):
            if new and name not in seen and name in {self._names.get(key) for key in self._first}:
                near = difflib.get_close_matches(name, [key.strip().casefold() for key in new], 1, _ALIKE)
                if near or name in REQUIRED:
                    key = near[0] if near else new[0]
                    fault = "unknown_key", f"is missing and {key[:60]!r} is new: the export changed its names here"
                    self._flag(at, row, name, fault)

    def table(self) -> tuple[list[RawTable], list[str], list[str]]:
        """The table with what its names were taken for; raise `Unreadable` where a needed one is missing."""
        assumptions: list[str] = []
        notices: list[str] = []
        if self.rows:
            once: dict[str, str] = {}
            for key, name in self._names.items():
                once.setdefault(name or key, key)
            header = read_header(list(once.values()))
            assumptions, notices = header.assumptions, header.notices
        columns = {}
        for name in [n for n in CANONICAL if n in self.cells or n in REQUIRED]:
            cells = self.cells.get(name, [])
            cells.extend([""] * (len(self.rows) - len(cells)))
            codes, words = code(cells)
            blank = words.index("") if "" in words else -2
            mapped = np.array([n - (n > blank >= 0) if n != blank else -1 for n in range(len(words))], dtype=np.int32)
            columns[name] = TextColumn(mapped[codes] if len(words) else codes, [w for w in words if w])
        rows = np.array(self.rows, dtype=np.int32)
        return [RawTable("", rows, dict(columns), self.defects, self.blank_rows)], assumptions, notices
