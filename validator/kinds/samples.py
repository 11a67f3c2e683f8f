"""Do too many of the last laboratory samples lie above their limit?

Samples of one test from one machine and target, over all its cycles, in order of time: at most `over_allowed` of the
last `of` may have a count above `max`. With 2 of 5 the check is OUT where three or more of the last five exceed.

The condition is judged anew at every sample, for that is when a laboratory's report comes in: one check a cycle and
target, OUT if it was broken at any of the cycle's samples. Rules of this form say what makes a violation, so with fewer
than `of` samples it is OUT as soon as too many exceed, and IN before: as in `interval`, what lay before the first row
is not held against it. A sample without a count may have exceeded or not; where that decides, the check is N/O. So may
one without a time stand anywhere among the others: it is N/O itself, and each other sample where it could decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Document, Number, Text, Whole
from validator.findings import Quantity, Required
from validator.kinds.outcome import (
    IN,
    NOT_APPLICABLE,
    NOT_OBSERVED,
    OUT,
    Names,
    Outcomes,
    Reasons,
    Scope,
    Shown,
    Stricter,
)
from validator.quantities import plain_number
from validator.tables import NAT

NAME = "samples"
TIGHTER: Mapping[str, Stricter] = {"max": "lower", "over_allowed": "lower", "of": "higher"}
COLUMNS = ("step", "target", "test", "count_per_g", "started_at")
_REASONS = ("", "not_measured", "missing_time", "too_many")
"""In order of weight: of a cycle's samples the weightiest says how its check stands."""
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


