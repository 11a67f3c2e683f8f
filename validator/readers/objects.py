"""How does a JSON object become a row? RFC 8259 to the letter, numbers kept as the text that stands in the file."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Sequence
from types import NoneType
from typing import Any, NoReturn

import numpy as np

from validator.errors import Unreadable
from validator.readers.columns import Fault, code, excerpt, too_long
from validator.readers.headers import CANONICAL_NAMES, Names
from validator.tables import (
    REQUIRED,
    TIMES,
    Budget,
    CellDefect,
    Column,
    Heading,
    IntArray,
    RawTable,
    StringsColumn,
    TextColumn,
)

_ALIKE = 0.6
_TOGETHER = 8192
_MOST_LAYOUTS = 1024


class Pairs(list[tuple[str, Any]]):
    """An object as its keys and values, so that a key that stands twice is seen."""


class Figure(str):
    """A number, as the text that stands in the file."""

    __slots__ = ()


class NotANumber(ValueError):
    """NaN or Infinity, which JSON does not have."""


def _refuse(constant: str) -> NoReturn:
    raise NotANumber(constant)


DECODER = json.JSONDecoder(object_pairs_hook=Pairs, parse_float=Figure, parse_int=Figure, parse_constant=_refuse)
"""Raises `JSONDecodeError`, `NotANumber` or, for deep nesting, `RecursionError`."""


def decode(data: bytes) -> str:
    """UTF-8 text without its mark; bytes that are not UTF-8 become half characters, a fault of their cell."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in data[:4]:
        raise Unreadable("encoding_not_utf8", "is UTF-16 or UTF-32 text; JSON is UTF-8", "byte 0")
    return data.decode("utf-8", "surrogateescape").removeprefix("\ufeff")


def why_not(error: json.JSONDecodeError) -> str:
    """What is wrong with a JSON text, to stand within a sentence before the place."""
    return (error.msg[0].lower() + error.msg[1:]).removesuffix(" at")


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


class _Layout:
    """Records with the same keys in the same order, gathered so that they can be read column by column."""

    def __init__(self, names: list[str | None], drift: list[tuple[str, Fault]]) -> None:
        self.places: dict[str, int] = {}
        self.doubled: set[str] = set()
        self.drift = drift
        self.at: list[int] = []
        self.values: list[tuple[Any, ...]] = []
        for at, name in enumerate(names):
            if name is not None:
                if name in self.places:
                    self.doubled.add(name)
                self.places[name] = at


