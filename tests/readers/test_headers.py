"""Which names are taken for which columns, and which refuse a file."""

from __future__ import annotations

import pytest

from validator.errors import Unreadable
from validator.readers.headers import read_header

GOOD = ["store_id", "equipment_id", "step", "started_at"]


def refusal(cells):
    with pytest.raises(Unreadable) as caught:
        read_header(cells, "1:")
    return caught.value


def test_blanks_and_case_are_forgiven_and_said():
    """Names are trimmed and case-folded, and every renaming is an assumption."""
    header = read_header([" Store_ID", "equipment_id\u00a0", "STEP", "started_at"])
    assert header.columns == dict(enumerate(GOOD))
    assert len(header.assumptions) == 3


def test_a_doubled_column():
    """Two columns that come to one name leave open which counts."""
    assert (refusal([*GOOD, "Started_At "]).code, refusal([*GOOD, "started_at"]).place) == (
        "duplicate_column", "1:started_at"
    )  # fmt: skip


def test_two_unknown_columns_of_one_name_do_no_harm():
    """Only columns that are read must be single."""
    assert read_header([*GOOD, "x", "x"]).columns == dict(enumerate(GOOD))


@pytest.mark.parametrize("name", ["store_id", "equipment_id", "step"])
def test_a_missing_column_names_the_nearest(name):
    """The refusal names the column that is missing and the one that may have been meant."""
    caught = refusal([name[:-1] + "x" if cell == name else cell for cell in GOOD])
    assert (caught.code, caught.place) == ("missing_column", "1:" + name)
    assert repr(name[:-1] + "x") in caught.sentence


def test_a_misspelt_end_is_not_passed_over():
    """`end_at` beside a good `started_at` would turn every measured end into a missing one, so it is refused."""
    caught = refusal([*GOOD, "end_at"])
    assert (caught.code, caught.place) == ("missing_column", "1:ended_at")
    assert "'end_at'" in caught.sentence


@pytest.mark.parametrize("other", ["created_at", "start", "duration", "tested_at", "end_date"])
def test_other_words_for_other_things_are_only_ignored(other):
    """A name that merely resembles a time column is an unknown column like any other."""
    assert read_header([*GOOD, other]).columns == dict(enumerate(GOOD))


def test_no_time_at_all():
    """A record must say when, or how long."""
    assert refusal(GOOD[:3]).code == "missing_column"
    assert read_header([*GOOD[:3], "duration_s"]).columns[3] == "duration_s"


def test_a_letter_of_another_alphabet_is_shown():
    """A needed name with a Cyrillic letter looks right and is not: its code point is named."""
    caught = refusal(["st\u043ere_id", *GOOD[1:]])
    assert caught.code == "missing_column"
    assert "U+043E" in caught.sentence


@pytest.mark.parametrize("name", ["\u0440h", "p\u200bh", "\u03c1h"])
def test_a_lookalike_of_a_column_that_is_not_needed(name):
    """Passing over `ph` in other letters would lose every reading in it."""
    assert refusal([*GOOD, name]).code == "confusable_column"


@pytest.mark.parametrize("name", ["ph", "páh", "öh", "été"])
def test_words_with_accents_look_like_nothing_else(name):
    """A letter with an accent is seen by everyone."""
    read_header([*GOOD, name])


def test_an_unused_name_that_is_nearly_a_column_is_pointed_out():
    """A slip in the name of a column that is not needed costs its values, so the notice says which was near."""
    notices = read_header([*GOOD, "temprature_c"]).notices
    assert any("temperature_c" in notice for notice in notices)
