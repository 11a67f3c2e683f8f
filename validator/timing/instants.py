"""Which instant does a text name? RFC 3339, with a blank for `T`, `+hhmm`, no seconds, and 24:00 as the end of a day.

Instants are microseconds since 1970. A text with an offset names a UTC instant, one without it a wall-clock time.
"""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import numpy.typing as npt

from validator.tables import NAT, StringsColumn

FIRST_YEAR, LAST_YEAR = 1990, 2099
"""Years outside these are a slip of the pen or a machine's default date: no such record can be true."""

_INSTANT = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)(?::(\d\d)(?:\.(\d{1,9}))?)?([Zz]|[+-]\d\d:?\d\d)?", re.ASCII
)
_ORDER_UNKNOWN = re.compile(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}(\D.*)?|\d{4,6}([.,]\d+)?", re.ASCII)
_FAR_YEAR = re.compile(r"[+-]?\d{5,}-\d\d-\d\d(\D.*)?|-\d{4}-\d\d-\d\d(\D.*)?", re.ASCII)
_EPOCH = date(1970, 1, 1).toordinal()
DAY_COUNT = re.compile(r"(?:3[789]|4\d|5[0-4])\d{3}(?:[.,]\d{1,15})?", re.ASCII)
"""A day of April 2001 to 2050 as a spreadsheet counts them since 1900, with the part of the day."""
_IS_SERIAL = "looks like the serial number of a date in a spreadsheet; a mapping has to declare it, `unit: serial_1900` or `serial_1904`"
# Days that ended with a leap second, IERS Bulletin C history since 1990 (from memory).
_LEAP_DAYS = {
    date(1990, 12, 31), date(1992, 6, 30), date(1993, 6, 30), date(1994, 6, 30), date(1995, 12, 31),
    date(1997, 6, 30), date(1998, 12, 31), date(2005, 12, 31), date(2008, 12, 31), date(2012, 6, 30),
    date(2015, 6, 30), date(2016, 12, 31),
}  # fmt: skip
_SECOND = 1_000_000


class NoInstant(ValueError):
    """The text names no instant: a defect code and what is wrong with it."""

    def __init__(self, code: str, sentence: str) -> None:
        self.code = code
        super().__init__(sentence)


def parse_instant(text: str) -> tuple[int, bool]:
    """Microseconds since 1970 and whether they are UTC; raise `NoInstant` with the defect code."""
    found = _INSTANT.fullmatch(text)
    if found is None:
        if DAY_COUNT.fullmatch(text):
            raise NoInstant("ambiguous_datetime", _IS_SERIAL)
        if _ORDER_UNKNOWN.fullmatch(text):
            raise NoInstant("ambiguous_datetime", "could be more than one date; write it as 2026-01-31T21:40:00")
        if _FAR_YEAR.fullmatch(text):
            raise NoInstant("implausible_datetime", f"lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
        raise NoInstant("bad_datetime", "is no date and time; write it as 2026-01-31T21:40:00")
    year, month, day, hour, minute = (int(found[n]) for n in range(1, 6))
    second, fraction = int(found[6] or 0), (found[7] or "").ljust(6, "0")[:6]
    try:
        on = date(year, month, day)
    except ValueError:
        code = "implausible_datetime" if year == 0 and 1 <= month <= 12 and 1 <= day <= 31 else "bad_datetime"
        raise NoInstant(code, "is no day of the calendar") from None
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise NoInstant("implausible_datetime", f"lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    offset = _offset_seconds(found[8])
    end_of_day = hour == 24 and minute == second == int(fraction or 0) == 0
    if not end_of_day and (hour > 23 or minute > 59 or second > 59):
        leap = (hour, minute, second) == (23, 59, 60) and offset == 0 and on in _LEAP_DAYS
        if not leap:
            raise NoInstant("bad_datetime", "is no time of day")
    seconds = (on.toordinal() - _EPOCH) * 86_400 + hour * 3600 + minute * 60 + second - (offset or 0)
    return seconds * _SECOND + int(fraction), offset is not None


def _offset_seconds(text: str | None) -> int | None:
    if text is None:
        return None
    if text in "Zz":
        return 0
    hours, minutes = int(text[1:3]), int(text[-2:])
    if hours > 23 or minutes > 59:
        raise NoInstant("bad_datetime", "has an offset from UTC that does not exist")
    return (hours * 3600 + minutes * 60) * (-1 if text[0] == "-" else 1)


_SHAPES = {16: (False, 0), 17: (False, 1), 19: (True, 0), 20: (True, 1), 21: (False, 5), 22: (False, 6),
           24: (True, 5), 25: (True, 6)}  # fmt: skip
"""Width of a text in bytes: whether it has seconds, and how many bytes its offset takes."""


def parse_strings(column: StringsColumn) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_], npt.NDArray[np.intp]]:
    """All cells at once: microseconds, whether UTC, and the positions left to `parse_instant` for a closer look."""
    offsets = column.offsets
    widths = np.diff(offsets)
    micros = np.full(len(widths), NAT)
    absolute = np.zeros(len(widths), dtype=bool)
    doubtful: list[npt.NDArray[np.intp]] = []
    present, counts = np.unique(widths, return_counts=True)
    for width, count in zip(present.tolist(), counts.tolist(), strict=True):
        if width == 0:
            continue
        everything = count == len(widths)
        at = np.arange(len(widths)) if everything else np.flatnonzero(widths == width)
        if width not in _SHAPES:
            doubtful.append(at)
            continue
        if everything:
            cells = np.ascontiguousarray(column.data[offsets[0] : offsets[-1]]).reshape(count, width)
        else:
            cells = column.data[offsets[at][:, None] + np.arange(width)]
        for start in range(0, count, _BLOCK):
            here = at[start : start + _BLOCK]
            values, good = _parse_fixed(cells[start : start + _BLOCK], *_SHAPES[width])
            micros[here] = np.where(good, values, NAT)
            if not good.all():
                doubtful.append(here[~good])
        absolute[at] = _SHAPES[width][1] > 0
    rest = np.sort(np.concatenate(doubtful)) if doubtful else np.empty(0, dtype=np.intp)
    return micros, absolute, rest


