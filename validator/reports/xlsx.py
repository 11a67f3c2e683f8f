"""How are the findings written as an XLSX workbook, with the rows that show them on a sheet of their own?"""

from __future__ import annotations

from validator.findings import Report
from validator.reports.flat import EVIDENCE, FINDINGS, about, evidence_rows, finding_rows
from validator.reports.workbook import Sheet, write


def render(report: Report) -> bytes:
    """All findings, the gravest first, then their rows, then the cautions."""
    return write(
        [
            Sheet("Findings", FINDINGS, finding_rows(report)),
            Sheet("Evidence", EVIDENCE, evidence_rows(report)),
            about(report),
        ]
    )
