"""How is a report written as pages to print, sign and file?

The same view as the HTML page, set by typst: tagged PDF, the same bytes for the same report. Data reaches the template as JSON and
is set as strings, so that nothing in it can act.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import orjson

from validator.errors import WrongInput
from validator.findings import Report
from validator.language import said, spoken, tr
from validator.reports import Grouping, by_place, layout, svg, words
from validator.reports.drawing import Picture
from validator.reports.standing import in_a_line
from validator.reports.view import CycleDrawn, FindingShown, MachineDrawn, Overview, Placed, Standing, View
from validator.reports.visible import name, sentence

FINDINGS_SHOWN = 300
"""A finding takes a quarter of a page; the rest is counted, and the JSON report has them all."""
ROWS_SHOWN = 60
"""Lines of one table on paper."""
IN_FOOT = 3
"""Files and packs named in the foot of every page; the list at the end has them all."""
SIGN = "I have looked at this report and at the places it names."
_TEMPLATE = Path(__file__).resolve().parent / "templates" / "report.typ"
_HEADS = {
    "due": ("Machine", "Store", "When", "Day", "Rule"),
    "checked": ("Rule", "Grade", "IN", "OUT", "N/O", "N/A", "Share of OUT"),
}


def render(report: Report, *, group: Grouping = "grade") -> bytes:
    """The report as one PDF on A4; raises `WrongInput` where typst is not installed."""
    return _set(data_of(report, group).decode(), report.generated_at)


def data_of(report: Report, group: Grouping = "grade") -> bytes:
    """What the pages are set from, as JSON."""
    view = layout.lay_out(report, 0, group)
    placed = by_place.place(report, FINDINGS_SHOWN, group)
    return orjson.dumps(_data(report, view, placed), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def _set(data: str, made: str) -> bytes:
    """The pages, tagged for readers who listen (PDF/UA-1); a letter that no font here has must not stop them."""
    try:
        import typst
    except ImportError:
        raise WrongInput(
            "the format pdf needs the package typst; install it with: pip install cip-audit[pdf]"
        ) from None
    asked: dict[str, Any] = {"format": "pdf", "sys_inputs": {"data": data}, "timestamp": _seconds(made)}
    try:
        written = typst.compile(_source(), pdf_standards=["ua-1"], **asked)
    except typst.TypstError:
        written = typst.compile(_source(), **asked)
    assert isinstance(written, bytes)
    return written


@cache
def _source() -> bytes:
    return _TEMPLATE.read_bytes()


def _seconds(made: str) -> int:
    """The report's own time in seconds since 1970, so that the file bears no other."""
    try:
        at = datetime.fromisoformat(made)
    except ValueError:
        return 0
    return max(0, int(at.replace(tzinfo=at.tzinfo or UTC).timestamp()))


def _data(report: Report, view: View, placed: Placed) -> dict[str, Any]:
    stores = report.stores
    rest = len(view.due) - ROWS_SHOWN
    return {
        "lang": spoken(), "paper": "a4", "page": tr("page {now} of {all}", now="{now}", all="{all}"),
        "words": {part: said(word) for part, word in (*layout.SECTIONS.items(), ("signature", "Signature"))},
        "heads": {part: [said(head) for head in heads] for part, heads in _HEADS.items()},
        "title": view.title, "headline": view.headline, "standing": view.standing,
        "first": [{"action": todo.action, "due": todo.due, "why": todo.why} for todo in view.first],
        "nothing_first": said(layout.NOTHING_FIRST), "safety": said(layout.SAFETY), "cautions": view.cautions,
        "due": [(due.equipment, due.store, due.when, due.day, due.rule) for due in view.due[:ROWS_SHOWN]],
        "due_more": tr("And {more}.", more=words.count(rest, "more date")) if rest > 0 else "",
        "facts": view.facts, "foot": tuple(_foot(report)), "sign": said(SIGN),
        "signature": (
            (tr("Auditor"), ""), (tr("Store"), view.stores[0].whole.subject if len(stores) == 1 else ""), (tr("Date"), ""),
        ),
        "months": _months(placed.overview) if placed.overview else None,
        "no_findings": said(layout.NO_FINDINGS), "index": [
            {"heading": f"{', '.join(p for p in (g.control, words.capital(g.grade)) if p)} ({g.count})", "lines": [
                {"status": line.status, "title": line.title,
                 "about": f"{line.rule}, {words.count(line.count, 'time')}{f': {line.machines}' if line.machines else ''}"}
                for line in g.lines
            ]} for g in placed.index
        ],
        "stores": [
            {"heading": store.whole.subject, "about": _about(store.whole),
             "machines": [_machine(machine, len(store.machines) > 1) for machine in store.machines]}
            for store in placed.stores
        ],
        "left_out": placed.left_out, "shares": said(layout.SHARES),
        "checked": [(f"{c.rule}: {c.title}", c.grade, *c.tally, c.outcome) for c in view.checked],
        "lists": list(_lists(report, view)), "governs": said(layout.GOVERNS),
    }  # fmt: skip


