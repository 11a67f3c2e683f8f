"""Were the steps done in the right order, with the right time between them?

A relation links the start or end of a `first` row to the start or end of a `then` row, as precedence diagrams do: FS
(first ends, then starts), SS, FF, SF, with the least and the most time between. Every `then` row needs a `first` row
that satisfies it. `forbidden` names a step that must not end after another has begun, until a third begins.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.documents import Document
from validator.findings import Quantity, Required
from validator.kinds.acts import Act, StepOrAct
from validator.kinds.durations import Elapsed
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
from validator.kinds.relation_network import every_then_has_a_first
from validator.quantities import MICROSECONDS, Duration, say_seconds, whole_if_whole
from validator.steps import FAR, MOST_WAYS, Steps
from validator.tables import NAT
from validator.timing.intervals import latest_before

NAME = "order"
TIGHTER: Mapping[str, Stricter] = {}
COLUMNS = ("step", "target", "started_at", "ended_at")
Link = Literal["FS", "SS", "FF", "SF"]
Per = Literal["target", "cycle"]
_REASONS = ("", "wrong_order", "missing_first", "missing_time", "contradiction", "within_uncertainty")
Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]


class Relation(Document):
    """`first` and `then` are steps, or steps with the agents they are done with; `min_lag` is 0 unless given.

    A row that does not tell its agent is not taken for one done with a certain agent.
    """

    first: StepOrAct
    then: StepOrAct
    link: Link = "FS"
    per: Per = "target"
    min_lag: Elapsed | None = None
    max_lag: Elapsed | None = None

    @model_validator(mode="after")
    def _lags(self) -> Relation:
        least = self.min_lag.amount if self.min_lag else 0
        if self.max_lag is not None and self.max_lag.amount < least:
            raise ValueError(f"max_lag {self.max_lag} is less than the least lag; no times fit")
        return self


class Forbidden(Document):
    """No row of `step` may end after an `after` row has begun and before the next `until` row begins.

    With `point: start` none may start then: what begins too early is not mended by an `until` that begins as it ends. With
    `after_point: end` the ban begins as the `after` row ends, so that an `until` row beside it does not lift the ban.
    """

    step: StepOrAct
    after: StepOrAct
    until: StepOrAct | None = None
    per: Per = "target"
    point: Literal["start", "end"] = "end"
    after_point: Literal["start", "end"] = "start"


class Params(Document):
    relations: tuple[Relation, ...] = ()
    forbidden: tuple[Forbidden, ...] = ()

    @model_validator(mode="after")
    def _something(self) -> Params:
        if not self.relations and not self.forbidden:
            raise ValueError("needs relations or forbidden")
        return self


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a relation, cycle and target that has a `then` row (of `forbidden`: a row of the step)."""
    return [
        *(_relation(relation, scope) for relation in params.relations),
        *(_forbidden(ban, scope) for ban in params.forbidden),
    ]


@dataclass(frozen=True)
class _Side:
    """The rows of a step in scope with the group each belongs to, and the point of each that a link speaks of: its end or
    its start, in microseconds since the cycle began.
    """

    rows: Index
    group: Ints
    low: Ints
    high: Ints
    end: bool

    @cached_property
    def vague(self) -> npt.NDArray[np.bool_]:
        apart: npt.NDArray[np.bool_] = self.low != self.high
        return apart


def _side(scope: Scope, act: Act, end: bool, per: Per) -> _Side:
    steps = scope.steps
    rows = np.flatnonzero(act.match(steps, scope.agents)[0])
    if not scope.machine_in.all():
        rows = rows[scope.machine_in[steps.machine[steps.cycle[rows]]]]
    cycle = steps.cycle[rows]
    width = len(steps.records.texts["target"].vocabulary) + 1
    group = cycle * width + (steps.target[rows].astype(np.int64) + 1 if per == "target" else 0)
    low = high = (steps.end if end else steps.start)[rows]
    vague = np.flatnonzero(steps.incomplete[rows])
    if len(vague):
        low, high = low.copy(), low.copy()
        start_low, start_high, end_low, end_high = steps.bounds(rows[vague])
        low[vague], high[vague] = (end_low, end_high) if end else (start_low, start_high)
    # times since the cycle began are small, which lets a whole table be compared at once
    began = np.where(steps.began == NAT, 0, steps.began)[cycle]
    low, high = low - began, high - began
    ordered = (np.diff(group) > 0) | ((np.diff(group) == 0) & (np.diff(low) >= 0))
    if not ordered.all():
        order = np.lexsort((low, group))
        rows, group, low, high = rows[order], group[order], low[order], high[order]
    return _Side(rows, group, low, high, end)


