"""What does a cell of an export say, by the mapping? Dates, times of day, lengths of time, numbers with their unit.

Every grammar is closed: what is not written as it says is `NotRead`, with a defect code and a sentence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from validator.timing.instants import DAY_COUNT, FIRST_YEAR, LAST_YEAR

ORDERS = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
                "november", "december")  # fmt: skip
_ISO_DATE = re.compile(r"(\d{4})-(\d\d)-(\d\d)", re.ASCII)
_THREE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})", re.ASCII)
_TWO = re.compile(r"(\d{1,2})([./-])(\d{1,2})\.?", re.ASCII)
_NAMED_DAY_FIRST = re.compile(r"(\d{1,2})(?:\. ?|[ -])([A-Za-z]{3,9})\.?,?[ -](\d{4}|\d\d)", re.ASCII)
_NAMED_MONTH_FIRST = re.compile(r"([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4}|\d\d)", re.ASCII)
_CLOCK = re.compile(
    r"(\d{1,2})(?::([0-5]\d)(?::([0-5]\d)(\.\d{1,6})?)?)? ?([ap])\.?m?\.?"
    r"|(\d{1,2}):([0-5]\d)(?::([0-5]\d)(\.\d{1,6})?)?",
    re.ASCII | re.IGNORECASE,
)
_OFFSET = re.compile(r"(.*\d) ?([Zz]|[+-]\d\d:?\d\d)", re.ASCII)
_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d(:\d\d(\.\d{1,9})?)?([Zz]|[+-]\d\d:?\d\d)?", re.ASCII)
_TYPED_CLOCK = re.compile(r"T(\d\d:\d\d:\d\d(?:\.\d{1,6})?)", re.ASCII)
_MOMENT = re.compile(r"(.+?)(?:,? +|[Tt])(\d{1,2}(?::.+| ?[AaPp].*))", re.ASCII)
_LENGTH_PARTS = re.compile(
    r"(?:(?P<h>N) ?(?:hours|hour|hrs|hr|h))? ?(?:(?P<m>N) ?(?:minutes|minute|mins|min|m))? ?"
    r"(?:(?P<s>N) ?(?:seconds|second|secs|sec|s))?".replace("N", r"\d+(?:[.,]\d+)?"),
    re.ASCII | re.IGNORECASE,
)
_LENGTH_CLOCK = re.compile(r"T?(\d{1,3}):([0-5]\d):([0-5]\d)(?:\.(\d{1,3}))?", re.ASCII)
_LENGTH_ISO = re.compile(r"PT(?=\d)(?:(\d{1,6})H)?(?:(\d{1,6})M)?(?:(\d{1,9}(?:\.\d{1,3})?)S)?", re.ASCII)
_WITH_UNIT = re.compile(r"(?P<number>[+-]?[\d.,' \u00a0\u202f]*\d) ?(?P<unit>[^\d\s+.,:/'-].*)?", re.ASCII)
_CLOCK_BY_POINT = re.compile(r"(\d{1,2})\.([0-5]\d)(?:\.([0-5]\d))?( ?[ap]\.?m?\.?)?", re.ASCII | re.IGNORECASE)
_MOMENT_BY_POINT = re.compile(r"(.+?)(?:,? +|[Tt])(\d{1,2}\.[0-5]\d(?:\.[0-5]\d)?(?: ?[AaPp].*)?)", re.ASCII)
_COUNT = re.compile(r"\d+(?:[.,]\d+)?", re.ASCII)
# the 1900 system counts a 29 February 1900 that never was, so that from 1 March 1900 on its day 0 is 30 December 1899
_DAYS_FROM = {"serial_1900": date(1899, 12, 30), "serial_1904": date(1904, 1, 1)}
_DAY_SECONDS, _MINUTE = 86_400, 60
_SECONDS = {"s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)}
_PPM = {"ppm": Fraction(1), "mg/l": Fraction(1), "%": Fraction(10_000)}
_CELSIUS = {"c": "C", "°c": "C", "deg c": "C", "f": "F", "°f": "F", "deg f": "F"}


class NotRead(ValueError):
    """A cell that is not written as the mapping says: a defect code and what is wrong with it."""

    def __init__(self, code: str, sentence: str) -> None:
        self.code = code
        super().__init__(sentence)


@dataclass(frozen=True)
class Style:
    """How a layout writes dates, times and numbers."""

    dates: str | None = None
    year: int | None = None
    clock: str | None = None
    decimal: str = "."
    thousands: str | None = None
    clock_mark: str = ":"


# --- dates and times ------------------------------------------------------------------------------------------------


def read_moment(text: str, style: Style) -> str:
    """A date and a time of day in one cell as RFC 3339, with an offset where the cell has one."""
    if _RFC_3339.fullmatch(text):
        return text  # complete and in one order: neither clock nor order of days is asked of it
    offset = ""
    whole = _OFFSET.fullmatch(text)
    if whole is not None and ":" in whole[1]:
        text, offset = whole[1], whole[2].upper()
    found = (_MOMENT_BY_POINT.fullmatch(text) if style.clock_mark == "." else None) or _MOMENT.fullmatch(text)
    if found is None:
        read_date(text, style)  # says what is wrong with the date, if it is the date
        raise NotRead("bad_datetime", "names a day and no time of day; the mapping reads both from this column")
    return f"{read_date(found[1], style)}T{read_clock(found[2], style)}{offset}"


def read_date(text: str, style: Style) -> str:
    """A day as 2026-01-31; one whose order the mapping does not state is not read, unless its year comes first."""
    year, month, day = _parts(text, style)
    try:
        found = date(year, month, day)
    except ValueError:
        told = f" ({ORDERS[style.dates]}, as the mapping says)" if style.dates and not _ISO_DATE.match(text) else ""
        why = f"has {month} in the place of the month" if not 1 <= month <= 12 else "is no day of the calendar"
        raise NotRead("bad_datetime", why + told) from None
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise NotRead("implausible_datetime", f"lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    return found.isoformat()


def _parts(text: str, style: Style) -> tuple[int, int, int]:
    iso = _ISO_DATE.match(text)
    if iso is not None and text[10:] in ("", "T00:00:00", " 00:00:00"):  # a workbook's date has a midnight
        return int(iso[1]), int(iso[2]), int(iso[3])
    named = _NAMED_DAY_FIRST.fullmatch(text)
    if named is not None:
        return _year(named[3]), _month(named[2]), int(named[1])
    named = _NAMED_MONTH_FIRST.fullmatch(text)
    if named is not None:
        return _year(named[3]), _month(named[1]), int(named[2])
    two, three = _TWO.fullmatch(text), _THREE.fullmatch(text)
    if two is None and three is None:
        if DAY_COUNT.fullmatch(text):
            raise NotRead("bad_datetime", "looks like the serial number of a date in a spreadsheet; say `unit: serial_1900` or "
                          "`serial_1904` in the mapping")  # fmt: skip
        raise NotRead("bad_datetime", "is no date that the mapping knows")
    if style.dates is None:
        why = "could be more than one date; say `dates: dmy`, `mdy` or `ymd` in the mapping"
        raise NotRead("ambiguous_datetime", why)
    if three is not None:
        return _in_order(three[1], three[3], three[4], style.dates)
    assert two is not None
    if style.year is None:
        raise NotRead("bad_datetime", "has no year; say `year: 2026` in the mapping if it is the same for all rows")
    first, last = int(two[1]), int(two[3])
    return (style.year, last, first) if style.dates == "dmy" else (style.year, first, last)


def _in_order(first: str, middle: str, last: str, order: str) -> tuple[int, int, int]:
    year, rest = (first, last) if order == "ymd" else (last, first)
    if len(year) not in (2, 4) or len(rest) > 2:
        raise NotRead("bad_datetime", f"is no date written {ORDERS[order]}, as the mapping says")
    month, day = (rest, middle) if order == "mdy" else (middle, rest)
    return _year(year), int(month), int(day)


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _month(name: str) -> int:
    folded = name.casefold()
    for names in (_MONTHS, _LONG_MONTHS):
        if folded in names:
            return names.index(folded) + 1
    if folded == "sept":
        return 9
    raise NotRead("bad_datetime", f"names {name!r}, which is no month")


def read_clock(text: str, style: Style) -> str:
    """A time of day as 21:40:00; `12h` asks for am or pm, `24h` for neither. With the clock mark `.`, 21.40 is one too."""
    by_point = _CLOCK_BY_POINT.fullmatch(text) if style.clock_mark == "." else None
    if by_point is not None:
        text = ":".join(part for part in by_point.groups()[:3] if part) + (by_point[4] or "")
    typed = _TYPED_CLOCK.fullmatch(text)
    if typed is not None:  # a workbook's own time of day: neither am nor pm is asked of it
        return typed[1]
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise NotRead("bad_datetime", "is no time of day that the mapping knows")
    if found[5] is None:
        if style.clock == "12h":
            raise NotRead(
                "ambiguous_datetime", "has neither am nor pm, and the mapping says that the clock has 12 hours"
            )
        return _said_clock(int(found[6]), found[7], found[8], found[9])
    if style.clock == "24h":
        raise NotRead("bad_datetime", "has am or pm, and the mapping says that the clock has 24 hours")
    hour = int(found[1])
    if not 1 <= hour <= 12:
        raise NotRead("bad_datetime", "is no time of a 12-hour clock")
    return _said_clock(hour % 12 + (12 if found[5].lower() == "p" else 0), found[2], found[3], found[4])


def _said_clock(hour: int, minute: str | None, second: str | None, fraction: str | None) -> str:
    end_of_day = hour == 24 and int(minute or 0) == int(second or 0) == 0 and not (fraction or "").strip(".0")
    if hour > 23 and not end_of_day:
        raise NotRead("bad_datetime", "is no time of day")
    return f"{hour:02d}:{minute or '00'}:{second or '00'}{fraction or ''}"


def read_epoch(text: str, unit: str) -> str:
    """A count of seconds or milliseconds since 1970 as RFC 3339 in UTC."""
    from datetime import UTC, datetime

    if not re.fullmatch(r"\d{1,15}", text, re.ASCII):
        raise NotRead("bad_datetime", "is no whole count of seconds or milliseconds since 1970")
    seconds, rest = divmod(int(text), 1000 if unit == "epoch_ms" else 1)
    if not 631_152_000 <= seconds < 4_102_444_800:
        raise NotRead("implausible_datetime", f"lies outside the years {FIRST_YEAR} to {LAST_YEAR} as {unit}")
    stamp = datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    return f"{stamp}.{rest:03d}Z" if rest else f"{stamp}Z"


def read_serial(text: str, unit: str, style: Style) -> str:
    """A spreadsheet's count of days, with the part of the day behind the decimal mark, as RFC 3339 without an offset.

    What is no bare number is read as it is written.
    """
    if not _COUNT.fullmatch(text):
        return read_moment(text, style)
    day, part = _serial(text, style)
    if not part:
        raise NotRead("bad_datetime", "is a whole count of days, which names no time of day")
    seconds = _seconds_of_day(part)
    return f"{_serial_day(day + seconds // _DAY_SECONDS, unit)}T{_clock_of(seconds % _DAY_SECONDS)}"


def read_serial_date(text: str, unit: str, style: Style) -> str:
    """The day of a spreadsheet's count of days; of one with a part of a day, that day. Else the day as it is written."""
    if not _COUNT.fullmatch(text):
        return read_date(text, style)
    return _serial_day(_serial(text, style)[0], unit)


