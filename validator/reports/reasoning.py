"""Why does one finding say what it says? Its rows with their values, the arithmetic, how and from when it was judged."""

from __future__ import annotations

from collections.abc import Iterable

from validator.findings import Finding, Report, Status
from validator.reports import words
from validator.reports.visible import name, sentence

Part = tuple[str, tuple[str, ...]]
"""A heading and its lines."""


def find(report: Report, finding_id: str) -> Finding | None:
    """The finding of that id, or of the only id that begins so."""
    found = [f for f in report.findings if f.id.startswith(finding_id)]
    return found[0] if len(found) == 1 else None


def parts(finding: Finding, decision: str, as_of: str) -> tuple[Part, ...]:
    """The reasoning of one finding: rows, arithmetic, marks, and what it was judged by."""
    rows = tuple(_rows(finding)) or ("none: nothing is recorded that could be named",)
    marks = tuple(m for m in (*words.marks(finding), sentence(finding.grade_reason)) if m)
    how = f"decision rule {words.plain(decision)}, looked from {name(as_of)}"
    found = [("Rows, times by the store's clock", rows), ("Arithmetic", tuple(_arithmetic(finding)))]
    layer = (f"limit from the {sentence(finding.limit_from)}",) if finding.limit_from else ()
    return (*found, *([("Marks", marks)] if marks else []), ("Judged by", (*layer, how)))


def explain(finding: Finding, report: Report, rule: str) -> str:
    """The whole reasoning of one finding as text; `rule` is what its rule says of itself."""
    about = " > ".join(name(p) for p in (finding.store_id, finding.equipment_id, finding.cycle_id, finding.target) if p)
    lines = [f"Finding {finding.id}: {finding.status.shown}, {finding.grade.value}", sentence(about), "",
             sentence(finding.message), ""]  # fmt: skip
    for heading, said in parts(finding, report.decision, report.as_of):
        lines += [heading, *(f"  {line}" for line in said), ""]
    return "\n".join([*lines, rule])


def _rows(finding: Finding) -> Iterable[str]:
    for row in finding.evidence:
        cells = row.cells or ("",) * len(row.columns)
        values = ", ".join(
            f"{column} {sentence(value) or '(blank)'}" + (f" [{name(own)}]" if own else "")
            for column, value, own in zip(row.columns, row.values, cells, strict=False)
        )
        place = words.place(row.file, row.sheet, [row.row])
        yield f"{place}: {values}" if values else place


def _arithmetic(finding: Finding) -> Iterable[str]:
    measured = (
        ("observed", words.amount(finding.observed)), ("required", words.required(finding.required)),
        ("margin", words.margin(finding)),
    )  # fmt: skip
    said = [f"{label}: {value}" for label, value in measured if value]
    yield from said or ["nothing is measured here: what is asked is recorded or it is not"]
    if finding.status is Status.NOT_OBSERVED:
        yield f"N/O ({words.plain(finding.reason)}): the record allows both that the limit was kept and that it was not, or neither"
