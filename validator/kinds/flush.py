"""Was every line flushed for its minimum time, without a break or in sum?

`longest` takes the longest uninterrupted flush of a line, rows at most `join_gap` apart counting as one; `total` takes
the time that its rows cover, overlaps once. A line without a row is OUT; a line out of use is N/A. Where a start or an
end is missing, the check is OUT only if the longest flush that the facts allow is too short, IN only if the shortest
is long enough, else N/O.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from validator.fields import Document, Text
from validator.findings import Quantity
from validator.kinds.durations import Elapsed
from validator.kinds.facts import observed_text, reasons_of, required_time, scope_rows
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
from validator.kinds.rows import Subjects, any_by, gather
from validator.kinds.targets import Targets, expected
from validator.quantities import MICROSECONDS, Duration, say_seconds, whole_if_whole
from validator.steps import FAR, MOST_WAYS, Steps
from validator.tables import NAT
from validator.timing.intervals import covered, longest

NAME = "flush"
TIGHTER: Mapping[str, Stricter] = {"min": "higher", "join_gap": "none"}
COLUMNS = ("step", "target", "started_at", "ended_at")
Ints = npt.NDArray[np.int64]
_REASONS = ("", "missing", "too_short", "missing_time", "contradiction", "within_uncertainty")


class Params(Document):
    """`min` is elapsed time; `step` is the step that flushes."""

    step: Text = "flush"
    targets: Targets = None
    min: Elapsed
    accumulate: Literal["longest", "total"] = "longest"
    join_gap: Elapsed = Duration(False, 0)


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and expected target."""
    want = expected(scope, params.targets, (params.step,))
    rows = gather(scope.steps, (params.step,), want)
    size = len(want.cycle)
    need = params.min.microseconds
    low, high = _lengths(params, scope, rows, size)
    torn = any_by(rows.group, scope.steps.contrary[rows.rows], size)
    recorded = low
    close = rows.present & (low == high) & (low - scope.slack < need) & (low + scope.slack >= need)
    low, high, exact = *_guarded(params, scope, rows, low, high), low == high
    reason = np.where(low >= need, 0, np.where(high < need, 2, np.where(torn, 4, np.where(exact, 5, 3))))
    reason = np.where(rows.present, reason, 1)
    status = np.array([IN, OUT, OUT, NOT_OBSERVED, NOT_OBSERVED, NOT_OBSERVED], dtype=np.int8)[reason]
    status[want.out_of_use] = NOT_APPLICABLE
    reason[want.out_of_use] = 0

    required = required_time(params.min.amount)

    def show(i: int) -> Shown:
        mine = rows.of(i)
        seen = int(recorded[i]) / MICROSECONDS
        observed = Quantity(whole_if_whole(seen), "s") if mine and (exact[i] or status[i] == IN) else None
        if mine and observed is None and high[i] < FAR // 2:
            longest_seen = say_seconds(int(high[i]) / MICROSECONDS)
            observed = Quantity(f"{say_seconds(seen)} to {longest_seen}" if seen else f"at most {longest_seen}", "")
        most = seen if exact[i] else min(int(high[i]), FAR) / MICROSECONDS
        margin = Quantity(whole_if_whole(most - params.min.amount), "s") if status[i] == OUT and mine else None
        facts = {"step": params.step, "found": observed_text(observed), "count": str(len(mine))}
        because, shown_by = reasons_of(scope.steps, [k for k in mine if scope.steps.incomplete[k]])
        facts["because"] = because
        return Shown(observed, required, margin,
                     [*mine, *shown_by] if mine else scope_rows(scope, int(want.cycle[i])),
                     COLUMNS, facts)  # fmt: skip

    return [Outcomes(scope.steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
                     Reasons(_REASONS, reason.astype(np.int8)), show, close=close)]  # fmt: skip


def _guarded(params: Params, scope: Scope, rows: Subjects, low: Ints, high: Ints) -> tuple[Ints, Ints]:
    """The same range, widened by the clock's resolution under the decision rule `guarded`.

    Rows that seem to touch may lie apart by as much, and rows that seem apart may touch.
    """
    guard = scope.guard
    if not guard:
        return low, high
    steps = scope.steps
    known = ~steps.incomplete[rows.rows]
    spans = rows.group[known], steps.start[rows.rows[known]], steps.end[rows.rows[known]]
    apart, joined = (_measure(params, *spans, len(low), shift) for shift in (-guard, guard))
    return np.maximum(np.minimum(low, apart) - guard, 0), np.maximum(high, joined) + guard


