"""What does the report say first: how it stands in one sentence, and the few things to do before all others?"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import takewhile

from validator.findings import Action, Finding, Grade, InputFile, Report, Status
from validator.language import counted, said, tr
from validator.reports import words
from validator.reports.grouping import by_date, by_gravity, grouped, machines
from validator.reports.view import ToDo
from validator.reports.visible import heading, name
from validator.statuses import EMPTY_EXPORT, LOST_RECORD, OPEN
from validator.tables import COMMON_NAMES

FIRST = 3
"""Things to do first; a longer list would not be read as first things."""

NOT_EXERCISED = "not exercised"
OF_THE_WORK = frozenset(
    ("coverage", "flush", "contact", "order", "concurrency", "feasible_time", "concentration", "mixed_strength")
)
"""Kinds whose faults a complete cleaning puts right, other than those of the record."""
_CODE = re.compile(r"[a-z0-9_]+")
"""What stands before the sentence of a file that was not read."""


def headline(report: Report) -> str:
    """What is known in one sentence; what could not be shown is said as plainly as what was not met."""
    result = words.capital(heading(report.summary.result)) or tr("Result not stated")
    return tr("{result}: {known}", result=result, known=_known(report))


def _known(report: Report) -> str:
    counts = report.summary.counts
    total = counts.in_ + counts.out + counts.not_observed
    checks = words.count(total, "check")
    unsure = f"{counts.not_observed:,}"
    tail = tr("; {n} could not be shown from the records.", n=unsure) if counts.not_observed else "."
    if total and not report.records:
        return tr("no row could be read; what is judged here follows from the register alone.")
    if not total:
        none = "no check could be made." if report.records else "no check could be made; there is no row to judge."
        return said(none)
    if total == counts.not_observed:
        return tr("not one of {checks} could be shown from the records, met or not met.", checks=checks)
    if counts.out:
        found = machines(finding for finding in report.findings if finding.status is Status.OUT)
        where = tr(" at {machines}", machines=words.count(found, "machine")) if found else ""
        one, many = "{n} of {checks}{where} was not met{tail}", "{n} of {checks}{where} were not met{tail}"
        return counted(counts.out, one, many, checks=checks, where=where, tail=tail)
    if counts.not_observed:
        return counted(
            counts.in_, "{n} of {checks} was met{tail}", "{n} of {checks} were met{tail}", checks=checks, tail=tail
        )
    return counted(total, "the one check was met.", "all {n} checks were met.")


def standing(report: Report) -> tuple[str, ...]:
    """The sentences under the headline: why this result, and what it does not cover."""
    lines = [words.capital(words.stopped(report.summary.result_reason))] if report.summary.result_reason else []
    out = any(finding.status is Status.OUT for finding in report.findings)
    if out and not any(action.status is Status.OUT for action in report.actions):
        lines.insert(0, tr("No fault is open now: each was met by a later cleaning, put right on site, or accepted."))
    lines += _common_names(report)
    unread = sum(not_read(file) for file in report.inputs)
    if unread:
        one = "{n} of {files} was not read in full; the result does not cover the rest."
        many = "{n} of {files} were not read in full; the result does not cover the rest."
        lines.append(counted(unread, one, many, files=words.count(len(report.inputs), "file")))
    told = [notice for notice in report.notices if notice.code in ("no_register", "unknown_profile", "other_procedure")]
    lines += [words.capital(words.stopped(notice.message)) for notice in told[:FIRST]]
    ahead = sum(notice.code == "after_as_of" for notice in report.notices)
    if ahead:
        one = "{n} cycle is dated after the moment of this audit; see Notices."
        lines.append(counted(ahead, one, "{n} cycles are dated after the moment of this audit; see Notices."))
    defective = sum(file.rows_defective for file in report.inputs)
    if defective:
        one = "{n} row could not be used in full; see Record defects."
        lines.append(counted(defective, one, "{n} rows could not be used in full; see Record defects."))
    accepted = sum(finding.deviation is not None for finding in report.findings)
    if accepted:
        one = "{n} finding was accepted for a time; each is marked and says by whom."
        lines.append(counted(accepted, one, "{n} findings were accepted for a time; each is marked and says by whom."))
    lost = sum(notice.code == LOST_RECORD for notice in report.notices)
    if lost:
        one = "No cleaning of {n} machine that the earlier report knew is in these records: send its whole log."
        many = "No cleaning of {n} machines that the earlier report knew is in these records: send their whole logs."
        lines.append(counted(lost, one, many))
    settled = sum(bool(finding.settled_by) for finding in report.findings)
    if settled:
        one = "{n} finding was settled by a later cleaning; nothing is left to do about it."
        many = "{n} findings were settled by a later cleaning; nothing is left to do about them."
        lines.append(counted(settled, one, many))
    idle = sum(rule.state == NOT_EXERCISED for rule in report.checked)
    if idle:
        one, many = (
            "{n} of {rules} was not exercised; see What was checked.",
            "{n} of {rules} were not exercised; see What was checked.",
        )
        lines.append(counted(idle, one, many, rules=words.count(len(report.checked), "rule")))
    return tuple(lines)


def _common_names(report: Report) -> list[str]:
    """Which columns were taken for ours without anybody saying so: all else that the report says rests on it."""
    found = dict.fromkeys(
        text[text.index(COMMON_NAMES) :] for file in report.inputs for text in file.assumptions if COMMON_NAMES in text
    )
    lines = [
        tr("{columns}; a mapping can say otherwise.", columns=words.capital(said(text))) for text in list(found)[:FIRST]
    ]
    if len(found) > FIRST:
        one = "{n} more set of columns was read so; see How the files were read."
        lines.append(
            counted(len(found) - FIRST, one, "{n} more sets of columns were read so; see How the files were read.")
        )
    return lines


def not_read(file: InputFile) -> bool:
    """Whether a file was refused, or read only in part."""
    return file.status not in ("", "read")


def first_things(report: Report) -> tuple[ToDo, ...]:
    """At most three things to do, in the order of the actions; one of them stands for all that a rule asks for.

    A machine that is overdue is cleaned whole, which is told once: what is put right by that, and is not critical, is left to the list.
    Files that must come again stand after what is overdue or critical, and with them what is overdue without a finding. An
    export without a row says nothing of the machines, so it comes first where there is no record at all.
    """
    found = {finding.id: finding for finding in report.findings}
    told = [action for action in report.actions if any(finding in found for finding in action.findings)]
    late = {(f.store_id, f.equipment_id) for f in report.findings if f.target == OPEN and f.status is Status.OUT}
    told = [action for action in told if not _within_a_cleaning(action, found, late)]
    asked = [*grouped(told, lambda action: (action.rule, action.status, action.action)).values()]
    asked.sort(key=lambda same: report.records > 0 or same[0].rule != EMPTY_EXPORT)
    pressing = sum(1 for _ in takewhile(_pressing, (same[0] for same in asked)))
    first = [_about(same, found) for same in asked]
    first[pressing:pressing] = [*_from_files(report), *_from_due(report)]
    if not first and not report.records:
        do = tr("Export the records again and check that they cover the period.")
        return (ToDo(do, tr("An empty export shows neither good nor bad."), ""),)
    return tuple(first[:FIRST])


def _within_a_cleaning(action: Action, found: Mapping[str, Finding], late: Collection[tuple[str, str]]) -> bool:
    """Whether the cleaning that a machine is overdue for puts right what an action asks for."""
    if action.grade is Grade.CRITICAL or (action.store_id, action.equipment_id) not in late:
        return False
    return all(found[finding].kind in OF_THE_WORK for finding in action.findings if finding in found)


def _pressing(action: Action) -> bool:
    out = action.status is Status.OUT
    return action.rule == EMPTY_EXPORT or (out and (action.overdue or action.grade is Grade.CRITICAL))


def _about(same: Sequence[Action], found: Mapping[str, Finding]) -> ToDo:
    """All that a rule asks for, told of the most urgent action; a running interval is told before one that has ended."""
    action = same[0]
    mine = by_gravity(found[finding] for finding in action.findings if finding in found)
    worst = next((finding for finding in mine if finding.target == OPEN), mine[0])
    place = ", ".join(
        part for part in (name(worst.store_id), name(worst.equipment_id), words.target(worst.target)) if part
    )
    every = [found[finding] for one in same for finding in one.findings if finding in found]
    ids = {finding.id for finding in every}
    often = words.count(sum(finding.same_as not in ids for finding in every), "time")
    if machines(every) > 1:
        often = tr("{times} at {machines}", times=often, machines=words.count(machines(every), "machine"))
    where = "" if not place else tr(", first {place}", place=place) if len(every) > 1 else f", {place}"
    why = f"{heading(action.title)} ({action.status.shown}, {words.grade(action.grade)}): {often}{where}."
    return ToDo(words.stopped(action.action) or tr("Put this right."), why, name(worst.id), words.deadline(same))


def _from_files(report: Report) -> Iterator[ToDo]:
    unread = [file for file in report.inputs if not_read(file)]
    if unread:
        file = name(unread[0].file)
        if len(unread) > 1:
            file = tr("{one} and {more}", one=file, more=words.count(len(unread) - 1, "other file"))
        reason = words.stopped(unread[0].reason)
        code, _, told = reason.partition(": ")
        why = f"{name(unread[0].file)} {told}" if told and _CODE.fullmatch(code) else words.capital(reason)
        why = why or tr("It was not read in full.")
        unclear = unread[0].reason.startswith(("ambiguous_column", "missing_column", "wrong_shape"))
        do = tr("Write a mapping for {file}.", file=file) if unclear else tr("Send {file} again.", file=file)
        yield ToDo(do, why, "")


def _from_due(report: Report) -> Iterator[ToDo]:
    # A running interval that is a finding is told there, and not a second time as a date: that it is too long, or that nobody knows.
    told = {(f.rule, f.store_id, f.equipment_id) for f in report.findings if f.status is Status.OUT or f.target == OPEN}
    late = [due for due in by_date(report.upcoming) if due.days_left < 0]
    late = [due for due in late if (due.rule, due.store_id, due.equipment_id) not in told]
    if late:
        worst = late[0]
        where = name(worst.store_id)
        if len(late) > 1:
            where = tr("{one} and {more}", one=where, more=words.count(len(late) - 1, "other machine"))
        why = tr(
            "{rule}: it was due on {day}, {late}.", rule=name(worst.rule), day=name(worst.due_on), late=words.due(worst)
        )
        yield ToDo(tr("Clean {machine} at {store}.", machine=name(worst.equipment_id), store=where), why, "")