def _groups(scope: Scope, side: _Side, per: Per) -> tuple[Ints, Names, Ints]:
    """The checks that a side gives: their cycles and targets, and the check of each row."""
    heads = np.diff(side.group, prepend=-1) != 0
    keys = side.group[heads]
    vocabulary = scope.steps.records.texts["target"].vocabulary
    width = len(vocabulary) + 1
    target = keys % width - 1 if per == "target" else np.full(len(keys), -1)
    return keys // width, Names(vocabulary, target), np.cumsum(heads) - 1


def _present(group: Ints, among: Ints) -> npt.NDArray[np.bool_]:
    """Which groups occur among others; both in order."""
    at = np.searchsorted(among, group)
    found = at < len(among)
    found[found] = among[at[found]] == group[found]
    return found


def _satisfied(first: _Side, then: _Side, least: int, most: int | None, more: int) -> npt.NDArray[np.bool_]:
    """Which `then` rows have a `first` row of their group at least `least` and at most `most` + `more` before them."""
    if not len(first.rows):
        return np.zeros(len(then.rows), dtype=bool)
    at = latest_before(then.group, then.low - least, first.group, first.low, inclusive=True)
    lag = then.low - first.low[np.maximum(at, 0)]
    return (at >= 0) & (lag <= most + more if most is not None else True)


def _first_bad(check_of: Ints, bad_row: Ints, reason: Ints) -> Callable[[int], int]:
    """For a check, the first of its rows that bears the check's reason; rows are in order of their checks."""
    heads = np.searchsorted(check_of, np.arange(len(reason) + 1))

    def first(check: int) -> int:
        begin = heads.item(check)
        return begin + int(np.argmax(bad_row[begin : heads.item(check + 1)] == reason[check]))

    return first


def _relation(relation: Relation, scope: Scope) -> Outcomes:
    steps = scope.steps
    first = _side(scope, relation.first, relation.link[0] == "F", relation.per)
    then = _side(scope, relation.then, relation.link[1] == "F", relation.per)
    cycle, names, check_of = _groups(scope, then, relation.per)
    least = relation.min_lag.microseconds if relation.min_lag else 0
    most = relation.max_lag.microseconds if relation.max_lag else None
    vague_groups = np.union1d(first.group[first.vague], then.group[then.vague])
    guard = scope.guard
    bad_row = np.where(_satisfied(first, then, least + guard, most, -guard), 0, 1)
    if guard:
        bad_row[(bad_row == 1) & _satisfied(first, then, least - guard, most, guard)] = 5
    bad_row[~_present(then.group, first.group)] = 2
    theirs = np.searchsorted(first.group, then.group, "left"), np.searchsorted(first.group, then.group, "right")
    vague = np.flatnonzero(_present(then.group, vague_groups) & (bad_row != 2))
    one = theirs[1][vague] - theirs[0][vague] == 1
    bad_row[vague[one]] = _vague_pairs(first, then, theirs[0][vague[one]], vague[one], least, most, guard)
    for k in vague[~one].tolist():
        tried = _vague_pairs(first, then, np.arange(theirs[0][k], theirs[1][k]), np.array([k]), least, most, guard)
        bad_row[k] = 0 if (tried == 0).any() else 3 if (tried == 3).any() else 1
    for k in vague[bad_row[vague] == 3].tolist():
        bad_row[k] = 4 if _torn(steps, (then, first), then.group[k]) else 3
    _look_closer(relation, steps, first, then, bad_row, least, most)
    reason = _worst(bad_row, check_of, len(cycle))
    status = np.array([IN, OUT, OUT, *[NOT_OBSERVED] * 3], dtype=np.int8)[reason]
    machine = steps.machine[cycle]
    required = _required(relation)
    first_bad = _first_bad(check_of, bad_row, reason)

    def show(i: int) -> Shown:
        k = first_bad(i)
        firsts = np.arange(theirs[0][k], theirs[1][k])
        near = _nearest(first, firsts, then, k, least, most)
        rows = [int(then.rows[k])] + ([int(first.rows[near])] if near is not None else [])
        seen = None
        if near is not None and not (first.vague[near] or then.vague[k]):
            seen = (int(then.low[k]) - int(first.low[near])) / MICROSECONDS
        facts = {"first": str(relation.first), "then": str(relation.then), "link": relation.link,
                 "lag": say_seconds(abs(seen)) if seen is not None else "", "count": str(len(firsts)),
                 "before": "yes" if seen is not None and seen < 0 else ""}  # fmt: skip
        observed = Quantity(whole_if_whole(seen), "s") if seen is not None else None
        return Shown(observed, required, _margin(seen, least, most), rows, COLUMNS, facts)

    others = _not_applicable(scope, cycle)
    return _with_idle(
        Outcomes(machine, cycle, names, status, Reasons(_REASONS, reason.astype(np.int8)), show,
                 part=f"{relation.first} {relation.link} {relation.then}"), others, scope,
    )  # fmt: skip


