"""What do the columns of an export hold? Their distinct cells, what most of them look like, and which cells do not."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from validator.mapping.aliases import aliases, could_be, fold, tokens, unit_of
from validator.mapping.apply import LONGEST
from validator.mapping.rows import Mask, footers, sums
from validator.mapping.values import NotRead, Style, read_clock, read_date, read_length, read_moment, read_part
from validator.tables import NUMBERS, TIMES, ParsedTable, TextColumn
from validator.timing.instants import DAY_COUNT

_MOST_WORDS = 400
NOUNS = {
    "blank": "blank", "number": "numbers", "clock": "times of day", "date": "dates", "moment": "dates with a time of day",
    "length": "lengths of time", "amount": "numbers with a unit", "epoch": "counts of seconds since 1970", "tick": "ticks",
    "text": "text",
}  # fmt: skip
_SHOWN = 3
_DATE = re.compile(r"\d{1,2}[./-]\d{1,2}[./-](\d{2}|\d{4})|\d{4}[./-]\d{1,2}[./-]\d{1,2}")
_NUMBER = re.compile(r"[+-]?\d[\d.,' ]*")
_NO_NUMBER = re.compile(r"\d{1,2}\.\d{1,2}\.(\d{2,4})?")
_AMOUNT = re.compile(r"[+-]?\d[\d.,]* ?[^\d\s].{0,8}")
_EPOCH = re.compile(r"1\d{9}|1\d{12}")
_BY_POINT = re.compile(r"([01]?\d|2[0-3])\.[0-5]\d")
_DAY_PART = re.compile(r"0[.,]\d{4,15}")
_ORDERS = [Style(dates=order, year=2000) for order in ("dmy", "mdy", "ymd")]
_TIMED = ("time", "clock", "at", "uhr", "zeit", "uhrzeit")


@dataclass
class Seen:
    """One column of the export: its distinct cells and what most of them look like.

    `places` has for each of these how often it stands in the file and where first. `written` says
    how a time is written that looks like a number: as a `serial` of a spreadsheet, or with a point (`dotted`); `dotted` as
    well of numbers that could be such times, where the name does not say so. `odd` are the cells that look like something else.
    `near` is what many cells of a text are, and too few to read it so.
    """

    name: str
    words: list[str]
    kind: str = ""
    unit: str = ""
    written: str = ""
    places: dict[str, tuple[int, str]] = field(default_factory=dict)
    odd: list[str] = field(default_factory=list)
    near: str = ""

    @property
    def cut(self) -> bool:
        """Whether the column may have more different cells than were looked at."""
        return len(self.places) >= _MOST_WORDS

    @property
    def filled(self) -> int:
        """How many cells stand behind `words`."""
        return sum(self.places[word][0] for word in self.words)

    def of(self, words: Sequence[str]) -> int:
        """In how many cells one of these stands."""
        return sum(self.places[word][0] for word in words)

    @property
    def oddities(self) -> str:
        """How many cells look alike, and which ones do not, by row; empty where all do."""
        if not self.odd:
            return ""
        noun = NOUNS[self.near or self.kind]
        shown = " and ".join(f"{self.places[word][1]} holds {_short(word)}" for word in self.odd[:_SHOWN])
        more = f" and {len(self.odd) - _SHOWN} more look otherwise" if len(self.odd) > _SHOWN else ""
        looked = (
            f"the first {_MOST_WORDS} different cells, {self.filled} in all," if self.cut else f"{self.filled} cells"
        )
        return f"{self.filled - self.of(self.odd)} of {looked} are {noun}; {shown}{more}"


def columns_of(tables: Sequence[ParsedTable]) -> list[Seen]:
    """Every column of tables that have the same ones, but for the numbers that are given to the entries of lists."""
    found: dict[str, dict[str, tuple[int, str]]] = {}
    for table in tables:
        records = ~(sums(table)[1] | footers(table)[1])
        for name, column in table.texts.items():
            if not name.endswith("[]"):
                _count(found.setdefault(name, {}), table, column, records)
    blank = {fold(word) for word in aliases()["blanks"]}
    seen = []
    for name, places in found.items():
        one = Seen(name, [w for w in places if fold(w) not in blank], "", unit_of(name), places=places)
        if not one.words and any(other.startswith(f"{name}.") for other in found):
            one.kind = "object"  # null where an object stands in other records
        else:
            _look(one)
        seen.append(one)
    return seen


def _count(places: dict[str, tuple[int, str]], table: ParsedTable, column: TextColumn, records: Mask) -> None:
    at = np.flatnonzero(records & (column.codes >= 0))
    codes, first, counts = np.unique(column.codes[at], return_index=True, return_counts=True)
    sheet = f"sheet {table.sheet!r} row " if table.sheet else "row "
    for code, index, count in list(zip(codes.tolist(), first.tolist(), counts.tolist(), strict=True))[:_MOST_WORDS]:
        word = column.vocabulary[code].strip()
        before, where = places.get(word, (0, f"{sheet}{table.rows[at[index]]}"))
        if word and (word in places or len(places) < _MOST_WORDS):
            places[word] = (before + count, where)


def _look(column: Seen) -> None:
    """Say what most of the cells look like: a share of them, so that one odd cell spoils no column."""
    words = column.words
    if not words:
        column.kind = "blank"
        return
    column.kind = "text"
    kinds = {word: _kinds(word) if len(word) <= LONGEST else set() for word in words}
    count = {kind: column.of([w for w in words if kind in kinds[w]]) for kind in NOUNS}
    enough = min(0.8 * column.filled, column.filled - 1) if column.filled > 2 else column.filled
    measured = column.of([w for w in words if kinds[w] & {"number", "amount"}])
    moments = column.of([w for w in words if kinds[w] & {"date", "moment"}])
    for kind in ("epoch", "tick", "number", "clock", "date", "moment", "length", "amount"):
        if count[kind] >= enough:
            column.kind = kind
            break
    else:
        if measured >= enough and count["number"]:
            column.kind = "number"
        elif moments >= enough:
            column.kind = "moment" if count["moment"] >= count["date"] else "date"
    if column.kind == "text":
        column.near = max(count, key=lambda kind: count[kind])
        column.near = column.near if 3 * count[column.near] >= column.filled else ""
    if column.kind != "text" or column.near:
        column.odd = [w for w in words if (column.near or column.kind) not in kinds[w]]
    if column.kind == "number":
        _look_for_times(column, enough)


def _kinds(word: str) -> set[str]:
    """Everything that one cell could be."""
    found = set()
    if _EPOCH.fullmatch(word):
        found.add("epoch")
    if fold(word) in _ticks():
        found.add("tick")
    if _NUMBER.fullmatch(word) and not _NO_NUMBER.fullmatch(word):
        found.add("number")
    elif _AMOUNT.fullmatch(word):
        found.add("amount")
    if not word.isdigit():
        # a day that no month has is still written as one
        looks = {
            "clock": _reads(read_clock, word, Style()),
            "date": bool(_DATE.fullmatch(word)) or any(_reads(read_date, word, style) for style in _ORDERS),
            "moment": any(_reads(read_moment, word, style) for style in _ORDERS),
            "length": _reads(_read_length, word, Style()),
        }
        found |= {kind for kind, so in looks.items() if so}
    return found


@cache
def _ticks() -> frozenset[str]:
    return frozenset(fold(word) for marks in aliases()["ticks"].values() for word in marks)


def _look_for_times(column: Seen, enough: float) -> None:
    """Numbers that are a spreadsheet's days, or hours and minutes with a point between them, where name or cells say so."""
    numbers = {word for word in column.words if word not in column.odd}

    def all_but_few(pattern: re.Pattern[str]) -> list[str]:
        fits = [word for word in numbers if pattern.fullmatch(word)]
        return fits if column.of(fits) >= enough else []

    meant = could_be(column.name)
    timed, measured = speaks_of_time(column.name), bool(set(meant) & set(NUMBERS)) or bool(column.unit)
    serials, points, parts = map(all_but_few, (DAY_COUNT, _BY_POINT, _DAY_PART))
    parted = [word for word in serials if re.search(r"[.,]\d{4,}", word)]
    if serials and (timed or (not measured and 2 * len(parted) > len(serials))):
        column.kind, column.written = "moment" if 2 * len(parted) > len(serials) else "date", "serial"
        column.odd = [w for w in column.words if w not in serials]
    elif parts and timed and not measured:
        column.kind, column.written = "clock", "serial"
        column.odd = [w for w in column.words if w not in parts]
    elif points and not measured:
        column.written = "dotted"
        if timed:
            column.kind = "clock"
            column.odd = [w for w in column.words if w not in points]


