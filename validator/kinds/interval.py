"""Was the machine cleaned often enough, and is it still in time?

Cycles of a machine that count, in order of completion; no more than `max` + `grace` in-service days (or elapsed time)
may lie between one and the next, and between the last one and now. Days out of service do not count. The day of a
cleaning is day 0: after a limit of 14 days, cleanings on the 1st and the 15th are in time. With `having` only cycles
in which that was done count: what is due every quarter within cleanings that are due every fortnight.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.documents import Document
from validator.findings import Quantity, Required
from validator.kinds.acts import ActOn
from validator.kinds.durations import Either, Elapsed
from validator.kinds.outcome import IN, NOT_OBSERVED, OUT, Names, Outcomes, Reasons, Scope, Shown, Stricter
from validator.machines import Machine
from validator.quantities import MICROSECONDS, Duration, say
from validator.statuses import OPEN
from validator.tables import NAT
from validator.timing.zones import DAY

NAME = "interval"
TIGHTER: Mapping[str, Stricter] = {"max": "lower", "grace": "none", "warn_before": "free"}
_REASONS = ("", "too_late", "missing_time", "no_start", "unread_file", "missing_agent")
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


class Params(Document):
    """`counts` and `having` say which cycles reset the clock; `warn_before` only shows a due date as near.

    `cycle_within` is what the rule takes as given of a cycle with an end missing: that it was done no later than this
    after its last known time. Absent: nothing is taken as given, and such a cycle may have gone on until now.
    """

    max: Either
    grace: Either | None = None
    warn_before: Either | None = None
    counts: Literal["any", "complete", "conforming"] = "complete"
    having: ActOn | None = None
    cycle_within: Elapsed | None = None

    @model_validator(mode="after")
    def _one_measure(self) -> Params:
        for name in ("grace", "warn_before"):
            value = getattr(self, name)
            if value is not None and value.calendar != self.max.calendar:
                raise ValueError(
                    f"{name} {value} and max {self.max} must both be days (PnD) or both elapsed time (PT..)"
                )
        return self

    @property
    def allowed(self) -> int:
        """Days or seconds, grace included."""
        return self.max.amount + (self.grace.amount if self.grace else 0)


@dataclass(frozen=True)
class _Lines:
    """Every interval, in columns: the cycle it begins and ends with (-1: none) and how long it lasted.

    `most` and `least` are the longest and the shortest it can have been where an end of a step is unknown.
    """

    machine: Ints
    begin: Ints
    end: Ints
    seen: Ints
    most: Ints
    least: Ints


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check an interval, the running one with the target `open`; without a day to count from one N/O.

    A cycle that counts and has no time at all may lie anywhere: it is N/O, and on its machine nothing is OUT. Nor is
    an interval with a cycle in it that may count, but does not tell what was used.
    """
    scope, doubtful = _having(params, scope)
    lines = _intervals(params, scope)
    undated = _undated(scope)
    unsure = np.isin(lines.machine, scope.steps.machine[undated])
    silent = scope.unread & ~np.isin(lines.machine, scope.steps.machine)
    late = np.where(lines.least > params.allowed, 1, np.where(lines.most <= params.allowed, 0, 2))
    late = np.where((late == 1) & _held(lines, scope, doubtful), 5, late)
    rest = _Rest.of(scope, lines, undated)
    late = np.where((late == 1) & silent, 4, np.where((late == 1) & unsure, 2, late))
    reason = np.concatenate([late, rest.reason])
    running = np.concatenate([lines.end < 0, rest.running])

    required = _required(params)

    def show(i: int) -> Shown:
        return _shown(params, scope, lines, required, i if i < len(late) else -1)

    return [Outcomes(
        np.concatenate([lines.machine, rest.machine]),
        np.concatenate([np.where(lines.end < 0, lines.begin, lines.end), rest.cycle]),
        Names((OPEN,), np.where(running, 0, -1)),
        np.array([IN, OUT, *[NOT_OBSERVED] * 4], dtype=np.int8)[reason],
        Reasons(_REASONS, reason.astype(np.int8)), show,
    )]  # fmt: skip