class Params(Document):
    """`max` is a count per gram, exactly at it is not above. `targets` are names; without them every target is judged."""

    test: Text
    max: Number
    over_allowed: Whole
    of: Whole
    step: Text = "sample"
    targets: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _some_may_exceed(self) -> Params:
        if not 0 <= self.over_allowed < self.of:
            raise ValueError(
                f"over_allowed is {self.over_allowed} and of is {self.of}; over_allowed is 0 or more and less than of"
            )
        return self

    @property
    def text(self) -> str:
        """`at most 2 of the last 5 samples above 10 per gram`."""
        return f"at most {self.over_allowed} of the last {self.of} samples above {plain_number(self.max)} per gram"


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and target with a sample of the test; one N/A for a machine that has none."""
    found = _Series.of(params, scope)
    reason = found.judge(params)
    keys, check_of = np.unique(found.key, return_inverse=True)
    worst = np.zeros(len(keys), dtype=np.int64)
    np.maximum.at(worst, check_of, reason)
    # the sample that shows it: the last of the cycle that stands as the check does
    shown = np.full(len(keys), -1)
    decisive = np.flatnonzero(reason == worst[check_of])
    np.maximum.at(shown, check_of[decisive], decisive)
    steps = scope.steps
    row = found.rows[shown]
    without = np.flatnonzero(
        scope.machine_in & ~np.isin(np.arange(len(scope.machines)), steps.machine[steps.cycle[row]])
    )
    none = np.full(len(without), -1)
    code = np.concatenate([worst, np.zeros(len(without), dtype=np.int64)])
    status = np.array([IN, NOT_OBSERVED, NOT_OBSERVED, OUT], dtype=np.int8)[code]
    status[len(keys) :] = NOT_APPLICABLE

    def show(i: int) -> Shown:
        return found.shown(params, scope, int(shown[i])) if i < len(keys) else Shown()

    return [Outcomes(
        np.concatenate([steps.machine[steps.cycle[row]], without]), np.concatenate([steps.cycle[row], none]),
        Names(steps.records.texts["target"].vocabulary, np.concatenate([steps.target[row], none])), status,
        Reasons(_REASONS, code.astype(np.int8)), show, part=params.test,
    )]  # fmt: skip


@dataclass(frozen=True)
class _Series:
    """The samples of the test, by machine and target and then in order of time, those without a time first.

    `rows` are positions in the steps. `first` and `last` bound the samples that are the last `of` at each (at several of
    one moment the same). `key` is one number a cycle and target. `adrift` counts the samples of the same machine and
    target that have no time, `adrift_over` those of them that exceed or may.
    """

    rows: npt.NDArray[np.intp]
    counts: npt.NDArray[np.float64]
    timed: Mask
    first: Ints
    last: Ints
    key: Ints
    adrift: Ints
    adrift_over: Ints

    @classmethod
    def of(cls, params: Params, scope: Scope) -> _Series:
        steps = scope.steps
        rows = steps.of_steps((params.step,))
        rows = rows[scope.machine_in[steps.machine[steps.cycle[rows]]]]
        rows = rows[steps.column("test")[rows] == steps.records.code("test", params.test)]
        if params.targets:
            rows = rows[np.isin(steps.target[rows], [steps.records.code("target", t) for t in params.targets])]
        at = np.where(steps.start[rows] == NAT, steps.end[rows], steps.start[rows])
        counts = steps.numbers("count_per_g", rows)
        width = len(steps.records.texts["target"].vocabulary) + 1
        series = steps.machine[steps.cycle[rows]] * width + steps.target[rows] + 1
        # of several at one moment the lower first, so that the order of the rows in the file plays no part
        order = np.lexsort((counts, at, series))
        rows, at, counts, series = rows[order], at[order], counts[order], series[order]
        timed = at != NAT
        begin = np.searchsorted(series, series, "left")
        lost = np.cumsum(np.append(0, ~timed))
        lost_over = np.cumsum(np.append(0, ~timed & ~(counts <= params.max)))
        end = np.searchsorted(series, series, "right")
        place = np.arange(len(rows))
        moment = np.append(True, (np.diff(at) != 0) | (np.diff(series) != 0))[: len(rows)]
        heads = np.flatnonzero(moment)
        last = np.append(heads[1:], len(rows))[np.cumsum(moment) - 1] if len(rows) else place
        adrift = lost[end] - lost[begin]
        first = np.maximum(begin + adrift, last - params.of)
        return cls(rows, counts, timed, first, last, steps.cycle[rows] * width + steps.target[rows] + 1, adrift,
                   lost_over[end] - lost_over[begin])  # fmt: skip

    def judge(self, params: Params) -> Ints:
        """For each sample the code of the reason why the condition did not hold there, 0 where it did.

        A sample adrift may push one that exceeds out of the last `of`, or be one more of them itself.
        """
        over = np.cumsum(np.append(0, self.counts > params.max))
        blank = np.cumsum(np.append(0, np.isnan(self.counts)))
        sure = over[self.last] - over[self.first]
        may = sure + blank[self.last] - blank[self.first]
        most = params.over_allowed
        held, broken = may + self.adrift_over <= most, sure - self.adrift > most
        reason = np.where(broken, 3, np.where(held, 0, np.where((may > most) & (sure <= most), 1, 2)))
        return np.where(self.timed, reason, 2)

    def shown(self, params: Params, scope: Scope, at: int) -> Shown:
        """The facts of the condition at one sample."""
        steps = scope.steps
        window = range(int(self.first[at]), int(self.last[at])) if self.timed[at] else range(at, at + 1)
        values = [float(self.counts[k]) for k in window]
        over, blank = sum(v > params.max for v in values), sum(v != v for v in values)
        facts = {
            "test": params.test, "over": str(over), "of": str(len(values)), "blank": str(blank),
            "limit": plain_number(params.max), "counts": ", ".join("none" if v != v else plain_number(v) for v in values),
        }  # fmt: skip
        required = Required(None, params.over_allowed, "1", params.text)
        sure = over > params.over_allowed and self.timed[at]
        margin = Quantity(over - params.over_allowed, "1") if sure else None
        adrift = np.flatnonzero(~self.timed & (steps.target[self.rows] == steps.target[self.rows[at]])
                                & (steps.machine[steps.cycle[self.rows]] == steps.machine[steps.cycle[self.rows[at]]]))  # fmt: skip
        rows = sorted({*(int(self.rows[k]) for k in window), *self.rows[adrift].tolist()})
        return Shown(Quantity(over, "1") if sure else None, required, margin, rows, COLUMNS, facts)
