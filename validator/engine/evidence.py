"""The rows that show a finding, with what stands in them: times by the clock of the store, a blank as an empty text."""

from __future__ import annotations

from collections.abc import Sequence

from validator.findings import Evidence
from validator.quantities import plain_number
from validator.steps import Steps
from validator.tables import NAT, NUMBERS, TIMES
from validator.timing.zones import Clock

MOST_ROWS = 60
"""Rows named in one finding: a finding on more says so in its sentence."""
Seen = dict[tuple[int, tuple[str, ...]], Evidence]
"""Records that were put into words before: several findings often name the same."""


def evidence(steps: Steps, rows: Sequence[int], columns: tuple[str, ...], seen: Seen) -> tuple[Evidence, ...]:
    """The rows (positions in `steps`) in order of file and number, each once."""
    records = steps.records
    at = ((steps.row.item(k), k) for k in rows)
    placed = sorted({(records.source.item(row), records.rows.item(row), k) for row, k in at})
    return tuple(_row(steps, source, number, k, columns, seen) for source, number, k in placed[:MOST_ROWS])


def _row(steps: Steps, source: int, number: int, k: int, columns: tuple[str, ...], seen: Seen) -> Evidence:
    key = steps.row.item(k), columns  # a wide row of a file holds many steps under one number
    if key not in seen:
        clock = steps.machines[steps.machine.item(steps.cycle.item(k))].clock
        file, sheet = steps.records.sources[source]
        values = tuple(_value(steps, steps.row.item(k), name, clock) for name in columns)
        seen[key] = Evidence(file, sheet, number, columns, values)
    return seen[key]


def _value(steps: Steps, row: int, column: str, clock: Clock) -> str:
    records = steps.records
    if column in TIMES:
        at = records.times[column].item(row)
        if at != NAT:
            return clock.moment(at)
        side = ("started_at", "ended_at").index(column) if column in ("started_at", "ended_at") else -1
        meant = records.doubt.get(row, ()) or records.stated.get(row, ())
        return " or ".join(sorted({clock.moment(pair[side]) for pair in meant if side >= 0 and pair[side] != NAT}))
    if column in NUMBERS:
        value = records.numbers[column].item(row) if column in records.numbers else float("nan")
        return "" if value != value else plain_number(value)
    return records.text(column, row)
