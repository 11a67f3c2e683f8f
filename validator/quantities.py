"""How a duration or a number is written, and how it is said back to a reader."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

MICROSECONDS = 1_000_000
"""Microseconds in a second: every instant inside the program is a whole number of microseconds."""

LITRES = {
    "ml": 0.001, "l": 1.0,
    "us_gal": 3.785411784, "us_fl_oz": 0.0295735295625,
    "imp_gal": 4.54609, "imp_fl_oz": 0.0284130625,
}  # fmt: skip
"""Litres in a unit of volume, exact (NIST Handbook 44, Appendix C; the imperial units from their legal definition)."""
GRAMS = {"g": 1.0, "kg": 1000.0, "oz_av": 28.349523125, "lb": 453.59237}
"""Grams in a unit of mass, exact (NIST Handbook 44, Appendix C); the ounce is the avoirdupois one, no fluid ounce."""

_DURATION = re.compile(r"P(?:(?P<days>\d{1,6})D|T(?=\d)(?:(?P<h>\d{1,6})H)?(?:(?P<m>\d{1,6})M)?(?:(?P<s>\d{1,9})S)?)")
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True, slots=True, order=True)
class Duration:
    """A length of time: calendar days in the store's time zone (`PnD`) or elapsed seconds (`PTnHnMnS`), never both.

    The two do not compare with each other: a day with a clock change has 23 or 25 hours.
    """

    calendar: bool
    amount: int

    @classmethod
    def parse(cls, text: str) -> Duration:
        """Read the closed part of ISO 8601-1 that limits are written in; raise `ValueError` with what may stand there."""
        found = _DURATION.fullmatch(text)
        if found is None:
            raise ValueError(_why_not_a_duration(text))
        if found["days"] is not None:
            return cls(True, int(found["days"]))
        h, m, s = (int(found[part] or 0) for part in "hms")
        return cls(False, h * 3600 + m * 60 + s)

    @property
    def microseconds(self) -> int:
        """The elapsed length; only for a duration that is not in calendar days."""
        if self.calendar:
            raise ValueError(f"{self} counts calendar days and has no fixed length in seconds")
        return self.amount * MICROSECONDS

    @property
    def unit(self) -> str:
        return "d" if self.calendar else "s"

    def __str__(self) -> str:
        if self.calendar:
            return f"P{self.amount}D"
        h, rest = divmod(self.amount, 3600)
        m, s = divmod(rest, 60)
        parts = f"{h}H" * (h > 0) + f"{m}M" * (m > 0) + f"{s}S" * (s > 0)
        return f"PT{parts or '0S'}"


def _why_not_a_duration(text: str) -> str:
    allowed = "write days as P30D, or hours, minutes and seconds as PT15M or PT1H30M"
    if re.fullmatch(r"\d+:\d+(:\d+)?", text):
        return f"{text!r} could be minutes or hours; {allowed}"
    if re.fullmatch(r"P.*[YMW].*", text.split("T")[0]):
        return f"{text!r} counts in years, months or weeks, which have no fixed number of days here; {allowed}"
    if re.fullmatch(r"P\d+DT.+", text):
        return f"{text!r} mixes calendar days with elapsed time; {allowed}"
    return f"{text!r} is not a duration; {allowed}"


def parse_number(text: str) -> float:
    """Read a plain decimal number (ASCII digits, a point, an exponent); raise `ValueError` otherwise.

    Where the text has more digits than a float holds, the result lies on the same side of every limit of up to 15
    digits as the text does: 49.999999999999999 stays below 50 although the nearest float is 50 itself.
    """
    if not _NUMBER.fullmatch(text):
        raise ValueError(text)
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    if len(text) > 15:
        value = _keep_side(value, text)
    return value


def _keep_side(value: float, text: str) -> float:
    try:
        exact = Decimal(text)
    except InvalidOperation:  # pragma: no cover - the grammar above admits no such text
        raise ValueError(text) from None
    shown = Decimal(repr(value))
    if exact < shown:
        return math.nextafter(value, -math.inf)
    return math.nextafter(value, math.inf) if exact > shown else value


def whole_if_whole(value: float) -> float | int:
    """The same number, as an `int` where nothing is lost by it, so that a report says 900 and not 900.0."""
    return int(value) if value == int(value) else value


def plain_number(value: float) -> str:
    """A number as people write it, with every digit that it has: what lies beside a limit does not look like it."""
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))


def say_seconds(seconds: float) -> str:
    """An elapsed time in words a store reads: `14 min 59 s`, `2 h`, `0.5 s`."""
    sign = "-" if seconds < 0 else ""
    seconds = abs(seconds)
    if seconds < 60:
        return f"{sign}{plain_number(round(seconds, 3))} s"
    whole = int(seconds)
    h, rest = divmod(whole, 3600)
    m, s = divmod(rest, 60)
    if h >= 48:
        d, h = divmod(h, 24)
        return sign + (f"{d} days {h} h" if h else f"{d} days")  # minutes do not matter any more
    parts = [f"{h} h"] * (h > 0) + [f"{m} min"] * (m > 0) + [f"{s} s"] * (s > 0)
    return sign + " ".join(parts)


def say(value: float, unit: str) -> str:
    """A quantity in words: seconds become hours, minutes and seconds; `d` becomes days."""
    if unit == "s":
        return say_seconds(value)
    if unit == "d":
        return f"{plain_number(value)} day" if abs(value) == 1 else f"{plain_number(value)} days"
    return f"{plain_number(value)} {unit}".strip()


def conformance_probability(value: float, uncertainty: float, low: float | None, high: float | None) -> float:
    """How likely the true value lies between two limits (None: open), the reading being normal about it.

    `uncertainty` is the standard uncertainty, above 0. JCGM 106:2012, 7.2 to 7.4 (ISO/IEC Guide 98-4).
    """
    below = math.erfc((value - low) / uncertainty / math.sqrt(2)) / 2 if low is not None else 0.0
    above = math.erfc((high - value) / uncertainty / math.sqrt(2)) / 2 if high is not None else 0.0
    return 1 - below - above
