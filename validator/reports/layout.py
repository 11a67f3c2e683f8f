"""Which parts does a report have for its reader, in which order and in which words? One answer for every format."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from validator.findings import (
    PERSISTING,
    Action,
    Change,
    Due,
    Finding,
    Gone,
    Grade,
    InputFile,
    Notice,
    RecordDefect,
    Report,
    RuleChecked,
    Verdict,
)
from validator.language import counted, said, tr
from validator.reports import Grouping, opening, sampling, words
from validator.reports.finding import cited_sources, cycle_heading, finding_shown, subject
from validator.reports.grouping import by_date, by_gravity, grouped
from validator.reports.standing import store_shown, tally
from validator.reports.view import (
    ChangeShown,
    CheckedShown,
    CycleShown,
    DefectShown,
    DueShown,
    FileShown,
    GoneShown,
    GradeShown,
    MachineShown,
    RuleToDo,
    View,
)
from validator.reports.visible import heading, name, sentence
from validator.statuses import OPEN

UNTITLED = "Clean-in-place audit"
GOVERNS = "Local code, the label of each product and licensed practice govern. This report speaks of the records alone."
SAFETY = "Read the cautions before any work with chemicals or on lines under pressure."
NO_FINDINGS = "No check came out OUT or N/O."
WHOLE_FILES = "This is about whole files, which may hold rows of other stores as well."
SHARES = "The share is that of OUT among the checks that came out IN or OUT, with its 95 % interval."
NO_ACTION = "The rule names no corrective action."
NO_RULES = "No rule was held against these records."
NO_FILES = "No file was read."
NOTHING_FIRST = "Nothing needs doing first."

BETWEEN = "Between the cleanings"
SECTIONS = {
    "first": "Do first",
    "due": "Next due",
    "audit": "This audit",
    "months": "Stores by month",
    "change": "Since the earlier report",
    "stores": "How each stands",
    "findings": "What was found",
    "places": "Store by store",
    "checked": "What was checked",
    "defects": "Record defects",
    "notices": "Notices",
    "cautions": "Cautions",
    "files": "How the files were read",
}
"""The parts of a page with their titles, in order."""

PLACES_SHOWN = 5
"""Files named for one defect; the rest is counted."""


CONTROLS = {
    "critical_control_point": "Critical control points",
    "prerequisite": "Prerequisites",
    "": "Without a place in the plan",
}
"""The places in a HACCP plan as headings, in the order in which they are shown."""

WAS = "was {status}, {grade}: {place} ({rule}, {id})"
"""A finding of an earlier report that is none now."""

GONE = {
    "met": "Now IN.",
    "not_applicable": "Now N/A.",
    "": "Not judged again: these records or packs do not hold this check, so nothing shows that it was put right.",
}
"""What became of a finding of an earlier report, by `Gone.now`."""


def lay_out(report: Report, findings_shown: int, group: Grouping = "grade", run: Report | None = None) -> View:
    """The view of a report with at most that many findings, the gravest; the others are counted in it.

    Of a report that is narrowed to one store, `run` is that of the whole run: what is told of files then says so. Grouped by `plan`, findings at critical control points come first, then prerequisites; of one place by grade.
    """
    chosen = by_gravity(report.findings)[:findings_shown]
    totals = grouped(report.findings, lambda finding: (place_in_plan(finding, group), finding.grade))
    shown = grouped(chosen, lambda finding: (place_in_plan(finding, group), finding.grade))
    cycles = {
        (store.store_id, machine.equipment_id): machine.cycles for store in report.stores for machine in store.equipment
    }
    return View(
        title=heading(report.title) or said(UNTITLED),
        headline=opening.headline(report),
        standing=opening.standing(report) if run is None else _standing(report, run),
        facts=_facts(report, run),
        first=opening.first_things(report),
        grades=tuple(
            _grade(
                said(CONTROLS[control]) if group == "plan" else "",
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
        stores=tuple(store_shown(store) for store in report.stores),
        checked=tuple(_checked(rule) for rule in report.checked),
        by_hand=sampling.advice(sum(machine.cycles for store in report.stores for machine in store.equipment)),
        defects=_defects(report.record_defects),
        notices=tuple(_notice(notice) for notice in report.notices),
        due=tuple(_due(due, cycles) for due in by_date(report.upcoming)),
        cautions=tuple(words.stopped(caution) for caution in report.cautions),
        files=tuple(_file(file) for file in report.inputs),
        change=None if report.change is None else _change(report, report.change),
    )


def _standing(report: Report, run: Report) -> tuple[str, ...]:
    """What stands under the headline of one store: its own, and apart from that what is known of whole files alone."""
    read = tuple(replace(file, status="read") for file in report.inputs)
    unread = tuple(replace(file, rows_defective=0, assumptions=()) for file in run.inputs)
    return (
        *opening.standing(replace(report, inputs=())),
        *(
            tr("In the files with rows of this store, other stores' rows included: {line}", line=line)
            for line in _of_files(report, read)
        ),
        *(tr("Of the whole run: {line}", line=line) for line in _of_files(run, unread)),
    )


def _of_files(report: Report, inputs: tuple[InputFile, ...]) -> tuple[str, ...]:
    """What the files alone give to say under a headline."""
    verdict = replace(report.summary, result_reason="")
    return opening.standing(replace(report, inputs=inputs, summary=verdict, findings=(), notices=(), checked=()))


def _facts(report: Report, run: Report | None) -> tuple[tuple[str, str], ...]:
    verdict = report.summary
    packs = "; ".join(
        f"{sentence(pack.title or pack.id)} ({name(pack.id)} {name(pack.version)}, {name(pack.sha256)[:12]})"
        for pack in report.packs
    )
    cycles = sum(machine.cycles for store in report.stores for machine in store.equipment)
    shown = report.records if run is None else cycles
    facts = (
        (tr("Judged as of"), words.looked_from(report.as_of)),
        (tr("Held against"), packs or tr("no rule pack")),
        (tr("Records"), _read(report) if run is None else _cycles_of(report, cycles)),
        (tr("The whole run"), "" if run is None else _read(run)),
        (tr("Since then"), "" if report.change is None else _since(report, report.change)),
        (tr("Score"), words.score(verdict.score)),
        (tr("OUT by grade"), words.grades(verdict.grades) or tr("none")),
        (tr("Evidence"), _completeness(verdict) if shown else ""),
        (tr("Decision rule"), words.plain(report.decision)),
        (tr("Made"), tr("{moment} by {tool}", moment=name(report.generated_at), tool=name(report.tool))),
    )
    return tuple((label, fact) for label, fact in facts if fact)


def _cycles_of(report: Report, cycles: int) -> str:
    """How much there is of one store. Its rows are not counted: a file may hold those of several."""
    machines = sum(len(store.equipment) for store in report.stores)
    return tr("{cycles} at {machines}", cycles=words.count(cycles, "cycle"), machines=words.count(machines, "machine"))


def _read(report: Report) -> str:
    """What was read, at the head of the report: rows and files, and what of them was not used in full."""
    inputs = report.inputs
    beside = (
        (sum(file.rows_defective for file in inputs), "{n} not used in full"),
        (sum(file.rows_duplicate for file in inputs), "{n} told twice"),
        (sum(file.rows_superseded for file in inputs), "{n} told otherwise by a later export"),
    )
    rest = [tr(template, n=f"{many:,}") for many, template in beside if many]
    refused = sum(opening.not_read(file) for file in inputs)
    rest += [tr("{files} not read", files=words.count(refused, "file"))] if refused else []
    rows = sum(file.rows for file in inputs)
    read = tr("{rows} in {files}", rows=words.count(rows, "row"), files=words.count(len(inputs), "file"))
    return f"{read}: {', '.join(rest)}" if rest else read


def _completeness(verdict: Verdict) -> str:
    known = verdict.evidence_completeness
    if known is None:
        return ""
    return tr("{share} of the checks could be shown from the records", share=words.percent(known * 100))


def place_in_plan(finding: Finding, group: Grouping) -> str:
    """By the plan, the finding's place in it; one that this program does not know is none, and by grade all are one."""
    return finding.control if group == "plan" and finding.control in CONTROLS else ""


