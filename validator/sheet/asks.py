"""Which cells does an act ask for by the rules, and what is said beside it? Words only; every limit comes from a rule."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import reduce
from typing import Any

from validator.kinds.concentration import Params as Strength
from validator.kinds.conditions import CONDITIONS, MEASURED, band_in_words, conditions_in_words
from validator.kinds.solutions import AMOUNTS, PREPARING
from validator.language import counted, said, tr
from validator.machines import Machine
from validator.packs.model import BoundRule
from validator.quantities import Duration, plain_number, say, say_seconds
from validator.sheet.order import Act

COLUMNS = (
    "step", "target", "started_at", "ended_at", "duration_s", "agent", "solution_id", *AMOUNTS, "concentration_ppm",
    "temperature_c", "temperature_f", "ph", "hardness_ppm", "test", "count_per_g", "cycle_id", "performed_by", "verified_by",
    "verified_at", "recorded_at", "note",
)  # fmt: skip
"""The columns that a sheet can have, as they stand from left to right."""
LABELS = {
    "step": "Step", "target": "Where", "started_at": "Start", "ended_at": "End", "duration_s": "or seconds", "agent": "Agent",
    "solution_id": "Solution", "product_amount": "Product", "product_unit": "unit", "water_amount": "Water", "water_unit": "unit",
    "concentration_ppm": "Strength, ppm", "temperature_c": "Temp., °C", "temperature_f": "Temp., °F", "ph": "pH",
    "hardness_ppm": "Hardness, ppm", "test": "Test", "count_per_g": "Count per g", "cycle_id": "Cleaning", "performed_by": "Who",
    "verified_by": "Verified by", "verified_at": "Verified at", "recorded_at": "Written down at", "note": "Note",
    "store_id": "Store", "equipment_id": "Machine", "procedure": "Procedure",
}  # fmt: skip
"""What a person reads above a column."""
_DO = {
    "empty_tank": ("Empty the tank", "Empty {target}"),
    "mix_solution": ("Mix the solution", "Mix the solution for {target}"),
    "test_solution": ("Test the solution", "Test {target}"),
    "disconnect": ("Disconnect", "Disconnect {target}"),
    "disassemble": ("Take the machine apart", "Take apart {target}"),
    "flush": ("Flush", "Flush {target}"),
    "circulate": ("Circulate", "Circulate {target}"),
    "soak": ("Soak", "Soak {target}"),
    "wash": ("Wash", "Wash {target}"),
    "rinse": ("Rinse", "Rinse {target}"),
    "sanitize": ("Sanitize", "Sanitize {target}"),
    "air_dry": ("Let it dry", "Let dry: {target}"),
    "reassemble": ("Put the machine together", "Put together {target}"),
    "reconnect": ("Reconnect", "Reconnect {target}"),
    "refill_tank": ("Refill the tank", "Refill {target}"),
    "prime": ("Prime", "Prime {target}"),
    "sample": ("Take a sample", "Take a sample of {target}"),
    "verify": ("Verify", "Verify {target}"),
}
"""A step of the contract as it is told to do: on the whole machine, and on a target."""
_CONDITIONS = {"ph": "pH", "temperature_c": "temperature", "concentration_ppm": "strength", "hardness_ppm": "hardness"}
_AT_A_TIME = {
    "lines": ("one line at a time", "no more than {n} lines at a time"),
    "parts": ("one part at a time", "no more than {n} parts at a time"),
    "": ("one at a time", "no more than {n} at a time"),
}
"""How many at once, by what they are: for one and for more."""
_BY_STOP_WATCH = 60
"""Seconds; what is shorter a stop watch tells better than two times of day."""
_OF_THE_CYCLE = ("verified_by", "verified_at")


def instruction(act: Act, target: str) -> str:
    """`Circulate or soak line-3`: what to do, in a few words."""
    *others, last = act.steps
    told = [_told(step, "") for step in others] + [_told(last, target)]
    do = either([told[0], *(text[:1].casefold() + text[1:] for text in told[1:])])
    do = tr("{do} for {test}", do=do, test=act.test) if act.test else do
    return tr("{do} with {agents}", do=do, agents=either(act.agents)) if _few(act) else do


def told(act: Act) -> str:
    """`circulate with acid`: the act in the middle of a sentence."""
    said = instruction(act, "")
    return said[:1].casefold() + said[1:]


def own_step(step: str) -> tuple[str, str]:
    """A pack's own step as it is told to do, by its own word: on the whole machine, and on a target."""
    word = step.replace("_", " ").capitalize()
    return word, f"{word} {{target}}"


def either(words: Sequence[str]) -> str:
    """`chlorine or quat`; blank for none."""
    return reduce(lambda one, other: tr("{one} or {other}", one=one, other=other), words) if words else ""


def _told(step: str, target: str) -> str:
    whole, on = _DO.get(step) or own_step(step)
    return tr(on, target=target) if target else tr(whole)


def _few(act: Act) -> bool:
    return 0 < len(act.agents) <= 2 and not _is(act, PREPARING)


