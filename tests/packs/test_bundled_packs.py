"""Every bundled pack: sound, proved by its cases, alive in every rule, and honest about what is not verified."""

from __future__ import annotations

import pytest

from validator.packs.cases import try_case, try_cases
from validator.packs.lint import lint
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import Case, Pack
from validator.places import bundled
from validator.schemas import shape_faults

# the syrup pack is held to the same, and to its demo, in tests/demo
PACKS = {name: load_pack(name, cases=True) for name in bundled_packs() if name != "syrup-line-cip"}
# a rule is tried in the pack that it stands in; tests/demo tries it beneath the others too
RULES = [(pack, bound.rule.id) for pack in PACKS.values() for bound in pack.rules if bound.pack == pack.id]
CASES = [(pack, rule, case) for pack, rule in RULES for case in pack.cases[rule].cases]
NAMES = [f"{pack.id}: {rule}" for pack, rule in RULES]


@pytest.mark.parametrize("name", PACKS)
def test_the_pack_has_no_fault(name: str) -> None:
    """Every rule names its fault, source, clause, remedy and cases, and fits its schema."""
    assert [*lint(PACKS[name]), *shape_faults(bundled("rules") / name)] == []


@pytest.mark.parametrize(("pack", "rule", "case"), CASES, ids=[f"{rule}: {case.name}" for _, rule, case in CASES])
def test_case_gives_exactly_its_checks(pack: Pack, rule: str, case: Case) -> None:
    """The records of a case give the checks it names and no other."""
    tried = try_case(pack, rule, case, pack.cases[rule])

    assert (tried.missing, tried.surplus) == ((), ())


@pytest.mark.parametrize(("pack", "rule"), RULES, ids=NAMES)
def test_rule_fires_and_near_misses_outnumber_plain_failures(pack: Pack, rule: str) -> None:
    """Each rule is OUT in a case of its own; cases that are wholly OUT are fewer than the others."""
    cases = pack.cases[rule].cases
    plain = [c for c in cases if not c.boundary and {e.status.value for e in c.expect} == {"out"}]

    assert any(check.status == "out" for tried in try_cases(pack, rule) for check in tried.found)
    assert len(plain) < len(cases) - len(plain)


@pytest.mark.parametrize(("pack", "rule"), RULES, ids=NAMES)
def test_rule_has_its_place_in_a_plan_and_an_honest_authority(pack: Pack, rule: str) -> None:
    """A rule says where it stands in a HACCP plan; a regulation cites a published source, and what cites none is practice."""
    (bound,) = (b for b in pack.rules if b.rule.id == rule)
    published = {pack.sources[cite.source].published for cite in bound.rule.cites}

    assert bound.rule.plan is not None
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
    names = [rule for pack, rule in RULES if len(pack.layers) == 1]

    assert sorted(set(names)) == sorted(names)
