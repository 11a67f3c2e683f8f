"""The demo's pack as the demo shows it: most of its rules are broken there at least once.

That every bundled pack is sound and proved by its cases is held in tests/packs/test_bundled.py.
"""

from __future__ import annotations

from validator.demo import PACK, scenario, truth
from validator.packs.loading import load_pack


def test_the_demo_shows_most_rules() -> None:
    """The demo breaks at least three in four of the rules on what it uses, and none that the pack does not have."""
    shown = {p.rule for p in truth(scenario())}
    # its chain sanitizes with chlorine alone, so rules on other sanitizers have no subject there
    concerned = [b.rule.id for b in load_pack(PACK).rules if getattr(b.params, "agent", "chlorine") == "chlorine"]

    assert shown <= set(concerned)
    assert len(shown) >= 0.75 * len(concerned)
