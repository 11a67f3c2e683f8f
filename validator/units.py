"""How is a limit written with its unit, and what is it in the unit of its column?

A strength is `100 ppm`, `500 mg/L`, `2 %` (of a solution, mass in volume: 20 000 mg/L) or any mass in a volume; a product's
strength is `5.25 %`; a temperature is `24 °C`, `75 °F` or the published pair `24 °C/75 °F`. Everything is reckoned in
fractions. The library that knows units is loaded only where something has to be converted: a text in the column's own unit, and a
pair, are read without it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any, TypeVar

from validator.quantities import parse_number, plain_number

STRENGTH = "100 ppm, 500 mg/L or 2 %"
PERCENT = "5.25 %"
TEMPERATURE = "24 °C, 75 °F or the published pair 24 °C/75 °F"
DIFFERENCE = "1.5 °C or 3 °F"
"""How each is written, for a sentence that says what may stand there."""

_VALUE = r"[+-]?\d+(\.\d*)?([eE][+-]?\d{1,3})?"
_DEGREES = r" ?(°|deg)?[CF]"
STRENGTH_PATTERN = rf"^{_VALUE} ?(ppm|%|[A-Za-zµ]+/[A-Za-z_]+)$"
PERCENT_PATTERN = rf"^{_VALUE} ?%$"
TEMPERATURE_PATTERN = rf"^{_VALUE}{_DEGREES}( ?/ ?{_VALUE}{_DEGREES})?$"
ONE_TEMPERATURE_PATTERN = rf"^{_VALUE}{_DEGREES}$"
"""The same as patterns for a schema; the reading below says more of what is wrong."""

_WRITTEN = re.compile(rf"(?P<number>(?>{_VALUE}))\s*(?P<unit>[^\s\d_.+-].*)", re.ASCII)
_UNIT = re.compile(r"[A-Za-zµ°%]+(_[A-Za-z]+)*(/[A-Za-zµ]+(_[A-Za-z]+)*)?")
_CELSIUS = {"°C", "degC", "C"}
_FAHRENHEIT = {"°F", "degF", "F"}
_OF_NO_COUNTRY = {"gal", "gallon", "gallons", "oz", "ounce", "ounces", "fl_oz", "floz", "qt", "quart", "pt", "pint"}
_DEFINITIONS = (
    # of the units of volume and mass only those that have one size everywhere they are called so (NIST Handbook 44,
    # Appendix C; the imperial gallon from its legal definition)
    "gram = [mass] = g", "litre = [volume] = L = l = liter", "kelvin = [temperature] = K",
    "milli- = 1e-3 = m-", "micro- = 1e-6 = µ- = u-", "kilo- = 1000 = k-",
    "oz_av = 28.349523125 gram", "lb = 453.59237 gram",
    "us_gal = 3.785411784 litre", "us_fl_oz = 0.0295735295625 litre",
    "imp_gal = 4.54609 litre", "imp_fl_oz = 0.0284130625 litre",
    "ppm = milligram / litre", "percent = 10 gram / litre = %",
    "degree_Celsius = kelvin; offset: 273.15 = degC", "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF",
)  # fmt: skip
_UNIT_OF_COUNTRY = "write us_gal, imp_gal, us_fl_oz, imp_fl_oz or oz_av"
Values = TypeVar("Values", bound=Any)


@dataclass(frozen=True, slots=True)
class Temperature:
    """A limit of temperature on either scale; a reading is held against the scale that it was recorded on.

    Published pairs are rounded (100 °F is 37.8 °C and printed as 38 °C), so neither side follows from the other. `text`
    is the limit as it was written.
    """

    celsius: float
    fahrenheit: float
    text: str = field(compare=False)


def has_unit(text: str) -> bool:
    """Whether a number and something after it stands there."""
    return _WRITTEN.fullmatch(text.strip()) is not None


def strength(text: str) -> float:
    """A strength in mg/L; raise `ValueError` with what was found and what may stand there."""
    number, unit = _parts(text, STRENGTH)
    if unit in ("ppm", "mg/L", "mg/l"):
        return parse_number(number)
    if unit == "%":
        return _finite(Fraction(number) * 10_000, text)
    return _finite(_converted(text, "ppm", "a strength", STRENGTH), text)


def percent(text: str) -> float:
    """A product's own strength in percent; raise `ValueError` otherwise."""
    number, unit = _parts(text, PERCENT)
    if unit != "%":
        raise ValueError(f"found {text!r}; a product's strength is in percent, as {PERCENT}")
    return parse_number(number)


