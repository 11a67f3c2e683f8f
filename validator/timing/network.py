"""Can the times have been so? Simple temporal networks with choices, decided exactly in whole numbers, with a proof.

A constraint says that one time point lies at most so long after another: `x[later] - x[earlier] <= most`. A set of
constraints fits together if and only if its graph has no negative cycle; such a cycle is the proof that it does not
(Dechter, Meiri and Pearl, Artificial Intelligence 49 (1991) 61-95). A choice offers several sets of constraints of
which one must hold, such as either order of two flushes on one adapter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Answer = Literal["conforms", "violates", "cannot tell", "contradicts itself"]
MOST_BRANCHES = 20_000
"""Sets of constraints tried in one question; past it the answer is that it cannot be told."""


@dataclass(frozen=True, slots=True)
class Constraint:
    """`x[later] - x[earlier] <= most`; `why` names the fact or rule that says so."""

    earlier: int
    later: int
    most: int
    why: str = ""


Choice = Sequence[Sequence[Constraint]]
"""Sets of constraints of which at least one holds."""


class TooManyBranches(Exception):
    """The choices have more combinations than are tried."""


def between(earlier: int, later: int, least: int, most: int, why: str = "") -> list[Constraint]:
    """`least <= x[later] - x[earlier] <= most`."""
    return [Constraint(earlier, later, most, why), Constraint(later, earlier, -least, why)]


def minimal(points: int, constraints: Sequence[Constraint]) -> list[list[float]] | None:
    """The tightest bound on every `x[j] - x[i]`; infinite where there is none; None if they do not fit together."""
    far = float("inf")
    table: list[list[float]] = [[0 if i == j else far for j in range(points)] for i in range(points)]
    for c in constraints:
        table[c.earlier][c.later] = min(table[c.earlier][c.later], c.most)
    for k in range(points):
        through = table[k]
        for row in table:
            first = row[k]
            if first == far:
                continue
            for j in range(points):
                if first + through[j] < row[j]:
                    row[j] = first + through[j]
    return None if any(table[i][i] < 0 for i in range(points)) else table


def fits(points: int, constraints: Sequence[Constraint]) -> bool:
    """Whether some times satisfy every constraint."""
    return potentials(points, constraints) is not None


def potentials(points: int, constraints: Sequence[Constraint], start: Sequence[int] | None = None) -> list[int] | None:
    """Times that satisfy every constraint, found by relaxing from `start`; None if there are none."""
    at = list(start) if start is not None else [0] * points
    for _ in range(points + 1):
        changed = False
        for c in constraints:
            if at[c.earlier] + c.most < at[c.later]:
                at[c.later] = at[c.earlier] + c.most
                changed = True
        if not changed:
            return at
    return None


def conflict(points: int, constraints: Sequence[Constraint]) -> list[Constraint]:
    """The fewest constraints that do not fit together, in the order in which they chain; empty if all fit.

    Walks of one more constraint at a time are tried, so the first negative cycle found has the fewest constraints.
    """
    far = float("inf")
    best: list[list[float]] = [[0 if i == j else far for j in range(points)] for i in range(points)]
    via: list[list[list[Constraint | None]]] = []
    for _ in range(points):
        longer = [list(row) for row in best]
        step: list[list[Constraint | None]] = [[None] * points for _ in range(points)]
        for start in range(points):
            row, new = best[start], longer[start]
            for c in constraints:
                if row[c.earlier] + c.most < new[c.later]:
                    new[c.later] = row[c.earlier] + c.most
                    step[start][c.later] = c
        via.append(step)
        best = longer
        for start in range(points):
            if best[start][start] < 0:
                return _walk(via, start)
    return []


def _walk(via: list[list[list[Constraint | None]]], start: int) -> list[Constraint]:
    """The chain of constraints that leads from a point back to itself."""
    chain: list[Constraint] = []
    at = start
    for step in reversed(via):
        c = step[start][at]
        if c is not None:
            chain.append(c)
            at = c.earlier
            if at == start:
                break
    return chain[::-1]


def possible(points: int, constraints: Sequence[Constraint], choices: Sequence[Choice] = ()) -> list[int] | None:
    """Times that satisfy the constraints and one set of every choice; None if there are none.

    Choices are settled one after the other, the one with the fewest sets left first. Raise `TooManyBranches` past
    `MOST_BRANCHES` sets tried.
    """
    tried = 0

    def settle(held: list[Constraint], times: list[int], open_: list[Choice]) -> list[int] | None:
        nonlocal tried
        broken = [choice for choice in open_ if not any(_holds(times, option) for option in choice)]
        if not broken:
            return times
        choice = min(broken, key=len)
        rest = [c for c in open_ if c is not choice]
        for option in choice:
            tried += 1
            if tried > MOST_BRANCHES:
                raise TooManyBranches
            more = [*held, *option]
            found = potentials(points, more, times)
            if found is None:
                continue
            answer = settle(more, found, rest)
            if answer is not None:
                return answer
        return None

    times = potentials(points, constraints)
    return None if times is None else settle(list(constraints), times, list(choices))


def _holds(times: Sequence[int], option: Sequence[Constraint]) -> bool:
    return all(times[c.later] - times[c.earlier] <= c.most for c in option)


def decide(
    points: int, facts: Sequence[Constraint], rule: Sequence[Choice], broken: Sequence[Choice],
    choices: Sequence[Choice] = (),
) -> Answer:  # fmt: skip
    """What the facts say of a rule: `rule` must hold for IN, `broken` for OUT (each a conjunction of choices).

    The two exclude each other and one of them always holds. So if neither is possible the facts contradict
    themselves, and if both are it cannot be told.
    """
    can_hold = possible(points, facts, [*choices, *rule]) is not None
    can_break = possible(points, facts, [*choices, *broken]) is not None
    if can_hold and can_break:
        return "cannot tell"
    if can_hold:
        return "conforms"
    return "violates" if can_break else "contradicts itself"
