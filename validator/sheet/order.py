"""Which acts do the rules of a pack ask of one cleaning, and in which order can they be done?

The acts are those that coverage, flush, contact, agreement and samples ask for, both ends of every relation, what a ban speaks of,
and the mixing and testing of a solution whose strength is judged. Relations and bans give the order; where they leave it open, the
order in which the contract names the steps does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from validator.kinds.solutions import PREPARING
from validator.packs.model import BoundRule
from validator.quantities import Duration
from validator.tables import IN_ORDER

Targets = str | tuple[str, ...] | None
Words = tuple[str, ...]
WATER = "water"
"""What solutions are mixed with, and no solution itself."""


@dataclass(eq=False)
class Act:
    """A step, or several of which any will do, with the agents it may be done with (none named: any) on some targets.

    `now_and_then` marks what a rule asks for once in a while and not at every cleaning. `test` is what a sample is for.
    `place` says where it stands among acts whose order nothing else decides, the smaller the earlier. `between` are the acts
    between which a ban asks for it, where that is all there is it for.
    """

    steps: Words
    agents: Words
    targets: Targets
    place: float
    now_and_then: bool = False
    test: str = ""
    between: tuple[Act, ...] = ()
    before: list[Act] = field(default_factory=list)
    """The acts that must be done before this one."""

    def fits(self, steps: Sequence[str], agents: Sequence[str]) -> bool:
        """Whether it is, or may be, one that is meant by these steps and agents."""
        return bool(set(self.steps) & set(steps)) and (
            not agents or not self.agents or bool(set(self.agents) & set(agents))
        )

    def needs(self, other: Act) -> bool:
        """Whether the other must be done before, directly or through others."""
        return any(b is other or b.needs(other) for b in self.before)


def in_order(rules: Sequence[BoundRule], *, now_and_then: bool) -> list[Act]:
    """The acts that the rules ask for, in an order that they allow; those asked for now and then only where that is wanted."""
    plan = _Plan()
    for bound in rules:
        plan.ask(bound.rule.kind, bound.params)
    if agents := strength_agents(rules):
        beside = [a for act in plan.acts if set(act.agents) & set(agents) for a in act.agents if a != WATER]
        plan.act(PREPARING[:1], tuple(dict.fromkeys((*agents, *beside))), None)
        plan.act(PREPARING[1:], (), None)
    orders = [bound.params for bound in rules if bound.rule.kind == "order"]
    plan.name(orders)
    if not now_and_then:
        plan.acts = [a for a in plan.acts if not a.now_and_then]
    plan.relate(orders)
    return plan.sorted()


def strength_agents(rules: Iterable[BoundRule]) -> Words:
    """The agents whose strength some rule judges, in the order of the rules."""
    return tuple(dict.fromkeys(b.params.agent for b in rules if b.rule.kind in ("concentration", "mixed_strength")))


class _Plan:
    """Acts as they are found, and what must come before what."""

    def __init__(self) -> None:
        self.acts: list[Act] = []

    def act(self, steps: Words, agents: Words, targets: Targets, *, now_and_then: bool = False, test: str = "") -> Act:
        """The act that has these steps on these targets, made where there is none yet."""
        for act in self.acts:
            same = act.targets == targets and act.test == test and set(act.steps) & set(steps)
            if same and (not agents or not act.agents or set(agents) & set(act.agents)):
                if agents:
                    act.agents = tuple(a for a in act.agents if a in agents) or agents
                act.steps = tuple(s for s in act.steps if s in steps)
                act.now_and_then &= now_and_then
                return act
        made = Act(steps, agents, targets, _usual(steps[0]), now_and_then, test)
        self.acts.append(made)
        return made

    def ask(self, kind: str, params: Any) -> None:
        """The acts without which a rule is OUT or cannot be shown."""
        if kind == "coverage":
            for wanted in params.required:
                self.act(wanted.step, wanted.agent, wanted.targets)
        elif kind == "flush":
            self.act((params.step,), (), params.targets)
        elif kind == "contact":
            agents = (
                () if isinstance(params.min, Duration) else tuple(dict.fromkeys(x.agent for x in params.min if x.agent))
            )
            self.act(params.steps, agents, params.targets, now_and_then=params.having is not None)
        elif kind == "agreement":
            self.act(params.of.step, params.of.agent, params.of.targets)
            self.act(params.with_.step, params.with_.agent, params.with_.targets)
        elif kind == "interval" and params.having is not None:
            self.act(params.having.step, params.having.agent, params.having.targets, now_and_then=True)
        elif kind == "samples":
            self.act((params.step,), (), params.targets or None, test=params.test)

    def name(self, orders: Sequence[Any]) -> None:
        """The acts that relations and bans speak of and nothing else asks for: on the targets of what they are tied to."""
        ties = [(r.per, (r.first, r.then), None) for params in orders for r in params.relations]
        ties += [(b.per, (b.after, b.step), b.until) for params in orders for b in params.forbidden]
        for per, ends, until in sorted(ties, key=lambda tie: tie[0] == "cycle"):
            known = [a for end in ends for a in self.of(end)]
            targets = known[0].targets if known and per == "target" else None
            rarely = bool(known) and all(a.now_and_then for a in known)
            for act in (*ends, until):
                if act is not None and not self.of(act):
                    made = self.act(act.step[:1], act.agent, targets, now_and_then=rarely)
                    made.place = _beside(made, known)

    def of(self, act: Any) -> list[Act]:
        """The acts that a relation's or a ban's words mean."""
        return [a for a in self.acts if a.fits(act.step, act.agent)]

    def relate(self, orders: Sequence[Any]) -> None:
        """Relations first, then bans; of these the ones that hang on what is done now and then last."""
        for params in orders:
            for r in params.relations:
                for first in self.of(r.first):
                    for then in self.of(r.then):
                        if _meet(first, then, r.per):
                            _put(first, then)
        pairs = [
            (ban, after, step) for params in orders for ban in params.forbidden for after in self.of(ban.after)
            for step in self.of(ban.step) if _meet(after, step, ban.per)
        ]  # fmt: skip
        for ban, after, step in sorted(pairs, key=lambda p: p[1].now_and_then or p[2].now_and_then):
            self.keep(ban, after, step)

    def keep(self, ban: Any, after: Act, step: Act) -> None:
        """Put the banned step before what bans it, or, where it comes after, what lifts the ban between the two."""
        later = step.needs(after) or (not after.needs(step) and step.place > after.place)
        if ban.until is None or not later:
            _put(step, after)
            return
        for until in self.of(ban.until):
            tied = ban.per == "cycle" or until.targets in (after.targets, step.targets)
            if tied and until not in (after, step) and not after.needs(until) and not until.needs(step):
                if until.steps[0] not in IN_ORDER:
                    until.place = (after.place + step.place) / 2 - 0.1
                _put(after, until)
                _put(until, step)
                return
        targets = (after.targets or step.targets) if ban.per == "target" else None
        made = Act(ban.until.step[:1], ban.until.agent, targets, after.place + 0.2, after.now_and_then or step.now_and_then,
                   between=(after, step))  # fmt: skip
        self.acts.append(made)
        _put(after, made)
        _put(made, step)

    def sorted(self) -> list[Act]:
        """The acts so that each stands after those it needs; in a circle, which no order can keep, as they usually come."""
        left, done = sorted(self.acts, key=lambda a: a.place), []
        while left:
            free = next((a for a in left if not any(b in left for b in a.before)), left[0])
            left.remove(free)
            done.append(free)
        return done


def _put(first: Act, then: Act) -> None:
    if first is not then and not first.needs(then) and first not in then.before:
        then.before.append(first)


def _meet(one: Act, other: Act, per: str) -> bool:
    return one is not other and (per == "cycle" or one.targets == other.targets)


def _usual(step: str) -> float:
    return float(IN_ORDER.index(step)) if step in IN_ORDER else float(len(IN_ORDER))


def _beside(made: Act, known: Sequence[Act]) -> float:
    """The usual place of a step that the contract names; any other stands just before what it is tied to."""
    if made.steps[0] in IN_ORDER or not known:
        return made.place
    return min(a.place for a in known) - 0.1
