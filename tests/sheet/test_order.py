"""The order of a sheet's rows: what relations and bans ask, against the usual order where they must, and nothing left out."""

from __future__ import annotations

from pathlib import Path

import pytest

from validator.packs.loading import load_pack
from validator.sheet.order import in_order


def order(tmp_path: Path, *params: str, now_and_then: bool = False) -> list[str]:
    """The acts of a pack whose rules are given as `kind: params`, as `step` or `step with agent`."""
    rules = "".join(f"  - {{id: T-{n}, title: t, kind: {p.partition(':')[0]}, params: {p.partition(':')[2]}}}\n" for n, p in enumerate(params))
    path = tmp_path / "pack.yaml"
    path.write_text(f"pack: p\nprocedure: p\nrules:\n{rules}", "utf-8")
    acts = in_order(load_pack(path).rules, now_and_then=now_and_then)
    return [a.steps[0] + (f" with {a.agents[0]}" if a.agents else "") for a in acts]


def test_a_relation_goes_before_the_usual_order(tmp_path) -> None:
    """Sanitizing comes after washing as a rule, and before it where a relation says so."""
    assert order(tmp_path, "coverage: {required: [{step: wash}, {step: sanitize}]}") == ["wash", "sanitize"]
    assert order(
        tmp_path, "coverage: {required: [{step: wash}, {step: sanitize}]}", "order: {relations: [{first: sanitize, then: wash}]}"
    ) == ["sanitize", "wash"]  # fmt: skip


def test_what_lifts_a_ban_stands_between(tmp_path) -> None:
    """Flushing after priming needs the rinse between them, though a rinse usually comes later than both or earlier."""
    relation = "order: {relations: [{first: prime, then: flush, per: cycle}]}"
    ban = "order: {forbidden: [{step: flush, after: prime, until: rinse, per: cycle}]}"

    assert order(tmp_path, relation, ban) == ["prime", "rinse", "flush"]
    assert order(tmp_path, relation, ban, "coverage: {required: [{step: rinse}]}") == ["prime", "rinse", "flush"]


def test_a_ban_without_an_end_turns_the_order(tmp_path) -> None:
    """What must not follow comes first."""
    assert order(tmp_path, "order: {forbidden: [{step: prime, after: flush, per: cycle}]}") == ["prime", "flush"]


def test_two_bans_need_two_rinses(tmp_path) -> None:
    """Between two cleaners and again before the product: one rinse cannot stand at both places."""
    acid, caustic = "{step: circulate, agent: acid}", "{step: circulate, agent: caustic}"
    found = order(
        tmp_path, f"coverage: {{required: [{caustic}, {acid}, {{step: prime}}]}}",
        f"order: {{relations: [{{first: {caustic}, then: {acid}, per: cycle}}], forbidden: ["
        f"{{step: prime, after: {acid}, until: rinse, per: cycle}}, {{step: {acid}, after: {caustic}, until: rinse, per: cycle}}]}}",
    )  # fmt: skip

    assert found == ["circulate with caustic", "rinse", "circulate with acid", "rinse", "prime"]


def test_what_is_due_now_and_then_is_asked_only_where_it_is_wanted(tmp_path) -> None:
    """Acid every quarter within cleanings of every fortnight: without `now_and_then` there is no row for it."""
    rules = ("coverage: {required: [{step: soak, agent: caustic}]}", "interval: {max: P92D, having: {step: soak, agent: acid}}")

    assert order(tmp_path, *rules) == ["soak with caustic"]
    assert order(tmp_path, *rules, now_and_then=True) == ["soak with caustic", "soak with acid"]


@pytest.mark.parametrize("kind", ["concentration: {agent: quat, min: 200}", "mixed_strength: {agent: quat, within: 50}"])
def test_a_judged_strength_is_mixed_and_tested(tmp_path, kind) -> None:
    """A rule on strength asks for the mixing and the test before the use."""
    assert order(tmp_path, kind, "coverage: {required: [{step: sanitize}]}") == [
        "mix_solution with quat", "test_solution", "sanitize",
    ]  # fmt: skip


def test_a_circle_loses_no_act(tmp_path) -> None:
    """Rules that no order keeps (lint tells of them) still give every act once, and come to an end."""
    found = order(tmp_path, "order: {relations: [{first: wash, then: rinse}, {first: rinse, then: wash}]}")

    assert sorted(found) == ["rinse", "wash"]
