"""Does a line of a limit table apply? Conditions on agent, strength, temperature, pH and hardness, known or not.

A value that is not known leaves a condition open: the line may apply, and nothing is claimed on it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol, Self

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Document, Number, Strength, TemperatureLimit
from validator.quantities import plain_number
from validator.steps import Steps
from validator.tables import DOMAIN

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]
Unrecorded = Literal["undecided", "met"]

CELSIUS, FAHRENHEIT = "temperature_c", "temperature_f"
CONDITIONS = (CELSIUS, "ph", "hardness_ppm")
"""What a limit can hang on beside the strength: degrees Celsius, pH, hardness of the water in mg/L as calcium carbonate."""
MEASURED = ("concentration_ppm", *CONDITIONS)


class Range(Document):
    """A band, both ends inclusive; an end left out is open.

    `unrecorded` says what it means where no value was recorded: `undecided` leaves it open, `met` takes the condition as
    kept, which is a claim and no measurement.
    """

    min: Number | None = None
    max: Number | None = None
    unrecorded: Unrecorded = "undecided"

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.min is None and self.max is None:
            raise ValueError("needs min or max")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        return self

    def contains(self, values: Floats) -> Mask:
        """Which values lie inside; NaN lies nowhere."""
        return _between(self.min, self.max, values)


class StrengthRange(Range):
    """A band of strength or hardness in mg/L."""

    min: Strength | None = None
    max: Strength | None = None


class TemperatureRange(Document):
    """A band of temperature, each end on both scales; `unrecorded` as in `Range`."""

    min: TemperatureLimit | None = None
    max: TemperatureLimit | None = None
    unrecorded: Unrecorded = "undecided"

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.min is None and self.max is None:
            raise ValueError("needs min or max")
        if self.min is not None and self.max is not None and self.min.celsius > self.max.celsius:
            raise ValueError(f"min {self.min.text} is above max {self.max.text}; no value fits")
        return self

    def ends(self, scale: str) -> tuple[float | None, float | None]:
        """Both ends on one scale, `temperature_c` or `temperature_f`."""
        side = "fahrenheit" if scale == FAHRENHEIT else "celsius"
        low, high = (None if end is None else float(getattr(end, side)) for end in (self.min, self.max))
        return low, high


Band = Range | TemperatureRange


def _between(low: float | None, high: float | None, values: Floats) -> Mask:
    with np.errstate(invalid="ignore"):
        inside = np.ones(len(values), dtype=bool) if low is None else values >= low
        return inside & ~np.isnan(values) & (values <= high if high is not None else True)


def within(band: Band, name: str, values: Mapping[str, Floats]) -> Mask:
    """Which readings of a condition lie inside its band: a temperature on the scale that it was recorded on."""
    if isinstance(band, Range):
        return band.contains(values[name])
    inside = _between(*band.ends(CELSIUS), values[CELSIUS])
    if FAHRENHEIT in values:
        on_other = ~np.isnan(values[FAHRENHEIT])
        inside = np.where(on_other, _between(*band.ends(FAHRENHEIT), values[FAHRENHEIT]), inside)
    return inside


def unknown(name: str, values: Mapping[str, Floats]) -> Mask:
    """Which readings have no value of a condition, a temperature on neither scale."""
    blank: Mask = np.isnan(values[name])
    return blank & np.isnan(values[FAHRENHEIT]) if name == CELSIUS and FAHRENHEIT in values else blank


def scales(name: str) -> tuple[str, ...]:
    """The columns in which a condition can be recorded."""
    return (CELSIUS, FAHRENHEIT) if name == CELSIUS else (name,)


def ends(line: Conditioned, column: str) -> list[float]:
    """The limits that a line sets in a column."""
    band = line.temperature_c if column in (CELSIUS, FAHRENHEIT) else getattr(line, column)
    if band is None:
        return []
    both = band.ends(column) if isinstance(band, TemperatureRange) else (band.min, band.max)
    return [v for v in both if v is not None]


def columns_of(steps: Steps, rows: Sequence[int], asked: Sequence[str]) -> tuple[str, ...]:
    """The columns that show the conditions of some rows: of a temperature the scale that it was recorded on."""
    at = np.array(rows, dtype=np.intp)
    recorded = {c: bool((~np.isnan(steps.numbers(c, at))).any()) for name in asked for c in scales(name)}
    return tuple(
        column for name in asked for column in scales(name)
        if recorded[column] or (column == name and not any(recorded[c] for c in scales(name)))
    )  # fmt: skip


class Conditioned(Document):
    """A line of a table with what else must hold for it."""

    temperature_c: TemperatureRange | None = None
    ph: Range | None = None
    hardness_ppm: StrengthRange | None = None

    @model_validator(mode="after")
    def _can_be(self) -> Self:
        low, high = DOMAIN["ph"]
        for end in (self.ph.min, self.ph.max) if self.ph is not None else ():
            if end is not None and not low <= end <= high:
                raise ValueError(
                    f"ph: found {plain_number(end)}; a pH lies between {plain_number(low)} and {plain_number(high)}"
                )
        return self

    @property
    def conditions(self) -> tuple[Band | None, ...]:
        """What it asks of each of `CONDITIONS`, None where nothing."""
        return tuple(getattr(self, name) for name in CONDITIONS)


class Conditions(Protocol):
    """What a line can ask for before it applies."""

    @property
    def agent(self) -> str | None: ...
    @property
    def concentration_ppm(self) -> StrengthRange | None: ...
    @property
    def temperature_c(self) -> TemperatureRange | None: ...
    @property
    def ph(self) -> Range | None: ...
    @property
    def hardness_ppm(self) -> StrengthRange | None: ...


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
        band: Band | None = getattr(line, name)
        if band is not None:
            inside, blank = within(band, name, at.values), unknown(name, at.values)
            sure &= inside | (blank & (band.unrecorded == "met"))
            possible &= inside | blank
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
    values = {column: steps.numbers(column, rows).copy() for name in asked for column in scales(name)}
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
    asked = [name for name in MEASURED if name in values]
    blank = {name: unknown(name, values)[named] for name in asked}
    known = {name: ~unknown(name, numbers) for name in asked}
    lacking = np.logical_or.reduce([agent[named] < 0, *blank.values()])
    for k in np.flatnonzero(lacking).tolist():
        at, mine = int(named[k]), slice(int(low[k]), int(high[k]))
        if agent[at] < 0:
            told = codes[members[mine]]
            told = told[told >= 0]
            agent[at] = told[0] if len(set(told.tolist())) == 1 else -1
        began = steps.start[rows[at]]
        for name in asked:
            reading = _reading(known[name][mine], steps.start[members[mine]], began) if blank[name][k] else -1
            for column in scales(name) if reading >= 0 else ():
                values[column][at] = numbers[column][mine][reading]


def _reading(known: Mask, when: npt.NDArray[np.int64], began: int) -> int:
    """Which of a solution's readings stands for a row: the last before it began, else the first; -1 for none."""
    there = np.flatnonzero(known)
    if not len(there):
        return -1
    earlier = there[when[there] <= began]
    return int(earlier[-1] if len(earlier) else there[0])


