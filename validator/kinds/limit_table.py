"""Does a reading lie inside a table of limits: a band of strength, with the temperature, pH and hardness it asks for?"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Strength
from validator.kinds.conditions import CONDITIONS, Band, Conditioned, ends, scales, unknown, within
from validator.quantities import plain_number

INSIDE, OUTSIDE, UNDECIDED = 1, -1, 0
Floats = npt.NDArray[np.float64]


class Line(Conditioned):
    """One row of the table: a band of strength and what else must hold for it."""

    min: Strength | None = None
    max: Strength | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Line:
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        return self


def judge(
    lines: Sequence[Line], strength: Floats, conditions: Mapping[str, Floats], *, claims: bool = True
) -> npt.NDArray[np.int8]:
    """For each reading 1 (inside), -1 (outside) or 0 (a value that is not known, NaN, decides).

    `strength` is in mg/L; `conditions` gives an array of the same length for each of `CONDITIONS`, and may give
    `temperature_f`, against which a temperature recorded in degrees Fahrenheit is held. A reading is inside if for every
    value that the unknowns can take some line holds it, outside if for none; a line that takes an unrecorded value as kept
    holds it without one, unless `claims` is off.
    """
    verdict = np.zeros(len(strength), dtype=np.int8)
    asked = [name for name in CONDITIONS if any(getattr(line, name) is not None for line in lines)]
    blank = {name: unknown(name, conditions) for name in asked}
    for lacking in itertools.product((False, True), repeat=len(asked)):
        open_ = frozenset(name for name, lacks in zip(asked, lacking, strict=True) if lacks)
        claimed = open_ if claims else frozenset()
        at = np.ones(len(strength), dtype=bool)
        for name in asked:
            at &= blank[name] == (name in open_)
        here = np.flatnonzero(at)
        if not len(here):
            continue
        known = {c: conditions[c][here] for name in asked for c in scales(name) if c in conditions}
        every, some = np.ones(len(here), dtype=bool), np.zeros(len(here), dtype=bool)
        for point in itertools.product(*(_points([v for x in lines for v in ends(x, n)]) for n in asked if n in open_)):
            tried = {n: np.full(len(here), v) for n, v in zip((n for n in asked if n in open_), point, strict=True)}
            values = {**known, **tried}
            inside = np.zeros(len(here), dtype=bool)
            for line in lines:
                inside |= _fits(line, strength[here], values, claimed)
            every &= inside
            some |= inside
        verdict[here] = np.where(every, INSIDE, np.where(some, UNDECIDED, OUTSIDE))
    return verdict


def _points(limits: Sequence[float]) -> list[float]:
    """Values that stand for all there are: each limit, and a value between, below and above."""
    limits = sorted(set(limits))
    if not limits:
        return [0.0]
    between = [(a + b) / 2 for a, b in itertools.pairwise(limits)]
    return [limits[0] - 1, *limits, *between, limits[-1] + 1]


def _fits(line: Line, strength: Floats, values: Mapping[str, Floats], claimed: frozenset[str]) -> npt.NDArray[np.bool_]:
    fits = np.ones(len(strength), dtype=bool)
    if line.min is not None:
        fits &= strength >= line.min
    if line.max is not None:
        fits &= strength <= line.max
    for name in CONDITIONS:
        band: Band | None = getattr(line, name)
        if band is not None and not (name in claimed and band.unrecorded == "met"):
            fits &= within(band, name, values)
    return fits
