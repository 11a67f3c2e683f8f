"""Cycles as timelines: what was recorded of every line and part, and what the rules ask of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.engine.stamp import local_start
from validator.findings import Asked, Span, Status, Timeline
from validator.kinds.outcome import NOT_APPLICABLE, NOT_OBSERVED, OUT, STATUS_WORDS
from validator.machines import Machine
from validator.quantities import MICROSECONDS, whole_if_whole
from validator.steps import FAR, Steps
from validator.tables import NAT

MOST_TIMELINES = 2_000
"""Cycles that a report holds as timelines, fairly dealt out among the machines."""
LATEST = 3
"""The latest cycles of each machine that are drawn though nothing was found in them; of a large fleet one."""
LARGE_FLEET = 50
"""Machines above which only the latest cycle of each is drawn without a finding."""

Ints = npt.NDArray[np.int64]
Turn = tuple[int, int, int, int]
"""When a cycle is dealt: its place among those of its machine, the machine's place, and which cycle it is there."""
Place = tuple[int, int, str]
"""Where a cycle stands in the report: the place of its machine in the fleet, when it began, and its id."""
Formed = Sequence[tuple[Steps, list[Applied]]]
_STATUS = tuple(Status(word) for word in STATUS_WORDS)


def timelines(formed: Formed, places: Sequence[int], fleet: int) -> tuple[dict[Turn, tuple[Place, Timeline]], int]:
    """The cycles to be drawn of machines that stand at these places of a fleet of so many, and how many cycles there are."""
    seen: set[Place] = set()
    wanted: dict[Turn, tuple[Place, int, int]] = {}
    taken: set[Place] = set()
    latest = LATEST if fleet <= LARGE_FLEET else 1
    for group, (steps, applied) in enumerate(formed):
        if not steps.cycles:
            continue
        machine = [places[m] for m in steps.machine.tolist()]
        keys = list(zip(machine, steps.began.tolist(), steps.cycle_ids, strict=True))
        seen.update(keys)
        fresh = np.array([key not in taken for key in keys])
        for turn, cycle in _chosen(steps, applied, fresh, latest):
            if keys[cycle] not in taken:
                wanted[turn, machine[cycle], group, cycle] = keys[cycle], group, cycle
                taken.add(keys[cycle])
    found: dict[Turn, tuple[Place, Timeline]] = {}
    chosen = sorted(wanted)[:MOST_TIMELINES]
    for group, (steps, applied) in enumerate(formed):
        mine = {wanted[turn][2]: turn for turn in chosen if wanted[turn][1] == group}
        if mine:
            cycles = np.array(sorted(mine), dtype=np.int64)
            for cycle, timeline in _drawn(applied[0].machines, steps, cycles, _asked(steps, applied, cycles)):
                found[mine[cycle]] = wanted[mine[cycle]][0], timeline
    return found, len(seen)


def dealt(parts: Sequence[Mapping[Turn, tuple[Place, Timeline]]]) -> dict[Turn, tuple[Place, Timeline]]:
    """What is drawn of several parts of a fleet: every machine its own gravest and latest cycles, turn by turn."""
    every = {turn: one for part in parts for turn, one in part.items()}
    return {turn: every[turn] for turn in sorted(every)[:MOST_TIMELINES]}


def _chosen(
    steps: Steps, applied: Sequence[Applied], fresh: npt.NDArray[np.bool_], latest: int
) -> Iterator[tuple[int, int]]:
    """The cycles to be drawn, those with findings and the latest of each machine, after the turn at which they come."""
    faulty = np.zeros(steps.cycles, dtype=bool)
    for a in applied:
        for o in a.outcomes:
            found = ((o.status == OUT) | (o.status == NOT_OBSERVED)) & (o.cycle >= 0)
            faulty[o.cycle[found]] = True
    wanted = fresh & (faulty | (_rank(steps.machine, -steps.began, steps.cycle_ids) < latest))
    cycles = np.flatnonzero(wanted)
    turn = _rank(steps.machine[cycles], np.where(faulty[cycles], 0, 2**61) - steps.began[cycles] // 8,
                 [steps.cycle_ids[c] for c in cycles.tolist()])  # fmt: skip
    yield from zip(turn.tolist(), cycles.tolist(), strict=True)


