"""A whole cleaning of a twelve-line draught tower, by the bundled pack and from the file to the report."""

from __future__ import annotations

import json

import pytest

from validator.cli import run

COLUMNS = (
    "store_id,equipment_id,cycle_id,procedure,step,target,agent,solution_id,started_at,ended_at,concentration_ppm,"
    "temperature_c,ph,performed_by\n"
)
REGISTER = """\
stores:
  - store_id: S
    timezone: Europe/London
    equipment: [{equipment_id: T, profile: draught-tower, in_service_on: 2026-03-01}]
"""
LINES = [f"line-{n}" for n in range(1, 13)]


def row(step: str, target: str, agent: str, start: str, end: str, more: str = ",,,") -> str:
    at = "2026-03-10T"
    solution = "A" if agent == "caustic" else ""
    return f"S,T,c,draught-line-cleaning,{step},{target},{agent},{solution},{at}{start},{at}{end},{more},N. Ott\n"


def cleaning(ph: str = "7.4", until: str = "08:35") -> str:
    """Water, caustic through all twelve lines at once, parts by hand, water until its pH is the tap's, beer."""
    rows = row("test_solution", "tap", "water", "07:50", "07:51", ",,7.3")
    rows += row("mix_solution", "", "caustic", "07:52", "07:55", "22000,40,")
    rows += "".join(row("flush", line, "water", "08:00", "08:05", ",,") for line in LINES)
    rows += "".join(row("circulate", line, "caustic", "08:15", until, ",,") for line in LINES)
    rows += row("wash", "faucets", "caustic", "08:16", "08:30", ",,") + row("wash", "couplers", "", "08:16", "08:30", ",,")
    rows += "".join(row("rinse", line, "water", "08:40", "08:50", f",,{ph}") for line in LINES)
    return COLUMNS + rows + "".join(row("prime", line, "", "08:55", "09:00", ",,") for line in LINES)


@pytest.fixture
def audit(tmp_path):
    def run_check(log: str, *more: str) -> tuple[int, dict]:
        (tmp_path / "log.csv").write_text(log)
        (tmp_path / "register.yaml").write_text(REGISTER)
        out = tmp_path / "report.json"
        status = run(["check", str(tmp_path / "log.csv"), "--register", str(tmp_path / "register.yaml"), "--as-of",
                      "2026-03-12T00:00", "--output", f"json={out}", *more])  # fmt: skip
        return status, json.loads(out.read_text())

    return run_check


def test_a_good_cleaning_has_no_finding(audit) -> None:
    """The procedure that the rows name chooses the pack, and none of the packs for a place; the tap is known to it."""
    status, report = audit(cleaning())

    assert status == 0
    assert [p["id"] for p in report["packs"]] == ["draught-line-cleaning"]
    assert report["findings"] == []
    assert {n["code"] for n in report["notices"]} <= {"not_exercised"}


def test_every_fault_is_told_of_every_line(audit) -> None:
    """A pH of 8 against the tap's 7.3, and caustic for 14 minutes: two findings on each of twelve lines."""
    status, report = audit(cleaning("8", "08:29"))
    found = [(f["rule"], f["target"]) for f in report["findings"]]

    assert status == 1
    assert sorted(found) == sorted((rule, line) for rule in ("DRA-RINSE-PH", "DRA-CONTACT-TIME") for line in LINES)


def test_a_pack_for_a_place_is_named(audit) -> None:
    """No record tells that its store is bound by the law of a state; --rules does."""
    _, report = audit(cleaning(), "--rules", "draught-line-cleaning-rhode-island")

    assert {f["rule"] for f in report["findings"]} == {"DRA-COUNTERSIGNED"}
    assert any(c.startswith("Never leave a line with cleaner") for c in report["cautions"])
