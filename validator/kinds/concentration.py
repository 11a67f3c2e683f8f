"""Was every solution of an agent within its strength, every time it was measured?

Per cycle and solution (`solution_id`, else the agent). Every reading must lie between `min` and `max`, or inside a row
of a table that can ask for temperature and pH as well. Without a reading the check is N/O, with the strength that the
amounts give where they are recorded. A reading outside that a later one puts right before the first use is OUT,
corrected on site.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.documents import Document, Number, Text
from validator.findings import Quantity, Required
from validator.kinds.conditions import Range, known_agents
from validator.kinds.limit_table import INSIDE, OUTSIDE, UNDECIDED, Line, judge
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Outcomes, Reasons, Scope, Shown
from validator.kinds.rows import any_by
from validator.quantities import LITRES, conformance_probability, plain_number, whole_if_whole

NAME = "concentration"
TIGHTER: Mapping[str, Literal["lower", "higher"]] = {"min": "higher", "max": "lower"}
COLUMNS = ("step", "agent", "solution_id", "concentration_ppm")
PREPARING = ("mix_solution", "test_solution")
"""Steps on a solution that do not use it yet."""

COVERAGE_FACTOR = 2
"""A stated uncertainty is twice the standard one (JCGM 100, 6.2)."""
_REASONS = ("", "outside", "missing_condition", "not_measured", "within_uncertainty")
Floats = npt.NDArray[np.float64]


class Strip(Document):
    """A test strip: its printed blocks, and which true values a reading can stand for.

    `nearest`: those nearer to its block than to a neighbour. `adjacent`: those between the neighbouring blocks.
    """

    blocks: tuple[Number, ...]
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

    concentration_ppm: Number = 0.0
    temperature_c: Number = 0.0
    ph: Number = 0.0


class Params(Document):
    """Either `min` and `max` in mg/L, or a `table` of such bands with their conditions.

    `product_percent` is the product's own strength from its label (% of the active agent, weight by volume). It only
    serves to say what strength the recorded amounts give where nothing was measured. `strip` or `uncertainty` say what a
    reading can stand for; the decision rule `guarded` asks for it.
    """

    agent: Text
    product_percent: Number | None = None
    strip: Strip | None = None
    uncertainty: Uncertainty | None = None
    min: Number | None = None
    max: Number | None = None
    table: tuple[Line, ...] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Params:
        band = self.min is not None or self.max is not None
        if band == (self.table is not None):
            raise ValueError("needs either min and max, or a table")
        if self.table is not None and not self.table:
            raise ValueError("expected at least one row in the table, found an empty list")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        return self

    @property
    def lines(self) -> tuple[Line, ...]:
        """The limits as a table, whichever way they were given."""
        return self.table if self.table is not None else (Line(min=self.min, max=self.max),)


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and solution of the agent."""
    found = _Solutions(params.agent, scope)
    readings, belongs = found.readings()
    verdict = judge(params.lines, found.values("concentration_ppm", readings), found.values("temperature_c", readings),
                    found.values("ph", readings))  # fmt: skip
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
    status = np.array([IN, OUT, *[NOT_OBSERVED] * 3], dtype=np.int8)[code]
    corrected = np.zeros(len(found), dtype=bool)
    decisive: dict[int, list[int]] = {}
    for at in np.flatnonzero(np.isin(belongs, np.flatnonzero(outside | open_))).tolist():
        if verdict[at] == (OUTSIDE if outside[belongs[at]] else UNDECIDED):
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
            facts["conditions"], columns = found.conditions(worst), (*COLUMNS, "temperature_c", "ph")
        return Shown(Quantity(whole_if_whole(value), "ppm"), _required(params), margin, rows, columns, facts)

    return [Outcomes(scope.steps.machine[found.cycle], found.cycle, found.names, status,
                     Reasons(_REASONS, code.astype(np.int8)), show, corrected)]  # fmt: skip


def _likely(params: Params, value: float) -> str:
    """How likely a reading lies inside its band, where the instrument's uncertainty is known; stated ones are 95 %."""
    if params.table is not None or params.uncertainty is None or not params.uncertainty.concentration_ppm:
        return ""
    standard = params.uncertainty.concentration_ppm / COVERAGE_FACTOR
    return f"{conformance_probability(value, standard, params.min, params.max) * 100:.0f} %"


