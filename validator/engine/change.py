"""What has changed since an earlier report: which findings are new, which persist, which were resolved?

A finding persists where the same check stood the same way, or was OUT, in the earlier report. A check that could not be
shown then and is OUT now is new; so is a finding whose acceptance has ended. An earlier finding is resolved only where
the same check is judged again and is now IN or N/A. A check that these records no longer hold is *not judged again*: a
shorter export puts nothing right. That holds as well for a check of two machines, such as one person at two stores at
once, of which the records hold only one.

A machine that was overdue and has been cleaned since leaves an interval that was too long. It is the same lateness, so
the finding about it persists.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from validator.engine.apply import Applied
from validator.engine.stamp import finding_id
from validator.findings import NEW, PERSISTING, Change, Due, Finding, Gone, Notice, PackUsed, Report, Status
from validator.kinds.outcome import IN, NOT_APPLICABLE, Lost, Outcomes
from validator.machines import EPOCH, AsOf
from validator.statuses import EMPTY_EXPORT, LOST_RECORD, OPEN
from validator.steps import Steps
from validator.timing.instants import NoInstant, parse_instant

Subject = tuple[str, str, str, str, Status]
"""A rule, a store, an equipment, a target and how the check stood."""

_NOW = {IN: "met", NOT_APPLICABLE: "not_applicable"}


@dataclass(frozen=True)
class Looked:
    """What became of an earlier finding's check: its id now, which differs where an open interval was closed, and its status."""

    id: str
    status: int