def _torn(steps: Steps, sides: Sequence[_Side], group: int) -> bool:
    """Whether the times of a row of the group cannot be true."""
    if not steps.any_contrary:
        return False
    rows = np.concatenate([side.rows[_span(side, group)] for side in sides])
    return bool(steps.contrary[rows].any())


_ANSWERS = {"conforms": 0, "violates": 1, "cannot tell": 3, "contradicts itself": 4}


def _look_closer(
    relation: Relation, steps: Steps, first: _Side, then: _Side, bad_row: npt.NDArray[np.int64], least: int, most: int | None
) -> None:  # fmt: skip
    """Settle the groups in which rows taken one by one cannot be told, but may be together.

    One row against its bounds is exact unless several `then` rows share a `first`, a row has no time at all, or an hour
    happened twice.
    """
    groups, many = np.unique(then.group, return_counts=True)
    adrift_groups = [
        side.group[(steps.start[side.rows] == NAT) & (steps.end[side.rows] == NAT)] for side in (first, then)
    ]
    closer = np.union1d(groups[many > 1], np.concatenate(adrift_groups))
    for group in np.intersect1d(np.unique(then.group[bad_row == 3]), closer).tolist():
        mine, theirs = _span(then, group), _span(first, group)
        if (bad_row[mine] == 1).any():
            continue
        answer = every_then_has_a_first(
            steps, first.rows[theirs].tolist(), then.rows[mine].tolist(), relation.link, least, most
        )
        bad_row[mine] = np.where(bad_row[mine] == 3, _ANSWERS[answer], bad_row[mine])


def _vague_pairs(
    first: _Side, then: _Side, a: Index, b: Index, least: int, most: int | None, guard: int
) -> npt.NDArray[np.int64]:
    """Of pairs of a first and a then row: 0 if they surely satisfy the link, 1 if they cannot, 3 if that cannot be told."""
    low, high = then.low[b] - first.high[a], then.high[b] - first.low[a]
    sure = (low >= least + guard) & ((high <= most - guard) if most is not None else True)
    possible = (high >= least - guard) & ((low <= most + guard) if most is not None else True)
    return np.where(sure, 0, np.where(possible, 3, 1))


def _worst(bad_row: npt.NDArray[np.int64], check_of: Ints, size: int) -> npt.NDArray[np.int64]:
    """The reason of each check: any row OUT decides, then any N/O; 0 where every row is IN."""
    if not bad_row.any():
        return np.zeros(size, dtype=np.int64)
    rank = np.array([0, 5, 4, 2, 3, 1])[bad_row]
    worst = np.zeros(size, dtype=np.int64)
    np.maximum.at(worst, check_of, rank)
    return np.array([0, 5, 3, 4, 2, 1])[worst]


def _nearest(first: _Side, firsts: Index, then: _Side, k: int, least: int, most: int | None) -> int | None:
    """The first row that comes closest to satisfying the link for a row."""
    if not len(firsts):
        return None
    lag = then.low[k] - first.low[firsts]
    over = np.maximum(lag - most, 0) if most is not None else np.zeros(len(lag), dtype=np.int64)
    return int(firsts[np.argmin(np.maximum(least - lag, 0) + over)])


def _required(relation: Relation) -> Required:
    least = relation.min_lag or Duration(False, 0)
    first, then = relation.first, relation.then
    text = {
        "FS": f"{then} starts after the end of {first}", "SS": f"{then} starts after the start of {first}",
        "FF": f"{then} ends after the end of {first}", "SF": f"{then} ends after the start of {first}",
    }[relation.link]  # fmt: skip
    if least.amount:
        text = f"{text}, at least {say_seconds(least.amount)} later"
    if relation.max_lag is not None:
        text = f"{text}, at most {say_seconds(relation.max_lag.amount)} later"
    return Required(least.amount, relation.max_lag.amount if relation.max_lag else None, "s", text)


