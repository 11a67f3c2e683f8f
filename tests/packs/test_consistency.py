"""`rules lint` proves before any record is seen that the rules of a pack can be kept together, or names those that cannot."""

from __future__ import annotations

import pytest

from validator.packs.consistency import conflicts
from validator.packs.loading import load_pack

HEAD = "pack: p\nprocedure: cip\nprofiles: {m: {lines: [a, b, c, d], parts: [n], capacities: {flush: 1}}}\nrules:\n"


def faults(tmp_path, *rules: str, head: str = HEAD) -> list[str]:
    lines = [f"  - {{id: R-{n}, title: t, kind: {rule}}}\n" for n, rule in enumerate(rules)]
    path = tmp_path / "pack.yaml"
    path.write_text(head + "".join(lines), "utf-8")
    return list(conflicts(load_pack(path)))


def relation(first: str, then: str, more: str = "") -> str:
    return f"order, params: {{relations: [{{first: {first}, then: {then}, per: cycle{more}}}]}}"


@pytest.mark.parametrize(
    ("rules", "named", "words"),
    [
        ((relation("wash", "rinse"), relation("rinse", "sanitize"), relation("sanitize", "wash")), {0, 1, 2}, "circle"),
        ((relation("wash", "rinse"), "order, params: {forbidden: [{step: wash, after: rinse}]}"), set(), ""),
        ((relation("wash", "rinse"), "order, params: {forbidden: [{step: rinse, after: wash}]}"), {0, 1}, "circle"),
        # a flush of 15 minutes does not fit between a mixing and a use at most 10 minutes after it
        ((relation("mix", "flush"), relation("flush", "use"), relation("mix", "use", ", max_lag: PT10M"),
          "flush, params: {targets: lines, min: PT15M}"), {0, 1, 2, 3}, "circle"),
        ((relation("mix", "flush"), relation("flush", "use"), relation("mix", "use", ", max_lag: PT15M"),
          "flush, params: {targets: lines, min: PT15M}"), set(), ""),
        (("concentration, params: {agent: chlorine, min: 100}", "concentration, params: {agent: chlorine, max: 99}"), {0, 1},
         "no strength of chlorine"),
        (("concentration, params: {agent: chlorine, min: 100}", "concentration, params: {agent: chlorine, max: 100}"), set(), ""),
        (("concentration, params: {agent: chlorine, min: 100}", "concentration, params: {agent: quat, max: 99}"), set(), ""),
        (("concentration, params: {agent: chlorine, table: [{min: 25, max: 49}, {min: 50, max: 99}]}",), {0}, "hole between 49 and 50"),
        (("concentration, params: {agent: chlorine, table: [{min: 25, max: 50}, {min: 50, ph: {max: 8}}]}",), set(), ""),
        (("concentration, params: {agent: chlorine, table: [{min: 25}, {min: 50}]}",), {0}, "overlap"),
        (("concentration, params: {agent: quat, table: [{min: 200, hardness_ppm: {max: 500}}, {min: 300}]}",), set(), ""),
        (("concentration, params: {agent: quat, table: [{min: 200, hardness_ppm: {max: 500}}, {hardness_ppm: {max: 500}}]}",),
         {0}, "overlap"),
        (("concentration, params: {agent: quat, by_label: true}", "concentration, params: {agent: quat, max: 400}"), set(), ""),
        # four lines of 15 minutes on one adapter take an hour
        (("interval, params: {max: PT59M}", "flush, params: {targets: lines, min: PT15M}"), {0}, "1 h"),
        (("interval, params: {max: PT1H}", "flush, params: {targets: lines, min: PT15M}"), set(), ""),
        (("concurrency, params: {steps: [soak]}",), {0}, "no profile gives one for soak"),
        (("concurrency, params: {steps: [soak], capacity: 2}",), set(), ""),
    ],
)  # fmt: skip
def test_conflicts_name_their_rules(tmp_path, rules, named, words) -> None:
    """The near miss beside each conflict is silent."""
    found = faults(tmp_path, *rules)

    assert bool(found) == bool(named)
    if named:
        (only,) = found
        assert words in only
        assert {n for n in range(len(rules)) if f"R-{n}" in only} == named


def test_a_rule_for_lines_needs_a_profile_with_lines(tmp_path) -> None:
    """A rule that can never apply to the profiles it comes with is a fault."""
    head = "pack: p\nprocedure: cip\nprofiles: {m: {parts: [n]}}\nrules:\n"
    (only,) = faults(tmp_path, "flush, params: {targets: lines, min: PT15M}", head=head)

    assert "asks for lines, and no profile of the pack has any" in only
