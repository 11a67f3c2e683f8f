"""Does the record itself hold: are its fields filled in, made at the time, verified in time, by someone else, and kept?

Per cycle; the target is the field. `required_fields` must be filled in on every row (of `steps`, where any is named),
fields of the verification (`verified_by`, `verified_at`) at least once a cycle. `recorded_within` runs from the end of each step,
`verified_within` from the completion of the cycle. `distinct` names fields that one person must not fill both.
`not_future` allows no time after the moment the audit looks from.

`verified_within` judges a time of verification that stands there. Where `verified_by` is required beside it, a cycle that
nobody has signed is N/A while there is time left. `reviewed_within` judges its absence as well: OUT once
the time for it has passed, N/A before. `kept_for` is judged per machine: its oldest record must reach back so many days,
up to `first_within` days in service left out, since nothing need have been done on the very first. A machine younger than
that, or of unknown age, is N/O where the record is shorter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
from pydantic import field_validator, model_validator

from validator.fields import Document, Flag, Text
from validator.findings import Quantity, Required
from validator.kinds.conditions import scales
from validator.kinds.durations import Either
from validator.kinds.facts import scope_rows
from validator.kinds.interval_lengths import length, local_days
from validator.kinds.outcome import (
    IN,
    NOT_APPLICABLE,
    NOT_OBSERVED,
    OUT,
    Names,
    Outcomes,
    Reasons,
    Scope,
    Shown,
    Stricter,
)
from validator.kinds.rows import any_by
from validator.machines import EPOCH
from validator.quantities import MICROSECONDS, Duration, say, whole_if_whole
from validator.steps import FAR
from validator.tables import CANONICAL, NAT, NUMBERS, TEXTS, TIMES
from validator.timing.zones import DAY

NAME = "record"
TIGHTER: Mapping[str, Stricter] = {
    "recorded_within": "lower", "verified_within": "lower", "reviewed_within": "lower", "kept_for": "higher",
    "first_within": "lower",
}  # fmt: skip
_REASONS = ("", "blank", "too_late", "missing_time", "not_recorded", "same_person", "future", "not_reviewed", "not_kept",
            "unread_file", "undated", "no_start", "too_young", "before_the_work", "unreadable", "lost_record")  # fmt: skip
_UNREADABLE = _REASONS.index("unreadable")
_LOST = _REASONS.index("lost_record")
_EARLY = _REASONS.index("before_the_work")
_STATUS = np.array(
    [NOT_OBSERVED if r in ("missing_time", "not_recorded", "before_the_work") else OUT for r in _REASONS], np.int8
)
_STATUS[0] = IN
_FEW = 10
"""Rows that are all blank are named one by one up to so many, and by the first and the last past it."""
_OF_THE_CYCLE = ("verified_by", "verified_at")
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


class Params(Document):
    """`steps` narrows `required_fields` to the rows of these steps; a cycle without such a row is N/A."""

    steps: tuple[Text, ...] = ()
    required_fields: tuple[Text, ...] = ()
    recorded_within: Either | None = None
    verified_within: Either | None = None
    reviewed_within: Either | None = None
    kept_for: Either | None = None
    first_within: Either | None = None
    distinct: tuple[Text, ...] = ()
    not_future: Flag = False

    @field_validator("required_fields", "distinct")
    @classmethod
    def _columns(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for name in value:
            if name not in CANONICAL or name == "note":
                raise ValueError(f"{name!r} is no column of a record; allowed: {', '.join(c for c in CANONICAL)}")
        return value

    @field_validator("distinct")
    @classmethod
    def _people(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if value and (len(value) != 2 or not all(v in ("performed_by", "verified_by") for v in value)):
            raise ValueError("names the two fields that must differ: [performed_by, verified_by]")
        return value

    @model_validator(mode="after")
    def _kept(self) -> Params:
        for name in ("kept_for", "first_within"):
            value = getattr(self, name)
            if value is not None and not value.calendar:
                raise ValueError(f"{name} {value} is elapsed time; days are due here, as P730D")
        if self.first_within is not None and self.kept_for is None:
            raise ValueError("first_within says something beside kept_for only")
        return self


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and field that the rule speaks of."""
    within = params.verified_within
    asked = within is not None and "verified_by" in params.required_fields
    none = np.zeros(scope.steps.cycles, dtype=bool)
    not_yet = _time_left(scope, within) if asked and within is not None else none
    found = [
        _filled(scope, field, params.steps, not_yet if field in _OF_THE_CYCLE else none)
        for field in params.required_fields
    ]
    if params.recorded_within is not None:
        found.append(_recorded(scope, params.recorded_within))
    if within is not None:
        found.append(_verified(scope, within, not_yet))
    if params.reviewed_within is not None:
        found.append(_verified(scope, params.reviewed_within, none, asked_for=True))
    if params.kept_for is not None:
        found.append(_kept(scope, params.kept_for, params.first_within))
    if params.distinct:
        found.append(_distinct(scope, params.distinct))
    if params.not_future:
        found.extend(_not_future(scope, field) for field in TIMES)
    return found


