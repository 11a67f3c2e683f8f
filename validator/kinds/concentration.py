"""Was every solution of an agent within its strength, every time it was measured?

Per cycle and solution (`solution_id`, else the agent). Every reading must lie between `min` and `max`, or inside a row
of a table that can ask for temperature, pH and hardness as well. Without a reading the check is N/O, with the strength
that the amounts give where they are recorded. A reading outside that a later one puts right before the first use is OUT,
corrected on site. A limit that only the product's label gives (`by_label`) is N/O until the register states it.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Degrees, Document, Flag, Number, Percent, Strength, Text
from validator.findings import Quantity, Required
from validator.kinds.conditions import (
    CONDITIONS,
    FAHRENHEIT,
    band_in_words,
    columns_of,
    conditions_in_words,
    ends,
    unknown,
)
from validator.kinds.limit_table import INSIDE, OUTSIDE, UNDECIDED, Line, judge
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Outcomes, Reasons, Scope, Shown, Stricter
from validator.kinds.rows import any_by
from validator.kinds.solutions import COLUMNS, Solutions
from validator.quantities import conformance_probability, plain_number, whole_if_whole

NAME = "concentration"
TIGHTER: Mapping[str, Stricter] = {"min": "higher", "max": "lower"}

COVERAGE_FACTOR = 2
"""A stated uncertainty is twice the standard one (JCGM 100, 6.2)."""
_SAID = {"temperature_c": "temperature", "ph": "pH", "hardness_ppm": "hardness"}
_COLUMNS = (*CONDITIONS, FAHRENHEIT)
"""Where the conditions of a reading stand."""
_REASONS = ("", "outside", "missing_condition", "not_measured", "within_uncertainty", "no_limit")
Floats = npt.NDArray[np.float64]


class Strip(Document):
    """A test strip: its printed blocks, and which true values a reading can stand for.

    `nearest`: those nearer to its block than to a neighbour. `adjacent`: those between the neighbouring blocks.
    """

    blocks: tuple[Strength, ...]
    cells: Literal["nearest", "adjacent"] = "nearest"

    @model_validator(mode="after")
    def _in_order(self) -> Strip:
        if len(self.blocks) < 2 or any(a >= b for a, b in itertools.pairwise(self.blocks)):
            raise ValueError("needs at least two blocks, in rising order")
        return self

    def cell(self, reading: float) -> tuple[float, float]:
        """The lowest and highest true value that a reading can stand for."""
        below = [b for b in self.blocks if b < reading]
        above = [b for b in self.blocks if b > reading]
        if self.cells == "nearest":
            low = (below[-1] + reading) / 2 if below else 0.0
            high = np.nextafter((reading + above[0]) / 2, 0) if above else np.inf
        else:
            low = np.nextafter(below[-1], np.inf) if below else 0.0
            high = np.nextafter(above[0], 0) if above else np.inf
        return float(low), float(high)


class Uncertainty(Document):
    """How far a true value can lie from a reading, to either side, in the reading's own unit."""

    concentration_ppm: Strength = 0.0
    temperature_c: Degrees = 0.0
    ph: Number = 0.0
    hardness_ppm: Strength = 0.0

    def of(self, column: str) -> float:
        """The uncertainty of a column, in its own unit."""
        if column == FAHRENHEIT:
            return round(self.temperature_c * 1.8, 9)
        value: float = getattr(self, column)
        return value


