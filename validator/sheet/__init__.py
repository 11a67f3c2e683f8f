"""An empty record sheet made from a pack and a register: what one cleaning of one machine asks to be done and written down."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

from validator import kinds
from validator.engine.apply import override
from validator.errors import WrongInput
from validator.language import said, tr
from validator.machines import AsOf, Machine, machines
from validator.packs.model import BoundRule, Pack
from validator.quantities import GRAMS, LITRES, say
from validator.register import Register
from validator.sheet import asks
from validator.sheet.order import Act, in_order, strength_agents
from validator.tables import AGENTS, IN_ORDER

SOLUTION = "solution-1"
"""What a sheet calls the solution of its cleaning; another one mixed along the way gets another name."""


@dataclass(frozen=True, slots=True)
class Row:
    """One act on one target: what to do, in words; the cells that are filled in, and those that ask to be.

    `hints` say what is asked of it. `choices` are the words for a cell where only some of the form's will do.
    """

    do: str
    given: Mapping[str, str]
    asked: tuple[str, ...]
    hints: tuple[str, ...]
    choices: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Form:
    """The sheet of one machine for one procedure. `columns` are canonical, in the order in which they are shown.

    `same` are the cells that are alike in every row; `words` are those that a column may hold by the pack and the register.
    """

    title: str
    store_id: str
    store_name: str
    equipment_id: str
    procedure: str
    cautions: tuple[str, ...]
    intervals: tuple[str, ...]
    columns: tuple[str, ...]
    same: Mapping[str, str]
    rows: tuple[Row, ...]
    words: Mapping[str, tuple[str, ...]]


def forms(
    packs: Sequence[Pack], register: Register, *, store: str | None = None, equipment: str | None = None,
    now_and_then: bool = False, units: str = "si",
) -> list[Form]:  # fmt: skip
    """One form a machine of the register and procedure of the packs; packs for any procedure add to each.

    With `now_and_then` there are rows for what a rule asks for once in a while. `units` say on which scale temperatures are
    written. Raises `WrongInput` where no machine is left.
    """
    procedures = list(dict.fromkeys(p.procedure for p in packs if p.procedure)) or [""]
    found = []
    for machine in _chosen(register, store, equipment):
        for procedure in procedures:
            mine = [p for p in packs if p.procedure in (procedure, None) and _concerns(p, machine)]
            if any(p.procedure == procedure for p in mine) or (mine and not procedure):
                found.append(_form(machine, procedure, mine, now_and_then, units))
    if not found:
        raise WrongInput(f"no machine of the register has a profile of {', '.join(p.id for p in packs)}")
    return [f for f in found if f.rows or not f.procedure] or found


def _chosen(register: Register, store: str | None, equipment: str | None) -> list[Machine]:
    every = machines(register, (), AsOf(0, True, ""))
    left = [m for m in every if store in (None, m.store_id)]
    if not left:
        raise WrongInput(f"--store {store}: the register has {_listed(m.store_id for m in every)}")
    chosen = [m for m in left if equipment in (None, m.equipment_id)]
    if not chosen:
        raise WrongInput(f"--equipment {equipment}: the register has {_listed(m.equipment_id for m in left)}")
    return chosen


def _listed(names: Iterable[str]) -> str:
    return ", ".join(sorted(set(names))[:20]) or "none"


def _concerns(pack: Pack, machine: Machine) -> bool:
    return not pack.profiles or machine.profile in ("", *pack.profiles)


def _form(machine: Machine, procedure: str, packs: Sequence[Pack], now_and_then: bool, units: str) -> Form:
    for pack in packs:
        machine = machine.with_profile(pack.profiles)
    rules = [
        _of_machine(b, machine) for pack in packs for b in pack.rules if not b.rule.profiles or machine.profile in b.rule.profiles
    ]  # fmt: skip
    acts = in_order(rules, now_and_then=now_and_then)
    rows = _signed([row for act in acts for row in _rows(act, acts, rules, machine)], rules)
    rows = tuple(replace(r, asked=tuple(_scale(c, units) for c in r.asked)) for r in rows)
    same = {
        "store_id": machine.store_id,
        "equipment_id": machine.equipment_id,
        **({"procedure": procedure} if procedure else {}),
    }
    always = {"step", "target", "started_at", "ended_at", "performed_by", "note"} | (
        set() if rows else set(_free(rules, units))
    )
    used = always.union(*(r.asked for r in rows), *(r.given for r in rows))
    title = reduce(lambda one, other: tr("{one} and {other}", one=one, other=other), (tr(p.title) for p in packs))
    return Form(
        title, machine.store_id, machine.store_name, machine.equipment_id, procedure,
        tuple(dict.fromkeys(tr(c) for p in packs for c in p.cautions)),
        tuple(_interval(b) for b in rules if b.rule.kind == "interval"),
        tuple(c for c in asks.COLUMNS if c in used), same, rows, _words(machine, packs, rows),
    )  # fmt: skip


def _interval(bound: BoundRule) -> str:
    params: Any = bound.params
    template = (
        "{rule}: at most {time} from one cleaning to the next with {act}" if params.having
        else "{rule}: at most {time} from one cleaning to the next"
    )  # fmt: skip
    time = said(say(params.max.amount, params.max.unit))
    return tr(template, rule=bound.rule.id, time=time, act=asks.named_act(params.having) if params.having else "")


def _of_machine(bound: BoundRule, machine: Machine) -> BoundRule:
    """The rule with the limits that the register gives the machine."""
    limits = machine.limits.get(bound.rule.id)
    return replace(bound, params=override(bound, kinds.load(bound.rule.kind), machine, limits)) if limits else bound


def _rows(act: Act, acts: Sequence[Act], rules: Sequence[BoundRule], machine: Machine) -> Iterable[Row]:
    known = strength_agents(rules)
    solution = bool(set(act.agents) & set(known)) or (bool(known) and asks.tests_the_solution(act))
    given = {"test": act.test} if act.test else {}
    if solution:
        given["solution_id"] = SOLUTION
    if len(act.agents) == 1:
        given["agent"] = act.agents[0]
    hints = tuple(asks.hints(act, acts, rules, machine))
    choices = {c: words for c, words in (("step", act.steps), ("agent", act.agents)) if len(words) > 1}
    if "step" not in choices:  # which of several it was is for the person to say: limits can hang on it
        given["step"] = act.steps[0]
    for target in _targets(act, acts, machine):
        cells = {**given, **({"target": target} if target else {})}
        asked = [
            "step",
            *asks.asked(act, acts, rules, solution=solution),
            *(["target"] if act.targets and not target else []),
        ]
        yield Row(
            asks.instruction(act, target),
            cells,
            tuple(dict.fromkeys(c for c in asked if c not in cells)),
            hints,
            choices,
        )


def _targets(act: Act, acts: Sequence[Act], machine: Machine) -> Sequence[str]:
    """The targets in use; a blank one where nothing says which there are, or for the whole machine."""
    if isinstance(act.targets, tuple):
        return act.targets
    if act.test and act.targets is None:
        return tuple(dict.fromkeys(t for a in acts if a.test for t in a.targets or ())) or ("",)
    if act.targets is None:
        return ("",)
    wanted = [machine.lines] * (act.targets != "parts") + [machine.parts] * (act.targets != "lines")
    if any(names is None for names in wanted):
        return ("",)
    return tuple(dict.fromkeys(n for names in wanted for n in names or () if n not in machine.out_of_use))


def _signed(rows: list[Row], rules: Sequence[BoundRule]) -> tuple[Row, ...]:
    """The rows with what is asked once a cleaning (the signature, when it was written down) in the last of them."""
    columns, hints = asks.once(rules)
    if rows:
        last = rows[-1]
        rows[-1] = replace(last, asked=tuple(dict.fromkeys((*last.asked, *columns))), hints=(*last.hints, *hints))
    return tuple(rows)


def _free(rules: Sequence[BoundRule], units: str) -> Iterable[str]:
    """The columns that rules ask for where no rule names an act."""
    nothing = Act((), (), None, 0)
    return (_scale(c, units) for c in (*asks.asked(nothing, (), rules, solution=False), *asks.once(rules)[0]))


def _scale(column: str, units: str) -> str:
    return "temperature_f" if column == "temperature_c" and units == "us" else column


def _words(machine: Machine, packs: Sequence[Pack], rows: Sequence[Row]) -> dict[str, tuple[str, ...]]:
    """The words that a person may choose from in each column."""
    steps = dict.fromkeys((*IN_ORDER, *sorted(s for p in packs for s in p.steps)))
    targets = dict.fromkeys(
        (*(machine.lines or ()), *(machine.parts or ()), *(r.given.get("target", "") for r in rows))
    )
    amounts: dict[str, Any] = {"product_unit": (*LITRES, *GRAMS), "water_unit": tuple(LITRES)}
    return {
        "step": tuple(steps), "target": tuple(t for t in targets if t),
        "agent": tuple(sorted(AGENTS.union(*(p.agents for p in packs)))), **amounts,
    }  # fmt: skip
