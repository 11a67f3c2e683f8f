"""How is the list of corrective actions written as an XLSX workbook that a store keeps, signs and verifies?"""

from __future__ import annotations

from validator.findings import Report
from validator.language import tr
from validator.reports.flat import ACTIONS, BEHIND, KEPT, about, action_rows, needing_nothing
from validator.reports.workbook import Sheet, write


def render(report: Report) -> bytes:
    """The cautions first, then all actions, the most urgent first, with a state to choose and blanks to sign.

    What is printed ends with the signatures; what a program looks for stands to the right of them.
    """
    actions = Sheet(tr("Actions"), (*ACTIONS, *KEPT, *BEHIND), action_rows(report), printed=len(ACTIONS) + len(KEPT))
    return write([about(report, needing_nothing(report)), actions])
