"""Did a step end, or begin, while it must not: after another has begun, until a third begins?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from validator.fields import Document
from validator.findings import Quantity, Required
from validator.kinds.acts import StepOrAct
from validator.kinds.outcome import (
    IN,
    NOT_APPLICABLE,
    NOT_OBSERVED,
    OUT,
    Outcomes,
    Reasons,
    Scope,
    Shown,
)
from validator.kinds.points import (
    COLUMNS,
    REASONS,
    Per,
    Side,
    first_bad_of,
    groups_of,
    not_applicable,
    present,
    side_of,
    span_of,
    torn,
    with_idle,
    worst_of,
)
from validator.quantities import MICROSECONDS, say_seconds, whole_if_whole
from validator.steps import FAR, MOST_WAYS, Steps
from validator.tables import NAT
from validator.timing.intervals import latest_before


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


def judge_ban(ban: Forbidden, scope: Scope) -> Outcomes:
    steps = scope.steps
    rows = side_of(scope, ban.step, ban.point == "end", ban.per)
    ending = ban.after_point == "end"  # what begins as the `after` row ends comes after it
    after = side_of(scope, ban.after, ending, ban.per)
    until = side_of(scope, ban.until, False, ban.per) if ban.until else None
    cycle, names, check_of = groups_of(scope, rows, ban.per)
    guard = scope.guard
    begun = latest_before(rows.group, rows.high - guard, after.group, after.low, inclusive=ending)
    began_at = np.where(begun >= 0, after.low[np.maximum(begun, 0)], -FAR) if len(after.rows) else rows.high * 0 - FAR
    broken = begun >= 0
    if until is not None and len(until.rows):
        ended = latest_before(rows.group, rows.high + guard, until.group, until.low, inclusive=True)
        broken &= (ended < 0) | (until.low[np.maximum(ended, 0)] < began_at)
    applies = present(rows.group, after.group)
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
        bad_row[k] = 4 if bad_row[k] == 3 and torn(steps, sides, rows.group[k]) else bad_row[k]
    reason = worst_of(bad_row, check_of, len(cycle))
    some = np.zeros(len(cycle), dtype=bool)
    some[check_of[applies]] = True
    status = np.array([IN, OUT, OUT, *[NOT_OBSERVED] * 3], dtype=np.int8)[reason]
    status[~some] = NOT_APPLICABLE
    first_bad = first_bad_of(check_of, bad_row, reason)

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
    outcomes = Outcomes(steps.machine[cycle], cycle, names, status, Reasons(REASONS, reason.astype(np.int8)), show,
                        part=part)  # fmt: skip
    return with_idle(outcomes, not_applicable(scope, cycle), scope)


def _banned(ban: Forbidden) -> str:
    step, after = ban.step, ban.after
    text = {
        ("start", "start"): f"no {step} starts after {after} has begun",
        ("start", "end"): f"no {step} starts after {after} has ended",
        ("end", "start"): f"no {step} ends after {after} has begun",
        ("end", "end"): f"no {step} ends after {after} has ended",
    }[ban.point, ban.after_point]
    return f"{text} until {ban.until} begins" if ban.until else text


def _vague_ban(steps: Steps, rows: Side, after: Side, until: Side | None, k: int, touching: bool) -> int:
    """0 if the row surely keeps to the ban, 1 if it surely breaks it, 3 if that cannot be told.

    The ban is broken where an `after` row began before the row's point (or just then, where `touching`) and no `until` row
    began from then to the point. Every way to read the hours that happened twice is tried.
    """
    group = int(rows.group[k])
    spans = [slice(k, k + 1), span_of(after, group), span_of(until, group) if until is not None else slice(0, 0)]
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


def _points(side: Side, span: slice, meant: Mapping[int, tuple[int, int]], began: int) -> list[tuple[int, int]]:
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
