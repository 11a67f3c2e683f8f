"""The solutions of one agent: which rows speak of each, what was read and mixed, and when it was first used.

A solution is what the rows of a cycle call it (`solution_id`), else the agent itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from validator.kinds.conditions import CONDITIONS, FAHRENHEIT, known_agents
from validator.kinds.dilution import grams, litres, strength
from validator.kinds.limit_table import INSIDE, OUTSIDE
from validator.kinds.outcome import Scope
from validator.quantities import plain_number

COLUMNS = ("step", "agent", "solution_id", "concentration_ppm")
AMOUNTS = ("product_amount", "product_unit", "water_amount", "water_unit")
PREPARING = ("mix_solution", "test_solution")
"""Steps on a solution that do not use it yet."""
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Mixings:
    """Every recorded mixing: its row, its solution, the dose by volume or by mass, the water, and what it lacks.

    `lacks` is 0 where a strength follows from the amounts, `NO_AMOUNT` where an amount or its unit is not recorded,
    `STRANGE_UNIT` where a unit says no size.
    """

    NO_AMOUNT: ClassVar[int] = 1
    STRANGE_UNIT: ClassVar[int] = 2

    rows: npt.NDArray[np.intp]
    solution: npt.NDArray[np.intp]
    dose_litres: Floats
    dose_grams: Floats
    water_litres: Floats
    lacks: npt.NDArray[np.int64]

    def strength(self, percent: float) -> tuple[Floats, Floats]:
        """The least and most mg/L of each mixing of a product of so many percent; NaN where it lacks something."""
        low, high = strength(percent, self.dose_litres, self.dose_grams, self.water_litres)
        return np.where(self.lacks == 0, low, np.nan), np.where(self.lacks == 0, high, np.nan)


class Solutions:
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

    def value(self, row: int, name: str = "concentration_ppm") -> float:
        return float(self.values(name, np.array([row]))[0])

    def conditions(self, row: int) -> str:
        """Temperature, pH and hardness of a reading in words, where they are known, as they were recorded."""
        c, p, h, f = (self.value(row, name) for name in (*CONDITIONS, FAHRENHEIT))
        told = [f"{plain_number(c)} °C"] if not np.isnan(c) and np.isnan(f) else []
        told += [f"{plain_number(f)} °F"] if not np.isnan(f) else []
        told += [f"pH {plain_number(p)}"] if not np.isnan(p) else []
        told += [f"hardness {plain_number(h)} ppm"] if not np.isnan(h) else []
        return f" at {', '.join(told)}" if told else ""

    @cached_property
    def mixings(self) -> Mixings:
        """The rows that mix a solution or give an amount, in order of solution."""
        rows = self.members
        amounts = [self.values(name, rows) for name in ("product_amount", "water_amount")]
        mixing = self.steps.step[rows] == self.steps.records.code("step", "mix_solution")
        mixing |= ~np.isnan(amounts[0]) | ~np.isnan(amounts[1])
        at, product, water = rows[mixing], amounts[0][mixing], amounts[1][mixing]
        units = [self._units(name, at) for name in ("product_unit", "water_unit")]
        (product_code, product_words), (water_code, water_words) = units
        by_volume, by_mass = (f([*product_words, ""])[product_code] for f in (litres, grams))
        by_water = litres([*water_words, ""])[water_code]
        blank = np.isnan(product) | np.isnan(water) | (water <= 0) | (product_code < 0) | (water_code < 0)
        strange = (np.isnan(by_volume) & np.isnan(by_mass)) | np.isnan(by_water)
        lacks = np.where(blank, Mixings.NO_AMOUNT, np.where(strange, Mixings.STRANGE_UNIT, 0))
        return Mixings(at, self.solution[mixing], product * by_volume, product * by_mass, water * by_water, lacks)

    def _units(self, name: str, rows: npt.NDArray[np.intp]) -> tuple[npt.NDArray[np.int32], list[str]]:
        column = self.steps.records.texts[name]
        return column.codes[self.steps.row[rows]], column.vocabulary

    def amounts(self, row: int) -> str:
        """What a row says was mixed, in words as they stand: `0.75 us_fl_oz in 2.5 us_gal of water`."""
        at = np.array([row])
        told = []
        for name in ("product", "water"):
            amount = float(self.values(f"{name}_amount", at)[0])
            unit = self.steps.records.text(f"{name}_unit", int(self.steps.row[row]))
            told.append(f"{'?' if np.isnan(amount) else plain_number(amount)} {unit or '(no unit)'}")
        return f"{told[0]} in {told[1]} of water"

    def calculated(self, solution: int, percent: float | None) -> str:
        """What the recorded amounts give, in words: a strength where the product's own is known, else a dilution."""
        mixings = self.mixings
        for at in range(*np.searchsorted(mixings.solution, [solution, solution + 1]).tolist()):
            if mixings.lacks[at]:
                continue
            mixed = self.amounts(int(mixings.rows[at]))
            if percent is not None:
                low, high = mixings.strength(percent)
                return f"about {between(low[at], high[at])} calculated, not measured, from {mixed}"
            dose, water = mixings.dose_litres[at], mixings.water_litres[at]
            if dose > 0:
                return f"{mixed}, one part in {plain_number(round(float((water + dose) / dose), 1))}"
        return ""


def between(low: float, high: float) -> str:
    """Both ends of a calculated strength in words, or one figure where they are the same to a tenth."""
    first, last = round(float(low), 1), round(float(high), 1)
    told = plain_number(first) if first == last else f"{plain_number(first)} to {plain_number(last)}"
    return f"{told} ppm"