class Rows:
    """Collects objects as the rows of one table; keys are matched like the names of a header."""

    def __init__(self, budget: Budget, names: Names = CANONICAL_NAMES) -> None:
        self.budget = budget
        self.names = names
        self.rows: list[int] = []
        self.defects: list[CellDefect] = []
        self.blank_rows = 0
        self._words: dict[str, dict[str, int]] = {}
        self._parts: dict[str, list[tuple[list[int], IntArray]]] = {}
        self._stamps: dict[str, list[tuple[list[int], list[bytes]]]] = {}
        self._names: dict[str, str | None] = {}
        self._layouts: dict[tuple[str, ...], _Layout] = {}
        self._first: tuple[str, ...] = ()

    def lose(self, row: int, code: str, message: str) -> None:
        self.defects.append(CellDefect(-1, row, "", code, message, True))

    def add(self, row: int, record: Pairs) -> None:
        """Append a record; raise `Unreadable` where it nests too deep or has too many keys.

        Under a mapping, a record becomes a row for each entry of the list that the mapping's paths go through.
        """
        if not self.names.raw:
            self._add_flat(row, record)
            return
        self._shallow(record)
        self.names.look(record)
        flat = list(_flattened(record, self.names))
        if not flat:
            self.lose(row, "no_step", f"holds no entry in {self.names.lists[-1]!r}")
        for one in flat:
            self._add_flat(row, one)

    def _add_flat(self, row: int, record: Pairs) -> None:
        keys, values = zip(*record, strict=True) if record else ((), ())
        layout = self._layouts.get(keys) or self._layout(keys)
        for value in values:
            if isinstance(value, list):
                self._shallow(value)
        layout.at.append(len(self.rows))
        layout.values.append(values)
        self.rows.append(row)
        if len(layout.at) >= _TOGETHER:
            self._read(layout)
        if len(self.rows) > self.budget.rows:
            raise Unreadable("too_many_rows", f"has more than {self.budget.rows} records; {self.budget.says('rows')}")

    def _layout(self, keys: tuple[str, ...]) -> _Layout:
        if not self.rows:
            self._first = keys
            if not self.names.raw:
                known = self.names.named(keys)  # a common name counts only beside names that leave its column free
                self._names = {key: known.get(at) for at, key in enumerate(keys[: self.budget.columns])}
        names = [self._name(key) for key in keys]
        layout = _Layout(names, self._drift(keys, names))
        if len(self._layouts) >= _MOST_LAYOUTS:  # keys that never repeat: forget what was gathered, read as it comes
            self._read_all()
            self._layouts.clear()
        self._layouts[keys] = layout
        return layout

    def _name(self, key: str) -> str | None:
        if key not in self._names:
            if len(self._names) >= self.budget.columns:
                why = f"has more than {self.budget.columns} different keys; {self.budget.says('columns')}"
                raise Unreadable("too_many_columns", why)
            name = self.names.key(key)
            common = name is not None and not self.names.raw and name != key.strip().casefold()
            self._names[key] = None if common and name in self._names.values() else name
        return self._names[key]

    def _drift(self, keys: tuple[str, ...], names: list[str | None]) -> list[tuple[str, Fault]]:
        """A needed key is gone and one like it is new: the export changed its names between two records."""
        new = [key for key, name in zip(keys, names, strict=True) if name is None and key not in self._first]
        wanted = [_folded(name) for name in self.names.watched]
        # null where an object stood before is a blank and no new name
        new = [key for key in new if not any(name.startswith(f"{_folded(key)}.") for name in wanted)]
        before = {self._names[key] for key in self._first}
        faults: list[tuple[str, Fault]] = []
        for name in self.names.watched:
            if new and name in before and name not in names:
                near = difflib.get_close_matches(name, [key.strip().casefold() for key in new], 1, _ALIKE)
                if near or name in self.names.needed:
                    key = near[0] if near else new[0]
                    why = f"is missing and {key[:60]!r} is new: the export changed its names here"
                    faults.append((name, ("unknown_key", why)))
        return faults

    def _shallow(self, value: Any) -> None:
        found = depth(value) + 2
        if found > self.budget.depth:
            raise Unreadable("too_deep", f"nests lists or objects {found} levels deep; {self.budget.says('depth')}")

    # --- columns ---------------------------------------------------------------------------------------------------

    def _read_all(self) -> None:
        for layout in self._layouts.values():
            self._read(layout)

    def _read(self, layout: _Layout) -> None:
        """Turn the records gathered under one layout into parts of columns."""
        if not layout.at:
            return
        columns = list(zip(*layout.values, strict=True))
        for name, place in layout.places.items():
            cells: Sequence[Any] = columns[place]
            if name in layout.doubled:
                self._flag_all(layout, name, ("duplicate_key", "stands twice in this record"))
                cells = [None] * len(cells)
            kinds = set(map(type, cells))
            if not kinds <= {str, NoneType}:
                cells = [self._plain(at, name, cell) for at, cell in zip(layout.at, cells, strict=True)]
            self._code(layout, name, cells)
        for name, fault in layout.drift:
            self._flag_all(layout, name, fault)
        layout.at, layout.values = [], []

    def _code(self, layout: _Layout, name: str, cells: Sequence[str | None]) -> None:
        codes, words = code(cells)
        if name in TIMES:
            self._times(layout, name, codes, words)
            return
        known = self._words.setdefault(name, {})
        mapped = np.empty(len(words), dtype=np.int32)
        for number, word in enumerate(words):
            sound = word and self._sound(layout, name, codes, number, word)
            mapped[number] = known.setdefault(word, len(known)) if sound else -1
        self._parts.setdefault(name, []).append((layout.at, mapped[codes]))

    def _times(self, layout: _Layout, name: str, codes: IntArray, words: Sequence[str | None]) -> None:
        sound = [
            (word or "").encode() if not word or self._sound(layout, name, codes, number, word) else b""
            for number, word in enumerate(words)
        ]
        at = layout.at
        self._stamps.setdefault(name, []).append((at, [sound[c] for c in codes.tolist()]))

    def _sound(self, layout: _Layout, name: str, codes: IntArray, number: int, word: str) -> bool:
        """Whether a word can be read; where it cannot, every cell that holds it is flagged."""
        fault = self._fault(word)
        if fault is not None:
            for at in np.flatnonzero(codes == number):
                self._flag(layout.at[at], name, fault, word)
        return fault is None

    def _fault(self, word: str) -> Fault | None:
        if not word.isascii() and any("\ud800" <= c <= "\udfff" for c in word):
            return "bad_encoding", "holds bytes or half a character that are no UTF-8 text"
        return too_long(self.budget, len(word)) if len(word) > self.budget.cell_characters else None

    def _plain(self, at: int, name: str, value: Any) -> str | None:
        if value is None or isinstance(value, str):
            return self.names.number(value) if isinstance(value, Figure) else value
        if isinstance(value, bool) and self.names.raw:
            return str(value).upper()
        self._flag(at, name, ("bad_type", f"is {kind(value)} where text or a number is due"))
        return str(value).upper() if isinstance(value, bool) else None

    def _flag_all(self, layout: _Layout, name: str, fault: Fault) -> None:
        for at in layout.at:
            self._flag(at, name, fault)

    def _flag(self, at: int, name: str, fault: Fault, shown: str | None = None) -> None:
        cell = "" if shown is None else f" {excerpt(shown)}"
        self.defects.append(CellDefect(at, self.rows[at], name, fault[0], f"{name}{cell} {fault[1]}",
                                       cell="" if shown is None else excerpt(shown).strip("'")))  # fmt: skip

    def table(self) -> tuple[list[RawTable], list[str], list[str]]:
        """The table with what its names were taken for; raise `Unreadable` where a needed one is missing."""
        self._read_all()
        assumptions: list[str] = []
        notices: list[str] = []
        headings: dict[str, Heading] = {}
        if self.rows:
            once: dict[str, str] = {}
            for key, name in self._names.items():
                once.setdefault(name or key, key)
            header = self.names.read(list(once.values()))
            assumptions, notices = header.assumptions, header.notices
            headings = header.headings
            self._refuse_two_names(set(header.columns.values()))
        columns: dict[str, Column] = {name: self._strings(parts) for name, parts in self._stamps.items()}
        for name in [n for n in self._order() if n in self._words or n in REQUIRED]:
            codes = np.full(len(self.rows), -1, dtype=np.int32)
            for at, part in self._parts.get(name, []):
                codes[at] = part
            columns[name] = TextColumn(codes, list(self._words.get(name, ())))
        defects = sorted(self.defects, key=lambda d: d.row)
        rows = np.array(self.rows, dtype=np.int32)
        return [RawTable("", rows, columns, defects, self.blank_rows, headings)], assumptions, notices

    def _refuse_two_names(self, known: set[str]) -> None:
        """Records that give one column under two names: the one or the other may be meant."""
        keys: dict[str, dict[str, str]] = {}
        for key, name in self._names.items():
            if name is not None:
                keys.setdefault(name, {}).setdefault(_folded(key), key)
        for name, of_name in keys.items():
            if len(of_name) > 1 or (name not in known and not self.names.raw):
                shown = " and ".join(repr(key[:60]) for key in of_name.values())
                raise Unreadable("duplicate_column", f"has the keys {shown} for the one column {name!r}", name)

    def _order(self) -> Sequence[str]:
        return list(dict.fromkeys([*self.names.order, *self._words])) if self.names.raw else self.names.order

    def _strings(self, parts: list[tuple[list[int], list[bytes]]]) -> StringsColumn:
        cells = [b""] * len(self.rows)
        for at, stamps in parts:
            for place, stamp in zip(at, stamps, strict=True):
                cells[place] = stamp
        offsets = np.zeros(len(cells) + 1, dtype=np.int64)
        np.cumsum([len(cell) for cell in cells], out=offsets[1:])
        return StringsColumn(offsets, np.frombuffer(b"".join(cells), dtype=np.uint8))


def _flattened(record: Pairs, names: Names) -> Iterable[Pairs]:
    """A record as rows whose keys are paths: `machine.id`, `steps[].name`, and `steps[]` for the entry's own number."""
    rows = [Pairs(_paths(record, ""))]
    for path in names.lists:
        longer = []
        for row in rows:
            entries = next((value for key, value in row if _folded(key) + "[]" == path), None)
            rest = [(key, value) for key, value in row if _folded(key) + "[]" != path]
            if not isinstance(entries, list) or isinstance(entries, Pairs):
                continue
            for number, entry in enumerate(entries, 1):
                inner = _paths(entry, f"{path}.") if isinstance(entry, Pairs) else []
                longer.append(Pairs([*rest, (path, str(number)), *inner]))
        rows = longer
    return rows


def _paths(record: Pairs, before: str) -> list[tuple[str, Any]]:
    """The values of an object by their paths; lists stay as they are."""
    found: list[tuple[str, Any]] = []
    waiting = [(f"{before}{key}", value) for key, value in reversed(record)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, Pairs):
            waiting += [(f"{path}.{key}", inner) for key, inner in reversed(value)]
        else:
            found.append((path, value))
    return found


def _folded(key: str) -> str:
    return " ".join(key.split()).casefold()
