"""The rows of a step with the points in time that relations and bans compare, by cycle and target; the worst row decides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from validator.kinds.acts import Act
from validator.kinds.outcome import (
    NOT_APPLICABLE,
    Names,
    Outcomes,
    Reasons,
    Scope,
)
from validator.steps import Steps
from validator.tables import NAT

COLUMNS = ("step", "target", "started_at", "ended_at")
Per = Literal["target", "cycle"]
REASONS = ("", "wrong_order", "missing_first", "missing_time", "contradiction", "within_uncertainty")
Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Side:
    """The rows of a step in scope with the group each belongs to, and the point of each that a link speaks of: its end or
    its start, in microseconds since the cycle began.
    """

    rows: Index
    group: Ints
    low: Ints
    high: Ints
    end: bool

    @cached_property
    def vague(self) -> npt.NDArray[np.bool_]:
        apart: npt.NDArray[np.bool_] = self.low != self.high
        return apart


def side_of(scope: Scope, act: Act, end: bool, per: Per) -> Side:
    steps = scope.steps
    rows = np.flatnonzero(act.match(steps, scope.agents)[0])
    if not scope.machine_in.all():
        rows = rows[scope.machine_in[steps.machine[steps.cycle[rows]]]]
    cycle = steps.cycle[rows]
    width = len(steps.records.texts["target"].vocabulary) + 1
    group = cycle * width + (steps.target[rows].astype(np.int64) + 1 if per == "target" else 0)
    low = high = (steps.end if end else steps.start)[rows]
    vague = np.flatnonzero(steps.incomplete[rows])
    if len(vague):
        low, high = low.copy(), low.copy()
        start_low, start_high, end_low, end_high = steps.bounds(rows[vague])
        low[vague], high[vague] = (end_low, end_high) if end else (start_low, start_high)
    # times since the cycle began are small, which lets a whole table be compared at once
    began = np.where(steps.began == NAT, 0, steps.began)[cycle]
    low, high = low - began, high - began
    ordered = (np.diff(group) > 0) | ((np.diff(group) == 0) & (np.diff(low) >= 0))
    if not ordered.all():
        order = np.lexsort((low, group))
        rows, group, low, high = rows[order], group[order], low[order], high[order]
    return Side(rows, group, low, high, end)


def groups_of(scope: Scope, side: Side, per: Per) -> tuple[Ints, Names, Ints]:
    """The checks that a side gives: their cycles and targets, and the check of each row."""
    heads = np.diff(side.group, prepend=-1) != 0
    keys = side.group[heads]
    vocabulary = scope.steps.records.texts["target"].vocabulary
    width = len(vocabulary) + 1
    target = keys % width - 1 if per == "target" else np.full(len(keys), -1)
    return keys // width, Names(vocabulary, target), np.cumsum(heads) - 1


def present(group: Ints, among: Ints) -> npt.NDArray[np.bool_]:
    """Which groups occur among others; both in order."""
    at = np.searchsorted(among, group)
    found = at < len(among)
    found[found] = among[at[found]] == group[found]
    return found


def first_bad_of(check_of: Ints, bad_row: Ints, reason: Ints) -> Callable[[int], int]:
    """For a check, the first of its rows that bears the check's reason; rows are in order of their checks."""
    heads = np.searchsorted(check_of, np.arange(len(reason) + 1))

    def first(check: int) -> int:
        begin = heads.item(check)
        return begin + int(np.argmax(bad_row[begin : heads.item(check + 1)] == reason[check]))

    return first


def torn(steps: Steps, sides: Sequence[Side], group: int) -> bool:
    """Whether the times of a row of the group cannot be true."""
    if not steps.any_contrary:
        return False
    rows = np.concatenate([side.rows[span_of(side, group)] for side in sides])
    return bool(steps.contrary[rows].any())


def worst_of(bad_row: npt.NDArray[np.int64], check_of: Ints, size: int) -> npt.NDArray[np.int64]:
    """The reason of each check: any row OUT decides, then any N/O; 0 where every row is IN."""
    if not bad_row.any():
        return np.zeros(size, dtype=np.int64)
    rank = np.array([0, 5, 4, 2, 3, 1])[bad_row]
    worst = np.zeros(size, dtype=np.int64)
    np.maximum.at(worst, check_of, rank)
    return np.array([0, 5, 3, 4, 2, 1])[worst]


def span_of(side: Side, group: int) -> slice:
    return slice(*np.searchsorted(side.group, [group, group + 1]).tolist())


def not_applicable(scope: Scope, judged: Ints) -> Index:
    """The cycles in scope in which the rule found no subject."""
    seen = np.zeros(scope.steps.cycles, dtype=bool)
    seen[judged] = True
    cycles = scope.cycle_in()
    return cycles[~seen[cycles]]


def with_idle(outcomes: Outcomes, cycles: Index, scope: Scope) -> Outcomes:
    """Add one N/A check for each cycle without a subject, so that it is seen to have been looked at."""
    names: Any = outcomes.target
    return Outcomes(
        np.concatenate([outcomes.machine, scope.steps.machine[cycles]]), np.concatenate([outcomes.cycle, cycles]),
        Names(names.words, np.concatenate([names.codes, np.full(len(cycles), -1)])),
        np.concatenate([outcomes.status, np.full(len(cycles), NOT_APPLICABLE, dtype=np.int8)]),
        Reasons(REASONS, np.concatenate([outcomes.reason.codes, np.zeros(len(cycles), dtype=np.int8)])),  # type: ignore[attr-defined]
        outcomes.show, part=outcomes.part,
    )  # fmt: skip