def conditions_in_words(line: Conditioned) -> list[str]:
    """What a line asks of temperature, pH and hardness, each as a sentence says it."""
    parts = []
    if line.temperature_c is not None:
        parts.append(_temperature(line.temperature_c))
    if line.ph is not None:
        low, high = _figures(line.ph)
        parts.append(_said(low, high, f"pH {low} to pH {high}", f"pH {low} or higher", f"pH {high} or lower"))
    if line.hardness_ppm is not None:
        low, high = _figures(line.hardness_ppm)
        of = f"hardness {low} ppm to {high} ppm", f"hardness {low} ppm or more", f"hardness {high} ppm or less"
        parts.append(_said(low, high, *of))
    return parts


def band_in_words(low: float | None, high: float | None) -> str:
    """`100 to 200 ppm`, `at least 100 ppm`; '' for no limit."""
    if low is not None and high is not None:
        return f"{plain_number(low)} to {plain_number(high)} ppm"
    if low is not None:
        return f"at least {plain_number(low)} ppm"
    return f"at most {plain_number(high)} ppm" if high is not None else ""


def _temperature(band: TemperatureRange) -> str:
    low, high = ("" if end is None else end.text for end in (band.min, band.max))
    return _said(low, high, f"{low} to {high}", f"{low} or warmer", f"{high} or cooler")


def _figures(band: Range) -> tuple[str, str]:
    low, high = ("" if end is None else plain_number(end) for end in (band.min, band.max))
    return low, high


def _said(low: str, high: str, both: str, above: str, below: str) -> str:
    """Of three sentences the one that fits the ends that a band has."""
    return both if low and high else above if low else below