def _having(params: Params, scope: Scope) -> tuple[Scope, Ints]:
    """The scope with the cycles that count narrowed to those that have the act, and the cycles that only may have it."""
    if params.having is None:
        return scope, np.empty(0, dtype=np.int64)
    counting = np.ones(scope.steps.cycles, dtype=bool) if scope.counting is None else scope.counting
    sure, possible = params.having.cycles(scope)
    narrowed = replace(scope, counting=counting & possible & ~sure)
    doubtful = np.concatenate([counting_cycles(narrowed), _undated(narrowed)])
    return replace(scope, counting=counting & sure), doubtful


def _held(lines: _Lines, scope: Scope, cycles: Ints) -> Mask:
    """Which intervals have one of these cycles between their beginning and their end, or may have.

    A cycle whose completion is not known is taken to lie in every interval of its machine.
    """
    steps = scope.steps
    known = steps.completed[cycles] == steps.completed_at_last[cycles]
    found = np.isin(lines.machine, steps.machine[cycles[~known]])
    cycles = cycles[known]
    if not len(cycles):
        return found
    begun = np.where(lines.begin >= 0, steps.completed[lines.begin], NAT)
    machine = np.concatenate([lines.machine, steps.machine[cycles]])
    order = np.lexsort((np.concatenate([begun, steps.completed[cycles]]), machine))
    # the last beginning at or before a cycle is that of its interval, if it is of the same machine
    last = np.maximum.accumulate(np.where(order < len(begun), order, -1))[order >= len(begun)]
    owner = machine[order[order >= len(begun)]]
    mine = last[(last >= 0) & (lines.machine[last] == owner)] if len(begun) else last[:0]
    found[mine] = True
    return found


@dataclass(frozen=True)
class _Rest:
    """Checks that are N/O whatever the limit: of cycles without a time, and of machines with no day to count from."""

    machine: Ints
    cycle: Ints
    running: Mask
    reason: Ints

    @classmethod
    def of(cls, scope: Scope, lines: _Lines, undated: Ints) -> _Rest:
        startless = np.flatnonzero(scope.machine_in & ~np.isin(np.arange(len(scope.machines)), lines.machine))
        owner = scope.steps.machine[undated]
        last = {int(m): int(c) for m, c in zip(owner, undated, strict=True)}
        ended = undated[~np.isin(owner, startless)]
        cycle = np.array([last.get(m, -1) for m in startless.tolist()], dtype=np.int64)
        return cls(
            np.concatenate([scope.steps.machine[ended], startless]), np.concatenate([ended, cycle]),
            np.concatenate([np.zeros(len(ended), dtype=bool), np.ones(len(startless), dtype=bool)]),
            np.concatenate([np.full(len(ended), 2), np.where(cycle >= 0, 2, 3)]),
        )  # fmt: skip


def _undated(scope: Scope) -> Ints:
    """The cycles that count and have no known time."""
    mine = scope.cycle_in()
    kept = scope.steps.completed[mine] == NAT
    if scope.counting is not None:
        kept &= scope.counting[mine]
    undated: Ints = mine[kept].astype(np.int64)
    return undated


def counting_cycles(scope: Scope) -> Ints:
    """The cycles that count, by machine and order of completion; none dated before its service or after now."""
    steps = scope.steps
    mine = scope.cycle_in()
    completed, machine = steps.completed[mine], steps.machine[mine]
    as_of = np.array([m.as_of for m in scope.machines], dtype=np.int64)
    opened = np.array([NAT if m.in_service_on is None else m.clock.midnight(m.in_service_on) for m in scope.machines])
    kept = (completed != NAT) & (completed <= as_of[machine]) & (completed >= opened[machine])
    if scope.counting is not None:
        kept &= scope.counting[mine]
    mine = mine[kept]
    ids = steps.cycle_ids
    order = np.lexsort((steps.completed[mine], steps.machine[mine]))
    mine = mine[order]
    ties = (np.diff(steps.completed[mine]) == 0) & (np.diff(steps.machine[mine]) == 0)
    if ties.any():
        ranked = sorted(mine.tolist(), key=lambda c: (int(steps.machine[c]), int(steps.completed[c]), ids[c]))
        mine = np.array(ranked, dtype=np.int64)
    return mine.astype(np.int64)


