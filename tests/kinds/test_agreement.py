"""Readings that must agree with a reference of the same cycle: near the limit, and where it is not known which came last."""

from __future__ import annotations

import pytest

HEADER = "store_id,equipment_id,cycle_id,step,target,agent,started_at,ended_at,ph\n"
REGISTER = """\
stores:
  - store_id: S
    timezone: UTC
    equipment: [{equipment_id: E, lines: [line-1], parts: []}]
"""


def pack(more: str = "", within: str = "0.3") -> str:
    params = f"{{field: ph, of: {{step: rinse, targets: lines}}, with: {{step: test_solution, targets: [tap]}}, within: {within}{more}}}"
    return f"pack: t\nprocedure: p\nrules:\n  - {{id: T, title: t, kind: agreement, params: {params}}}\n"


def row(step: str, target: str, ph: object, start: str = "00", end: str = "05") -> str:
    def at(minute: str) -> str:
        return f"2026-01-05T20:{minute}:00" if minute else ""

    return f"S,E,c,{step},{target},water,{at(start)},{at(end)},{ph}\n"


def tap(ph: object, start: str = "00", end: str = "01") -> str:
    return row("test_solution", "tap", ph, start, end)


def status(found) -> str:
    (only,) = {c[4] for c in found if c[3] == "line-1"}
    return only


@pytest.mark.parametrize(
    ("rinse", "of_tap", "expected"),
    [
        ("8.5", "8.2", "in"),  # 8.5 - 8.2 is 0.3 in decimals and a little more in binary ones
        ("7.9", "8.2", "in"), ("8.51", "8.2", "out differs"), ("7.89", "8.2", "out differs"),
        ("7.1", "6.8", "in"), ("7.11", "6.8", "out differs"), ("7.0", "7.0", "in"),
        ("", "8.2", "not_observed not_measured"), ("8.2", "", "not_observed not_measured"),
    ],
)  # fmt: skip
def test_within_the_limit_on_either_side(judge, rinse: str, of_tap: str, expected: str) -> None:
    """0.3 apart is within 0.3 (decimal arithmetic), 0.31 is not; without a reading nothing is shown."""
    log = HEADER + tap(of_tap) + row("rinse", "line-1", rinse)

    assert status(judge(pack(), log, REGISTER, reasons=True)) == expected


@pytest.mark.parametrize(
    ("log", "expected"),
    [
        (tap(7), "not_applicable"), (row("rinse", "line-1", 7), "not_observed"),
        (tap(7) + row("rinse", "line-2", 7), "not_observed"),
        (tap(7) + row("flush", "line-1", 7), "not_applicable"),
        (row("test_solution", "sink", 7) + row("rinse", "line-1", 7), "not_observed"),
    ],
)  # fmt: skip
def test_what_is_missing(judge, log: str, expected: str) -> None:
    """No rinse in the whole cycle is no subject; a line that was left out, or a tap that was not read, shows nothing."""
    assert status(judge(pack(), HEADER + log, REGISTER)) == expected


@pytest.mark.parametrize(
    ("log", "last", "every"),
    [
        (row("rinse", "line-1", 9, "00", "05") + row("rinse", "line-1", 7, "05", "10"), "in", "out"),
        (row("rinse", "line-1", 7, "00", "05") + row("rinse", "line-1", 9, "05", "10"), "out", "out"),
        (row("rinse", "line-1", 7, "00", "05") + row("rinse", "line-1", "", "05", "10"), "not_observed", "not_observed"),
        (row("rinse", "line-1", 7, "00", "05") + row("rinse", "line-1", 7.2, "05", "10"), "in", "in"),
        # which of two came last is not known: an end is missing, or both ended in the same second
        (row("rinse", "line-1", 9, "00", "") + row("rinse", "line-1", 7, "05", "10"), "not_observed", "out"),
        (row("rinse", "line-1", 9, "00", "10") + row("rinse", "line-1", 7, "05", "10"), "not_observed", "out"),
        (row("rinse", "line-1", 7.1, "00", "10") + row("rinse", "line-1", 7, "05", "10"), "in", "in"),
        (row("rinse", "line-1", 9.1, "00", "") + row("rinse", "line-1", 9, "05", "10"), "out", "out"),
    ],
)
def test_the_last_row_decides_or_every_one(judge, log: str, last: str, every: str) -> None:
    """It is the end of the rinse that counts; a last row without a reading is not made up for by an earlier one."""
    assert status(judge(pack(), HEADER + tap(7) + log, REGISTER)) == last
    assert status(judge(pack(", which: every"), HEADER + tap(7) + log, REGISTER)) == every


