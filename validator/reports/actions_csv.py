"""How is the list of corrective actions written as a CSV file, with columns in which it is kept?"""

from __future__ import annotations

from collections.abc import Iterator

from validator.findings import Report
from validator.language import said
from validator.reports import words
from validator.reports.flat import ACTIONS, BEHIND, KEPT, action_rows, as_csv
from validator.reports.layout import GOVERNS
from validator.reports.workbook import Cell, Column

_READ_FIRST = (Column("cautions_in_full"), Column("governs"))


def render(report: Report) -> bytes:
    """All actions, the most urgent first; each row bears its cautions in full, since rows are cut out and sent on."""
    return as_csv((*ACTIONS, *KEPT, *BEHIND, *_READ_FIRST), _rows(report))


def _rows(report: Report) -> Iterator[tuple[Cell, ...]]:
    told = {n: words.stopped(caution) for n, caution in enumerate(report.cautions, 1)}
    for row, action in zip(action_rows(report), report.actions, strict=True):
        yield (*row, " ".join(told[n] for n in action.cautions if n in told), said(GOVERNS))
