"""Quantities, rows, shares and characters as a reader meets them."""

from __future__ import annotations

import dataclasses
import sys
import unicodedata
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.findings import Due, Evidence, Quantity, Report, Required, Score, Status
from validator.reports import words
from validator.reports.visible import NAME_LIMIT, name, sentence

Made = Callable[[str], Report]


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ([12], "row 12"),
        ([16, 12, 14, 15], "rows 12, 14-16"),
        ([2, 3], "rows 2-3"),
        ([5, 5], "row 5"),
        ([0], "the file as a whole"),
        ([], ""),
        (range(2, 60, 2), "rows 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24 and 17 more"),
    ],
)
def test_rows_are_said_as_runs(numbers: list[int], said: str) -> None:
    """Row numbers are sorted, joined to runs, and counted where there are too many."""
    assert said == words.rows(numbers)


@given(st.sets(st.integers(1, 60), min_size=1, max_size=12))
def test_runs_name_every_row_and_no_other(numbers: set[int]) -> None:
    """Reading the runs back gives the rows."""
    said = words.rows(numbers).removeprefix("rows ").removeprefix("row ")
    ends = [[int(end) for end in run.split("-")] for run in said.split(", ")]

    assert numbers == {row for run in ends for row in range(run[0], run[-1] + 1)}


def test_evidence_of_two_files_and_sheets_is_one_line_each() -> None:
    """Equal row numbers of different files are not mixed."""
    evidence = [
        Evidence("a.csv", "", 3, ("step",)),
        Evidence("b.xlsx", "Log", 3, ("step",)),
        Evidence("a.csv", "", 4, ("target",)),
    ]

    assert words.places(evidence) == ("a.csv rows 3-4 (step, target)", 'b.xlsx sheet "Log" row 3 (step)')


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (None, "not judged"),
        (100.0, "100 %"),
        (99.99, "99.9 %"),
        (99.5, "99.5 %"),
        (99.4, "99 %"),
        (0.5, "0.5 %"),
        (0.0, "0 %"),
        (0.01, "0.1 %"),
        (87.4, "87 %"),
    ],
)
def test_a_share_is_never_rounded_to_all_or_none(value: float | None, said: str) -> None:
    """100 % means all and 0 % means none."""
    assert said == words.percent(value)


@given(st.floats(0, 100))
def test_100_percent_is_said_of_100_alone(value: float) -> None:
    """No share below 100 reads as 100, and none above 0 reads as 0."""
    assert (value == 100, value == 0) == (words.percent(value) == "100 %", words.percent(value) == "0 %")


def test_a_score_has_its_range_where_it_has_one() -> None:
    """The range stands in brackets and is left out where it is a point."""
    said = [words.score(Score(*ends)) for ends in ((87.4, 81.0, 94.2), (50.0, 50.0, 50.0), (None, 0.0, 100.0))]

    assert said == ["87 % (81-94 %)", "50 %", "not judged"]


@pytest.mark.parametrize(
    ("observed", "low", "high", "margin", "said"),
    [
        (899, 900, None, -1, "1 short"),
        (899, 900, None, 1, "1 short"),
        (101, 50, 100, -1, "1 over"),
        (49, 50, 100, -1, "1 short"),
        (75, 50, 100, 25, "25 inside the limit"),
        (900, 900, None, 0, "exactly at the limit"),
        ("word", 900, None, -1, "1 short"),
        ("word", None, 5, -1, "1 over"),
        ("word", 1, 5, -1, "1 outside the limit"),
    ],
)
def test_a_margin_says_its_side(
    made: Made, observed: float | str, low: float | None, high: float | None, margin: float, said: str
) -> None:
    """Short of a least value, over a greatest one; the values decide before the sign does."""
    finding = dataclasses.replace(
        made("full").findings[0],
        observed=Quantity(observed, "1"),
        required=Required(low, high, "1", ""),
        margin=Quantity(margin, "1"),
        status=Status.OUT,
    )

    assert said == words.margin(finding)


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        (Quantity(899, "s"), "14 min 59 s"),
        (Quantity(1, "d"), "1 day"),
        (Quantity(71.5, "Cel"), "71.5 °C"),
        (Quantity(0.9, "1"), "0.9"),
        (Quantity("same person", ""), "same person"),
        (Quantity(float("nan"), "ppm"), "nan ppm"),
        (None, ""),
    ],
)
def test_a_quantity_is_said_with_the_unit_people_use(quantity: Quantity | None, said: str) -> None:
    """Seconds become minutes, Cel becomes °C, and a plain number has no unit."""
    assert said == words.amount(quantity)