class Params(Document):
    """`min` and `max` in mg/L, or a `table` of such bands with their conditions; beside a table they bound its every line.

    `by_label` says that the product's label alone sets the limits: the pack has none, and the register gives them.
    `product_percent` is the product's own strength from its label (% of the active agent, weight by volume). It only
    serves to say what strength the recorded amounts give where nothing was measured. `strip` or `uncertainty` say what a
    reading can stand for; the decision rule `guarded` asks for it.
    """

    agent: Text
    by_label: Flag = False
    product_percent: Percent | None = None
    strip: Strip | None = None
    uncertainty: Uncertainty | None = None
    min: Strength | None = None
    max: Strength | None = None
    table: tuple[Line, ...] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Params:
        band = self.min is not None or self.max is not None
        if not band and self.table is None and not self.by_label:
            raise ValueError("needs min or max, or a table")
        if self.table is not None and not self.table:
            raise ValueError("expected at least one row in the table, found an empty list")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        if self.table and not self.lines:
            raise ValueError("min or max leaves no line of the table any value")
        return self

    @property
    def stated(self) -> bool:
        """Whether there is any limit to judge by."""
        return self.table is not None or self.min is not None or self.max is not None

    @property
    def lines(self) -> tuple[Line, ...]:
        """The limits as a table, whichever way they were given; one line without limits where the label's are not known."""
        if self.table is None:
            return (Line(min=self.min, max=self.max),)
        low = -np.inf if self.min is None else self.min
        high = np.inf if self.max is None else self.max
        bounded = []
        for line in self.table:
            ends = max(line.min or 0.0, low), min(np.inf if line.max is None else line.max, high)
            if ends[0] <= ends[1]:
                bounded.append(line.model_copy(update={
                    "min": ends[0] if line.min is not None or self.min is not None else None,
                    "max": None if np.isinf(ends[1]) else ends[1],
                }))  # fmt: skip
        return tuple(bounded)


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and solution of the agent."""
    found = Solutions(params.agent, scope)
    readings, belongs = found.readings()
    conditions = {name: found.values(name, readings) for name in _COLUMNS}
    verdict = judge(params.lines, found.values("concentration_ppm", readings), conditions)
    shown = judge(params.lines, found.values("concentration_ppm", readings), conditions, claims=False)
    near = np.zeros(len(readings), dtype=bool)
    if scope.guarded and (params.strip or params.uncertainty):
        widened = _widened(params, found, readings)
        near = (widened == UNDECIDED) & (verdict != UNDECIDED)
        verdict = widened
    outside = any_by(belongs, verdict == OUTSIDE, len(found))
    open_ = any_by(belongs, verdict == UNDECIDED, len(found)) & ~outside
    measured = any_by(belongs, verdict == INSIDE, len(found))
    code = np.where(
        outside, 1, np.where(open_, np.where(any_by(belongs, near, len(found)), 4, 2), np.where(measured, 0, 3))
    )
    unlimited = measured & (not params.stated)
    code[unlimited] = 5
    status = np.array([IN, OUT, *[NOT_OBSERVED] * 4], dtype=np.int8)[code]
    corrected = np.zeros(len(found), dtype=bool)
    claimed = (status == IN) & any_by(belongs, (verdict == INSIDE) & (shown != INSIDE), len(found))
    decisive: dict[int, list[int]] = {}
    decided = np.where(outside, OUTSIDE, np.where(open_, UNDECIDED, INSIDE))
    for at in np.flatnonzero(np.isin(belongs, np.flatnonzero(outside | open_ | unlimited))).tolist():
        if verdict[at] == decided[belongs[at]]:
            decisive.setdefault(int(belongs[at]), []).append(int(readings[at]))
    for solution in np.flatnonzero(outside).tolist():
        mine = np.arange(*np.searchsorted(belongs, [solution, solution + 1]))
        corrected[solution] = found.put_right(solution, readings[mine], verdict[mine])
    status[found.others], code[found.others] = NOT_APPLICABLE, 0

    def show(i: int) -> Shown:
        rows = decisive.get(i, [])
        facts = {"agent": params.agent, "calculated": found.calculated(i, params.product_percent)}
        if not rows:
            return Shown(None, _required(params), None, found.rows_of(i), COLUMNS, facts)
        worst = max(rows, key=lambda r: (abs(_distance(params, found.value(r))), -int(scope.steps.row[r])))
        value = found.value(worst)
        margin = Quantity(_distance(params, value), "ppm") if params.table is None and status[i] == OUT else None
        facts["likely"] = _likely(params, value)
        facts["found"] = f"{plain_number(value)} ppm"
        columns: tuple[str, ...] = COLUMNS
        if params.table is not None:
            facts["table"] = "yes"
            asked = [name for name in CONDITIONS if any(getattr(line, name) for line in params.table)]
            facts["conditions"], columns = found.conditions(worst), (*COLUMNS, *columns_of(scope.steps, rows, asked))
            of_reading = {name: found.values(name, np.array([worst])) for name in _COLUMNS}
            facts["lacking"] = " and ".join(_SAID[name] for name in asked if unknown(name, of_reading)[0])
        return Shown(Quantity(whole_if_whole(value), "ppm"), _required(params), margin, rows, columns, facts)

    return [Outcomes(scope.steps.machine[found.cycle], found.cycle, found.names, status,
                     Reasons(_REASONS, code.astype(np.int8)), show, corrected, claimed=claimed)]  # fmt: skip


def _likely(params: Params, value: float) -> str:
    """How likely a reading lies inside its band, where the instrument's uncertainty is known; stated ones are 95 %."""
    if params.table is not None or params.uncertainty is None or not params.uncertainty.concentration_ppm:
        return ""
    standard = params.uncertainty.concentration_ppm / COVERAGE_FACTOR
    return f"{conformance_probability(value, standard, params.min, params.max) * 100:.0f} %"


