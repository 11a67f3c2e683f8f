"""Apply a pack's rules to the machines it concerns: each rule once for every set of limits that holds somewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from validator import kinds
from validator.documents import existing, say_path, sentence_of, suggest
from validator.errors import WrongInput
from validator.findings import Grade, Notice
from validator.kinds.outcome import IN, NOT_APPLICABLE, OUT, Lost, Outcomes, Scope
from validator.machines import Machine
from validator.packs.layering import origin, shown
from validator.packs.model import BoundRule, Pack, Rule, documents_in
from validator.presence import Presence
from validator.steps import Steps
from validator.tables import AGENTS, STEPS

Mask = npt.NDArray[np.bool_]
LOOKS_BACK = ("interval", "record")
"""Kinds to which it matters what the records no longer hold."""
GRAVE = (Grade.CRITICAL, Grade.MAJOR)


@dataclass(frozen=True)
class Applied:
    """One rule's outcomes on the machines that share its limits."""

    rule: BoundRule
    params: Any
    pack: Pack
    steps: Steps
    machines: Sequence[Machine]
    machine_in: Mask
    outcomes: list[Outcomes]
    limit_from: str
    """Which layer the limits come from: a pack, or the register."""
    order: tuple[int, int, str] = (0, 0, "")
    """Where it stands among the others: the pack's number, the rule's, and the register's own limits in words."""
    lost: Lost | None = None
    """The cleanings that only an earlier report knew, for the kinds that look back over the records as a whole."""


def in_order(pack: Pack) -> list[BoundRule]:
    """The rules of a pack as they are applied, the intervals last: which cycles count can hang on the other rules."""
    return sorted(pack.rules, key=lambda bound: bound.rule.kind == "interval")


def apply(
    pack: Pack, steps: Steps, machines: Sequence[Machine], decision: str = "simple", *, unread: bool = False, number: int = 0,
    fleet: Sequence[Machine] = (), people: Presence | None = None,
    lost: Callable[[str, Steps], Lost] | None = None,
) -> tuple[list[Applied], list[Notice]]:  # fmt: skip
    """Every rule of a pack, which is the `number`th of those used, and what must be told of the machines it meets.

    `fleet` and `people` are those of the whole audit, where these machines are not all there are. `lost` tells for a rule which
    cleanings only an earlier report knew.
    """
    own = [m.with_profile(pack.profiles) for m in machines]
    steps = replace(steps, machines=own)
    concerned, notices = _concerned(pack, steps, own)
    notices.extend(_without_profile(pack, own, concerned))
    families = _families(pack)
    rules = [(b.rule.kind, b.params) for b in pack.rules]
    done: list[Applied] = []
    for at, bound in enumerate(in_order(pack)):
        kind = kinds.load(bound.rule.kind)
        for key, (params, mask, limit_from) in _by_limits(
            bound, kind, own, concerned & _of_profiles(bound.rule, own)
        ).items():
            scope = Scope(steps, own, mask, families=families, rules=rules, guarded=decision == "guarded", unread=unread,
                          agents=AGENTS | pack.agents, fleet=fleet or own, people=people)  # fmt: skip
            if lost is not None and bound.rule.kind in LOOKS_BACK:
                scope = replace(scope, lost=lost(bound.rule.id if bound.rule.kind == "interval" else "", steps))
            if bound.rule.kind == "interval":
                scope = replace(scope, counting=_counting(params.counts, pack, steps, done))
            done.append(Applied(bound, params, pack, steps, own, mask, kind.check(params, scope), limit_from,
                                (number, at, key), scope.lost))  # fmt: skip
    return done, notices


def _families(pack: Pack) -> dict[str, frozenset[str]]:
    """The steps that the pack's rules ask for on `lines` and on `parts`."""
    found: dict[str, set[str]] = {"lines": set(), "parts": set()}
    for bound in pack.rules:
        for asked in documents_in(bound.params):
            named: Any = getattr(asked, "step", None) or getattr(asked, "steps", ())
            if getattr(asked, "targets", None) in ("lines", "parts"):
                found[asked.targets].update([named] if isinstance(named, str) else named)
    return {name: frozenset(steps) for name, steps in found.items()}


def _concerned(pack: Pack, steps: Steps, machines: Sequence[Machine]) -> tuple[Mask, list[Notice]]:
    """The machines that a pack concerns: those of its profiles, and any that its procedure was recorded on."""
    recorded = np.zeros(len(machines), dtype=bool)
    recorded[steps.machine] = True
    mask = np.ones(len(machines), dtype=bool)
    notices: list[Notice] = []
    for at, machine in enumerate(machines):
        notices.extend(_odd_register(pack, machine))
        foreign = bool(pack.profiles) and machine.profile != "" and machine.profile not in pack.profiles
        if foreign and not recorded[at]:
            mask[at] = False
            notices.append(Notice("other_profile", f"{machine.equipment_id}: its profile {machine.profile!r} is none of "
                                  f"the pack {pack.id}, which was not applied to it", "", machine.store_id,
                                  machine.equipment_id))  # fmt: skip
    return mask, notices


def _of_profiles(rule: Rule, machines: Sequence[Machine]) -> Mask:
    """The machines that a rule is for: all, unless it names profiles."""
    return np.array([not rule.profiles or m.profile in rule.profiles for m in machines], dtype=bool)


