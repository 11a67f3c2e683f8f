"""Was every required step done on every expected target?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from validator.documents import Document, Text
from validator.kinds.flush import scope_rows
from validator.kinds.outcome import IN, NOT_APPLICABLE, OUT, Names, Outcomes, Reasons, Scope, Shown
from validator.kinds.rows import gather
from validator.kinds.targets import Targets, expected

NAME = "coverage"
TIGHTER: Mapping[str, Literal["lower", "higher"]] = {}
_REASONS = ("", "missing")


class Requirement(Document):
    """A step, and the targets it is required on; without targets, once on the whole equipment."""

    step: Text
    targets: Targets = None


class Params(Document):
    required: tuple[Requirement, ...]


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a required step, cycle and expected target; one group of outcomes a required step."""
    return [_one(requirement, scope) for requirement in params.required]


def _one(requirement: Requirement, scope: Scope) -> Outcomes:
    want = expected(scope, requirement.targets, (requirement.step,))
    rows = gather(scope.steps, (requirement.step,), want)
    missing = ~rows.present & ~want.out_of_use
    status = np.where(want.out_of_use, NOT_APPLICABLE, np.where(missing, OUT, IN)).astype(np.int8)

    def show(i: int) -> Shown:
        mine = rows.of(i) or scope_rows(scope, int(want.cycle[i]))
        return Shown(rows=mine, columns=("step", "target"), facts={"step": requirement.step})

    return Outcomes(
        scope.steps.machine[want.cycle], want.cycle, Names(want.names, want.target), status,
        Reasons(_REASONS, missing.astype(np.int8)), show, part=requirement.step,
    )  # fmt: skip
