"""Which parts does a report have for its reader, in which order and in which words? One answer for every format."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from validator.findings import (
    Action,
    Citation,
    Counts,
    Due,
    Finding,
    Grade,
    InputFile,
    Notice,
    RecordDefect,
    Report,
    RuleChecked,
    Status,
    StoreResult,
    Verdict,
)
from validator.reports import Grouping, opening, reasoning, sampling, words
from validator.reports.grouping import by_date, by_gravity, grouped
from validator.reports.view import (
    CheckedShown,
    CycleShown,
    DefectShown,
    DueShown,
    FileShown,
    FindingShown,
    GradeShown,
    MachineShown,
    RuleToDo,
    Standing,
    StoreShown,
    Tally,
    View,
)
from validator.reports.visible import heading, name, sentence

UNTITLED = "Clean-in-place audit"
GOVERNS = "Local code, the label of each product and licensed practice govern. This report speaks of the records alone."
SAFETY = "Read the cautions before any work with chemicals or on lines under pressure."
NO_FINDINGS = "No check came out OUT or N/O."
SHARES = "The share is that of OUT among the checks that came out IN or OUT, with its 95 % interval."
NO_ACTION = "The rule names no corrective action."
NO_RULES = "No rule was held against these records."
NO_FILES = "No file was read."
NOTHING_FIRST = "Nothing needs doing first."

PLACES_SHOWN = 5
"""Files named for one defect; the rest is counted."""


CONTROLS = {
    "critical_control_point": "Critical control points",
    "prerequisite": "Prerequisites",
    "": "Without a place in the plan",
}
"""The places in a HACCP plan as headings, in the order in which they are shown."""

_CONTROL = {"critical_control_point": "critical control point", "prerequisite": "prerequisite"}


def lay_out(report: Report, findings_shown: int, group: Grouping = "grade") -> View:
    """The view of a report with at most that many findings, the gravest; the others are counted in it.

    Grouped by `plan`, findings at critical control points come first, then prerequisites; of one place by grade.
    """
    chosen = by_gravity(report.findings)[:findings_shown]
    place = _place if group == "plan" else _nowhere
    totals = grouped(report.findings, lambda finding: (place(finding), finding.grade))
    shown = grouped(chosen, lambda finding: (place(finding), finding.grade))
    return View(
        title=heading(report.title) or UNTITLED,
        headline=opening.headline(report),
        standing=opening.standing(report),
        facts=_facts(report),
        first=opening.first_things(report),
        grades=tuple(
            _grade(
                CONTROLS[control] if group == "plan" else "",
                grade,
                totals[control, grade],
                shown.get((control, grade), []),
                report,
            )
            for control in CONTROLS
            for grade in Grade
            if (control, grade) in totals
        ),
        left_out=len(report.findings) - len(chosen),
        actions=_actions(report),
        times=_times(report.actions),
        stores=tuple(_store(store) for store in report.stores),
        checked=tuple(_checked(rule) for rule in report.checked),
        by_hand=sampling.advice(sum(machine.cycles for store in report.stores for machine in store.equipment)),
        defects=_defects(report.record_defects),
        notices=tuple(_notice(notice) for notice in report.notices),
        due=tuple(_due(due) for due in by_date(report.upcoming)),
        cautions=tuple(words.stopped(caution) for caution in report.cautions),
        files=tuple(_file(file) for file in report.inputs),
    )


def _facts(report: Report) -> tuple[tuple[str, str], ...]:
    verdict = report.summary
    packs = "; ".join(
        f"{sentence(pack.title or pack.id)} ({name(pack.id)} {name(pack.version)}, {name(pack.sha256)[:12]})"
        for pack in report.packs
    )
    facts = (
        ("Judged as of", name(report.as_of)),
        ("Held against", packs or "no rule pack"),
        ("Records", _read(report)),
        ("Score", words.score(verdict.score)),
        ("OUT by grade", words.grades(verdict.grades) or "none"),
        ("Evidence", _completeness(verdict)),
        ("Decision rule", words.plain(report.decision)),
        ("Made", f"{name(report.generated_at)} by {name(report.tool)}"),
    )
    return tuple((label, said) for label, said in facts if said)


def _read(report: Report) -> str:
    """What was read, at the head of the report: rows and files, and what of them was not used in full."""
    beside = (
        ("rows_defective", "not used in full"), ("rows_duplicate", "told twice"),
        ("rows_superseded", "told otherwise by a later export"),
    )  # fmt: skip
    counts = [(sum(getattr(file, name) for file in report.inputs), said) for name, said in beside]
    rest = ", ".join(f"{many:,} {said}" for many, said in counts if many)
    refused = sum(opening.not_read(file) for file in report.inputs)
    rest += (", " if rest and refused else "") + (f"{words.count(refused, 'file')} not read" if refused else "")
    return f"{words.count(report.records, 'row')} in {words.count(len(report.inputs), 'file')}" + (
        f": {rest}" if rest else ""
    )


def _completeness(verdict: Verdict) -> str:
    known = verdict.evidence_completeness
    return "" if known is None else f"{words.percent(known * 100)} of the checks could be shown from the records"


def _nowhere(finding: Finding) -> str:
    return ""


def _place(finding: Finding) -> str:
    """The finding's place in the plan; one that this program does not know is none."""
    return finding.control if finding.control in CONTROLS else ""


