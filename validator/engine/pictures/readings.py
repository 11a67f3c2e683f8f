"""Readings of solutions against the band that the rules leave open, each with what it can stand for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from validator.engine.apply import Applied
from validator.findings import Reading, Readings, Status
from validator.kinds.concentration import Params
from validator.kinds.conditions import CONDITIONS, FAHRENHEIT
from validator.kinds.limit_table import INSIDE, OUTSIDE, judge
from validator.kinds.outcome import Scope
from validator.kinds.solutions import Solutions
from validator.machines import Machine
from validator.quantities import whole_if_whole
from validator.steps import Steps
from validator.tables import AGENTS, NAT

MOST_OF_ONE = 60
"""Readings of one agent at one machine that are drawn, the latest."""
_GRAVITY = {OUTSIDE: 2, INSIDE: 0}
_STATUS = (Status.IN, Status.NOT_OBSERVED, Status.OUT)


def readings(
    applied: Sequence[Applied], fleet: Sequence[Machine], shown: npt.NDArray[np.bool_]
) -> Iterator[tuple[int, str, Readings]]:
    """The readings of every agent at the machines in `shown`, with the machine's place in the fleet and the agent."""
    found: dict[tuple[int, str], _Series] = {}
    for a in applied:
        if a.rule.rule.kind == "concentration":
            _read(a, shown, found)
    for (at, agent), series in found.items():
        yield at, agent, series.told(fleet[at], agent)


class _Series:
    """What is known of one agent at one machine while its rules are gone through."""

    def __init__(self) -> None:
        self.rules: list[str] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.gravity: dict[int, int] = {}
        self.cells: dict[int, tuple[float, float]] = {}
        self.solutions: dict[int, str] = {}
        self.steps: Steps | None = None

    def told(self, machine: Machine, agent: str) -> Readings:
        steps = self.steps
        assert steps is not None
        records = steps.records
        rows = sorted(self.gravity, key=lambda k: (int(steps.last_known[k]), int(steps.row[k])))[-MOST_OF_ONE:]
        values = steps.numbers("concentration_ppm", np.array(rows, dtype=np.intp)).tolist()
        shown = []
        for k, value in zip(rows, values, strict=True):
            at, row = int(steps.last_known[k]), int(steps.row[k])
            low, high = self.cells.get(k, (value, value))
            file, sheet = records.sources[int(records.source[row])]
            shown.append(Reading(
                machine.clock.moment(at) if at != NAT else "", steps.cycle_ids[int(steps.cycle[k])], self.solutions[k],
                whole_if_whole(value), whole_if_whole(low) if low > -np.inf else None,
                whole_if_whole(high) if high < np.inf else None, _STATUS[self.gravity[k]], file, sheet,
                int(records.rows[row]),
            ))  # fmt: skip
        return Readings(
            machine.store_id, machine.equipment_id, agent, tuple(sorted(self.rules)),
            max(self.low, default=None), min(self.high, default=None), tuple(shown),
        )  # fmt: skip


def _read(a: Applied, shown: npt.NDArray[np.bool_], found: dict[tuple[int, str], _Series]) -> None:
    params: Params = a.params
    steps = a.steps
    scope = Scope(steps, a.machines, a.machine_in & shown, agents=AGENTS | a.pack.agents)
    solutions = Solutions(params.agent, scope)
    rows, belongs = solutions.readings()
    if not len(rows):
        return
    values = solutions.values("concentration_ppm", rows)
    conditions = {name: solutions.values(name, rows) for name in (*CONDITIONS, FAHRENHEIT)}
    verdict = judge(params.lines, values, conditions) if params.stated else np.zeros(len(rows), dtype=np.int8)
    lows = [line.min for line in params.lines]
    highs = [line.max for line in params.lines]
    machine = steps.machine[steps.cycle[rows]]
    for at in np.unique(machine).tolist():
        series = found.setdefault((at, params.agent), _Series())
        if series.steps is not None and series.steps.row is not steps.row:
            continue  # another pack judges the same rows as part of other cycles
        series.steps = steps
        series.rules.append(a.rule.rule.id)
        series.low += [] if None in lows else [min(v for v in lows if v is not None)]
        series.high += [] if None in highs else [max(v for v in highs if v is not None)]
        for k in np.flatnonzero(machine == at).tolist():
            row, value = int(rows[k]), float(values[k])
            gravity = _GRAVITY.get(int(verdict[k]), 1)
            series.gravity[row] = max(series.gravity.get(row, 0), gravity)
            series.solutions[row] = solutions.names[int(belongs[k])]
            if params.strip is not None:
                series.cells[row] = params.strip.cell(value)
            elif params.uncertainty is not None and params.uncertainty.concentration_ppm:
                margin = params.uncertainty.concentration_ppm
                series.cells.setdefault(row, (value - margin, value + margin))
