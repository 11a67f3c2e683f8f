"""Limits of temperature as published pairs, and conditions that may be claimed where no value is on record.

The pairs are those of FDA Food Code 4-501.114(A), 2017 text, seen through WAC 246-215-04565: 50 mg/L at 38 °C (100 °F) up to pH 10,
or at 24 °C (75 °F) up to pH 8. 100 °F is 37.8 °C, so that neither figure follows from the other.
"""

from __future__ import annotations

import pytest

from validator.cli.check import judge_files
from validator.cli.waiting import Waiting

PACK = """\
pack: p
procedure: cip
rules:
  - id: R-STRENGTH
    title: t
    kind: concentration
    params:
      agent: chlorine
      uncertainty: {temperature_c: 1 °F}
      table:
        - {min: 50, temperature_c: {min: 38 °C/100 °F}, ph: {max: 10, unrecorded: met}}
        - {min: 50, temperature_c: {min: 24 °C/75 °F}, ph: {max: 8}}
  - id: R-CONTACT
    title: t
    kind: contact
    params:
      min:
        - {agent: chlorine, at_least: PT10S, temperature_c: {min: 38 °C/100 °F}, ph: {max: 10, unrecorded: met}}
        - {agent: chlorine, at_least: PT60S}
"""
HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,agent,solution_id,concentration_ppm,temperature_c,temperature_f,ph\n"
USE = "S,E,c,sanitize,n,2026-01-05T20:10:00Z,2026-01-05T20:10:10Z,chlorine,b,,,,\n"


def reading_row(values: str, minute: int = 0) -> str:
    return f"S,E,c,test_solution,,2026-01-05T20:{minute:02d}:00Z,2026-01-05T20:{minute:02d}:30Z,chlorine,b,{values}\n"


def statuses(judge, *rows: str, **more) -> dict[str, str]:
    return {c[0]: c[4] for c in judge(PACK, HEADER + "".join(rows), reasons=True, **more)}


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ("50,38,,9", "in"), ("50,37.8,,9", "out outside"),  # in °C against the printed 38
        ("50,,100,9", "in"), ("50,,99.9,9", "out outside"),  # in °F against the printed 100
        ("50,38,100,9", "in"),
        ("50,37.8,100,9", "in"),  # with both the thermometer's own figure decides
        ("50,38,120,9", "not_observed missing_condition"),  # which cannot both be right
        ("50,38,,", "in"), ("50,37.9,,", "not_observed missing_condition"), ("50,23.9,,", "out outside"),
        ("50,,100,", "in"), ("50,,99.9,", "not_observed missing_condition"), ("50,,74,", "out outside"),
        ("50,38,,10.1", "out outside"),  # a claim gives way to a value
        ("50,,,8", "not_observed missing_condition"),  # nothing says that a temperature may be claimed
        ("50,,,", "not_observed missing_condition"),
        ("49.9,,100,", "out outside"),
    ],
)  # fmt: skip
def test_a_reading_is_held_against_the_scale_it_was_recorded_on(judge, values: str, expected: str) -> None:
    """Neither side of a printed pair is converted, and an unrecorded pH is taken as kept where the line says so."""
    assert statuses(judge, reading_row(values))["R-STRENGTH"] == expected


@pytest.mark.parametrize(
    ("fahrenheit", "expected"),
    [
        ("101", "in"), ("100.9", "not_observed within_uncertainty"), ("99", "not_observed within_uncertainty"),
        ("98.9", "out outside"),
    ],
)  # fmt: skip
def test_guarded_on_the_other_scale(judge, fahrenheit: str, expected: str) -> None:
    """JCGM 106: within the thermometer's 1 °F of the printed 100 °F nothing is claimed."""
    assert statuses(judge, reading_row(f"50,,{fahrenheit},9"), decision="guarded")["R-STRENGTH"] == expected


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ((reading_row("50,,100,"),), "in"),
        ((reading_row("50,,99,"),), "out too_short"),
        ((reading_row("50,38,,", 0), reading_row("50,,99,", 5)), "out too_short"),  # the last before the contact counts
        ((reading_row("50,,99,", 0), reading_row("50,38,,", 5)), "in"),
        ((reading_row("50,,100,10.1"),), "out too_short"),
        ((reading_row("50,,,"),), "not_observed missing_condition"),
    ],
)
def test_a_contact_takes_the_temperature_of_its_solution_on_either_scale(judge, rows, expected: str) -> None:
    """Of a solution's readings the last one before the contact stands for it, whatever its scale."""
    assert statuses(judge, *rows, USE)["R-CONTACT"] == expected


def test_a_finding_says_the_scale_that_was_recorded(judge_report) -> None:
    """What the thermometer showed is what the sentence says."""
    pack = PACK.split("  - id: R-CONTACT")[0]
    (fahrenheit,) = judge_report(pack, HEADER + reading_row("50,,74,9"), "simple")
    (both,) = judge_report(pack, HEADER + reading_row("50,23.3,74,9"), "simple")
    (celsius,) = judge_report(pack, HEADER + reading_row("50,23,,9"), "simple")

    assert "50 ppm at 74 °F, pH 9" in fahrenheit
    assert "50 ppm at 74 °F, pH 9" in both
    assert "50 ppm at 23 °C, pH 9" in celsius


def test_a_required_temperature_is_recorded_on_either_scale(judge) -> None:
    """Who writes °F has written the temperature down."""
    pack = "pack: p\nprocedure: cip\nrules: [{id: R, title: t, kind: record, params: {required_fields: [temperature_c]}}]"

    assert {c[4] for c in judge(pack, HEADER + reading_row(",,75,"))} == {"in"}
    assert {c[4] for c in judge(pack, HEADER + reading_row(",24,,"))} == {"in"}
    assert {c[4] for c in judge(pack, HEADER + reading_row(",,,"))} == {"out"}


@pytest.mark.parametrize(
    ("values", "told"),
    [("50,38,,", 1), ("50,38,,9", 0), ("50,24,,8", 0), ("50,37.9,,", 0), ("50,23.9,,", 0)],
)
def test_a_notice_counts_what_is_in_by_a_claim(tmp_path, values: str, told: int) -> None:
    """IN without a pH is a claim, and its reader is told; OUT, N/O and what was measured is none."""
    pack = tmp_path / "pack.yaml"
    pack.write_text(PACK.split("  - id: R-CONTACT")[0], "utf-8")
    log = tmp_path / "log.csv"
    log.write_text(HEADER + reading_row(values), "utf-8")
    report = judge_files([str(log)], [str(pack)], None, "2026-12-31", "simple", Waiting("reading")).report

    assert [n.count for n in report.notices if n.code == "claimed"] == [1] * told
