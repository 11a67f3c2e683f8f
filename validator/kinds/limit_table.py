"""Does a reading lie inside a table of limits: a band of strength, with the temperature, pH and hardness it asks for?"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.documents import Number
from validator.kinds.conditions import CONDITIONS, Conditioned, Range
from validator.quantities import plain_number

INSIDE, OUTSIDE, UNDECIDED = 1, -1, 0
Floats = npt.NDArray[np.float64]


class Line(Conditioned):
    """One row of the table: a band of strength and what else must hold for it."""

    min: Number | None = None
    max: Number | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Line:
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min {plain_number(self.min)} is above max {plain_number(self.max)}; no value fits")
        return self


def judge(lines: Sequence[Line], strength: Floats, conditions: Mapping[str, Floats]) -> npt.NDArray[np.int8]:
    """For each reading 1 (inside), -1 (outside) or 0 (a value that is not known, NaN, decides).

    `strength` is in mg/L; `conditions` gives an array of the same length for each of `CONDITIONS`. A reading is inside
    if for every value that the unknowns can take some line holds it, outside if for none.
    """
    verdict = np.zeros(len(strength), dtype=np.int8)
    asked = [name for name in CONDITIONS if any(getattr(line, name) is not None for line in lines)]
    for unknown in itertools.product((False, True), repeat=len(asked)):
        at = np.ones(len(strength), dtype=bool)
        for name, blank in zip(asked, unknown, strict=True):
            at &= np.isnan(conditions[name]) == blank
        here = np.flatnonzero(at)
        if not len(here):
            continue
        tried = [
            _points([getattr(line, name) for line in lines]) if blank else [None]
            for name, blank in zip(asked, unknown, strict=True)
        ]
        every, some = np.ones(len(here), dtype=bool), np.zeros(len(here), dtype=bool)
        for point in itertools.product(*tried):
            values = {n: _or(conditions[n][here], v) for n, v in zip(asked, point, strict=True)}
            inside = np.zeros(len(here), dtype=bool)
            for line in lines:
                inside |= _fits(line, strength[here], values)
            every &= inside
            some |= inside
        verdict[here] = np.where(every, INSIDE, np.where(some, UNDECIDED, OUTSIDE))
    return verdict


def _points(bands: Sequence[Range | None]) -> list[float | None]:
    """Values that stand for all there are: each limit, and a value between, below and above."""
    limits = sorted({v for b in bands if b is not None for v in (b.min, b.max) if v is not None})
    if not limits:
        return [0.0]
    between = [(a + b) / 2 for a, b in itertools.pairwise(limits)]
    return [limits[0] - 1, *limits, *between, limits[-1] + 1]


def _or(values: Floats, instead: float | None) -> Floats:
    return values if instead is None else np.full(len(values), instead)


def _fits(line: Line, strength: Floats, values: Mapping[str, Floats]) -> npt.NDArray[np.bool_]:
    fits = np.ones(len(strength), dtype=bool)
    if line.min is not None:
        fits &= strength >= line.min
    if line.max is not None:
        fits &= strength <= line.max
    for name, at in values.items():
        band: Range | None = getattr(line, name)
        if band is not None:
            fits &= band.contains(at)
    return fits
