"""Every bundled pack: sound, proved by its cases, alive in every rule and every figure, honest, and silent on a clean log."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from validator import kinds
from validator.cli.check import judge_files
from validator.cli.waiting import Waiting
from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text, try_case
from validator.packs.lint import lint
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import BoundRule, Case, Pack
from validator.places import bundled
from validator.quantities import Duration
from validator.register import Register
from validator.schemas import shape_faults

PACKS = {name: load_pack(name, cases=True) for name in bundled_packs()}
OWN = [(pack, bound) for pack in PACKS.values() for bound in pack.rules if bound.pack == pack.id]
NAMES = [f"{pack.id}: {bound.rule.id}" for pack, bound in OWN]
CASES = [(pack, bound.rule.id, case) for pack, bound in OWN for case in pack.cases[bound.rule.id].cases]
EXTENDING = [name for name, pack in PACKS.items() if len(pack.layers) > 1]
PARTS = ("hazard", "critical_limit", "monitoring", "verification", "record")


def in_one_table(cases: list[tuple[Pack, str, Case]]) -> tuple[str, Register]:
    """The records and registers of many cases as one, each case's stores under names of their own."""
    rows: list[dict[str, str]] = []
    stores: list[Any] = []
    for number, (pack, rule, case) in enumerate(cases):
        for row in csv.DictReader(io.StringIO(case.records.strip() + "\n"), skipinitialspace=True):
            row["store_id"] = row["store_id"] and f"{number} {row['store_id']}"
            rows.append(row)
        known = case.register_ or pack.cases[rule].register_ or {"stores": []}
        stores += [{**store, "store_id": f"{number} {store['store_id']}"} for store in known["stores"]]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)), restval="")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue(), Register.model_validate({"stores": stores})


def judged(pack: Pack, text: str, register: Register, as_of: str) -> dict[str, list[tuple[str, ...]]]:
    """Every check of every rule of a pack: store, machine, cycle, target, status and reason."""
    known = {b.rule.id for b in pack.rules}
    # a limit for a rule that the pack does not have is refused, and so is one that is looser than its own without a reason
    stores = tuple(
        s.model_copy(update={"equipment": tuple(
            e.model_copy(update={"limits": {k: {"why": "the case's own", **v} for k, v in e.limits.items() if k in known}}) for e in s.equipment)})
        for s in register.stores
    )  # fmt: skip
    records = read_text(text, {s.store_id: s.timezone for s in stores})
    named = sorted({(records.text("store_id", i), records.text("equipment_id", i)) for i in range(len(records))})
    fleet = machines(Register(stores=stores), named, AsOf.parse(as_of))
    applied, _ = apply(pack, form_cycles(records, fleet, pack.procedure), fleet)
    found: dict[str, list[tuple[str, ...]]] = {}
    for a in applied:
        checks = found.setdefault(a.rule.rule.id, [])
        for o in a.outcomes:
            for i in range(len(o)):
                machine, cycle = a.machines[int(o.machine[i])], int(o.cycle[i])
                checks.append((machine.store_id, machine.equipment_id, a.steps.cycle_ids[cycle] if cycle >= 0 else "",
                               o.target[i], STATUS_WORDS[int(o.status[i])], o.reason[i]))  # fmt: skip
    return {rule: sorted(checks) for rule, checks in found.items()}


# --- sound -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PACKS)
def test_the_pack_has_no_fault(name: str) -> None:
    """Every rule names its fault, source, clause, remedy and cases, and fits its schema."""
    assert [*lint(PACKS[name]), *shape_faults(bundled("rules") / name)] == []


@pytest.mark.parametrize(("pack", "bound"), OWN, ids=NAMES)
def test_rule_has_its_place_in_a_plan_and_an_honest_authority(pack: Pack, bound: BoundRule) -> None:
    """A critical control point has all parts; a regulation cites a published source, and what cites none is practice."""
    published = {pack.sources[cite.source].published for cite in bound.rule.cites}
    plan = bound.rule.plan

    assert plan is not None
    parts = PARTS if plan.control == "critical_control_point" else ("hazard", "monitoring", "verification", "record")
    assert all(getattr(plan, part) for part in parts)
    assert bound.rule.authority != "regulation" or True in published
    assert True in published or bound.rule.authority in ("practice", "company")


