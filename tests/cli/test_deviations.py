"""Accepted deviations: marked, counted as observations until the last day, told of when expired or without a finding."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from validator.cli import run

PACK = """\
pack: p
version: 1.0.0
procedure: cip
rules:
  - {id: T-FLUSH, title: Short, kind: flush, params: {targets: [line-1, line-2], min: PT15M}}
  - {id: T-WHO, title: Nobody, kind: record, grade: minor, params: {required_fields: [performed_by]}}
"""
LOG = """\
store_id,equipment_id,cycle_id,step,target,started_at,ended_at
S,E,c1,flush,line-1,2026-01-05T20:00Z,2026-01-05T20:10Z
S,E,c1,flush,line-2,2026-01-05T20:20Z,2026-01-05T20:30Z
"""
Audit = Callable[..., tuple[int, dict, str]]
ONE = """\
deviations:
  - rule: T-FLUSH
    target: line-1
    reason: pump on order
    approved_by: K. Marwood
    approved_on: 2026-01-06
    expires_on: 2026-01-20
"""


@pytest.fixture
def audit(tmp_path: Path, capfdbinary) -> Audit:
    """`audit(deviations, as_of)`: exit status, report, standard error."""

    def go(deviations: str, as_of: str = "2026-01-20", zone: str = "UTC", *more: str) -> tuple[int, dict, str]:
        register = f"stores:\n  - {{store_id: S, timezone: {zone}, equipment: [{{equipment_id: E}}]}}\n"
        files = {"p.yaml": PACK, "log.csv": LOG, "accepted.yaml": deviations, "register.yaml": register}
        for name, text in files.items():
            (tmp_path / name).write_text(text, "utf-8")
        status = run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "p.yaml"), "--as-of", as_of, "--accept",
                      str(tmp_path / "accepted.yaml"), "--register", str(tmp_path / "register.yaml"), "--format", "json", *more])  # fmt: skip
        out, err = capfdbinary.readouterr()
        return status, json.loads(out) if out else {}, err.decode()

    return go


def flushes(report: dict) -> dict[str, tuple[str, bool]]:
    return {f["target"]: (f["grade"], "accepted" in f["marks"]) for f in report["findings"] if f["rule"] == "T-FLUSH"}


def test_an_accepted_finding_stays_marked_as_an_observation(audit: Audit) -> None:
    """Line 1 is accepted, line 2 is not; by whom, until when and why stands in the finding."""
    status, report, _ = audit(ONE)

    assert flushes(report) == {"line-1": ("observation", True), "line-2": ("major", False)}
    (held,) = [f["deviation"] for f in report["findings"] if f["deviation"]]
    assert held == "accepted by K. Marwood from 2026-01-06 to 2026-01-20: pump on order"
    assert status == 1
    assert report["summary"]["grades"] == {"critical": 0, "major": 1, "minor": 1, "observation": 1}


def test_what_is_accepted_fails_no_run(audit: Audit) -> None:
    """With both lines accepted only the minor finding is left, and it fails a run only if that is asked."""
    both = ONE.replace("    target: line-1\n", "")

    assert audit(both)[0] == 0
    assert audit(both, "2026-01-20", "UTC", "--fail-on", "minor")[0] == 1
    assert "not met" not in audit(both)[1]["summary"]["result"]


@pytest.mark.parametrize(
    ("as_of", "zone", "holds"),
    [
        ("2026-01-05", "UTC", False), ("2026-01-06", "UTC", True),  # from the day of approval
        ("2026-01-20", "UTC", True), ("2026-01-21", "UTC", False),  # to its last day
        ("2026-01-21T05:59:59Z", "America/Chicago", True), ("2026-01-21T06:00:00Z", "America/Chicago", False),
    ],
)  # fmt: skip
def test_it_holds_from_its_first_to_its_last_day_by_the_stores_calendar(audit: Audit, as_of: str, zone: str, holds: bool) -> None:
    """Both days inclusive; midnight in Chicago is 06:00 UTC in winter."""
    assert flushes(audit(ONE, as_of, zone)[1])["line-1"] == (("observation", True) if holds else ("major", False))


def test_an_expired_one_counts_again_and_is_told(audit: Audit) -> None:
    """The notice names who accepted it and how many findings count as before."""
    _, report, _ = audit(ONE, "2026-02-01")
    (told,) = [n["message"] for n in report["notices"] if n["code"] == "expired_deviation"]

    assert told.endswith("to 2026-01-20: pump on order, has expired; 1 finding that it was for counts as before")


def test_one_that_fits_nothing_is_told(audit: Audit) -> None:
    """A misspelt target accepts nothing."""
    codes = [n["code"] for n in audit(ONE.replace("line-1", "line-3"))[1]["notices"]]

    assert "unused_deviation" in codes
    assert "unused_deviation" not in [n["code"] for n in audit(ONE)[1]["notices"]]


def test_a_star_stands_for_any_text_and_nothing_else_does(audit: Audit) -> None:
    """`line-*` accepts both lines; `line.1` and `T-F?USH` are the texts that they are."""
    assert {g for g, _ in flushes(audit(ONE.replace("line-1", "line-*"))[1]).values()} == {"observation"}
    assert flushes(audit(ONE.replace("target: line-1", 'target: "line.1"'))[1])["line-1"] == ("major", False)
    assert flushes(audit(ONE.replace("T-FLUSH", "T-F?USH"))[1])["line-1"] == ("major", False)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("rule: T-FLUSH", 'rule: "*"', "would accept every rule"),
        ("    approved_by: K. Marwood\n", "", "approved_by"),
        ("expires_on: 2026-01-20", "expires_on: 2026-01-05", "before it is approved"),
        ("expires_on: 2026-01-20", "expires_on: never", "calendar date"),
        ("    target:", "    taget:", "did you mean 'target'"),
    ],
)
def test_a_wrong_file_is_refused_in_one_sentence(audit: Audit, old: str, new: str, said: str) -> None:
    """Exit status 2, the file's name and what is wrong."""
    status, _, err = audit(ONE.replace(old, new))

    assert status == 2
    assert said in err
    assert "accepted.yaml" in err
