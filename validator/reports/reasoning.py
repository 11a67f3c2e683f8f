"""Why does one finding say what it says? Its rows with their values, the arithmetic, how and from when it was judged."""

from __future__ import annotations

from collections.abc import Iterable

from validator.findings import Finding, Report, Status
from validator.language import said, tr
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
    rows = tuple(_rows(finding)) or (tr("none: nothing is recorded that could be named"),)
    marks = tuple(m for m in (*words.marks(finding), sentence(finding.grade_reason)) if m)
    how = tr("decision rule {rule}, looked from {moment}", rule=words.plain(decision), moment=name(as_of))
    found = [(tr("Rows, times by the store's clock"), rows), (tr("Arithmetic"), tuple(_arithmetic(finding)))]
    layer = (tr("limit from the {source}", source=sentence(said(finding.limit_from))),) if finding.limit_from else ()
    return (*found, *([(tr("Marks"), marks)] if marks else []), (tr("Judged by"), (*layer, how)))


def explain(finding: Finding, report: Report, rule: str) -> str:
    """The whole reasoning of one finding as text; `rule` is what its rule says of itself."""
    about = " > ".join(name(p) for p in (finding.store_id, finding.equipment_id, finding.cycle_id, finding.target) if p)
    head = tr(
        "Finding {id}: {status}, {grade}", id=finding.id, status=finding.status.shown, grade=words.grade(finding.grade)
    )
    lines = [head, sentence(about), "", sentence(finding.message), ""]
    for heading, told in parts(finding, report.decision, report.as_of):
        lines += [heading, *(f"  {line}" for line in told), ""]
    return "\n".join([*lines, rule])


def _rows(finding: Finding) -> Iterable[str]:
    for row in finding.evidence:
        cells = row.cells or ("",) * len(row.columns)
        values = ", ".join(
            f"{column} {sentence(value) or tr('(blank)')}" + (f" [{name(own)}]" if own else "")
            for column, value, own in zip(row.columns, row.values, cells, strict=False)
        )
        place = words.place(row.file, row.sheet, [row.row])
        yield f"{place}: {values}" if values else place


def _arithmetic(finding: Finding) -> Iterable[str]:
    measured = (
        (tr("observed"), words.amount(finding.observed)), (tr("required"), words.required(finding.required)),
        (tr("margin"), words.margin(finding)),
    )  # fmt: skip
    amounts = [f"{label}: {value}" for label, value in measured if value]
    yield from amounts or [tr("nothing is measured here: what is asked is recorded or it is not")]
    if finding.status is Status.NOT_OBSERVED:
        yield tr("N/O ({reason}): the record allows both that the limit was kept and that it was not, or neither",
                 reason=words.plain(finding.reason))  # fmt: skip
