"""The bundled pack for syrup dispensers: sound, proved by its cases, and alive in every rule."""

from __future__ import annotations

import pytest

from validator.demo import PACK, scenario, truth
from validator.packs.cases import try_case, try_cases
from validator.packs.lint import lint
from validator.packs.loading import load_pack
from validator.packs.model import Case

LOADED = load_pack(PACK, cases=True)
RULES = [bound.rule.id for bound in LOADED.rules]
CASES = [(rule, case) for rule, file in LOADED.cases.items() for case in file.cases]


def test_the_pack_has_no_fault() -> None:
    """Every rule names its fault, source, clause, remedy and cases."""
    assert lint(LOADED) == []


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
    """The demo breaks at least three rules in four, and none that the pack does not have."""
    shown = {p.rule for p in truth(scenario())}

    assert shown <= set(RULES)
    assert len(shown) >= 0.75 * len(RULES)


def test_unpublished_figures_are_marked() -> None:
    """Every rule that rests on common practice cites it as unpublished, and every authority fits its sources."""
    for bound in LOADED.rules:
        published = {LOADED.sources[cite.source].published for cite in bound.rule.cites}
        if bound.rule.authority == "regulation":
            assert True in published, bound.rule.id
        if bound.rule.authority == "practice":
            assert False in published or bound.rule.kind == "record", bound.rule.id
