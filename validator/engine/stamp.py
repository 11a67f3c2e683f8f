"""Turn a check that is OUT or N/O into a finding: id, grade, marks, sentence, rows, citations, what to do."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from validator import grading
from validator.engine.apply import Applied
from validator.engine.evidence import MOST_ROWS, Rows
from validator.engine.omissions import Omissions
from validator.engine.settled import complete_cycles, settling
from validator.engine.wording import sentence
from validator.findings import Citation, Finding, Grade, Status
from validator.kinds.outcome import NOT_OBSERVED, OUT, STATUS_WORDS, Names, Outcomes, Shown
from validator.language import Said
from validator.machines import Machine
from validator.packs.model import Cite, Pack, Rule
from validator.statuses import OPEN
from validator.steps import Steps
from validator.tables import NAT

Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]
Instants = npt.NDArray[np.int64]
_STATUS = tuple(Status(word) for word in STATUS_WORDS)
_NOT_OBSERVED = Status.NOT_OBSERVED  # looking a member up on its class takes a while, and findings are many
_MARKS = ((), ("cos",), ("repeat",), ("cos", "repeat"))


class Repeats(Protocol):
    """An earlier report, asked whether a finding stood there against an earlier cycle."""

    def repeats(self, rule: str, store_id: str, equipment_id: str, target: str, status: Status, began: int) -> bool: ...


def findings(applied: Sequence[Applied], before: Repeats | None = None) -> list[Finding]:
    """The findings of all rules, gravest first, in one declared order; `before` may mark more of them as repeated."""
    starts: dict[tuple[int, int], str] = {}
    rows = {id(a.steps): Rows(a.steps) for a in applied}
    found: list[Finding] = []
    omissions, complete = Omissions(), complete_cycles(applied)
    for a in applied:
        cited = citations(a.pack, a.rule.rule)
        for o in a.outcomes:
            made = list(_of_outcomes(a, o, cited, starts, rows[id(a.steps)], before, complete[a.pack.id]))
            omissions.add(a, o, made)
            found += made
    return sorted(omissions.told(found), key=order_key)


def _of_outcomes(
    applied: Applied, o: Outcomes, cited: tuple[Citation, ...], starts: dict[tuple[int, int], str], rows: Rows,
    before: Repeats | None, complete: Mask,
) -> Iterator[Finding]:  # fmt: skip
    at = np.flatnonzero((o.status == OUT) | (o.status == NOT_OBSERVED))
    if not len(at):
        return
    when = _when(applied, o, at)
    repeated = _repeated(applied, o, at, when)
    if before is not None:
        repeated |= _stood_before(applied, o, at, when, before)
    grades = {marks: grading.moved(applied.pack.grading, applied.rule.rule.grade, marks) for marks in _MARKS}
    steps = applied.steps
    shown = [o.show(i) for i in at.tolist()]
    rows.say((facts.columns, facts.rows) for facts in shown)
    settled = settling(applied, o, at, complete)
    for i, machine, cycle, later, repeat, facts in zip(
        at.tolist(), o.machine[at].tolist(), o.cycle[at].tolist(), settled.tolist(), repeated.tolist(), shown, strict=True
    ):  # fmt: skip
        for one in (cycle, later):
            if (id(steps), one) not in starts:
                starts[id(steps), one] = local_start(steps, one)
        began, settled_on = starts[id(steps), cycle], starts[id(steps), later]
        corrected = o.corrected is not None and bool(o.corrected[i])
        marks = ("cos",) * corrected + ("repeat",) * repeat
        settled_by = steps.cycle_ids[later] if later >= 0 else ""
        yield _finding(
            applied, o, i, facts, applied.machines[machine], cycle, began, marks, grades[marks], cited, rows,
            (settled_by, settled_on),
        )  # fmt: skip


def order_key(f: Finding) -> tuple[object, ...]:
    """Gravest first, OUT before N/O, then place, time, rule and target."""
    return (
        f.grade.rank, f.status is _NOT_OBSERVED, f.store_id, f.equipment_id, f.cycle_started, f.cycle_id, f.rule,
        f.target, f.id,
    )  # fmt: skip


def _when(applied: Applied, o: Outcomes, at: Index) -> Instants:
    """When the cycles of these checks began; an open interval comes after all others."""
    steps = applied.steps
    cycle = o.cycle[at]
    when = np.where(cycle >= 0, steps.began[cycle], NAT) if steps.cycles else np.full(len(at), NAT)
    if applied.rule.rule.kind == "interval":
        when[[o.target[i] == OPEN for i in at.tolist()]] = np.iinfo(np.int64).max
    return when


def _stood_before(applied: Applied, o: Outcomes, at: Index, when: Instants, before: Repeats) -> Mask:
    """Which of these checks stood the same way in an earlier report, against an earlier cycle."""
    rule = applied.rule.rule.id
    machines = [applied.machines[m] for m in o.machine[at].tolist()]
    return np.array([
        before.repeats(rule, machine.store_id, machine.equipment_id, o.target[i], _STATUS[int(o.status[i])], began)
        for i, machine, began in zip(at.tolist(), machines, when.tolist(), strict=True)
    ], dtype=bool)  # fmt: skip


def _repeated(applied: Applied, o: Outcomes, at: Index, when: Instants) -> Mask:
    """Which of these checks stood the same way against the same machine and target in an earlier cycle."""
    if applied.rule.rule.kind == "interval":
        target = np.zeros(len(at), dtype=np.int64)
    elif isinstance(o.target, Names):
        target = o.target.codes[at].astype(np.int64)
    else:
        target = np.unique([o.target[i] for i in at.tolist()], return_inverse=True)[1]
    key = (o.machine[at] * (int(target.max(initial=0)) + 2) + target + 1) * len(STATUS_WORDS) + o.status[at]
    order = np.lexsort((when, key))
    heads = np.diff(key[order], prepend=-1) != 0
    earliest = when[order][heads][np.cumsum(heads) - 1]
    repeated = np.zeros(len(at), dtype=bool)
    repeated[order] = when[order] > earliest
    return repeated


def local_start(steps: Steps, cycle: int) -> str:
    """When a cycle began, by its store's clock, as RFC 3339; '' where no time is known or there is no cycle."""
    began = steps.began.item(cycle) if cycle >= 0 else NAT
    return steps.machines[steps.machine.item(cycle)].clock.moment(began) if began != NAT else ""


