"""How is the list of corrective actions written as an XLSX workbook that a store keeps, signs and verifies?"""

from __future__ import annotations

from collections.abc import Iterator

from validator.findings import Report
from validator.reports.flat import ACTIONS, BEHIND, KEPT, STATES, about, action_rows, behind, needing_nothing
from validator.reports.workbook import Cell, Column, Sheet, write


def render(report: Report) -> bytes:
    """The cautions first, then all actions, the most urgent first, with a state to choose and blanks to sign."""
    columns = (*ACTIONS, Column("cautions", 12), *KEPT, *BEHIND)
    return write([about(report, needing_nothing(report)), Sheet("Actions", columns, _rows(report))])


def _rows(report: Report) -> Iterator[tuple[Cell, ...]]:
    for row, action in action_rows(report):
        numbers = ", ".join(map(str, action.cautions))
        yield (*row, numbers, STATES[0], *[""] * (len(KEPT) - 1), *behind(action))
