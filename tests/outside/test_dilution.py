"""Published arithmetic of dilution, example by example: what a strength takes, and what amounts make.

P stands for an example published with its answer, R for published amounts whose answer follows from exact units (NIST
Handbook 44, Appendix C).
"""

from __future__ import annotations

import numpy as np
import pytest

from validator.kinds.dilution import grams, litres, strength


def made(percent: float, amount: float, unit: str, water: float, water_unit: str) -> tuple[float, float]:
    """Least and most mg/L of one mixing."""
    low, high = strength(percent, amount * litres([unit]), amount * grams([unit]), water * litres([water_unit]))
    return float(low[0]), float(high[0])


@pytest.mark.parametrize(
    ("percent", "parts", "wanted"),
    [
        (3.5, 6, 0.5),  # 1, P: cdc.gov, appendix E on preparing chlorine solutions
        (5, 49, 0.1),  # 2, P: the same
    ],
)
def test_parts_of_water_to_one_of_bleach(percent, parts, wanted) -> None:
    """Percent over wanted percent less one: with so many parts of water, water and dose make the wanted strength."""
    low, _ = made(percent, 1, "l", parts, "l")

    assert low == pytest.approx(wanted * 10_000)


def test_grams_of_powder_in_a_litre() -> None:
    """Example 3, P: cdc.gov and IARC, 0.5 % from a powder of 35 % takes 14.3 g/L."""
    _, high = made(35, 14.2857, "g", 1, "l")

    assert high == pytest.approx(5000, rel=1e-5)
    assert round(5000 / (made(35, 1, "g", 1, "l")[1]), 1) == 14.3


def test_an_ounce_in_a_gallon() -> None:
    """Example 4, P with the answer computed again: kdhe.ks.gov/1019, 1 fl oz of 5.25 % in 1 gal is 410 mg/L."""
    low, high = made(5.25, 1, "us_fl_oz", 1, "us_gal")

    assert (round(low, 2), round(high, 2)) == (406.98, 410.16)
    assert round(high) == 410


@pytest.mark.parametrize(
    ("percent", "amount", "unit", "gallons", "stated", "tolerance"),
    [
        (5.25, 122, "us_fl_oz", 1000, 50, 0.1),  # 5, P: kdhe.ks.gov/1019
        (6, 8.33, "us_gal", 5000, 100, 0.1),  # 6, P: a page on dosing for the trade
        (12, 4.17, "us_gal", 5000, 100, 0.1),  # 6
        (65, 6.408, "lb", 5000, 100, 0.25),  # 7, P: the same; it weighs a gallon at 8.33 lb, which is 0.998 kg/L
        (5.7, 4.5, "us_fl_oz", 10, 200.4, 0.05),  # 8, R: label item 735888, states 200 ppm; implies 5.7 %
        (5.25, 4.5, "us_fl_oz", 10, 184.6, 0.05),  # 8: at 5.25 % only that
        (5.25, 0.5, "us_fl_oz", 1, 205.1, 0.05),  # 9, R: maker's instructions; over the 200 they state
        (5.25 * 0.9525, 0.5, "us_fl_oz", 1, 195.3, 0.1),  # 9: if 5.25 % is the NaOCl (70.906 / 74.442)
        (12.5, 2, "us_fl_oz", 9, 217.0, 0.05),  # 10, R: item 610653 p.39, states 200
    ],
)  # fmt: skip
def test_what_published_amounts_make(percent, amount, unit, gallons, stated, tolerance) -> None:
    """The published sources count the volume of the water alone."""
    _, high = made(percent, amount, unit, gallons, "us_gal")

    assert high == pytest.approx(stated, abs=tolerance)


def test_imperial_and_us_units_differ_as_much_as_published() -> None:
    """Handbook 44 and the imperial definition: the imperial gallon is about a fifth larger, its ounce 4 % smaller."""
    us, imperial = litres(["us_gal", "us_fl_oz"]), litres(["imp_gal", "imp_fl_oz"])

    assert us[0] / imperial[0] - 1 == pytest.approx(-0.17, abs=0.005)
    assert us[1] / imperial[1] - 1 == pytest.approx(0.04, abs=0.005)
    assert 128 * us[1] == pytest.approx(us[0], rel=1e-15)
    assert 160 * imperial[1] == pytest.approx(imperial[0], rel=1e-15)
    assert us[0] == pytest.approx(231 * 16.387064 / 1000, rel=1e-15)  # 231 cubic inches


@pytest.mark.parametrize("unit", ["gal", "fl_oz", "oz", "pint", ""])
def test_a_unit_without_a_country_has_no_size(unit) -> None:
    """`oz` and `gal` of no country can be off by 4 and by 17 percent, so they are none."""
    assert np.isnan(litres([unit])).all()
    assert np.isnan(grams([unit])).all()