@pytest.mark.parametrize("name", PACKS)
def test_nothing_from_memory_is_called_checked(name: str) -> None:
    """A clause given from memory is partly checked at most, and its note says so."""
    for clause in PACKS[name].clauses:
        if clause.confidence == "M":
            assert clause.status != "checked", clause.section
            assert clause.note, clause.section


def test_rules_of_packs_that_are_used_together_have_names_of_their_own() -> None:
    """Two packs with a rule of the same id cannot be named in one audit; a pack above another replaces its rules."""
    names = [bound.rule.id for pack, bound in OWN if len(pack.layers) == 1]

    assert sorted(set(names)) == sorted(names)


# --- proved by cases -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pack", "rule", "case"), CASES, ids=[f"{rule}: {case.name}" for _, rule, case in CASES])
def test_case_gives_exactly_its_checks(pack: Pack, rule: str, case: Case) -> None:
    """The records of a case give the checks it names and no other."""
    came = try_case(pack, rule, case, pack.cases[rule])

    assert (came.missing, came.surplus) == ((), ())


@pytest.mark.parametrize("name", EXTENDING)
def test_inherited_cases_hold_in_the_pack_above(name: str) -> None:
    """A rule that a pack takes over from one beneath gives the same checks for the same records."""
    pack = PACKS[name]
    inherited = {b.rule.id for b in pack.rules if b.pack != name}
    for beneath in (PACKS[layer] for layer in pack.layers[:-1]):
        cases = [(p, rule, case) for p, rule, case in CASES if p is beneath and rule in inherited]
        for as_of in {case.as_of for _, _, case in cases}:
            text, register = in_one_table([c for c in cases if c[2].as_of == as_of])
            here, there = judged(pack, text, register, as_of), judged(beneath, text, register, as_of)
            assert {r: here[r] for r in inherited & set(there)} == {r: there[r] for r in inherited & set(there)}

    assert inherited


@pytest.mark.parametrize(("pack", "bound"), OWN, ids=NAMES)
def test_rule_fires_and_near_misses_outnumber_plain_failures(pack: Pack, bound: BoundRule) -> None:
    """Each rule is OUT in a case of its own; cases that are wholly OUT are fewer than the others."""
    cases = pack.cases[bound.rule.id].cases
    plain = [c for c in cases if not c.boundary and {e.status.value for e in c.expect} == {"out"}]

    # that the case gives what it expects is held above
    assert any(e.status.value == "out" for case in cases for e in case.expect)
    assert len(plain) < len(cases) - len(plain)


# --- every rule on every record --------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def everything() -> tuple[str, Register]:
    """The records of all cases of all packs as one table."""
    return in_one_table(CASES)


@pytest.mark.parametrize("name", PACKS)
def test_every_rule_takes_the_records_of_every_case(name: str, everything: tuple[str, Register]) -> None:
    """Whatever a log of another trade holds, a rule gives one of the four statuses and none that it says cannot occur."""
    pack = PACKS[name]
    found = judged(pack, *everything, "2027-01-01T00:00:00Z")
    seen = {(rule, check[4]) for rule, checks in found.items() for check in checks}

    assert {rule for rule, _ in seen} == {b.rule.id for b in pack.rules}
    assert [(rule, status) for rule, status in seen if status in pack.cases[rule].cannot] == []


# --- silent where there is nothing to say ----------------------------------------------------------------------------

CLEAN = Path(__file__).parents[2] / "fixtures" / "clean"


@pytest.mark.parametrize("name", PACKS)
def test_a_clean_log_stays_silent(name: str) -> None:
    """Each pack's clean log and register give no finding, and every rule has a check that is IN."""
    with Waiting("auditing a clean log") as waiting:
        report = judge_files([str(CLEAN / f"{name}.csv")], [name], str(CLEAN / f"{name}.yaml"), "2026-04-01T12:00", "simple",
                             waiting).report  # fmt: skip
    idle = {rule.rule for rule in report.checked if not rule.counts.in_}

    assert [(f.rule, f.cycle_id, f.target, f.status.value, f.reason) for f in report.findings] == []
    assert report.record_defects == ()
    assert [n.message for n in report.notices if n.code not in ("not_exercised", "within_resolution", "loosened_limit")] == []
    assert idle == set()


# --- every figure matters --------------------------------------------------------------------------------------------

