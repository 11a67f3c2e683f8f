"""A rule that names profiles is for machines of these profiles alone."""

from __future__ import annotations

import pytest

from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.lint import lint
from validator.packs.loading import load_pack

PACK = """\
pack: p
version: 1.0.0
procedure: cip
cautions: [c]
profiles: {plain: {}, heated: {}}
rules:
  - {id: T-DAY, title: t, kind: interval, params: {max: P1D}, profiles: [plain]}
  - {id: T-FORTNIGHT, title: t, kind: interval, params: {max: P14D}, profiles: [heated]}
  - {id: T-ANY, title: t, kind: coverage, params: {required: [{step: wash}]}}
"""
REGISTER = """\
stores:
  - store_id: S
    timezone: UTC
    equipment: [{equipment_id: P, profile: plain}, {equipment_id: H, profile: heated}, {equipment_id: N}]
"""
LOG = """\
store_id,equipment_id,cycle_id,step,started_at,ended_at
S,P,c1,wash,2026-03-01T20:00,2026-03-01T20:10
S,H,c1,wash,2026-03-01T20:00,2026-03-01T20:10
S,N,c1,wash,2026-03-01T20:00,2026-03-01T20:10
"""


def test_each_machine_has_the_rules_of_its_profile(judge) -> None:
    """Ten days later the one is late and the other is not; neither has a check by the other's rule."""
    assert judge(PACK, LOG, REGISTER, "2026-03-11T12:00:00Z") == {
        ("T-DAY", "P", "c1", "open", "out"), ("T-FORTNIGHT", "H", "c1", "open", "in"),
        ("T-ANY", "P", "c1", "", "in"), ("T-ANY", "H", "c1", "", "in"), ("T-ANY", "N", "c1", "", "in"),
    }  # fmt: skip


def test_a_machine_without_a_profile_is_told_of(tmp_path) -> None:
    """No check hangs on a profile that nobody gave, and a notice names the rules that were left out."""
    path = tmp_path / "pack.yaml"
    path.write_text(PACK, "utf-8")
    pack, records = load_pack(path), read_text(LOG, {})
    fleet = machines(None, [("S", e) for e in "PHN"], AsOf.parse("2026-03-11T12:00:00Z"))
    _, notices = apply(pack, form_cycles(records, fleet, pack.procedure), fleet)

    told = [n for n in notices if n.code == "no_profile"]
    assert [n.equipment_id for n in told] == ["H", "N", "P"]
    assert all("T-DAY, T-FORTNIGHT" in n.message and "T-ANY" not in n.message for n in told)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("profiles: [heated]", "profiles: [heatd]", "names the profile 'heatd', which the pack does not have, did you mean"),
        ("profiles: [plain]", "profiles: [cold]", "names the profile 'cold', which the pack does not have"),
    ],
)
def test_lint_names_a_profile_that_is_none(tmp_path, old: str, new: str, words: str) -> None:
    """A misspelt profile would leave every machine out, and nobody would see it."""
    path = tmp_path / "pack.yaml"
    path.write_text(PACK.replace(old, new), "utf-8")

    assert sum(words in fault for fault in lint(load_pack(path))) == 1


@pytest.mark.parametrize(("profile", "conflict"), [("heated", False), ("plain", True)])
def test_rules_of_different_profiles_are_in_no_conflict(tmp_path, profile: str, conflict: bool) -> None:
    """At least 200 ppm for the one and at most 100 for the other machine can both be kept; for one machine never."""
    rules = f"""\
  - {{id: T-LOW, title: t, kind: concentration, params: {{agent: quat, max: 100}}, profiles: [plain]}}
  - {{id: T-HIGH, title: t, kind: concentration, params: {{agent: quat, min: 200}}, profiles: [{profile}]}}
"""
    path = tmp_path / "pack.yaml"
    path.write_text(PACK + rules, "utf-8")

    assert any("no strength of quat" in fault for fault in lint(load_pack(path))) == conflict
