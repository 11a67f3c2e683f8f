"""Packs above packs: the stricter wins, and whoever loosens a limit says why and by which authority."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from validator.cli import run
from validator.packs.lint import lint
from validator.packs.loading import load_pack

BASE = """\
pack: base
version: 1.0.0
procedure: cip
cautions: [c]
sources: {practice: {title: Common practice, published: false}}
rules:
  - id: T-DAYS
    title: Late
    kind: interval
    grade: major
    hazard: biological
    why: w
    corrective_action: Clean it.
    cites: [{source: practice, says: Clean every 14 days.}]
    authority: AUTHORITY
    params: {max: P14D, grace: P1D, counts: any}
"""
LOOSER = "params: {max: P15D, grace: P1D, counts: any}"


def above(tmp_path: Path, params: str, authority: str = "regulation", beneath: str = "practice", more: str = "") -> list[str]:
    """The faults that lint finds in a pack whose rule stands in place of one of the pack beneath."""
    base = BASE.replace("AUTHORITY", beneath)
    (tmp_path / "base.yaml").write_text(base, "utf-8")
    top = base.replace("pack: base", "pack: top\nextends: [base]").replace(f"authority: {beneath}", f"authority: {authority}")
    top = top.replace("    params: {max: P14D, grace: P1D, counts: any}", f"    {params}{more}")
    (tmp_path / "top.yaml").write_text(top, "utf-8")
    return [f.split(": ", 2)[-1] for f in lint(load_pack(tmp_path / "top.yaml")) if "cases.yaml" not in f]


@pytest.mark.parametrize(
    "params",
    [
        "params: {max: P14D, grace: P1D, counts: any}", "params: {max: P13D, grace: P1D, counts: any}",
        "params: {max: P14D, grace: P0D, counts: any}", "params: {max: P14D, counts: any}",
        "params: {max: P14D, grace: P1D, counts: any, warn_before: P2D}",
    ],
)  # fmt: skip
def test_the_same_or_stricter_needs_no_word(tmp_path, params: str) -> None:
    """A limit kept or tightened is nobody's fault."""
    assert above(tmp_path, params) == []


@pytest.mark.parametrize(
    ("params", "said"),
    [
        (LOOSER, "loosens max (P14D to P15D) of base"),
        ("params: {max: P14D, grace: P2D, counts: any}", "loosens grace (P1D to P2D) of base"),
        ("params: {max: PT336H, counts: any}", "loosens max (P14D to PT336H)"),
        ("params: {max: P14D, grace: P1D, counts: complete}", "loosens counts (any to complete)"),
    ],
)
def test_a_loosened_limit_needs_a_justification(tmp_path, params: str, said: str) -> None:
    """One sentence that names the parameter, both values and the pack beneath; with the reason given there is none."""
    (fault,) = above(tmp_path, params)

    assert fault.startswith(said)
    assert fault.endswith("keep to it, or say why it may under 'justification'")
    assert above(tmp_path, params, more="\n    justification: The law of the place allows it.") == []


def test_an_allowance_where_there_was_none_is_a_loosening(tmp_path) -> None:
    """A limit without grace beneath, a day of grace above."""
    (tmp_path / "base.yaml").write_text(BASE.replace("AUTHORITY", "practice").replace("grace: P1D, ", ""), "utf-8")
    top = BASE.replace("AUTHORITY", "practice").replace("pack: base", "pack: top\nextends: [base]")
    (tmp_path / "top.yaml").write_text(top, "utf-8")
    (found,) = [f for f in lint(load_pack(tmp_path / "top.yaml")) if "cases.yaml" not in f]

    assert "loosens grace (none to P1D) of base" in found


@pytest.mark.parametrize(
    ("authority", "beneath", "allowed"),
    [
        ("manufacturer", "regulation", True), ("regulation", "regulation", True), ("regulation", "manufacturer", False),
        ("company", "practice", True), ("company", "regulation", False), ("practice", "company", False),
    ],
)  # fmt: skip
def test_only_an_authority_that_is_no_lower_may_loosen(tmp_path, authority: str, beneath: str, allowed: bool) -> None:
    """The maker's label, the law of the place, the company's policy, practice: in this order."""
    found = above(tmp_path, LOOSER, authority, beneath, "\n    justification: Because.")

    assert [f.endswith(f"{authority} does not stand above that") for f in found] == ([] if allowed else [True])


