"""What can a report draw: cycles as timelines, cleanings over the months, readings against their band, stores by month?

All of it is bounded: of a large fleet the machines with findings come first, and what is left out is counted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from validator.engine.apply import Applied
from validator.engine.pictures.histories import histories
from validator.engine.pictures.months import months
from validator.engine.pictures.readings import readings
from validator.engine.pictures.timelines import timelines
from validator.findings import Pictures
from validator.kinds.outcome import NOT_OBSERVED, OUT
from validator.machines import Machine
from validator.steps import Steps


def pictures(applied: Sequence[Applied], fleet: Sequence[Machine], most: int) -> Pictures:
    """What to draw of an audit, in one declared order: at most so many cycles, and as many machines with the rest."""
    formed = _formed(applied)
    faulty = np.zeros(len(fleet), dtype=bool)
    for a in applied:
        for o in a.outcomes:
            faulty[o.machine[(o.status == OUT) | (o.status == NOT_OBSERVED)]] = True
    recorded = np.zeros(len(fleet), dtype=bool)
    for steps, _ in formed:
        recorded[steps.machine] = True
    # machines with findings first, then those with records, each in the fleet's own order
    ranked = np.lexsort((np.arange(len(fleet)), ~recorded, ~faulty))
    shown = np.zeros(len(fleet), dtype=bool)
    shown[ranked[:most]] = True
    drawn, left_out = timelines(formed, fleet, most)
    return Pictures(
        timelines=drawn,
        histories=histories(formed, fleet, shown),
        readings=readings(applied, fleet, shown),
        months=months(formed, fleet),
        cycles_left_out=left_out,
        machines_left_out=max(0, len(fleet) - most),
    )


def _formed(applied: Sequence[Applied]) -> list[tuple[Steps, list[Applied]]]:
    """The rules by the cycles that they judged; cycles of one procedure before those of every procedure at once."""
    groups: dict[int, tuple[Steps, list[Applied]]] = {}
    for a in sorted(applied, key=lambda a: a.pack.procedure is None):
        groups.setdefault(id(a.steps.row), (a.steps, []))[1].append(a)
    return list(groups.values())
