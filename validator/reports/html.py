"""How is a report written as one page that opens anywhere, prints well and loads nothing?"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from validator.findings import Grade, Report
from validator.reports import Grouping, layout
from validator.reports.view import View

FINDINGS_SHOWN = 1_000
"""A page with more is slow to open; the rest is counted on it, and the JSON report has them all."""

FOLDED_ABOVE = 6
"""Findings of one grade at one machine that are shown unfolded."""

COMPACT_ABOVE = 50
"""Stores above which the table has one line a store and none a machine."""

_LIMITS = {"stores": 2_000, "lines": 200, "gone": 200}
_TEMPLATES = Path(__file__).resolve().parent / "templates"
_WEIGHTS = {grade.value: len(Grade) - grade.rank for grade in Grade}
_SECTIONS = (
    ("first", "Do first"),
    ("findings", "Findings"),
    ("change", "Since the earlier report"),
    ("stores", "Stores and machines"),
    ("checked", "What was checked"),
    ("defects", "Record defects"),
    ("notices", "Notices"),
    ("due", "Next due"),
    ("cautions", "Cautions"),
    ("files", "How the files were read"),
)
_ALWAYS = {"first", "findings", "checked", "files"}


def render(report: Report, *, group: Grouping = "grade") -> bytes:
    """The report as one UTF-8 HTML file: no script, no address to load from, its style held by a hash."""
    view = layout.lay_out(report, FINDINGS_SHOWN, group)
    return page(
        "report.html.j2",
        view=view,
        contents=[(part, title) for part, title in _SECTIONS if part in _ALWAYS or getattr(view, part)],
        shown=_ids(view),
        compact=len(view.stores) > COMPACT_ABOVE,
        governs=layout.GOVERNS,
        safety=layout.SAFETY,
        no_findings=layout.NO_FINDINGS,
        nothing_first=layout.NOTHING_FIRST,
        no_rules=layout.NO_RULES,
        no_files=layout.NO_FILES,
        shares=layout.SHARES,
    )


def page(template: str, *, more_style: str = "", **values: object) -> bytes:
    """A template of the folder filled in: one UTF-8 page in the report's style, with what `more_style` adds to it."""
    return _template(template, more_style).render(**values).encode()


def anchor(name: str, of: str = "finding") -> str:
    """A name as a fragment of an address: anything but letters, digits, `-` and `_` is spelled in hex."""
    return f"{of}-" + re.sub(r"[^A-Za-z0-9_-]", lambda found: f".{ord(found[0]):x}.", name)


def _ids(view: View) -> frozenset[str]:
    return frozenset(
        finding.id
        for grade in view.grades
        for machine in grade.machines
        for cycle in machine.cycles
        for finding in cycle.findings
    )


@cache
def _template(name: str, more_style: str) -> Template:
    sheets = ["report.css", more_style] if more_style else ["report.css"]
    style = "".join((_TEMPLATES / sheet).read_text(encoding="utf-8") for sheet in sheets)
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        anchor=anchor,
        fold=FOLDED_ABOVE,
        limits=_LIMITS,
        weights=_WEIGHTS,
        style=Markup(style),  # noqa: S704 - ours, and not from data
        style_hash=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
    )
    return environment.get_template(name)
