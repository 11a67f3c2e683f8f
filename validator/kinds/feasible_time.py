"""Did the cycle take no less than the shortest time in which its own steps can be done?

The pack's other rules say how long a flush or a contact lasts at least and what must come before what; the machine says
how many of a step can run at once. No schedule of the cycle's own steps is shorter than the longest path through these,
or than what has to pass through a shared adapter one after the other. A cycle recorded as shorter is OUT; nothing is
ever said of one that is fast but possible.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from validator.fields import Document
from validator.findings import Quantity
from validator.kinds.facts import required_time, scope_rows
from validator.kinds.outcome import IN, NOT_OBSERVED, OUT, Names, Outcomes, Reasons, Scope, Shown, Stricter
from validator.machines import Machine
from validator.quantities import MICROSECONDS, Duration, say_seconds
from validator.tables import NAT
from validator.timing.critical_path import Circular, LeastTime, Link, Step, least_time

NAME = "feasible_time"
TIGHTER: Mapping[str, Stricter] = {}
_REASONS = ("", "too_fast", "missing_time", "within_uncertainty")
Act = tuple[str, str]
"""A step and its target, as one cycle has them."""


class Params(Document):
    """Nothing is set here: the limits are those of the pack's other rules."""


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle."""
    steps = scope.steps
    cycles = scope.cycle_in()
    bounds = _Bounds(scope)
    need = np.array([bounds.of(int(c))[1].total for c in cycles], dtype=np.int64) * MICROSECONDS
    began, completed = steps.began[cycles], steps.completed[cycles]
    took = completed - began
    unsure = steps.incomplete_cycles[cycles] | (began == NAT)
    most = took + scope.guard
    at = np.flatnonzero(unsure)
    if len(at):
        earliest = _earliest(scope, cycles[at])
        known = began[at] != NAT
        most[at] = np.where(known, steps.completed_at_last[cycles[at]] - earliest, np.iinfo(np.int64).max)
    reason = np.where(took - scope.guard >= need, 0, np.where(most < need, 1, np.where(unsure, 2, 3)))
    reason = np.where(unsure & (took >= need) & (began == NAT), 2, reason)
    status = np.array([IN, OUT, NOT_OBSERVED, NOT_OBSERVED], dtype=np.int8)[reason]

    def show(i: int) -> Shown:
        acts, bound = bounds.of(int(cycles[i]))
        seconds = int(took[i]) // MICROSECONDS
        exact = not unsure[i]
        facts = {"found": say_seconds(seconds), "derived": derive(acts, bound)}
        margin = Quantity(seconds - bound.total, "s") if status[i] == OUT and exact else None
        return Shown(Quantity(seconds, "s") if exact else None, required_time(bound.total), margin,
                     scope_rows(scope, int(cycles[i])), ("step", "target", "started_at", "ended_at"), facts)  # fmt: skip

    return [Outcomes(steps.machine[cycles], cycles, Names((), np.full(len(cycles), -1)), status,
                     Reasons(_REASONS, reason.astype(np.int8)), show)]  # fmt: skip


def _earliest(scope: Scope, cycles: Any) -> Any:
    """The earliest that each cycle can have begun."""
    steps = scope.steps
    found = steps.began[cycles].copy()
    for k, cycle in enumerate(cycles.tolist()):
        rows = np.arange(steps.first[cycle], steps.first[cycle + 1])
        rows = rows[steps.start[rows] == NAT]
        if len(rows):
            found[k] = min(int(found[k]), int(steps.bounds(rows)[0].min()))
    return found


class _Bounds:
    """The least time of every cycle; cycles with the same steps on the same kind of machine share one answer."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self.known: dict[tuple[Any, ...], tuple[list[Act], LeastTime]] = {}
        self.durations: dict[tuple[str, str | None], int] = {}
        self._minima()

    def _minima(self) -> None:
        """The least durations that flush and contact rules ask for, by step and by `lines`, `parts` or a name."""
        for kind, params in self.scope.rules:
            if kind == "flush":
                asked = [(params.step, params.min.amount)]
            elif kind == "contact" and len(params.steps) == 1 and params.having is None:
                least = params.min if isinstance(params.min, Duration) else min(line.at_least for line in params.min)
                asked = [(params.steps[0], least.amount)]
            else:
                continue
            names = params.targets if isinstance(params.targets, tuple) else (params.targets,)
            for step, seconds in asked:
                for name in names:
                    key = step, name
                    self.durations[key] = max(self.durations.get(key, 0), seconds)

    def of(self, cycle: int) -> tuple[list[Act], LeastTime]:
        """The acts of a cycle and the least time they take."""
        steps, scope = self.scope.steps, self.scope
        rows = slice(int(steps.first[cycle]), int(steps.first[cycle + 1]))
        machine = scope.machines[int(steps.machine[cycle])]
        pairs = sorted(set(zip(steps.step[rows].tolist(), steps.target[rows].tolist(), strict=True)))
        key = (tuple(pairs), machine.lines, machine.parts, tuple(sorted(machine.capacities.items())))
        if key not in self.known:
            words = steps.records.texts["step"].vocabulary
            acts = [(words[s], steps.target_name(t)) for s, t in pairs]
            self.known[key] = acts, self._bound(acts, machine)
        return self.known[key]

    def _bound(self, acts: list[Act], machine: Machine) -> LeastTime:
        steps = [
            Step(f"{step} {target}".strip(), self._duration(step, target, machine), step if step in machine.capacities else "")
            for step, target in acts
        ]  # fmt: skip
        try:
            return least_time(steps, self._links(acts), machine.capacities)
        except Circular:
            return LeastTime(0)  # the rules are at fault, which `rules lint` says

    def _duration(self, step: str, target: str, machine: Machine) -> int:
        families = [None, target]
        families += ["lines", "all"] if machine.lines is None or target in machine.lines else []
        families += ["parts", "all"] if machine.parts is None or target in machine.parts else []
        return max(self.durations.get((step, name), 0) for name in families)

    def _links(self, acts: list[Act]) -> list[Link]:
        """What must come before what, wherever a rule leaves no choice of rows."""
        found = []
        for kind, params in self.scope.rules:
            if kind != "order":
                continue
            for relation in params.relations:
                for then, (step, target) in enumerate(acts):
                    if step != relation.then.plain:
                        continue
                    firsts = [i for i, (s, t) in enumerate(acts) if s == relation.first.plain
                              and (relation.per == "cycle" or t == target)]  # fmt: skip
                    if len(firsts) == 1 and firsts[0] != then:
                        lag = relation.min_lag.amount if relation.min_lag else 0
                        found.append(Link(firsts[0], then, relation.link, lag))
            for ban in params.forbidden:
                found += [
                    Link(i, j, "SS" if ban.point == "start" else "FS") for i, (a, s) in enumerate(acts) for j, (b, t) in enumerate(acts)
                    if ban.until is None and a == ban.step.plain and b == ban.after.plain and i != j and (ban.per == "cycle" or s == t)
                ]  # fmt: skip
        return found


def derive(acts: Sequence[Act], bound: LeastTime) -> str:
    """How the bound comes about, step by step, in words."""
    said = [" ".join(part for part in act if part) for act in acts]
    if bound.resource:
        parts = [f"{say_seconds(bound.head)} before the first"] if bound.head else []
        work = bound.total - bound.head - bound.tail
        parts.append(f"{len(bound.sharing)} x {bound.resource} one after the other, {say_seconds(work)}")
        parts += [f"{say_seconds(bound.tail)} after the last"] if bound.tail else []
        return ", then ".join(parts)
    return ", then ".join(said[i] for i in bound.path)