def _margin(seen: float | None, least: int, most: int | None) -> Quantity | None:
    if seen is None:
        return None
    short = seen - least / MICROSECONDS
    if short < 0:
        return Quantity(whole_if_whole(short), "s")
    return Quantity(whole_if_whole(seen - most / MICROSECONDS), "s") if most is not None else None


def _forbidden(ban: Forbidden, scope: Scope) -> Outcomes:
    steps = scope.steps
    rows = _side(scope, ban.step, ban.point == "end", ban.per)
    ending = ban.after_point == "end"  # what begins as the `after` row ends comes after it
    after = _side(scope, ban.after, ending, ban.per)
    until = _side(scope, ban.until, False, ban.per) if ban.until else None
    cycle, names, check_of = _groups(scope, rows, ban.per)
    guard = scope.guard
    begun = latest_before(rows.group, rows.high - guard, after.group, after.low, inclusive=ending)
    began_at = np.where(begun >= 0, after.low[np.maximum(begun, 0)], -FAR) if len(after.rows) else rows.high * 0 - FAR
    broken = begun >= 0
    if until is not None and len(until.rows):
        ended = latest_before(rows.group, rows.high + guard, until.group, until.low, inclusive=True)
        broken &= (ended < 0) | (until.low[np.maximum(ended, 0)] < began_at)
    applies = _present(rows.group, after.group)
    bad_row = broken.astype(np.int64)
    if guard:
        last = latest_before(rows.group, rows.high + guard, after.group, after.low, inclusive=ending)
        bad_row[(last >= 0) & ~broken] = 5
        if until is not None and len(until.rows):  # what began well before the end of the row does lift the ban
            lifted = latest_before(rows.group, rows.high - guard, until.group, until.low, inclusive=True)
            free = (lifted >= 0) & (until.low[np.maximum(lifted, 0)] >= after.low[np.maximum(last, 0)] + guard)
            bad_row[free & ~broken] = 0
    vague = np.concatenate([rows.group[rows.vague], after.group[after.vague],
                            until.group[until.vague] if until is not None else np.empty(0, np.int64)])  # fmt: skip
    for k in np.flatnonzero(np.isin(rows.group, vague) & applies).tolist():
        bad_row[k] = _vague_ban(steps, rows, after, until, k, ending)
        sides = (rows, after) if until is None else (rows, after, until)
        bad_row[k] = 4 if bad_row[k] == 3 and _torn(steps, sides, rows.group[k]) else bad_row[k]
    reason = _worst(bad_row, check_of, len(cycle))
    some = np.zeros(len(cycle), dtype=bool)
    some[check_of[applies]] = True
    status = np.array([IN, OUT, OUT, *[NOT_OBSERVED] * 3], dtype=np.int8)[reason]
    status[~some] = NOT_APPLICABLE
    first_bad = _first_bad(check_of, bad_row, reason)

    def show(i: int) -> Shown:
        k = first_bad(i)
        near = np.arange(*np.searchsorted(after.group, [rows.group[k], rows.group[k] + 1]))
        near = near[after.low[near] < rows.high[k] + ending]
        shown = [int(rows.rows[k])] + [int(after.rows[near[-1]])] * bool(len(near))
        seen = None
        if len(near) and not rows.vague[k] and not after.vague[near[-1]]:
            seen = (int(rows.low[k]) - int(after.low[near[-1]])) / MICROSECONDS
        facts = {"step": str(ban.step), "after": str(ban.after), "until": str(ban.until or ""), "does": f"{ban.point}s",
                 "did": "has ended" if ending else "has begun",
                 "lag": say_seconds(seen) if seen is not None else ""}  # fmt: skip
        observed = Quantity(whole_if_whole(seen), "s") if seen is not None else None
        return Shown(observed, Required(None, 0, "s", _banned(ban)), observed, shown, COLUMNS, facts)

    part = f"no {ban.step} after {ban.after}" + (f" until {ban.until}" if ban.until else "")
    part += " at its start" if ban.point == "start" else ""
    part += " from its end" if ending else ""
    outcomes = Outcomes(steps.machine[cycle], cycle, names, status, Reasons(_REASONS, reason.astype(np.int8)), show,
                        part=part)  # fmt: skip
    return _with_idle(outcomes, _not_applicable(scope, cycle), scope)


def _banned(ban: Forbidden) -> str:
    step, after = ban.step, ban.after
    text = {
        ("start", "start"): f"no {step} starts after {after} has begun",
        ("start", "end"): f"no {step} starts after {after} has ended",
        ("end", "start"): f"no {step} ends after {after} has begun",
        ("end", "end"): f"no {step} ends after {after} has ended",
    }[ban.point, ban.after_point]
    return f"{text} until {ban.until} begins" if ban.until else text