def _lengths(params: Params, scope: Scope, rows: Subjects, size: int) -> tuple[Any, Any]:
    """The shortest and the longest flush of each check that the record allows, in microseconds."""
    steps = scope.steps
    start, end = steps.start[rows.rows], steps.end[rows.rows]
    partial = steps.incomplete[rows.rows]
    low = _measure(params, rows.group[~partial], start[~partial], end[~partial], size)
    if not partial.any():
        return low, low
    touched = np.unique(rows.group[partial])
    here = np.isin(rows.group, touched)
    high = low.copy()
    found = _bounded(params, _Spans.of(steps, rows.rows[here]), rows.group[here], size)
    low[touched], high[touched] = found[0][touched], found[1][touched]
    doubtful = {int(rows.group[here][at]) for at, _ in steps.doubtful(rows.rows[here])}
    for check in doubtful:
        low[check], high[check] = _in_doubt(params, steps, rows.rows[rows.group == check])
    return low, np.maximum(low, high)


@dataclass
class _Spans:
    """The bounds of some rows' times, and how long each lasted at least; `known` is a recorded duration, else -1."""

    start_low: Ints
    start_high: Ints
    end_low: Ints
    end_high: Ints
    known: Ints
    least: Ints

    @classmethod
    def of(cls, steps: Steps, rows: Any) -> _Spans:
        start_low, start_high, end_low, end_high = steps.bounds(rows)
        known = steps.own_durations(rows)
        least = np.maximum(known, steps.least_lengths(rows, start_high, end_low))
        return cls(start_low, start_high, end_low, end_high, known, least)


def _bounded(params: Params, spans: _Spans, group: Ints, size: int) -> tuple[Ints, Ints]:
    """The shortest and longest flush of each check, every row taken as short and as long as it can have been."""
    low = np.zeros(size, dtype=np.int64)
    np.maximum.at(low, group, spans.least)
    # only a row with a known time surely lies somewhere: at that time, or between its two
    sited = (spans.start_low > -FAR) | (spans.end_low > -FAR)
    ends = np.maximum(spans.end_low, spans.start_high)
    fixed = _measure_sorted(params, group[sited], spans.start_high[sited], ends[sited], size)
    adrift = (spans.known >= 0) & ~sited
    wide = _measure_sorted(params, group[~adrift], spans.start_low[~adrift], spans.end_high[~adrift], size)
    wide += np.bincount(group[adrift], weights=spans.known[adrift], minlength=size).astype(np.int64)
    gaps = np.maximum(np.bincount(group, minlength=size) - 1, 0)
    wide += any_by(group, adrift, size) * params.join_gap.microseconds * gaps
    return np.maximum(low, fixed), np.minimum(wide, FAR)


def _in_doubt(params: Params, steps: Steps, rows: Any) -> tuple[int, int]:
    """The same for one check with hours that happened twice: every way to read them is tried."""
    group = np.zeros(len(rows), dtype=np.int64)
    lows, highs = [], []
    spans = _Spans.of(steps, rows)  # every way sets the same places again
    for tried, way in enumerate(steps.ways(rows)):
        if tried == MOST_WAYS:
            return 0, FAR
        for at, (start, end) in way:
            if start != NAT:
                spans.start_low[at] = spans.start_high[at] = start
            if end != NAT:
                spans.end_low[at] = spans.end_high[at] = end
            if start != NAT and end != NAT:
                spans.least[at] = end - start
        low, high = _bounded(params, spans, group, 1)
        lows.append(int(low[0]))
        highs.append(int(high[0]))
    return min(lows), max(highs)


def _measure_sorted(params: Params, group: Any, start: Any, end: Any, size: int) -> Any:
    order = np.lexsort((end, start, group))
    return _measure(params, group[order], start[order], end[order], size)


def _measure(params: Params, group: Any, start: Any, end: Any, size: int, shift: int = 0) -> Any:
    found = np.zeros(size, dtype=np.int64)
    if params.accumulate == "longest":
        present, lengths = longest(group, start, end, params.join_gap.microseconds + shift)
    else:
        present, lengths = covered(group, start, end)
    found[present] = lengths
    return found