def _widened(params: Params, found: _Solutions, readings: npt.NDArray[np.intp]) -> npt.NDArray[np.int8]:
    """The verdict on each reading over all true values that it can stand for."""
    known: dict[tuple[str, ...], int] = {}
    columns = [found.values(n, readings).tolist() for n in ("concentration_ppm", "temperature_c", "ph")]
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
    ranges += [(v - u, v + u) for v, u in zip(values[1:], (margin.temperature_c, margin.ph), strict=True)]
    limits: list[list[float | None]] = [
        [v for line in lines for v in (line.min, line.max)],
        [v for line in lines if line.temperature_c for v in (line.temperature_c.min, line.temperature_c.max)],
        [v for line in lines if line.ph for v in (line.ph.min, line.ph.max)],
    ]
    grids = [_around(low, high, marks) for (low, high), marks in zip(ranges, limits, strict=True)]
    tried = np.array(list(itertools.product(*grids)))
    results = judge(lines, tried[:, 0], tried[:, 1], tried[:, 2])
    return INSIDE if (results == INSIDE).all() else OUTSIDE if (results == OUTSIDE).all() else UNDECIDED


def _around(low: float, high: float, limits: Sequence[float | None]) -> list[float]:
    """Both ends of a range, and every limit within it with the values just beside it; NaN stays unknown."""
    if np.isnan(low):
        return [low]
    inside = [v for v in limits if v is not None and low < v < high]
    beside = [float(np.nextafter(v, way)) for v in inside for way in (-np.inf, np.inf)]
    return [low, high, *inside, *beside]