def _foot(report: Report) -> Iterator[str]:
    """What identifies a page that lies alone: packs, files by hash, when it was made."""
    packs = [f"{name(p.id)} {name(p.version)} {name(p.sha256)[:12]}" for p in report.packs]
    files = [f"{name(f.file.rpartition('/')[2])[:40]} {name(f.sha256)[:12]}" for f in report.inputs]
    for label, every in ((tr("Packs"), packs), (tr("Files, SHA-256"), files)):
        if every:
            rest = len(every) - IN_FOOT
            more = tr("; and {n} more, listed at the end", n=f"{rest:,}") if rest > 0 else ""
            yield f"{label}: {'; '.join(every[:IN_FOOT])}{more}"
    yield tr("Judged as of {as_of}; made {moment} by {tool}", as_of=name(report.as_of)[:40],
             moment=name(report.generated_at)[:40], tool=name(report.tool)[:40])  # fmt: skip


def _months(overview: Overview) -> dict[str, Any]:
    lines = overview.lines[:ROWS_SHOWN]
    more = len(overview.lines) - len(lines)
    return {
        "says": tr("Checks that were OUT in the cycles of each month, or N/O where none was OUT."),
        "head": (tr("Store"), *overview.months),
        "rows": [(named, *(cell.said for cell in cells)) for _, named, cells in lines],
        "more": tr("And {more}.", more=words.count(more, "more store")) if more > 0 else "",
    }


def _about(standing: Standing) -> list[str]:
    line = in_a_line(standing)
    return [line] if line else []


def _machine(machine: MachineDrawn, told: bool) -> dict[str, Any]:
    between = [_part(said(layout.BETWEEN), [], machine.between)] if machine.between else []
    return {
        "heading": " ".join(p for p in (machine.whole.subject, f"({machine.whole.about})" if machine.whole.about else "") if p),
        "about": _about(machine.whole) if told else [],
        "parts": [
            *([_part("", [machine.history], ())] if machine.history else []),
            *between,
            *(_part(picture.title, [picture], ()) for picture in machine.readings),
            *(_cycle(cycle) for cycle in machine.cycles),
        ],
    }  # fmt: skip


def _cycle(cycle: CycleDrawn) -> dict[str, Any]:
    return _part(f"{cycle.heading}: {cycle.summary}", [cycle.picture] if cycle.picture else [], cycle.findings)


def _part(heading: str, pictures: Sequence[Picture], findings: Sequence[FindingShown]) -> dict[str, Any]:
    return {
        "heading": heading,
        "pictures": [{"svg": svg.whole(p), "alt": f"{p.title}: {p.says}", "says": p.says} for p in pictures],
        "findings": [_finding(finding) for finding in findings],
    }


def _finding(f: FindingShown) -> dict[str, Any]:
    about = "; ".join(part for part in (f.target, f.reason, *f.marks) if part)
    rule = ", ".join(
        p for p in (f.rule, f.grade, tr("{hazard} hazard", hazard=f.hazard) if f.hazard else "", f.control) if p
    )
    proof = [(tr("Rows"), rows) for rows in f.rows]
    proof.append((tr("Rule"), f"{rule}; {tr('finding {id}', id=f.id)}"))
    proof += [(tr("Source"), cited) for cited in f.cited]
    proof += [(tr("Remark"), remark) for remark in f.remarks]
    return {
        "status": f.status, "title": f.title, "about": [about] if about else [], "message": f.message,
        "measures": "; ".join(f"{label} {value}" for label, value in f.measures), "when": f.action_when,
        "action": f.action, "proof": proof,
    }  # fmt: skip


def _lists(report: Report, view: View) -> Iterator[tuple[str, list[str]]]:
    """The lists at the end, each with what of it has no room."""
    defects = [f"{d.message} {d.code}, {d.count}: {d.where}" for d in view.defects]
    notices = [f"{message} {about}".strip() for message, about in view.notices]
    files = [f"{f.file}: {f.read}; {f.rows}; SHA-256 {f.full_sha256}" for f in view.files]
    packs = [f"{sentence(p.title)}: {name(p.id)} {name(p.version)}, SHA-256 {name(p.sha256)}" for p in report.packs]
    sources = [f"{short}: {says}" if says else short for short, says in _sources(view)]
    changed = [
        f"{gone.now} {gone.title}; "
        + tr(layout.WAS, status=gone.status, grade=gone.grade, place=gone.place, rule=gone.rule, id=gone.id)
        for gone in (view.change.gone if view.change else ())
    ]
    for title, items in (
        (layout.SECTIONS["change"], [view.change.said, *changed] if view.change else []),
        (layout.SECTIONS["defects"], defects), (layout.SECTIONS["notices"], notices),
        (layout.SECTIONS["cautions"], list(view.cautions)), ("Sources", sources), ("Packs", packs),
        (layout.SECTIONS["files"], files),
    ):  # fmt: skip
        if items:
            more = len(items) - ROWS_SHOWN
            yield said(title), [*items[:ROWS_SHOWN], *([tr("and {n} more", n=f"{more:,}")] if more > 0 else [])]


def _sources(view: View) -> Iterator[tuple[str, str]]:
    """What the rules with findings cite, each once, in full: a finding names them in short."""
    yield from dict.fromkeys(source for action in view.actions for source in action.sources)