def _widened(params: Params, found: Solutions, readings: npt.NDArray[np.intp]) -> npt.NDArray[np.int8]:
    """The verdict on each reading over all true values that it can stand for."""
    known: dict[tuple[str, ...], int] = {}
    columns = [found.values(n, readings).tolist() for n in ("concentration_ppm", *_COLUMNS)]
    verdicts = []
    for values in zip(*columns, strict=True):
        key = tuple(map(repr, values))
        if key not in known:
            known[key] = _over_range(params, values)
        verdicts.append(known[key])
    return np.array(verdicts, dtype=np.int8)


def _over_range(params: Params, values: tuple[float, ...]) -> int:
    """1 if every true value lies inside, -1 if none does, else 0: tried at both ends and around every limit between."""
    lines, margin = params.lines, params.uncertainty or Uncertainty()
    ranges = [params.strip.cell(values[0]) if params.strip else (values[0] - margin.concentration_ppm,
                                                                 values[0] + margin.concentration_ppm)]  # fmt: skip
    limits = [[v for line in lines for v in (line.min, line.max) if v is not None]]
    for value, name in zip(values[1:], _COLUMNS, strict=True):
        limits.append([v for line in lines for v in ends(line, name)])
        # a condition that no line asks for needs no trying out
        ranges.append((value - margin.of(name), value + margin.of(name)) if limits[-1] else (value, value))
    grids = [_around(low, high, marks) for (low, high), marks in zip(ranges, limits, strict=True)]
    tried = np.array(list(itertools.product(*grids)))
    results = judge(lines, tried[:, 0], dict(zip(_COLUMNS, tried[:, 1:].T, strict=True)))
    return INSIDE if (results == INSIDE).all() else OUTSIDE if (results == OUTSIDE).all() else UNDECIDED


def _around(low: float, high: float, limits: Sequence[float]) -> list[float]:
    """Both ends of a range, and every limit within it with the values just beside it; NaN stays unknown."""
    if np.isnan(low):
        return [low]
    inside = [v for v in limits if low < v < high]
    beside = [float(np.nextafter(v, way)) for v in inside for way in (-np.inf, np.inf)]
    return [low, high, *inside, *beside]


def _distance(params: Params, value: float) -> float:
    """How far a reading lies outside the band: negative below, positive above, 0 inside or for a table."""
    if params.min is not None and value < params.min:
        return round(value - params.min, 9)
    if params.max is not None and value > params.max:
        return round(value - params.max, 9)
    return 0.0


def _required(params: Params) -> Required:
    if params.table is None:
        return Required(params.min, params.max, "ppm", band_in_words(params.min, params.max))
    lines = (
        ", ".join(p for p in (band_in_words(line.min, line.max), *conditions_in_words(line)) if p)
        for line in params.lines
    )
    return Required(None, None, "ppm", "; or ".join(lines))
