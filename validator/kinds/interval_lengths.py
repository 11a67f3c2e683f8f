"""How long did each machine run between one cleaning that counts and the next, and since the last one?

In days of the store or in seconds, times out of service left out; with the bounds that missing ends of steps allow.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
import numpy.typing as npt

from validator.kinds.outcome import Scope
from validator.machines import Machine
from validator.quantities import MICROSECONDS, Duration
from validator.tables import NAT
from validator.timing.zones import DAY

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Lines:
    """Every interval, in columns: the cycle it begins and ends with (-1: none) and how long it lasted.

    `most` and `least` are the longest and the shortest it can have been where an end of a step is unknown. `from_..` and
    `to_..` are the instants between which it ran, as recorded and at the earliest and latest. `any_order`: its machine's cycles may have come in another order.
    """

    machine: Ints
    begin: Ints
    end: Ints
    seen: Ints
    most: Ints
    least: Ints
    from_at: Ints
    from_low: Ints
    from_high: Ints
    to_at: Ints
    to_low: Ints
    to_high: Ints
    any_order: Mask


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


def intervals(limit: Duration, cycle_within: Duration | None, scope: Scope) -> Lines:
    """Every interval of every machine: from the day it went into service where that is known, to now.

    In days or seconds, as `limit` is; a cycle with an end missing was done no later than `cycle_within` after its last
    known time, if that is given.
    """
    steps, machines = scope.steps, scope.machines
    cycles = counting_cycles(scope)
    before = known_before(scope, cycles) if limit.calendar else np.full(len(machines), -1, dtype=np.int64)
    since = [m.in_service_on if day < 0 else day for m, day in zip(machines, before.tolist(), strict=True)]
    opened = np.array(
        [at for at in np.flatnonzero(scope.machine_in).tolist() if since[at] is not None],
        dtype=np.int64,
    )
    opening = np.array([machines[at].clock.midnight(since[at] or 0) for at in opened], dtype=np.int64)
    # one line a beginning: the day of going into service first, then every counting cycle
    machine = np.concatenate([opened, steps.machine[cycles]])
    begin = np.concatenate([np.full(len(opened), -1), cycles])
    at = np.concatenate([opening, steps.completed[cycles]])
    at_low = np.concatenate([opening, steps.completed[cycles] - scope.guard])
    done_at_last = steps.completed_at_last[cycles]
    if cycle_within is not None:
        done_at_last = np.minimum(done_at_last, steps.completed[cycles] + cycle_within.microseconds)
    at_high = np.concatenate([opening, done_at_last + scope.guard])
    order = np.lexsort((np.arange(len(machine)), begin >= 0, machine))
    machine, begin, at, at_low, at_high = machine[order], begin[order], at[order], at_low[order], at_high[order]
    last = np.append(machine[1:] != machine[:-1], True) if len(machine) else np.empty(0, dtype=bool)
    as_of = np.array([m.as_of for m in machines], dtype=np.int64)[machine]
    end = np.where(last, -1, np.append(begin[1:], -1)[: len(begin)])
    end_at = np.where(last, as_of, np.append(at[1:], 0)[: len(begin)])
    end_low = np.where(last, as_of, np.append(at_low[1:], 0)[: len(begin)])
    end_high = np.where(last, as_of, np.append(at_high[1:], 0)[: len(begin)])
    seen = length(limit, machines, machine, at, end_at)
    vague = (at_low != at_high) | (end_low != end_high)
    most, least = seen.copy(), seen.copy()
    any_order = np.zeros(len(machine), dtype=bool)
    if vague.any():
        v = np.flatnonzero(vague)
        most[v] = length(limit, machines, machine[v], at_low[v], end_high[v])
        least[v] = length(limit, machines, machine[v], np.minimum(at_high[v], end_low[v]), end_low[v])
        any_order = _in_any_order(limit, machines, (machine, begin, at_low, at_high), most, least)
    return Lines(machine, begin, end, seen, most, least, at, at_low, at_high, end_at, end_low, end_high, any_order)


def known_before(scope: Scope, cycles: Ints) -> Ints:
    """For each machine the day of the cleaning before the first of `cycles`, which only an earlier report knew; -1 for none.

    The day of that first one itself stands for it where the earlier report had judged what came before.
    """
    lost, steps = scope.lost, scope.steps
    found = np.full(len(scope.machines), -1, dtype=np.int64)
    if lost is None:
        return found
    owner, at = np.unique(steps.machine[cycles], return_index=True)
    first = np.full(len(found), -1, dtype=np.int64)
    first[owner] = cycles[at]
    day = np.array([m.today for m in scope.machines], dtype=np.int64)
    day[owner] = local_days(scope.machines, owner, steps.completed[first[owner]])
    there = first >= 0
    told = there & lost.told[np.maximum(first, 0)] if steps.cycles else there
    rolled = there & (lost.first == -1) & (lost.reach >= day) & ~told
    same = there & (lost.first == first) & (lost.known >= 0)
    gone = (lost.on >= 0) & (lost.on <= day)
    return np.select([gone, same, rolled], [lost.on, lost.known, day], found)


def _in_any_order(
    limit: Duration, machines: Sequence[Machine], lines: tuple[Ints, Ints, Ints, Ints], most: Ints, least: Ints
) -> Mask:
    """Where cycles may have been completed in another order than they are recorded: what any order allows, in place.

    Returns the lines of the machines that this concerns.
    """
    machine, begin, low, high = lines
    same = (machine[1:] == machine[:-1]) & (begin[:-1] >= 0)
    asked: list[tuple[int, bool, int, int]] = []
    owners = np.unique(machine[1:][same & (high[:-1] >= low[1:])])
    for owner in owners.tolist():
        mine = np.flatnonzero(machine == owner)
        opened = int(low[mine[0]]) if begin[mine[0]] < 0 else None
        done = mine[begin[mine] >= 0]
        asked += _orders(done.tolist(), low[done].tolist(), high[done].tolist(), opened, machines[owner].as_of)
    if not asked:
        return np.zeros(len(machine), dtype=bool)
    line, longest, start, end = (np.array(column, dtype=np.int64) for column in zip(*asked, strict=True))
    lengths = length(limit, machines, machine[line], start, end)
    most[line], least[line] = 0, np.iinfo(np.int64).max
    np.maximum.at(most, line[longest == 1], lengths[longest == 1])
    np.minimum.at(least, line[longest == 0], lengths[longest == 0])
    return np.isin(machine, owners)


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
