"""Runs, coverage and overlaps of intervals, against plain loops over every second and an interval tree of sets."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from validator.timing.intervals import covered, latest_before, longest, most_at_once, reached_before

Row = tuple[int, int, int]
rows_of_groups = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 30), st.integers(0, 8)), max_size=25)


def columns(rows: list[Row]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    ordered = sorted((g, s, s + n) for g, s, n in rows)
    return (
        tuple(np.array(c, dtype=np.int64) for c in zip(*ordered, strict=True))
        if ordered
        else (np.empty(0, np.int64),) * 3
    )


def plain_longest(rows: list[Row], group: int, gap: int) -> int:
    """Join rows one at a time, as a person would with a pencil."""
    best, current = 0, None
    for start, end in sorted((s, s + n) for g, s, n in rows if g == group):
        if current is not None and start <= current[1] + gap:
            current = (current[0], max(current[1], end))
        else:
            current = (start, end)
        best = max(best, current[1] - current[0])
    return best


@given(rows_of_groups, st.integers(0, 4))
def test_longest_run_is_what_joining_by_hand_gives(rows: list[Row], gap: int) -> None:
    """Rows that touch, overlap or lie within the gap make one run, whatever other groups hold."""
    groups, lengths = longest(*columns(rows), gap)

    assert {g: plain_longest(rows, g, gap) for g in {r[0] for r in rows}} == dict(
        zip(groups.tolist(), lengths.tolist())
    )


@given(rows_of_groups)
def test_covered_time_counts_every_second_once(rows: list[Row]) -> None:
    """The covered time is the number of whole seconds that lie in any row."""
    seconds = {g: {t for h, s, n in rows if h == g for t in range(s, s + n)} for g in {r[0] for r in rows}}
    groups, lengths = covered(*columns(rows))

    assert {g: len(s) for g, s in seconds.items()} == dict(zip(groups.tolist(), lengths.tolist()))


@given(rows_of_groups)
def test_most_at_once_is_the_fullest_second(rows: list[Row]) -> None:
    """Half-open rows: one that ends when another begins does not overlap it."""
    lasting = [r for r in rows if r[2] > 0]
    expected = {
        g: max(sum(s <= t < s + n for h, s, n in lasting if h == g) for t in range(40)) for g in {r[0] for r in lasting}
    }
    groups, most, when = most_at_once(*columns(rows))

    assert expected == dict(zip(groups.tolist(), most.tolist()))
    for g, m, t in zip(groups.tolist(), most.tolist(), when.tolist()):
        assert m == sum(s <= t < s + n for h, s, n in lasting if h == g)


@given(
    rows_of_groups, st.lists(st.tuples(st.integers(0, 3), st.integers(-2, 40)), min_size=1, max_size=10), st.booleans()
)
def test_latest_before_is_the_highest_point_not_after(
    rows: list[Row], asked: list[tuple[int, int]], inclusive: bool
) -> None:
    """For each question the latest point of its own group, or none."""
    points = sorted({(g, s) for g, s, _ in rows})
    group, times = (np.array([p[k] for p in points], dtype=np.int64) for k in (0, 1))
    found = latest_before(
        np.array([g for g, _ in asked]), np.array([t for _, t in asked]), group, times, inclusive=inclusive
    )
    for (g, t), at in zip(asked, found.tolist()):
        earlier = [s for h, s in points if h == g and (s <= t if inclusive else s < t)]
        assert (max(earlier) if earlier else None) == (int(times[at]) if at >= 0 else None)


def test_times_far_apart_in_many_groups_do_not_overflow() -> None:
    """A hundred years of microseconds in a hundred thousand groups: ranks are used where 64 bits would not do."""
    century = 100 * 366 * 86_400_000_000
    group = np.repeat(np.arange(100_000), 2)
    start = np.tile(np.array([0, century]), 100_000)
    groups, lengths = longest(group, start, start + 5, 0)

    assert (lengths == 5).all()
    assert len(groups) == 100_000
    assert (latest_before(group, start, group, start, inclusive=True) == np.arange(200_000)).all()


@given(rows_of_groups)
def test_the_row_that_ends_last_of_those_before_it(rows: list[Row]) -> None:
    """For each row some earlier row of its group that ends latest; none for the first of a group."""
    group, start, end = columns(rows)
    for k, found in enumerate(reached_before(group, start, end).tolist()):
        before = [j for j in range(k) if group[j] == group[k]]
        assert (found == -1) == (not before)
        assert not before or (found in before and end[found] == max(end[j] for j in before))