def _intervals(params: Params, scope: Scope) -> _Lines:
    """Every interval of every machine: from the day it went into service where that is known, to now."""
    steps, machines = scope.steps, scope.machines
    cycles = counting_cycles(scope)
    opened = np.array(
        [at for at in np.flatnonzero(scope.machine_in).tolist() if machines[at].in_service_on is not None],
        dtype=np.int64,
    )
    opening = np.array([machines[at].clock.midnight(machines[at].in_service_on or 0) for at in opened], dtype=np.int64)
    # one line a beginning: the day of going into service first, then every counting cycle
    machine = np.concatenate([opened, steps.machine[cycles]])
    begin = np.concatenate([np.full(len(opened), -1), cycles])
    at = np.concatenate([opening, steps.completed[cycles]])
    at_low = np.concatenate([opening, steps.completed[cycles] - scope.guard])
    done_at_last = steps.completed_at_last[cycles]
    if params.cycle_within is not None:
        done_at_last = np.minimum(done_at_last, steps.completed[cycles] + params.cycle_within.microseconds)
    at_high = np.concatenate([opening, done_at_last + scope.guard])
    order = np.lexsort((np.arange(len(machine)), begin >= 0, machine))
    machine, begin, at, at_low, at_high = machine[order], begin[order], at[order], at_low[order], at_high[order]
    last = np.append(machine[1:] != machine[:-1], True) if len(machine) else np.empty(0, dtype=bool)
    as_of = np.array([m.as_of for m in machines], dtype=np.int64)[machine]
    end = np.where(last, -1, np.append(begin[1:], -1)[: len(begin)])
    end_at = np.where(last, as_of, np.append(at[1:], 0)[: len(begin)])
    end_low = np.where(last, as_of, np.append(at_low[1:], 0)[: len(begin)])
    end_high = np.where(last, as_of, np.append(at_high[1:], 0)[: len(begin)])
    seen = length(params.max, machines, machine, at, end_at)
    vague = (at_low != at_high) | (end_low != end_high)
    most, least = seen.copy(), seen.copy()
    if vague.any():
        v = np.flatnonzero(vague)
        most[v] = length(params.max, machines, machine[v], at_low[v], end_high[v])
        least[v] = length(params.max, machines, machine[v], np.minimum(at_high[v], end_low[v]), end_low[v])
        _in_any_order(params, machines, (machine, begin, at_low, at_high), most, least)
    return _Lines(machine, begin, end, seen, most, least)


def _in_any_order(
    params: Params, machines: Sequence[Machine], lines: tuple[Ints, Ints, Ints, Ints], most: Ints, least: Ints
) -> None:
    """Where cycles may have been completed in another order than they are recorded: what any order allows, in place."""
    machine, begin, low, high = lines
    same = (machine[1:] == machine[:-1]) & (begin[:-1] >= 0)
    asked: list[tuple[int, bool, int, int]] = []
    for owner in np.unique(machine[1:][same & (high[:-1] >= low[1:])]).tolist():
        mine = np.flatnonzero(machine == owner)
        opened = int(low[mine[0]]) if begin[mine[0]] < 0 else None
        done = mine[begin[mine] >= 0]
        asked += _orders(done.tolist(), low[done].tolist(), high[done].tolist(), opened, machines[owner].as_of)
    if not asked:
        return
    line, longest, start, end = (np.array(column, dtype=np.int64) for column in zip(*asked, strict=True))
    lengths = length(params.max, machines, machine[line], start, end)
    most[line], least[line] = 0, np.iinfo(np.int64).max
    np.maximum.at(most, line[longest == 1], lengths[longest == 1])
    np.minimum.at(least, line[longest == 0], lengths[longest == 0])