def read_serial_clock(text: str, style: Style) -> str:
    """The time of day of a spreadsheet's part of a day, `0.9028`, whatever whole days stand before it. Else as it is written."""
    if not _COUNT.fullmatch(text):
        return read_clock(text, style)
    seconds = _seconds_of_day(_serial(text, style)[1])
    if seconds >= _DAY_SECONDS:
        raise NotRead("bad_datetime", "is the end of a day, which is no time of it")
    return _clock_of(seconds)


def _serial(text: str, style: Style) -> tuple[int, str]:
    whole, _, part = read_number(text, style).partition(".")
    if not re.fullmatch(r"\d{1,7}", whole) or not re.fullmatch(r"\d{0,15}", part):
        raise NotRead("bad_datetime", "is no count of days as a spreadsheet holds it")
    return int(whole), part


def _serial_day(day: int, unit: str) -> str:
    found = _DAYS_FROM[unit] + timedelta(days=day)
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise NotRead("implausible_datetime", f"lies outside the years {FIRST_YEAR} to {LAST_YEAR} as {unit}")
    return found.isoformat()


def _seconds_of_day(part: str) -> int:
    """The second that a part of a day stands for: of few digits the only minute they allow, else the nearest.

    Zeros at the end count as digits: who writes them has rounded there.
    """
    exact = Fraction(int(part or 0), 10 ** len(part)) * _DAY_SECONDS
    if exact % _MINUTE == 0:
        return int(exact)
    half = Fraction(_DAY_SECONDS, 2 * 10 ** len(part))
    if half <= 1:
        return round(exact)
    minute = round(exact / _MINUTE) * _MINUTE
    if abs(minute - exact) > half or 2 * half >= _MINUTE:
        raise NotRead(
            "ambiguous_datetime",
            f"has too few digits for a time of day: {len(part)} of them tell it to {round(2 * half)} s",
        )
    return minute


