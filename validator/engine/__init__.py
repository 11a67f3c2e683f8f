"""The audit: records, packs, a register and a moment in; one report out.

Time is an argument here: nothing in this package asks the clock or the machine's own time zone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from validator import grading
from validator.deviations import Deviations, accept
from validator.engine import notices as tell
from validator.engine.actions import actions
from validator.engine.change import Before
from validator.engine.due import due_key
from validator.engine.judging import Judged, Tallies, judge, recorded
from validator.engine.pictures import pictures
from validator.engine.stamp import citations, finding_id, order_key
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
from validator.packs.model import Grading, Pack, Rule
from validator.records import Intake
from validator.register import Register
from validator.statuses import EMPTY_EXPORT

_NO_ROW = "no row about it could be read"


def audit(
    intake: Intake, packs: Sequence[Pack], register: Register | None, as_of: AsOf, *, generated_at: str, tool: str,
    decision: str = "", accepted: Deviations | None = None, before: Before | None = None, drawn: int = 0,
) -> Report:  # fmt: skip
    """Judge every cycle and interval of the records by the packs and say how it stands.

    `accepted` are the deviations that somebody has accepted: findings that fit one are marked and count as observations.
    `before` is an earlier report: findings are new or persisting since, and repeated where they stood there before.
    `drawn` asks for what a report draws beside its findings, for at most so many cycles and machines; a text report needs none.
    """
    fleet = machines(register, recorded(intake.records), as_of)
    unread = any(f.status != "read" for f in intake.inputs)
    piece = judge(intake.records, np.arange(len(fleet)), fleet, packs, decision, unread=unread, before=before,
                  drawn=drawn)  # fmt: skip
    return compose([piece], fleet, intake, packs, register, as_of, generated_at=generated_at, tool=tool,
                   decision=decision, accepted=accepted, before=before)  # fmt: skip


def compose(
    pieces: Sequence[Judged], fleet: Sequence[Machine], intake: Intake, packs: Sequence[Pack], register: Register | None,
    as_of: AsOf, *, generated_at: str, tool: str, decision: str = "", accepted: Deviations | None = None,
    before: Before | None = None,
) -> Report:  # fmt: skip
    """One report of what was judged piece by piece; each machine of the fleet is in exactly one piece.

    `intake` holds what is told of the files as a whole; its own records are not looked at.
    """
    unread = any(f.status != "read" for f in intake.inputs)
    records = sum(p.records for p in pieces)
    found = [*(f for p in pieces for f in p.found), *_empty_exports(intake)]
    found.sort(key=order_key)
    told = [*intake.notices, *tell.in_words(_told(pieces, fleet, packs, register))]
    if accepted is not None:
        today = {m.store_id: date.fromordinal(EPOCH + m.today) for m in fleet}
        found, more = accept(found, accepted, today, date.fromisoformat(as_of.shown[:10]))
        told.extend(more)
        found.sort(key=order_key)
    found.sort(key=lambda f: (f.grade.rank, f.rule != EMPTY_EXPORT))
    tally = _whole_tally(pieces, len(fleet))
    told.extend(tell.about_rules({r: int(t[:, IN].sum() + t[:, OUT].sum()) for r, t in tally.items()}))
    rules = {b.rule.id: (p, b.rule) for p in reversed(packs) for b in p.rules}
    ladder = packs[0].grading if packs else Grading()
    weights = [rules[r][0].grading.weights[rules[r][1].grade] for r in tally]
    scores = _Standings(ladder, weights, tally, found, len(fleet))
    due = sorted((d for p in pieces for d in p.due), key=due_key)
    cautions = tuple(dict.fromkeys(c for p in packs for c in p.cautions))
    report = Report(
        report_version=REPORT_VERSION, tool=tool, generated_at=generated_at, as_of=as_of.shown, decision=decision or (packs[0].decision if packs else "simple"),
        title=" and ".join(p.title for p in packs), inputs=_count_unused(intake, pieces),
        packs=tuple(PackUsed(p.id, p.version, p.title, p.sha256) for p in packs), summary=_summary(_with_empty(scores.all(), found), records, unread),
        stores=_stores(fleet, scores, due, pieces, unread=unread or not records), checked=_checked(rules, tally),
        findings=tuple(found), notices=tuple(dict.fromkeys(told)), record_defects=intake.defects,
        upcoming=tuple(due), cautions=cautions, records=records, pictures=pictures([p.drawn for p in pieces if p.drawn is not None], len(fleet)),
    )  # fmt: skip
    if before is not None:
        report = before.since(report, {k: v for p in pieces for k, v in p.looked.items()})
    return replace(report, actions=actions(report, packs, fleet, as_of))


def _told(
    pieces: Sequence[Judged], fleet: Sequence[Machine], packs: Sequence[Pack], register: Register | None
) -> Iterable[tell.Told]:
    """What the pieces tell, and what is told of the fleet and the packs as a whole."""
    for piece in pieces:
        yield from piece.told
    yield from tell.about_limits(fleet, packs)
    yield from tell.about_fleet(fleet, register is not None)
    judged, named = set().union(*(p.judged for p in pieces)), set().union(*(p.named for p in pieces))
    yield from tell.about_stores(fleet, judged, named)
    yield from tell.about_layers(packs)


def _whole_tally(pieces: Sequence[Judged], fleet: int) -> dict[str, Tallies]:
    """The tallies of the pieces in one table for each rule, a line for each machine of the fleet."""
    whole = {rule: np.zeros((fleet, 4), dtype=np.int64) for rule in (pieces[0].tally if pieces else ())}
    for piece in pieces:
        for rule, table in piece.tally.items():
            whole[rule][piece.at] = table
    return whole


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


class _Standings:
    """Verdicts of machines, stores and the whole run from the same tallies."""

    def __init__(
        self, ladder: Grading, weights: Sequence[float], tally: Mapping[str, Tallies], found: Sequence[Finding],
        fleet: int,
    ) -> None:  # fmt: skip
        self.ladder = ladder
        self.rules = tuple(tally)
        self.weights = np.array(weights, dtype=np.float64)
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
    pieces: Sequence[Judged],
    *,
    unread: bool,
) -> tuple[StoreResult, ...]:
    """How each store and machine stands; with something unread, one without a cycle is not judged to be in order."""
    next_due: dict[tuple[str, str], Due] = {}
    for d in due:
        next_due.setdefault((d.store_id, d.equipment_id), d)
    cycles = np.zeros(len(fleet), dtype=np.int64)
    for piece in pieces:
        cycles[piece.at] = piece.cycles
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


def _checked(rules: Mapping[str, tuple[Pack, Rule]], tally: Mapping[str, Tallies]) -> tuple[RuleChecked, ...]:
    found = []
    for rule_id in sorted(tally):
        (pack, rule), counts = rules[rule_id], Counts(*tally[rule_id].sum(axis=0).tolist())
        judged = counts.in_ + counts.out
        low, high = grading.wilson(counts.out, judged)
        found.append(RuleChecked(
            rule_id, rule.title, rule.kind, rule.grade, pack.id,
            "judged" if judged else "not exercised", counts, round(counts.out / judged, 4) if judged else None,
            None if low is None else round(low, 4), None if high is None else round(high, 4),
            citations(pack, rule), rule.corrective_action or "",
        ))  # fmt: skip
    return tuple(found)


def _count_unused(intake: Intake, pieces: Sequence[Judged]) -> tuple[InputFile, ...]:
    """The files with the rows that were read and not used: told a second time, or otherwise by a later export."""
    again = sum((p.duplicates for p in pieces), Counter[str]())
    otherwise = sum((p.superseded for p in pieces), Counter[str]())
    if not again and not otherwise:
        return intake.inputs
    return tuple(replace(f, rows_duplicate=again[f.file], rows_superseded=otherwise[f.file]) for f in intake.inputs)


__all__ = ["audit", "compose"]
