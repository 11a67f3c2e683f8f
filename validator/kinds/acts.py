"""Which rows does a rule mean: those of one step or of several, done with certain agents where it names any.

A row's agent is its own, else that of the solution it names. A row that tells neither may be meant, and nothing is
claimed on it.
"""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import BeforeValidator, WithJsonSchema

from validator.fields import Document
from validator.kinds.conditions import known_agents
from validator.kinds.outcome import Scope
from validator.kinds.rows import any_by, gather
from validator.kinds.targets import Targets, expected
from validator.steps import Steps

Mask = npt.NDArray[np.bool_]


def _words(value: Any) -> Any:
    listed = value if isinstance(value, (list, tuple)) else (value,)
    if not listed or not all(isinstance(v, str) and v.strip() for v in listed):
        raise ValueError(f"expected a name or a list of names, found {str(value)!r}")
    return tuple(str(v) for v in listed)


_WORDS_SCHEMA = {"oneOf": [{"type": "string"}, {"type": "array", "minItems": 1, "items": {"type": "string"}}]}
Words = Annotated[tuple[str, ...], BeforeValidator(_words), WithJsonSchema(_WORDS_SCHEMA)]
"""One name, or a list of names of which any will do."""


class Act(Document):
    """Rows of these steps; of these agents only, where any is named."""

    step: Words
    agent: Words = ()

    def __str__(self) -> str:
        steps, agents = " or ".join(self.step), " or ".join(self.agent)
        return f"{steps} with {agents}" if agents else steps

    @property
    def plain(self) -> str | None:
        """The step, where the act is one step whatever was used."""
        return self.step[0] if len(self.step) == 1 and not self.agent else None

    def match(self, steps: Steps, known: frozenset[str]) -> tuple[Mask, Mask]:
        """For every row whether it surely is of the act, and whether it may be; `known` are the words for agents."""
        mine = np.zeros(len(steps), dtype=bool)
        mine[steps.of_steps(self.step)] = True
        if not self.agent:
            return mine, mine
        agent = agents_of(steps, known | frozenset(self.agent))
        codes = [code for code in (steps.records.code("agent", name) for name in self.agent) if code >= 0]
        named = np.isin(agent, codes)
        return mine & named, mine & (named | (agent < 0))


def _act(value: Any) -> Any:
    return {"step": value} if isinstance(value, str) else value


StepOrAct = Annotated[
    Act,
    BeforeValidator(_act),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {
                    "type": "object", "required": ["step"], "additionalProperties": False,
                    "properties": {"step": _WORDS_SCHEMA, "agent": _WORDS_SCHEMA},
                },
            ]
        }
    ),
]  # fmt: skip
"""The name of a step, or an act written out."""


class ActOn(Act):
    """An act, and the targets it is done on; without targets, anywhere on the equipment."""

    targets: Targets = None

    def cycles(self, scope: Scope) -> tuple[Mask, Mask]:
        """Which cycles of the scope surely have the act on every target that is in use, and which may."""
        steps = scope.steps
        want = expected(scope, self.targets, self.step)
        rows = gather(steps, self.step, want)
        found = []
        for match in self.match(steps, scope.agents):
            done = any_by(rows.group, match[rows.rows], len(want.cycle))
            left_out = any_by(want.cycle, ~done & ~want.out_of_use, steps.cycles)
            found.append(any_by(want.cycle, done, steps.cycles) & ~left_out)
        return found[0], found[1]


def agents_of(steps: Steps, known: frozenset[str]) -> npt.NDArray[np.int32]:
    """The agent of every row: its own, else the only one that its solution has in the cycle; -1 where neither tells."""
    agent = known_agents(steps, known)
    solution = steps.column("solution_id").astype(np.int64)
    blank = np.flatnonzero((agent < 0) & (solution >= 0))
    if not len(blank):
        return agent
    key = steps.cycle * (int(solution.max()) + 1) + solution
    told = np.flatnonzero((agent >= 0) & (solution >= 0))
    told = told[np.lexsort((agent[told], key[told]))]
    keys, heads = np.unique(key[told], return_index=True)
    lowest = agent[told[heads]]
    highest = agent[told[np.append(heads[1:], len(told)) - 1]] if len(told) else lowest
    at = np.searchsorted(keys, key[blank])
    among = at < len(keys)
    among[among] = keys[at[among]] == key[blank[among]]
    one = among.copy()
    one[among] = lowest[at[among]] == highest[at[among]]
    agent[blank[one]] = lowest[at[one]]
    return agent
