"""Was every part in contact with sanitizer for its minimum time, in one piece?

Per cycle and expected target the longest single contact counts. `min` is one duration, or a table of what is asked
in which step and under which conditions; a contact is long enough if any row of the table that surely applies is met.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import AfterValidator, Discriminator, Tag

from validator.fields import Document, Text
from validator.findings import Quantity, Required
from validator.kinds.acts import ActOn
from validator.kinds.conditions import (
    MEASURED,
    Conditioned,
    StrengthRange,
    band_in_words,
    columns_of,
    conditions_in_words,
    holds,
    measured,
)
from validator.kinds.durations import Elapsed
from validator.kinds.facts import observed_text, reasons_of, required_time, scope_rows
from validator.kinds.flush import COLUMNS
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
from validator.kinds.rows import Subjects, any_by, gather, highest_by
from validator.kinds.targets import Targets, expected
from validator.quantities import MICROSECONDS, Duration, say_seconds, whole_if_whole
from validator.steps import FAR

NAME = "contact"
TIGHTER: Mapping[str, Stricter] = {"min": "higher"}
_REASONS = (
    "", "missing", "too_short", "missing_time", "contradiction", "missing_condition", "no_limit", "within_uncertainty",
)  # fmt: skip


class ContactRow(Conditioned):
    """One row of a table: the least contact, and the step and conditions for which it is enough."""

    step: Text | None = None
    agent: Text | None = None
    at_least: Elapsed
    concentration_ppm: StrengthRange | None = None


def _some_row(value: tuple[ContactRow, ...]) -> tuple[ContactRow, ...]:
    if not value:
        raise ValueError("expected at least one row in the table, found an empty list")
    return value


def _way(value: Any) -> str:
    return "a table" if isinstance(value, (list, tuple)) else "one duration"


ContactMinimum = Annotated[
    Annotated[Elapsed, Tag("one duration")]
    | Annotated[tuple[ContactRow, ...], AfterValidator(_some_row), Tag("a table")],
    Discriminator(_way),
]
"""One duration for all, or a table."""


class Params(Document):
    """`steps` are those that bring a target into contact. With `having` only cycles that have such a row are judged."""

    steps: tuple[Text, ...] = ("sanitize",)
    targets: Targets = None
    min: ContactMinimum
    having: ActOn | None = None


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and expected target."""
    want = expected(scope, params.targets, params.steps)
    rows = gather(scope.steps, params.steps, want)
    size = len(want.cycle)
    recorded_low, recorded_high = _lengths(scope, rows)
    low, high = np.maximum(recorded_low - scope.guard, 0), recorded_high + scope.guard
    verdict, need = _judge_rows(params, scope, rows, low, high)
    enough = any_by(rows.group, verdict == 1, size)
    open_ = any_by(rows.group, verdict == 0, size)
    known = recorded_low == recorded_high
    table = not isinstance(params.min, Duration)
    unconditioned = any_by(rows.group, (verdict == 0) & known & table, size)
    near = any_by(rows.group, (verdict == 0) & known, size)
    torn = any_by(rows.group, scope.steps.contrary[rows.rows], size)
    unlimited = ~any_by(rows.group, verdict != -2, size)
    reason = np.where(
        enough, 0, np.where(open_, np.where(unconditioned, 5, np.where(torn, 4, np.where(near, 7, 3))), 2)
    )
    reason = np.where(unlimited, 6, reason)
    reason = np.where(rows.present, reason, 1)
    status = np.array([IN, OUT, OUT, *[NOT_OBSERVED] * 3, OUT, NOT_OBSERVED], dtype=np.int8)[reason]
    idle = want.out_of_use if params.having is None else want.out_of_use | ~params.having.cycles(scope)[1][want.cycle]
    status[idle] = NOT_APPLICABLE
    reason[idle] = 0
    over, over_high = (highest_by(rows.group, lengths - need, size, -FAR) for lengths in (recorded_low, recorded_high))
    close = rows.present & (over == over_high) & (over < scope.slack) & (over + scope.slack >= 0)

    nearness = recorded_high - need
    one_limit = required_time(params.min.amount) if isinstance(params.min, Duration) else None
    table_limit = None if isinstance(params.min, Duration) else _table_in_words(params.min)

    def show(i: int) -> Shown:
        mine = rows.of(i)
        # of several contacts the one is shown that comes nearest to what is asked of it
        at = int(rows.first[i]) + int(np.argmax(nearness[rows.first[i] : rows.last[i]])) if mine else -1
        seconds = int(recorded_high[at]) / MICROSECONDS if mine else 0
        observed = Quantity(whole_if_whole(seconds), "s") if mine and recorded_high[at] == recorded_low[at] else None
        asked = int(need[at]) // MICROSECONDS if mine and need[at] < FAR else None
        if isinstance(params.min, Duration):
            asked = params.min.amount
        required = one_limit or (required_time(asked) if asked is not None else table_limit)
        short = seconds - asked if asked is not None and mine and status[i] == OUT else None
        margin = Quantity(whole_if_whole(short), "s") if short is not None else None
        facts = {"steps": " or ".join(params.steps), "found": observed_text(observed),
                 "agent": used_agent(scope, mine), "needed": say_seconds(asked) if asked is not None else ""}  # fmt: skip
        because, shown_by = reasons_of(scope.steps, [k for k in mine if scope.steps.incomplete[k]])
        facts["because"] = because
        shown = [*mine, *shown_by] if mine else scope_rows(scope, int(want.cycle[i]))
        columns: tuple[str, ...] = COLUMNS
        if not isinstance(params.min, Duration):
            columns = (*COLUMNS, "agent", *columns_of(scope.steps, shown, MEASURED))
        return Shown(observed, required, margin, shown, columns, facts)

    return [Outcomes(scope.steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
                     Reasons(_REASONS, reason.astype(np.int8)), show, close=close)]  # fmt: skip