class Before:
    """An earlier report, by what a later audit asks of it. `file` and `sha256` say where it was read from."""

    def __init__(self, report: Report, file: str, sha256: str) -> None:
        self.report, self.file, self.sha256 = report, file, sha256
        self._due: dict[tuple[str, str], dict[str, Due]] = {}
        self._last: dict[tuple[str, str], dict[str, tuple[int, str]]] = {}
        for due in report.upcoming:
            day = _day(due.last_completed)
            if due.last_cycle_id and day is not None:
                self._last.setdefault((due.store_id, due.equipment_id), {})[due.rule] = day, due.last_cycle_id
            self._due.setdefault((due.store_id, due.equipment_id), {})[due.rule] = due
        self._by_rule: dict[str, list[Finding]] = {}
        self._first: dict[Subject, int] = {}
        for f in report.findings:
            self._by_rule.setdefault(f.rule, []).append(f)
            began = _instant(f.cycle_started)
            if began is not None and f.target != OPEN:
                key = _subject(f)
                self._first[key] = min(began, self._first.get(key, began))

    def repeats(self, rule: str, store_id: str, equipment_id: str, target: str, status: Status, began: int) -> bool:
        """Whether the same finding stood in the earlier report against a cycle that began before this one."""
        first = self._first.get((rule, store_id, equipment_id, "" if target == OPEN else target, status))
        return first is not None and first < began

    def lost(self, rule: str, steps: Steps) -> Lost:
        """What the earlier report knew of the cleanings of each machine that a rule counts, and these records may not hold.

        Without a rule, for one that is not about intervals, `on` is the last of all that are not there.
        """
        size = len(steps.machines)
        on, reach, first, known = (np.full(size, nothing, dtype=np.int64) for nothing in (-1, -1, -2, -1))
        cycles = [""] * size
        mine = {(m, c): n for n, (m, c) in enumerate(zip(steps.machine.tolist(), steps.cycle_ids, strict=True))}
        told = np.zeros(steps.cycles, dtype=bool)
        at = {(m.store_id, m.equipment_id): n for n, m in enumerate(steps.machines)}
        for f in self._by_rule.get(rule, ()):
            cycle = mine.get((at.get((f.store_id, f.equipment_id), -1), f.cycle_id))
            if cycle is not None and f.target != OPEN:
                told[cycle] = True
        for key, n in at.items():
            last = self._last.get(key, {})
            day, cycle_id = last.get(rule, (-1, "")) if rule else max(last.values(), default=(-1, ""))
            reach[n] = day
            if cycle_id and (n, cycle_id) not in mine:
                on[n], cycles[n] = day, cycle_id
            due = self._due.get(key, {}).get(rule)
            if due is not None and due.first_cycle_id:
                first[n] = mine.get((n, due.first_cycle_id), -1)
                known[n] = -1 if (before := _day(due.known_before)) is None else before
        return Lost(on, cycles, reach, first, known, told)

    def look(self, applied: Iterable[Applied]) -> dict[str, Looked]:
        """By the id of an earlier finding: the same check as it stands now. Checks that are not made are not in it."""
        found: dict[str, Looked] = {}
        for a in applied:
            earlier = self._by_rule.get(a.rule.rule.id, ())
            at = {(m.store_id, m.equipment_id): n for n, m in enumerate(a.machines) if a.machine_in[n]}
            here = [(at[f.store_id, f.equipment_id], f) for f in earlier if (f.store_id, f.equipment_id) in at]
            if here:
                _look(a, here, found)
        return found

    def since(self, report: Report, looked: Mapping[str, Looked]) -> Report:
        """The report with each finding new or persisting, and what became of the earlier ones."""
        looked = dict(looked) | {
            known: Looked(known, IN)
            for file in report.inputs
            if file.rows
            for known in [finding_id(EMPTY_EXPORT, file.file)]
        }
        stood = {looked[f.id].id if f.id in looked else f.id: f for f in self.report.findings}
        marked = tuple(self._marked(f, stood.get(f.id)) for f in report.findings)
        there = {f.id for f in marked}
        lost = {row for f in self.report.findings if f.id not in looked for row in _rows(f)}
        resolved, not_judged = list[Gone](), list[Gone]()
        for f in self.report.findings:
            now = looked.get(f.id)
            if f.id in there or (now is not None and now.id in there):
                continue
            # what two machines show together is not judged where the rows of one are no longer in the records
            now = None if lost & _rows(f) else now
            gone = Gone(f.id, f.rule, f.title, f.grade, f.status, f.store_id, f.equipment_id, f.cycle_id, f.cycle_started,
                        f.target, _NOW[now.status] if now is not None else "")  # fmt: skip
            (not_judged if now is None else resolved).append(gone)
        count = Counter(f.since for f in marked)
        change = Change(self.file, self.sha256, self.report.as_of, self.report.generated_at, count[NEW], count[PERSISTING],
                        tuple(resolved), tuple(not_judged))  # fmt: skip
        told = (*report.notices, *self._unlike(report), *self._silent(report))
        return replace(report, findings=marked, notices=told, change=change)

    def _marked(self, f: Finding, before: Finding | None) -> Finding:
        """The finding as new, or as persisting since the report that was the first to tell of it."""
        since = _since(f, before)
        first = before.first_reported or self.report.as_of if before is not None and since == PERSISTING else ""
        return replace(f, since=since, first_reported=first)

    def _silent(self, report: Report) -> Iterator[Notice]:
        """The machines of which these records hold no cycle, and the earlier report knew some or told the same."""
        silent = {(n.store_id, n.equipment_id) for n in self.report.notices if n.code == LOST_RECORD}
        known = {(s.store_id, e.equipment_id) for s in self.report.stores for e in s.equipment if e.cycles} | silent
        for store in report.stores:
            for e in store.equipment:
                if not e.cycles and (store.store_id, e.equipment_id) in known:
                    message = f"{e.equipment_id}: an earlier report knew cleanings of this machine, and these records hold none; send its whole log"
                    yield Notice(LOST_RECORD, message, "", store.store_id, e.equipment_id)

    def _unlike(self, report: Report) -> list[Notice]:
        """What makes the two reports unlike, so that a finding may be new or gone without a change in the store."""
        then, now = ({p.id: p for p in r.packs} for r in (self.report, report))
        unlike = [f"{pack} was not used then" for pack in now if pack not in then]
        unlike += [f"{pack} is not used now" for pack in then if pack not in now]
        unlike += [
            f"{p.id} was {_edition(then[p.id], p)} then and is {_edition(p, then[p.id])} now"
            for p in report.packs if p.id in then and then[p.id].sha256 != p.sha256
        ]  # fmt: skip
        if self.report.decision != report.decision:
            unlike.append(f"the decision rule was {self.report.decision} then and is {report.decision} now")
        message = f"the earlier report was judged otherwise: {'; '.join(unlike)}; a finding may be new or gone for that reason"
        return [Notice("unlike_earlier_report", message)] if unlike else []