def _orders(
    lines: list[int], low: list[int], high: list[int], opened: int | None, now: int
) -> Iterator[tuple[int, bool, int, int]]:
    """For each interval of one machine the line it stands in, and the spans among which its longest (true) and its
    shortest (false) are, over every completion of the cycles within `low` and `high`, which are in order of `low`.

    A cycle that can come after another need not be the one before it; one that can come just before it can be. Cycles
    done at the same moment can stand in either order.
    """
    size = len(lines)
    pairs = sorted(zip(high, low, strict=True))
    highs = [h for h, _ in pairs]
    # of the cycles that were surely done by some moment, the latest of their earliest completions
    surely = [NAT, *accumulate((earliest for _, earliest in pairs), max)]
    for k in range(size):
        if k == 0 and opened is None:
            continue
        line = lines[k] - 1
        for end in {high[k], *highs[bisect_left(highs, low[k]) : bisect_right(highs, high[k])]}:
            start = surely[bisect_left(highs, end)]
            if start == NAT and opened is None:  # nothing must come before it, so what does can be as early as any
                start = low[0]
            yield line, True, start if opened is None else max(start, opened), end
        before = bisect_left(highs, low[k])
        if before + size - bisect_right(low, high[k]) < size - 1:  # another can have been done at the same moment
            yield line, False, low[k], low[k]
        else:
            start = highs[before - 1] if before else NAT
            yield line, False, start if opened is None else max(start, opened), low[k]
    first = low[-1] if opened is None else max(low[-1], opened)
    yield lines[-1], True, first, now
    yield lines[-1], False, min(max(first, highs[-1]), now), now


def length(limit: Duration, machines: Sequence[Machine], machine: Ints, begin: Ints, end: Ints) -> Ints:
    """In-service days (for a limit in days) or seconds between pairs of instants, times out of service left out."""
    away = np.zeros(len(machine), dtype=np.int64)
    closed = [k for k in np.unique(machine).tolist() if machines[k].closed]
    if not limit.calendar:
        for k in closed:
            mine, m = np.flatnonzero(machine == k), machines[k]
            for a, b in m.closed:
                low, high = np.maximum(begin[mine], m.clock.midnight(a)), np.minimum(end[mine], m.clock.midnight(b + 1))
                away[mine] += np.maximum(0, high - low)
        # a started second counts: half a second over the limit is over it
        seconds: Ints = -(-np.maximum(0, end - begin - away) // MICROSECONDS)
        return seconds
    first, last = local_days(machines, machine, begin), local_days(machines, machine, end)
    for k in closed:
        mine = np.flatnonzero(machine == k)
        for a, b in machines[k].closed:
            away[mine] += np.maximum(0, np.minimum(last[mine], b) - np.maximum(first[mine] + 1, a) + 1)
    days: Ints = np.maximum(0, last - first - away)
    return days


def local_days(machines: Sequence[Machine], machine: Ints, at: Ints) -> Ints:
    """The day since 1970 that each instant falls on by the clock of its machine's store."""
    zones = sorted({m.zone for m in machines})
    zone_of = np.array([zones.index(m.zone) for m in machines])[machine] if len(machine) else machine
    clocks = {m.zone: m.clock for m in machines}
    days = np.zeros(len(at), dtype=np.int64)
    for code, zone in enumerate(zones):
        mine = np.flatnonzero(zone_of == code)
        days[mine] = clocks[zone].to_wall(at[mine]) // DAY
    return days


def _required(params: Params) -> Required:
    unit = params.max.unit
    text = f"at most {say(params.max.amount, unit)}"
    text += f" and {say(params.grace.amount, unit)} of grace" if params.grace else ""
    return Required(None, params.allowed, unit, text)


def _shown(params: Params, scope: Scope, lines: _Lines, required: Required, i: int) -> Shown:
    """The facts of interval i; -1 stands for a machine with no day to count from."""
    unit = params.max.unit
    columns = ("cycle_id", "ended_at")
    if i < 0:
        return Shown(None, required, None, (), columns, {"limit": required.text})
    begin, end, seen = int(lines.begin[i]), int(lines.end[i]), int(lines.seen[i])
    machine = scope.machines[int(lines.machine[i])]
    since = (
        machine.clock.moment(int(scope.steps.completed[begin]))[:10] if begin >= 0 else "the day it went into service"
    )
    facts = {"found": say(seen, unit), "limit": required.text, "since": since}
    rows = [int(scope.steps.last_row[c]) for c in (begin, end) if c >= 0]
    if lines.least[i] <= params.allowed:  # N/O: what was recorded need not be how long it was
        return Shown(None, required, None, rows, columns, facts)
    return Shown(Quantity(seen, unit), required, Quantity(seen - params.allowed, unit), rows, columns, facts)
