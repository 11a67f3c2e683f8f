"""Can a relation between rows hold, can it be broken, whatever the times that are missing? Decided exactly.

The rows of one group become time points of a network: what is recorded, what the facts bound, and one choice for each
thing that can have been in more than one way (an hour that happened twice, the order of rows that cannot run at once).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from validator.steps import FAR, Steps
from validator.tables import NAT
from validator.timing.network import Answer, Choice, Constraint, TooManyBranches, between, possible

Point = Literal["S", "F"]


class Network:
    """The time points of some rows: row k has its start at `start(row)` and its end at `end(row)`; point 0 is 1970."""

    def __init__(self, steps: Steps, rows: Sequence[int]) -> None:
        self.steps = steps
        self.rows = self._with_rivals(sorted(set(rows)))
        self.at = {row: 1 + 2 * k for k, row in enumerate(self.rows)}
        self.points = 1 + 2 * len(self.rows)
        self.facts: list[Constraint] = []
        self.choices: list[Choice] = []
        bounds = steps.bounds(np.array(self.rows, dtype=np.intp))
        lengths = steps.own_durations(np.array(self.rows, dtype=np.intp)).tolist()
        doubt = {self.rows[at]: pairs for at, pairs in steps.doubtful(np.array(self.rows, dtype=np.intp))}
        for row, limits, length in zip(
            self.rows, zip(*(b.tolist() for b in bounds), strict=True), lengths, strict=True
        ):
            self._row(row, limits, length, doubt.get(row, ()))
        self._rivals()

    def point(self, row: int, side: str) -> int:
        """The start (S) or the end (F) of a row."""
        return self.at[row] + (side == "F")

    def _row(self, row: int, limits: tuple[int, ...], length: int, pairs: Sequence[tuple[int, int]]) -> None:
        start, end = self.point(row, "S"), self.point(row, "F")
        self.facts.append(Constraint(end, start, 0, "a step ends no earlier than it starts"))
        if length >= 0:
            self.facts += between(start, end, length, length, "duration_s")
        for point, low, high in ((start, limits[0], limits[1]), (end, limits[2], limits[3])):
            if low > -FAR // 2:
                self.facts.append(Constraint(point, 0, -low))
            if high < FAR // 2:
                self.facts.append(Constraint(0, point, high))
        if pairs:
            self.choices.append([
                [c for point, value in ((start, s), (end, e)) if value != NAT for c in between(0, point, value, value)]
                for s, e in pairs
            ])  # fmt: skip

    def _with_rivals(self, rows: list[int]) -> list[int]:
        """The rows, and where one has no time at all also those that cannot run beside it."""
        steps = self.steps
        adrift = [r for r in rows if steps.start[r] == NAT and steps.end[r] == NAT and self._alone(r)]
        more = {
            k for r in adrift for k in range(int(steps.first[steps.cycle[r]]), int(steps.first[steps.cycle[r] + 1]))
            if steps.step[k] == steps.step[r]
        }  # fmt: skip
        return sorted({*rows, *more})

    def _alone(self, row: int) -> bool:
        name = self.steps.records.texts["step"].vocabulary[self.steps.step[row]]
        machine = self.steps.machines[int(self.steps.machine[self.steps.cycle[row]])]
        return machine.capacities.get(name) == 1

    def _rivals(self) -> None:
        """Rows of a step that only one can run at once lie one after the other, in either order."""
        steps = self.steps
        for k, a in enumerate(self.rows):
            for b in self.rows[:k]:
                vague = steps.incomplete[a] or steps.incomplete[b]
                if vague and steps.step[a] == steps.step[b] and steps.cycle[a] == steps.cycle[b] and self._alone(a):
                    self.choices.append([
                        [Constraint(self.point(y, "S"), self.point(x, "F"), 0)] for x, y in ((a, b), (b, a))
                    ])  # fmt: skip

    def answer(self, rule: Sequence[Choice], broken: Sequence[Sequence[Choice]]) -> Answer:
        """What the facts say: `rule` must hold for IN, any one of `broken` for OUT."""
        try:
            holds = possible(self.points, self.facts, [*self.choices, *rule]) is not None
            breaks = any(possible(self.points, self.facts, [*self.choices, *way]) is not None for way in broken)
        except TooManyBranches:
            return "cannot tell"
        if holds:
            return "cannot tell" if breaks else "conforms"
        return "violates" if breaks else "contradicts itself"


def every_then_has_a_first(
    steps: Steps, first: Sequence[int], then: Sequence[int], link: str, least: int, most: int | None
) -> Answer:
    """Whether every `then` row has a `first` row that satisfies the link."""
    net = Network(steps, [*first, *then])

    def lag(t: int, f: int) -> tuple[int, int]:
        return net.point(f, link[0]), net.point(t, link[1])

    def satisfied(t: int, f: int) -> list[Constraint]:
        a, b = lag(t, f)
        return [Constraint(b, a, -least)] + ([Constraint(a, b, most)] if most is not None else [])

    def unsatisfied(t: int, f: int) -> Choice:
        a, b = lag(t, f)
        return [[Constraint(a, b, least - 1)]] + ([[Constraint(b, a, -most - 1)]] if most is not None else [])

    rule = [[satisfied(t, f) for f in first if f != t] for t in then]
    broken = [[unsatisfied(t, f) for f in first if f != t] for t in then]
    return net.answer(rule, broken)
