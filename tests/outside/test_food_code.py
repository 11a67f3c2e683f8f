"""The limits of the public Food Code for chemical sanitizers, example by example.

FDA Food Code 4-501.114 (strength, temperature, pH, hardness) and 4-703.11 (contact), 2017 text, seen through official
state adoptions: WAC 246-215-04565 and -04710, Wis. Admin. Code ATCP 75 appendix, 2VAC5-585-1700. The ceiling of
200 ppm is that of 40 CFR 180.940 (seen in secondary tables). Readings are in the unit of the table's own Celsius
figures, since the printed pairs of Celsius and Fahrenheit are rounded.
"""

from __future__ import annotations

import pytest

CHLORINE = """\
pack: food-code
procedure: p
rules:
  - id: T-STRENGTH
    title: t
    kind: concentration
    params:
      agent: chlorine
      table:
        - {min: 100, max: 200, temperature_c: {min: 13}, ph: {max: 10}}
        - {min: 50, max: 200, temperature_c: {min: 38}, ph: {max: 10}}
        - {min: 50, max: 200, temperature_c: {min: 24}, ph: {max: 8}}
        - {min: 25, max: 200, temperature_c: {min: 49}, ph: {max: 10}}
  - id: T-CONTACT
    title: t
    kind: contact
    params:
      steps: [sanitize]
      min:
        - {agent: chlorine, at_least: PT10S}
        - {agent: chlorine, at_least: PT7S, concentration_ppm: {min: 50, max: 99}, temperature_c: {min: 38}, ph: {max: 10}}
        - {agent: chlorine, at_least: PT7S, concentration_ppm: {min: 50, max: 99}, temperature_c: {min: 24}, ph: {max: 8}}
        - {agent: quat, at_least: PT30S}
        - {agent: iodine, at_least: PT30S}
"""
OTHERS = """\
pack: others
procedure: p
rules:
  - id: T-IODINE
    title: t
    kind: concentration
    params: {agent: iodine, table: [{min: 12.5, max: 25, temperature_c: {min: 20}, ph: {max: 5.0}}]}
  - id: T-QUAT
    title: t
    kind: concentration
    params: {agent: quat, table: [{min: 200, max: 400, temperature_c: {min: 24}}]}
"""


def solution(agent: str, ppm: float, celsius: float | str, ph: float | str, seconds: int = 60) -> str:
    end = f"2026-01-05T20:{seconds // 60:02d}:{seconds % 60:02d}Z"
    return (
        "store_id,equipment_id,cycle_id,step,started_at,ended_at,agent,concentration_ppm,temperature_c,ph\n"
        f"S,E,c,sanitize,2026-01-05T20:00:00Z,{end},{agent},{ppm},{celsius},{ph}"
    )


def status(found, rule: str) -> str:
    (only,) = {check[4] for check in found if check[0] == rule}
    return only


@pytest.mark.parametrize(
    ("ppm", "celsius", "ph", "expected"),
    [
        (50, 24, 8.0, "in"),  # example 13
        (50, 24, 8.1, "out"),  # 14: above pH 8 it takes 38 C
        (50, 38, 8.1, "in"),
        (50, 37.9, 8.1, "out"),
        (49, 48, 7, "out"),  # 15: 25 to 49 ppm takes 49 C
        (49, 49, 7, "in"),
        (49.5, 49, 7, "in"),  # the printed rows 25-49 and 50-99 leave no hole: they are read as steps
        (49.5, 48, 7, "out"),
        (100, 13, 10, "in"),  # 16
        (100, 12, 10, "out"),
        (99.5, 24, 8, "in"),
        (99.5, 13, 8, "out"),
        (100, 13, 10.1, "out"),  # 17: no row
        (24.9, 60, 7, "out"),
        (200, 20, 7, "in"),
        (250, 20, 7, "out"),  # 18: above the ceiling of 40 CFR 180.940
        (50, "", 8.0, "not_observed"),  # what decides is not on record
        (50, 24, "", "not_observed"),
        (24, "", "", "out"),  # whatever the temperature and the pH, no row begins below 25
        (50, 23, "", "out"),  # whatever the pH, 50 ppm needs 24 C
    ],
)
def test_chlorine(judge, ppm, celsius, ph, expected) -> None:
    """4-501.114(A), rows read as steps from 25, 50 and 100 mg/L."""
    assert expected == status(judge(CHLORINE, solution("chlorine", ppm, celsius, ph)), "T-STRENGTH")


@pytest.mark.parametrize(
    ("agent", "ppm", "celsius", "ph", "seconds", "expected"),
    [
        ("chlorine", 50, 35, 9, 8, "out"),  # 21: the allowance of 7 s does not apply, so 10 s are due
        ("chlorine", 50, 38, 9, 7, "in"),
        ("chlorine", 50, 38, 9, 6, "out"),
        ("chlorine", 50, 24, 8, 7, "in"),
        ("chlorine", 50, 24, 8.1, 7, "out"),
        ("chlorine", 100, 24, 8, 9, "out"),
        ("chlorine", 100, 24, 8, 10, "in"),
        ("chlorine", 50, "", 8, 8, "not_observed"),  # 7 s would do at 24 C, 10 s below it
        ("chlorine", 50, "", 8, 10, "in"),  # 10 s are enough either way
        ("chlorine", 50, "", 8, 6, "out"),  # 6 s are too few either way
        ("quat", 200, 24, 7, 29, "out"),  # 22
        ("quat", 200, 24, 7, 30, "in"),
        ("peracetic_acid", 200, 24, 7, 60, "out"),  # no row speaks of it: the record shows nothing that is allowed
    ],
)
def test_contact(judge, agent, ppm, celsius, ph, seconds, expected) -> None:
    """4-703.11(C): 10 s for chlorine, 7 s at 50 mg/L when warm enough for its pH, 30 s for the others."""
    assert expected == status(judge(CHLORINE, solution(agent, ppm, celsius, ph, seconds)), "T-CONTACT")


@pytest.mark.parametrize(("ppm", "expected"), [(12.4, "out"), (12.5, "in"), (25, "in"), (25.1, "out")])
def test_iodine(judge, ppm, expected) -> None:
    """4-501.114(B), example 19: 12.5 to 25 mg/L at 20 C and a pH of 5.0 or less."""
    assert expected == status(judge(OTHERS, solution("iodine", ppm, 20, 5.0)), "T-IODINE")


@pytest.mark.parametrize(("celsius", "expected"), [(23.3, "out"), (23.9, "out"), (24, "in")])
def test_quat(judge, celsius, expected) -> None:
    """4-501.114(C), example 20: 24 C for a label that says 200 to 400 mg/L."""
    assert expected == status(judge(OTHERS, solution("quat", 200, celsius, 7)), "T-QUAT")


@pytest.mark.parametrize(
    ("text", "expected"), [("49.999999999999999", "out"), ("50", "in"), ("50.000000000000001", "in")]
)
def test_digits_beyond_a_float_keep_their_side_of_a_limit(judge, text, expected) -> None:
    """The nearest float to 49.999999999999999 is 50 itself; decimal arithmetic tells them apart, and so do we."""
    pack = CHLORINE.split("  - id: T-CONTACT")[0]
    assert expected == status(judge(pack, solution("chlorine", text, 24, 8)), "T-STRENGTH")
