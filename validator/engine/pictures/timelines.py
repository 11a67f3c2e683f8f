"""Cycles as timelines: what was recorded of every line and part, and what the rules ask of it."""

from __future__ import annotations

from collections import Counter
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

LATEST = 3
"""The latest cycles of each machine that are drawn though nothing was found in them; of a large fleet one."""
LARGE_FLEET = 50
"""Machines above which only the latest cycle of each is drawn without a finding."""

Ints = npt.NDArray[np.int64]
Turn = tuple[int, int]
"""When a cycle is dealt: how many of its machine are later, and the machine's place in the fleet."""
Place = tuple[int, int, str]
"""Where a cycle stands in the report: the place of its machine in the fleet, when it began, and its id."""
Formed = Sequence[tuple[Steps, list[Applied]]]
_STATUS = tuple(Status(word) for word in STATUS_WORDS)


def timelines(
    formed: Formed, places: Sequence[int], fleet: int, most: int
) -> tuple[dict[Turn, tuple[Place, Timeline]], int]:
    """At most so many cycles to be drawn of machines that stand at these places of a fleet of so many, and how many there are.

    Drawn are cycles with findings and the latest of each machine; where there are too many, the latest of every machine come
    first, then the one before of each, and so on.
    """
    wanted: dict[Place, tuple[int, int]] = {}
    seen: set[Place] = set()
    for group, (steps, applied) in enumerate(formed):
        machine = [places[m] for m in steps.machine.tolist()]
        of_group = list(zip(machine, steps.began.tolist(), steps.cycle_ids, strict=True))
        for cycle in np.flatnonzero(_wanted(steps, applied, LATEST if fleet <= LARGE_FLEET else 1)).tolist():
            if of_group[cycle] not in seen:
                wanted.setdefault(of_group[cycle], (group, cycle))
        seen.update(of_group)
    turns: dict[Turn, Place] = {}
    later: Counter[int] = Counter()
    for place in sorted(wanted, reverse=True):
        turns[later[place[0]], place[0]] = place
        later[place[0]] += 1
    chosen = {wanted[turns[turn]]: turn for turn in sorted(turns)[:most]}
    found: dict[Turn, tuple[Place, Timeline]] = {}
    for group, (steps, applied) in enumerate(formed):
        cycles = np.array(sorted(cycle for g, cycle in chosen if g == group), dtype=np.int64)
        if len(cycles):
            for cycle, timeline in _drawn(applied[0].machines, steps, cycles, _asked(steps, applied, cycles)):
                turn = chosen[group, cycle]
                found[turn] = turns[turn], timeline
    return found, len(seen)


def dealt(parts: Sequence[Mapping[Turn, tuple[Place, Timeline]]], most: int) -> dict[Turn, tuple[Place, Timeline]]:
    """At most so many of what is drawn of several parts of a fleet, by their turns."""
    every = {turn: one for part in parts for turn, one in part.items()}
    return {turn: every[turn] for turn in sorted(every)[:most]}


def _wanted(steps: Steps, applied: Sequence[Applied], latest: int) -> npt.NDArray[np.bool_]:
    """The cycles with findings, and the latest of each machine."""
    wanted = np.zeros(steps.cycles, dtype=bool)
    for a in applied:
        for o in a.outcomes:
            wanted[o.cycle[((o.status == OUT) | (o.status == NOT_OBSERVED)) & (o.cycle >= 0)]] = True
    order = sorted(range(steps.cycles), key=lambda c: (steps.machine[c], steps.began[c], steps.cycle_ids[c]))
    machine = steps.machine[order]
    # the last ones of every machine: those that another machine follows so many places on
    ends = np.append(machine[latest:] != machine[:-latest], np.ones(min(latest, len(machine)), dtype=bool))
    wanted[np.array(order, dtype=np.intp)[ends]] = True
    return wanted


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
        sources, spans, seconds = _spans(steps, rows, int(steps.began[cycle]))
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
            at_once, sources, spans, tuple(of_cycle),
        )  # fmt: skip


_UNKNOWN = ("", "start", "end", "both")


def _spans(
    steps: Steps, rows: npt.NDArray[np.intp], began: int
) -> tuple[tuple[tuple[str, str], ...], tuple[Span, ...], float]:
    records = steps.records
    low, _, _, high = steps.bounds(rows)
    unknown = (steps.start[rows] == NAT) + 2 * (steps.end[rows] == NAT)
    at = steps.row[rows]
    sources = sorted(set(records.source[at].tolist()))
    words = [*records.texts["step"].vocabulary, ""]
    found = [
        Span(words[step], steps.target_name(target), _since(start, began), _since(end, began), _UNKNOWN[lacks],
             sources.index(source), row)
        for step, target, start, end, lacks, source, row in zip(
            steps.step[rows].tolist(), steps.target[rows].tolist(), low.tolist(), high.tolist(), unknown.tolist(),
            records.source[at].tolist(), records.rows[at].tolist(), strict=True,
        )
    ]  # fmt: skip
    far = 10**15
    found.sort(key=lambda s: (s.start if s.start is not None else -far, s.end if s.end is not None else far, s.step,
                              s.target, s.source, s.row))  # fmt: skip
    last = [int(t) for times in (steps.start[rows], steps.end[rows]) for t in times.tolist() if t != NAT]
    seconds = (_since(max(last), began) or 0) if last and began != NAT else 0
    return tuple(records.sources[source] for source in sources), tuple(found), seconds


def _since(at: int, began: int) -> float | None:
    """Seconds since the cycle began; null where nothing bounds a time."""
    if began == NAT or abs(at) >= FAR // 2:
        return None
    return whole_if_whole((at - began) / MICROSECONDS)