def _rank(machine: Ints, key: Ints, names: Sequence[str]) -> Ints:
    """The place of each cycle among those of its machine, by a key; equal keys by name."""
    by_name = np.empty(len(names), dtype=np.int64)
    by_name[sorted(range(len(names)), key=names.__getitem__)] = np.arange(len(names))
    order = np.lexsort((by_name, key, machine))
    heads = np.flatnonzero(np.diff(machine[order], prepend=-1))
    rank = np.empty(len(machine), dtype=np.int64)
    rank[order] = np.arange(len(order)) - np.repeat(heads, np.diff(np.append(heads, len(order))))
    return rank


def _asked(steps: Steps, applied: Sequence[Applied], chosen: Ints) -> dict[int, list[Asked]]:
    """What the rules ask of the steps of these cycles: every least time, and of other requirements those not shown."""
    mine = np.zeros(steps.cycles, dtype=bool)
    mine[chosen] = True
    found: dict[int, list[Asked]] = {}
    for a in applied:
        timed = a.rule.rule.kind in ("flush", "contact")
        if not timed and a.rule.rule.kind != "coverage":
            continue
        for o in a.outcomes:
            here = (o.cycle >= 0) & mine[o.cycle] & (o.status != NOT_APPLICABLE)
            here &= timed | (o.status == OUT) | (o.status == NOT_OBSERVED)
            step = o.part or getattr(a.params, "step", "") or " or ".join(a.params.steps)
            for i in np.flatnonzero(here).tolist():
                shown = o.show(i)
                least = shown.required.min if timed and shown.required and shown.required.unit == "s" else None
                found.setdefault(int(o.cycle[i]), []).append(
                    Asked(a.rule.rule.id, step, o.target[i], _STATUS[int(o.status[i])], o.reason[i], least,
                          shown.observed)
                )  # fmt: skip
    return found


def _drawn(
    machines: Sequence[Machine], steps: Steps, chosen: Ints, asked: dict[int, list[Asked]]
) -> Iterator[tuple[int, Timeline]]:
    for cycle in chosen.tolist():
        machine = machines[int(steps.machine[cycle])]
        rows = np.arange(int(steps.first[cycle]), int(steps.first[cycle + 1]), dtype=np.intp)
        spans, seconds = _spans(steps, rows, int(steps.began[cycle]))
        of_cycle = sorted(asked.get(cycle, ()), key=lambda x: (x.target, x.step, x.rule))
        recorded = {*(s.target for s in spans), *(a.target for a in of_cycle)}
        expected = tuple(dict.fromkeys((*(machine.lines or ()), *(machine.parts or ()))))
        others = tuple(sorted(recorded - {*expected, ""}))
        at_once = tuple(
            (step, n) for step, n in sorted(machine.capacities.items()) if any(s.step == step for s in spans)
        )
        yield cycle, Timeline(
            machine.store_id, machine.equipment_id, steps.cycle_ids[cycle], local_start(steps, cycle), seconds,
            (*expected, *others, *(("",) if "" in recorded else ())), tuple(sorted(machine.out_of_use & set(expected))),
            at_once, spans, tuple(of_cycle),
        )  # fmt: skip


def _spans(steps: Steps, rows: npt.NDArray[np.intp], began: int) -> tuple[tuple[Span, ...], float]:
    records = steps.records
    low, _, _, high = steps.bounds(rows)
    known = [steps.start[rows] != NAT, steps.end[rows] != NAT]
    at = steps.row[rows]
    words = records.texts["step"].vocabulary
    found = []
    for k, (start, end, row) in enumerate(zip(low.tolist(), high.tolist(), at.tolist(), strict=True)):
        file, sheet = records.sources[int(records.source[row])]
        found.append(Span(
            words[int(steps.step[rows[k]])], steps.target_name(int(steps.target[rows[k]])), _since(start, began),
            _since(end, began), bool(known[0][k]), bool(known[1][k]), file, sheet, int(records.rows[row]),
        ))  # fmt: skip
    far = 10**15
    found.sort(key=lambda s: (s.start if s.start is not None else -far, s.end if s.end is not None else far, s.step,
                              s.target, s.file, s.sheet, s.row))  # fmt: skip
    last = [int(t) for times in (steps.start[rows], steps.end[rows]) for t in times.tolist() if t != NAT]
    return tuple(found), (_since(max(last), began) or 0) if last and began != NAT else 0


def _since(at: int, began: int) -> float | None:
    """Seconds since the cycle began; null where nothing bounds a time."""
    if began == NAT or abs(at) >= FAR // 2:
        return None
    return whole_if_whole((at - began) / MICROSECONDS)
