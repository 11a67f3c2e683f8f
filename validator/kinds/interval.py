"""Was the machine cleaned often enough, and is it still in time?

Cycles of a machine that count, in order of completion; no more than `max` + `grace` in-service days (or elapsed time)
may lie between one and the next, and between the last one and now. Days out of service do not count. The day of a
cleaning is day 0: after a limit of 14 days, cleanings on the 1st and the 15th are in time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.cycles import Steps
from validator.documents import Document
from validator.findings import Quantity, Required
from validator.kinds.durations import Either
from validator.kinds.outcome import IN, NOT_OBSERVED, OUT, Outcomes, Scope, Shown
from validator.machines import Machine
from validator.quantities import MICROSECONDS, Duration, say
from validator.readers.tables import NAT
from validator.timing.zones import DAY

NAME = "interval"
TIGHTER: Mapping[str, Literal["lower", "higher"]] = {"max": "lower", "grace": "lower"}
OPEN = "open"
Ints = npt.NDArray[np.int64]


class Params(Document):
    """`counts` says which cycles reset the clock; `warn_before` only shows a due date as near."""

    max: Either
    grace: Either | None = None
    warn_before: Either | None = None
    counts: Literal["any", "complete", "conforming"] = "complete"

    @model_validator(mode="after")
    def _one_measure(self) -> Params:
        for name in ("grace", "warn_before"):
            value = getattr(self, name)
            if value is not None and value.calendar != self.max.calendar:
                raise ValueError(f"{name} {value} and max {self.max} must both be days (PnD) or both elapsed time (PT..)")
        return self

    @property
    def allowed(self) -> int:
        """Days or seconds, grace included."""
        return self.max.amount + (self.grace.amount if self.grace else 0)


@dataclass(frozen=True)
class _Line:
    """One interval: the cycle it begins and ends with (-1: none), its length, and the longest it can have been."""

    machine: int
    begin: int
    end: int
    seen: int
    least: int
    reason: str
    status: int


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check an interval, the running one with the target `open`."""
    lines = [line for at in np.flatnonzero(scope.machine_in).tolist() for line in _machine(params, scope, at)]
    running = [line.end < 0 for line in lines]

    def show(i: int) -> Shown:
        return _shown(params, scope, lines[i])

    return [Outcomes(
        np.array([line.machine for line in lines], dtype=np.int64),
        np.array([line.begin if open_ else line.end for line, open_ in zip(lines, running, strict=True)], dtype=np.int64),
        [OPEN if open_ else "" for open_ in running],
        np.array([line.status for line in lines], dtype=np.int8), [line.reason for line in lines], show,
    )]  # fmt: skip


