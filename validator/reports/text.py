"""How is a report written for a person at a terminal, top down and without a colour to rely on?"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator

from rich.box import SIMPLE_HEAD
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

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
from validator.reports.view import CheckedShown, FindingShown, GradeShown, MachineShown, View

FINDINGS_SHOWN = 40
STORES_SHOWN = 40
DUE_SHOWN = 20
DEFECTS_SHOWN = 20
NOTICES_SHOWN = 20
FILES_SHOWN = 20
GONE_SHOWN = 20
"""Where a list in a terminal stops; what follows is counted, and the other formats have it."""

WIDEST = 120
"""Columns; a longer line is hard to follow back to its start."""

_TALLY = ("IN", "OUT", "N/O", "N/A")
_STYLES = {"OUT": "bold red", "N/O": "bold yellow"}


def render(report: Report, *, width: int = 100, color: bool = False, group: Grouping = "grade") -> bytes:
    """The report as UTF-8 text of at most `width` columns (40 to 120); `color` adds to the words and replaces none."""
    return write(_parts(lay_out(report, FINDINGS_SHOWN, group)), width=width, color=color)


def write(parts: Iterable[RenderableType], *, width: int, color: bool) -> bytes:
    """Parts one below the other as UTF-8 text of at most `width` columns (40 to 120)."""
    written = io.StringIO()
    console = Console(
        file=written, width=max(40, min(width, WIDEST)), height=25, force_terminal=color, no_color=not color,
        color_system="standard" if color else None, markup=False, highlight=False, emoji=False,
        force_jupyter=False, legacy_windows=False, _environ={},
    )  # fmt: skip
    for part in parts:
        console.print(part)
    lines = (line.rstrip(" ") for line in written.getvalue().split("\n"))
    return "\n".join(lines).encode()


def _parts(view: View) -> Iterator[RenderableType]:
    yield Text(view.title, style="bold")
    yield Text("")
    yield Text(view.headline, style="bold")
    yield from (Text(line) for line in view.standing)
    yield Text("")
    yield _pairs(view.facts)
    yield from _section("Do first", _first(view))
    yield from _section("Findings", _findings(view))
    yield from _section("Since the earlier report", _change(view))
    yield from _section("What to do, by rule", _actions(view))
    yield from _section("Stores and machines", _stores(view))
    yield from _section("What was checked", _checked(view.checked, view.by_hand))
    yield from _section("Record defects", _defects(view))
    yield from _section(
        "Notices", _capped([_notice(*notice) for notice in view.notices], NOTICES_SHOWN, "... and {n} more notices")
    )
    yield from _section("Next due", _due(view))
    yield from _section("Cautions", (_hang("-", Text(caution)) for caution in view.cautions))
    yield from _section("How the files were read", _files(view))
    yield Text("")
    yield Text(said(GOVERNS))


def _section(title: str, parts: Iterable[RenderableType]) -> Iterator[RenderableType]:
    """A heading with its parts; nothing at all where there is no part."""
    parts = list(parts)
    if parts:
        yield Text("")
        yield Text(said(title).upper(), style="bold")
        yield from parts


def _pairs(pairs: Iterable[tuple[str, str]]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, style="dim")
    grid.add_column(overflow="fold")
    for label, fact in pairs:
        grid.add_row(Text(label), Text(fact))
    return grid


def _hang(label: str, *body: RenderableType, wide: int = 2, style: str = "") -> Table:
    """A label in the margin with a body that keeps clear of it on every line."""
    grid = Table.grid(padding=(0, 1, 0, 0), expand=True)
    grid.add_column(width=wide, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    grid.add_row(Text(label, style=style), Group(*body))
    return grid


def _table(*headings: str, right: Iterable[str] = (), keep: Iterable[str] = ()) -> Table:
    """A table without frames; columns in `keep` are never wrapped."""
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(
            Text(heading),
            justify="right" if heading in right else "left",
            no_wrap=heading in keep or heading in right,
            overflow="fold",
        )
    return table


def _capped(parts: list[RenderableType], most: int, more: str) -> Iterator[RenderableType]:
    yield from parts[:most]
    if len(parts) > most:
        yield _more(len(parts) - most, more)


def _more(number: int, more: str) -> Text:
    """What was left out, `... and 12 more dates`, and where it can be seen."""
    return Text(tr("{more}; see --output html=PATH or json=PATH", more=tr(more, n=f"{number:,}")))


def _first(view: View) -> Iterator[RenderableType]:
    if not view.first:
        yield Text(said(NOTHING_FIRST))
    for number, todo in enumerate(view.first, 1):
        due = (Text(todo.due),) if todo.due else ()
        yield _hang(f"{number}.", Text(todo.action, style="bold"), Text(todo.why), *due)
    if view.first and view.cautions:
        yield Text(said(SAFETY))


def _findings(view: View) -> Iterator[RenderableType]:
    if not view.grades:
        yield Text(said(NO_FINDINGS))
    for grade in view.grades:
        yield from _grade(grade)
    if view.left_out:
        yield Text("")
        yield _more(view.left_out, "... and {n} more findings, none graver")


def _grade(grade: GradeShown) -> Iterator[RenderableType]:
    yield Text("")
    heading = f"{grade.control}, {grade.grade}" if grade.control else grade.grade.capitalize()
    yield Text(f"{heading}: {grade.count}", style="bold")
    for machine in grade.machines:
        yield from _machine(machine)


def _machine(machine: MachineShown) -> Iterator[RenderableType]:
    yield Text("")
    yield Text(" > ".join(part for part in (machine.store, machine.equipment) if part) or tr("No store named"))
    for number, cycle in enumerate(machine.cycles):
        if number:
            yield Text("")
        yield Padding(Text(cycle.heading, style="dim"), (0, 0, 0, 2))
        for finding in cycle.findings:
            yield Padding(_finding(finding), (0, 0, 0, 2))


def _finding(finding: FindingShown) -> RenderableType:
    about = (finding.target, finding.reason, *finding.marks)
    head = Text(finding.title, style="bold") + Text("".join(f"; {part}" for part in about if part))
    amounts = [amount if label == tr("margin") else f"{label} {amount}" for label, amount in finding.measures]
    measures = "; ".join(amounts)
    sources = "; ".join(finding.cited)
    lines = (finding.message, measures, *finding.rows, *finding.remarks)
    place = f", {finding.control}" if finding.control else ""
    rule = Text(f"{finding.rule}, {finding.id}{place}" + (f": {sources}" if sources else ""), style="dim")
    return _hang(
        finding.status,
        head,
        *(Text(line) for line in lines if line),
        rule,
        wide=4,
        style=_STYLES.get(finding.status, ""),
    )


def _change(view: View) -> Iterator[RenderableType]:
    if view.change is None:
        return
    yield Text(view.change.said)
    lines: list[RenderableType] = [
        _hang("-", Text(gone.now) + Text(f" {gone.title}", style="bold"),
              Text(tr(WAS, status=gone.status, grade=gone.grade, place=gone.place, rule=gone.rule, id=gone.id), style="dim"))
        for gone in view.change.gone
    ]  # fmt: skip
    yield from _capped(lines, GONE_SHOWN, "... and {n} more earlier findings")


def _actions(view: View) -> Iterator[RenderableType]:
    for number, action in enumerate(view.actions):
        if number:
            yield Text("")
        yield Text(f"{action.rule}: {action.title} ({action.count})")
        lines = [action.due] if action.due else []
        lines += [tr("Hazard: {hazard}.", hazard=action.hazard)] if action.hazard else []
        lines += [f"{short}: {says}" if says else short for short, says in action.sources]
        for line in (Text(action.action, style="bold"), *(Text(line) for line in lines)):
            yield Padding(line, (0, 0, 0, 2))
    if view.times:
        yield Text("")
        yield Text(tr("The times for correction are those of:"), style="dim")
        yield from (_hang("-", Text(f"{short}: {says}" if says else short, style="dim")) for short, says in view.times)


def _stores(view: View) -> Iterator[RenderableType]:
    table = _table(tr("Store, machine"), tr("Result"), tr("Score"), *_TALLY, right=_TALLY, keep=(tr("Score"),))
    lines = [line for store in view.stores for line in (("", store.whole), *(("  ", one) for one in store.machines))]
    for indent, line in lines[:STORES_SHOWN]:
        cells = (f"{indent}{line.subject}", line.result, line.score, *line.tally)
        table.add_row(*(Text(cell, style="" if indent else "bold") for cell in cells))
    if lines:
        yield table
    if len(lines) > STORES_SHOWN:
        yield _more(len(lines) - STORES_SHOWN, "... and {n} more lines of stores and machines")


def _checked(rules: Iterable[CheckedShown], by_hand: str) -> Iterator[RenderableType]:
    table = _table(tr("Rule"), tr("Grade"), *_TALLY, tr("Share of OUT"), right=_TALLY, keep=(tr("Share of OUT"),))
    for rule in rules:
        subject = Text(rule.rule) + Text(f"\n{rule.title}", style="dim")
        table.add_row(subject, *(Text(cell) for cell in (rule.grade, *rule.tally, rule.outcome)))
    if table.row_count:
        yield table
        yield Text(said(SHARES), style="dim")
        if by_hand:
            yield Text(by_hand, style="dim")
    else:
        yield Text(said(NO_RULES))


def _defects(view: View) -> Iterator[RenderableType]:
    parts: list[RenderableType] = []
    for defect in view.defects:
        column = tr(", column {column}", column=defect.column) if defect.column else ""
        parts.append(
            _hang(
                "-", Text(defect.message), Text(f"{defect.code}{column}, {defect.count}: {defect.where}", style="dim")
            )
        )
    yield from _capped(parts, DEFECTS_SHOWN, "... and {n} more kinds of defect")


def _notice(message: str, about: str) -> RenderableType:
    return _hang("-", Text(message) + Text(f" ({about})" if about else "", style="dim"))


def _due(view: View) -> Iterator[RenderableType]:
    table = _table(tr("When"), tr("Day"), tr("Machine"), keep=(tr("When"), tr("Day")))
    for due in view.due[:DUE_SHOWN]:
        last = tr("{rule}; last cleaned {last}", rule=due.rule, last=due.last)
        machine = Text(f"{due.store} > {due.equipment}") + Text(f"\n{last}", style="dim")
        table.add_row(Text(due.when), Text(due.day), machine)
    if view.due:
        yield table
    if len(view.due) > DUE_SHOWN:
        yield _more(len(view.due) - DUE_SHOWN, "... and {n} more dates")


def _files(view: View) -> Iterator[RenderableType]:
    parts: list[RenderableType] = []
    for file in view.files:
        told = [f"{file.rows}; sha256 {file.sha256}" if file.sha256 else file.rows, file.reason, *file.assumptions]
        parts.append(_hang("-", Text(f"{file.file}: {file.read}"), *(Text(line) for line in told if line)))
    yield from _capped(parts, FILES_SHOWN, "... and {n} more files") if parts else (Text(said(NO_FILES)),)
