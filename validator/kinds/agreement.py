"""Does a reading agree with a reference reading of the same cycle: the rinse water's pH with the tap's?

Per cycle and expected target of `of`. The last row of a target decides, since it is the end of a rinse that counts, or
every row does; the reference is the last reading of `with`. They agree if they differ by no more than `within`. Where
it cannot be told which row was the last, all that can have been must agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field, field_validator

from validator.fields import Document, Number
from validator.findings import Quantity, Required
from validator.kinds.acts import ActOn
from validator.kinds.facts import scope_rows
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
from validator.kinds.rows import any_by, gather, highest_by
from validator.kinds.targets import expected
from validator.quantities import plain_number, whole_if_whole
from validator.steps import FAR

NAME = "agreement"
TIGHTER: Mapping[str, Stricter] = {"within": "lower"}
AGREES, DIFFERS, UNDECIDED, UNKNOWN = 1, -1, 0, 2
_REASONS = ("", "differs", "not_measured", "missing_time", "contradiction", "within_uncertainty")
_UNITS = {"ph": "1", "temperature_c": "Cel", "concentration_ppm": "ppm", "hardness_ppm": "ppm"}
_LABELS = {"ph": "pH", "temperature_c": "temperature", "concentration_ppm": "strength", "hardness_ppm": "hardness"}
_AFTER = {"Cel": " °C", "ppm": " ppm"}
_DIGITS = 9
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]


class Params(Document):
    """`within` and `uncertainty` are in the field's own unit.

    `uncertainty` is how far the true value can lie from a reading, to either side; the decision rule `guarded` asks for
    it, and the difference of two readings can be off by twice as much.
    """

    field: Literal["ph", "temperature_c", "concentration_ppm", "hardness_ppm"]
    of: ActOn
    with_: ActOn = Field(alias="with")
    within: Number
    which: Literal["last", "every"] = "last"
    uncertainty: Number = 0.0

    @field_validator("within", "uncertainty")
    @classmethod
    def _not_negative(cls, value: float) -> float:
        if value < 0:
            raise ValueError(f"expected 0 or more, found {plain_number(value)}")
        return value

    @field_validator("with_")
    @classmethod
    def _by_name(cls, value: ActOn) -> ActOn:
        if isinstance(value.targets, str):
            raise ValueError(f"targets: found {value.targets!r}; name the targets of the reference, or leave them out")
        return value


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and expected target; N/A where the cycle has no row of `of` at all."""
    steps = scope.steps
    want = expected(scope, params.of.targets, params.of.step)
    size = len(want.cycle)
    sure, possible = params.of.match(steps, scope.agents)
    found = gather(steps, params.of.step, want)
    kept = possible[found.rows]
    rows, group = found.rows[kept], found.group[kept]
    values = np.where(sure[rows], steps.numbers(params.field, rows), np.nan)
    reference = _Reference.of(params, scope)
    low, high = reference.low[steps.cycle[rows]], reference.high[steps.cycle[rows]]
    least, most = _apart(values, low, high)
    margin = 2 * params.uncertainty if scope.guarded else 0.0
    verdict = _verdict(params, least - margin, most + margin)
    near = (verdict == UNDECIDED) & (_verdict(params, least, most) != UNDECIDED)
    decides = _can_be_last(scope, rows, group, size) if params.which == "last" else np.ones(len(rows), dtype=bool)
    differs = any_by(group, decides & (verdict == DIFFERS), size)
    agrees = any_by(group, decides & (verdict == AGREES), size)
    unknown = any_by(group, decides & (verdict == UNKNOWN), size)
    undecided = any_by(group, decides & (verdict == UNDECIDED), size)
    torn = any_by(group, decides & steps.contrary[rows], size)
    if params.which == "every":
        out, fine = differs, agrees & ~unknown & ~undecided & ~differs
    else:
        out, fine = differs & ~agrees & ~unknown & ~undecided, agrees & ~unknown & ~undecided & ~differs
    present = any_by(group, np.ones(len(rows), dtype=bool), size)
    open_ = np.where(unknown | ~present, 2, np.where(torn, 4, np.where(any_by(group, decides & near, size), 5, 3)))
    reason = np.where(out, 1, np.where(fine, 0, open_))
    status = np.array([IN, OUT, *[NOT_OBSERVED] * 4], dtype=np.int8)[reason]
    subject = np.zeros(steps.cycles, dtype=bool)
    subject[steps.cycle[possible]] = True
    idle = want.out_of_use | ~subject[want.cycle]
    status[idle], reason[idle] = NOT_APPLICABLE, 0

    def show(i: int) -> Shown:
        mine = np.arange(*np.searchsorted(group, [i, i + 1]))
        mine = mine[decides[mine]]
        gap = np.where(np.isnan(least[mine]), -1.0, least[mine])
        shown = [int(rows[k]) for k in mine] + reference.rows_of(int(want.cycle[i]))
        worst = float(values[mine[int(np.argmax(gap))]]) if len(mine) else np.nan
        seen = None if np.isnan(worst) else worst
        told = reference.value(int(want.cycle[i]))
        facts = _facts(params, seen, told, not len(mine) or bool(np.isnan(values[mine]).any()))
        return _shown(params, seen, told, status[i] == OUT, shown or scope_rows(scope, int(want.cycle[i])), facts)

    return [Outcomes(steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
                     Reasons(_REASONS, reason.astype(np.int8)), show)]  # fmt: skip


