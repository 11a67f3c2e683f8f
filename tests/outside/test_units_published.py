"""Units held against a reference library with its own list of sizes, and against the exact published figures.

Exact sizes: NIST Handbook 44, Appendix C (1 US gal = 3.785411784 L, 1 US fl oz = 29.5735295625 mL, 1 lb = 453.59237 g, 1 oz av =
28.349523125 g, C = (F - 32) / 1.8); the imperial units are those of UK law (4.54609 L, 28.4130625 mL). Reference: the registry
that pint itself brings, reckoned in floats.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator import units

REFERENCE = pint.UnitRegistry()
MASSES = {"mg": "milligram", "g": "gram", "kg": "kilogram", "µg": "microgram", "oz_av": "avoirdupois_ounce", "lb": "pound"}
VOLUMES = {
    "L": "liter", "mL": "milliliter", "us_gal": "US_liquid_gallon", "us_fl_oz": "US_fluid_ounce",
    "imp_gal": "imperial_gallon", "imp_fl_oz": "imperial_fluid_ounce",
}  # fmt: skip
decimals = st.decimals(min_value=0, max_value=100_000, places=4).map(lambda d: f"{d:f}")


@settings(deadline=None)  # the first example loads the registry
@given(decimals, st.sampled_from(sorted(MASSES)), st.sampled_from(sorted(VOLUMES)))
def test_a_strength_in_any_unit_is_that_of_the_reference(number: str, mass: str, volume: str) -> None:
    """A mass in a volume, by the reference's own sizes."""
    wanted = REFERENCE.Quantity(float(number), f"{MASSES[mass]} / {VOLUMES[volume]}").to("milligram / liter").magnitude

    assert units.strength(f"{number} {mass}/{volume}") == pytest.approx(wanted, rel=1e-12)


@settings(deadline=None)  # the first example loads the registry
@given(st.decimals(min_value=-70, max_value=500, places=2).map(lambda d: f"{d:f}"))
def test_one_side_of_a_pair_gives_the_other_as_the_reference_does(number: str) -> None:
    """Degrees Fahrenheit and Celsius, both ways."""
    fahrenheit, celsius = units.temperature(f"{number} °F"), units.temperature(f"{number} °C")

    assert fahrenheit.celsius == pytest.approx(REFERENCE.Quantity(float(number), "degF").to("degC").magnitude, abs=1e-9)
    assert celsius.fahrenheit == pytest.approx(REFERENCE.Quantity(float(number), "degC").to("degF").magnitude, abs=1e-9)
    assert (fahrenheit.fahrenheit, celsius.celsius) == (float(number), float(number))


@pytest.mark.parametrize(
    ("text", "exact"),
    [
        ("1 g/us_gal", Fraction(1000) / Fraction("3.785411784")),
        ("1 oz_av/us_gal", Fraction("28349.523125") / Fraction("3.785411784")),
        ("1 lb/us_gal", Fraction("453592.37") / Fraction("3.785411784")),
        ("1 g/us_fl_oz", Fraction(1000) / Fraction("0.0295735295625")),
        ("1 g/imp_gal", Fraction(1000) / Fraction("4.54609")),
        ("1 g/imp_fl_oz", Fraction(1000) / Fraction("0.0284130625")),
        ("2 %", Fraction(20_000)),  # ppm = % x 10 000, by the dilution formula
        ("0.02 %", Fraction(200)),
        ("100 ppm", Fraction(100)),  # ppm is taken as mg/L
        ("500 mg/L", Fraction(500)),
    ],
)
def test_published_sizes_are_exact(text: str, exact: Fraction) -> None:
    """To the last digit of a float: nothing is rounded on the way."""
    assert units.strength(text) == float(exact)


@pytest.mark.parametrize(
    ("text", "celsius", "fahrenheit"),
    [
        ("75 °F", Fraction(215, 9), Fraction(75)), ("100 °F", Fraction(340, 9), Fraction(100)),
        ("171 °F", Fraction(695, 9), Fraction(171)), ("24 °C", Fraction(24), Fraction("75.2")),
        ("65.6 °C", Fraction("65.6"), Fraction("150.08")), ("-40 °C", Fraction(-40), Fraction(-40)),
    ],
)  # fmt: skip
def test_one_side_alone_is_reckoned_exactly(text: str, celsius: Fraction, fahrenheit: Fraction) -> None:
    """C = (F - 32) / 1.8."""
    found = units.temperature(text)

    assert (found.celsius, found.fahrenheit) == (float(celsius), float(fahrenheit))


@pytest.mark.parametrize("pair", [(49, 120), (38, 100), (24, 75), (13, 55), (20, 68), (77, 171), (65.6, 150), (43, 110), (71, 160)])
def test_pairs_of_the_codes_are_read_as_they_are_printed(pair: tuple[float, float]) -> None:
    """Food Code 4-501.114, 4-501.111, 4-501.19; 7 Pa. Code 39.54(e). Not one of them is exact but 20 °C and 68 °F."""
    celsius, fahrenheit = pair
    found = units.temperature(f"{celsius} °C/{fahrenheit} °F")

    assert (found.celsius, found.fahrenheit) == (celsius, fahrenheit)


@settings(deadline=None)  # the first example loads the registry
@given(st.decimals(min_value="0.001", max_value=900_000, places=3))
def test_a_limit_written_in_any_unit_is_the_same_limit(value: Decimal) -> None:
    """100 ppm, 100 mg/L, 0.01 % and 0.1 g/L are one number, whichever way it is written."""
    wanted = float(value)
    percent, grams = value.scaleb(-4), value.scaleb(-3)

    assert [units.strength(text) for text in (f"{value:f} ppm", f"{value:f}mg/L", f"{percent:f} %", f"{grams:f} g/L",
                                              f"{grams:f} mg/mL", f"{grams:f} kg/kL")] == [wanted] * 6  # fmt: skip