def test_a_lower_grade_is_a_loosening(tmp_path) -> None:
    """A breach may not weigh less above than beneath without a reason."""
    (tmp_path / "base.yaml").write_text(BASE.replace("AUTHORITY", "practice"), "utf-8")
    top = BASE.replace("AUTHORITY", "practice").replace("pack: base", "pack: top\nextends: [base]")
    (tmp_path / "top.yaml").write_text(top.replace("grade: major", "grade: minor"), "utf-8")
    found = [f for f in lint(load_pack(tmp_path / "top.yaml")) if "cases.yaml" not in f]

    assert [("loosens the grade (major to minor) of base" in f) for f in found] == [True]


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ("", "pack top (regulation), in place of base (practice)"),
        (", limits: {T-DAYS: {max: P10D}}", "register, this machine's own; otherwise pack top (regulation), in place of base (practice)"),
        (", limits: {T-DAYS: {max: P20D, why: a closed winter}}",
         "register, this machine's own: a closed winter; otherwise pack top (regulation), in place of base (practice)"),
    ],
)  # fmt: skip
def test_a_finding_says_which_layer_its_limit_came_from(tmp_path, capfdbinary, limits: str, said: str) -> None:
    """The pack with its authority and what it stands in place of, or the register with its reason."""
    above(tmp_path, LOOSER, more="\n    justification: Because.")
    machine = f"{{equipment_id: E, in_service_on: 2026-01-01{limits}}}"
    (tmp_path / "register.yaml").write_text(f"stores: [{{store_id: S, timezone: UTC, equipment: [{machine}]}}]\n", "utf-8")
    (tmp_path / "log.csv").write_text(
        "store_id,equipment_id,cycle_id,step,started_at,ended_at\nS,E,c,flush,2026-01-02T10:00,2026-01-02T11:00\n", "utf-8"
    )
    run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "top.yaml"), "--register", str(tmp_path / "register.yaml"),
         "--as-of", "2026-03-01", "--format", "json"])  # fmt: skip
    report = json.loads(capfdbinary.readouterr()[0])

    assert {f["limit_from"] for f in report["findings"]} == {said}


def checked(tmp_path: Path, pack: str, log: str, machine: str = "equipment_id: E") -> list[str]:
    """Files and the arguments that audit them."""
    (tmp_path / "register.yaml").write_text(f"stores: [{{store_id: S, timezone: UTC, equipment: [{{{machine}}}]}}]\n", "utf-8")
    (tmp_path / "log.csv").write_text(log, "utf-8")
    return ["check", str(tmp_path / "log.csv"), "--rules", pack, "--register", str(tmp_path / "register.yaml"), "--as-of",
            "2026-01-03", "--format", "json"]  # fmt: skip


LOG = "store_id,equipment_id,cycle_id,step,started_at,ended_at\nS,E,c,flush,2026-01-02T10:00,2026-01-02T11:00\n"


def test_check_refuses_what_is_loosened_in_silence(tmp_path, capfdbinary) -> None:
    """Not lint alone: an audit by such a pack would pass what the pack beneath does not."""
    above(tmp_path, LOOSER)
    status = run(checked(tmp_path, str(tmp_path / "top.yaml"), LOG))
    err = capfdbinary.readouterr()[1].decode()

    assert status == 2
    assert "rule T-DAYS: loosens max (P14D to P15D) of base" in err


def test_what_is_loosened_with_a_reason_is_told(tmp_path, capfdbinary) -> None:
    """By the pack with its justification, by the register with its `why`, whatever came of the checks."""
    above(tmp_path, LOOSER, more="\n    justification: The law of the place allows it.")
    machine = "equipment_id: E, limits: {T-DAYS: {max: P20D, why: a closed winter}}"
    run(checked(tmp_path, str(tmp_path / "top.yaml"), LOG, machine))
    told = {n["code"]: n["message"] for n in json.loads(capfdbinary.readouterr()[0])["notices"]}

    assert told["loosened_limit"].endswith("loosens max (P14D to P15D) of base: The law of the place allows it.")
    assert told["own_limit"] == "E: the register sets a limit of its own for T-DAYS: a closed winter"


SOLUTION = (
    "store_id,equipment_id,cycle_id,step,agent,solution_id,started_at,ended_at,concentration_ppm,temperature_c,ph\n"
    "S,E,c,test_solution,chlorine,b,2026-01-02T10:00,2026-01-02T10:01,110,5,10.5\n"
)


@pytest.mark.parametrize("limits", ["{min: 100}", "{min: 1}", "{max: 1000}", "{min: 100, max: 200}"])
def test_a_band_in_the_register_bounds_a_table_and_does_not_replace_it(tmp_path, capfdbinary, limits: str) -> None:
    """110 ppm at 5 degrees and pH 10.5 fits no line of the published table, whatever band the register adds."""
    machine = f"equipment_id: E, limits: {{SAN-CHLORINE-CONDITIONS: {limits}}}"
    run(checked(tmp_path, "sanitizer-solutions", SOLUTION, machine))
    report = json.loads(capfdbinary.readouterr()[0])

    assert [f["status"] for f in report["findings"] if f["rule"] == "SAN-CHLORINE-CONDITIONS"] == ["out"]