def difference(text: str) -> float:
    """A difference between two temperatures in degrees Celsius; raise `ValueError` otherwise."""
    number, unit = _parts(text, DIFFERENCE)
    if unit in _CELSIUS:
        return parse_number(number)
    if unit in _FAHRENHEIT:
        return _finite(Fraction(number) * 5 / 9, text)
    raise ValueError(f"found {text!r}; a difference of temperatures is due, as {DIFFERENCE}")


def celsius(value: float) -> Temperature:
    """The limit that a plain number in degrees Celsius gives."""
    return _one_side(Fraction(repr(value)), value, "celsius")


def temperature(written: str | Sequence[str]) -> Temperature:
    """A temperature on one scale, or a pair on both; raise `ValueError` with what was found and what may stand there."""
    sides = [side.strip() for side in (written.split("/") if isinstance(written, str) else written)]
    said = written if isinstance(written, str) else ", ".join(written)
    found: dict[str, tuple[str, float]] = {}
    for side in sides:
        number, unit = _parts(side, TEMPERATURE)
        scale = "celsius" if unit in _CELSIUS else "fahrenheit" if unit in _FAHRENHEIT else ""
        if not scale:
            _converted(side, "degC", "a temperature", TEMPERATURE)
            raise ValueError(f"found {side!r}; a temperature is due, as {TEMPERATURE}")
        if scale in found:
            raise ValueError(f"found {said!r}, two temperatures on one scale; write {TEMPERATURE}")
        found[scale] = number, parse_number(number)
    if not found:
        raise ValueError(f"expected a temperature, found nothing; write {TEMPERATURE}")
    if len(found) == 1:
        ((scale, (number, value)),) = found.items()
        return _one_side(Fraction(number), value, scale)
    c, f = found["celsius"][1], found["fahrenheit"][1]
    if not agree(c, f):
        other = plain_number(round(1.8 * c + 32, 1))
        raise ValueError(
            f"found {said!r}; {plain_number(c)} °C is {other} °F, and a pair is one temperature on both scales"
        )
    return Temperature(c, f, f"{plain_number(c)} °C/{plain_number(f)} °F")


def agree(celsius: Values, fahrenheit: Values) -> Values:
    """Whether one temperature can be read as both, each rounded to the digits that it has: numbers, or whole arrays."""
    within: Values = abs(fahrenheit - (1.8 * celsius + 32)) <= _half_step(fahrenheit) + 1.8 * _half_step(celsius) + 1e-9
    return within


def _half_step(value: Values) -> Values:
    """Half of the last digit: 0.5 of a whole number, 0.05 of one with tenths, 0.005 of any other."""
    half: Values = 0.005 + 0.045 * _whole(value * 10) + 0.45 * _whole(value)
    return half


def _whole(value: Values) -> Values:
    near: Values = abs(value - (value + 0.5) // 1) < 1e-6
    return near


def _one_side(exact: Fraction, value: float, scale: str) -> Temperature:
    """The other side reckoned exactly: with one figure alone there is no printed pair to go by."""
    if scale == "celsius":
        return Temperature(value, float(exact * 9 / 5 + 32), f"{plain_number(value)} °C")
    return Temperature(float((exact - 32) * 5 / 9), value, f"{plain_number(value)} °F")


def _finite(exact: Fraction, text: str) -> float:
    try:
        return float(exact)
    except OverflowError:
        raise ValueError(f"found {text!r}; expected a finite number") from None


def _parts(text: str, allowed: str) -> tuple[str, str]:
    found = _WRITTEN.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"found {text!r}; expected a number with its unit, as {allowed}")
    return found["number"], found["unit"]


def _converted(text: str, to: str, what: str, allowed: str) -> Fraction:
    """A number with a unit as a fraction of another unit."""
    number, unit = _parts(text, allowed)
    for word in unit.split("/"):
        if word.casefold() in _OF_NO_COUNTRY:
            raise ValueError(f"found {text!r}; {word} has no one size in all countries, {_UNIT_OF_COUNTRY}")
    import pint

    registry = _registry()
    unknown = ValueError(f"found {text!r}; {unit} is no unit of {what}, write {allowed}")
    if not _UNIT.fullmatch(unit):
        raise unknown
    try:
        quantity = registry.Quantity(Fraction(number), registry.parse_units(unit.replace("°", "deg")))
        return Fraction(quantity.to(to).magnitude)
    except pint.UndefinedUnitError:
        raise unknown from None
    except pint.DimensionalityError:
        raise ValueError(f"found {text!r}; {what} is due, as {allowed}") from None


@cache
def _registry() -> Any:
    """Only units that have one size, in fractions; the library's own list calls a gallon of any country a US one."""
    import pint

    registry: Any = pint.UnitRegistry(None, non_int_type=Fraction)
    for definition in _DEFINITIONS:
        registry.define(definition)
    return registry
