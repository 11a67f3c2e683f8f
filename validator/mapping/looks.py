"""What do the columns of an export hold? Their distinct cells, what most of them look like, and which cells do not."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.mapping.aliases import aliases, fold, unit_of
from validator.mapping.apply import LONGEST
from validator.mapping.values import NotRead, Style, read_clock, read_date, read_length, read_moment
from validator.tables import ParsedTable

_MOST_WORDS = 400


@dataclass
class Seen:
    """One column of the export: its distinct cells, and what they look like."""

    name: str
    words: list[str]
    kind: str = ""
    unit: str = ""


def columns_of(tables: Sequence[ParsedTable]) -> list[Seen]:
    found: dict[str, dict[str, None]] = {}
    for table in tables:
        sums = _sums(table) | footers(table)[1]
        for name, column in table.texts.items():
            codes = column.codes[~sums]
            here = [column.vocabulary[c] for c in np.unique(codes[codes >= 0])[:_MOST_WORDS].tolist()]
            found.setdefault(name, {}).update(dict.fromkeys(w.strip() for w in here if w.strip()))
    blank = {fold(word) for word in aliases()["blanks"]}
    seen = []
    for name, words in found.items():
        if not words and any(other.startswith(f"{name}.") for other in found):
            continue  # null where an object stands in other records
        kept = [w for w in words if fold(w) not in blank][:_MOST_WORDS]
        if kept or words or name:
            seen.append(Seen(name, kept, _kind(kept), unit_of(name)))
    return [c for c in seen if not c.name.startswith("#") or c.words]


def footers(table: ParsedTable) -> tuple[dict[str, dict[str, None]], npt.NDArray[np.bool_]]:
    """Lines that say who printed what: the usual word that each begins with, by its column, and their rows.

    Such a line fills no other cell.
    """
    usual = tuple(fold(word) for word in aliases()["footers"])
    filled = np.zeros(len(table.rows), dtype=np.int32)
    for column in table.texts.values():
        filled += column.codes >= 0
    words: dict[str, dict[str, None]] = {}
    rows = np.zeros(len(table.rows), dtype=bool)
    for name, column in table.texts.items():
        begins = {c: w.split()[0] for c, w in enumerate(column.vocabulary) if fold(w).startswith(usual)}
        mine = np.isin(column.codes, list(begins)) & (filled == 1)
        if mine.any():
            words[name] = dict.fromkeys(begins[c] for c in np.unique(column.codes[mine]).tolist())
            rows |= mine
    return words, rows


def _sums(table: ParsedTable) -> npt.NDArray[np.bool_]:
    """Which rows sum up others: a cell of theirs says so."""
    totals = {fold(word) for word in aliases()["totals"]}
    found = np.zeros(len(table.rows), dtype=bool)
    for column in table.texts.values():
        found |= np.array([*(fold(word) in totals for word in column.vocabulary), False], dtype=bool)[column.codes]
    return found


_DATE = re.compile(r"\d{1,2}[./-]\d{1,2}[./-](\d{2}|\d{4})|\d{4}[./-]\d{1,2}[./-]\d{1,2}")


def _kind(words: Sequence[str]) -> str:
    """What most of the cells look like: tick, epoch, date, clock, moment, length, number, amount, or text."""
    if not words:
        return "blank"
    if any(len(word) > LONGEST for word in words):
        return "text"
    orders = [Style(dates=order, year=2000) for order in ("dmy", "mdy", "ymd")]
    looks: tuple[tuple[str, Callable[[str], object]], ...] = (
        (
            "number",
            lambda w: re.fullmatch(r"[+-]?\d[\d.,' ]*", w) and not re.fullmatch(r"\d{1,2}\.\d{1,2}\.(\d{2,4})?", w),
        ),
        ("clock", lambda w: _reads(read_clock, w, Style()) and not w.isdigit()),
        # a day that no month has is still written as one
        ("date", lambda w: _DATE.fullmatch(w) or any(_reads(read_date, w, style) for style in orders)),
        ("moment", lambda w: any(_reads(read_moment, w, style) for style in orders)),
        ("length", lambda w: _reads(_read_length, w, Style())),
        ("amount", lambda w: re.fullmatch(r"[+-]?\d[\d.,]* ?[^\d\s].{0,8}", w)),
    )
    if all(re.fullmatch(r"1\d{9}|1\d{12}", word) for word in words):
        return "epoch"
    ticks = {fold(word) for marks in aliases()["ticks"].values() for word in marks}
    if all(fold(word) in ticks for word in words):
        return "tick"
    enough = min(0.8 * len(words), len(words) - 1) if len(words) > 2 else len(words)  # one odd cell may be among a few
    for kind, look in looks:
        if sum(bool(look(w)) for w in words) >= enough:
            return kind
    return "text"


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
    words = [w for c in columns for w in c.words]
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
