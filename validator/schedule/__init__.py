"""What must be cleaned by when, and why: the due dates of a report put in order of urgency, for a screen, a program or a calendar."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import reduce

from validator.findings import Due, Finding, Report, Status
from validator.kinds.acts import ActOn
from validator.language import Language, Said
from validator.packs.model import BoundRule, Pack
from validator.reports.words import beside_its_day
from validator.statuses import OPEN

SCHEDULE_VERSION = "1"
UNDATED = "no day to count from"
"""The state of a machine of which no date can be said: nothing that counts is on record, or when is not."""
NO_RECORD = "no record could be read, so every date is counted from the day of going into service"


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One cleaning that a rule asks for on one machine.

    `due_on` is a local date of the store and blank where `state` is `UNDATED`; `days_left` below zero is overdue. `why` says
    how the date came about, `doubt` why it is not certain. `action` is what is to be done: what the rule says where it is late
    or no date is known, else to clean by that date. `cautions` are those of its pack.
    """

    store_id: str
    store_name: str
    equipment_id: str
    rule: str
    title: str
    state: str
    due_on: str
    days_left: int | None
    last_completed: str
    last_cycle_id: str
    limit: str
    limit_from: str
    counted_from: str
    days_closed: int
    warn_days: int
    why: str
    doubt: str
    action: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Schedule:
    """All cleanings of a report, the most urgent first, and what a reader must know beside them."""

    schedule_version: str
    tool: str
    generated_at: str
    as_of: str
    title: str
    cleanings: tuple[Cleaning, ...]
    notes: tuple[str, ...]


def schedule(report: Report, packs: Sequence[Pack]) -> Schedule:
    """The cleanings that the interval rules of `packs` ask for, by a report that was made with them."""
    return Schedule(
        SCHEDULE_VERSION, report.tool, report.generated_at, report.as_of, report.title,
        tuple(sorted(_cleanings(report, packs), key=_urgency)), tuple(_notes(report)),
    )  # fmt: skip


def in_language(schedule: Schedule, language: Language | None) -> Schedule:
    """The schedule as a reader of the language sees it, for a page of the same language; forms for programs stay English."""
    if language is None:
        return schedule
    say = language.say
    return replace(
        schedule, title=say(schedule.title), notes=tuple(map(say, schedule.notes)),
        cleanings=tuple(
            replace(
                c, title=say(c.title), state=say(c.state), limit_from=say(c.limit_from), why=say(c.why), doubt=say(c.doubt),
                action=say(c.action), cautions=tuple(map(say, c.cautions)),
            )
            for c in schedule.cleanings
        ),
    )  # fmt: skip


def _urgency(c: Cleaning) -> tuple[bool, bool, int, str, str, str]:
    """The longest overdue first, then machines of which no date can be said, then by days left."""
    left = 0 if c.days_left is None else c.days_left
    return left >= 0, c.days_left is not None, left, c.store_id, c.equipment_id, c.rule


_UNSEEN = "no row of this machine is in these files; if it has another log, name that as well"


def _cleanings(report: Report, packs: Sequence[Pack]) -> Iterable[Cleaning]:
    stores = {s.store_id: s.name for s in report.stores}
    rules = {b.rule.id: (b, pack) for pack in packs for b in pack.rules}
    running = {
        (f.store_id, f.equipment_id, f.rule): f
        for f in report.findings if f.kind == "interval" and f.target == OPEN and f.status is Status.NOT_OBSERVED
    }  # fmt: skip
    silent = {(s.store_id, e.equipment_id) for s in report.stores for e in s.equipment if not e.cycles}
    dated = {(d.store_id, d.equipment_id, d.rule): d for d in report.upcoming}
    for key in {**dated, **running}:
        due, finding = dated.get(key), running.get(key)
        bound, pack = rules[key[2]]
        known = due or Due(*key, "", 0, UNDATED, "", "")
        told = finding.message if finding else _UNSEEN if key[:2] in silent and not known.last_completed else ""
        yield Cleaning(
            known.store_id, stores.get(known.store_id, ""), known.equipment_id, bound.rule.id, bound.rule.title, known.state,
            known.due_on, due.days_left if due else None, known.last_completed, known.last_cycle_id, known.limit,
            known.limit_from if due else _limit_from(finding), known.counted_from, known.days_closed, known.warn_days,
            _why(due) if due else told, told if due else "", _asked(bound, due), pack.cautions,
        )  # fmt: skip


def _asked(bound: BoundRule, due: Due | None) -> str:
    """What is to be done: now, in the words of the rule, or by the last day; what a machine in time needs is no correction."""
    if due is None or due.days_left < 0:
        return bound.rule.corrective_action or ""
    having = bound.params.having
    if having is None:
        return Said("Clean the machine no later than {day}.", {"day": due.due_on})
    return Said(
        "Clean the machine no later than {day}. Only a cleaning in which this is done counts: {act}.",
        {"day": due.due_on, "act": _act(having)},
    )


def _act(act: ActOn) -> str:
    """`circulate or soak with acid on lines`, so that it can be said in another language."""
    told = _either(act.step)
    if act.agent:
        told = Said("{steps} with {agents}", {"steps": told, "agents": _either(act.agent)})
    if act.targets:
        told = Said("{act} on {targets}", {"act": told, "targets": ", ".join(act.targets).replace("_", " ")})
    return told


def _either(names: Sequence[str]) -> str:
    plain = (name.replace("_", " ") for name in names)
    return reduce(lambda one, other: Said("{one} or {other}", {"one": one, "other": other}), plain)


def _limit_from(finding: Finding | None) -> str:
    return finding.limit_from if finding else ""


def _why(due: Due) -> str:
    """`at most 30 days after the last cleaning that counts, 2026-05-05 (cycle-2); 3 days out of service left out`."""
    why = Said(
        "at most {limit} after the last cleaning that counts, {day} ({cycle})" if due.last_completed
        else "at most {limit} after it went into service on {day}; no cleaning that counts is on record",
        {"limit": due.limit, "day": due.last_completed or due.counted_from, "cycle": beside_its_day(due.last_cycle_id, due.last_completed)},
    )  # fmt: skip
    if not due.days_closed:
        return why
    closed = (
        "{why}; {n} day out of service left out" if due.days_closed == 1 else "{why}; {n} days out of service left out"
    )
    return Said(closed, {"why": why, "n": str(due.days_closed)})


def _notes(report: Report) -> Iterable[str]:
    """What can make a date wrong, or a machine be missing here."""
    for file in report.inputs:
        if file.status != "read":
            told = {"file": file.file, "reason": file.reason}
            yield Said("{file} could not be read, and may hold a later cleaning: {reason}", told)
    if not report.records:
        yield NO_RECORD
    if report.record_defects:
        count = len(report.record_defects)
        yield Said(
            "{n} record defect may hide a cleaning; cip-audit check names it" if count == 1
            else "{n} record defects may hide a cleaning; cip-audit check names them", {"n": str(count)},
        )  # fmt: skip
    ruled = {d.equipment_id for d in report.upcoming} | {
        f.equipment_id for f in report.findings if f.kind == "interval"
    }
    silent = [
        f"{s.store_id} > {e.equipment_id}" for s in report.stores for e in s.equipment if e.equipment_id not in ruled
    ]
    if silent:
        shown = ", ".join(silent[:10])
        if len(silent) > 10:
            shown = Said("{shown} and {rest} more", {"shown": shown, "rest": str(len(silent) - 10)})
        yield Said("no rule used here sets an interval for {machines}", {"machines": shown})