def _without_profile(pack: Pack, machines: Sequence[Machine], concerned: Mask) -> Iterable[Notice]:
    """Machines of no profile, to which rules that are for some profiles alone were not applied."""
    bound = sorted(b.rule.id for b in pack.rules if b.rule.profiles)
    for at in np.flatnonzero(concerned).tolist() if bound else ():
        m = machines[at]
        if not m.profile:
            yield Notice("no_profile", f"{m.equipment_id} has no profile in the register, so the rules that hang on it were "
                         f"not applied: {', '.join(bound)}", "", m.store_id, m.equipment_id, len(bound))  # fmt: skip


def _odd_register(pack: Pack, machine: Machine) -> Iterable[Notice]:
    """What the register says of a machine that fits nothing; a profile that is all but one of the pack's is a fault."""
    unknown = bool(pack.profiles) and machine.registered and machine.profile not in ("", *pack.profiles)
    if unknown and machine.lines is None:
        near = suggest(machine.profile, sorted(pack.profiles))
        if near:
            raise WrongInput(f"register: {machine.equipment_id}: profile: found {machine.profile!r}{near}; profiles of "
                             f"{pack.id}: {', '.join(sorted(pack.profiles))}")  # fmt: skip
        yield Notice("unknown_profile", f"{machine.equipment_id}: no pack used here has its profile {machine.profile!r}, so "
                     f"what was expected of it is what its own records name", "", machine.store_id,
                     machine.equipment_id)  # fmt: skip
    for step in sorted(set(machine.capacities) - STEPS - pack.steps):
        near = suggest(step, sorted(STEPS | pack.steps))
        if near:
            raise WrongInput(f"register: {machine.equipment_id}: capacities: found the step {step!r}{near}")
        yield Notice("unknown_step", f"{machine.equipment_id}: capacities names the step {step!r}, which the pack {pack.id} does "
                     f"not know", "", machine.store_id, machine.equipment_id)  # fmt: skip
    if machine.lines is not None:
        for line in sorted(machine.out_of_use - set(machine.lines)):
            yield Notice("unknown_line", f"{machine.equipment_id}: lines_out_of_use names {line!r}, which is none of its lines"
                         f"{suggest(line, machine.lines)}", "", machine.store_id, machine.equipment_id)  # fmt: skip


def _by_limits(
    bound: BoundRule, kind: kinds.Kind, machines: Sequence[Machine], concerned: Mask
) -> dict[str, tuple[Any, Mask, str]]:
    """The rule's parameters with the machines that they hold for and where they come from: the pack's own, then each set
    a register gives, by what it says.
    """
    groups: dict[str, tuple[Any, list[int], str]] = {"": (bound.params, [], origin(bound))}
    for at in np.flatnonzero(concerned).tolist():
        limits = machines[at].limits.get(bound.rule.id)
        key = repr(sorted((k, str(v)) for k, v in limits.items())) if limits else ""
        if limits and key not in groups:
            why = f": {limits['why']}" if limits.get("why") else ""
            own = f"register, this machine's own{why}; otherwise {origin(bound)}"
            groups[key] = (override(bound, kind, machines[at], limits), [], own)
        groups[key][1].append(at)
    found = {}
    for key, (params, members, limit_from) in sorted(groups.items(), key=lambda group: group[0]):
        mask = np.zeros(len(machines), dtype=bool)
        mask[members] = True
        if members or not key:
            found[key] = params, mask, limit_from
    return found


def override(bound: BoundRule, kind: kinds.Kind, machine: Machine, limits: Mapping[str, Any]) -> Any:
    """The rule's parameters with a register's own; it may only tighten a limit, or says why."""
    place = f"register: {machine.equipment_id}: limits.{bound.rule.id}"
    changed = {k: v for k, v in limits.items() if k != "why"}
    raw = {**bound.rule.params, **changed}
    try:
        params = kind.params.model_validate(raw)
    except ValidationError as error:
        item = error.errors(include_url=False)[0]
        key = item["loc"][-1] if item["loc"] else ""
        said = say_path(existing(raw, item["loc"]), item["loc"])
        raise WrongInput(f"{place}.{said}{sentence_of(kind.params, item, key)}") from None
    for key in changed:
        if not limits.get("why") and not kind.tightens(bound.params, params, key):
            raise WrongInput(
                f"{place}.{key}: found {limits[key]}, which does not tighten what the rule has ({shown(bound.params, key)}); "
                f"tighten it, or say why with the key 'why'"
            )
    return params


def _counting(counts: str, pack: Pack, steps: Steps, done: Sequence[Applied]) -> Mask:
    """Which cycles reset the clock of an interval."""
    good = np.ones(steps.cycles, dtype=bool)
    if counts == "any":
        return good
    for applied in done:
        grade = applied.rule.rule.grade
        for outcomes in applied.outcomes:
            has_cycle = outcomes.cycle >= 0
            if counts == "complete" and applied.rule.rule.kind == "coverage":
                bad = (outcomes.status != IN) & (outcomes.status != NOT_APPLICABLE)
            elif counts == "conforming" and applied.rule.rule.kind != "interval" and grade in GRAVE:
                bad = outcomes.status == OUT
                if outcomes.corrected is not None and pack.grading.cos == "lower" and grade is Grade.MAJOR:
                    bad &= ~outcomes.corrected
            else:
                continue
            good[outcomes.cycle[bad & has_cycle]] = False
    return good
