"""Does a line of a limit table apply? Conditions on agent, strength, temperature, pH and hardness, known or not.

A value that is not known leaves a condition open: the line may apply, and nothing is claimed on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.documents import Document, Number
from validator.quantities import plain_number
from validator.steps import Steps

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]

CONDITIONS = ("temperature_c", "ph", "hardness_ppm")
"""What a limit can hang on beside the strength: degrees Celsius, pH, hardness of the water in mg/L as calcium carbonate."""
MEASURED = ("concentration_ppm", *CONDITIONS)


class Range(Document):
    """A band, both ends inclusive; an end left out is open."""

    min: Number | None = None
    max: Number | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Range:
        if self.min is None and self.max is None:
            raise ValueError("needs min or max")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        return self

    def contains(self, values: Floats) -> Mask:
        """Which values lie inside; NaN lies nowhere."""
        with np.errstate(invalid="ignore"):
            inside = np.ones(len(values), dtype=bool) if self.min is None else values >= self.min
            return inside & ~np.isnan(values) & (values <= self.max if self.max is not None else True)


class Conditioned(Document):
    """A line of a table with what else must hold for it."""

    temperature_c: Range | None = None
    ph: Range | None = None
    hardness_ppm: Range | None = None

    @property
    def conditions(self) -> tuple[Range | None, ...]:
        """What it asks of each of `CONDITIONS`, None where nothing."""
        return tuple(getattr(self, name) for name in CONDITIONS)


class Conditions(Protocol):
    """What a line can ask for before it applies."""

    agent: str | None
    concentration_ppm: Range | None
    temperature_c: Range | None
    ph: Range | None
    hardness_ppm: Range | None


@dataclass(frozen=True)
class Measured:
    """What is known of each row's solution: agent codes with their vocabulary, and values, NaN where unknown."""

    agent: npt.NDArray[np.int32]
    agents: list[str]
    values: dict[str, Floats]


def holds(line: Conditions, at: Measured) -> tuple[Mask, Mask]:
    """For each row whether the line surely applies, and whether it may."""
    size = len(at.agent)
    sure, possible = np.ones(size, dtype=bool), np.ones(size, dtype=bool)
    if line.agent is not None:
        code = at.agents.index(line.agent) if line.agent in at.agents else -2
        sure &= at.agent == code
        possible &= (at.agent == code) | (at.agent < 0)
    for name in MEASURED:
        band: Range | None = getattr(line, name)
        if band is not None:
            inside = band.contains(at.values[name])
            sure &= inside
            possible &= inside | np.isnan(at.values[name])
    return sure, possible


def known_agents(steps: Steps, known: frozenset[str]) -> npt.NDArray[np.int32]:
    """The agent of every row; a word that nobody knows (a trade name, a typing error) names none."""
    agents = steps.records.texts["agent"]
    keep = np.array(
        [code if word in known else -1 for code, word in enumerate(agents.vocabulary)] + [-1], dtype=np.int32
    )
    return keep[steps.column("agent")]


def measured(steps: Steps, rows: Index, known: frozenset[str], lines: Sequence[Conditions]) -> Measured:
    """Agent of each row and whatever the lines ask for: its own, else that of its solution in the same cycle.

    A row's solution is the one it names. Of several readings of a solution the latest counts that was taken before
    the row began, else the first.
    """
    agents = steps.records.texts["agent"]
    codes = known_agents(steps, known)
    agent = codes[rows].copy()
    asked = [name for name in MEASURED if any(getattr(line, name) is not None for line in lines)]
    values = {name: steps.numbers(name, rows).copy() for name in asked}
    solution = steps.column("solution_id")
    named = np.flatnonzero(solution[rows] >= 0)
    if len(named):
        _from_solution(steps, rows, named, agent, values, solution, codes)
    return Measured(agent, agents.vocabulary, values)


def _from_solution(
    steps: Steps,
    rows: Index,
    named: Index,
    agent: npt.NDArray[np.int32],
    values: dict[str, Floats],
    solution: Any,
    codes: npt.NDArray[np.int32],
) -> None:
    """Fill what a row leaves blank from the other rows of the solution it names."""
    members = np.flatnonzero(solution >= 0)
    width = int(solution.max()) + 2
    key = steps.cycle[members] * width + solution[members]
    order = np.lexsort((steps.start[members], key))
    members, key = members[order], key[order]
    wanted = steps.cycle[rows[named]] * width + solution[rows[named]]
    low, high = np.searchsorted(key, wanted, "left"), np.searchsorted(key, wanted, "right")
    numbers = {name: steps.numbers(name, members) for name in values}
    for k in np.flatnonzero((agent[named] < 0) | _any_unknown(values, named)).tolist():
        at, mine = int(named[k]), slice(int(low[k]), int(high[k]))
        if agent[at] < 0:
            told = codes[members[mine]]
            told = told[told >= 0]
            agent[at] = told[0] if len(set(told.tolist())) == 1 else -1
        began = steps.start[rows[at]]
        for name in values:
            if np.isnan(values[name][at]):
                values[name][at] = _reading(numbers[name][mine], steps.start[members[mine]], began)


def _any_unknown(values: dict[str, Floats], at: Index) -> Mask:
    found = np.zeros(len(at), dtype=bool)
    for column in values.values():
        found |= np.isnan(column[at])
    return found


def _reading(values: Floats, when: npt.NDArray[np.int64], began: int) -> float:
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        return float("nan")
    earlier = known[when[known] <= began]
    return float(values[earlier[-1]] if len(earlier) else values[known[0]])