def _finding(
    applied: Applied, o: Outcomes, i: int, shown: Shown, machine: Machine, cycle: int, started: str, marks: tuple[str, ...],
    graded: tuple[Grade, str], cited: tuple[Citation, ...], rows: Rows, settled: tuple[str, str],
) -> Finding:  # fmt: skip
    rule, pack, steps = applied.rule.rule, applied.pack, applied.steps
    cycle_id = steps.cycle_ids[cycle] if cycle >= 0 else ""
    grade, grade_reason = graded
    target = o.target[i]
    required = shown.required.text if shown.required else ""
    message = sentence(rule.kind, o.reason[i], target if target != OPEN else "", required, shown.facts)
    unread = rows.unread(shown.columns, shown.rows)
    if unread:
        message = Said("{message}; what stands there cannot be read: {cells}", {"message": message, "cells": unread})
    if o.close is not None and bool(o.close[i]) and o.reason[i] != "within_uncertainty":
        message = Said("{message} (nearer to the limit than the clock is read)", {"message": message})
    if len(shown.rows) > MOST_ROWS:
        named = {"message": message, "named": str(MOST_ROWS), "rows": str(len(shown.rows))}
        message = Said("{message} (the first {named} of {rows} rows are named)", named)
    return Finding(
        id=finding_id(rule.id, machine.store_id, machine.equipment_id, cycle_id, target, o.part), rule=rule.id,
        title=rule.title, kind=rule.kind, pack=pack.id, grade=grade, status=_STATUS[int(o.status[i])],
        reason=o.reason[i], marks=marks, grade_reason=grade_reason, store_id=machine.store_id,
        equipment_id=machine.equipment_id, cycle_id=cycle_id, cycle_started=started,
        target=target, observed=shown.observed, required=shown.required, margin=shown.margin, message=message,
        evidence=rows.of(shown.columns, shown.rows, shown.beside), citations=cited, hazard=rule.hazard or "",
        corrective_action=rule.corrective_action or "", deviation=None, limit_from=applied.limit_from,
        control=rule.plan.control if rule.plan else "", settled_by=settled[0], settled_on=settled[1],
    )  # fmt: skip


def finding_id(*parts: str) -> str:
    """A short name for a check that is the same every night: of the rule and its subject, not of rows or values."""
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:16]


def citations(pack: Pack, rule: Rule) -> tuple[Citation, ...]:
    """Where a rule comes from, each with its source's title and edition."""
    return tuple(citation(pack, cite) for cite in rule.cites)


def citation(pack: Pack, cite: Cite) -> Citation:
    """A place in a source of the pack, with the source's title and edition."""
    source = pack.sources.get(cite.source)
    return Citation(
        cite.source, source.title if source else cite.source, cite.section or "",
        (source.edition if source else None) or "", cite.says or "", source.published if source else False,
    )  # fmt: skip