def counting_cycles(scope: Scope, at: int) -> list[int]:
    """The cycles of a machine that count, in order of completion; none from before it went into service or after now."""
    steps, machine = scope.steps, scope.machines[at]
    low, high = np.searchsorted(steps.machine, [at, at + 1])
    mine = np.arange(low, high)
    mine = mine[steps.completed[mine] != NAT]
    mine = mine[steps.completed[mine] <= machine.as_of]
    if scope.counting is not None:
        mine = mine[scope.counting[mine]]
    if machine.in_service_on is not None and len(mine):
        mine = mine[machine.clock.to_wall(steps.completed[mine]) // DAY >= machine.in_service_on]
    order = sorted(mine.tolist(), key=lambda c: (int(steps.completed[c]), steps.cycle_ids[c]))
    return order


def _machine(params: Params, scope: Scope, at: int) -> list[_Line]:
    steps, machine = scope.steps, scope.machines[at]
    cycles = counting_cycles(scope, at)
    completed = [int(steps.completed[c]) for c in cycles]
    latest = [_latest(steps, c, machine) for c in cycles]
    lines: list[_Line] = []
    if machine.in_service_on is not None:
        begin = machine.clock.midnight(machine.in_service_on)
        cycles, completed, latest = [-1, *cycles], [begin, *completed], [begin, *latest]
    elif not cycles:
        return [_Line(at, -1, -1, 0, 0, "no_start", NOT_OBSERVED)]
    ends = [*zip(cycles[1:], completed[1:], latest[1:], strict=True), (-1, machine.as_of, machine.as_of)]
    for begin_cycle, begin_low, begin_high, (end_cycle, end_low, end_high) in zip(
        cycles, completed, latest, ends, strict=True
    ):
        most = length(params.max, machine, begin_low, end_high)
        least = length(params.max, machine, min(begin_high, end_low), end_low)
        plain = length(params.max, machine, begin_low, end_low)
        status = OUT if least > params.allowed else IN if most <= params.allowed else NOT_OBSERVED
        reason = {OUT: "too_late", IN: "", NOT_OBSERVED: "missing_time"}[status]
        lines.append(_Line(at, begin_cycle, end_cycle, plain, least, reason, status))
    return lines


def _latest(steps: Steps, cycle: int, machine: Machine) -> int:
    """The latest that a cycle can have been completed: as recorded, unless a step's end is unknown."""
    completed = int(steps.completed[cycle])
    if not steps.incomplete_cycles[cycle]:
        return completed
    rows = np.arange(steps.first[cycle], steps.first[cycle + 1])
    rows = rows[steps.end[rows] == NAT]
    if not len(rows):
        return completed
    return max(completed, int(steps.bounds(rows)[3].max()))


def length(limit: Duration, machine: Machine, begin: int, end: int) -> int:
    """In-service days (for a limit in days) or seconds between two instants, times out of service left out."""
    if not limit.calendar:
        away = sum(
            max(0, min(end, machine.clock.midnight(b + 1)) - max(begin, machine.clock.midnight(a)))
            for a, b in machine.closed
        )
        # a started second counts: half a second over the limit is over it
        return -(-max(0, end - begin - away) // MICROSECONDS)
    first, last = (int(d) for d in machine.clock.to_wall(np.array([begin, end])) // DAY)
    away = sum(max(0, min(last, b) - max(first + 1, a) + 1) for a, b in machine.closed)
    return max(0, last - first - away)


def _shown(params: Params, scope: Scope, line: _Line) -> Shown:
    unit = params.max.unit
    text = f"at most {say(params.max.amount, unit)}"
    text += f" and {say(params.grace.amount, unit)} of grace" if params.grace else ""
    required = Required(None, params.allowed, unit, text)
    rows = [_last_row(scope.steps, c) for c in (line.begin, line.end) if c >= 0]
    columns = ("cycle_id", "ended_at")
    machine = scope.machines[line.machine]
    begun = _day(scope, line.begin, machine) if line.begin >= 0 else ""
    facts = {"found": say(line.seen, unit), "limit": text, "over": say(line.seen - params.allowed, unit),
             "since": begun or ("the day it went into service" if machine.in_service_on is not None else "")}  # fmt: skip
    if line.reason == "no_start":
        return Shown(None, required, None, (), columns, facts)
    observed = Quantity(line.seen, unit)
    margin = Quantity(line.seen - params.allowed, unit) if line.status == OUT else None
    return Shown(observed if line.status == OUT else None, required, margin, rows, columns, facts)


def _last_row(steps: Steps, cycle: int) -> int:
    rows = np.arange(steps.first[cycle], steps.first[cycle + 1])
    known = np.where(steps.end[rows] == NAT, steps.start[rows], steps.end[rows])
    last = rows[known == known.max()]
    return int(min(last, key=lambda k: (steps.records.source[steps.row[k]], steps.records.rows[steps.row[k]])))


def _day(scope: Scope, cycle: int, machine: Machine) -> str:
    wall = machine.clock.to_wall(np.array([int(scope.steps.completed[cycle])]))[0]
    return str(np.datetime64(int(wall), "us").astype("datetime64[D]"))
