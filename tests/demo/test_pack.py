"""The bundled packs: sound, proved by their cases, and alive in every rule.

The pack for syrup dispensers lies on the pack for sanitizing solutions, so its rules are those of both.
"""

from __future__ import annotations

import pytest

from validator.demo import PACK, scenario, truth
from validator.packs.cases import try_case, try_cases
from validator.packs.lint import lint
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import Case

LOADED = load_pack(PACK, cases=True)
RULES = [bound.rule.id for bound in LOADED.rules]
CASES = [(rule, case) for rule, file in LOADED.cases.items() for case in file.cases]


@pytest.mark.parametrize("name", bundled_packs())
def test_the_pack_has_no_fault(name: str) -> None:
    """Every rule names its fault, source, clause, remedy and cases."""
    assert lint(load_pack(name, cases=True)) == []


@pytest.mark.parametrize("name", bundled_packs())
def test_cases_hold_in_the_pack_they_stand_in(name: str) -> None:
    """A pack beneath others proves itself by its own cases too, with its own procedure."""
    pack = load_pack(name, cases=True)
    tried = [(t.rule, t.case, t.missing, t.surplus) for b in pack.rules for t in try_cases(pack, b.rule.id)]

    assert [t for t in tried if t[2] or t[3]] == []
    assert tried


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_has_its_place_in_a_plan(rule: str) -> None:
    """A critical control point has all parts; a prerequisite has no critical limit, that being what sets the two apart."""
    plan = next(b.rule.plan for b in LOADED.rules if b.rule.id == rule)

    assert plan is not None
    assert None not in (plan.hazard, plan.monitoring, plan.verification, plan.record)
    assert (plan.critical_limit is not None) == (plan.control == "critical_control_point")


@pytest.mark.parametrize(("rule", "case"), CASES, ids=[f"{rule}: {case.name}" for rule, case in CASES])
def test_case_gives_exactly_its_checks(rule: str, case: Case) -> None:
    """The records of a case give the checks it names and no other."""
    tried = try_case(LOADED, rule, case, LOADED.cases[rule])

    assert (tried.missing, tried.surplus) == ((), ())


@pytest.mark.parametrize("rule", RULES)
def test_rule_fires(rule: str) -> None:
    """A rule that can never be broken checks nothing: each is OUT in a case of its own."""
    assert any(check.status == "out" for tried in try_cases(LOADED, rule) for check in tried.found)


@pytest.mark.parametrize("rule", RULES)
def test_rule_has_more_near_misses_than_plain_failures(rule: str) -> None:
    """A case that is wholly OUT is outnumbered by those that are IN, mixed, N/O, N/A or at the limit."""
    cases = LOADED.cases[rule].cases
    plain = [c for c in cases if not c.boundary and {e.status.value for e in c.expect} == {"out"}]

    assert len(plain) < len(cases) - len(plain)


def test_the_demo_shows_most_rules() -> None:
    """The demo breaks at least three in four of the rules on what it uses, and none that the pack does not have."""
    shown = {p.rule for p in truth(scenario())}
    # its chain sanitizes with chlorine alone, so rules on other sanitizers have no subject there
    concerned = [b.rule.id for b in LOADED.rules if getattr(b.params, "agent", "chlorine") == "chlorine"]

    assert shown <= set(concerned)
    assert len(shown) >= 0.75 * len(concerned)


def test_unpublished_figures_are_marked() -> None:
    """Every rule that rests on common practice cites it as unpublished, and every authority fits its sources."""
    for bound in LOADED.rules:
        published = {LOADED.sources[cite.source].published for cite in bound.rule.cites}
        if bound.rule.authority == "regulation":
            assert True in published, bound.rule.id
        if bound.rule.authority == "practice":
            assert False in published or bound.rule.kind == "record", bound.rule.id