def _clock_of(seconds: int) -> str:
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


# --- numbers --------------------------------------------------------------------------------------------------------


def read_number(text: str, style: Style) -> str:
    """A bare number as a plain decimal one: the mapping's own decimal mark, thousands in whole groups of three."""
    mark, group = re.escape(style.decimal), style.thousands
    whole = r"\d+"
    if group is not None:
        blank = "[ \u00a0\u202f]" if group == " " else re.escape(group)
        whole = rf"(?:\d{{1,3}}(?:{blank}\d{{3}})+|\d+)"
    found = re.fullmatch(rf"([+-]?)({whole})(?:{mark}(\d+))?([eE][+-]?\d{{1,3}})?", text, re.ASCII)
    if found is None:
        said = f"the decimal mark is {style.decimal!r}"
        said += f" and thousands are parted by {group!r}" if group else " and thousands are not parted"
        raise NotRead("bad_number", f"is no number as the mapping writes them: {said}")
    digits = re.sub(r"\D", "", found[2])
    return f"{found[1]}{digits}" + (f".{found[3]}" if found[3] else "") + (found[4] or "")


def _parted(text: str, style: Style) -> tuple[str, str]:
    """The number of a cell and the unit after it, which may be empty."""
    try:
        return read_number(text, style), ""
    except NotRead:
        pass
    found = _WITH_UNIT.fullmatch(text)
    if found is None or found["unit"] is None:
        return read_number(text, style), ""
    return read_number(found["number"].strip(), style), found["unit"].strip()