def _outcomes(
    scope: Scope, field: str, reason: Ints, status: npt.NDArray[np.int8], part: str, show: Callable[[int], Shown]
) -> Outcomes:
    cycles = scope.cycle_in()
    return Outcomes(
        scope.steps.machine[cycles], cycles, Names((field,), np.zeros(len(cycles), dtype=np.int8)), status[cycles],
        Reasons(_REASONS, reason[cycles].astype(np.int8)), lambda i: show(int(cycles[i])), part=part,
    )  # fmt: skip


def _blank(scope: Scope, field: str) -> Mask:
    """Rows in which the file gives no value that can be read, and none follows from the duration."""
    steps = scope.steps
    if field in steps.records.given:
        return ~steps.records.given[field][steps.row]
    if field in TEXTS:
        return np.less(steps.column(field), 0)
    if field in NUMBERS:
        every = np.arange(len(steps))
        blank: Mask = np.all([np.isnan(steps.numbers(column, every)) for column in scales(field)], axis=0)
        return blank
    return np.equal(steps.times(field), NAT)


def _time_left(scope: Scope, within: Duration) -> Mask:
    """Cycles that nobody has signed, and for which there surely is time left to."""
    steps = scope.steps
    signed = np.greater_equal(steps.column("verified_by"), 0) | np.not_equal(steps.times("verified_at"), NAT)
    at = np.flatnonzero(~any_by(steps.cycle, signed, steps.cycles) & (steps.completed != NAT))
    now = np.array([m.as_of for m in scope.machines], dtype=np.int64)[steps.machine[at]]
    found = np.zeros(steps.cycles, dtype=bool)
    found[at] = _late(scope, at, steps.completed[at] - scope.guard, now, within) <= 0
    return found


def _filled(scope: Scope, field: str, names: Sequence[str], not_yet: Mask) -> Outcomes:
    """A blank of a cycle that is `not_yet` due has no subject yet."""
    steps = scope.steps
    asked = np.zeros(len(steps), dtype=bool)
    asked[steps.of_steps(names) if names else slice(None)] = True
    blank = _blank(scope, field) & asked
    if field in _OF_THE_CYCLE:
        missing = ~any_by(steps.cycle, asked & ~blank, steps.cycles)
    else:
        missing = any_by(steps.cycle, blank, steps.cycles)
    idle = ~any_by(steps.cycle, asked, steps.cycles)
    missing &= ~idle
    unread = blank & _unread(scope, field)
    # of a field that is due once a cycle one unreadable cell is what stands there; else every row must have been written on
    plain = (
        any_by(steps.cycle, unread, steps.cycles)
        if field in _OF_THE_CYCLE
        else ~any_by(steps.cycle, blank & ~unread, steps.cycles)
    )
    not_yet = not_yet & missing & ~plain
    reason = np.where(missing & plain, _UNREADABLE, np.where(missing & ~not_yet, 1, 0))
    status = np.where(idle | not_yet, NOT_APPLICABLE, np.where(missing, OUT, IN)).astype(np.int8)

    def show(cycle: int) -> Shown:
        mine = [k for k in _rows(scope, cycle) if asked[k]]
        empty = [k for k in mine if blank[k]]
        rows = empty if len(empty) <= _FEW or len(empty) < len(mine) else [empty[0], empty[-1]]
        bad = sum(bool(unread[k]) for k in empty)
        facts = {"field": field, "count": str(len(empty) - bad), "rows": str(len(mine)), "unread": str(bad or ""),
                 "once": "yes" if field in _OF_THE_CYCLE else ""}  # fmt: skip
        return Shown(Quantity(len(mine) - len(empty), "1"), Required(len(mine), None, "1", f"{field} on every row")
                     if field not in _OF_THE_CYCLE else Required(1, None, "1", f"{field} once a cycle"), None, rows,
                     (field,), facts)  # fmt: skip

    return _outcomes(scope, field, reason, status, f"filled {field}", show)