@pytest.mark.parametrize(
    ("taps", "expected"),
    [
        (tap(9, "00", "01") + tap(7, "10", "11"), "in"), (tap(7, "00", "01") + tap(9, "10", "11"), "out"),
        (tap(7, "00", "01") + tap("", "10", "11"), "in"), (tap(9, "00", "01") + tap(7, "00", "01"), "not_observed"),
        (tap(9, "00", "01") + tap(9.2, "00", "01"), "out"),
    ],
)  # fmt: skip
def test_the_last_reading_of_the_reference_counts(judge, taps: str, expected: str) -> None:
    """Of two taken at the same time either may be; they decide where they agree."""
    assert status(judge(pack(), HEADER + taps + row("rinse", "line-1", 7), REGISTER)) == expected


@pytest.mark.parametrize(
    ("rinse", "simple", "guarded"),
    [("7.1", "in", "in"), ("7.2", "in", "not_observed within_uncertainty"),
     ("7.5", "out differs", "not_observed within_uncertainty"), ("7.6", "out differs", "out differs")],
)  # fmt: skip
def test_guarded_allows_for_both_readings(judge, rinse: str, simple: str, guarded: str) -> None:
    """Two readings each good to 0.1 can differ by 0.2 more or less than they seem: 0.1 is sure to be within 0.3, 0.6
    sure to be beyond it.
    """
    log = HEADER + tap(7) + row("rinse", "line-1", rinse)

    assert status(judge(pack(", uncertainty: 0.1"), log, REGISTER, reasons=True)) == simple
    assert status(judge(pack(", uncertainty: 0.1"), log, REGISTER, reasons=True, decision="guarded")) == guarded


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("within: 0.3", "within: -0.1", "expected 0 or more, found -0.1"),
        ("targets: [tap]", "targets: lines", "name the targets of the reference"),
        ("step: rinse", "step: []", "expected a name or a list of names"),
    ],
)
def test_wrong_parameters_are_named(judge, old: str, new: str, words: str) -> None:
    """A sentence with the place, what was found and what is due."""
    from validator.errors import WrongInput

    with pytest.raises(WrongInput, match="params") as raised:
        judge(pack().replace(old, new), HEADER + tap(7), REGISTER)
    assert words in str(raised.value)


def test_the_finding_says_both_readings(tmp_path) -> None:
    """The sentence, the values asked for and the distance beyond the limit: 8.6 is 1.3 above what 7 allows."""
    import json

    from validator.cli import run

    (tmp_path / "pack.yaml").write_text(pack() + "cautions: [c]\n")
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "log.csv").write_text(HEADER + tap(7) + row("rinse", "line-1", 8.6))
    out = tmp_path / "report.json"
    run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "pack.yaml"), "--register",
         str(tmp_path / "register.yaml"), "--output", f"json={out}"])  # fmt: skip
    (finding,) = json.loads(out.read_text())["findings"]

    assert finding["message"] == "line-1: rinse at pH 8.6, test_solution of tap at pH 7, at most 0.3 apart"
    assert (finding["observed"]["value"], finding["required"]["min"], finding["required"]["max"]) == (8.6, 6.7, 7.3)
    assert finding["margin"]["value"] == 1.3
    assert [e["row"] for e in finding["evidence"]] == [2, 3]
