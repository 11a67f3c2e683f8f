"""How is a report written as one page that opens anywhere, prints well and loads nothing?"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from validator.findings import Grade, Report
from validator.language import counted, said, spoken, tr
from validator.reports import Grouping, by_place, layout, narrow, words
from validator.reports.standing import in_a_line
from validator.reports.view import Placed

FINDINGS_SHOWN = 500
"""A page with more is slow to open; the rest is counted on it, and the JSON report has them all."""

FOLDED_ABOVE = 6
"""Findings of one cycle that are shown unfolded."""

CYCLES_OPEN = 3
"""Cycles with findings of one machine that are shown unfolded, the latest."""

COMPACT_ABOVE = 50
"""Stores above which the table has one line a store and none a machine."""

_LIMITS = {"stores": 2_000, "months": 200, "lines": 200, "dues": 20, "gone": 200}
_TEMPLATES = Path(__file__).resolve().parent / "templates"
LEGEND = (
    ("asked good", "a flush or contact, long enough"),
    ("asked out", "too short"),
    ("least good", "the least time, from where it began"),
    ("other", "another step"),
    ("bounded", "a time is missing: the longest it can have been"),
    ("absent", "asked for and not recorded"),
    ("mark-good", "nothing OUT"),
    ("mark-out", "something OUT"),
    ("mark-unsure", "something N/O"),
    ("mark-due", "due"),
    ("late", "past the due date"),
    ("closed", "out of service"),
    ("band", "inside the limits"),
    ("cell", "what a strip's colour can stand for"),
)
"""The looks of the pictures with what they mean."""
IN_A_FOLDER = "Write --output html=FOLDER/ for a page a store, or --output json=report.json for all there is."
IN_JSON = "Write --output json=report.json for all there is."


def render(report: Report, *, group: Grouping = "grade") -> bytes:
    """The report as one UTF-8 HTML file: no script, no address to load from, its style held by a hash."""
    return _render(report, by_place.place(report, FINDINGS_SHOWN, group), group)


def render_folder(report: Report, *, group: Grouping = "grade") -> Iterator[tuple[str, bytes]]:
    """The report as a page of all stores, `index.html`, and a page a store: pairs of a relative path and its bytes."""
    links = {store.store_id: f"stores/{_file_name(store.store_id)}" for store in report.stores}
    placed = by_place.place(report, FINDINGS_SHOWN, group)
    lost = {finding.store_id for finding in report.findings} - links.keys()
    at_home = replace(placed, stores=tuple(s for s in placed.stores if s.id in lost), left_out=())
    yield "index.html", _render(report, at_home, group, links=links)
    for narrowed in narrow.by_store(report):
        of_store = by_place.place(narrowed, FINDINGS_SHOWN, group)
        store = narrowed.stores[0].store_id
        yield links[store], _render(narrowed, of_store, group, home="../index.html", run=report)


def _render(
    report: Report, placed: Placed, group: Grouping, *, links: Mapping[str, str] | None = None, home: str = "",
    run: Report | None = None,
) -> bytes:  # fmt: skip
    view = layout.lay_out(report, 0, group, run)
    on_page = {store.id for store in placed.stores}
    here = {part: bool(getattr(view, part)) for part in ("due", "change", "stores", "defects", "notices", "cautions")}
    here |= dict.fromkeys(("first", "audit", "findings", "files"), True)
    here |= {"months": bool(placed.overview), "places": bool(placed.stores or placed.left_out), "checked": not home}
    return page(
        "report.html.j2",
        view=view,
        placed=placed,
        contents=[(part, said(title)) for part, title in layout.SECTIONS.items() if here[part]],
        sections=here,
        shown=_ids(placed),
        on_page=on_page,
        store_of={finding.id: finding.store_id for finding in report.findings} if links else {},
        links=links or {},
        home=home,
        of_store=view.stores[0].whole.subject if run else "",
        whole_files=said(layout.WHOLE_FILES) if run else "",
        legend=LEGEND,
        pictured=report.pictures is not None,
        elsewhere=said(IN_JSON if home else IN_A_FOLDER),
        compact=len(view.stores) > COMPACT_ABOVE,
        governs=said(layout.GOVERNS),
        safety=said(layout.SAFETY),
        no_findings=said(layout.NO_FINDINGS),
        nothing_first=said(layout.NOTHING_FIRST),
        no_rules=said(layout.NO_RULES),
        no_files=said(layout.NO_FILES),
        shares=said(layout.SHARES),
        was=layout.WAS,
    )


def page(template: str, *, more_style: str = "", **values: object) -> bytes:
    """A template of the folder filled in: one UTF-8 page in the report's style, with what `more_style` adds to it."""
    weights = {words.grade(grade): len(Grade) - grade.rank for grade in Grade}
    return _template(template, more_style).render(language=spoken(), weights=weights, **values).encode()


def anchor(name: str, of: str = "finding") -> str:
    """A name as a fragment of an address: anything but letters, digits, `-` and `_` is spelled in hex."""
    return f"{of}-" + re.sub(r"[^A-Za-z0-9_-]", lambda found: f".{ord(found[0]):x}.", name)


def _file_name(store: str) -> str:
    """A file's name for a store that is the same every night and differs where only the case of letters does."""
    readable = re.sub(r"[^A-Za-z0-9]+", "-", store)[:40].strip("-") or "store"
    return f"{readable}-{hashlib.sha256(store.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}.html"


def _ids(placed: Placed) -> frozenset[str]:
    """The findings that the page shows in full."""
    machines = [machine for store in placed.stores for machine in store.machines]
    cycles = [cycle for machine in machines for cycle in machine.cycles]
    groups = [*(machine.between for machine in machines), *(cycle.findings for cycle in cycles)]
    return frozenset(finding.id for group in groups for finding in group)


@cache
def environment() -> Environment:
    """The templates of the folder, with what all of them may name."""
    made = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        anchor=anchor,
        _=tr,
        counted=counted,
        between=layout.BETWEEN,
        in_a_line=in_a_line,
        fold=FOLDED_ABOVE,
        cycles_open=CYCLES_OPEN,
        limits=_LIMITS,
    )
    return made


@cache
def _template(name: str, more_style: str) -> Template:
    sheets = ["report.css", "drawing.css", *([more_style] if more_style else [])]
    style = "".join((_TEMPLATES / sheet).read_text(encoding="utf-8") for sheet in sheets)
    told = {
        "style": Markup(style),  # noqa: S704 - ours, and not from data
        "style_hash": base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
    }
    return environment().get_template(name, globals=told)
