"""What is the HACCP plan that a pack amounts to: every control with its hazard, limit, watch, correction, proof, record?

The parts are those of Codex CXC 1: hazard, critical limit, monitoring, corrective action, verification, record.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from validator.catalogue import plan_parts
from validator.handbook import markdown
from validator.packs.model import Pack
from validator.reports.html import page
from validator.reports.layout import CONTROLS
from validator.reports.visible import heading, name, sentence

WIDTH = 80
PARTS = ("hazard", "limit", "monitoring", "correction", "verification", "record")
HEADINGS = ("Hazard", "Critical limit", "Monitoring", "Corrective action", "Verification", "Record")
NOTE = ("This plan is what the rules say of themselves. It is a start for the plan of your own site, which a person in charge "
        "completes and signs; local code and licensed practice govern.")  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One rule in the plan; `parts` has a text for each of `PARTS`, blank where the rule leaves it out."""

    rule: str
    title: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanGroup:
    """The rules that share a place in the plan, under its name."""

    control: str
    lines: tuple[PlanLine, ...]


def plan(pack: Pack) -> tuple[PlanGroup, ...]:
    """The plan of a pack and the packs beneath it: critical control points, prerequisites, and rules without a place."""
    groups = []
    for control, title in CONTROLS.items():
        rules = [b.rule for b in pack.rules if (b.rule.plan.control if b.rule.plan else "") == control]
        lines = []
        for rule in rules:
            said = dict(plan_parts(rule))
            lines.append(PlanLine(name(rule.id), heading(rule.title), tuple(sentence(said.get(p, "")) for p in PARTS)))
        if lines:
            groups.append(PlanGroup(title, tuple(lines)))
    return tuple(groups)


def title(pack: Pack) -> str:
    """What the document is called."""
    return f"HACCP plan: {heading(pack.title)}"


def as_text(pack: Pack) -> str:
    """The plan as cards of at most 80 columns."""
    lines = [
        *textwrap.wrap(title(pack), WIDTH),
        f"{name(pack.id)} {name(pack.version)}",
        "",
        *textwrap.wrap(NOTE, WIDTH),
    ]
    for group in plan(pack):
        lines += ["", "", group.control.upper()]
        for line in group.lines:
            lines += ["", *textwrap.wrap(f"{line.rule}  {line.title}", WIDTH, subsequent_indent="  ")]
            for label, said in zip(HEADINGS, line.parts, strict=True):
                if said:
                    lines += textwrap.wrap(f"  {label:<18} {said}", WIDTH, subsequent_indent=" " * 21,
                                           break_on_hyphens=False)  # fmt: skip
    return "\n".join(lines) + "\n"


def as_markdown(pack: Pack) -> str:
    """The plan as a table a control."""
    lines = [
        f"# {markdown.plain(title(pack))}",
        "",
        f"{markdown.plain(pack.id)} {markdown.plain(pack.version)}",
        "",
        NOTE,
    ]
    for group in plan(pack):
        lines += ["", f"## {group.control}", ""]
        rows = [(f"{line.rule}: {line.title}", *line.parts) for line in group.lines]
        lines += markdown.table(("Rule", *HEADINGS), rows)
    return "\n".join(lines) + "\n"


def as_html(pack: Pack) -> str:
    """The plan as one page that loads nothing."""
    return page(
        "plan.html.j2", more_style="handbook.css", title=title(pack), about=f"{name(pack.id)} {name(pack.version)}",
        groups=plan(pack), headings=HEADINGS, note=NOTE, cautions=_cautions(pack),
    ).decode()  # fmt: skip


def _cautions(pack: Pack) -> Sequence[str]:
    return [sentence(caution) for caution in pack.cautions]
