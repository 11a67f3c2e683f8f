"""Limits that hang on the hardness of the water: on a reading, on a contact, and under the decision rule `guarded`.

The limit of 500 mg/L is that of FDA Food Code 4-501.114(C), 2017 text, seen through WAC 246-215-04565.
"""

from __future__ import annotations

import pytest

PACK = """\
pack: p
procedure: cip
rules:
  - id: R-STRENGTH
    title: t
    kind: concentration
    params:
      agent: quat
      uncertainty: {hardness_ppm: 10}
      table: [{min: 200, hardness_ppm: {max: 500}}, {min: 400}]
  - id: R-CONTACT
    title: t
    kind: contact
    params:
      min: [{agent: quat, at_least: PT30S, hardness_ppm: {max: 500}}, {agent: quat, at_least: PT60S}]
  - {id: R-LABEL, title: t, kind: concentration, params: {agent: quat, by_label: true}}
"""
HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,agent,solution_id,concentration_ppm,hardness_ppm\n"


def statuses(judge, reading: str, hardness: str, seconds: int = 60, **more) -> dict[str, str]:
    test = f"S,E,c,test_solution,,2026-01-05T20:00:00Z,2026-01-05T20:01:00Z,quat,b,{reading},{hardness}\n"
    minute, second = divmod(seconds, 60)
    use = f"S,E,c,sanitize,n,2026-01-05T20:10:00Z,2026-01-05T20:{10 + minute}:{second:02d}Z,quat,b,,\n"
    return {c[0]: c[4] for c in judge(PACK, HEADER + test + use, reasons=True, **more)}


@pytest.mark.parametrize(
    ("reading", "hardness", "expected"),
    [
        ("200", "500", "in"),
        ("200", "500.1", "out outside"),
        ("200", "", "not_observed missing_condition"),
        ("400", "", "in"),  # the other line asks for none
        ("199", "", "out outside"),  # whatever the hardness
    ],
)
def test_reading_with_and_without_its_hardness(judge, reading, hardness, expected) -> None:
    """Hardness is asked for only where it decides."""
    assert statuses(judge, reading, hardness)["R-STRENGTH"] == expected


@pytest.mark.parametrize(
    ("hardness", "seconds", "expected"),
    [
        ("500", 30, "in"),
        ("501", 30, "out too_short"),
        ("", 30, "not_observed missing_condition"),
        ("", 60, "in"),
        ("", 29, "out too_short"),
    ],
)
def test_contact_takes_the_hardness_of_its_solution(judge, hardness, seconds, expected) -> None:
    """What the row of the contact leaves blank is known from the test of its solution."""
    assert statuses(judge, "200", hardness, seconds)["R-CONTACT"] == expected


@pytest.mark.parametrize(
    ("hardness", "expected"),
    [
        ("490", "in"),
        ("490.1", "not_observed within_uncertainty"),
        ("510", "not_observed within_uncertainty"),
        ("510.1", "out outside"),
    ],
)
def test_guarded_hardness(judge, hardness, expected) -> None:
    """JCGM 106: within the instrument's 10 mg/L of the limit nothing is claimed."""
    assert statuses(judge, "200", hardness, decision="guarded")["R-STRENGTH"] == expected


def test_limits_of_a_label_are_the_registers(judge) -> None:
    """A rule without limits of its own claims nothing until a register gives them, for the machine that it names."""
    register = "stores: [{store_id: S, timezone: UTC, equipment: [{equipment_id: E, limits: {R-LABEL: {min: 201}}}]}]"

    assert statuses(judge, "200", "")["R-LABEL"] == "not_observed no_limit"
    assert statuses(judge, "200", "", register=register)["R-LABEL"] == "out outside"
