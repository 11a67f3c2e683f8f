"""Does what was read fit what was mixed?

Per cycle and solution (`solution_id`, else the agent). The strength follows from the recorded amounts of product and
water and the product's own strength. A reading that lies more than `within` from it is OUT, whether the volume is taken
as the water alone or as water and dose. A row with amounts and a reading is held against itself; any other reading
against every mixing of its solution: IN if it fits all, OUT if it fits none. Where amounts, readings or the product's
strength are missing, or a unit has no known size, the check is N/O.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
from pydantic import field_validator

from validator.fields import Document, Percent, Strength, Text
from validator.findings import Quantity, Required
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Outcomes, Reasons, Scope, Shown, Stricter
from validator.kinds.rows import any_by
from validator.kinds.solutions import AMOUNTS, COLUMNS, Mixings, Solutions, between
from validator.quantities import plain_number, whole_if_whole

NAME = "mixed_strength"
TIGHTER: Mapping[str, Stricter] = {"within": "lower"}
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FITS, DISAGREES, NOT_MEASURED, NO_AMOUNT, STRANGE_UNIT, NO_PRODUCT, SEVERAL = range(7)
_REASONS = (
    "", "disagrees", "not_measured", "missing_amounts", "unknown_unit", "no_product_strength", "several_mixings",
)  # fmt: skip
_PRECEDENCE = (FITS, SEVERAL, NO_PRODUCT, STRANGE_UNIT, NO_AMOUNT, DISAGREES)
"""Of a solution's readings the last in this order says how the check comes out."""


