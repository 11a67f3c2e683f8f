"""Which columns has a finding, or an action, in a table that a person sorts? One answer for CSV and XLSX."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import zip_longest

from validator.findings import Action, Finding, Quantity, Report
from validator.language import said, tr
from validator.reports import opening, words
from validator.reports.grouping import by_gravity
from validator.reports.layout import GOVERNS
from validator.reports.visible import name, sentence, whole
from validator.reports.workbook import Cell, Column, Sheet
from validator.statuses import OPEN

_FIRST_YEAR = 1900

STATES = ("open", "done", "verified")
"""What can be entered as the state of an action."""

_MARKUP = tuple("=+-@\t\r\n＝＋－＠")
"""With these a spreadsheet takes a cell of a CSV file for a formula; the wide forms count in some languages."""

FINDINGS = (
    Column("finding", 18), Column("status", 7), Column("grade", 11), Column("since", 11), Column("first_reported", 17),
    Column("settled_by", 14), Column("same_as", 18), Column("rule", 22), Column("title", 40),
    Column("kind", 14), Column("pack", 20), Column("store_id", 10), Column("equipment_id", 16), Column("cycle_id", 14),
    Column("cycle_started", 17), Column("target", 14), Column("reason", 16),
    Column("marks", 14), Column("message", 50), Column("observed", 12), Column("observed_unit", 9),
    Column("required_min", 12), Column("required_max", 12), Column("required_unit", 9), Column("required", 30),
    Column("margin", 12), Column("margin_unit", 9), Column("rows", 36), Column("corrective_action", 50),
    Column("due", 17), Column("due_reason", 22), Column("hazard", 12), Column("control", 14),
    Column("grade_reason", 24), Column("deviation", 30), Column("limit_from", 24), Column("sources", 50),
)  # fmt: skip
EVIDENCE = (
    Column("finding", 18), Column("rule", 22), Column("file", 30), Column("sheet", 16), Column("row", 8),
    Column("column", 20), Column("value", 30), Column("cell", 20),
)  # fmt: skip
ACTIONS = (
    Column("number", 8), Column("action", 40), Column("why", 26), Column("store_id", 9), Column("equipment_id", 14),
    Column("targets", 14), Column("due", 16), Column("grade", 11), Column("cautions", 9),
)  # fmt: skip
KEPT = (
    Column("state", 9, STATES), Column("done_by", 12), Column("done_on", 11, "date"), Column("signature", 14),
    Column("verified_by", 12), Column("verified_on", 11, "date"), Column("verified_signature", 18),
)  # fmt: skip
"""What the people enter who do and verify an action."""
BEHIND = (
    Column("due_reason", 30), Column("rule", 20), Column("status", 7), Column("store", 18), Column("cycles", 20),
    Column("action_id", 18), Column("findings", 20),
)  # fmt: skip


def finding_rows(report: Report) -> Iterator[tuple[Cell, ...]]:
    """A row for each finding, the gravest first, in the columns of `FINDINGS`."""
    asked = {finding: action for action in report.actions for finding in action.findings}
    for f in by_gravity(report.findings):
        action = asked.get(f.id)
        needed = f.required
        yield (
            whole(f.id), f.status.shown, f.grade.value, whole(f.since), whole(f.first_reported),
            whole(f.settled_by), whole(f.same_as), whole(f.rule), sentence(f.title), whole(f.kind), whole(f.pack),
            whole(f.store_id), whole(f.equipment_id), whole(f.cycle_id), _moment(f.cycle_started), whole(f.target),
            words.plain(f.reason), ", ".join(words.marks(f)), words.stopped(f.message), *_quantity(f.observed),
            *((needed.min, needed.max, whole(needed.unit), sentence(words.required(needed))) if needed else ("",) * 4),
            *_quantity(f.margin), "; ".join(words.places(f.evidence)), words.stopped(f.corrective_action),
            *(_due(action) if action else ("",) * 2), sentence(f.hazard), words.plain(f.control),
            sentence(f.grade_reason), sentence(f.deviation or ""), sentence(f.limit_from), _sources(f),
        )  # fmt: skip


def evidence_rows(report: Report) -> Iterator[tuple[Cell, ...]]:
    """A row for each value that shows a finding, in the columns of `EVIDENCE`; one for a row without a named column.

    `cell` is where the value stands in a file whose columns have other names.
    """
    for f in by_gravity(report.findings):
        for seen in f.evidence:
            place = whole(f.id), whole(f.rule), whole(seen.file), whole(seen.sheet), seen.row
            for column, value, cell in zip_longest(seen.columns, seen.values, seen.cells, fillvalue=""):
                yield (*place, whole(column), whole(value), whole(cell))
            if not seen.columns:
                yield (*place, "", "", "")


def action_rows(report: Report) -> Iterator[tuple[Cell, ...]]:
    """A row for each action, the most urgent first, in the columns of `ACTIONS`, `KEPT` and `BEHIND`."""
    called = {store.store_id: store.name for store in report.stores}
    for number, action in enumerate(report.actions, 1):
        due, why_then = _due(action)
        yield (
            number, words.stopped(action.action), sentence(action.title), whole(action.store_id),
            whole(action.equipment_id), ", ".join(tr("the whole machine") if of == OPEN else whole(of) for of in action.targets), due, words.grade(action.grade),
            words.runs(action.cautions), said(STATES[0]), *[""] * (len(KEPT) - 1), why_then, whole(action.rule),
            action.status.shown, sentence(called.get(action.store_id, "")), ", ".join(map(whole, action.cycle_ids)),
            whole(action.id), ", ".join(map(whole, action.findings)),
        )  # fmt: skip


def needing_nothing(report: Report) -> str:
    """How many findings ask for no action and why; blank for none."""
    asked = {finding for action in report.actions for finding in action.findings}
    rest = [f for f in report.findings if f.id not in asked]
    corrected = sum("cos" in f.marks for f in rest)
    settled = sum(bool(f.settled_by) and "cos" not in f.marks for f in rest)
    accepted = sum(f.deviation is not None and "cos" not in f.marks and not f.settled_by for f in rest)
    other = len(rest) - corrected - settled - accepted
    told = (
        (corrected, "{findings} put right on site"), (settled, "{findings} settled by a later cleaning"),
        (accepted, "{findings} accepted for a time"),
        (other, "{findings} without an action"),
    )  # fmt: skip
    return ", ".join(tr(template, findings=words.count(many, "finding")) for many, template in told if many)


def about(report: Report, not_listed: str = "") -> Sheet:
    """The sheet that says which cautions hold and who governs, how the run stands, and what the other sheets leave out."""
    rows: list[tuple[Cell, ...]] = [(tr("Governing"), said(GOVERNS))]
    rows += [(tr("Caution {n}", n=n), words.stopped(caution)) for n, caution in enumerate(report.cautions, 1)]
    rows += [(tr("How it stands"), opening.headline(report)), *(("", line) for line in opening.standing(report))]
    rows += [(tr("Not listed"), not_listed)] if not_listed else []
    rows += [(tr("Sources of the times"), source) for source in times(report.actions)]
    rows += [(tr("Times"), tr("A time is by the clock of its store."))]
    made = tr("{moment} by {tool}", moment=name(report.generated_at), tool=name(report.tool))
    rows += [(tr("Judged as of"), words.looked_from(report.as_of)), (tr("Made"), made)]
    rows += [(tr("Held against"), f"{sentence(p.title)} ({name(p.id)} {name(p.version)})") for p in report.packs]
    return Sheet(tr("Read first"), (Column("about", 20), Column("says", 110)), rows)


def times(actions: Iterable[Action]) -> list[str]:
    """Where the times for correction come from, each source once."""
    cited = dict.fromkeys(action.due_citation for action in actions if action.due_citation)
    return [f"{words.citation(c)}: {words.stopped(c.says)}" for c in cited]


def as_csv(columns: Sequence[Column], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A CSV file (RFC 4180, UTF-8): numbers as such, and before text that a spreadsheet would run a single quote."""
    written = io.StringIO()
    table = csv.writer(written, lineterminator="\r\n")
    table.writerow([said(column.heading) for column in columns])
    for row in rows:
        table.writerow([in_csv(value) for value in row])
    return written.getvalue().encode()


def in_csv(value: Cell) -> Cell:
    """A value as a cell of a CSV file: before text that a spreadsheet would run stands a single quote."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_MARKUP) else value
    return value.isoformat() if isinstance(value, datetime) else value


def _quantity(quantity: Quantity | None) -> tuple[Cell, Cell]:
    if quantity is None:
        return "", ""
    value = quantity.value
    return (sentence(value) if isinstance(value, str) else value), whole(quantity.unit)


def _moment(stamp: str) -> Cell:
    """A time; text that is none, or that no workbook can hold, stays as it is."""
    try:
        at = datetime.fromisoformat(stamp)
    except ValueError:
        return whole(stamp)
    return at if at.year > _FIRST_YEAR else whole(stamp)


def _due(action: Action) -> tuple[Cell, ...]:
    source = f", {words.cited(action.due_citation)}" if action.due_citation else ""
    return (_moment(action.due), f"{sentence(action.due_reason)}{source}")


def _sources(finding: Finding) -> str:
    return "; ".join(f"{words.citation(c)}: {words.stopped(c.says)}" for c in finding.citations)
