"""How is a report written as Markdown (CommonMark with the tables of GFM), for the summary of a job or a page of notes?

Data is escaped, so that none of it becomes a heading, a link, an image or HTML, wherever it stands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from validator.findings import Report
from validator.language import said, tr
from validator.reports import Grouping
from validator.reports.layout import (
    GOVERNS,
    NO_FILES,
    NO_FINDINGS,
    NO_RULES,
    NOTHING_FIRST,
    SAFETY,
    SHARES,
    WAS,
    lay_out,
)
from validator.reports.view import FindingShown, GradeShown, View

LIMIT = 1_000_000
"""Bytes; the summary of a job may hold 1 MiB."""

FINDINGS_SHOWN = 500
LINES_SHOWN = 100
"""Where any other list stops; what follows is counted."""

_TALLY = ("IN", "OUT", "N/O", "N/A")
_MARKUP = re.compile(r"[\\`*_{}\[\]<>#|~&$^]")
_BULLET = re.compile(r"^[-+=]")
_NUMBER = re.compile(r"^(\d+)([.)])(?=\s|$)")
_ADDRESS = re.compile(r"(?i)(www|https?|ftp|mailto|xmpp)([.:])")


def render(report: Report, *, group: Grouping = "grade") -> bytes:
    """The report as UTF-8 Markdown below `LIMIT` bytes; findings are left out, counted, until it fits."""
    shown = min(FINDINGS_SHOWN, len(report.findings))
    while True:
        lines = list(_lines(lay_out(report, shown, group)))
        written = ("\n".join(lines) + "\n").encode()
        if len(written) <= LIMIT:
            return written
        if not shown:
            return _cut(lines)
        shown //= 2


def _cut(lines: Sequence[str]) -> bytes:
    """As many whole lines as fit, and how many do not."""
    kept, size = 0, 200
    while kept < len(lines) and size + len(lines[kept].encode()) + 1 <= LIMIT:
        size += len(lines[kept].encode()) + 1
        kept += 1
    return "\n".join([*lines[:kept], "", _more(len(lines) - kept), ""]).encode()


def _lines(view: View) -> Iterator[str]:
    yield f"# {escaped(view.title)}"
    yield ""
    yield f"**{escaped(view.headline)}**"
    yield from _list(view.standing)
    yield from _section("Do first", _first(view))
    cautions = (*view.cautions, said(GOVERNS))
    yield from _section("Cautions", _list(cautions))
    yield from _table((tr("About"), tr("This report")), view.facts)
    yield from _section("Since the earlier report", _change(view))
    yield from _section("Findings", _findings(view))
    yield from _section("What to do, by rule", _actions(view))
    yield from _section("Stores and machines", _stores(view))
    yield from _section("What was checked", _checked(view))
    defects = [
        f"{d.message} {d.code}{tr(', column {column}', column=d.column) if d.column else ''}, {d.count}: {d.where}"
        for d in view.defects
    ]
    yield from _section("Record defects", _list(defects))
    notices = [f"{notice} ({about})" if about else notice for notice, about in view.notices]
    yield from _section("Notices", _list(notices))
    yield from _section("Next due", _due(view))
    yield from _section("How the files were read", _files(view))


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """A heading with its lines; nothing where there is none."""
    lines = list(lines)
    if lines:
        yield ""
        yield f"## {said(title)}"
        yield from lines


def _list(texts: Sequence[str], mark: str = "-") -> Iterator[str]:
    if texts:
        yield ""
    yield from (f"{mark} {escaped(text)}" for text in texts[:LINES_SHOWN])
    if len(texts) > LINES_SHOWN:
        yield f"{mark} {_more(len(texts) - LINES_SHOWN)}"


def _more(number: int, more: str = "... and {n} more lines") -> str:
    """What was left out, `... and 12 more rules`, and where it can be seen."""
    return tr("{more}; the JSON report has all", more=tr(more, n=f"{number:,}"))


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]], right: Iterable[str] = ()) -> Iterator[str]:
    if not rows:
        return
    yield ""
    yield f"| {' | '.join(headings)} |"
    yield f"| {' | '.join('--:' if heading in right else '---' for heading in headings)} |"
    yield from (f"| {' | '.join(map(escaped, row))} |" for row in rows[:LINES_SHOWN])
    if len(rows) > LINES_SHOWN:
        yield ""
        yield _more(len(rows) - LINES_SHOWN)


def _first(view: View) -> Iterator[str]:
    yield ""
    if not view.first:
        yield said(NOTHING_FIRST)
    for number, todo in enumerate(view.first, 1):
        why = " ".join(escaped(part) for part in (todo.why, todo.due) if part)
        yield f"{number}. **{escaped(todo.action)}** {why}"
    if view.first and view.cautions:
        yield ""
        yield said(SAFETY)


def _change(view: View) -> Iterator[str]:
    if view.change is not None:
        yield ""
        yield escaped(view.change.said)
        yield from _list([
            f"{gone.now} {gone.title}; "
            + tr(WAS, status=gone.status, grade=gone.grade, place=gone.place, rule=gone.rule, id=gone.id)
            for gone in view.change.gone
        ])  # fmt: skip


def _findings(view: View) -> Iterator[str]:
    if not view.grades:
        yield ""
        yield said(NO_FINDINGS)
    for grade in view.grades:
        yield from _grade(grade)
    if view.left_out:
        yield ""
        yield _more(view.left_out, "... and {n} more findings, none graver")


def _grade(grade: GradeShown) -> Iterator[str]:
    heading = f"{grade.control}, {grade.grade}" if grade.control else grade.grade.capitalize()
    yield ""
    yield f"### {escaped(heading)}: {grade.count}"
    for machine in grade.machines:
        place = ", ".join(part for part in (machine.store, machine.equipment) if part)
        for cycle in machine.cycles:
            yield ""
            yield f"{escaped(place or tr('No store named'))}: {escaped(cycle.heading)}"
            yield ""
            for finding in cycle.findings:
                yield from _finding(finding)


def _finding(finding: FindingShown) -> Iterator[str]:
    about = "; ".join((finding.title, *(part for part in (finding.target, finding.reason, *finding.marks) if part)))
    yield f"- **{finding.status}** {escaped(about)}"
    measures = "; ".join(amount if label == tr("margin") else f"{label} {amount}" for label, amount in finding.measures)
    yield from (f"  - {escaped(line)}" for line in (finding.message, measures, *finding.rows, *finding.remarks) if line)
    place = f", {finding.control}" if finding.control else ""
    sources = "; ".join(finding.cited)
    yield f"  - {escaped(f'{finding.rule}, {finding.id}{place}' + (f': {sources}' if sources else ''))}"


def _actions(view: View) -> Iterator[str]:
    if view.actions:
        yield ""
    for action in view.actions[:LINES_SHOWN]:
        yield f"- {escaped(f'{action.rule}: {action.title} ({action.count})')}"
        yield f"  - **{escaped(action.action)}**"
        beside = [action.due, tr("Hazard: {hazard}.", hazard=action.hazard) if action.hazard else ""]
        beside += [f"{short}: {says}" if says else short for short, says in action.sources]
        yield from (f"  - {escaped(line)}" for line in beside if line)
    if len(view.actions) > LINES_SHOWN:
        yield f"- {_more(len(view.actions) - LINES_SHOWN, '... and {n} more rules')}"
    if view.times:
        yield ""
        yield tr("The times for correction are those of:")
    yield from _list([f"{short}: {says}" if says else short for short, says in view.times])


def _stores(view: View) -> Iterator[str]:
    lines = [line for store in view.stores for line in (store.whole, *store.machines)]
    rows = [(line.subject, line.result, line.score, *line.tally, line.due) for line in lines]
    yield from _table((tr("Store, machine"), tr("Result"), tr("Score"), *_TALLY, tr("Next due")), rows, _TALLY)


def _checked(view: View) -> Iterator[str]:
    rows = [(f"{rule.rule}: {rule.title}", rule.grade, *rule.tally, rule.outcome) for rule in view.checked]
    yield from _table((tr("Rule"), tr("Grade"), *_TALLY, tr("Share of OUT")), rows, _TALLY)
    yield ""
    yield said(SHARES if rows else NO_RULES)
    if rows and view.by_hand:
        yield escaped(view.by_hand)


def _due(view: View) -> Iterator[str]:
    rows = [(due.when, due.day, f"{due.store}, {due.equipment}", due.rule, due.last) for due in view.due]
    yield from _table((tr("When"), tr("Day"), tr("Machine"), tr("Rule"), tr("Last cleaned")), rows)


def _files(view: View) -> Iterator[str]:
    told = [
        " ".join((f"{f.file}: {f.read}.", f"{f.rows}; sha256 {f.sha256}.", f.reason, *f.assumptions))
        for f in view.files
    ]
    if told:
        yield from _list(told)
    else:
        yield ""
        yield said(NO_FILES)


def escaped(text: str) -> str:
    """Text of data as Markdown that shows it: no sign in it acts, and no address or name becomes a link.

    Readers look for addresses and for @names once more after the escapes are gone, so these are parted by a comment.
    """
    text = _MARKUP.sub(r"\\\g<0>", text)
    text = _NUMBER.sub(r"\1\\\2", _BULLET.sub(r"\\\g<0>", text))
    text = text.replace("@", "@<!-- -->").replace("://", ":<!-- -->//")
    return _ADDRESS.sub(r"\1<!-- -->\2", text)
