"""What is to be done, where and by when: one action for all findings of a rule that ask for the same at one machine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from validator.deviations import ACCEPTED
from validator.engine.lacking import in_words
from validator.engine.stamp import citation, finding_id
from validator.findings import Action, Citation, Due, Finding, Grade, Report, Status
from validator.language import Said
from validator.machines import EPOCH, AsOf, Machine
from validator.packs.model import Pack
from validator.quantities import Duration, say
from validator.statuses import LOST_RECORD, OPEN
from validator.timing.zones import DAY, Clock, clock

_NO_TIME = "no time is set for this grade"
_WAS_DUE = "the cleaning was due then"
_SINCE_NOW = "{grade}: within {within} of this audit"
_SINCE_FIRST = "{grade}: within {within} of the first report of it, {first}"
_NOT_SHOWN = "no time is set for what could not be shown"
_CORRECTED = "cos"
_FOR_THE_REGISTER = {
    ("interval", "no_start"): "the day on which the machine went into service",
    ("record", "no_start"): "the day on which the machine went into service",
    ("concentration", "no_limit"): "the limits of the product's label",
    ("mixed_strength", "no_product_strength"): "the strength of the product as sold",
}
"""What no record can show, since the register lacks it: by kind and reason."""
_SEND = {
    LOST_RECORD: "Send the whole log of this machine again, and find out where the older records are. Clean anew if nobody can tell.",
    "unread_file": "Send the file that could not be read again. Clean anew if nobody can tell when it was done last.",
}
"""What no better record from now on can show, since the one there is was not looked at: by reason."""
_DAY, _MINUTE = len("2026-06-17"), len("2026-06-17T06:00")
_INSTANT = 1_000_000
"""The last second of a day, before the midnight that ends it."""
_Due = tuple[int | None, str, str, Citation | None]
"""The moment itself, then as an action bears it: in words of a clock, why, and by which source."""


def actions(report: Report, packs: Sequence[Pack], fleet: Sequence[Machine], as_of: AsOf) -> tuple[Action, ...]:
    """Everything that the report's findings ask for, the most urgent first.

    What is due sooner comes before what is due later, and the graver of two that are due at once first; then what has no
    time, and last what could not be shown. What was put right on site, met by a later cleaning or accepted asks for
    nothing. One act puts right what several findings tell of one omission, so it is asked for once.
    """
    asking = [f for f in report.findings if asks(f)]
    by_id = {f.id: f for f in asking}
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for f in asking:
        of = by_id.get(f.same_as, f)
        groups.setdefault((of.rule, of.store_id, of.equipment_id, of.status, _wanted(of)), []).append(f)
    numbers = {caution: number for number, caution in enumerate(report.cautions, 1)}
    times = _Times(packs, fleet, as_of, report.upcoming)
    warned = {p.id: tuple(numbers[c] for c in p.cautions if c in numbers) for p in packs}
    made = [_action(key[-1], same, times, warned) for key, same in groups.items()]
    return tuple(action for _, action in sorted(made, key=lambda pair: pair[0]))


def asks(f: Finding) -> bool:
    """Whether something is to be done about a finding."""
    return not f.settled_by and _CORRECTED not in f.marks and ACCEPTED not in f.marks


def _wanted(f: Finding) -> str:
    if f.status is Status.OUT or not f.pack:
        return f.corrective_action or "Put this right."
    entry = _FOR_THE_REGISTER.get((f.kind, f.reason))
    if entry:
        return f"Enter {entry} in the register, so that it can be shown."
    if f.reason in _SEND:
        return _SEND[f.reason]
    lacking = f" ({in_words(f.reason)})" if f.reason else ""
    return f"From the next cleaning on record what is lacking{lacking}, so that it can be shown. Fill in nothing afterwards."


def _action(
    wanted: str, same: Sequence[Finding], times: _Times, warned: Mapping[str, tuple[int, ...]]
) -> tuple[tuple[object, ...], Action]:
    worst = min(same, key=lambda f: (bool(f.same_as), f.grade.rank))
    grade = min((f.grade for f in same), key=lambda g: g.rank)
    out = worst.status is Status.OUT
    at, due, reason, source = times.first(same) if out else (None, "", _NOT_SHOWN, None)
    action = Action(
        id=finding_id("action", worst.rule, worst.store_id, worst.equipment_id, worst.status, wanted), action=wanted,
        title=worst.title, rule=worst.rule, grade=grade, status=worst.status, store_id=worst.store_id,
        equipment_id=worst.equipment_id, cycle_ids=tuple(dict.fromkeys(f.cycle_id for f in same if f.cycle_id)),
        targets=tuple(sorted({f.target for f in same if f.target})), due=due, due_reason=reason, due_citation=source,
        findings=tuple(f.id for f in same), cautions=warned.get(worst.pack, ()) if out else (),
        overdue=at is not None and times.passed(worst.store_id, at),
    )  # fmt: skip
    urgency = (
        not out, at is None, at or 0, grade.rank, -len(same), worst.store_id, worst.equipment_id, worst.rule,
        action.id,
    )  # fmt: skip
    return urgency, action


def _said(within: Duration) -> str:
    """A time for correction; hours stay hours, since they run from an hour on and days to the end of one."""
    hours, rest = divmod(within.amount, 3600)
    return f"{hours} h" if hours and not rest and not within.calendar else say(within.amount, within.unit)


class _Times:
    """By when each finding must be put right, on the clock of its store.

    The time for a correction is set by pack and grade, and runs from the moment that the first report of the finding looked
    from. A machine that is overdue for cleaning was due on a day of its own.
    """

    def __init__(self, packs: Sequence[Pack], fleet: Sequence[Machine], as_of: AsOf, upcoming: Sequence[Due]) -> None:
        self.packs = {p.id: p for p in packs}
        self.as_of = as_of
        self.clocks = {m.store_id: m.clock for m in fleet}
        self.due_on = {(d.rule, d.store_id, d.equipment_id): d.due_on for d in upcoming}
        self.known: dict[tuple[str, Grade, str, str], _Due] = {}

    def passed(self, store_id: str, at: int) -> bool:
        """Whether a moment lies before that of the audit."""
        return at < self.as_of.at(self._clock(store_id))

    def first(self, found: Sequence[Finding]) -> _Due:
        """The earliest time of some findings of one store; of findings without a time none."""
        return min(map(self._of, found), key=lambda due: (due[0] is None, due[0] or 0))

    def _of(self, f: Finding) -> _Due:
        day = self.due_on.get((f.rule, f.store_id, f.equipment_id)) if f.target == OPEN else None
        if day is not None:
            here = self._clock(f.store_id)
            at = here.midnight(date.fromisoformat(day).toordinal() - EPOCH + 1) - _INSTANT
            return at, here.moment(at), _WAS_DUE, None
        key = f.pack, f.grade, f.store_id, f.first_reported
        if key not in self.known:
            self.known[key] = self._correction(*key)
        return self.known[key]

    def _correction(self, pack_id: str, grade: Grade, store_id: str, first_reported: str) -> _Due:
        pack = self.packs.get(pack_id)
        correction = pack.grading.correct_within.get(grade) if pack else None
        if pack is None or correction is None:
            return None, "", _NO_TIME, None
        here, within = self._clock(store_id), correction.within
        first = _moment(first_reported)
        start = (first or self.as_of).at(here)
        said = {"grade": grade.value, "within": _said(within)}
        if first is not None:
            day_or_hour = first.shown if len(first.shown) == _DAY else here.moment(start)[:_MINUTE].replace("T", " ")
            said["first"] = day_or_hour
        reason = Said(_SINCE_FIRST if first is not None else _SINCE_NOW, said)
        if within.calendar:  # of calendar days the last one counts to its end
            today = int(here.to_wall(np.array([start]))[0] // DAY)
            at = here.midnight(today + within.amount + 1) - _INSTANT
        else:
            at = start + within.microseconds
        return at, here.moment(at), reason, citation(pack, correction)

    def _clock(self, store_id: str) -> Clock:
        return self.clocks.get(store_id) or clock("UTC")


def _moment(text: str) -> AsOf | None:
    """The moment of an earlier report; one that cannot be read is none."""
    try:
        return AsOf.parse(text) if text else None
    except ValueError:
        return None
