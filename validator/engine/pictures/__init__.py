"""What can a report draw: cycles as timelines, cleanings over the months, readings against their band, stores by month?

All of it is bounded: of a large fleet the machines with findings come first, and what is left out is counted. What is drawn of
some machines is put together with what is drawn of others, and the bounds are those of the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.engine.pictures.histories import histories
from validator.engine.pictures.months import months, summed
from validator.engine.pictures.readings import readings
from validator.engine.pictures.timelines import Place, Turn, dealt, timelines
from validator.findings import History, Month, Pictures, Readings, Timeline
from validator.kinds.outcome import NOT_OBSERVED, OUT
from validator.machines import Machine
from validator.steps import Steps

Rank = tuple[bool, bool, int]
"""Machines with findings come first, then those with records, each in the fleet's own order."""


@dataclass(frozen=True)
class Drawn:
    """What can be drawn of some machines, by their places in the fleet: at most so many cycles, and as many machines with the rest.

    `ranks` are the machines whose histories and readings are here; `cycles` counts all cycles, drawn or not.
    """

    most: int
    ranks: tuple[Rank, ...]
    histories: dict[int, History]
    readings: dict[tuple[int, str], Readings]
    months: tuple[Month, ...]
    timelines: dict[Turn, tuple[Place, Timeline]]
    cycles: int


def draw(applied: Sequence[Applied], at: npt.NDArray[np.intp], fleet: Sequence[Machine], most: int) -> Drawn:
    """What can be drawn of the machines `at` some places of the fleet, which are those that the rules were applied to."""
    mine, places = [fleet[i] for i in at.tolist()], at.tolist()
    formed = _formed(applied)
    faulty = np.zeros(len(mine), dtype=bool)
    for a in applied:
        for o in a.outcomes:
            faulty[o.machine[(o.status == OUT) | (o.status == NOT_OBSERVED)]] = True
    recorded = np.zeros(len(mine), dtype=bool)
    for steps, _ in formed:
        recorded[steps.machine] = True
    ranked = np.lexsort((at, ~recorded, ~faulty))[:most]
    shown = np.zeros(len(mine), dtype=bool)
    shown[ranked] = True
    drawn, cycles = timelines(formed, places, len(fleet), most)
    return Drawn(
        most=most,
        ranks=tuple((not faulty[i], not recorded[i], places[i]) for i in ranked.tolist()),
        histories={places[i]: history for i, history in histories(formed, mine, shown)},
        readings={(places[i], agent): series for i, agent, series in readings(applied, mine, shown)},
        months=months(formed, mine),
        timelines=drawn,
        cycles=cycles,
    )


def together(drawn: Sequence[Drawn]) -> Drawn:
    """What is drawn of several parts of a fleet, as if they had been drawn at once."""
    most = drawn[0].most
    ranks = tuple(sorted(rank for d in drawn for rank in d.ranks)[:most])
    shown = {at for _, _, at in ranks}
    return Drawn(
        most=most,
        ranks=ranks,
        histories={at: history for d in drawn for at, history in d.histories.items() if at in shown},
        readings={key: series for d in drawn for key, series in d.readings.items() if key[0] in shown},
        months=summed(month for d in drawn for month in d.months),
        timelines=dealt([d.timelines for d in drawn], most),
        cycles=sum(d.cycles for d in drawn),
    )


def pictures(drawn: Sequence[Drawn], fleet: int) -> Pictures | None:
    """Everything to draw of an audit, in one declared order, whatever the order of the rows; None where nothing was asked for.

    `fleet` is the number of its machines.
    """
    if not drawn:
        return None
    whole = together(drawn)
    return Pictures(
        timelines=tuple(timeline for _, timeline in sorted(whole.timelines.values(), key=lambda one: one[0])),
        histories=tuple(history for _, history in sorted(whole.histories.items(), key=lambda one: one[0])),
        readings=tuple(series for _, series in sorted(whole.readings.items(), key=lambda one: one[0])),
        months=whole.months,
        cycles_left_out=whole.cycles - len(whole.timelines),
        machines_left_out=max(0, fleet - whole.most),
    )


def _formed(applied: Sequence[Applied]) -> list[tuple[Steps, list[Applied]]]:
    """The rules by the cycles that they judged; cycles of one procedure before those of every procedure at once."""
    groups: dict[int, tuple[Steps, list[Applied]]] = {}
    for a in sorted(applied, key=lambda a: a.pack.procedure is None):
        groups.setdefault(id(a.steps.row), (a.steps, []))[1].append(a)
    return list(groups.values())
