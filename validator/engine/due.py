"""What must be cleaned by when: the running interval of every machine, as a date."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np

from validator.engine.apply import Applied
from validator.findings import Due
from validator.kinds.interval_lengths import local_days
from validator.kinds.outcome import Outcomes
from validator.machines import EPOCH, Machine
from validator.quantities import Duration, say
from validator.statuses import OPEN
from validator.tables import NAT

OVERDUE, SOON, LATER = "overdue", "due soon", "later"


def upcoming(applied: Sequence[Applied]) -> list[Due]:
    """The next due date of every machine and interval rule, the earliest first."""
    found = [due for a in applied if a.rule.rule.kind == "interval" for o in a.outcomes for due in _dues(a, o)]
    return sorted(found, key=due_key)


def due_key(due: Due) -> tuple[str, ...]:
    """The earliest first, then by place and rule."""
    return due.due_on, due.store_id, due.equipment_id, due.rule


def _dues(a: Applied, outcomes: Outcomes) -> Iterable[Due]:
    # a running interval that begins with a cycle of no known time has no day to count from, nor has one of a log that was not read
    running = [i for i, target in enumerate(outcomes.target)
               if target == OPEN and outcomes.reason[i] != "unread_file" and _dated(a, int(outcomes.cycle[i]))]  # fmt: skip
    machine = outcomes.machine[running]
    cycle = outcomes.cycle[running]
    begun = local_days(
        a.machines, machine, np.where(cycle >= 0, a.steps.completed[cycle], 0) if a.steps.cycles else cycle
    )
    first = _first_of_each(a, outcomes)
    warn = _days(a.params.warn_before) if a.params.warn_before else 0
    limit = a.params.max
    allowed = np.full(len(outcomes), limit.amount) if outcomes.allowance is None else outcomes.allowance
    for at, c, day, most in zip(
        machine.tolist(), cycle.tolist(), begun.tolist(), allowed[running].tolist(), strict=True
    ):
        m = a.machines[at]
        lost = a.lost is not None and c < 0 and int(a.lost.on[at]) >= 0
        if c < 0 and m.in_service_on is None and not lost:
            continue
        begin = day if c >= 0 else int(a.lost.on[at]) if a.lost is not None and lost else m.in_service_on or 0
        last = a.steps.cycle_ids[c] if c >= 0 else a.lost.cycle[at] if a.lost is not None and lost else ""
        may_last = Duration(limit.calendar, most)
        due = due_day(m, begin, _days(may_last))
        left = due - m.today
        state = OVERDUE if left < 0 else SOON if left <= warn else LATER
        yield Due(m.store_id, m.equipment_id, a.rule.rule.id, _date(due), left, state,
                  last, _date(begin) if last else "", say(most, may_last.unit),
                  a.limit_from, _date(begin), due - begin - _days(may_last), warn, first.get(at, ""),
                  "" if outcomes.before is None or outcomes.before[at] < 0 else _date(int(outcomes.before[at])))  # fmt: skip


def _first_of_each(a: Applied, outcomes: Outcomes) -> dict[int, str]:
    """The id of the first cleaning of each machine that an interval ends or begins with."""
    cycle = np.unique(outcomes.cycle[outcomes.cycle >= 0])
    cycle = cycle[a.steps.completed[cycle] != NAT] if len(cycle) else cycle
    order = cycle[np.lexsort((a.steps.completed[cycle], a.steps.machine[cycle]))] if len(cycle) else cycle
    owner, at = np.unique(a.steps.machine[order], return_index=True) if len(order) else (order, order)
    return {int(m): a.steps.cycle_ids[int(c)] for m, c in zip(owner, order[at], strict=True)}


def _dated(a: Applied, cycle: int) -> bool:
    return cycle < 0 or bool(a.steps.completed[cycle] != NAT)


def _days(length: Duration) -> int:
    """Whole days, which is what a due date can show of an elapsed time."""
    return length.amount if length.calendar else length.amount // 86_400


def _date(day: int) -> str:
    return date.fromordinal(EPOCH + day).isoformat()


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
