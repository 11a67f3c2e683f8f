"""Was every line flushed for its minimum time, without a break or in sum?

`longest` takes the longest uninterrupted flush of a line, rows at most `join_gap` apart counting as one; `total` takes
the time that its rows cover, overlaps once. A line without a row is OUT; a line out of use is N/A. Where a start or an
end is missing, the check is OUT only if the longest flush that the facts allow is too short, IN only if the shortest
is long enough, else N/O.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np

from validator.cycles import FAR
from validator.documents import Document, Text
from validator.findings import Quantity, Required
from validator.kinds.durations import Elapsed
from validator.kinds.outcome import IN, NOT_APPLICABLE, NOT_OBSERVED, OUT, Names, Outcomes, Reasons, Scope, Shown
from validator.kinds.rows import Subjects, any_by, gather
from validator.kinds.targets import Targets, expected
from validator.quantities import MICROSECONDS, Duration, say_seconds
from validator.timing.intervals import covered, longest

NAME = "flush"
TIGHTER: Mapping[str, Literal["lower", "higher"]] = {"min": "higher", "join_gap": "lower"}
COLUMNS = ("step", "target", "started_at", "ended_at")
_REASONS = ("", "missing", "too_short", "missing_time", "contradiction")


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
    reason = np.where(low >= need, 0, np.where(high < need, 2, np.where(torn, 4, 3)))
    reason = np.where(rows.present, reason, 1)
    status = np.array([IN, OUT, OUT, NOT_OBSERVED, NOT_OBSERVED], dtype=np.int8)[reason]
    status[want.out_of_use] = NOT_APPLICABLE
    reason[want.out_of_use] = 0

    def show(i: int) -> Shown:
        mine = rows.of(i)
        seen = int(low[i]) / MICROSECONDS
        observed = Quantity(_plain(seen), "s") if mine and (high[i] == low[i] or status[i] == IN) else None
        if mine and observed is None and high[i] < FAR // 2:
            observed = Quantity(f"{say_seconds(seen)} to {say_seconds(int(high[i]) / MICROSECONDS)}", "")
        most = min(int(high[i]), FAR) / MICROSECONDS
        margin = Quantity(_plain(most - params.min.amount), "s") if status[i] == OUT and mine else None
        facts = {"step": params.step, "found": observed_text(observed), "count": str(len(mine))}
        return Shown(observed, required_time(params.min.amount), margin, mine or scope_rows(scope, int(want.cycle[i])),
                     COLUMNS, facts)  # fmt: skip

    return [Outcomes(scope.steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
                     Reasons(_REASONS, reason.astype(np.int8)), show)]  # fmt: skip


def _lengths(params: Params, scope: Scope, rows: Subjects, size: int) -> tuple[Any, Any]:
    """The shortest and the longest flush of each check that the record allows, in microseconds."""
    steps = scope.steps
    start, end = steps.start[rows.rows], steps.end[rows.rows]
    partial = steps.incomplete[rows.rows]
    low = _measure(params, rows.group[~partial], start[~partial], end[~partial], size)
    if not partial.any():
        return low, low
    high = low.copy()
    touched = np.unique(rows.group[partial])
    here = np.isin(rows.group, touched)
    group = rows.group[here]
    start_low, start_high, end_low, end_high = steps.bounds(rows.rows[here])
    known = steps.own_durations(rows.rows[here])
    sure = np.maximum(np.where(known >= 0, known, 0), np.maximum(end_low - start_high, 0))
    np.maximum.at(low, group, sure)
    # only a row with a known time surely lies somewhere: at that time, or between its two
    sited = (start_low > -FAR) | (end_low > -FAR)
    fixed = _measure_sorted(
        params, group[sited], start_high[sited], np.maximum(end_low, start_high)[sited], size
    )
    low[touched] = np.maximum(low, fixed)[touched]
    adrift = (known >= 0) & ~sited
    wide = _measure_sorted(params, group[~adrift], start_low[~adrift], end_high[~adrift], size)
    wide += np.bincount(group[adrift], weights=known[adrift], minlength=size).astype(np.int64)
    gaps = np.maximum(np.bincount(group, minlength=size) - 1, 0)
    wide += any_by(group, adrift, size) * params.join_gap.microseconds * gaps
    high[touched] = np.minimum(wide, FAR)[touched]
    return low, np.maximum(low, high)


def _measure_sorted(params: Params, group: Any, start: Any, end: Any, size: int) -> Any:
    order = np.lexsort((end, start, group))
    return _measure(params, group[order], start[order], end[order], size)


def _measure(params: Params, group: Any, start: Any, end: Any, size: int) -> Any:
    found = np.zeros(size, dtype=np.int64)
    if params.accumulate == "longest":
        present, lengths = longest(group, start, end, params.join_gap.microseconds)
    else:
        present, lengths = covered(group, start, end)
    found[present] = lengths
    return found


def required_time(seconds: int) -> Required:
    """`at least 15 min`."""
    return Required(seconds, None, "s", f"at least {say_seconds(seconds)}")


def observed_text(observed: Quantity | None) -> str:
    """The observed value as a sentence says it."""
    if observed is None:
        return "an unknown time"
    return say_seconds(float(observed.value)) if observed.unit == "s" else str(observed.value)


def scope_rows(scope: Scope, cycle: int) -> list[int]:
    """The first and the last row of a cycle, by the row its reader sees: what there is to show that a row is missing."""
    steps = scope.steps
    first, last = int(steps.first[cycle]), int(steps.first[cycle + 1])
    row = steps.row[first:last]
    seen = steps.records.rows[row] + (steps.records.source[row].astype(np.int64) << 32)
    return sorted({first + int(seen.argmin()), first + int(seen.argmax())})


def _plain(value: float) -> float | int:
    return int(value) if value == int(value) else value