def read_part(text: str, part: str, style: Style) -> str:
    """The number or the unit of a cell that holds both."""
    number, unit = _parted(text, style)
    if part == "number":
        return number
    if not unit:
        raise NotRead("unit_missing", "has no unit beside its number")
    return unit


def read_amount(text: str, column: str, unit: str | None, style: Style) -> str:
    """A measured value in the unit of its canonical column; a bare number has the mapping's unit, or is not read."""
    if column == "duration_s":
        return read_length(text, unit, style)
    number, found = _parted(text, style)
    if column == "temperature_c":
        scale = _CELSIUS.get(found.casefold().replace("º", "°"), "") if found else unit
        if scale == "F":
            return _decimal((Fraction(number) - 32) * Fraction(5, 9))
        return _known(number, scale, "C", found, "°C or °F", unit)
    if column == "temperature_f":  # what the thermometer showed: never converted
        scale = _CELSIUS.get(found.casefold().replace("º", "°"), "") if found else unit
        return _known(number, scale, "F", found, "°F", unit)
    if column in ("concentration_ppm", "hardness_ppm"):
        factor = _PPM.get((found or unit or "").casefold())
        if factor is not None and (column == "concentration_ppm" or factor == 1):
            return number if factor == 1 else _decimal(Fraction(number) * factor)
        return _known(
            number, None, "", found, "ppm, mg/L or %" if column == "concentration_ppm" else "ppm or mg/L", unit
        )
    if found:
        raise NotRead("unit_in_cell", f"holds {found!r} beside the number, which the mapping does not take off")
    return number


def read_drops(text: str, each: float, blank: float, style: Style) -> str:
    """What so many drops of a titration kit stand for: those past the blank's, each for as much as the kit's sheet says."""
    drops = Fraction(read_number(text, style))
    if drops.denominator != 1 or drops < 0:
        raise NotRead("bad_number", "is no number of drops")
    return _decimal(max(Fraction(0), drops - Fraction(repr(blank))) * Fraction(repr(each)))


def _known(number: str, scale: str | None, wanted: str, found: str, allowed: str, unit: str | None) -> str:
    if scale == wanted and scale:
        return number
    if found:
        raise NotRead("unit_in_cell", f"has the unit {found!r}; known here: {allowed}")
    raise _no_unit(allowed) if unit is None else NotRead("unit_in_cell", f"has no unit known here: {allowed}")


def _no_unit(allowed: str) -> NotRead:
    return NotRead("unit_missing", f"has no unit, and the mapping states none; known here: {allowed}")


def read_length(text: str, unit: str | None, style: Style) -> str:
    """A length of time in seconds: `15 min`, `1 h 5 min`, `0:15:00`, `PT15M`, or a bare number in the mapping's unit."""
    found = _LENGTH_ISO.fullmatch(text)
    if found is not None:
        return _decimal(sum((Fraction(found[n] or 0) * f for n, f in ((1, 3600), (2, 60), (3, 1))), Fraction(0)))
    found = _LENGTH_CLOCK.fullmatch(text)
    if found is not None:
        seconds = int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3])
        return _decimal(seconds + Fraction(f"0.{found[4] or 0}"))
    if re.fullmatch(r"\d{1,3}:\d\d", text, re.ASCII):
        raise NotRead("ambiguous_duration", "could be minutes or hours; write it as 0:15:00 or 15 min")
    found = _LENGTH_PARTS.fullmatch(text)
    if found is not None and any(found.groups()):
        parts = ((found["h"], 3600), (found["m"], 60), (found["s"], 1))
        return _decimal(sum((Fraction(read_number(t, style)) * f for t, f in parts if t), Fraction(0)))
    number, word = _parted(text, style)
    if word:
        raise NotRead("unit_in_cell", f"has the unit {word!r}; known here: s, min, h")
    if unit is None:
        raise _no_unit("s, min, h")
    return _decimal(Fraction(number) * _SECONDS[unit])


def _decimal(value: Fraction) -> str:
    """The number nearest to a fraction, without an exponent where it is whole."""
    try:
        return str(value.numerator) if value.denominator == 1 else repr(float(value))
    except OverflowError:
        raise NotRead("bad_number", "is larger than any number that can be held") from None