def _unread(scope: Scope, field: str) -> Mask:
    """Rows in which something stands under this field that could not be read."""
    found: dict[int, dict[str, str]] = scope.steps.records.unread
    rows = [row for row, cells in found.items() if set(scales(field)) & set(cells)]
    return np.isin(scope.steps.row, rows) if rows else np.zeros(len(scope.steps), dtype=bool)


def _rows(scope: Scope, cycle: int) -> range:
    return range(int(scope.steps.first[cycle]), int(scope.steps.first[cycle + 1]))


def _late(scope: Scope, cycle: Ints, base: Ints, later: Ints, within: Duration) -> Ints:
    """How much later than allowed, in units of `within` (days or microseconds), by the clock of each store."""
    if not within.calendar:
        return later - base - within.microseconds
    machine = scope.steps.machine[cycle]
    late, due = local_days(scope.machines, machine, later), local_days(scope.machines, machine, base)
    return late - due - within.amount


def _recorded(scope: Scope, within: Duration) -> Outcomes:
    steps = scope.steps
    recorded = steps.times("recorded_at")
    known = np.flatnonzero(recorded != NAT)
    over = np.zeros(len(steps), dtype=np.int64)
    over[known] = _late(scope, steps.cycle[known], steps.ends[1][known] + scope.guard, recorded[known], within)
    most = np.ones(len(steps), dtype=np.int64)
    most[known] = _late(scope, steps.cycle[known], steps.ends[0][known] - scope.guard, recorded[known], within)
    late = over > 0
    open_ = ~late & (most > 0)
    any_late = any_by(steps.cycle, late, steps.cycles)
    any_open = any_by(steps.cycle, open_, steps.cycles)
    nothing = ~any_by(steps.cycle, recorded != NAT, steps.cycles)
    early = (recorded != NAT) & (steps.end != NAT) & (steps.end - recorded >= steps.slack("recorded_at"))
    any_early = any_by(steps.cycle, early, steps.cycles)
    reason = np.where(any_late, 2, np.where(nothing, 4, np.where(any_early, _EARLY, np.where(any_open, 3, 0))))
    status = _STATUS[reason]

    def show(cycle: int) -> Shown:
        mine = [
            k
            for k in _rows(scope, cycle)
            if (late if reason[cycle] == 2 else early if reason[cycle] == _EARLY else open_)[k]
        ]
        worst = max(mine, key=lambda k: int(over[k])) if reason[cycle] == 2 else None
        return _late_shown(within, None if worst is None else int(over[worst]), mine, "recorded_at",
                           ("ended_at", "recorded_at"))  # fmt: skip

    return _outcomes(scope, "recorded_at", reason, status, "recorded within", show)


def _late_shown(within: Duration, over: int | None, rows: Sequence[int], field: str, columns: tuple[str, ...]) -> Shown:
    unit = within.unit
    scale = 1 if within.calendar else MICROSECONDS
    required = Required(None, within.amount, unit, f"at most {say(within.amount, unit)} later")
    if over is None:
        return Shown(
            None, required, None, rows, columns, {"field": field, "found": "", "limit": say(within.amount, unit)}
        )
    seen, margin = (over / scale + within.amount), over / scale
    facts = {"field": field, "found": say(seen, unit), "limit": say(within.amount, unit)}
    return Shown(
        Quantity(whole_if_whole(seen), unit), required, Quantity(whole_if_whole(margin), unit), rows, columns, facts
    )


