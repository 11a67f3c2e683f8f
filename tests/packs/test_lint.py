"""`rules lint` sees what a reader of a pack would miss: misspelt words, missing remedies, titles that give advice."""

from __future__ import annotations

import pytest

from validator.packs.lint import lint
from validator.packs.loading import load_pack

PACK = """\
pack: p
version: 1.0.0
procedure: cip
cautions: [c]
steps: [defrost]
agents: [descaler]
profiles: {m: {lines: [line-1], parts: [nozzle]}}
sources: {practice: {title: Common practice, published: false}}
rules:
  - id: ICE-ONE
    title: Not defrosted
    kind: order
    hazard: biological
    why: w
    corrective_action: Do it again.
    cites: [{source: practice, says: Defrost first.}]
    params: {relations: [{first: defrost, then: wash}]}
"""


def faults(tmp_path, text: str) -> list[str]:
    path = tmp_path / "pack.yaml"
    path.write_text(text, "utf-8")
    return [f.split(": ", 2)[-1] for f in lint(load_pack(path)) if "cases.yaml" not in f]


def test_a_sound_rule_is_silent(tmp_path) -> None:
    """Own steps that the pack names are known, and a prerequisite need not have every part of a plan."""
    assert faults(tmp_path, PACK) == []
    assert faults(tmp_path, PACK.replace("    why: w\n", "    why: w\n    plan: {control: prerequisite, hazard: h}\n")) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("first: defrost", "first: defrots", "the step 'defrots', did you mean 'defrost'?"),
        ("then: wash", "then: wish", "the step 'wish', did you mean 'wash'?"),
        ("kind: order", "kind: flush", "the target 'line-l', which no profile of the pack has, did you mean 'line-1'?"),
        ("kind: order", "kind: concentration", "the agent 'descalr', did you mean 'descaler'?"),
        ("hazard: biological", "hazard: phys", "its hazard is 'phys'"),
        ("title: Not defrosted", "title: Always defrost", "gives advice"),
        ("    why: w\n", "", "has no why"), ("    corrective_action: Do it again.\n", "", "has no corrective_action"),
        ("id: ICE-ONE", "id: ice_one", "its id is not of the form"),
        ("    why: w\n", "    why: w\n    plan: {control: critical_control_point, hazard: h, critical_limit: l, monitoring: m, "
         "record: r}\n", "its plan names no verification"),
        ("says: Defrost first.", "section: 1", "without saying in own words"),
        ("source: practice, says", "source: book, says", "cites the source 'book'"),
    ],
)  # fmt: skip
def test_a_fault_is_named(tmp_path, old: str, new: str, words: str) -> None:
    """One change, one sentence."""
    params = {"kind: flush": "{targets: [line-l], min: PT1M}", "kind: concentration": "{agent: descalr, min: 1}"}
    text = PACK.replace(old, new)
    if new in params:
        text = text.replace("{relations: [{first: defrost, then: wash}]}", params[new])
    found = faults(tmp_path, text)

    assert len(found) == 1
    assert words in found[0]


def test_no_machine_runs_nothing_at_once(tmp_path) -> None:
    """A capacity below 1 is a fault of the pack, as it is of the register."""
    from validator.errors import WrongInput

    with pytest.raises(WrongInput, match="at least 1 row of a step can run at once"):
        faults(tmp_path, PACK.replace("parts: [nozzle]}", "parts: [nozzle], capacities: {flush: 0}}"))


CRITICAL = "plan: {control: critical_control_point, hazard: h, critical_limit: l, monitoring: m, verification: v, record: r}"


@pytest.mark.parametrize("part", ["hazard", "critical_limit", "monitoring", "verification", "record"])
def test_a_critical_control_point_has_all_its_parts(tmp_path, part: str) -> None:
    """With the kind of hazard and the corrective action there are seven; without one of them it is refused."""
    whole = PACK.replace("    why: w\n", f"    why: w\n    {CRITICAL}\n")

    assert faults(tmp_path, whole) == []
    said = "l" if part == "critical_limit" else part[0]
    assert faults(tmp_path, whole.replace(f", {part}: {said}", "", 1)) == [f"is a critical control point, and its plan names no {part}"]
    for line in ("    hazard: biological\n", "    corrective_action: Do it again.\n"):
        assert len(faults(tmp_path, whole.replace(line, ""))) == 1


def test_what_is_still_to_be_written_is_named(tmp_path) -> None:
    """A draft's placeholder is a fault wherever it stands, with the place of it."""
    assert faults(tmp_path, PACK.replace("why: w", "why: to be written")) == ["why is still to be written"]
    assert faults(tmp_path, PACK.replace("says: Defrost first.", "says: to be written")) == ["cites[0].says is still to be written"]
    assert faults(tmp_path, PACK.replace("cautions: [c]", "cautions: [to be written]")) == [
        "cautions[0] is still to be written"
    ]