class Params(Document):
    """`within` is how far a reading may lie from the calculated strength, in mg/L, to either side.

    `product_percent` is the product's own strength from its label (% of the active agent, for chlorine % available
    chlorine): weight by volume for a liquid, by weight for a powder. It belongs to the product in use, so a pack leaves
    it out and the register gives it.
    """

    agent: Text
    product_percent: Percent | None = None
    within: Strength

    @field_validator("product_percent")
    @classmethod
    def _a_share(cls, value: float | None) -> float | None:
        if value is not None and not 0 < value <= 100:
            raise ValueError(f"found {plain_number(value)}; a product holds more than 0 and at most 100 percent")
        return value

    @field_validator("within")
    @classmethod
    def _not_negative(cls, value: float) -> float:
        if value < 0:
            raise ValueError(f"found {plain_number(value)}; a tolerance is 0 or more")
        return value


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and solution of the agent."""
    found = Solutions(params.agent, scope)
    readings, belongs = found.readings()
    mixings = found.mixings
    percent = np.nan if params.product_percent is None else params.product_percent
    low, high = mixings.strength(percent)
    pairs = _Pairs(readings, belongs, mixings)
    value = found.values("concentration_ppm", readings)
    away = _away(value[pairs.reading], low[pairs.mixing], high[pairs.mixing])
    verdict = _verdicts(pairs, mixings.lacks[pairs.mixing], away <= params.within, len(readings))
    if params.product_percent is None:
        verdict[np.isin(verdict, (FITS, DISAGREES, SEVERAL))] = NO_PRODUCT
    code = np.full(len(found), NOT_MEASURED, dtype=np.int8)
    for outcome in _PRECEDENCE:
        code[any_by(belongs, verdict == outcome, len(found))] = outcome
    status = np.array([IN, OUT, *[NOT_OBSERVED] * 5], dtype=np.int8)[code]
    status[found.others], code[found.others] = NOT_APPLICABLE, FITS

    def show(i: int) -> Shown:
        columns = (*COLUMNS, *AMOUNTS)
        mine = np.arange(*np.searchsorted(belongs, [i, i + 1]))
        mine = mine[verdict[mine] == code[i]]
        if not len(mine):
            facts = {"calculated": found.calculated(i, params.product_percent)}
            return Shown(None, None, None, found.rows_of(i), columns, facts)
        nearest = [_nearest(away[pairs.of(k)]) for k in mine.tolist()]
        worst = int(mine[np.argmax(nearest)])
        reading = whole_if_whole(float(value[worst]))
        of = pairs.mixing[pairs.of(worst)]
        rows = list(dict.fromkeys([int(readings[worst]), *mixings.rows[of].tolist()]))
        facts = {"found": f"{plain_number(reading)} ppm"}
        if not len(of):
            return Shown(Quantity(reading, "ppm"), None, None, rows, columns, facts)
        lacking = of[mixings.lacks[of] != 0]
        at = int(lacking[0]) if len(lacking) else int(of[np.argmin(away[pairs.of(worst)])])
        facts["mixed"] = found.amounts(int(mixings.rows[at]))
        if np.isnan(low[at]):
            return Shown(Quantity(reading, "ppm"), None, None, rows, columns, facts)
        facts["strength"] = between(low[at], high[at])
        margin = Quantity(round(max(nearest) - params.within, 3), "ppm") if status[i] == OUT else None
        required = _required(params.within, float(low[at]), float(high[at]))
        return Shown(Quantity(reading, "ppm"), required, margin, rows, columns, facts)

    return [Outcomes(scope.steps.machine[found.cycle], found.cycle, found.names, status, Reasons(_REASONS, code), show)]


class _Pairs:
    """Every reading with each mixing that it is held against: positions among the readings and among the mixings."""

    def __init__(self, readings: npt.NDArray[np.intp], belongs: npt.NDArray[np.intp], mixings: Mixings) -> None:
        first = np.searchsorted(mixings.solution, belongs, "left")
        last = np.searchsorted(mixings.solution, belongs, "right")
        complete = np.flatnonzero(mixings.lacks == 0)
        by_row = complete[np.argsort(mixings.rows[complete])]
        own = np.searchsorted(mixings.rows[by_row], readings)
        itself = own < len(by_row)
        itself[itself] = mixings.rows[by_row[own[itself]]] == readings[itself]
        first[itself] = by_row[own[itself]]
        last[itself] = first[itself] + 1
        count = last - first
        self.reading = np.repeat(np.arange(len(readings)), count)
        self.mixing = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count - first, count)
        self.ends = np.cumsum(count)

    def of(self, reading: int) -> slice:
        """The pairs of one reading."""
        return slice(int(self.ends[reading - 1]) if reading else 0, int(self.ends[reading]))


def _away(reading: Floats, low: Floats, high: Floats) -> Floats:
    """How far each reading lies outside what was calculated, in mg/L; NaN where nothing was.

    Rounded to a billionth, so that units with many digits do not push a reading at the limit over it.
    """
    away: Floats = np.maximum(np.maximum(low - reading, reading - high), 0.0).round(9)
    return away


def _verdicts(pairs: _Pairs, lacks: Ints, fits: npt.NDArray[np.bool_], size: int) -> Ints:
    """What each reading shows, as one of the reasons."""
    held, fitted = (np.bincount(pairs.reading, weights, size) for weights in (None, fits))
    blank = any_by(pairs.reading, lacks == Mixings.NO_AMOUNT, size) | (held == 0)
    strange = any_by(pairs.reading, lacks == Mixings.STRANGE_UNIT, size)
    compared = np.where(fitted == held, FITS, np.where(fitted == 0, DISAGREES, SEVERAL))
    return np.where(blank, NO_AMOUNT, np.where(strange, STRANGE_UNIT, compared))


def _nearest(away: Floats) -> float:
    """How far the mixing lies off that is nearest to a reading; 0 where none can be compared."""
    known = away[~np.isnan(away)]
    return float(known.min()) if len(known) else 0.0


def _required(within: float, low: float, high: float) -> Required:
    least, most = round(max(low - within, 0.0), 1), round(high + within, 1)
    text = f"within {plain_number(within)} ppm of the {between(low, high)} calculated"
    return Required(whole_if_whole(least), whole_if_whole(most), "ppm", text)