def speaks_of_time(name: str) -> bool:
    """Whether a word of a column's name is in use for a day or a time of day."""
    usual = {
        word
        for role in ("date", *TIMES)
        for text in aliases()["columns"][role]
        for word in tokens(text)
        if len(tokens(text)) == 1
    }
    return bool({*tokens(name)} & {*usual, *_TIMED}) and not set(could_be(name)) & set(NUMBERS)


def note_unread(columns: Sequence[Seen], style: Style) -> None:
    """Count among the odd cells those that the style of the whole layout cannot read."""
    for column in columns:
        reads: list[Callable[[str, Style], str]] = []
        if column.written != "serial" and column.kind in ("date", "moment"):
            reads = [read_date, read_moment]
        elif column.written != "serial" and column.kind in ("number", "amount"):
            reads = [_read_first]
        if reads:
            odd = [w for w in column.words if w in column.odd or not any(_reads(read, w, style) for read in reads)]
            column.odd = odd if len(odd) < len(column.words) else column.odd


def _read_first(text: str, style: Style) -> str:
    return read_part(text, "number", style)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "...")


def _read_length(text: str, style: Style) -> str:
    return read_length(text, None, style)


def _reads(read: Callable[[str, Style], str], text: str, style: Style) -> bool:
    try:
        read(text, style)
    except NotRead:
        return False
    return True