class _Solutions:
    """The solutions of an agent in every cycle: rows, readings and first use of each; `others` have other agents only.

    Solution i belongs to cycle `cycle[i]` and is called `names[i]`. `members` are the rows that speak of a solution, in
    order of solution; `solution[k]` is that of `members[k]`.
    """

    def __init__(self, agent: str, scope: Scope) -> None:
        self.steps = steps = scope.steps
        self.agent = agent
        code = steps.records.code("agent", agent)
        agents, ids = steps.column("agent"), steps.column("solution_id")
        cycles = scope.cycle_in()
        in_scope = np.zeros(steps.cycles, dtype=bool)
        in_scope[cycles] = True
        rows = np.flatnonzero(((agents == code) | (ids >= 0)) & in_scope[steps.cycle])
        width = len(steps.records.texts["solution_id"].vocabulary) + 1
        key = steps.cycle[rows] * width + ids[rows] + 1  # 0 within a cycle: no solution named
        present = np.unique(key[agents[rows] == code])
        at = np.searchsorted(present, key)
        belongs = at < len(present)
        belongs[belongs] = present[at[belongs]] == key[belongs]
        order = np.argsort(at[belongs], kind="stable")
        self.members, self.solution = rows[belongs][order], at[belongs][order]
        self.bounds = np.searchsorted(self.solution, np.arange(len(present) + 1))
        named_any, having = np.zeros(steps.cycles, dtype=bool), np.zeros(steps.cycles, dtype=bool)
        named_any[steps.cycle[known_agents(steps, scope.agents | {agent}) >= 0]] = True
        having[present // width] = True
        without = cycles[~having[cycles]]
        self.cycle = np.concatenate([present // width, without]).astype(np.int64)
        names = steps.records.texts["solution_id"].vocabulary
        self.names = [*(names[k - 1] if k else agent for k in (present % width).tolist()), *([agent] * len(without))]
        self.others = (len(present) + np.flatnonzero(named_any[without])).tolist()

    def __len__(self) -> int:
        return len(self.cycle)

    def readings(self) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        """The rows that hold a measured strength, and the solution of each."""
        measured = ~np.isnan(self.steps.numbers("concentration_ppm", self.members))
        return self.members[measured], self.solution[measured]

    def values(self, name: str, rows: npt.NDArray[np.intp]) -> Floats:
        return self.steps.numbers(name, rows)

    def of(self, solution: int) -> npt.NDArray[np.intp]:
        """The rows of one solution."""
        if solution >= len(self.bounds) - 1:
            return self.members[:0]
        return self.members[self.bounds[solution] : self.bounds[solution + 1]]

    def rows_of(self, solution: int) -> list[int]:
        """The rows of a solution, or the ends of its cycle where no row names it."""
        mine = self.of(solution)
        if len(mine):
            found: list[int] = mine.tolist()
            return found
        first, last = self.steps.first[self.cycle[solution]], self.steps.first[self.cycle[solution] + 1]
        return [int(first), int(last) - 1] if last - first > 1 else [int(first)]

    def put_right(self, solution: int, rows: npt.NDArray[np.intp], verdict: npt.NDArray[np.int8]) -> bool:
        """Whether every reading outside is followed by one inside before the solution's first use."""
        start, end = self.steps.start, self.steps.end
        mine = self.of(solution)
        preparing = [self.steps.records.code("step", name) for name in PREPARING]
        uses = start[mine[~np.isin(self.steps.step[mine], preparing)]]
        first_use = int(uses.min()) if len(uses) else np.iinfo(np.int64).max
        taken = np.where(end[rows] >= 0, end[rows], start[rows])
        if (start[rows] < 0).any() or (uses < 0).any():
            return False  # an unknown time proves no order
        good = taken[(verdict == INSIDE) & (taken <= first_use)]
        bad = taken[verdict == OUTSIDE]
        return len(good) > 0 and bool((bad < good.max()).all())

    def value(self, row: int) -> float:
        return float(self.values("concentration_ppm", np.array([row]))[0])

    def conditions(self, row: int) -> str:
        """The temperature and pH of a reading in words, where they are known."""
        at = np.array([row])
        t, p = float(self.values("temperature_c", at)[0]), float(self.values("ph", at)[0])
        told = [f"{plain_number(t)} °C"] if not np.isnan(t) else []
        told += [f"pH {plain_number(p)}"] if not np.isnan(p) else []
        return " at " + ", ".join(told) if told else ""

    def calculated(self, solution: int, percent: float | None) -> str:
        """What the recorded amounts give, in words: a strength where the product's own is known, else a dilution."""
        mine = self.of(solution)
        if not {"product_amount", "water_amount"} <= self.steps.records.numbers.keys():
            return ""
        given = ~np.isnan(self.values("product_amount", mine)) & ~np.isnan(self.values("water_amount", mine))
        for row in mine[given].tolist():
            at = np.array([row])
            amounts = [float(self.values(name, at)[0]) for name in ("product_amount", "water_amount")]
            units = [self.steps.records.text(name, int(self.steps.row[row])) for name in ("product_unit", "water_unit")]
            if not all(u in LITRES for u in units) or amounts[0] <= 0:
                continue
            product, water = amounts[0] * LITRES[units[0]], amounts[1] * LITRES[units[1]]
            mixed = f"{plain_number(amounts[0])} {units[0]} in {plain_number(amounts[1])} {units[1]} of water"
            if percent is None:
                return f"{mixed}, one part in {plain_number(round((product + water) / product, 1))}"
            strength = percent * 10_000 * product / (product + water)
            return f"about {plain_number(round(strength, 1))} ppm calculated, not measured, from {mixed}"
        return ""


def _distance(params: Params, value: float) -> float:
    """How far a reading lies outside the band: negative below, positive above, 0 inside or for a table."""
    if params.min is not None and value < params.min:
        return round(value - params.min, 9)
    if params.max is not None and value > params.max:
        return round(value - params.max, 9)
    return 0.0


def _required(params: Params) -> Required:
    if params.table is None:
        return Required(params.min, params.max, "ppm", _band(params.min, params.max))
    return Required(None, None, "ppm", "; or ".join(_line(line) for line in params.table))


def _line(line: Line) -> str:
    parts = [_band(line.min, line.max)]
    if line.temperature_c is not None:
        parts.append(_within(line.temperature_c, "", " °C", "warmer", "cooler"))
    if line.ph is not None:
        parts.append(_within(line.ph, "pH ", "", "higher", "lower"))
    return ", ".join(p for p in parts if p)


def _band(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"{plain_number(low)} to {plain_number(high)} ppm"
    if low is not None:
        return f"at least {plain_number(low)} ppm"
    return f"at most {plain_number(high)} ppm" if high is not None else ""


def _within(band: Range, before: str, after: str, more: str, less: str) -> str:
    low = f"{before}{plain_number(band.min)}{after}" if band.min is not None else ""
    high = f"{before}{plain_number(band.max)}{after}" if band.max is not None else ""
    if low and high:
        return f"{low} to {high}"
    return f"{low} or {more}" if low else f"{high} or {less}"
