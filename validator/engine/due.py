"""What must be cleaned by when: the running interval of every machine, as a date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from validator.engine.apply import Applied
from validator.findings import Due
from validator.kinds.outcome import Outcomes
from validator.machines import EPOCH, Machine
from validator.timing.zones import DAY

OVERDUE, SOON, LATER = "overdue", "due soon", "later"


def upcoming(applied: Sequence[Applied]) -> list[Due]:
    """The next due date of every machine and interval rule, the earliest first."""
    found = []
    for a in applied:
        if a.rule.rule.kind != "interval":
            continue
        for outcomes in a.outcomes:
            found.extend(_due(a, outcomes, int(i)) for i in np.flatnonzero([t == "open" for t in outcomes.target]))
    return sorted((d for d in found if d is not None), key=lambda d: (d.due_on, d.store_id, d.equipment_id, d.rule))


def _due(a: Applied, outcomes: Outcomes, i: int) -> Due | None:
    machine = a.machines[int(outcomes.machine[i])]
    cycle = int(outcomes.cycle[i])
    if cycle < 0 and machine.in_service_on is None:
        return None
    completed = int(a.steps.completed[cycle]) if cycle >= 0 else machine.clock.midnight(machine.in_service_on or 0)
    begun = int(machine.clock.to_wall(np.array([completed]))[0] // DAY)
    limit = a.params.max
    days = limit.amount if limit.calendar else limit.amount // 86_400
    due = due_day(machine, begun, days)
    left = due - machine.today
    warn = a.params.warn_before
    near = (warn.amount if warn.calendar else warn.amount // 86_400) if warn else 0
    state = OVERDUE if left < 0 else SOON if left <= near else LATER
    day = lambda n: date.fromordinal(EPOCH + n).isoformat()  # noqa: E731
    return Due(machine.store_id, machine.equipment_id, a.rule.rule.id, day(due), left, state,
               a.steps.cycle_ids[cycle] if cycle >= 0 else "", day(begun) if cycle >= 0 else "")  # fmt: skip


def due_day(machine: Machine, begun: int, days: int) -> int:
    """The last local day on which the limit is still kept, days out of service not counted."""
    due = begun + days
    for first, last in machine.closed:
        if last <= begun:
            continue
        if max(first, begun + 1) > due:
            break
        due += last - max(first, begun + 1) + 1
    return due


