"""Every store by month: how many cycles began in it, and how many checks were OUT or could not be shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.findings import Month
from validator.kinds.interval_lengths import local_days
from validator.kinds.outcome import NOT_OBSERVED, OUT
from validator.machines import Machine
from validator.statuses import OPEN
from validator.steps import Steps
from validator.tables import NAT

Ints = npt.NDArray[np.int64]
_FIRST, _SPAN = 1970 * 12, 12 * 400
CYCLES = 3
"""The column of the table that counts cycles; the others are those of the statuses."""


def months(formed: Sequence[tuple[Steps, list[Applied]]], fleet: Sequence[Machine]) -> tuple[Month, ...]:
    """The months in which a store has a cycle or a finding, by store and month.

    What belongs to no cycle, and an interval that still runs, counts for the month of the audit.
    """
    stores = sorted({m.store_id for m in fleet})
    place = {store: at for at, store in enumerate(stores)}
    store_of = np.array([place[m.store_id] for m in fleet], dtype=np.int64)
    now = _months(np.array([m.today for m in fleet], dtype=np.int64))
    keys: list[Ints] = []
    columns: list[Ints] = []
    whole = [steps for steps, applied in formed if applied[0].pack.procedure is None] or [s for s, _ in formed]
    for steps, applied in formed:
        began = np.where(steps.began == NAT, 0, steps.began)
        month = np.where(steps.began == NAT, now[steps.machine], _months(local_days(fleet, steps.machine, began)))
        if any(steps is other for other in whole):
            keys.append(store_of[steps.machine] * _SPAN + month)
            columns.append(np.full(steps.cycles, CYCLES))
        for a in applied:
            interval = a.rule.rule.kind == "interval"
            for o in a.outcomes:
                at = np.flatnonzero((o.status == OUT) | (o.status == NOT_OBSERVED))
                running = np.array([interval and o.target[i] == OPEN for i in at.tolist()], dtype=bool)
                timed = (o.cycle[at] >= 0) & ~running
                of = now[o.machine[at]]
                of[timed] = month[o.cycle[at][timed]]
                keys.append(store_of[o.machine[at]] * _SPAN + of)
                columns.append(o.status[at].astype(np.int64))
    if not keys:
        return ()
    present, inverse = np.unique(np.concatenate(keys), return_inverse=True)
    table = np.bincount(inverse * 4 + np.concatenate(columns), minlength=len(present) * 4).reshape(-1, 4)
    return tuple(
        Month(stores[key // _SPAN], _named(key % _SPAN), counts[CYCLES], counts[OUT], counts[NOT_OBSERVED])
        for key, counts in zip(present.tolist(), table.tolist(), strict=True)
    )


def summed(parts: Iterable[Month]) -> tuple[Month, ...]:
    """The months of several parts of a fleet, by store and month."""
    found: dict[tuple[str, str], Month] = {}
    for part in parts:
        here = found.get((part.store_id, part.month), Month(part.store_id, part.month, 0, 0, 0))
        found[part.store_id, part.month] = Month(
            part.store_id,
            part.month,
            here.cycles + part.cycles,
            here.out + part.out,
            here.not_observed + part.not_observed,
        )
    return tuple(month for _, month in sorted(found.items(), key=lambda one: one[0]))


def _months(days: Ints) -> Ints:
    """Months since 1970 of days since 1970."""
    return days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)


def _named(month: int) -> str:
    year, of_year = divmod(_FIRST + month, 12)
    return f"{year:04d}-{of_year + 1:02d}"
