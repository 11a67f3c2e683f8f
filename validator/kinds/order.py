"""Were the steps done in the right order, with the right time between them?

A relation links the start or end of a `first` row to the start or end of a `then` row, as precedence diagrams do: FS
(first ends, then starts), SS, FF, SF, with the least and the most time between. Every `then` row needs a `first` row
that satisfies it. What is `forbidden` stands in `bans`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Document
from validator.findings import Quantity, Required
from validator.kinds.acts import StepOrAct
from validator.kinds.bans import Forbidden, judge_ban
from validator.kinds.durations import Elapsed
from validator.kinds.outcome import (
    IN,
    NOT_OBSERVED,
    OUT,
    Outcomes,
    Reasons,
    Scope,
    Shown,
    Stricter,
)
from validator.kinds.points import (
    COLUMNS,
    REASONS,
    Index,
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
from validator.kinds.relation_network import every_then_has_a_first
from validator.quantities import MICROSECONDS, Duration, say_seconds, whole_if_whole
from validator.steps import Steps
from validator.tables import NAT
from validator.timing.intervals import latest_before

NAME = "order"
TIGHTER: Mapping[str, Stricter] = {}
Link = Literal["FS", "SS", "FF", "SF"]


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
        *(judge_ban(ban, scope) for ban in params.forbidden),
    ]


def _satisfied(first: Side, then: Side, least: int, most: int | None, more: int) -> npt.NDArray[np.bool_]:
    """Which `then` rows have a `first` row of their group at least `least` and at most `most` + `more` before them."""
    if not len(first.rows):
        return np.zeros(len(then.rows), dtype=bool)
    at = latest_before(then.group, then.low - least, first.group, first.low, inclusive=True)
    lag = then.low - first.low[np.maximum(at, 0)]
    return (at >= 0) & (lag <= most + more if most is not None else True)


def _relation(relation: Relation, scope: Scope) -> Outcomes:
    steps = scope.steps
    first = side_of(scope, relation.first, relation.link[0] == "F", relation.per)
    then = side_of(scope, relation.then, relation.link[1] == "F", relation.per)
    cycle, names, check_of = groups_of(scope, then, relation.per)
    least = relation.min_lag.microseconds if relation.min_lag else 0
    most = relation.max_lag.microseconds if relation.max_lag else None
    vague_groups = np.union1d(first.group[first.vague], then.group[then.vague])
    guard = scope.guard
    bad_row = np.where(_satisfied(first, then, least + guard, most, -guard), 0, 1)
    if guard:
        bad_row[(bad_row == 1) & _satisfied(first, then, least - guard, most, guard)] = 5
    bad_row[~present(then.group, first.group)] = 2
    theirs = np.searchsorted(first.group, then.group, "left"), np.searchsorted(first.group, then.group, "right")
    vague = np.flatnonzero(present(then.group, vague_groups) & (bad_row != 2))
    one = theirs[1][vague] - theirs[0][vague] == 1
    bad_row[vague[one]] = _vague_pairs(first, then, theirs[0][vague[one]], vague[one], least, most, guard)
    for k in vague[~one].tolist():
        tried = _vague_pairs(first, then, np.arange(theirs[0][k], theirs[1][k]), np.array([k]), least, most, guard)
        bad_row[k] = 0 if (tried == 0).any() else 3 if (tried == 3).any() else 1
    for k in vague[bad_row[vague] == 3].tolist():
        bad_row[k] = 4 if torn(steps, (then, first), then.group[k]) else 3
    _look_closer(relation, steps, first, then, bad_row, least, most)
    reason = worst_of(bad_row, check_of, len(cycle))
    status = np.array([IN, OUT, OUT, *[NOT_OBSERVED] * 3], dtype=np.int8)[reason]
    machine = steps.machine[cycle]
    required = _required(relation)
    first_bad = first_bad_of(check_of, bad_row, reason)

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

    others = not_applicable(scope, cycle)
    return with_idle(
        Outcomes(machine, cycle, names, status, Reasons(REASONS, reason.astype(np.int8)), show,
                 part=f"{relation.first} {relation.link} {relation.then}"), others, scope,
    )  # fmt: skip


_ANSWERS = {"conforms": 0, "violates": 1, "cannot tell": 3, "contradicts itself": 4}


def _look_closer(
    relation: Relation, steps: Steps, first: Side, then: Side, bad_row: npt.NDArray[np.int64], least: int, most: int | None
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
        mine, theirs = span_of(then, group), span_of(first, group)
        if (bad_row[mine] == 1).any():
            continue
        answer = every_then_has_a_first(
            steps, first.rows[theirs].tolist(), then.rows[mine].tolist(), relation.link, least, most
        )
        bad_row[mine] = np.where(bad_row[mine] == 3, _ANSWERS[answer], bad_row[mine])


def _vague_pairs(
    first: Side, then: Side, a: Index, b: Index, least: int, most: int | None, guard: int
) -> npt.NDArray[np.int64]:
    """Of pairs of a first and a then row: 0 if they surely satisfy the link, 1 if they cannot, 3 if that cannot be told."""
    low, high = then.low[b] - first.high[a], then.high[b] - first.low[a]
    sure = (low >= least + guard) & ((high <= most - guard) if most is not None else True)
    possible = (high >= least - guard) & ((low <= most + guard) if most is not None else True)
    return np.where(sure, 0, np.where(possible, 3, 1))


def _nearest(first: Side, firsts: Index, then: Side, k: int, least: int, most: int | None) -> int | None:
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


__all__ = ["NAME", "TIGHTER", "Forbidden", "Params", "Relation", "check"]