def is_later(earlier: str, as_of: AsOf) -> bool:
    """Whether an earlier report, by its `as_of`, looks from a later moment than this audit does, on any clock."""
    try:
        then = AsOf.parse(earlier)
    except ValueError:
        return False
    # a wall-clock time is within a day of the same figure read as UTC
    margin = 0 if then.absolute == as_of.absolute else 24 * 3600 * 10**6
    return then.micros - margin > as_of.micros


def _edition(pack: PackUsed, other: PackUsed) -> str:
    return pack.version if pack.version != other.version else f"{pack.version} ({pack.sha256[:12]})"


def _since(finding: Finding, before: Finding | None) -> str:
    if before is None or (before.deviation and not finding.deviation):
        return NEW
    return PERSISTING if before.status in (finding.status, Status.OUT) else NEW


def _rows(f: Finding) -> set[tuple[str, str, str, int]]:
    """The rows that a finding rests on, by its rule."""
    return {(f.rule, e.file, e.sheet, e.row) for e in f.evidence}


def _subject(f: Finding) -> Subject:
    return f.rule, f.store_id, f.equipment_id, f.target, f.status


def _instant(text: str) -> int | None:
    try:
        return parse_instant(text)[0] if text else None
    except NoInstant:
        return None


def _day(text: str) -> int | None:
    try:
        return date.fromisoformat(text).toordinal() - EPOCH if text else None
    except ValueError:
        return None


def _look(a: Applied, earlier: Sequence[tuple[int, Finding]], found: dict[str, Looked]) -> None:
    """Find the checks of one rule that earlier findings were about."""
    wanted = {f.id for _, f in earlier}
    machines = np.unique([m for m, _ in earlier])
    names = {(m, f.cycle_id) for m, f in earlier}
    cycles = np.flatnonzero(np.isin(a.steps.machine, machines)).tolist()
    named = [c for c in cycles if (int(a.steps.machine[c]), a.steps.cycle_ids[c]) in names]
    for o in a.outcomes:
        near = np.isin(o.machine, machines) & (np.isin(o.cycle, named) | (o.cycle < 0))
        for i in np.flatnonzero(near).tolist():
            known = _id(a, o, i)
            if known in wanted:
                found[known] = Looked(known, int(o.status[i]))
    if a.rule.rule.kind == "interval":
        for machine, f in earlier:
            if f.target == OPEN and f.id not in found:
                _closed(a, machine, f, found)


def _closed(a: Applied, machine: int, f: Finding, found: dict[str, Looked]) -> None:
    """The interval that was open in an earlier report and was ended by a cleaning since."""
    steps = a.steps
    before = [c for c in np.flatnonzero(steps.machine == machine).tolist() if steps.cycle_ids[c] == f.cycle_id]
    if f.cycle_id and not before:
        return
    since = max(steps.began[before].tolist(), default=-(2**63))
    for o in a.outcomes:
        closed = np.flatnonzero((o.machine == machine) & (o.cycle >= 0))
        closed = np.array([i for i in closed.tolist() if o.target[i] != OPEN], dtype=np.intp)
        after = closed[steps.began[o.cycle[closed]] > since]
        if len(after):
            i = int(after[np.argmin(steps.began[o.cycle[after]])])
            found[f.id] = Looked(_id(a, o, i), int(o.status[i]))


def _id(a: Applied, o: Outcomes, i: int) -> str:
    machine, cycle = a.machines[int(o.machine[i])], int(o.cycle[i])
    cycle_id = a.steps.cycle_ids[cycle] if cycle >= 0 else ""
    return finding_id(a.rule.rule.id, machine.store_id, machine.equipment_id, cycle_id, o.target[i], o.part)
