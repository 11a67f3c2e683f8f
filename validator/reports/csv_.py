"""How are the findings written as a CSV file, one row each, for a program or a person who sorts?"""

from __future__ import annotations

from validator.findings import Report
from validator.reports.flat import FINDINGS, as_csv, finding_rows


def render(report: Report) -> bytes:
    """All findings, the gravest first; a run without one is a heading alone."""
    return as_csv(FINDINGS, finding_rows(report))
