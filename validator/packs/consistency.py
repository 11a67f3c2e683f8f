"""Can any cycle keep all the rules of a pack at once? Proved before a record is seen, naming the rules that conflict."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from validator.packs.model import BoundRule, Pack, documents_in
from validator.quantities import Duration, plain_number, say
from validator.timing.critical_path import Circular, Link, Step, least_time
from validator.timing.network import Constraint, conflict

DAY = 86_400


def conflicts(pack: Pack) -> Iterable[str]:
    """Every conflict among the rules of a pack that hold for one machine together, one sentence each."""
    together = list(_by_profile(pack))
    yield from dict.fromkeys(fault for part in together for fault in (*_order(part), *_strengths(part)))
    for bound in pack.rules:
        if bound.rule.kind == "concentration" and bound.params.table is not None:
            yield from (f"{bound.place}: rule {bound.rule.id}: {fault}" for fault in _table(bound.params.table))
        yield from (f"{bound.place}: rule {bound.rule.id}: {fault}" for fault in _never(bound, pack))
    yield from dict.fromkeys(fault for part in together for fault in _interval(part))


def _by_profile(pack: Pack) -> Iterable[Pack]:
    """The pack as it holds for a machine of each profile; as it stands where no rule asks for a profile."""
    if not any(b.rule.profiles for b in pack.rules):
        yield pack
        return
    for name in pack.profiles:
        yield replace(pack, rules=tuple(b for b in pack.rules if not b.rule.profiles or name in b.rule.profiles))


def _order(pack: Pack) -> Iterable[str]:
    """Relations, forbidden orders and least durations that no times of the steps can keep together.

    Every step is taken to occur once and to last a second at the least: a circle of "before" then has no solution.
    """
    steps: dict[str, int] = {}

    def point(step: str, side: str) -> int:
        return 2 * steps.setdefault(step, len(steps)) + (side == "F")

    rules = [b for b in pack.rules if b.rule.kind == "order"]
    constraints: list[Constraint] = []
    for bound in rules:
        for r in bound.params.relations:
            first, then = point(str(r.first), r.link[0]), point(str(r.then), r.link[1])
            constraints.append(Constraint(then, first, -(r.min_lag.amount if r.min_lag else 0), bound.rule.id))
            if r.max_lag is not None:
                constraints.append(Constraint(first, then, r.max_lag.amount, bound.rule.id))
        constraints += [
            Constraint(point(str(ban.after), "S"), point(str(ban.step), "S" if ban.point == "start" else "F"), 0, bound.rule.id)
            for ban in bound.params.forbidden if ban.until is None
        ]  # fmt: skip
    least = _least_durations(pack)
    for step in list(steps):
        seconds, rule = least.get(step, (1, ""))
        constraints.append(Constraint(point(step, "F"), point(step, "S"), -max(seconds, 1), rule))
    proof = conflict(2 * len(steps), constraints)
    if proof:
        names = list(steps)
        chain = " -> ".join(dict.fromkeys(names[c.earlier // 2] for c in reversed(proof)))
        involved = ", ".join(sorted({c.why for c in proof if c.why}))
        yield (f"pack {pack.id}: {involved}: no cycle in which each step is done once can keep these together; they close "
               f"a circle over {chain}")  # fmt: skip


def _least_durations(pack: Pack) -> dict[str, tuple[int, str]]:
    """The least a step lasts by a flush or contact rule, and which rule says so."""
    found: dict[str, tuple[int, str]] = {}
    for bound in pack.rules:
        p = bound.params
        if bound.rule.kind == "flush" and p.accumulate == "longest" and not p.join_gap.amount:
            found[p.step] = max(found.get(p.step, (0, "")), (p.min.amount, bound.rule.id))
        elif bound.rule.kind == "contact" and len(p.steps) == 1 and isinstance(p.min, Duration) and p.having is None:
            found[p.steps[0]] = max(found.get(p.steps[0], (0, "")), (p.min.amount, bound.rule.id))
    return found


Band = tuple[float, float]


def _strengths(pack: Pack) -> Iterable[str]:
    """Rules on one agent that leave no strength which keeps them all."""
    by_agent: dict[str, list[tuple[str, list[Band]]]] = {}
    for bound in pack.rules:
        if bound.rule.kind == "concentration":
            by_agent.setdefault(bound.params.agent, []).append((bound.rule.id, [_band(x) for x in bound.params.lines]))
    for agent, rules in by_agent.items():
        left: list[Band] = [(-math.inf, math.inf)]
        for count, (_, bands) in enumerate(rules, 1):
            left = [(max(a, c), min(b, d)) for a, b in left for c, d in bands if max(a, c) <= min(b, d)]
            if not left:
                names = ", ".join(name for name, _ in rules[:count])
                yield f"pack {pack.id}: {names}: no strength of {agent} keeps these together"
                break


def _band(line: Any) -> Band:
    return (-math.inf if line.min is None else line.min, math.inf if line.max is None else line.max)


def _table(lines: Sequence[Any]) -> Iterable[str]:
    """Holes between the bands of a table, and bands that overlap although their conditions are the same."""
    bands = sorted(_band(line) for line in lines)
    reached = bands[0][1]
    for low, high in bands[1:]:
        if low > reached:
            yield f"its table leaves a hole between {plain_number(reached)} and {plain_number(low)} ppm"
        reached = max(reached, high)
    for a, b in itertools.combinations(lines, 2):
        if a.conditions == b.conditions and max(_band(a)[0], _band(b)[0]) <= min(_band(a)[1], _band(b)[1]):
            yield "two lines of its table overlap under the same conditions; one of them says nothing"


def _never(bound: BoundRule, pack: Pack) -> Iterable[str]:
    """Why a rule can never judge anything on the pack's own profiles."""
    profiles = list(pack.profiles.values())
    if not profiles:
        return
    for asked in documents_in(bound.params):
        targets = getattr(asked, "targets", None)
        if targets in ("lines", "parts") and not any(getattr(p, targets) for p in profiles):
            yield f"asks for {targets}, and no profile of the pack has any"
    if bound.rule.kind == "concurrency" and bound.params.resource == "equipment" and bound.params.capacity is None:
        steps = bound.params.steps
        if not any(step in p.capacities for step in steps for p in profiles):
            yield f"has no capacity of its own, and no profile gives one for {' or '.join(steps) or 'any step'}"


def _interval(pack: Pack) -> Iterable[str]:
    """An interval shorter than the cleaning that it asks for."""
    intervals = [b for b in pack.rules if b.rule.kind == "interval"]
    least = _least_durations(pack)
    longest = 0
    for profile in pack.profiles.values():
        acts = [(step, line) for step in least for line in (profile.lines or ("",))]
        steps = [Step(f"{s} {t}", least[s][0], s if s in profile.capacities else "") for s, t in acts]
        try:
            longest = max(longest, least_time(steps, list[Link](), profile.capacities).total)
        except Circular:  # pragma: no cover - there are no links here
            continue
    for bound in intervals:
        limit = bound.params.max
        seconds = limit.amount * DAY if limit.calendar else limit.amount
        if seconds < longest:
            yield (f"{bound.place}: rule {bound.rule.id}: max is {say(limit.amount, limit.unit)}, less than the "
                   f"{say(longest, 's')} that a cleaning takes by the pack's own minimum times")  # fmt: skip
