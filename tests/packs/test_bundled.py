"""The bundled packs: sound, proved by their cases, and alive in every rule."""

from __future__ import annotations

import pytest

from validator.packs.cases import try_case, try_cases
from validator.packs.lint import lint
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import Case, Pack

PACKS = {name: load_pack(name, cases=True) for name in bundled_packs()}
OWN = [(name, bound.rule.id) for name, pack in PACKS.items() for bound in pack.rules if bound.pack == name]
CASES = [(name, rule, case) for name, rule in OWN for case in PACKS[name].cases[rule].cases]


@pytest.fixture(params=PACKS.values(), ids=list(PACKS))
def pack(request: pytest.FixtureRequest) -> Pack:
    loaded: Pack = request.param
    return loaded


def test_the_pack_has_no_fault(pack: Pack) -> None:
    """Every rule names its fault, source, clause, remedy and cases, and says why where it loosens a limit."""
    assert lint(pack) == []


@pytest.mark.parametrize(("name", "rule", "case"), CASES, ids=[f"{n} {rule}: {case.name}" for n, rule, case in CASES])
def test_case_gives_exactly_its_checks(name: str, rule: str, case: Case) -> None:
    """The records of a case give the checks it names and no other."""
    tried = try_case(PACKS[name], rule, case, PACKS[name].cases[rule])

    assert (tried.missing, tried.surplus) == ((), ())


@pytest.mark.parametrize(("name", "rule"), OWN)
def test_rule_fires(name: str, rule: str) -> None:
    """A rule that can never be broken checks nothing: each is OUT in a case of its own."""
    assert any(check.status == "out" for tried in try_cases(PACKS[name], rule) for check in tried.found)


@pytest.mark.parametrize(("name", "rule"), OWN)
def test_rule_has_more_near_misses_than_plain_failures(name: str, rule: str) -> None:
    """A case that is wholly OUT is outnumbered by those that are IN, mixed, N/O, N/A or at the limit."""
    cases = PACKS[name].cases[rule].cases
    plain = [c for c in cases if not c.boundary and {e.status.value for e in c.expect} == {"out"}]

    assert len(plain) < len(cases) - len(plain)


def test_unpublished_figures_are_marked(pack: Pack) -> None:
    """A rule of regulation cites something published; one that cites nothing published is of practice or company."""
    for bound in pack.rules:
        published = {pack.sources[cite.source].published for cite in bound.rule.cites}
        if bound.rule.authority == "regulation":
            assert True in published, bound.rule.id
        if True not in published:
            assert bound.rule.authority in ("practice", "company"), bound.rule.id


def test_what_was_not_seen_is_marked(pack: Pack) -> None:
    """A clause known from memory says so, and one that was seen says where."""
    for clause in pack.clauses:
        assert clause.note if clause.confidence == "M" else clause.seen, (clause.source, clause.section)


def test_every_draught_rule_has_its_place_in_a_plan(pack: Pack) -> None:
    """A critical control point has all its parts (Codex CXC 1); a prerequisite has no critical limit."""
    for bound in pack.rules:
        plan = bound.rule.plan
        if not bound.rule.id.startswith("DRA-"):
            continue
        assert plan is not None, bound.rule.id
        assert None not in (plan.hazard, plan.monitoring, plan.verification, plan.record), bound.rule.id
        assert (plan.critical_limit is not None) == (plan.control == "critical_control_point"), bound.rule.id
