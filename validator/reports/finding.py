"""How is one finding told: what was found, what was asked, in which rows, by which rule, and what to do?"""

from __future__ import annotations

from collections.abc import Iterable

from validator.findings import Citation, Finding, Report, Status
from validator.language import said, tr
from validator.reports import reasoning, words
from validator.reports.view import FindingShown
from validator.reports.visible import heading, name, sentence

_CONTROL = {"critical_control_point": "critical control point", "prerequisite": "prerequisite"}


def subject(identity: str, called: str) -> str:
    return f"{name(identity)}, {heading(called)}" if called and called != identity else name(identity)


def cycle_heading(cycle: str, started: str) -> str:
    if not cycle:
        return tr("No cycle")
    by_time = words.by_its_time(cycle)
    if by_time and started[: len(cycle)] in (cycle, ""):
        return words.capital(said(by_time))
    if started:
        return tr("Cycle {cycle}, started {moment}", cycle=name(cycle), moment=name(started))
    return tr("Cycle {cycle}", cycle=name(cycle))


def finding_shown(finding: Finding, report: Report) -> FindingShown:
    measures = (
        (tr("observed"), words.amount(finding.observed)),
        (tr("required"), words.required(finding.required)),
        (tr("margin"), words.margin(finding)),
    )
    remarks = (
        tr("Graded {grade}: {reason}", grade=words.grade(finding.grade), reason=words.stopped(finding.grade_reason))
        if finding.grade_reason
        else "",
        tr("Accepted deviation: {deviation}", deviation=words.stopped(finding.deviation)) if finding.deviation else "",
        _settled(finding),
        tr("That nothing was recorded here is a finding of its own; one act puts both right.")
        if finding.same_as
        else "",
        _own_limit(finding),
    )
    return FindingShown(
        id=name(finding.id),
        rule=name(finding.rule),
        title=heading(finding.title),
        status=finding.status.shown,
        grade=words.grade(finding.grade),
        reason=words.plain(finding.reason),
        marks=words.marks(finding),
        target=words.target(finding.target),
        message=words.capital(words.stopped(finding.message)),
        measures=tuple((label, amount) for label, amount in measures if amount),
        rows=words.places(finding.evidence),
        sources=cited_sources(finding.citations),
        cited=tuple(words.cited(cited) for cited in finding.citations),
        hazard=sentence(finding.hazard),
        limit_from=sentence(said(finding.limit_from)),
        control=said(_CONTROL.get(finding.control, "")),
        action=words.stopped(finding.corrective_action),
        action_when=_when(finding),
        remarks=tuple(remark for remark in remarks if remark),
        reasoning=reasoning.parts(finding, report.decision, report.as_of),
    )


def _settled(finding: Finding) -> str:
    if not finding.settled_by:
        return ""
    cycle = cycle_heading(finding.settled_by, finding.settled_on)
    return tr("Settled by a later cleaning: {cycle}. Nothing is left to do.", cycle=cycle)


def _own_limit(finding: Finding) -> str:
    """A limit that the register sets can differ from the one in the rule's title and action."""
    if not finding.limit_from.startswith("register") or finding.required is None or not finding.required.text:
        return ""
    limit, source = words.stopped(words.required(finding.required)), words.stopped(said(finding.limit_from))
    return tr("The limit of this machine holds, from the {source} It is: {limit}", source=source, limit=limit)


def _when(finding: Finding) -> str:
    if "cos" in finding.marks or finding.settled_by:
        return tr("If it occurs again")
    return tr("To do") if finding.status is Status.OUT else tr("If it was not met")


def cited_sources(citations: Iterable[Citation]) -> tuple[tuple[str, str], ...]:
    return tuple((words.citation(cited), words.stopped(cited.says)) for cited in citations)
