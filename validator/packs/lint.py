"""Is a pack fit to be trusted: does every rule say its fault, its source, its remedy, and prove itself by cases?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel

from validator.documents import suggest
from validator.packs.consistency import conflicts
from validator.packs.layering import faults as layering_faults
from validator.packs.model import BoundRule, CaseFile, Cite, Pack, Rule
from validator.statuses import Status
from validator.tables import AGENTS, STEPS

TO_WRITE = "to be written"
"""What stands in a draft where a person has still to write something."""

RULE_ID = re.compile(r"[A-Z][A-Z0-9]*(-[A-Z0-9]+)+")
_ADVICE = re.compile(r"(?i)^(avoid|use|prefer|ensure|always|never|do|make|check|clean|keep|wash|please)\b")
HAZARDS = ("biological", "chemical", "physical")
_STEP_KEYS = ("step", "steps", "first", "then", "after", "until")
ANY_PROCEDURE = ("record", "concurrency", "pattern")
"""Kinds whose rules hold for whatever was done, unless they name a step."""
_NEEDED = (*(s.value for s in Status), "boundary")


def lint(pack: Pack) -> list[str]:
    """Every fault of a pack that `load_pack` could read, one sentence each; none for a pack fit to be trusted."""
    faults = [*_pack(pack), *_corrections(pack), *_clauses(pack), *conflicts(pack), *_unwritten_pack(pack)]
    for bound in pack.rules:
        if bound.pack == pack.id:
            faults.extend(f"{bound.place}: rule {bound.rule.id}: {fault}" for fault in _rule(bound, pack))
    return faults


def _unwritten_pack(pack: Pack) -> Iterable[str]:
    """What a draft of a pack has still open, beside its rules."""
    parts: dict[str, Any] = {"title": pack.title, "cautions": pack.cautions, "sources": pack.sources,
                             "profiles": pack.profiles, "clauses": pack.clauses}  # fmt: skip
    for name, value in parts.items():
        yield from (f"pack {pack.id}: {path} is still to be written" for path in _open_places(value, name))


def _open_places(value: Any, path: str) -> Iterable[str]:
    """The paths at which a draft's placeholder stands."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _open_places(getattr(value, name), f"{path}.{name}" if path else name)
    elif isinstance(value, Mapping):
        for name, item in value.items():
            yield from _open_places(item, f"{path}.{name}")
    elif isinstance(value, (tuple, list)):
        for at, item in enumerate(value):
            yield from _open_places(item, f"{path}[{at}]")
    elif isinstance(value, str) and value.strip() == TO_WRITE:
        yield path


def _pack(pack: Pack) -> Iterable[str]:
    if not pack.cautions:
        yield f"pack {pack.id}: names no cautions; say what can hurt, and that label and local code govern"
    if pack.procedure is None and not pack.any_procedure:
        bound = sorted(b.rule.id for b in pack.rules if b.rule.kind not in ANY_PROCEDURE or _speaks_of_steps(b))
        if bound:
            yield (f"pack {pack.id}: names no procedure, so it judges every cycle there is, and {', '.join(bound)} "
                   f"{'speaks' if len(bound) == 1 else 'speak'} of what one procedure does; where that is meant write 'procedure: any'")  # fmt: skip
    if not re.fullmatch(r"\d+\.\d+\.\d+", pack.version):
        yield f"pack {pack.id}: version is {pack.version!r}; write it as 1.0.0"


def _corrections(pack: Pack) -> Iterable[str]:
    for grade, correction in pack.grading.correct_within.items():
        place = f"pack {pack.id}: grading.correct_within.{grade.value}"
        yield from (f"{place}: {fault}" for fault in _cite(correction, pack))
    if pack.times is not None and pack.times.pack == pack.id:
        yield from (f"{pack.times.place}: grading: {fault}" for fault in layering_faults(pack.times))


def _speaks_of_steps(bound: BoundRule) -> bool:
    return any(key in _STEP_KEYS for key, _ in _named(bound.params))