def _verified(scope: Scope, within: Duration, not_yet: Mask, *, asked_for: bool = False) -> Outcomes:
    """With `asked_for` a cycle that nobody signed is OUT once the time has passed, and N/A before; what is `not_yet` due is N/A."""
    steps = scope.steps
    verified = steps.times("verified_at")
    latest = np.maximum.reduceat(verified, steps.first[:-1]) if steps.cycles else verified
    at = np.flatnonzero(latest != NAT)
    over = np.zeros(steps.cycles, dtype=np.int64)
    over[at] = _late(scope, at, np.minimum(steps.completed_at_last[at] + scope.guard, latest[at]), latest[at], within)
    most = np.ones(steps.cycles, dtype=np.int64)
    dated = at[steps.completed[at] != NAT]
    most[dated] = _late(scope, dated, steps.completed[dated] - scope.guard, latest[dated], within)
    done, _ = steps.work_last
    early = (latest != NAT) & (done != NAT) & (done - latest >= steps.slack("verified_at"))
    reason = np.where(latest == NAT, 4, np.where(over > 0, 2, np.where(early, _EARLY, np.where(most > 0, 3, 0))))
    status = _STATUS[reason]
    not_yet = not_yet & (reason == 4)
    reason, status = np.where(not_yet, 0, reason), np.where(not_yet, NOT_APPLICABLE, status).astype(np.int8)
    if asked_for:
        unsigned = (latest == NAT) & ~any_by(
            steps.cycle, np.greater_equal(steps.column("verified_by"), 0), steps.cycles
        )
        reason, status = _asked(scope, within, np.flatnonzero(unsigned), reason, status, over)

    def show(cycle: int) -> Shown:
        mine = [k for k in _rows(scope, cycle) if verified[k] == latest[cycle]] if latest[cycle] != NAT else []
        rows = mine or scope_rows(scope, cycle)
        return _late_shown(within, int(over[cycle]) if reason[cycle] in (2, 7) else None, rows, "verified_at",
                           ("ended_at", "verified_at"))  # fmt: skip

    part = "reviewed within" if asked_for else "verified within"
    return _outcomes(scope, "verified_at", reason, status, part, show)


def _asked(
    scope: Scope,
    within: Duration,
    unsigned: npt.NDArray[np.intp],
    reason: Ints,
    status: npt.NDArray[np.int8],
    over: Ints,
) -> tuple[Ints, npt.NDArray[np.int8]]:
    """Reason and status where nobody signed: by the time that has passed since the cycle was completed."""
    steps = scope.steps
    now = np.array([m.as_of for m in scope.machines], dtype=np.int64)[steps.machine[unsigned]]
    dated = steps.completed[unsigned] != NAT
    over[unsigned] = _late(
        scope, unsigned, np.minimum(steps.completed_at_last[unsigned] + scope.guard, now), now, within
    )
    first = np.where(dated, steps.completed[unsigned] - scope.guard, now)
    may = ~dated | (_late(scope, unsigned, first, now, within) > 0)
    reason[unsigned] = np.where(over[unsigned] > 0, 7, np.where(may, 3, 0))
    status[unsigned] = np.where(over[unsigned] > 0, OUT, np.where(may, NOT_OBSERVED, NOT_APPLICABLE))
    return reason, status