def _grade(
    control: str, grade: Grade, every: Sequence[Finding], shown: Sequence[Finding], report: Report
) -> GradeShown:
    names = {store.store_id: store.name for store in report.stores}
    return GradeShown(
        control=control,
        grade=words.grade(grade),
        count=words.count(len(every), "finding"),
        machines=tuple(
            MachineShown(subject(store, names.get(store, "")), name(equipment), len(found), _cycles(found, report))
            for (store, equipment), found in grouped(shown, lambda f: (f.store_id, f.equipment_id)).items()
        ),
    )


def _cycles(found: Sequence[Finding], report: Report) -> tuple[CycleShown, ...]:
    cycles = grouped(found, lambda finding: (finding.cycle_started, finding.cycle_id))
    return tuple(
        CycleShown(
            cycle_heading(cycle, started), tuple(finding_shown(finding, report) for finding in cycles[started, cycle])
        )
        for started, cycle in sorted(cycles)
    )


def _actions(report: Report) -> tuple[RuleToDo, ...]:
    asked = {finding: action for action in report.actions for finding in action.findings}
    done = tr("Only if it occurs again: it was settled by a later cleaning, put right on site, or accepted.")

    def when(same: Sequence[Finding]) -> str:
        of_rule = dict.fromkeys(asked[finding.id] for finding in same if finding.id in asked)
        return words.deadline(of_rule) if of_rule else done

    return tuple(
        RuleToDo(
            rule=name(rule),
            title=heading(same[0].title),
            count=words.count(len(same), "finding"),
            action=words.stopped(same[0].corrective_action) or said(NO_ACTION),
            hazard=sentence(same[0].hazard),
            sources=cited_sources(same[0].citations),
            due=when(same),
        )
        for (_, rule), same in grouped(
            by_gravity(report.findings), lambda finding: (finding.pack, finding.rule)
        ).items()
    )


