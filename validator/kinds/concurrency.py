"""Did more run at once than can: rows of a step on one machine, or one person at two stores?

Per cycle. `capacity` is the equipment's own unless given. Touching ends do not overlap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from math import prod
from typing import Literal

import numpy as np
import numpy.typing as npt

from validator.fields import Document, Text, Whole
from validator.findings import Quantity, Required
from validator.kinds.outcome import (
    IN,
    NOT_APPLICABLE,
    NOT_OBSERVED,
    OUT,
    Names,
    Outcomes,
    Reasons,
    Scope,
    Shown,
    Stricter,
)
from validator.kinds.rows import any_by
from validator.presence import COLUMNS as PRESENCE
from validator.presence import Presence, distinct, travellers
from validator.steps import FAR, MOST_WAYS, Steps
from validator.tables import NAT
from validator.timing.intervals import most_at_once

NAME = "concurrency"
TIGHTER: Mapping[str, Stricter] = {"capacity": "lower"}
COLUMNS = ("step", "target", "started_at", "ended_at")
_REASONS = ("", "too_many", "missing_time", "contradiction", "two_places", "within_uncertainty")
Index = npt.NDArray[np.intp]


class Params(Document):
    """`steps` left out (for `performed_by` only) means every step."""

    steps: tuple[Text, ...] = ()
    capacity: Whole | None = None
    resource: Literal["equipment", "performed_by"] = "equipment"


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle."""
    return [_people(params, scope) if params.resource == "performed_by" else _equipment(params, scope)]


def _equipment(params: Params, scope: Scope) -> Outcomes:
    steps = scope.steps
    cycles = scope.cycle_in()
    size = steps.cycles
    rows = steps.of_steps(params.steps)
    rows = rows[scope.machine_in[steps.machine[steps.cycle[rows]]]] if len(rows) else rows
    capacity = np.array([_capacity(params, m.capacities) for m in scope.machines], dtype=np.int64)
    limit = capacity[steps.machine] if size else np.empty(0, np.int64)
    known = ~steps.incomplete[rows]
    sure, sure_at = _peak(steps.cycle[rows], steps.start[rows], steps.end[rows] - scope.guard, known, size)
    partial = steps.incomplete[rows]
    unsure = any_by(steps.cycle[rows], partial, size)
    reason = np.where(sure > limit, 1, 0)
    if scope.guard:
        near, _ = _peak(steps.cycle[rows], steps.start[rows], steps.end[rows] + scope.guard, known, size)
        reason = np.where((reason == 0) & (near > limit), 5, reason)
    if partial.any():
        here = np.flatnonzero(unsure[steps.cycle[rows]])
        low, high = _own_bounds(scope, rows[here])
        wide, _ = _peak(steps.cycle[rows[here]], low, high, np.ones(len(here), bool), size)
        torn = any_by(steps.cycle[rows], steps.contrary[rows], size)
        if steps.records.doubt:
            _read_both_ways(scope, rows, sure, wide)
            reason[sure > limit] = 1
        reason = np.where((reason != 1) & unsure & (wide > limit), np.where(torn, 3, 2), reason)
    idle = ~any_by(steps.cycle[rows], np.ones(len(rows), bool), size) | (limit == 0)
    status = np.array([IN, OUT, NOT_OBSERVED, NOT_OBSERVED, OUT, NOT_OBSERVED], dtype=np.int8)[reason]
    status[idle], reason[idle] = NOT_APPLICABLE, 0

    def show(i: int) -> Shown:
        cycle = int(cycles[i])
        mine = rows[slice(*np.searchsorted(steps.cycle[rows], [cycle, cycle + 1]))]
        at = sure_at[cycle]
        busy = mine[(steps.start[mine] <= at) & (steps.end[mine] > at)]
        if len(busy) <= limit[cycle]:  # what shows it are the rows that can be read in more than one way
            busy = mine[steps.incomplete[mine]] if steps.incomplete[mine].any() and status[cycle] != OUT else mine
        most = int(limit[cycle])
        required = Required(None, most, "1", f"at most {most} at once")
        seen = int(sure[cycle])
        observed = Quantity(seen, "1") if status[cycle] == OUT else None
        margin = Quantity(seen - most, "1") if status[cycle] == OUT else None
        facts = {"steps": " and ".join(params.steps), "found": str(seen), "limit": str(most)}
        return Shown(observed, required, margin, busy.tolist(), COLUMNS, facts)

    return Outcomes(steps.machine[cycles], cycles, Names((), np.full(len(cycles), -1)), status[cycles],
                    Reasons(_REASONS, reason[cycles].astype(np.int8)), show)  # fmt: skip


