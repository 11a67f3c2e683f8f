"""Was every required step done on every expected target?

A requirement names a step or several of which any will do, and the agents where it matters what was used. A row that
does not tell its agent leaves such a requirement open.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from validator.fields import Document
from validator.kinds.acts import ActOn
from validator.kinds.facts import scope_rows
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
from validator.kinds.rows import any_by, gather
from validator.kinds.targets import expected

NAME = "coverage"
TIGHTER: Mapping[str, Stricter] = {}
_REASONS = ("", "missing", "missing_agent")


class Params(Document):
    """Each required act, with the targets it is required on; without targets, once on the whole equipment."""

    required: tuple[ActOn, ...]


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a required step, cycle and expected target; one group of outcomes a required step."""
    return [_one(requirement, scope) for requirement in params.required]


def _one(requirement: ActOn, scope: Scope) -> Outcomes:
    want = expected(scope, requirement.targets, requirement.step)
    rows = gather(scope.steps, requirement.step, want)
    done, possible = (
        any_by(rows.group, match[rows.rows], len(want.cycle)) for match in requirement.match(scope.steps, scope.agents)
    )
    reason = np.where(done | want.out_of_use, 0, np.where(possible, 2, 1))
    status = np.array([IN, OUT, NOT_OBSERVED], dtype=np.int8)[reason]
    status[want.out_of_use] = NOT_APPLICABLE

    def show(i: int) -> Shown:
        mine = rows.of(i) or scope_rows(scope, int(want.cycle[i]))
        columns = ("step", "target", "agent") if requirement.agent else ("step", "target")
        return Shown(rows=mine, columns=columns, facts={"step": str(requirement)})

    return Outcomes(
        scope.steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
        Reasons(_REASONS, reason.astype(np.int8)), show, part=str(requirement),
    )  # fmt: skip
