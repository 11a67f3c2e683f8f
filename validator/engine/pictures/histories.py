"""A machine's cleanings over the months, each interval with its due date, and the seasons in which it was closed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.engine.due import due_day
from validator.findings import Cleaning, History, Run, Status
from validator.kinds.interval_lengths import local_days
from validator.kinds.outcome import IN, NOT_OBSERVED, OUT, STATUS_WORDS, Outcomes
from validator.machines import EPOCH, Machine
from validator.statuses import OPEN
from validator.steps import Steps
from validator.tables import NAT

Ints = npt.NDArray[np.int64]
_STATUS = tuple(Status(word) for word in STATUS_WORDS)
_CLEANINGS_SHOWN = 400
"""Cycles of one machine that are drawn, the latest: a cleaning a day for a year is a solid line as it is."""


def histories(
    formed: Sequence[tuple[Steps, list[Applied]]], fleet: Sequence[Machine], shown: npt.NDArray[np.bool_]
) -> Iterator[tuple[int, History]]:
    """The history of every machine in `shown`, with the machine's place in the fleet."""
    done: dict[int, dict[tuple[str, int], Cleaning]] = {}
    runs: dict[int, list[Run]] = {}
    for steps, applied in formed:
        if not steps.cycles:
            continue
        days = np.where(steps.completed == NAT, 0, local_days(fleet, steps.machine, steps.completed))
        worst = _worst(steps, applied)
        here = np.flatnonzero(shown[steps.machine] & (steps.completed != NAT))
        here = here[np.lexsort((days[here], steps.machine[here]))]
        for c, at, day, status in zip(here.tolist(), steps.machine[here].tolist(), days[here].tolist(),
                                      worst[here].tolist(), strict=True):  # fmt: skip
            name = steps.cycle_ids[c]
            cleaning = Cleaning(_date(day), name, _STATUS[status])
            before = done.setdefault(at, {}).setdefault((name, day), cleaning)
            if _rank(status) > _rank(_STATUS.index(before.status)):
                done[at][name, day] = cleaning
    for _, applied in formed:
        for a in applied:
            if a.rule.rule.kind == "interval":
                for o in a.outcomes:
                    for at, run in _runs(a, o, shown):
                        runs.setdefault(at, []).append(run)
    for at, m in enumerate(fleet):
        if shown[at] and (at in done or at in runs):
            yield at, History(
                m.store_id, m.equipment_id, _date(m.today),
                tuple(sorted(done.get(at, {}).values(), key=lambda c: (c.day, c.cycle_id))[-_CLEANINGS_SHOWN:]),
                tuple(sorted(runs.get(at, ()), key=lambda r: (r.rule, r.begun, r.ended))[-_CLEANINGS_SHOWN:]),
                tuple((_date(a), _date(b)) for a, b in m.closed),
            )  # fmt: skip


def _rank(status: int) -> int:
    return {OUT: 3, NOT_OBSERVED: 2, IN: 1}.get(status, 0)


def _worst(steps: Steps, applied: Sequence[Applied]) -> Ints:
    """The worst that any check of each cycle came out; an interval speaks of the time between, not of a cycle."""
    worst = np.full(steps.cycles, IN)
    for status in (NOT_OBSERVED, OUT):
        for a in applied:
            for o in a.outcomes if a.rule.rule.kind != "interval" else ():
                worst[o.cycle[(o.status == status) & (o.cycle >= 0)]] = status
    return worst


def _runs(a: Applied, o: Outcomes, shown: npt.NDArray[np.bool_]) -> Iterator[tuple[int, Run]]:
    """Each interval of the machines, from the cleaning that began it to its due date and its end."""
    steps = a.steps
    limit = a.params.max
    scale = 1 if limit.calendar else 86_400
    allowed = (np.full(len(o), limit.amount) if o.allowance is None else o.allowance) // scale
    known = (o.cycle >= 0) & (steps.completed[o.cycle] != NAT) if steps.cycles else o.cycle >= 0
    days = np.zeros(len(o), dtype=np.int64)
    days[known] = local_days(a.machines, o.machine[known], steps.completed[o.cycle[known]])
    running = np.array([target == OPEN for target in o.target], dtype=bool)
    mine = np.flatnonzero(shown[o.machine] & (known | running))
    mine = mine[np.lexsort((running[mine], days[mine], o.machine[mine]))]
    last, begun = -1, -1
    for i in mine.tolist():
        at = int(o.machine[i])
        m = a.machines[at]
        if at != last:
            last, begun = at, -1 if m.in_service_on is None else m.in_service_on
        if begun < 0:
            begun = int(days[i]) if running[i] else _begun(a, o, i, int(days[i]))
        if running[i] and not known[i] and m.in_service_on is None:
            continue
        end = m.today if running[i] else int(days[i])
        due = due_day(m, begun, int(allowed[i]))
        yield at, Run(a.rule.rule.id, _date(begun), _date(due), _date(end), bool(running[i]), _STATUS[int(o.status[i])])
        begun = int(days[i])


def _begun(a: Applied, o: Outcomes, i: int, otherwise: int) -> int:
    """The day on which a machine's first interval began, where the register does not say it."""
    rows = o.show(i).rows
    at = a.steps.completed[a.steps.cycle[rows[0]]] if rows else NAT
    return otherwise if at == NAT else int(local_days(a.machines, o.machine[i : i + 1], np.array([at]))[0])


def _date(day: int) -> str:
    return date.fromordinal(EPOCH + day).isoformat()
