"""Did more run at once than can: rows of a step on one machine, or one person at two stores?

Per cycle. `capacity` is the equipment's own unless given. Touching ends do not overlap.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
import numpy.typing as npt

from validator.cycles import FAR
from validator.documents import Document, Text, Whole
from validator.findings import Quantity, Required
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Names, Outcomes, Reasons, Scope, Shown
from validator.kinds.rows import any_by
from validator.timing.intervals import most_at_once

NAME = "concurrency"
TIGHTER: Mapping[str, Literal["lower", "higher"]] = {"capacity": "lower"}
COLUMNS = ("step", "target", "started_at", "ended_at")
_REASONS = ("", "too_many", "missing_time", "contradiction", "two_places")
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
    sure, sure_at = _peak(steps.cycle[rows], steps.start[rows], steps.end[rows], ~steps.incomplete[rows], size)
    partial = steps.incomplete[rows]
    unsure = any_by(steps.cycle[rows], partial, size)
    reason = np.where(sure > limit, 1, 0)
    if partial.any():
        here = np.flatnonzero(unsure[steps.cycle[rows]])
        low, high = _own_bounds(scope, rows[here])
        wide, _ = _peak(steps.cycle[rows[here]], low, high, np.ones(len(here), bool), size)
        torn = any_by(steps.cycle[rows], steps.records.torn[steps.row[rows]], size)
        reason = np.where((reason == 0) & unsure & (wide > limit), np.where(torn, 3, 2), reason)
    idle = ~any_by(steps.cycle[rows], np.ones(len(rows), bool), size) | (limit == 0)
    status = np.array([IN, OUT, NOT_OBSERVED, NOT_OBSERVED, OUT], dtype=np.int8)[reason]
    status[idle], reason[idle] = NOT_APPLICABLE, 0

    def show(i: int) -> Shown:
        cycle = int(cycles[i])
        mine = rows[steps.cycle[rows] == cycle]
        at = sure_at[cycle]
        busy = mine[(steps.start[mine] <= at) & (steps.end[mine] > at)]
        busy = busy if status[cycle] == OUT else mine[steps.incomplete[mine]]
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
    as_of = np.array([m.as_of for m in scope.machines], dtype=np.int64)[steps.machine[steps.cycle[rows]]]
    recorded = steps.times("recorded_at", rows)
    nothing = np.iinfo(np.int64).min
    latest = np.where(recorded == nothing, as_of, recorded)
    low = np.where(start == nothing, -FAR, start)
    return low, np.where(end == nothing, np.maximum(latest, np.maximum(low, 0)), end)


def _people(params: Params, scope: Scope) -> Outcomes:
    own = scope.steps
    cycles = scope.cycle_in()
    clashes = _clashes(params, scope)
    person = own.column("performed_by")
    named = any_by(own.cycle, person >= 0, own.cycles)
    hit: dict[int, tuple[int, int]] = {}
    cycle_of_row = dict(zip(own.row.tolist(), own.cycle.tolist(), strict=True)) if clashes else {}
    for a, b in clashes:
        for mine, other in ((a, b), (b, a)):
            cycle = cycle_of_row.get(mine)
            if cycle is not None:
                hit.setdefault(cycle, (mine, other))
    status = np.where(named[cycles], IN, NOT_APPLICABLE).astype(np.int8) if len(cycles) else np.empty(0, np.int8)
    out = np.isin(cycles, np.fromiter(hit, dtype=np.int64))
    status[out] = OUT
    position = {int(r): k for k, r in enumerate(own.row.tolist())} if hit else {}

    def show(i: int) -> Shown:
        mine, other = hit[int(cycles[i])]
        records = own.records
        facts = {"person": records.text("performed_by", mine), "store": records.text("store_id", mine),
                 "other": records.text("store_id", other)}  # fmt: skip
        rows = [position[r] for r in (mine, other) if r in position]
        return Shown(Quantity(2, "1"), Required(None, 1, "1", "one store at a time"), Quantity(1, "1"), rows,
                     ("performed_by", "store_id", "started_at", "ended_at"), facts)  # fmt: skip

    return Outcomes(own.machine[cycles], cycles, Names((), np.full(len(cycles), -1)), status,
                    Reasons(_REASONS, np.where(out, 4, 0).astype(np.int8)), show)  # fmt: skip


def _clashes(params: Params, scope: Scope) -> list[tuple[int, int]]:
    """Pairs of record rows of one person that overlap at different stores, each row with one it overlaps."""
    records = scope.steps.records
    person, store = records.texts["performed_by"].codes, records.texts["store_id"].codes
    start, end = records.started, records.ended
    use = (person >= 0) & (start != np.iinfo(np.int64).min) & (end > start)
    if params.steps:
        use &= np.isin(records.texts["step"].codes, [records.code("step", s) for s in params.steps])
    pair = np.unique(np.stack([person[use], store[use]]), axis=1)
    people, places = np.unique(pair[0], return_counts=True)
    use &= np.isin(person, people[places > 1])
    rows = np.flatnonzero(use)
    rows = rows[np.lexsort((end[rows], start[rows], person[rows]))]
    found: list[tuple[int, int]] = []
    open_rows: list[int] = []
    for row in rows.tolist():
        open_rows = [r for r in open_rows if person[r] == person[row] and end[r] > start[row]]
        found.extend((r, row) for r in open_rows if store[r] != store[row])
        open_rows.append(row)
    return found