def date_order(columns: Sequence[Seen]) -> tuple[str | None, bool, str]:
    """The one order of day and month in which every date can be read; None where two can, or none is needed."""
    words = [w for c in columns if c.written != "serial" for w in c.words if w not in c.odd]
    if all(_reads(read_date, w, Style()) or _reads(read_moment, w, Style()) for w in words):
        return "", False, ""
    yearless = any(re.fullmatch(r"\d{1,2}[./-]\d{1,2}\.?", w) for w in words)
    fitting = {}
    for order in ("dmy", "mdy", "ymd"):
        style = Style(dates=order, year=2000)
        fitting[order] = sum(_reads(read_date, w, style) or _reads(read_moment, w, style) for w in words)
    best = max(fitting.values(), default=0)
    orders = [order for order, count in fitting.items() if count == best]
    if len(orders) == 1:
        return orders[0], yearless, f"{best} of {len(words)} distinct dates can be read so, fewer in any other order"
    return None, yearless, "no day is above 12, so that day and month cannot be told apart"


def decimal_mark(columns: Sequence[Seen]) -> str | None:
    """The decimal mark that numbers show: None where it cannot be told, nothing where no number has one."""
    cells = [w for c in columns if c.kind in ("number", "amount") for w in c.words]
    comma = any(re.match(r"[+-]?\d+,(\d{1,2}|\d{4,})\b", w) for w in cells)
    point = any(re.match(r"[+-]?\d+\.(\d{1,2}|\d{4,})\b", w) for w in cells)
    three = any(re.match(r"[+-]?\d{1,3},\d{3}\b", w) for w in cells)
    if comma and not point:
        return ","
    return None if three and not point else "."