def _is(act: Act, steps: Sequence[str]) -> bool:
    return act.steps[:1] != () and act.steps[0] in steps


def tests_the_solution(act: Act) -> bool:
    """Whether the act tests what was mixed, and not the water of a tap."""
    return _is(act, PREPARING[1:]) and act.targets is None


def asked(act: Act, acts: Sequence[Act], rules: Sequence[BoundRule], *, solution: bool) -> Iterable[str]:
    """The columns that some rule asks for in the rows of an act; its step and target aside.

    With `solution` the rows name their solution, and agent and readings are those of the rows that mix and test it.
    """
    yield from ("started_at", "performed_by") if act.test else ("started_at", "ended_at", "performed_by")
    if act.test:
        yield "count_per_g"
    timed = [_shortest(b.params) for b in rules if b.rule.kind == "contact" and _in_contact(b.params, act)]
    if timed and max(timed) < _BY_STOP_WATCH:
        yield "duration_s"
    if _is(act, PREPARING[:1]) or (len(act.agents) > 1 and not solution):
        yield "agent"
    for bound in rules:
        params: Any = bound.params
        if bound.rule.kind == "record" and (not params.steps or set(params.steps) & set(act.steps)):
            yield from (f for f in params.required_fields if f not in _OF_THE_CYCLE)
            if params.recorded_within is not None:
                yield "recorded_at"
        elif bound.rule.kind == "agreement" and _read(params, act, acts):
            yield params.field
        elif bound.rule.kind == "concentration" and tests_the_solution(act):
            yield "concentration_ppm"
            yield from _named(params.table or (), CONDITIONS)
        elif bound.rule.kind == "mixed_strength" and _is(act, PREPARING[:1]):
            yield from AMOUNTS
        elif bound.rule.kind == "contact" and _in_contact(params, act) and not solution:
            yield from _needed(params)


def _read(params: Any, act: Act, acts: Sequence[Act]) -> bool:
    """Whether an act is one whose reading is compared: of several that could be meant, the last where the last decides."""
    if act.targets == params.with_.targets and act.fits(params.with_.step, params.with_.agent):
        return True
    meant = [a for a in acts if a.targets == params.of.targets and a.fits(params.of.step, params.of.agent)]
    return act in (meant[-1:] if params.which == "last" else meant)


def _named(lines: Iterable[Any], names: Sequence[str]) -> list[str]:
    lines = tuple(lines)
    return [name for name in names if any(getattr(line, name) is not None for line in lines)]


def _in_contact(params: Any, act: Act) -> bool:
    agents = params.having.agent if params.having is not None else ()
    return act.targets == params.targets and act.fits(params.steps, agents)


def _simplest(params: Any) -> list[Any]:
    """Of a contact table the line for each step and agent that asks for the fewest conditions, and then the first."""
    found: dict[tuple[str | None, str | None], Any] = {}
    for line in params.min:
        beaten = found.get((line.step, line.agent))
        if beaten is None or len(_named([line], MEASURED)) < len(_named([beaten], MEASURED)):
            found[line.step, line.agent] = line
    return list(found.values())


def _needed(params: Any) -> list[str]:
    return [] if isinstance(params.min, Duration) else _named(_simplest(params), MEASURED)


def _shortest(params: Any) -> int:
    """The shortest contact, in seconds, that a rule on contact asks for."""
    least: int = params.min.amount if isinstance(params.min, Duration) else min(x.at_least.amount for x in params.min)
    return least


def once(rules: Sequence[BoundRule]) -> tuple[list[str], list[str]]:
    """What is asked once a cleaning: the columns, and what is said beside them."""
    columns: list[str] = []
    told: list[str] = []
    for bound in rules:
        params: Any = bound.params
        if bound.rule.kind != "record":
            continue
        columns += [f for f in params.required_fields if f in _OF_THE_CYCLE]
        for within in (params.verified_within, params.reviewed_within):
            if within is not None:
                columns += _OF_THE_CYCLE
                time = said(say(within.amount, within.unit))
                told.append(tr("verify within {time}: read the sheet, look at the machine, sign", time=time))
        if params.distinct:
            columns.append("verified_by")
            told.append(tr("whoever verifies is none of those who did the work"))
        if params.recorded_within is not None:
            time = said(say(params.recorded_within.amount, params.recorded_within.unit))
            told.append(tr("write down within {time}, and when", time=time))
    return list(dict.fromkeys(columns)), list(dict.fromkeys(told))


def hints(act: Act, acts: Sequence[Act], rules: Sequence[BoundRule], machine: Machine) -> Iterable[str]:
    """What the rules ask of an act, one short sentence each, the same said once."""
    if act.between:
        yield tr("after: {first}; before: {then}", first=told(act.between[0]), then=told(act.between[1]))
    yield from _contact([b.params for b in rules if b.rule.kind == "contact" and _in_contact(b.params, act)], act)
    if tests_the_solution(act):
        yield from _strength([b.params for b in rules if b.rule.kind == "concentration"])
    yield from dict.fromkeys(hint for b in rules for hint in _hints(b.rule.kind, b.params, act, acts, machine))