class _Reference:
    """For each cycle the lowest and the highest that its reference reading can be; NaN where it has none."""

    def __init__(self, rows: Index, values: Floats, cycle: Ints, cycles: int) -> None:
        self.rows, self.cycle = rows, cycle
        self.low, self.high = np.full(cycles, np.nan), np.full(cycles, np.nan)
        np.fmin.at(self.low, cycle, values)
        np.fmax.at(self.high, cycle, values)

    @classmethod
    def of(cls, params: Params, scope: Scope) -> _Reference:
        """The readings of `with` that can be the last of their cycle."""
        steps = scope.steps
        rows = np.flatnonzero(params.with_.match(steps, scope.agents)[0])
        if params.with_.targets is not None:
            codes = [steps.records.code("target", name) for name in params.with_.targets]
            rows = rows[np.isin(steps.target[rows], [code for code in codes if code >= 0])]
        rows = rows[~np.isnan(steps.numbers(params.field, rows))]
        rows = rows[_can_be_last(scope, rows, steps.cycle[rows], steps.cycles)]
        return cls(rows, steps.numbers(params.field, rows), steps.cycle[rows], steps.cycles)

    def rows_of(self, cycle: int) -> list[int]:
        found: list[int] = self.rows[slice(*np.searchsorted(self.cycle, [cycle, cycle + 1]))].tolist()
        return found

    def value(self, cycle: int) -> float | None:
        """The reference reading of a cycle, where it is one."""
        return float(self.low[cycle]) if self.low[cycle] == self.high[cycle] else None


def _apart(values: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """How little and how much each value can differ from a reference between `low` and `high`."""
    least: Floats = np.maximum(0.0, np.maximum(low - values, values - high))
    most: Floats = np.maximum(np.abs(values - low), np.abs(values - high))
    return least, most


def _verdict(params: Params, least: Floats, most: Floats) -> Ints:
    """The verdict on each row; rounded, so that 8.5 and 8.2 are 0.3 apart, not a little more."""
    least, most = least.round(_DIGITS), most.round(_DIGITS)
    verdict = np.where(most <= params.within, AGREES, np.where(least > params.within, DIFFERS, UNDECIDED))
    return np.where(np.isnan(least), UNKNOWN, verdict)


def _can_be_last(scope: Scope, rows: Index, group: Ints, size: int) -> Mask:
    """Which rows can have been the last of their group to end; the rows are in order of group."""
    low, high = (ends[rows] for ends in scope.steps.ends)
    last: Mask = high + scope.guard >= highest_by(group, low, size, -FAR)[group]
    return last


def _said(value: float, field: str) -> str:
    label = "pH " if field == "ph" else ""
    return f"{label}{plain_number(value)}{_AFTER.get(_UNITS[field], '')}"


def _facts(params: Params, seen: float | None, told: float | None, unread: bool) -> dict[str, str]:
    """What the sentence needs: both readings, and which of the two is missing."""
    act, targets = str(params.with_), " or ".join(params.with_.targets or ())
    reference = f"{act} of {targets}" if targets else act
    missing = [f"of {params.of}"] * unread + [f"of {reference}"] * (told is None)
    return {
        "step": str(params.of), "reference": reference, "label": _LABELS[params.field], "missing": " and ".join(missing),
        "found": _said(seen, params.field) if seen is not None else "",
        "told": _said(told, params.field) if told is not None else "",
    }  # fmt: skip


def _shown(
    params: Params, seen: float | None, told: float | None, out: bool, rows: list[int], facts: Mapping[str, str]
) -> Shown:  # fmt: skip
    unit = _UNITS[params.field]
    text = f"at most {plain_number(params.within)}{_AFTER.get(unit, '')} apart"
    required, margin = Required(None, None, unit, text), None
    if told is not None:
        ends = [whole_if_whole(round(told + way * params.within, _DIGITS)) for way in (-1, 1)]
        required = Required(ends[0], ends[1], unit, text)
        if out and seen is not None:
            margin = Quantity(whole_if_whole(round(seen - ends[int(seen > told)], _DIGITS)), unit)
    observed = Quantity(whole_if_whole(seen), unit) if seen is not None else None
    return Shown(observed, required, margin, rows, ("step", "target", "ended_at", params.field), facts)