@pytest.mark.parametrize(("days", "said"), [(-1, "1 day overdue"), (0, "due today"), (5, "due in 5 days")])
def test_a_date_is_said_from_its_days(days: int, said: str) -> None:
    """The last day itself is not overdue."""
    assert said == words.due(Due("s", "e", "r", "2026-01-01", days, "", "", ""))


def test_a_name_at_the_start_of_a_sentence_keeps_its_spelling() -> None:
    """`ended_at` and `line-2` are not made into other names by a capital."""
    assert [
        words.capital(text) for text in ("ended_at is", "line-2 was", "the file")
    ] == ["ended_at is", "line-2 was", "The file"]


def test_no_control_or_bidirectional_mark_or_odd_blank_is_left() -> None:
    """Every code point that Unicode calls control, separator, surrogate, private or bidirectional is spelled out."""
    bidi = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI", "BN"}
    hidden = [
        char
        for char in map(chr, range(sys.maxunicode + 1))
        if unicodedata.category(char) in {"Cc", "Zs", "Zl", "Zp", "Cs", "Co"} or unicodedata.bidirectional(char) in bidi
    ]
    left = [hex(ord(char)) for char in hidden if char != " " and name(char) == char]

    assert left == []


def test_letters_digits_and_signs_of_every_script_are_shown_as_they_are() -> None:
    """Escaping touches what is invisible and nothing else."""
    blank = set("\u115f\u1160\u2800\u3164\uffa0")
    seen = [c for c in map(chr, range(0x21, sys.maxunicode + 1)) if unicodedata.category(c)[0] in "LNPS"]

    assert blank == {char for char in seen if name(char) != char}


def test_control_and_invisible_characters_are_named() -> None:
    """A control is spelled as in source text, an invisible one by its code point."""
    assert (name("\x1b[2J\n"), name("a\u202eb"), name("\U000e0041")) == ("\\x1b[2J\\x0a", "aU+202Eb", "U+E0041")


def test_a_sentence_is_one_line() -> None:
    """Line ends of a folded text become blanks."""
    assert sentence(" one\r\n\t two\n") == "one two"


def test_what_is_cut_off_is_counted() -> None:
    """A long name says how much of it is missing, and one at the limit is whole."""
    whole = "x" * NAME_LIMIT

    assert (whole, f"{whole} ... (9,840 more characters)") == (name(whole), name("x" * 10_000))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Test it", "Test it."),
        ("Test it.", "Test it."),
        ("Test it (by the kit)", "Test it (by the kit)."),
        ("(From memory.)", "(From memory.)"),
        (")", ")."),
        ("", ""),
    ],
)
def test_a_sentence_has_one_full_stop(text: str, said: str) -> None:
    """A stop inside the last brackets is one; brackets inside a sentence are not."""
    assert words.stopped(text) == said


@pytest.mark.parametrize(
    ("as_of", "said"),
    [
        ("2026-07-01", "2026-07-01, to the end of the day at each store"),
        ("2026-07-01T12:00", "2026-07-01T12:00 at each store"),
        ("2026-07-01T12:00Z", "2026-07-01T12:00Z"),
        ("2026-07-01T12:00:00-07:00", "2026-07-01T12:00:00-07:00"),
    ],
)
def test_a_moment_without_an_offset_is_one_at_each_store(as_of: str, said: str) -> None:
    """Noon at each store is not one moment, and is not shown as if it were."""
    assert words.looked_from(as_of) == said


@pytest.mark.parametrize(
    ("cycle", "said"),
    [
        ("2026-06-17T19:30:00", "the cleaning of 17 June 2026, 19:30"), ("2026-12-01T00:00:05", "the cleaning of 1 December 2026, 00:00:05"),
        ("cycle-4", ""), ("2026-06-17T19:30:00 (by time)", ""), ("2026-06-17", ""), ("2026-13-17T19:30:00", ""), ("", ""),
    ],
)  # fmt: skip
def test_a_cycle_without_an_id_is_said_by_its_time(cycle: str, said: str) -> None:
    """Only what the program names by its first row is said in words, to the second where it has one; an id of the log stays."""
    assert words.by_its_time(cycle) == said


@pytest.mark.parametrize(
    ("cycle", "day", "said"),
    [
        ("2026-06-17T19:30:00", "2026-06-17", "19:30"),
        ("2026-06-17T23:30:00", "2026-06-18", "the cleaning of 17 June 2026, 23:30"),  # it went on past midnight
        ("cycle-4", "2026-06-17", "cycle-4"),
    ],
)
def test_beside_its_day_a_cycle_is_said_by_its_hour(cycle: str, day: str, said: str) -> None:
    """The day is not said twice, and is said where it is another."""
    assert words.beside_its_day(cycle, day) == said
