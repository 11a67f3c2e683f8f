"""Scores and shares against published examples."""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint

from validator.grading import score, wilson


@pytest.mark.parametrize(
    ("rules", "part", "whole"),
    [
        # (weight, passed, failed, unknown); NIST IR 7275 r4 7.3.2, trees of our own, `oscap` 1.3.7 gives the same
        ([(10, 1, 0, 0), (5, 0, 1, 0), (7, 0, 0, 0), (1, 1, 0, 0), (2, 0, 1, 0), (1, 1, 0, 0)], 12, 19),
        ([(1, 1, 0, 0), (3, 0, 1, 0), (5, 1, 0, 0), (1, 0, 1, 0)], 6, 10),
        ([(0, 0, 1, 0), (2, 1, 0, 0)], 2, 2),
        # the public unit tests of a converter for such results (mitre/inspec_tools, xccdf_score_test.rb)
        ([(1, 1, 0, 0), (1, 1, 0, 0), (1, 0, 1, 0)], 2, 3),
        ([(1, 1, 0, 0), (1, 0, 1, 0), (10, 0, 1, 0)], 1, 12),
        ([(1, 1, 0, 0), (1, 0, 1, 0), (0, 1, 0, 0)], 1, 2),
        # OpenSCAP's own test file test_fix_resultid_by_suffix.xml
        ([(1, 1, 0, 0), (1, 0, 1, 0)], 1, 2),
    ],
)
def test_the_flat_model(rules, part: int, whole: int) -> None:
    """The score is the weighted share of what passed; rules without a counted result are left out."""
    found = score([(float(w), i, o, n) for w, i, o, n in rules])

    assert round(100 * part / whole, 2) == found.value
    assert found.low == found.high == found.value


def test_what_is_not_known_spans_the_range() -> None:
    """XCCDF counts `unknown` as not passed: weights 4 unknown and 1 passed give 1 of 5, which is our low end."""
    found = score([(4.0, 0, 0, 1), (1.0, 1, 0, 0)])

    assert (found.low, found.value, found.high) == (20.0, 100.0, 100.0)


def test_nothing_to_score_is_no_score() -> None:
    """`oscap` gives 0 and 1 for an empty benchmark by its models; we give none."""
    assert score([(1.0, 0, 0, 0)]).value is None
    assert score([]).low is None


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson(count: int, of: int, low: float, high: float) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3; statsmodels gives the same."""
    found = wilson(count, of)

    assert (low, high) == (pytest.approx(found[0], abs=5e-5), pytest.approx(found[1], abs=5e-5))
    assert found == pytest.approx(proportion_confint(count, of, method="wilson"))


def test_a_share_of_nothing_has_no_bounds() -> None:
    """Of no judged check there is no share."""
    assert wilson(0, 0) == (None, None)
