"""What strength do the recorded amounts give? Product and water, each in its own unit, by the dilution formulas.

A liquid product gives percent x 10 000 x dose / volume in mg/L, its strength being weight by volume; a powder gives
percent x 10 x grams / litres (both WHO and CDC; C1 V1 = C2 V2). A product of chlorine is stated as % available chlorine.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from validator.quantities import GRAMS, LITRES

Floats = npt.NDArray[np.float64]


def litres(units: Sequence[str]) -> Floats:
    """Litres in each unit of volume; NaN for any other word, as `gal` of no country."""
    return np.array([LITRES.get(unit.casefold(), np.nan) for unit in units], dtype=np.float64)


def grams(units: Sequence[str]) -> Floats:
    """Grams in each unit of mass; NaN for any other word."""
    return np.array([GRAMS.get(unit.casefold(), np.nan) for unit in units], dtype=np.float64)


def strength(percent: float, dose_litres: Floats, dose_grams: Floats, water_litres: Floats) -> tuple[Floats, Floats]:
    """The least and the most mg/L that a mixing can be said to have; NaN where the amounts give none.

    A dose is a volume or a mass, the other one being NaN. Sources differ in what the volume is: the water alone gives
    the higher figure, water and dose together the lower. A powder is taken to add no volume, so both are the same.
    """
    liquid = ~np.isnan(dose_litres)
    active = np.where(liquid, percent * 10_000 * dose_litres, percent * 10 * dose_grams)
    added = np.where(liquid, dose_litres, 0.0)
    water = np.where(water_litres > 0, water_litres, np.nan)
    return active / (water + added), active / water
