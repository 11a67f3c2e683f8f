"""Turn a check that is OUT or N/O into a finding: id, grade, marks, sentence, rows, citations, what to do."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from validator import grading
from validator.engine.apply import Applied
from validator.engine.wording import sentence
from validator.findings import Citation, Evidence, Finding, Status
from validator.kinds.interval import OPEN
from validator.kinds.outcome import NOT_OBSERVED, OUT, STATUS_WORDS, Outcomes
from validator.packs.model import Pack, Rule
from validator.steps import Steps
from validator.tables import NAT

_STATUS = tuple(Status(word) for word in STATUS_WORDS)
_NOT_OBSERVED = Status.NOT_OBSERVED  # looking a member up on its class takes a while, and findings are many
MOST_ROWS = 60
"""Rows named in one finding: a finding on more says so in its sentence."""


@dataclass(frozen=True)
class _Open:
    """A check that is OUT or N/O, before its marks are known."""

    applied: Applied
    outcomes: Outcomes
    at: int


def findings(applied: Sequence[Applied]) -> list[Finding]:
    """The findings of all rules, gravest first, in one declared order."""
    open_ = [
        _Open(a, o, int(i)) for a in applied for o in a.outcomes
        for i in np.flatnonzero((o.status == OUT) | (o.status == NOT_OBSERVED))
    ]  # fmt: skip
    repeated = _repeated(open_)
    cited = {id(a): citations(a.pack, a.rule.rule) for a in applied}
    started = {id(a.steps): dict[int, str]() for a in applied}
    for steps in {id(a.steps): a.steps for a in applied}.values():
        mine = {int(c.outcomes.cycle[c.at]) for c in open_ if c.applied.steps is steps}
        started[id(steps)] = local_starts(steps, sorted(mine - {-1}))
    found = [
        _finding(check, n in repeated, started[id(check.applied.steps)], cited[id(check.applied)])
        for n, check in enumerate(open_)
    ]
    return sorted(found, key=order_key)


def order_key(f: Finding) -> tuple[object, ...]:
    """Gravest first, OUT before N/O, then place, time, rule and target."""
    return (
        f.grade.rank, f.status is _NOT_OBSERVED, f.store_id, f.equipment_id, f.cycle_started, f.cycle_id, f.rule,
        f.target, f.id,
    )  # fmt: skip


def _repeated(open_: Sequence[_Open]) -> set[int]:
    """Which checks stood the same way against the same machine in an earlier cycle."""
    first: dict[tuple[object, ...], list[tuple[int, str, int]]] = {}
    for n, check in enumerate(open_):
        o, i = check.outcomes, check.at
        steps = check.applied.steps
        cycle = int(o.cycle[i])
        target = "" if check.applied.rule.rule.kind == "interval" else o.target[i]
        key = (check.applied.rule.rule.id, id(check.applied.pack), int(o.machine[i]), target, o.part, int(o.status[i]))
        running = o.target[i] == OPEN
        when = np.iinfo(np.int64).max if running else int(steps.began[cycle]) if cycle >= 0 else NAT
        first.setdefault(key, []).append((when, steps.cycle_ids[cycle] if cycle >= 0 else "", n))
    repeated: set[int] = set()
    for same in first.values():
        earliest = min(same)[0]
        repeated.update(n for when, _, n in same if when > earliest)
    return repeated


def local_starts(steps: Steps, cycles: Sequence[int]) -> dict[int, str]:
    """When each of these cycles began, by its store's clock, as RFC 3339; '' where no time is known."""
    texts = dict.fromkeys(cycles, "")
    by_zone: dict[str, list[int]] = {}
    began = steps.began
    for cycle in cycles:
        if began[cycle] != NAT:
            by_zone.setdefault(steps.machines[int(steps.machine[cycle])].zone, []).append(cycle)
    for mine in by_zone.values():
        clock = steps.machines[int(steps.machine[mine[0]])].clock
        offset = clock.offset_at(began[mine])
        wall = np.datetime_as_string((began[mine] + offset).view("datetime64[us]"), unit="s")
        for cycle, text, o in zip(mine, wall.tolist(), (offset // 60_000_000).tolist(), strict=True):
            texts[cycle] = f"{text}{'-' if o < 0 else '+'}{abs(o) // 60:02d}:{abs(o) % 60:02d}"
    return texts


def _finding(check: _Open, repeat: bool, started: Mapping[int, str], cited: tuple[Citation, ...]) -> Finding:
    applied, o, i = check.applied, check.outcomes, check.at
    rule, pack, steps = applied.rule.rule, applied.pack, applied.steps
    machine = applied.machines[int(o.machine[i])]
    cycle = int(o.cycle[i])
    cycle_id = steps.cycle_ids[cycle] if cycle >= 0 else ""
    corrected = o.corrected is not None and bool(o.corrected[i])
    marks = ("cos",) * corrected + ("repeat",) * repeat
    grade, grade_reason = grading.moved(pack.grading, rule.grade, marks)
    shown = o.show(i)
    target = o.target[i]
    required = shown.required.text if shown.required else ""
    message = sentence(rule.kind, o.reason[i], target if target != OPEN else "", required, shown.facts)
    if o.close is not None and bool(o.close[i]):
        message += " (nearer to the limit than the clock is read)"
    rows = list(shown.rows)
    if len(rows) > MOST_ROWS:
        message += f" (the first {MOST_ROWS} of {len(rows)} rows are named)"
    return Finding(
        id=finding_id(rule.id, machine.store_id, machine.equipment_id, cycle_id, target, o.part), rule=rule.id,
        title=rule.title, kind=rule.kind, pack=pack.id, grade=grade, status=_STATUS[int(o.status[i])],
        reason=o.reason[i], marks=marks, grade_reason=grade_reason, store_id=machine.store_id,
        equipment_id=machine.equipment_id, cycle_id=cycle_id, cycle_started=started.get(cycle, ""),
        target=target, observed=shown.observed, required=shown.required, margin=shown.margin, message=message,
        evidence=_evidence(steps, rows, shown.columns), citations=cited, hazard=rule.hazard or "",
        corrective_action=rule.corrective_action or "", deviation=None,
    )  # fmt: skip


def _evidence(steps: Steps, rows: Sequence[int], columns: tuple[str, ...]) -> tuple[Evidence, ...]:
    records = steps.records
    at = sorted({(records.source.item(r), records.rows.item(r)) for r in map(steps.row.item, rows)})
    sources = records.sources
    return tuple(Evidence(sources[at_][0], sources[at_][1], row, columns) for at_, row in at[:MOST_ROWS])


def finding_id(*parts: str) -> str:
    """A short name for a check that is the same every night: of the rule and its subject, not of rows or values."""
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:16]


def citations(pack: Pack, rule: Rule) -> tuple[Citation, ...]:
    """Where a rule comes from, each with its source's title and edition."""
    found = []
    for cite in rule.cites:
        source = pack.sources.get(cite.source)
        found.append(Citation(
            cite.source, source.title if source else cite.source, cite.section or "",
            (source.edition if source else None) or "", cite.says or "", source.published if source else False,
        ))  # fmt: skip
    return tuple(found)