def _grade(
    control: str, grade: Grade, every: Sequence[Finding], shown: Sequence[Finding], report: Report
) -> GradeShown:
    names = {store.store_id: store.name for store in report.stores}
    return GradeShown(
        control=control,
        grade=grade.value,
        count=words.count(len(every), "finding"),
        machines=tuple(
            MachineShown(_subject(store, names.get(store, "")), name(equipment), len(found), _cycles(found, report))
            for (store, equipment), found in grouped(shown, lambda f: (f.store_id, f.equipment_id)).items()
        ),
    )


def _subject(identity: str, called: str) -> str:
    return f"{name(identity)}, {heading(called)}" if called and called != identity else name(identity)


def _cycles(found: Sequence[Finding], report: Report) -> tuple[CycleShown, ...]:
    cycles = grouped(found, lambda finding: (finding.cycle_started, finding.cycle_id))
    return tuple(
        CycleShown(_cycle(cycle, started), tuple(_finding(finding, report) for finding in cycles[started, cycle]))
        for started, cycle in sorted(cycles)
    )


def _cycle(cycle: str, started: str) -> str:
    if not cycle:
        return "No cycle"
    return f"Cycle {name(cycle)}, started {name(started)}" if started else f"Cycle {name(cycle)}"


def _finding(finding: Finding, report: Report) -> FindingShown:
    measures = (
        ("observed", words.amount(finding.observed)),
        ("required", words.required(finding.required)),
        ("margin", words.margin(finding)),
    )
    remarks = (
        f"Graded {finding.grade.value}: {words.stopped(finding.grade_reason)}" if finding.grade_reason else "",
        f"Accepted deviation: {words.stopped(finding.deviation)}" if finding.deviation else "",
        _own_limit(finding),
    )
    return FindingShown(
        id=name(finding.id),
        rule=name(finding.rule),
        title=heading(finding.title),
        status=finding.status.shown,
        grade=finding.grade.value,
        reason=words.plain(finding.reason),
        marks=words.marks(finding),
        target=name(finding.target),
        message=words.capital(words.stopped(finding.message)),
        measures=tuple((label, said) for label, said in measures if said),
        rows=words.places(finding.evidence),
        sources=_sources(finding.citations),
        cited=tuple(words.cited(cited) for cited in finding.citations),
        hazard=sentence(finding.hazard),
        limit_from=sentence(finding.limit_from),
        control=_CONTROL.get(finding.control, ""),
        action=words.stopped(finding.corrective_action),
        action_when=_when(finding),
        remarks=tuple(remark for remark in remarks if remark),
        reasoning=reasoning.parts(finding, report.decision, report.as_of),
    )


def _own_limit(finding: Finding) -> str:
    """A limit that the register sets can differ from the one in the rule's title and action."""
    if not finding.limit_from.startswith("register") or finding.required is None or not finding.required.text:
        return ""
    return f"The limit of this machine holds, from the {words.stopped(finding.limit_from)} It is: {words.stopped(words.required(finding.required))}"


def _when(finding: Finding) -> str:
    if finding.status is not Status.OUT:
        return "If it was not met"
    return "If it occurs again" if "cos" in finding.marks else "To do"


def _sources(citations: Iterable[Citation]) -> tuple[tuple[str, str], ...]:
    return tuple((words.citation(cited), words.stopped(cited.says)) for cited in citations)