def _times(actions: Sequence[Action]) -> tuple[tuple[str, str], ...]:
    return cited_sources(dict.fromkeys(action.due_citation for action in actions if action.due_citation))


def _checked(rule: RuleChecked) -> CheckedShown:
    if rule.state == opening.NOT_EXERCISED or rule.out_share is None:
        outcome = tr("not exercised")
    else:
        outcome = words.share(rule.out_share, rule.out_low, rule.out_high)
    return CheckedShown(name(rule.rule), heading(rule.title), words.grade(rule.grade), tally(rule.counts), outcome)


def _defects(defects: Sequence[RecordDefect]) -> tuple[DefectShown, ...]:
    return tuple(
        DefectShown(words.count(len(same), "time"), name(code), name(column), _defect(same), _where(same))
        for (code, column), same in grouped(defects, lambda defect: (defect.code, defect.column)).items()
    )


def _defect(same: Sequence[RecordDefect]) -> str:
    one = words.capital(words.stopped(same[0].message))
    return one if len({defect.message for defect in same}) == 1 else tr("For example: {defect}", defect=one)


def _where(same: Sequence[RecordDefect]) -> str:
    files = grouped(same, lambda defect: (defect.file, defect.sheet))
    places = [words.place(*file, (defect.row for defect in found)) for file, found in files.items()]
    rest = len(places) - PLACES_SHOWN
    more = tr("; and {files}", files=words.count(rest, "other file")) if rest > 0 else ""
    return "; ".join(places[:PLACES_SHOWN]) + more


def _since(report: Report, change: Change) -> str:
    settled = sum(bool(finding.settled_by) for finding in report.findings if finding.since == PERSISTING)
    told = tr("{n} persisting", n=f"{change.persisting:,}")
    if settled:
        told = tr("{told}, of which {n} settled by a later cleaning", told=told, n=f"{settled:,}")
    return tr(
        "{new} new, {persisting}, {resolved} resolved, {rest} not judged again, since the report as of {moment} ({file})",
        new=f"{change.new:,}", persisting=told, resolved=f"{len(change.resolved):,}",
        rest=f"{len(change.not_judged):,}", moment=name(change.as_of), file=f"{name(change.file)}, {name(change.sha256)[:12]}",
    )  # fmt: skip


def _change(report: Report, change: Change) -> ChangeShown:
    return ChangeShown(
        words.stopped(_since(report, change)), tuple(_gone(g) for g in (*change.resolved, *change.not_judged))
    )


def _gone(gone: Gone) -> GoneShown:
    parts = [gone.store_id, gone.equipment_id, gone.target if gone.target != OPEN else ""]
    cycle = cycle_heading(gone.cycle_id, gone.cycle_started) if gone.cycle_id else ""
    place = ", ".join([*(name(part) for part in parts if part), *([cycle] if cycle else [])])
    return GoneShown(
        heading(gone.title),
        gone.status.shown,
        words.grade(gone.grade),
        place,
        said(GONE[gone.now]),
        name(gone.rule),
        name(gone.id),
    )


def _notice(notice: Notice) -> tuple[str, str]:
    about = [name(part) for part in (notice.rule, notice.store_id, notice.equipment_id) if part]
    about += [words.count(notice.count, "time")] if notice.count > 1 else []
    return words.capital(words.stopped(notice.message)), ", ".join(about)


def _due(due: Due, cycles: Mapping[tuple[str, str], int]) -> DueShown:
    on_record = cycles.get((due.store_id, due.equipment_id), 0)
    if due.last_completed:
        last = f"{name(due.last_completed)} ({name(said(words.beside_its_day(due.last_cycle_id, due.last_completed)))})"
    elif on_record:
        one = "{n} cycle on record, which does not count or has no time"
        last = counted(on_record, one, "{n} cycles on record, of which none counts and has a time")
    else:
        last = tr("never in the records")
    return DueShown(words.due(due), name(due.due_on), name(due.store_id), name(due.equipment_id), name(due.rule), last,
                    due.days_left < 0)  # fmt: skip


def _file(file: InputFile) -> FileShown:
    told = [words.plain(file.status), name(file.format)]
    return FileShown(
        file=name(file.file),
        read=", ".join(part for part in told if part),
        reason=words.capital(words.stopped(file.reason)),
        rows=words.rows_read(file),
        sha256=name(file.sha256[:12]),
        full_sha256=name(file.sha256),
        assumptions=tuple(words.capital(words.stopped(said(text))) for text in file.assumptions),
    )
