"""The kind `mixed_strength`: what was read against what the recorded amounts make.

The figures follow from exact units (NIST Handbook 44, Appendix C) by hand: 10 ml of a product of 10 % in 9.99 l of water
make 100.1 mg/L of the water alone and 100 mg/L of water and dose.
"""

from __future__ import annotations

import pytest

HEADER = (
    "store_id,equipment_id,cycle_id,step,started_at,ended_at,agent,solution_id,concentration_ppm,"
    "product_amount,product_unit,water_amount,water_unit\n"
)
TEN = "10,ml,9.99,l"
NONE = ",,,"


def pack(percent: str = "10", within: str = "20", agent: str = "chlorine") -> str:
    strength = f"product_percent: {percent}, " if percent else ""
    return (
        "pack: p\nprocedure: cip\nrules:\n  - {id: R, title: t, kind: mixed_strength, "
        f"params: {{agent: {agent}, {strength}within: {within}}}}}\n"
    )


def row(minute: int, step: str, reading: str, amounts: str, agent: str = "chlorine", solution: str = "b") -> str:
    return f"S,E,c,{step},2026-01-05T20:{minute:02d}:00Z,2026-01-05T20:{minute + 1:02d}:00Z,{agent},{solution},{reading},{amounts}\n"


def statuses(judge, *rows: str, more: str | None = None, **of: str) -> list[str]:
    return sorted(check[4] for check in judge(pack(**of), HEADER + "".join(rows), more, reasons=True))


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        ("100", "in"), ("120", "in"), ("80", "in"),
        ("120.1", "in"),  # 20 above what the water alone makes, 100.1
        ("120.2", "out disagrees"), ("79.9", "out disagrees"),
        ("0", "out disagrees"),
    ],
)  # fmt: skip
def test_out_only_beyond_both_ways_to_take_the_volume(judge, reading, expected) -> None:
    """100 to 100.1 mg/L mixed, 20 either way: 80 and 120.1 are within, a tenth beyond is not."""
    found = statuses(judge, row(0, "mix_solution", "", TEN), row(5, "test_solution", reading, NONE))

    assert found == [expected]


@pytest.mark.parametrize(
    ("amounts", "percent", "reading"),
    [
        ("10,ml,9.99,l", "10", "100"),
        ("0.01,L,9990,mL", "10", "100"),  # the symbol of the litre is written in capitals as well
        # 128 US fluid ounces are a gallon: 1 in 127 parts of water is 1/128 of 12.8 %
        ("1,us_fl_oz,127,us_fl_oz", "12.8", "1000"),
        ("1,us_fl_oz,0.9921875,us_gal", "12.8", "1000"),
        ("1,imp_fl_oz,0.99375,imp_gal", "16", "1000"),  # 160 imperial fluid ounces are a gallon
        # a powder: 1 g of 50 % in 5 l is 500 mg in 5 l
        ("1,g,5,l", "50", "100"), ("0.001,kg,5,l", "50", "100"),
        ("1,oz_av,28.349523125,l", "10", "100"), ("1,lb,453.59237,l", "10", "100"),
    ],
)  # fmt: skip
def test_units_are_exact(judge, amounts, percent, reading) -> None:
    """Each unit alone gives the strength to less than a tenth of a mg/L, with no tolerance but that."""
    found = statuses(judge, row(0, "mix_solution", reading, amounts), percent=percent, within="0.0000001")

    assert found == ["in"]


@pytest.mark.parametrize(
    ("amounts", "expected"),
    [
        ("1,fl_oz,1,us_gal", "not_observed unknown_unit"),  # of which country?
        ("1,us_fl_oz,1,gal", "not_observed unknown_unit"),
        ("1,oz,1,us_gal", "not_observed unknown_unit"),  # by volume or by weight?
        ("1,g,1,kg", "not_observed unknown_unit"),  # water is told by volume
        ("1,cap,1,l", "not_observed unknown_unit"),
        ("1,,1,l", "not_observed missing_amounts"),
        (",ml,1,l", "not_observed missing_amounts"),
        ("1,ml,,l", "not_observed missing_amounts"),
        ("1,ml,0,l", "not_observed missing_amounts"),
        (",,,", "not_observed missing_amounts"),
    ],
)
def test_amounts_that_say_no_strength_are_not_guessed(judge, amounts, expected) -> None:
    """A unit of no known size, a missing amount and no water leave the check N/O with its own reason."""
    found = statuses(judge, row(0, "mix_solution", "", amounts), row(5, "test_solution", "5000", NONE))

    assert found == [expected]


