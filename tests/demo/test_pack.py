"""The demo and the bundled pack for syrup dispensers that judges it."""

from __future__ import annotations

from validator.demo import PACK, scenario, truth
from validator.packs.loading import load_pack

LOADED = load_pack(PACK)
RULES = [bound.rule.id for bound in LOADED.rules]


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
