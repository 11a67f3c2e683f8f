"""Why does one finding say what it says? Its rows with their values, the arithmetic, the rule and its sources."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from validator.findings import Finding, Report
from validator.quantities import say
from validator.records import RecordSet
from validator.reports.visible import name, sentence
from validator.tables import NAT, NUMBERS, TIMES
from validator.timing.zones import clock


def find(report: Report, finding_id: str) -> Finding | None:
    """The finding of that id, or of the only id that begins so."""
    found = [f for f in report.findings if f.id.startswith(finding_id)]
    return found[0] if len(found) == 1 else None


def explain(finding: Finding, report: Report, records: RecordSet, rule: str) -> str:
    """The whole reasoning of one finding as text; `rule` is what its rule says of itself."""
    zone = next((s.timezone for s in report.stores if s.store_id == finding.store_id), "UTC")
    about = " > ".join(name(p) for p in (finding.store_id, finding.equipment_id, finding.cycle_id, finding.target) if p)
    lines = [f"Finding {finding.id}: {finding.status.shown}, {finding.grade.value}", sentence(about), "",
             sentence(finding.message), "", "Rows (times by the store's clock)"]  # fmt: skip
    lines += [f"  {line}" for line in _rows(finding, records, zone)] or [
        "  none: nothing is recorded that could be named"
    ]
    lines += ["", "Arithmetic", *(f"  {line}" for line in _arithmetic(finding))]
    if finding.marks or finding.grade_reason:
        lines += [
            "",
            "Marks",
            *(f"  {m}" for m in finding.marks),
            *([f"  {finding.grade_reason}"] if finding.grade_reason else []),
        ]
    return "\n".join([*lines, "", f"Decision rule  {report.decision}", f"Looked from    {report.as_of}", "", rule])


def _rows(finding: Finding, records: RecordSet, zone: str) -> Iterable[str]:
    for evidence in finding.evidence:
        source = (
            records.sources.index((evidence.file, evidence.sheet))
            if (evidence.file, evidence.sheet) in records.sources
            else -1
        )
        at = np.flatnonzero((records.source == source) & (records.rows == evidence.row))
        place = f"{name(evidence.file)}{' ' + name(evidence.sheet) if evidence.sheet else ''} row {evidence.row}"
        values = ", ".join(f"{c} {_value(records, int(at[0]), c, zone)}" for c in evidence.columns) if len(at) else ""
        yield f"{place}: {values}" if values else place


def _value(records: RecordSet, row: int, column: str, zone: str) -> str:
    if column in TIMES:
        at = int(records.times[column][row])
        if at == NAT:
            pairs = records.doubt.get(row, ())
            side = 0 if column == "started_at" else 1
            both = sorted({clock(zone).moment(p[side]) for p in pairs if p[side] != NAT})
            return f"({' or '.join(both)})" if both else "(blank or unreadable)"
        return clock(zone).moment(at)
    if column in NUMBERS:
        values = records.numbers.get(column)
        return "(blank)" if values is None or np.isnan(values[row]) else f"{values[row]:g}"
    return name(records.text(column, row)) if column in records.texts and records.text(column, row) else "(blank)"


def _arithmetic(finding: Finding) -> Iterable[str]:
    observed, required, margin = finding.observed, finding.required, finding.margin
    if observed is not None:
        yield f"observed  {say(observed.value, observed.unit) if isinstance(observed.value, (int, float)) else sentence(observed.value)}"
    if required is not None:
        yield f"required  {sentence(required.text)}"
    if margin is not None and isinstance(margin.value, (int, float)):
        yield f"margin    {say(margin.value, margin.unit)}" + (" (short of it)" if margin.value < 0 else " (over it)")
    if observed is None and required is None:
        yield "nothing is measured here: the step or the field is there or it is not"
    if finding.status.value == "not_observed":
        yield f"N/O       {finding.reason.replace('_', ' ')}: some completion of the record keeps the limit and some breaks it, or none fits"