def _rule(bound: BoundRule, pack: Pack) -> Iterable[str]:
    rule = bound.rule
    if not RULE_ID.fullmatch(rule.id):
        yield "its id is not of the form SYR-INTERVAL: capitals and digits, parts joined by a hyphen"
    yield from (f"{path} is still to be written" for path in _open_places(rule, ""))
    if _ADVICE.search(rule.title):
        yield f"its title {rule.title!r} gives advice; a title states the fault that is found"
    yield from _words(bound, pack)
    for profile in rule.profiles:
        if profile not in pack.profiles:
            near = suggest(profile, sorted(pack.profiles))
            yield f"names the profile {profile!r}, which the pack does not have{near}"
    for name in ("why", "corrective_action", "hazard"):
        if getattr(rule, name) is None:
            yield f"has no {name}"
    if not rule.cites:
        yield "cites no source; common practice is cited as such"
    for cite in rule.cites:
        yield from _cite(cite, pack)
    yield from _plan(rule)
    yield from layering_faults(bound)
    yield from _cases(rule.id, pack.cases.get(rule.id))


def _cite(cite: Cite, pack: Pack) -> Iterable[str]:
    if cite.source not in pack.sources:
        yield f"cites the source {cite.source!r}, which the pack does not list"
    elif not cite.says:
        yield f"cites {cite.source} without saying in own words what it asks"
    elif pack.sources[cite.source].published and not _has_clause(pack, cite.source, cite.section):
        yield f"cites {cite.source} {cite.section or ''}, which clauses.yaml does not list".replace(" ,", ",")


def _plan(rule: Rule) -> Iterable[str]:
    """A critical control point that lacks one of its parts (Codex CXC 1); a prerequisite may leave some out.

    The kind of hazard and the corrective action are parts as well; every rule is asked for them above.
    """
    if rule.plan is None or rule.plan.control != "critical_control_point":
        return
    for part in ("hazard", "critical_limit", "monitoring", "verification", "record"):
        if getattr(rule.plan, part) is None:
            yield f"is a critical control point, and its plan names no {part}"


def _words(bound: BoundRule, pack: Pack) -> Iterable[str]:
    """Steps, agents, targets and hazards that nobody knows: a misspelt one would be judged and never found."""
    steps, agents = sorted(STEPS | pack.steps), sorted(AGENTS | pack.agents)
    names = sorted({n for p in pack.profiles.values() for n in (*p.lines, *p.parts)})
    for key, value in _named(bound.params):
        if key in _STEP_KEYS and value not in steps:
            yield f"names the step {value!r}{suggest(value, steps)}; a pack adds its own under 'steps'"
        if key == "agent" and value not in agents:
            yield f"names the agent {value!r}{suggest(value, agents)}; a pack adds its own under 'agents'"
        near = suggest(value, names) if key == "targets" and value not in (*names, "lines", "parts", "all") else ""
        if near:
            yield f"names the target {value!r}, which no profile of the pack has{near}"
    if bound.rule.hazard is not None and bound.rule.hazard not in HAZARDS:
        yield f"its hazard is {bound.rule.hazard!r}; allowed: {', '.join(HAZARDS)}"


def _named(value: Any, key: str = "") -> Iterable[tuple[str, str]]:
    """Every word in a rule's parameters, with the key that it stands under."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _named(getattr(value, name), name)
    elif isinstance(value, tuple):
        for item in value:
            yield from _named(item, key)
    elif isinstance(value, str):
        yield key, value


def _has_clause(pack: Pack, source: str, section: str | None) -> bool:
    return any(c.source == source and c.section == section for c in pack.clauses)


def _cases(rule: str, file: CaseFile | None) -> Iterable[str]:
    if file is None:
        yield "has no cases.yaml"
        return
    seen = {expected.status.value for case in file.cases for expected in case.expect}
    if any(case.boundary for case in file.cases):
        seen.add("boundary")
    for needed in _NEEDED:
        if needed not in seen and needed not in file.cannot:
            yield f"no case shows {needed}; add one, or say under 'cannot' why there is none"
        if needed in seen and needed in file.cannot:
            yield f"'cannot' says that {needed} does not occur, and a case shows it"
    yield from (f"cases.yaml: {path} is still to be written" for path in _open_places(file.cases, "cases"))
    names = [case.name for case in file.cases]
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield f"two cases are called {name!r}"


def _clauses(pack: Pack) -> Iterable[str]:
    rules = {bound.rule.id for bound in pack.rules}
    for clause in pack.clauses:
        name = f"clauses.yaml: {clause.source} {clause.section}"
        if clause.source not in pack.sources:
            yield f"{name}: the pack does not list this source"
        if clause.status in ("checked", "partly") and not clause.rules:
            yield f"{name}: is {clause.status}, and names no rule that does it"
        for rule in clause.rules:
            if rule not in rules:
                yield f"{name}: names the rule {rule}, which the pack does not have"