def _table_in_words(rows: Sequence[ContactRow]) -> Required:
    """What a table asks for, line by line: for a contact that fits none of them."""
    said = []
    for row in rows:
        strength = row.concentration_ppm
        of = [row.agent or "", band_in_words(strength.min, strength.max) if strength else "", *conditions_in_words(row)]
        least = say_seconds(row.at_least.amount)
        time = f"at least {least} {row.step}" if row.step else f"at least {least}"
        said.append(", ".join([time, *(p for p in of if p)]))
    return Required(None, None, "s", "; or ".join(said))


def used_agent(scope: Scope, rows: list[int]) -> str:
    """What the rows say was used."""
    agents = {scope.steps.records.text("agent", int(scope.steps.row[k])) for k in rows} - {""}
    return " and ".join(sorted(agents))


def _lengths(scope: Scope, rows: Subjects) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The shortest and the longest that each row's contact can have been."""
    steps = scope.steps
    low = np.where(steps.incomplete[rows.rows], 0, steps.end[rows.rows] - steps.start[rows.rows])
    high = low.copy()
    partial = np.flatnonzero(steps.incomplete[rows.rows])
    if len(partial):
        at = rows.rows[partial]
        start_low, start_high, end_low, end_high = steps.bounds(at)
        low[partial] = steps.least_lengths(at, start_high, end_low)
        high[partial] = np.minimum(steps.most_lengths(at, start_low, end_high), FAR)
        exact = steps.own_durations(at)
        known = exact >= 0
        low[partial[known]] = high[partial[known]] = exact[known]
    return low, high


def _judge_rows(
    params: Params, scope: Scope, rows: Subjects, low: npt.NDArray[np.int64], high: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.int64]]:
    """For each row 1 (long enough), 0 (cannot tell), -1 (too short) or -2 (fits no line of the table), and the time asked."""
    if isinstance(params.min, Duration):
        need = np.full(len(low), params.min.microseconds)
        return np.where(low >= need, 1, np.where(high < need, -1, 0)).astype(np.int8), need
    surely = np.zeros(len(low), dtype=bool)
    maybe = np.zeros(len(low), dtype=bool)
    applies = np.zeros(len(low), dtype=bool)
    need = np.full(len(low), FAR)
    named = {line.agent for line in params.min if line.agent}
    values = measured(scope.steps, rows.rows, scope.agents | named, params.min)
    for line in params.min:
        sure, possible = holds(line, values)
        if line.step is not None:
            this = scope.steps.step[rows.rows] == scope.steps.records.code("step", line.step)
            sure, possible = sure & this, possible & this
        least = line.at_least.microseconds
        surely |= sure & (low >= least)
        maybe |= possible & (high >= least)
        applies |= possible
        need = np.where(possible, np.minimum(need, least), need)
    verdict = np.where(surely, 1, np.where(maybe, 0, np.where(applies, -1, -2)))
    return verdict.astype(np.int8), need