def _kept(scope: Scope, length_: Duration, first_within: Duration | None) -> Outcomes:
    """One check a machine: does its oldest record reach back far enough?"""
    steps, machines = scope.steps, scope.machines
    at = np.flatnonzero(scope.machine_in).astype(np.int64)
    as_of = np.array([m.as_of for m in machines], dtype=np.int64)
    oldest = np.full(len(machines), FAR)
    dated = np.flatnonzero(steps.began != NAT) if steps.cycles else np.empty(0, np.intp)
    np.minimum.at(oldest, steps.machine[dated], steps.began[dated])
    undated = np.isin(at, np.delete(steps.machine, dated))
    seen = np.minimum(oldest, as_of)[at]
    since = [m.today - length_.amount for m in machines]
    begin = np.array([machines[k].clock.midnight(since[k]) for k in at.tolist()], dtype=np.int64)
    reaches = length(length_, machines, at, begin, seen) <= (first_within.amount if first_within else 0)
    reaches &= oldest[at] != FAR
    opened = [machines[k].in_service_on for k in at.tolist()]
    young = np.array([o is not None and o > since[k] for o, k in zip(opened, at.tolist(), strict=True)], dtype=bool)
    ageless = np.array([o is None for o in opened], dtype=bool)
    lost = np.zeros(len(at), dtype=bool) if scope.lost is None else (scope.lost.on[at] >= 0) & (oldest[at] == FAR)
    doubts = [reaches, ageless, young, undated, np.full(len(at), scope.unread), lost]
    reason = np.select(doubts, [0, 11, 12, 10, 9, _LOST], 8)
    status = np.where(reason == 0, IN, np.where(reason == 8, OUT, NOT_OBSERVED)).astype(np.int8)

    def show(i: int) -> Shown:
        machine = machines[int(at[i])]
        limit = say(length_.amount, "d")
        required = Required(length_.amount, None, "d", f"records of the last {limit}")
        known = oldest[at[i]] != FAR
        day = int(machine.clock.to_wall(seen[i : i + 1])[0] // DAY)
        gone = scope.lost.cycle[int(at[i])] if scope.lost is not None else ""
        facts = {
            "lost": gone,
            "since": f"is of {_date(day)}" if known else "is missing",
            "limit": limit,
            "opened": _date(opened[i]),
        }
        back = machine.today - day
        rows = [k for c in np.flatnonzero((steps.machine == at[i]) & (steps.began == oldest[at[i]])).tolist()
                for k in scope_rows(scope, c)] if known else []  # fmt: skip
        return Shown(Quantity(back, "d") if known else None, required, Quantity(back - length_.amount, "d") if known
                     else None, rows, ("started_at", "ended_at"), facts)  # fmt: skip

    return Outcomes(
        at, np.full(len(at), -1), Names((), np.full(len(at), -1)), status, Reasons(_REASONS, reason.astype(np.int8)),
        show, part="kept",
    )  # fmt: skip


def _date(day: int | None) -> str:
    return "" if day is None else date.fromordinal(EPOCH + day).isoformat()


def _distinct(scope: Scope, fields: tuple[str, ...]) -> Outcomes:
    steps = scope.steps
    doer = _people(scope, "performed_by")
    checker = _people(scope, "verified_by")
    # the verification is itself a step; whoever does it may sign it
    work = steps.step != steps.records.code("step", "verify")
    width = int(max(doer.max(initial=0), checker.max(initial=0))) + 1
    done = np.unique((steps.cycle * width + doer)[(doer >= 0) & work])
    same = (checker >= 0) & np.isin(steps.cycle * width + checker, done)
    both = any_by(steps.cycle, (doer >= 0) & work, steps.cycles) & any_by(steps.cycle, checker >= 0, steps.cycles)
    hit = any_by(steps.cycle, same, steps.cycles)
    reason = np.where(hit, 5, np.where(both, 0, 4))
    status = np.array([IN, OUT, OUT, NOT_OBSERVED, NOT_OBSERVED, OUT], dtype=np.int8)[reason]

    def show(cycle: int) -> Shown:
        mine = [k for k in _rows(scope, cycle) if same[k]]
        person = steps.records.text("verified_by", int(steps.row[mine[0]])) if mine else ""
        facts = {"field": fields[-1], "person": person}
        return Shown(Quantity(person, "") if person else None, Required(None, None, "", "two different people"), None,
                     mine or scope_rows(scope, cycle), fields, facts)  # fmt: skip

    return _outcomes(scope, fields[-1], reason, status, "distinct", show)


def _people(scope: Scope, field: str) -> npt.NDArray[np.int64]:
    """Codes of people that are the same for the same name in either field, letter case aside; -1 where blank."""
    coded = scope.steps.records.texts[field]
    every = sorted(
        {n.casefold() for f in ("performed_by", "verified_by") for n in scope.steps.records.texts[f].vocabulary}
    )
    position = {name: i for i, name in enumerate(every)}
    table = np.array([position[n.casefold()] for n in coded.vocabulary] + [-1], dtype=np.int64)
    return table[scope.steps.column(field)]


def _not_future(scope: Scope, field: str) -> Outcomes:
    steps = scope.steps
    times = steps.times(field)
    as_of = np.array([m.as_of for m in scope.machines], dtype=np.int64)[steps.machine[steps.cycle]]
    future = (times != NAT) & (times > as_of)
    hit = any_by(steps.cycle, future, steps.cycles)
    some = any_by(steps.cycle, times != NAT, steps.cycles)
    reason = np.where(hit, 6, 0)
    status = np.where(hit, OUT, np.where(some, IN, NOT_APPLICABLE)).astype(np.int8)

    def show(cycle: int) -> Shown:
        mine = [k for k in _rows(scope, cycle) if future[k]]
        over = max(int(times[k] - as_of[k]) for k in mine) / MICROSECONDS
        return Shown(Quantity(whole_if_whole(over), "s"), Required(None, 0, "s", "no time after the audit"),
                     Quantity(whole_if_whole(over), "s"), mine, (field,), {"field": field, "found": say(over, "s")})  # fmt: skip

    return _outcomes(scope, field, reason, status, f"future {field}", show)