def _capacity(params: Params, capacities: Mapping[str, int]) -> int:
    """How many rows may run at once; 0 where nothing says so."""
    if params.capacity is not None:
        return params.capacity
    own = [capacities[step] for step in params.steps if step in capacities]
    return min(own) if own else 0


def _peak(
    cycle: npt.NDArray[np.int64], start: npt.NDArray[np.int64], end: npt.NDArray[np.int64], use: npt.NDArray[np.bool_],
    size: int,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:  # fmt: skip
    most, at = np.zeros(size, dtype=np.int64), np.zeros(size, dtype=np.int64)
    present, peak, when = most_at_once(cycle[use], start[use], end[use])
    most[present], at[present] = peak, when
    return most, at


def _own_bounds(scope: Scope, rows: Index) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The widest each row can have been by its own times: the rule is on trial, so its capacity bounds nothing."""
    steps = scope.steps
    start, end = steps.start[rows], steps.end[rows]
    latest = steps.latest[rows]
    lost = steps.contrary[rows]
    low = np.where((start == NAT) | lost, -FAR, start)
    return low, np.where(lost, latest, np.where(end == NAT, np.maximum(latest, np.maximum(low, 0)), end))


def _read_both_ways(scope: Scope, rows: Index, sure: npt.NDArray[np.int64], wide: npt.NDArray[np.int64]) -> None:
    """Of cycles with an hour that happened twice: the fewest and the most at once over every way to read it, in place."""
    steps, doubt = scope.steps, scope.steps.records.doubt
    told = np.array([r in doubt for r in steps.row[rows].tolist()], dtype=bool)
    for cycle in np.unique(steps.cycle[rows[told]]).tolist():
        mine, twice = rows[(steps.cycle[rows] == cycle) & ~told], rows[(steps.cycle[rows] == cycle) & told]
        known = mine[~steps.incomplete[mine]]
        low, high = _own_bounds(scope, mine)
        fewest, most = [], []
        pairs = [doubt[int(r)] for r in steps.row[twice]]
        if prod(map(len, pairs)) > MOST_WAYS:
            wide[cycle] = FAR
            continue
        for ways in product(*pairs):
            start = np.array([s for s, _ in ways], dtype=np.int64)
            end = np.array([e for _, e in ways], dtype=np.int64)
            whole = (start != NAT) & (end != NAT)
            fewest.append(
                _one_peak([*steps.start[known], *start[whole]], [*steps.end[known], *end[whole]], -scope.guard)
            )
            start = np.where(start == NAT, -FAR, start)
            end = np.where(end == NAT, np.maximum(steps.latest[twice], start), end)
            most.append(_one_peak([*low, *start], [*high, *end], scope.guard))
        sure[cycle], wide[cycle] = min(fewest), max(most)


def _one_peak(start: Sequence[int], end: Sequence[int], shift: int) -> int:
    """The most of some intervals that run at once, every end moved by `shift`."""
    group = np.zeros(len(start), dtype=np.int64)
    _, most, _ = most_at_once(group, np.array(start, dtype=np.int64), np.array(end, dtype=np.int64) + shift)
    return int(most.max(initial=0))


def _people(params: Params, scope: Scope) -> Outcomes:
    own = scope.steps
    cycles = scope.cycle_in()
    people = _narrowed(Presence.of(own.records) if scope.people is None else scope.people, params, scope)
    clashes = _clashes(people, scope.now)
    sure, maybe = _by_cycle(own, people, [c for c in clashes if c[2]]), _by_cycle(own, people, clashes)
    named = any_by(own.cycle, own.column("performed_by") >= 0, own.cycles)
    out = np.isin(cycles, np.fromiter(sure, dtype=np.int64))
    open_ = np.isin(cycles, np.fromiter(maybe, dtype=np.int64)) & ~out
    reason = np.where(out, 4, np.where(open_, 2, 0))
    status = np.where(named[cycles], IN, NOT_APPLICABLE).astype(np.int8) if len(cycles) else np.empty(0, np.int8)
    status[out], status[open_] = OUT, NOT_OBSERVED

    def show(i: int) -> Shown:
        mine, other = (sure if out[i] else maybe)[int(cycles[i])]
        person, store, there = (
            people.word(own.records, name, codes[at])
            for name, codes, at in (("performed_by", people.person, mine), ("store_id", people.store, mine),
                                    ("store_id", people.store, other))
        )  # fmt: skip
        facts = {"person": person, "store": store, "other": there, "steps": person}
        clock = next(m.clock for m in scope.fleet if m.store_id == there)
        seen = Quantity(2, "1") if out[i] else None
        return Shown(seen, Required(None, 1, "1", "at one store at a time"), Quantity(1, "1") if out[i] else None,
                     np.flatnonzero(own.row == people.row[mine]).tolist(), PRESENCE, facts,
                     beside=(people.evidence(other, own.records, clock),))  # fmt: skip

    return Outcomes(own.machine[cycles], cycles, Names((), np.full(len(cycles), -1)), status,
                    Reasons(_REASONS, reason.astype(np.int8)), show)  # fmt: skip


def _narrowed(people: Presence, params: Params, scope: Scope) -> Presence:
    """The rows of the rule's steps, of people who are named on them at more than one store, one of which is judged here."""
    if params.steps:
        codes = [scope.steps.records.code("step", s) for s in params.steps]
        people = people.pick(np.flatnonzero(np.isin(people.step, codes)))
    wanted = travellers(distinct(np.stack([people.person, people.store], axis=1).astype(np.int64)))
    wanted = np.intersect1d(wanted, people.person[people.row >= 0])
    return people.pick(np.flatnonzero(np.isin(people.person, wanted)))


def _by_cycle(steps: Steps, people: Presence, clashes: Sequence[tuple[int, int, bool]]) -> dict[int, tuple[int, int]]:
    """For each cycle with a row that clashes: the first such row of the people, and the one it clashes with."""
    if not clashes:
        return {}
    cycle_of = dict(zip(steps.row.tolist(), steps.cycle.tolist(), strict=True))
    found: dict[int, tuple[int, int]] = {}
    for a, b, _ in clashes:
        for mine, other in ((a, b), (b, a)):
            cycle = cycle_of.get(int(people.row[mine]))
            if cycle is not None:
                found.setdefault(cycle, (mine, other))
    return found


def _clashes(people: Presence, now: int) -> list[tuple[int, int, bool]]:
    """Pairs of rows of one person at different stores that overlap, or (False) can have overlapped."""
    start, end, recorded = people.start, people.end, people.recorded
    low = np.where(start == NAT, -FAR, start)
    high = np.where(end == NAT, np.maximum(np.where(recorded == NAT, now, recorded), np.maximum(low, 0)), end)
    known = (start != NAT) & (end != NAT)
    order = people.in_order(low, high, np.flatnonzero(~known | (end > start)))
    found: list[tuple[int, int, bool]] = []
    open_: list[int] = []
    for k in order.tolist():
        open_ = [j for j in open_ if people.person[j] == people.person[k] and high[j] > low[k]]
        found.extend((j, k, bool(known[j] and known[k])) for j in open_ if people.store[j] != people.store[k])
        open_.append(k)
    return found
