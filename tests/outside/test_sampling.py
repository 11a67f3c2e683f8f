"""How many of a lot to look at by hand: ISO 2859-1, general inspection level II, as a public chart prints it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from validator.reports.sampling import advice, of, plan


@pytest.mark.parametrize(
    ("lot", "letter", "sample"),
    [
        (100, "F", 20),  # the worked example of a lot of 100 records
        (2, "A", 2), (8, "A", 2), (9, "B", 3), (90, "E", 13), (91, "F", 20), (150, "F", 20), (151, "G", 32),
        (501, "J", 80), (1200, "J", 80), (1201, "K", 125), (10_000, "L", 200),
    ],
)  # fmt: skip
def test_code_letter_and_size_of_a_sample(lot: int, letter: str, sample: int) -> None:
    """Both ends of a line belong to it."""
    found = of(lot)

    assert found is not None
    assert (found.letter, found.sample) == (letter, sample)


def test_the_lines_of_the_plan_leave_no_hole() -> None:
    """Each begins where the last ended, and asks for more."""
    lots = plan().lots

    assert [b.least for b in lots[1:]] == [a.most + 1 for a in lots[:-1]]
    assert all(a.sample < b.sample for a, b in pairwise(lots))


def test_what_a_reader_is_told() -> None:
    """Twenty of a hundred; of one or two cycles, all of which would be the sample, nothing."""
    assert advice(100) == (
        "To hold the record against what was done, draw 20 of these 100 cycles at random and look at them by hand "
        "(ISO 2859-1, general inspection level II, single sampling, code letter F)."
    )
    assert advice(0) == advice(1) == advice(2) == ""