def _actions(report: Report) -> tuple[RuleToDo, ...]:
    of_rule = grouped(report.actions, lambda action: action.rule)
    return tuple(
        RuleToDo(
            rule=name(rule),
            title=heading(same[0].title),
            count=words.count(len(same), "finding"),
            action=words.stopped(same[0].corrective_action) or NO_ACTION,
            hazard=sentence(same[0].hazard),
            sources=_sources(same[0].citations),
            due=words.deadline(of_rule.get(rule, ())),
        )
        for (_, rule), same in grouped(
            by_gravity(report.findings), lambda finding: (finding.pack, finding.rule)
        ).items()
    )


def _times(actions: Sequence[Action]) -> tuple[tuple[str, str], ...]:
    return _sources(dict.fromkeys(action.due_citation for action in actions if action.due_citation))


def _store(store: StoreResult) -> StoreShown:
    machines = tuple(
        _standing(
            name(machine.equipment_id),
            ", ".join(part for part in (name(machine.profile), words.count(machine.cycles, "cycle")) if part),
            machine.verdict,
            machine.next_due,
        )
        for machine in store.equipment
    )
    dates = [machine.next_due for machine in store.equipment if machine.next_due]
    about = words.count(len(store.equipment), "machine")
    whole = _standing(_subject(store.store_id, store.name), about, store.verdict, by_date(dates)[0] if dates else None)
    return StoreShown(whole, name(store.timezone), machines)


def _standing(subject: str, about: str, verdict: Verdict, due: Due | None) -> Standing:
    return Standing(
        subject=subject,
        about=about,
        result=heading(verdict.result) or "not stated",
        reason=words.capital(words.stopped(verdict.result_reason)),
        score=words.score(verdict.score),
        grades=words.grades(verdict.grades) or "none",
        tally=_tally(verdict.counts),
        due=f"{name(due.due_on)}, {words.due(due)}" if due else "no date",
    )


def _tally(counts: Counts) -> Tally:
    return f"{counts.in_:,}", f"{counts.out:,}", f"{counts.not_observed:,}", f"{counts.not_applicable:,}"


def _checked(rule: RuleChecked) -> CheckedShown:
    if rule.state == opening.NOT_EXERCISED or rule.out_share is None:
        outcome = opening.NOT_EXERCISED
    else:
        outcome = words.share(rule.out_share, rule.out_low, rule.out_high)
    return CheckedShown(name(rule.rule), heading(rule.title), rule.grade.value, _tally(rule.counts), outcome)


def _defects(defects: Sequence[RecordDefect]) -> tuple[DefectShown, ...]:
    return tuple(
        DefectShown(words.count(len(same), "time"), name(code), name(column), _defect(same), _where(same))
        for (code, column), same in grouped(defects, lambda defect: (defect.code, defect.column)).items()
    )


def _defect(same: Sequence[RecordDefect]) -> str:
    said = words.capital(words.stopped(same[0].message))
    return said if len({defect.message for defect in same}) == 1 else f"For example: {said}"


def _where(same: Sequence[RecordDefect]) -> str:
    files = grouped(same, lambda defect: (defect.file, defect.sheet))
    said = [words.place(*file, (defect.row for defect in found)) for file, found in files.items()]
    rest = f"; and {words.count(len(said) - PLACES_SHOWN, 'other file')}" if len(said) > PLACES_SHOWN else ""
    return "; ".join(said[:PLACES_SHOWN]) + rest


def _notice(notice: Notice) -> tuple[str, str]:
    about = [name(part) for part in (notice.rule, notice.store_id, notice.equipment_id) if part]
    about += [words.count(notice.count, "time")] if notice.count > 1 else []
    return words.capital(words.stopped(notice.message)), ", ".join(about)


def _due(due: Due) -> DueShown:
    last = f"{name(due.last_completed)} ({name(due.last_cycle_id)})" if due.last_completed else "never in the records"
    return DueShown(words.due(due), name(due.due_on), name(due.store_id), name(due.equipment_id), name(due.rule), last)


def _file(file: InputFile) -> FileShown:
    told = [words.plain(file.status), name(file.format)]
    return FileShown(
        file=name(file.file),
        read=", ".join(part for part in told if part),
        reason=words.capital(words.stopped(file.reason)),
        rows=words.rows_read(file),
        sha256=name(file.sha256[:12]),
        assumptions=tuple(words.capital(words.stopped(said)) for said in file.assumptions),
    )
