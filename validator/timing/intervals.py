"""How long was something going on, and how many at once? Unions and overlaps of half-open intervals in groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
_ROOM = 2**62


@dataclass(frozen=True)
class Runs:
    """Uninterrupted stretches: run k covers `start[k]` to `end[k]` and is made of rows `first[k]` to `first[k + 1]`."""

    first: Index
    start: Ints
    end: Ints


def runs(group: Ints, start: Ints, end: Ints, gap: int) -> Runs:
    """Join intervals of one group that overlap or lie at most `gap` apart; rows sorted by group, then start."""
    size = len(group)
    if size == 0:
        nothing = np.empty(0, dtype=np.int64)
        return Runs(np.empty(0, dtype=np.intp), nothing, nothing)
    changes = np.empty(size, dtype=bool)
    changes[0] = True
    np.not_equal(group[1:], group[:-1], out=changes[1:])
    reached = _reached(changes, start, end)
    begins = changes.copy()
    begins[1:] |= start[1:] > reached[:-1] + gap
    first = np.flatnonzero(begins)
    return Runs(first, start[first], np.maximum.reduceat(end, first))


def _reached(changes: npt.NDArray[np.bool_], start: Ints, end: Ints) -> Ints:
    """The latest end so far within each group: a running maximum that each new group lifts above all before it."""
    origin = np.repeat(start[changes], np.diff(np.append(np.flatnonzero(changes), len(start))))
    values = end - origin  # counted from the group's first start, so that many groups fit into 64 bits
    span = int(values.max()) - int(values.min()) + 1
    lift = np.cumsum(changes, dtype=np.int64)
    if int(lift[-1]) * span < _ROOM:
        return np.maximum.accumulate(values + lift * span) - lift * span + origin
    ranked, rank = np.unique(end, return_inverse=True)
    return ranked[np.maximum.accumulate(rank + lift * len(ranked)) - lift * len(ranked)]


def longest(group: Ints, start: Ints, end: Ints, gap: int) -> tuple[Ints, Ints]:
    """Each group present, and the length of its longest run."""
    found = runs(group, start, end, gap)
    return _by_group(group[found.first], found.end - found.start, np.maximum)


def covered(group: Ints, start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Each group present, and the time its intervals cover, overlaps counted once."""
    found = runs(group, start, end, 0)
    return _by_group(group[found.first], found.end - found.start, np.add)


def _by_group(group: Ints, values: Ints, join: np.ufunc) -> tuple[Ints, Ints]:
    if len(group) == 0:
        return group, values
    first = np.flatnonzero(np.concatenate([[True], group[1:] != group[:-1]]))
    return group[first], join.reduceat(values, first)


def most_at_once(group: Ints, start: Ints, end: Ints) -> tuple[Ints, Ints, Ints]:
    """Each group present, the most intervals that run at one instant, and the first instant at which they do.

    Touching ends do not overlap, and an interval of no length overlaps nothing.
    """
    lasting = end > start
    group, start, end = group[lasting], start[lasting], end[lasting]
    who = np.concatenate([group, group])
    when = np.concatenate([start, end])
    step = np.concatenate([np.ones(len(start), dtype=np.int64), np.full(len(end), -1, dtype=np.int64)])
    order = np.lexsort((step, when, who))  # at one instant ends come before starts
    who, when, level = who[order], when[order], np.cumsum(step[order])
    if len(who) == 0:
        return who, level, when
    first = np.flatnonzero(np.concatenate([[True], who[1:] != who[:-1]]))
    peak = np.maximum.reduceat(level, first)
    at_peak = np.flatnonzero(level == np.repeat(peak, np.diff(np.append(first, len(who)))))
    _, at = np.unique(who[at_peak], return_index=True)
    return who[first], peak, when[at_peak[at]]


def reached_before(group: Ints, start: Ints, end: Ints) -> Index:
    """For each interval the one before it in its group that ends last; -1 for the first. Sorted by group, then start."""
    found = np.full(len(group), -1, dtype=np.intp)
    if len(group) < 2:
        return found
    changes = np.concatenate([[True], group[1:] != group[:-1]])
    reached = _reached(changes, start, end)
    bearer = np.maximum.accumulate(np.where(end == reached, np.arange(len(end)), 0))
    found[1:] = np.where(changes[1:], -1, bearer[:-1])
    return found


def latest_before(group: Ints, at: Ints, point_group: Ints, points: Ints, *, inclusive: bool) -> Index:
    """For each (group, at): the index of the latest point of that group not after `at` (or before it); -1 if none.

    Points are sorted by group, then by time.
    """
    if len(points) == 0 or len(at) == 0:
        return np.full(len(at), -1, dtype=np.intp)
    groups, times = np.concatenate([point_group, group]), np.concatenate([points, at])
    times -= times.min()
    if (int(groups.max()) + 1) * (int(times.max()) + 2) >= _ROOM:  # ranks keep the order and take little room
        groups = np.unique(groups, return_inverse=True)[1]
        times = np.unique(times, return_inverse=True)[1]
    keys = groups * (int(times.max()) + 2) + times
    keys, wanted = keys[: len(points)], keys[len(points) :]
    found = np.searchsorted(keys, wanted, side="right" if inclusive else "left") - 1
    same = (found >= 0) & (point_group[np.maximum(found, 0)] == group)
    return np.where(same, found, -1)