@pytest.mark.parametrize(("limits", "status"), [("{min: 110}", []), ("{min: 111}", ["out"]), ("{max: 109}", ["out"])])
def test_a_band_in_the_register_tightens_every_line_of_a_table(tmp_path, capfdbinary, limits: str, status: list[str]) -> None:
    """110 ppm at 20 degrees and pH 7 fits the table; with 111 asked for at least it does not."""
    machine = f"equipment_id: E, limits: {{SAN-CHLORINE-CONDITIONS: {limits}}}"
    run(checked(tmp_path, "sanitizer-solutions", SOLUTION.replace("110,5,10.5", "110,20,7"), machine))
    report = json.loads(capfdbinary.readouterr()[0])

    assert [f["status"] for f in report["findings"] if f["rule"] == "SAN-CHLORINE-CONDITIONS"] == status


def times_above(tmp_path: Path, beneath: str, above_: str, more: str = "") -> str:
    """The path of a pack that says `correct_within` above one that says it too."""
    cited = "{within: %s, source: practice, says: Put it right.}"
    base = BASE.replace("AUTHORITY", "practice") + "grading:\n  authority: regulation\n  correct_within:\n    major: " + cited % beneath
    (tmp_path / "base.yaml").write_text(base + "\n", "utf-8")
    kept = f"{{major: {cited % above_}}}" if above_ else "{}"
    top = f"pack: top\nversion: 1.0.0\nextends: [base]\ncautions: [c]\ngrading:\n  correct_within: {kept}\n{more}"
    (tmp_path / "top.yaml").write_text(top, "utf-8")
    return str(tmp_path / "top.yaml")


def of_times(path: str) -> list[str]:
    return [fault.split(": grading: ", 1)[1] for fault in lint(load_pack(Path(path))) if ": grading: " in fault]


@pytest.mark.parametrize(
    ("beneath", "above_"),
    [("PT72H", "PT72H"), ("PT72H", "PT71H59M59S"), ("P10D", "P10D"), ("P10D", "P9D"), ("P10D", "PT216H"), ("PT72H", "P1D")],
)
def test_the_same_or_a_shorter_time_for_correction_needs_no_word(tmp_path, beneath: str, above_: str) -> None:
    """Hours and calendar days are compared by what they can last: 10 days at least 216 hours whatever a zone does, 1 day at most 72."""
    assert of_times(times_above(tmp_path, beneath, above_)) == []


@pytest.mark.parametrize(
    ("beneath", "above_"),
    [("PT72H", "PT72H1S"), ("P10D", "P11D"), ("P10D", "PT216H1S"), ("PT72H", "P2D"), ("PT72H", "")],
)
def test_a_longer_time_for_correction_needs_a_justification(tmp_path, beneath: str, above_: str) -> None:
    """By one second or day, or no time at all where there was one; said as of a limit, and the authority counts as there."""
    said = f"loosens the time to correct what is major ({beneath} to {above_ or 'none'}) of base"
    silent, low = of_times(times_above(tmp_path, beneath, above_))

    assert silent == f"{said}; keep to it, or say why it may under 'justification'"
    assert low == f"{said}, which rests on regulation; practice does not stand above that"
    assert of_times(times_above(tmp_path, beneath, above_, "  authority: regulation\n  justification: The law of the place.\n")) == []


def test_check_refuses_a_time_for_correction_loosened_in_silence(tmp_path, capfdbinary) -> None:
    """As it does a limit, with the line of the file; with the reason given it is told in a notice."""
    path = times_above(tmp_path, "P10D", "P11D")
    silent = run(checked(tmp_path, path, LOG)), capfdbinary.readouterr()[1].decode()
    times_above(tmp_path, "P10D", "P11D", "  authority: regulation\n  justification: The law of the place allows it.\n")
    run(checked(tmp_path, path, LOG))
    told = {n["code"]: n["message"] for n in json.loads(capfdbinary.readouterr()[0])["notices"]}

    assert silent[0] == 2
    assert "top.yaml line 6: grading: loosens the time to correct what is major (P10D to P11D) of base" in silent[1]
    assert told["loosened_limit"] == (
        "the pack top loosens the time to correct what is major (P10D to P11D) of base: The law of the place allows it."
    )
