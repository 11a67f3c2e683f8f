"""What a rule is, in words for a reader: the same text for the command line and for every page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping

from validator.packs.model import BoundRule, Pack, Rule
from validator.quantities import Duration, say

CONFIDENCE = {
    "A": "seen in the official text",
    "B": "seen in an adoption, an abstract or a mirror of the text",
    "C": "seen in a secondary summary only",
    "M": "from memory, not verified",
}


CONTROLS = {"critical_control_point": "critical control point", "prerequisite": "prerequisite"}
"""The places that a rule can have in a HACCP plan, in words."""

WIDTH = 80


def explain(bound: BoundRule, pack: Pack) -> str:
    """Everything a rule says: what it finds, its limits, why, what to do, where it comes from and how sure that is.

    Its lines are at most `WIDTH` columns long, but for a word that is longer.
    """
    rule = bound.rule
    lines = [f"{rule.id}  {rule.title}", ""]
    lines += [f"  kind       {rule.kind}", f"  grade      {rule.grade.value}", f"  authority  {rule.authority}"]
    lines += [f"  pack       {pack.id} {pack.version}"]
    lines += [f"  hazard     {rule.hazard}"] if rule.hazard else []
    lines += [f"  profiles   {', '.join(rule.profiles)} only"] if rule.profiles else []
    lines += ["", "Limits", *(f"  {text}" for text in limits(rule) or ["none of its own"])]
    if rule.why:
        lines += ["", "Why", f"  {rule.why}"]
    if rule.corrective_action:
        lines += ["", "What to do", f"  {rule.corrective_action}"]
    lines += ["", "Sources", *(f"  {text}" for text in _sources(bound, pack))]
    if rule.plan is not None:
        lines += ["", "Place in the HACCP plan", *(f"  {name:<16} {said}" for name, said in plan_parts(rule))]
    if rule.justification:
        lines += ["", "Why it differs from the layer beneath", f"  {rule.justification}"]
    return "\n".join(_wrapped(line) for line in lines) + "\n"


def plan_parts(rule: Rule) -> list[tuple[str, str]]:
    """What a rule says of its place in the HACCP plan, name and text, in the order of a plan; what it leaves out is missing."""
    if rule.plan is None:
        return []
    kind = f" ({rule.hazard})" if rule.hazard else ""
    hazard = f"{rule.plan.hazard.rstrip('.')}{kind}" if rule.plan.hazard else ""
    parts = (
        ("control", CONTROLS[rule.plan.control]), ("hazard", hazard),
        ("limit", rule.plan.critical_limit), ("monitoring", rule.plan.monitoring),
        ("correction", rule.corrective_action), ("verification", rule.plan.verification), ("record", rule.plan.record),
    )  # fmt: skip
    return [(name, said) for name, said in parts if said]


def _wrapped(line: str) -> str:
    """A line broken at blanks; what follows stands under the first word, or under the value of a named one."""
    if len(line) <= WIDTH:
        return line
    indent = len(line) - len(line.lstrip())
    named = line[indent + 16 : indent + 17] == " " and line[indent : indent + 17].endswith("  ")
    hang = " " * (indent + 17 if named else indent)
    return textwrap.fill(line, WIDTH, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False,
                         replace_whitespace=False, drop_whitespace=True)  # fmt: skip


def limits(rule: Rule) -> list[str]:
    """The parameters of a rule, one line each, durations said in words."""
    return [f"{name:<16} {_value(value)}" for name, value in rule.params.items()]


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_value(v)}" for name, v in value.items())
    if isinstance(value, (list, tuple)):
        between = "; " if any(isinstance(v, Mapping) for v in value) else ", "
        return between.join(_value(v) for v in value)
    text = str(value)
    try:
        length = Duration.parse(text)
    except ValueError:
        return text
    return f"{say(length.amount, length.unit)} ({text})"


def _sources(bound: BoundRule, pack: Pack) -> Iterable[str]:
    for cite in bound.rule.cites:
        source = pack.sources.get(cite.source)
        title = source.title if source else cite.source
        edition = f", {source.edition}" if source and source.edition else ""
        kind = "" if source and source.published else " (common practice, no published source)"
        yield f"{title}{edition}{' ' + cite.section if cite.section else ''}{kind}"
        if cite.says:
            yield f"  {cite.says}"
        for clause in pack.clauses:
            if clause.source == cite.source and clause.section == cite.section:
                yield f"  {CONFIDENCE[clause.confidence]}" + (f": {clause.seen}" if clause.seen else "")
