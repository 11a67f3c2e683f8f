"""Facts that several kinds give in the same words: what bounds a missing time, what was asked, what shows an absence."""

from __future__ import annotations

from validator.findings import Quantity, Required
from validator.kinds.outcome import Scope
from validator.quantities import say_seconds
from validator.steps import Steps


def reasons_of(steps: Steps, rows: list[int]) -> tuple[str, list[int]]:
    """What bounds the missing times of these rows, in words, and the rows that show it."""
    told = [steps.why(k) for k in rows]
    said = dict.fromkeys(text for text, _ in told if text)
    return "; ".join(said), sorted({row for _, others in told for row in others})


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
    seen = steps.row[first:last]  # records lie in the order of files and rows, and one row can hold several
    return sorted({first + int(seen.argmin()), first + int(seen.argmax())})