def _vague_ban(steps: Steps, rows: _Side, after: _Side, until: _Side | None, k: int, touching: bool) -> int:
    """0 if the row surely keeps to the ban, 1 if it surely breaks it, 3 if that cannot be told.

    The ban is broken where an `after` row began before the row's point (or just then, where `touching`) and no `until` row
    began from then to the point. Every way to read the hours that happened twice is tried.
    """
    group = int(rows.group[k])
    spans = [slice(k, k + 1), _span(after, group), _span(until, group) if until is not None else slice(0, 0)]
    sides = [rows, after, until or rows]
    members = np.concatenate([side.rows[span] for side, span in zip(sides, spans, strict=True)])
    began = steps.began.item(steps.cycle.item(int(members[0])))
    began = 0 if began == NAT else began
    keep = broken = False
    for tried, way in enumerate(steps.ways(members)):
        if tried == MOST_WAYS:
            return 3
        meant = {int(members[at]): pair for at, pair in way}
        (point,), begun, lifted = (_points(side, span, meant, began) for side, span in zip(sides, spans, strict=True))
        keep = keep or _can_keep(point, begun, lifted, touching)
        broken = broken or _can_break(point, begun, lifted, touching)
    return 3 if keep and broken else 1 if broken else 0


def _span(side: _Side, group: int) -> slice:
    return slice(*np.searchsorted(side.group, [group, group + 1]).tolist())


def _points(side: _Side, span: slice, meant: Mapping[int, tuple[int, int]], began: int) -> list[tuple[int, int]]:
    """The bounds of the points of some rows; a row of an hour that happened twice has the one that is meant."""
    found = []
    for row, low, high in zip(side.rows[span].tolist(), side.low[span].tolist(), side.high[span].tolist(), strict=True):
        at = meant[row][side.end] if row in meant else NAT
        found.append((low, high) if at == NAT else (at - began, at - began))
    return found


def _can_keep(
    point: tuple[int, int], begun: list[tuple[int, int]], lifted: list[tuple[int, int]], touching: bool
) -> bool:
    """Whether some times let every `after` row begin at or past the point, or an `until` row lift the last of the others.

    A later point lets more `until` rows come before it, and forces more `after` rows to: only those moments matter.
    """
    earliest, latest = point
    for at in {earliest, *(low for low, _ in lifted if earliest < low <= latest)}:
        forced = [low for low, high in begun if high < at + touching]
        if not forced or any(low <= at and high >= max(forced) for low, high in lifted):
            return True
    return False


def _can_break(
    point: tuple[int, int], begun: list[tuple[int, int]], lifted: list[tuple[int, int]], touching: bool
) -> bool:
    """Whether some times let an `after` row begin just before the point with every `until` row before or past both."""
    earliest, latest = point
    for low, high in begun:
        first = max(earliest, low + 1 - touching)
        # the narrowest window that slides: each `until` row whose time is known blocks two places of it
        for at in range(first, min(latest, max(first, high + 1 - touching), first + 2 * len(lifted) + 1) + 1):
            since = min(high, at - 1 + touching)
            if all(u_low < since or u_high > at for u_low, u_high in lifted):
                return True
    return False


def _not_applicable(scope: Scope, judged: Ints) -> Index:
    """The cycles in scope in which the rule found no subject."""
    seen = np.zeros(scope.steps.cycles, dtype=bool)
    seen[judged] = True
    cycles = scope.cycle_in()
    return cycles[~seen[cycles]]


def _with_idle(outcomes: Outcomes, cycles: Index, scope: Scope) -> Outcomes:
    """Add one N/A check for each cycle without a subject, so that it is seen to have been looked at."""
    names: Any = outcomes.target
    return Outcomes(
        np.concatenate([outcomes.machine, scope.steps.machine[cycles]]), np.concatenate([outcomes.cycle, cycles]),
        Names(names.words, np.concatenate([names.codes, np.full(len(cycles), -1)])),
        np.concatenate([outcomes.status, np.full(len(cycles), NOT_APPLICABLE, dtype=np.int8)]),
        Reasons(_REASONS, np.concatenate([outcomes.reason.codes, np.zeros(len(cycles), dtype=np.int8)])),  # type: ignore[attr-defined]
        outcomes.show, part=outcomes.part,
    )  # fmt: skip


__all__ = ["NAME", "TIGHTER", "Forbidden", "Params", "Relation", "check"]
