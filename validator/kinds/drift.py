"""Do intervals that are each within their grace drift later and later all the same? Two guards, both published.

*Excess carried over*: time by which a cleaning came late within its grace is taken off the next interval, as in
14 CFR 91.409(b), where the excess over 100 hours is included in computing the next 100. *Consecutive intervals*: so many
of them together may last no longer than a limit of their own, as in the technical specifications that NRC Generic Letter
89-14 speaks of (three within 3.25 times the interval).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Document, Whole
from validator.kinds.durations import Either
from validator.kinds.interval_lengths import Lines, length
from validator.machines import Machine
from validator.quantities import Duration

Ints = npt.NDArray[np.int64]


class Consecutive(Document):
    """No `intervals` that follow one another may last longer than `max` together."""

    intervals: Whole
    max: Either

    @model_validator(mode="after")
    def _several(self) -> Consecutive:
        if self.intervals < 2:
            raise ValueError(f"intervals is {self.intervals}; it takes 2 or more to follow one another")
        return self


@dataclass(frozen=True)
class Range:
    """What something is as recorded, and the least and the most it can have been; one entry a line."""

    seen: Ints
    least: Ints
    most: Ints


def carried(lines: Lines, limit: int, grace: int) -> Range:
    """By how much the interval before each came late within its grace, itself with what was carried over to it.

    Where an end is missing the bounds are taken interval by interval, so they can be wider than the record allows, never
    narrower.
    """
    place = _place(lines)
    found = [np.zeros(len(place), dtype=np.int64) for _ in range(3)]
    for at in range(1, int(place.max(initial=0)) + 1):
        here = np.flatnonzero(place == at)
        for carry, lasted in zip(found, (lines.seen, lines.least, lines.most), strict=True):
            carry[here] = np.clip(lasted[here - 1] + carry[here - 1] - limit, 0, grace)
    return Range(*found)


def together(lines: Lines, count: int, limit: Duration, machines: Sequence[Machine]) -> Range:
    """How long each interval and the `count` - 1 before it lasted together; -1 where there are fewer.

    Where cycles may have come in another order than they are recorded, everything is possible.
    """
    found = Range(*(np.full(len(lines.machine), -1, dtype=np.int64) for _ in range(3)))
    here = np.flatnonzero(_place(lines) >= count - 1)
    first, owner = here - (count - 1), lines.machine[here]
    found.most[here] = length(limit, machines, owner, lines.from_low[first], lines.to_high[here])
    found.least[here] = length(
        limit, machines, owner, np.minimum(lines.from_high[first], lines.to_low[here]), lines.to_low[here]
    )
    found.seen[here] = length(limit, machines, owner, lines.from_at[first], lines.to_at[here])
    unordered = here[lines.any_order[here]]
    found.least[unordered], found.most[unordered] = 0, np.iinfo(np.int64).max
    return found


def _place(lines: Lines) -> Ints:
    """The place of each line among those of its machine, from 0."""
    size = len(lines.machine)
    if not size:
        return np.empty(0, dtype=np.int64)
    heads = np.flatnonzero(np.diff(lines.machine, prepend=-1))
    place: Ints = np.arange(size) - np.repeat(heads, np.diff(np.append(heads, size)))
    return place