_BLOCK = 16_384
"""Cells taken at a time, so that every intermediate array stays in the processor's cache."""
_Words = npt.NDArray[np.uint64]
_HIGH = np.uint64(0xF0F0F0F0F0F0F0F0)
_SIX = np.uint64(0x0606060606060606)
_BYTE = np.uint64(0xFF)


def _parse_fixed(
    cells: npt.NDArray[np.uint8], seconds: bool, zone: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Cells of one shape, one a row: their microseconds, and which of them keep to the shape in every character.

    Eight characters are taken at a time as one 64-bit word: after an exclusive or with the shape, digits are 0 to 9
    and separators 0, so one sum and one mask test all eight, and one product joins every pair of digits.
    """
    size = 19 if seconds else 16
    bad = np.zeros(len(cells), dtype=np.uint64)
    date_part = _window(cells, 0, b"0000-00-", bad)
    clock_part = _window(cells, 8, b"00T00:00", bad, free=2)
    good = np.isin(cells[:, 10], np.frombuffer(b"Tt ", dtype=np.uint8))
    years = (_pair(date_part, 0) * 100 + _pair(date_part, 2)) - FIRST_YEAR
    good &= years.view(np.uint32) <= LAST_YEAR - FIRST_YEAR
    month, day = _pair(date_part, 5), _pair(clock_part, 0)
    good &= (month <= 15) & (day <= 31)
    days = _DAYS[np.where(good, years, 0), month & 15, day & 31]
    hour, minute = _pair(clock_part, 3), _pair(clock_part, 6)
    good &= (days >= 0) & (hour <= 23) & (minute <= 59)
    total = days * np.int64(86_400) + (hour * 3600 + minute * 60)
    if seconds:
        second = _pair(_window(cells, 11, b"00:00:00", bad), 6)
        good &= second <= 59
        total += second
    if zone == 1:
        good &= (cells[:, size] | 0x20) == ord("z")
    if zone >= 5:
        start, shape = (size - 3, b":00+0000") if zone == 5 else (size - 2, b"00+00:00")
        part = _window(cells, start, shape, bad, free=shape.index(b"+"))
        sign = cells[:, size]
        hours, minutes = _pair(part, 4 if zone == 5 else 3), _pair(part, 6)
        good &= ((sign == ord("+")) | (sign == ord("-"))) & (hours <= 23) & (minutes <= 59)
        shift = hours * 3600 + minutes * 60
        total -= np.where(sign == ord("-"), -shift, shift)
    good &= bad == 0
    total *= _SECOND
    return total, good


def _window(cells: npt.NDArray[np.uint8], at: int, shape: bytes, bad: _Words, free: int = -1) -> _Words:
    """Eight characters from `at` of every cell, every pair of neighbours joined into a number; faults go to `bad`.

    The character at `free` may be anything: its caller looks at it.
    """
    words: _Words = np.ndarray(len(cells), "<u8", cells, at, (cells.shape[1],)).astype(np.uint64)
    digits = np.frombuffer(shape, dtype="<u8")[0] ^ words
    separators = bytes(0 if c == ord("0") or at_ == free else 255 for at_, c in enumerate(shape))
    kept = np.frombuffer(bytes(0 if at_ == free else 255 for at_ in range(8)), dtype="<u8")[0]
    digits &= kept
    bad |= (digits | (digits + _SIX)) & _HIGH
    bad |= digits & np.frombuffer(separators, dtype="<u8")[0]
    pairs: _Words = digits * np.uint64(10) + (digits >> np.uint64(8))
    return pairs


def _pair(window: _Words, at: int) -> npt.NDArray[np.int32]:
    """The number that the two digits at `at` make."""
    return ((window >> np.uint64(8 * at)) & _BYTE).astype(np.int32)


def _day_table() -> npt.NDArray[np.int64]:
    """Days since 1970 by year, month and day of the month; -1 where there is no such day."""
    table = np.full((LAST_YEAR - FIRST_YEAR + 1, 16, 32), -1, dtype=np.int64)
    days = np.arange(f"{FIRST_YEAR}-01-01", f"{LAST_YEAR + 1}-01-01", dtype="datetime64[D]")
    months = days.astype("datetime64[M]")
    year = months.astype(np.int64) // 12 + 1970
    table[year - FIRST_YEAR, months.astype(np.int64) % 12 + 1, (days - months).astype(np.int64) + 1] = days.astype(
        np.int64
    )
    return table


_DAYS = _day_table()
