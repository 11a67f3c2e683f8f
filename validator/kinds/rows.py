"""Find, for every expected check, the rows that speak of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.kinds.targets import Expected
from validator.steps import Steps

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Subjects:
    """Rows gathered by check: check i has `rows[first[i]:last[i]]`; `group[k]` is the check that row k speaks of.

    Only rows of an expected check are here, in order of check and start.
    """

    rows: Index
    group: Ints
    first: Index
    last: Index

    @property
    def present(self) -> Mask:
        """Checks that any row speaks of."""
        return self.last > self.first

    def of(self, check: int) -> list[int]:
        """The rows of one check."""
        found: list[int] = self.rows[self.first[check] : self.last[check]].tolist()
        return found


def gather(steps: Steps, names: Sequence[str], expected: Expected) -> Subjects:
    """The rows of these steps by expected check: of its target, or of any target where the check has none."""
    rows = steps.of_steps(names)
    whole = bool((expected.target == -1).all())
    width = len(expected.names) + 2
    wanted = expected.cycle * width + expected.target + 1
    have = steps.cycle[rows] * width + (0 if whole else steps.target[rows].astype(np.int64) + 1)
    order = np.argsort(wanted, kind="stable") if len(wanted) and (np.diff(wanted) < 0).any() else None
    sorted_wanted = wanted if order is None else wanted[order]
    at = np.searchsorted(sorted_wanted, have)
    known = at < len(sorted_wanted)
    known[known] = sorted_wanted[at[known]] == have[known]
    rows, group = rows[known], at[known]
    if order is not None:
        group = order[group]
    resort = np.lexsort((steps.start[rows], group)) if whole or len(names) > 1 or order is not None else None
    if resort is not None:
        rows, group = rows[resort], group[resort]
    checks = np.arange(len(wanted))
    return Subjects(rows, group, np.searchsorted(group, checks, "left"), np.searchsorted(group, checks, "right"))


def any_by(group: Ints, flag: Mask, size: int) -> Mask:
    """For each of `size` groups, whether any of its rows is flagged."""
    found = np.zeros(size, dtype=bool)
    found[group[flag]] = True
    return found


def highest_by(group: Ints, values: Ints, size: int, nothing: int) -> Ints:
    """For each of `size` groups the highest value, `nothing` where it has none; `group` is sorted."""
    found = np.full(size, nothing, dtype=np.int64)
    if len(group):
        heads = np.flatnonzero(np.diff(group, prepend=-1))
        found[group[heads]] = np.maximum.reduceat(values, heads)
    return found