def _hints(kind: str, params: Any, act: Act, acts: Sequence[Act], machine: Machine) -> Iterable[str]:
    if kind == "flush" and act.steps == (params.step,) and act.targets == params.targets:
        longest = params.accumulate == "longest"
        yield tr("at least {time} without a break" if longest else "at least {time} in all", time=_time(params.min))
    elif kind == "concurrency" and params.resource == "equipment" and set(act.steps) & set(params.steps):
        most = params.capacity or min((machine.capacities.get(s, 0) for s in act.steps), default=0)
        if most:
            yield counted(most, *_AT_A_TIME.get(str(act.targets), _AT_A_TIME[""]))
    elif kind == "mixed_strength" and _is(act, PREPARING[:1]):
        yield tr("{agent}: write down how much product and water; the reading must fit within {most} ppm",
                 agent=params.agent, most=plain_number(params.within))  # fmt: skip
    elif kind == "agreement" and _read(params, act, acts):
        label, against = said(_CONDITIONS[params.field]), params.with_
        if act.fits(against.step, against.agent) and act.targets == against.targets:
            yield tr("measure the {label}: others are held against it", label=label)
        else:
            reference = named_act(against)
            if against.targets:
                reference = tr("{act} on {targets}", act=reference, targets=" ".join(against.targets).replace("_", " "))
            yield tr("{label} at most {most} from that of {reference}", label=label, most=plain_number(params.within),
                     reference=reference)  # fmt: skip
    elif kind == "samples" and act.test == params.test:
        only = f" ({', '.join(params.targets)})" if params.targets and not act.targets else ""
        yield said(params.text) + only
    elif kind == "order":
        yield from _lags(params, act)


def _contact(asked_by: Sequence[Any], act: Act) -> Iterable[str]:
    """How long the act lasts at least: whatever is used, and with certain agents where that is longer or hangs on more."""
    whatever = max((p.min.amount for p in asked_by if isinstance(p.min, Duration)), default=0)
    if whatever:
        yield tr("at least {time}", time=said(say_seconds(whatever)))
    found: dict[tuple[str, str], list[str]] = {}
    for line in (x for p in asked_by if not isinstance(p.min, Duration) for x in _simplest(p)):
        if act.agents and line.agent is not None and line.agent not in act.agents:
            continue
        strength = line.concentration_ppm
        asks = [tr("at least {time}", time=_time(line.at_least))] if line.at_least.amount > whatever else []
        asks += _bands(band_in_words(strength.min, strength.max) if strength else "", *conditions_in_words(line))
        if asks:
            found.setdefault((line.step or "", ", ".join(asks)), []).append((line.agent or "").replace("_", " "))
    for (step, told), agents in found.items():
        what = ", ".join(filter(None, (either(list(filter(None, agents))), step.replace("_", " "))))
        yield f"{what}: {told}" if what else told


def _strength(asked_by: Sequence[Strength]) -> Iterable[str]:
    """For each agent all that is asked of its solution: plain limits first, then the table."""
    for agent in dict.fromkeys(p.agent for p in asked_by):
        mine = [p for p in asked_by if p.agent == agent]
        told = [tr("the strength that its label gives, which belongs into the register") for p in mine if not p.stated]
        plain = [p for p in mine if p.table is None]
        band = band_in_words(max((p.min for p in plain if p.min is not None), default=None),
                             min((p.max for p in plain if p.max is not None), default=None))  # fmt: skip
        told += _bands(band)
        for p in mine:
            if p.table is not None:
                lines = (", ".join(_bands(band_in_words(x.min, x.max), *conditions_in_words(x))) for x in p.lines)
                told.append(reduce(lambda one, other: tr("{one}; or {other}", one=one, other=other), lines))
        asks = reduce(lambda one, other: tr("{one}. And {other}", one=one, other=other), told) if told else ""
        yield f"{agent.replace('_', ' ')}: {asks}"


def _lags(params: Any, act: Act) -> Iterable[str]:
    for r in params.relations:
        if act.fits(r.then.step, r.then.agent) and (r.min_lag or r.max_lag):
            template = (
                "at least {least} and at most {most} after {first}" if r.min_lag and r.max_lag
                else "at least {least} after {first}" if r.min_lag else "at most {most} after {first}"
            )  # fmt: skip
            yield tr(template, least=_time(r.min_lag), most=_time(r.max_lag), first=named_act(r.first))


def _time(length: Duration | None) -> str:
    return said(say_seconds(length.amount)) if length else ""


def _bands(*texts: str) -> list[str]:
    """Those that there are, each said by itself."""
    return [said(text) for text in texts if text]


def named_act(act: Any) -> str:
    """An act of a rule by the names that the record has for it: `flush with water`."""
    steps = either([step.replace("_", " ") for step in act.step])
    if not act.agent:
        return steps
    return tr("{steps} with {agents}", steps=steps, agents=either([agent.replace("_", " ") for agent in act.agent]))
