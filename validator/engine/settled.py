"""Which findings are history? Those whose check a later cleaning of the same machine has met, so that nothing is left to do.

What was OUT on a target is settled by the next cycle in which the same check came out IN on it; what could not be shown
(N/O) by the next in which it could be judged. Where no later cycle names the target again, as no batch of solution comes
twice, it is settled by the next cycle in which every check of the rule came out so. A solution has touched what it was used
on, so the cycle that settles a fault of it must be complete: with every coverage check of the pack IN. An interval that was too long ended
with a cleaning and is settled by it. A fault of the entry itself stays until that is corrected (`settled_by: correction`),
and what has no known time is before nothing.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Names, Outcomes
from validator.statuses import OPEN
from validator.tables import NAT

Index = npt.NDArray[np.intp]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


OF_SOLUTIONS = ("concentration", "mixed_strength")
"""Kinds whose targets are solutions."""


def complete_cycles(applied: Iterable[Applied]) -> dict[str, Mask]:
    """By pack: the cycles in which every coverage check is IN or N/A."""
    found: dict[str, Mask] = {}
    for a in applied:
        complete = found.setdefault(a.pack.id, np.ones(a.steps.cycles, dtype=bool))
        for o in a.outcomes if a.rule.rule.kind == "coverage" else ():
            bad = (o.status != IN) & (o.status != NOT_APPLICABLE) & (o.cycle >= 0)
            complete[o.cycle[bad]] = False
    return found


def settling(applied: Applied, o: Outcomes, at: Index, complete: Mask) -> Ints:
    """For each of the checks `at`, the cycle that settles it; -1 where none does. `complete` marks cycles that left nothing out."""
    found = np.full(len(at), -1, dtype=np.int64)
    if not applied.steps.cycles or applied.rule.rule.settled_by == "correction":
        return found
    if applied.rule.rule.kind == "interval":
        ended = np.array([o.target[i] != OPEN for i in at.tolist()], dtype=bool) & (o.cycle[at] >= 0)
        out = o.status[at] == OUT
        found[ended & out] = o.cycle[at][ended & out]
        wanted = np.flatnonzero(~out & ended)
    else:
        wanted = np.flatnonzero(o.cycle[at] >= 0)
    if len(wanted):
        solution = applied.rule.rule.kind in OF_SOLUTIONS
        found[wanted] = _later(applied, o, at[wanted], complete if solution else np.ones_like(complete))
    return found


def _later(applied: Applied, o: Outcomes, at: Index, able: Mask) -> Ints:
    """The next of the `able` cycles that meets each of these checks, or in which it could be judged; -1 for none."""
    steps = applied.steps
    now = np.array([m.as_of for m in applied.machines], dtype=np.int64)
    near = np.flatnonzero(np.isin(o.machine, np.unique(o.machine[at])) & (o.cycle >= 0))
    began = steps.began[o.cycle[near]]
    near = near[(began != NAT) & (began <= now[o.machine[near]])]
    found = np.full(len(at), -1, dtype=np.int64)
    known = np.isin(at, near)
    if not known.any():
        return found
    cycle, status = o.cycle[near], o.status[near]
    when = steps.began[cycle]
    asked = np.where(known, np.searchsorted(near, at), 0)

    target = _targets(o, near)
    key = o.machine[near] * (int(target.max(initial=-1)) + 2) + target + 1
    by_target = _Runs.of(key, when, cycle)
    by_machine = _Runs.of(o.machine[near], when, cycle)
    again = by_target.next(np.ones(len(near), dtype=bool))[asked] >= 0

    for mine, good in ((o.status[at] == OUT, status == IN), (o.status[at] == NOT_OBSERVED, status <= OUT)):
        if not mine.any():
            continue
        bad = ~good & (status != NOT_APPLICABLE)
        good = good & able[cycle]
        whole = good & ~np.isin(cycle, cycle[bad])
        next_ = np.where(again, by_target.next(good)[asked], by_machine.next(whole)[asked])
        found = np.where(mine & known, next_, found)
    return found


def _targets(o: Outcomes, near: Index) -> Ints:
    if isinstance(o.target, Names):
        return o.target.codes[near].astype(np.int64)
    return np.unique([o.target[i] for i in near.tolist()], return_inverse=True)[1].astype(np.int64)


class _Runs:
    """Checks in order of their key and time; what comes next is of the same key and strictly later."""

    def __init__(self, order: Index, later: Ints, end: Ints, cycle: Ints) -> None:
        self.order, self.later, self.end, self.cycle = order, later, end, cycle

    @classmethod
    def of(cls, key: Ints, when: Ints, cycle: Ints) -> _Runs:
        order = np.lexsort((cycle, when, key))
        key, when = key[order], when[order]
        return cls(order, _ends(np.diff(key, prepend=-1) != 0, np.diff(when, prepend=NAT) != 0),
                   _ends(np.diff(key, prepend=-1) != 0), cycle)  # fmt: skip

    def next(self, wanted: Mask) -> Ints:
        """For each check the cycle of the next wanted one that is of the same key and strictly later; -1 for none."""
        size = len(self.order)
        places = np.where(wanted[self.order], np.arange(size), size)
        nearest = np.append(np.minimum.accumulate(places[::-1])[::-1], size)
        at = nearest[self.later]
        found = np.empty(size, dtype=np.int64)
        found[self.order] = np.where(at < self.end, np.append(self.cycle[self.order], -1)[at], -1)
        return found


def _ends(*heads: Mask) -> Ints:
    """For each place the first place of the next run, where a run begins wherever one of `heads` says so."""
    begins = np.logical_or.reduce(heads)
    starts = np.append(np.flatnonzero(begins), len(begins))
    ends: Ints = starts[np.cumsum(begins)].astype(np.int64)
    return ends