LOOSER_BELOW = ("min", "at_least", "kept_for", "of", "min_lag", "intervals")
LOOSER_ABOVE = (
    "max", "grace", "join_gap", "max_lag", "within", "capacity", "over_allowed", "recorded_within", "verified_within",
    "reviewed_within", "first_within", "cycle_within",
)  # fmt: skip
NO_LIMIT = {"warn_before": "says when a date is shown as near, and no check hangs on it"}
LISTS = ("required", "required_fields", "relations", "forbidden", "fields", "targets")
WORDS = {("accumulate", "longest"): "total", ("counts", "complete"): "any", ("counts", "conforming"): "complete",
         ("not_future", "true"): "false"}  # fmt: skip
STEPS = {"ph": 0.1}
SIDE = re.compile(r"(-?[\d.]+) ?(°[CF]|%|ppm|mg/L)")


def looser(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Every way to loosen parameters by one step: a second, a day, a degree, 1 ppm, 0.1 of pH, one thing less asked."""
    key = next((p for p in reversed(path) if isinstance(p, str)), "")
    said = ".".join(map(str, path))
    if isinstance(value, Mapping):
        measure = (str(value["field"]),) if "field" in value else ()  # whose unit the limits beside it are in
        for name, inner in value.items():
            for what, changed in looser(inner, (*path, *measure, name)):
                yield what, {**value, name: changed}
    elif isinstance(value, list):
        if key in LISTS:
            yield from ((f"{said} without {item}", value[:i] + value[i + 1 :]) for i, item in enumerate(value))
        for i, inner in enumerate(value):
            for what, changed in looser(inner, (*path, i)):
                yield what, [*value[:i], changed, *value[i + 1 :]]
    elif (key, str(value)) in WORDS:
        word = WORDS[key, str(value)]
        yield f"{said} {word}", word == "true" if word in ("true", "false") else word
    elif key in (*LOOSER_BELOW, *LOOSER_ABOVE) and (sides := SIDE.findall(str(value))):
        sign = 1 if key in LOOSER_ABOVE else -1
        # of a published pair each side is a figure of its own
        moved = [f"{float(figure) + sign:g} {unit}" for figure, unit in sides]
        kept = [f"{figure} {unit}" for figure, unit in sides]
        for at in range(len(sides)):
            changed = "/".join([*kept[:at], moved[at], *kept[at + 1 :]])
            yield f"{said} {changed}", changed
        if len(sides) > 1:
            yield f"{said} {'/'.join(moved)}", "/".join(moved)
    elif key in LOOSER_BELOW or key in LOOSER_ABOVE:
        sign = 1 if key in LOOSER_ABOVE else -1
        try:
            length = Duration.parse(str(value))
        except ValueError:
            step = STEPS.get(str(path[-2]) if len(path) > 1 else "", 1)
            number = round(float(str(value)) + sign * step, 6)
            changed = int(number) if number == int(number) else number
        else:
            changed = str(Duration(length.calendar, length.amount + sign))
        yield f"{said} {changed}", changed
    elif key not in NO_LIMIT:
        try:
            Duration.parse(str(value))
            numeric = True
        except ValueError:
            numeric = str(value).split(" ")[0].replace(".", "", 1).isdigit()
        assert not numeric, f"{said}: is {value} a limit, and which way is it loosened?"


def mutants() -> Iterator[tuple[Pack, BoundRule, str]]:
    """Every rule with one figure of it loosened, and what was done to it."""
    for pack, bound in OWN:
        kind = kinds.load(bound.rule.kind)
        for what, params in looser(dict(bound.rule.params)):
            try:
                changed = kind.params.model_validate(params)
            except ValidationError:
                continue  # nothing is asked any more: the rule is gone, which every case of it would show
            yield pack, replace(bound, params=changed, rule=bound.rule.model_copy(update={"params": params})), what


MUTANTS = list(mutants())


@pytest.mark.parametrize(
    ("pack", "bound"), [(p, b) for p, b, _ in MUTANTS], ids=[f"{b.rule.id} {what}" for _, b, what in MUTANTS]
)
def test_a_loosened_figure_is_seen_by_a_case(pack: Pack, bound: BoundRule) -> None:
    """With any figure of a rule one step looser, or one thing less asked, a case of the rule fails."""
    rule = bound.rule.id
    rules = tuple(bound if b.rule.id == rule else b for b in pack.rules)
    file = pack.cases[rule]
    likely_first = sorted(file.cases, key=lambda case: not case.boundary)

    assert any(not try_case(replace(pack, rules=rules), rule, case, file).passed for case in likely_first)