def test_nothing_read(judge) -> None:
    """Amounts alone show nothing about a reading."""
    assert statuses(judge, row(0, "mix_solution", "", TEN)) == ["not_observed not_measured"]


def test_another_agent(judge) -> None:
    """A cycle that names only other agents has no subject."""
    assert statuses(judge, row(0, "mix_solution", "500", TEN, agent="quat")) == ["not_applicable"]


def test_strength_of_the_product_comes_from_the_register(judge) -> None:
    """The label's own strength is entered for a machine; without it the check is N/O."""
    rows = [row(0, "mix_solution", "150", TEN)]
    register = (
        "stores: [{store_id: S, timezone: UTC, equipment: [{equipment_id: E, limits: {R: {product_percent: 10}}}]}]"
    )

    assert statuses(judge, *rows, percent="") == ["not_observed no_product_strength"]
    assert statuses(judge, *rows, percent="", more=register) == ["out disagrees"]


def test_a_row_with_both_is_held_against_itself(judge) -> None:
    """Two mixings of one name, each read on its own row: neither is held against the other's amounts."""
    twice = "20,ml,9.98,l"
    rows = [row(0, "mix_solution", "100", TEN), row(5, "mix_solution", "200", twice)]

    assert statuses(judge, *rows) == ["in"]
    assert statuses(judge, row(0, "mix_solution", "200", TEN), row(5, "mix_solution", "200", twice)) == [
        "out disagrees"
    ]


@pytest.mark.parametrize(
    ("reading", "expected"),
    [("100", "not_observed several_mixings"), ("150", "out disagrees"), ("200", "not_observed several_mixings")],
)
def test_a_reading_of_one_of_two_mixings(judge, reading, expected) -> None:
    """A reading that fits one of two mixings may be of either; one that fits none is OUT."""
    rows = [row(0, "mix_solution", "", TEN), row(5, "mix_solution", "", "20,ml,9.98,l")]

    assert statuses(judge, *rows, row(9, "test_solution", reading, NONE)) == [expected]


def test_a_second_mixing_of_unknown_amounts_leaves_it_open(judge) -> None:
    """More product of an unknown amount can have made any strength."""
    rows = [row(0, "mix_solution", "", TEN), row(5, "mix_solution", "", "5,ml,,")]

    assert statuses(judge, *rows, row(9, "test_solution", "300", NONE)) == ["not_observed missing_amounts"]


def test_what_counts_as_a_mixing(judge) -> None:
    """Amounts on any row are a mixing; a step of mixing without amounts is one too, of unknown strength."""
    read = row(9, "test_solution", "300", NONE)

    assert statuses(judge, row(0, "test_solution", "", TEN), read) == ["out disagrees"]
    assert statuses(judge, row(0, "mix_solution", "", TEN), row(5, "mix_solution", "", NONE), read) == [
        "not_observed missing_amounts"
    ]


def test_each_solution_by_itself(judge) -> None:
    """Two solutions of one cycle are two checks."""
    rows = [
        row(0, "mix_solution", "", TEN, solution="a"), row(1, "test_solution", "100", NONE, solution="a"),
        row(5, "mix_solution", "", TEN, solution="b"), row(6, "test_solution", "200", NONE, solution="b"),
    ]  # fmt: skip

    assert statuses(judge, *rows) == ["in", "out disagrees"]


@pytest.mark.parametrize(("percent", "within"), [("0", "5"), ("101", "5"), ("10", "-1")])
def test_impossible_settings_are_refused(judge, percent, within) -> None:
    """No product holds nothing or more than itself, and no tolerance is negative."""
    from validator.errors import WrongInput

    with pytest.raises(WrongInput, match="found"):
        statuses(judge, row(0, "mix_solution", "1", TEN), percent=percent, within=within)
