"""What is to be done, where and by when: one action for all findings of a rule that ask for the same at one machine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from validator.deviations import ACCEPTED
from validator.engine.lacking import in_words
from validator.engine.stamp import citation, finding_id
from validator.findings import Action, Citation, Finding, Grade, Status
from validator.machines import AsOf, Machine
from validator.packs.model import Pack
from validator.quantities import Duration, say
from validator.statuses import OPEN
from validator.timing.zones import DAY, Clock, clock

_NO_TIME = "no time is set for this grade"
_NOT_SHOWN = "no time is set for what could not be shown"
_CORRECTED = "cos"
_FOR_THE_REGISTER = {
    ("interval", "no_start"): "the day on which the machine went into service",
    ("record", "no_start"): "the day on which the machine went into service",
    ("concentration", "no_limit"): "the limits of the product's label",
    ("mixed_strength", "no_product_strength"): "the strength of the product as sold",
}
"""What no record can show, since the register lacks it: by kind and reason."""
_Moment = tuple[Clock, int, int]
_Due = tuple[int | None, str, str, Citation | None]
"""The moment itself, then as an action bears it: in words of a clock, why, and by which source."""


def actions(
    found: Sequence[Finding], packs: Sequence[Pack], fleet: Sequence[Machine], as_of: AsOf, cautions: Sequence[str]
) -> tuple[Action, ...]:
    """Everything that the findings ask for, the most urgent first.

    What is overdue now comes before what was wrong then; then what is due sooner, and what is graver. What could not be
    shown comes last. What was put right on site or accepted asks for nothing.
    """
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for f in found:
        if _CORRECTED not in f.marks and ACCEPTED not in f.marks:
            groups.setdefault((f.rule, f.store_id, f.equipment_id, f.status, _wanted(f)), []).append(f)
    numbers = {caution: number for number, caution in enumerate(cautions, 1)}
    times = _Times(packs, fleet, as_of)
    warned = {p.id: tuple(numbers[c] for c in p.cautions if c in numbers) for p in packs}
    made = [_action(key[-1], same, times, warned) for key, same in groups.items()]
    return tuple(action for _, action in sorted(made, key=lambda pair: pair[0]))


def _wanted(f: Finding) -> str:
    if f.status is Status.OUT or not f.pack:
        return f.corrective_action or "Put this right."
    entry = _FOR_THE_REGISTER.get((f.kind, f.reason))
    if entry:
        return f"Enter {entry} in the register, so that it can be shown."
    lacking = f" ({in_words(f.reason)})" if f.reason else ""
    return f"From the next cleaning on record what is lacking{lacking}, so that it can be shown. Fill in nothing afterwards."


def _action(
    wanted: str, same: Sequence[Finding], times: _Times, warned: Mapping[str, tuple[int, ...]]
) -> tuple[tuple[object, ...], Action]:
    worst = min(same, key=lambda f: f.grade.rank)
    out = worst.status is Status.OUT
    at, due, reason, source = times.due(worst) if out else (None, "", _NOT_SHOWN, None)
    action = Action(
        id=finding_id("action", worst.rule, worst.store_id, worst.equipment_id, worst.status, wanted), action=wanted,
        title=worst.title, rule=worst.rule, grade=worst.grade, status=worst.status, store_id=worst.store_id,
        equipment_id=worst.equipment_id, cycle_ids=tuple(dict.fromkeys(f.cycle_id for f in same if f.cycle_id)),
        targets=tuple(sorted({f.target for f in same if f.target})), due=due, due_reason=reason, due_citation=source,
        findings=tuple(f.id for f in same), cautions=warned.get(worst.pack, ()) if out else (),
    )  # fmt: skip
    overdue = out and any(f.target == OPEN for f in same)
    urgency = (
        not out, not overdue, at is None, at or 0, worst.grade.rank, -len(same), worst.store_id, worst.equipment_id,
        worst.rule, action.id,
    )  # fmt: skip
    return urgency, action


def _said(within: Duration) -> str:
    """A time for correction; hours stay hours, since they run from an hour on and days to the end of one."""
    hours, rest = divmod(within.amount, 3600)
    return f"{hours} h" if hours and not rest and not within.calendar else say(within.amount, within.unit)


class _Times:
    """The latest moment of a correction, by grade and pack, on the clock of each store."""

    def __init__(self, packs: Sequence[Pack], fleet: Sequence[Machine], as_of: AsOf) -> None:
        self.packs = {p.id: p for p in packs}
        utc = clock("UTC")
        now = as_of.at(utc)
        self.nowhere: _Moment = utc, now, int(utc.to_wall(np.array([now]))[0] // DAY)
        self.stores: dict[str, _Moment] = {m.store_id: (m.clock, m.as_of, m.today) for m in fleet}
        self.known: dict[tuple[str, Grade, str], _Due] = {}

    def due(self, f: Finding) -> _Due:
        key = f.pack, f.grade, f.store_id
        if key not in self.known:
            self.known[key] = self._due(*key)
        return self.known[key]

    def _due(self, pack_id: str, grade: Grade, store_id: str) -> _Due:
        pack = self.packs.get(pack_id)
        correction = pack.grading.correct_within.get(grade) if pack else None
        if pack is None or correction is None:
            return None, "", _NO_TIME, None
        here, now, today = self.stores.get(store_id, self.nowhere)
        within = correction.within
        # of calendar days the last one counts to its end
        at = here.midnight(today + within.amount + 1) - 1_000_000 if within.calendar else now + within.microseconds
        return at, here.moment(at), f"{grade.value}: within {_said(within)}", citation(pack, correction)
