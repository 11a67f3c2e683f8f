"""The audit: records, packs, a register and a moment in; one report out.

Time is an argument here: nothing in this package asks the clock or the machine's own time zone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt

from validator import grading
from validator.cycles import form_cycles
from validator.deviations import Deviations, accept
from validator.engine import notices as tell
from validator.engine.actions import actions
from validator.engine.apply import Applied, apply
from validator.engine.change import Before
from validator.engine.due import upcoming
from validator.engine.pictures import pictures
from validator.engine.stamp import citations, finding_id, findings, order_key
from validator.findings import (
    REPORT_VERSION,
    Counts,
    Due,
    EquipmentResult,
    Evidence,
    Finding,
    Grade,
    InputFile,
    PackUsed,
    Report,
    RuleChecked,
    Status,
    StoreResult,
    Verdict,
)
from validator.kinds.outcome import IN, OUT
from validator.machines import EPOCH, AsOf, Machine, machines
from validator.packs.model import Grading, Pack
from validator.records import Intake, RecordSet
from validator.register import Register
from validator.statuses import EMPTY_EXPORT
from validator.steps import Steps

_NO_ROW = "no row about it could be read"
Tallies = npt.NDArray[np.int64]


def audit(
    intake: Intake, packs: Sequence[Pack], register: Register | None, as_of: AsOf, *, generated_at: str, tool: str,
    decision: str = "", accepted: Deviations | None = None, before: Before | None = None, drawn: int = 0,
) -> Report:  # fmt: skip
    """Judge every cycle and interval of the records by the packs and say how it stands.

    `accepted` are the deviations that somebody has accepted: findings that fit one are marked and count as observations.
    `before` is an earlier report: findings are new or persisting since, and repeated where they stood there before.
    `drawn` asks for what a report draws beside its findings, for at most so many cycles and machines; a text report needs none.
    """
    records = intake.records
    fleet = machines(register, _recorded(records), as_of)
    applied: list[Applied] = []
    told = [*intake.notices, *tell.about_records(records, packs), *tell.about_limits(fleet, packs)]
    sorted_once: dict[str | None, Steps] = {}
    unread = any(f.status != "read" for f in intake.inputs)
    for pack in packs:
        if pack.procedure not in sorted_once:
            sorted_once[pack.procedure] = form_cycles(records, fleet, pack.procedure)
        done, more = apply(pack, sorted_once[pack.procedure], fleet, decision or pack.decision, unread=unread)
        applied.extend(done)
        told.extend(more)
    steps = applied[0].steps if applied else next(iter(sorted_once.values()), None)
    told.extend(tell.about_machines(fleet, steps, register is not None))
    told.extend(tell.about_layers(applied))
    told.extend(tell.about_uncredited(applied))
    told.extend(tell.about_samples(applied))
    told.extend(tell.about_close(applied))
    told.extend(tell.about_claims(applied))
    told.extend(tell.about_contradictions(applied))
    told.extend(tell.about_targets(applied))
    found = [*findings(applied, before), *_empty_exports(intake)]
    if accepted is not None:
        today = {m.store_id: date.fromordinal(EPOCH + m.today) for m in fleet}
        found, more = accept(found, accepted, today, date.fromisoformat(as_of.shown[:10]))
        told.extend(more)
        found.sort(key=order_key)
    found.sort(key=lambda f: (f.grade.rank, f.rule != EMPTY_EXPORT))
    tally = _tally(applied, len(fleet))
    told.extend(tell.about_rules(applied, {r: int(t[:, IN].sum() + t[:, OUT].sum()) for r, t in tally.items()}))
    ladder = packs[0].grading if packs else Grading()
    scores = _Standings(ladder, applied, tally, found, len(fleet))
    due = upcoming(applied)
    cautions = tuple(dict.fromkeys(c for p in packs for c in p.cautions))
    report = Report(
        report_version=REPORT_VERSION, tool=tool, generated_at=generated_at, as_of=as_of.shown, decision=decision or (packs[0].decision if packs else "simple"),
        title=" and ".join(p.title for p in packs), inputs=_count_unused(intake, sorted_once.values()),
        packs=tuple(PackUsed(p.id, p.version, p.title, p.sha256) for p in packs), summary=_summary(_with_empty(scores.all(), found), len(records), unread),
        stores=_stores(fleet, scores, due, sorted_once, unread=unread or not len(records)), checked=_checked(applied, tally),
        findings=tuple(found), notices=tuple(dict.fromkeys(told)), record_defects=intake.defects,
        upcoming=tuple(due), cautions=cautions, records=len(records),
        actions=actions(found, packs, fleet, as_of, cautions),
        pictures=pictures(applied, fleet, drawn) if drawn else None,
    )  # fmt: skip
    return report if before is None else before.since(report, before.look(applied))


def _recorded(records: RecordSet) -> list[tuple[str, str]]:
    """The machines that the records name."""
    stores, equipment = records.texts["store_id"], records.texts["equipment_id"]
    width = len(equipment.vocabulary) or 1
    pairs = stores.codes.astype(np.int64) * width + equipment.codes
    heads = pairs[np.flatnonzero(np.diff(pairs, prepend=-1))] if len(pairs) else pairs
    return [(stores.vocabulary[p // width], equipment.vocabulary[p % width]) for p in np.unique(heads).tolist()]


def _empty_exports(intake: Intake) -> list[Finding]:
    """An export without a single row shows nothing: a finding of its own, never clean."""
    return [
        Finding(
            id=finding_id(EMPTY_EXPORT, file.file), rule=EMPTY_EXPORT, title="The export holds no record", kind="export",
            pack="", grade=Grade.MAJOR, status=Status.NOT_OBSERVED, reason="no_records", marks=(), grade_reason="",
            store_id="", equipment_id="", cycle_id="", cycle_started="", target="", observed=None, required=None,
            margin=None, message=f"{file.file} holds no row, so it shows no cleaning",
            evidence=(Evidence(file.file, "", 0, ()),), citations=(), hazard="",
            corrective_action="Export the log again, and check the dates and the store that were chosen.", deviation=None,
            limit_from="",
        )
        for file in intake.inputs if file.status == "read" and file.rows == 0
    ]  # fmt: skip


def _summary(verdict: Verdict, records: int, unread: bool) -> Verdict:
    """The verdict of the run, withheld where what was not read might undo it."""
    if not records:
        return grading.withheld(verdict, "no row could be read")
    return grading.withheld(verdict, "a file could not be read, and may hold what decides") if unread else verdict


def _with_empty(verdict: Verdict, found: Sequence[Finding]) -> Verdict:
    """The verdict of the run with its empty exports counted as checks that could not be shown."""
    empty = sum(f.rule == EMPTY_EXPORT for f in found)
    counts = replace(verdict.counts, not_observed=verdict.counts.not_observed + empty)
    return replace(verdict, counts=counts) if empty else verdict


def _tally(applied: Sequence[Applied], fleet: int) -> dict[str, Tallies]:
    """By rule: the number of checks of each machine (rows) and status (columns)."""
    tally: dict[str, Tallies] = {}
    for a in applied:
        table = tally.setdefault(a.rule.rule.id, np.zeros((fleet, 4), dtype=np.int64))
        for o in a.outcomes:
            table += np.bincount(o.machine * 4 + o.status, minlength=fleet * 4).reshape(fleet, 4)
    return tally


class _Standings:
    """Verdicts of machines, stores and the whole run from the same tallies."""

    def __init__(
        self, ladder: Grading, applied: Sequence[Applied], tally: Mapping[str, Tallies], found: Sequence[Finding],
        fleet: int,
    ) -> None:  # fmt: skip
        self.ladder = ladder
        weights = {a.rule.rule.id: a.pack.grading.weights[a.rule.rule.grade] for a in applied}
        self.rules = tuple(tally)
        self.weights = np.array([weights[r] for r in tally], dtype=np.float64)
        self.table = np.stack(list(tally.values())) if tally else np.zeros((0, fleet, 4), dtype=np.int64)
        self.grades: dict[tuple[str, str], tuple[dict[Grade, int], dict[Grade, int]]] = {}
        not_observed = Status.NOT_OBSERVED
        for f in found:
            keys = (("", ""), (f.store_id, ""), (f.store_id, f.equipment_id)) if f.store_id else (("", ""),)
            for key in keys:
                side = self.grades.setdefault(key, ({}, {}))[f.status is not_observed]
                side[f.grade] = side.get(f.grade, 0) + 1

    def of(self, first: Sequence[int], keys: Sequence[tuple[str, str]]) -> list[Verdict]:
        """The verdict of each run of machines that begins at a position of `first`."""
        if not len(first):
            return []
        table = np.add.reduceat(self.table, np.asarray(first, dtype=np.intp), axis=1)
        found = grading.scores(self.weights, table)
        counts = table.sum(axis=0).tolist()
        nothing: tuple[dict[Grade, int], dict[Grade, int]] = ({}, {})
        return [
            grading.verdict(self.ladder, score, Counts(*four), *self.grades.get(key, nothing))
            for score, four, key in zip(found, counts, keys, strict=True)
        ]

    def not_judged(self, first: Sequence[int]) -> list[tuple[str, ...]]:
        """The rules with no check IN or OUT, for each run of machines that begins at a position of `first`."""
        if not len(first):
            return []
        judged = self.table[:, :, IN] + self.table[:, :, OUT]
        idle = np.add.reduceat(judged, np.asarray(first, dtype=np.intp), axis=1) == 0
        return [
            tuple(rule for rule, none in zip(self.rules, of_store, strict=True) if none) for of_store in idle.T.tolist()
        ]

    def all(self) -> Verdict:
        """The verdict of the whole run."""
        if self.table.shape[1] == 0:
            return grading.verdict(self.ladder, grading.score([]), Counts(0, 0, 0, 0), {}, {})
        return self.of([0], [("", "")])[0]


def _stores(
    fleet: Sequence[Machine],
    scores: _Standings,
    due: Sequence[Due],
    sorted_once: Mapping[str | None, Steps],
    *,
    unread: bool,
) -> tuple[StoreResult, ...]:
    """How each store and machine stands; with something unread, one without a cycle is not judged to be in order."""
    next_due: dict[tuple[str, str], Due] = {}
    for d in due:
        next_due.setdefault((d.store_id, d.equipment_id), d)
    cycles = np.zeros(len(fleet), dtype=np.int64)
    for steps in [sorted_once[None]] if None in sorted_once else sorted_once.values():  # None has all there are
        cycles += np.bincount(steps.machine, minlength=len(fleet))
    verdicts = scores.of(range(len(fleet)), [(m.store_id, m.equipment_id) for m in fleet])
    silent = (cycles == 0) & unread
    verdicts = [grading.withheld(v, _NO_ROW) if s else v for v, s in zip(verdicts, silent.tolist(), strict=True)]
    equipment = [
        EquipmentResult(m.equipment_id, m.profile, count, verdict, next_due.get((m.store_id, m.equipment_id)))
        for m, count, verdict in zip(fleet, cycles.tolist(), verdicts, strict=True)
    ]
    first = [at for at, m in enumerate(fleet) if at == 0 or m.store_id != fleet[at - 1].store_id]
    of_store = scores.of(first, [(fleet[at].store_id, "") for at in first])
    ends = [*first[1:], len(fleet)]
    of_store = [
        grading.withheld(v, _NO_ROW) if silent[a:b].any() else v
        for v, a, b in zip(of_store, first, ends, strict=bool(first))
    ]
    return tuple(
        StoreResult(fleet[a].store_id, fleet[a].store_name, fleet[a].zone, verdict, tuple(equipment[a:b]), idle)
        for a, b, verdict, idle in zip(first, ends, of_store, scores.not_judged(first), strict=bool(first))
    )


def _checked(applied: Sequence[Applied], tally: Mapping[str, Tallies]) -> tuple[RuleChecked, ...]:
    rules = {a.rule.rule.id: a for a in reversed(applied)}
    found = []
    for rule_id in sorted(tally):
        a, counts = rules[rule_id], Counts(*tally[rule_id].sum(axis=0).tolist())
        judged = counts.in_ + counts.out
        low, high = grading.wilson(counts.out, judged)
        found.append(RuleChecked(
            rule_id, a.rule.rule.title, a.rule.rule.kind, a.rule.rule.grade, a.pack.id,
            "judged" if judged else "not exercised", counts, round(counts.out / judged, 4) if judged else None,
            None if low is None else round(low, 4), None if high is None else round(high, 4),
            citations(a.pack, a.rule.rule), a.rule.rule.corrective_action or "",
        ))  # fmt: skip
    return tuple(found)


def _count_unused(intake: Intake, formed: Iterable[Steps]) -> tuple[InputFile, ...]:
    """The files with the rows that were read and not used: told a second time, or otherwise by a later export."""
    every = list(formed)
    again, otherwise = (
        np.unique(np.concatenate([np.empty(0, dtype=np.intp), *(getattr(s, name) for s in every)]))
        for name in ("duplicates", "superseded")
    )
    if not len(again) and not len(otherwise):
        return intake.inputs
    names = [file for file, _ in intake.records.sources]
    counts = [Counter(names[s] for s in intake.records.source[rows].tolist()) for rows in (again, otherwise)]
    return tuple(replace(f, rows_duplicate=counts[0][f.file], rows_superseded=counts[1][f.file]) for f in intake.inputs)


__all__ = ["audit"]
