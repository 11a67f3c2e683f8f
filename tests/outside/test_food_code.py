"""The limits of the public Food Code for chemical sanitizers, example by example.

FDA Food Code 4-501.114 (strength, temperature, pH, hardness) and 4-703.11 (contact), 2017 text, seen through official
state adoptions: WAC 246-215-04565 and -04710, Wis. Admin. Code ATCP 75 appendix, 2VAC5-585-1700. The ceiling of
200 ppm is that of 40 CFR 180.940 (seen in secondary tables). They are tried on the bundled pack itself. The printed pairs of Celsius
and Fahrenheit are rounded, so readings are tried on both scales, each against its own printed figure.
"""

from __future__ import annotations

import pytest

from validator.packs.loading import bundled_packs, load_pack

PACK = "pack: food-code\nprocedure: p\nextends: [sanitizer-solutions]\n"


def label(rule: str, least: float, most: float) -> str:
    """A register in which the machine's product has the strength of a label."""
    machine = f"{{equipment_id: E, limits: {{{rule}: {{min: {least}, max: {most}}}}}}}"
    return f"stores: [{{store_id: S, timezone: UTC, equipment: [{machine}]}}]"


def worst(found, *rules: str) -> str:
    """OUT if any of the rules is, else N/O if any is, else IN: whether the reading passes at all."""
    seen = [status(found, rule) for rule in rules]
    return next((s for s in ("out", "not_observed") if s in seen), "in")


def solution(
    agent: str, ppm: float | str, celsius: float | str, ph: float | str, seconds: int = 60, hardness: float | str = ""
) -> str:
    end = f"2026-01-05T20:{seconds // 60:02d}:{seconds % 60:02d}Z"
    return (
        "store_id,equipment_id,cycle_id,step,started_at,ended_at,agent,concentration_ppm,temperature_c,ph,"
        "hardness_ppm,target\n"
        f"S,E,c,sanitize,2026-01-05T20:00:00Z,{end},{agent},{ppm},{celsius},{ph},{hardness},nozzle"
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
        (50, 24, "", "not_observed"),  # the pH decides: at most 8 would do, and only the column up to 10 can be claimed
        (50, 30, "", "not_observed"),
        (50, 38, "", "in"),  # without a pH only the stricter column (pH 10 or less) can be claimed
        (100, 20, "", "in"),
        (100, 13, "", "in"),
        (100, 12.9, "", "out"),
        (24, "", "", "out"),  # whatever the temperature and the pH, no row begins below 25
        (50, 23, "", "out"),  # whatever the pH, 50 ppm needs 24 C
    ],
)
def test_chlorine(judge, ppm, celsius, ph, expected) -> None:
    """4-501.114(A), rows read as steps from 25, 50 and 100 mg/L."""
    found = judge(PACK, solution("chlorine", ppm, celsius, ph))

    assert expected == worst(found, "SAN-CHLORINE-CONDITIONS", "SAN-CHLORINE-STRONG")


def in_fahrenheit(agent: str, ppm: float | str, fahrenheit: float | str, ph: float | str, seconds: int = 60, hardness: float | str = "") -> str:
    """The same row with what a Fahrenheit thermometer showed."""
    return solution(agent, ppm, fahrenheit, ph, seconds, hardness).replace("temperature_c", "temperature_f")


@pytest.mark.parametrize(
    ("ppm", "fahrenheit", "ph", "expected"),
    [
        (50, 75, 8.0, "in"), (50, 74, 8.0, "out"),  # 13: printed as 24 C (75 F); 75 F is 23.9 C
        (50, 75, 8.1, "out"), (50, 100, 8.1, "in"),  # 14: needs 100 F; 100 F is 37.8 C and printed as 38
        (50, 99.9, 8.1, "out"),
        (49, 119, 7, "out"), (49, 120, 7, "in"),  # 15: 120 F is 48.9 C and printed as 49
        (100, 55, 10, "in"), (100, 54, 10, "out"),  # 16: 55 F is 12.8 C and printed as 13
        (100, 55, 10.1, "out"),  # 17
        (50, 100, "", "in"), (50, 99, "", "not_observed"), (50, 74, "", "out"),
    ],
)  # fmt: skip
def test_chlorine_in_fahrenheit(judge, ppm, fahrenheit, ph, expected) -> None:
    """4-501.114(A), by the Fahrenheit figures as the code prints them."""
    found = judge(PACK, in_fahrenheit("chlorine", ppm, fahrenheit, ph))

    assert expected == status(found, "SAN-CHLORINE-CONDITIONS")


@pytest.mark.parametrize(
    ("agent", "rule", "fahrenheit", "expected"),
    [
        ("iodine", "SAN-IODINE-CONDITIONS", 68, "in"), ("iodine", "SAN-IODINE-CONDITIONS", 67.9, "out"),  # 4-501.114(B)
        ("quat", "SAN-QUAT-CONDITIONS", 75, "in"), ("quat", "SAN-QUAT-CONDITIONS", 74, "out"),  # 20, 4-501.114(C)
    ],
)  # fmt: skip
def test_iodine_and_quat_in_fahrenheit(judge, agent, rule, fahrenheit, expected) -> None:
    """4-501.114(B) and (C), by the Fahrenheit figures as the code prints them."""
    assert expected == status(judge(PACK, in_fahrenheit(agent, 20, fahrenheit, 5, hardness=500)), rule)


@pytest.mark.parametrize(
    ("agent", "ppm", "fahrenheit", "ph", "seconds", "expected"),
    [
        ("chlorine", 50, 95, 9, 8, "out"),  # 21
        ("chlorine", 50, 100, 9, 7, "in"), ("chlorine", 50, 99, 9, 7, "out"),
        ("chlorine", 50, 75, 8, 7, "in"), ("chlorine", 50, 74, 8, 7, "out"),
        ("water", "", 171, "", 30, "in"), ("water", "", 170, "", 30, "out"),  # 4-501.111: 77 C (171 F); 171 F is 77.2 C
    ],
)  # fmt: skip
def test_contact_in_fahrenheit(judge, agent, ppm, fahrenheit, ph, seconds, expected) -> None:
    """4-703.11 and 4-501.111, by the Fahrenheit figures as the code prints them."""
    row = in_fahrenheit(agent, ppm, fahrenheit, ph, seconds)

    assert expected == status(judge(PACK, row), "SAN-CONTACT-SHORTEST")


@pytest.mark.parametrize(
    ("agent", "ppm", "celsius", "ph", "seconds", "expected"),
    [
        ("chlorine", 50, 35, 9, 8, "out"),  # 21: the allowance of 7 s does not apply, so 10 s are due
        ("chlorine", 50, 38, 9, 7, "in"),
        ("chlorine", 50, 38, 9, 6, "out"),
        ("chlorine", 50, 24, 8, 7, "in"),
        ("chlorine", 50, 24, 8.1, 7, "out"),
        ("chlorine", 100, 24, 8, 7, "in"),  # the allowance of 50 mg/L is read as 50 and up
        ("chlorine", 100, 13, 8, 9, "out"),  # too cold for it
        ("chlorine", 100, 13, 8, 10, "in"),
        ("chlorine", 49, 49, 8, 9, "out"),  # too weak for it
        ("chlorine", 50, "", 8, 8, "not_observed"),  # 7 s would do at 24 C, 10 s below it
        ("chlorine", 50, "", 8, 10, "in"),  # 10 s are enough either way
        ("chlorine", 50, "", 8, 6, "out"),  # 6 s are too few either way
        ("quat", 200, 24, 7, 29, "out"),  # 22
        ("quat", 200, 24, 7, 30, "in"),
        ("iodine", 20, 24, 5, 29, "out"), ("iodine", 20, 24, 5, 30, "in"),
        ("peracetic_acid", 200, 24, 7, 29, "out"), ("peracetic_acid", 200, 24, 7, 30, "in"),
        ("water", "", 77, "", 30, "in"), ("water", "", 77, "", 29, "out"), ("water", "", 76.9, "", 60, "out"),  # 4-501.111
        ("detergent", 200, 24, 7, 60, "out"),  # no row speaks of it: the record shows nothing that is allowed
    ],
)
def test_contact(judge, agent, ppm, celsius, ph, seconds, expected) -> None:
    """4-703.11(C): 10 s for chlorine, 7 s at 50 mg/L when warm enough for its pH, 30 s for the others."""
    assert expected == status(judge(PACK, solution(agent, ppm, celsius, ph, seconds)), "SAN-CONTACT-SHORTEST")


@pytest.mark.parametrize(
    ("ppm", "celsius", "ph", "expected"),
    [
        (12.4, 20, 5.0, "out"), (12.5, 20, 5.0, "in"), (25, 20, 5.0, "in"), (25.1, 20, 5.0, "out"),  # 19
        (25, 19.9, 5.0, "out"), (25, 20, 5.1, "out"), (25, 20, "", "not_observed"),
    ],
)  # fmt: skip
def test_iodine(judge, ppm, celsius, ph, expected) -> None:
    """4-501.114(B): 12.5 to 25 mg/L at 20 C and a pH of 5.0 or less."""
    assert expected == status(judge(PACK, solution("iodine", ppm, celsius, ph)), "SAN-IODINE-CONDITIONS")


@pytest.mark.parametrize(
    ("ppm", "celsius", "hardness", "expected"),
    [
        (200, 23.3, 500, "out"),  # 20: 74 F; the printed pair is 75 F and 24 C
        (200, 24, 500, "in"), (400, 24, 500, "in"),
        (200, 24, 501, "out"), (200, 24, "", "not_observed"),
        (199, 24, 500, "out"), (401, 24, 500, "out"),
    ],
)  # fmt: skip
def test_quat(judge, ppm, celsius, hardness, expected) -> None:
    """4-501.114(C): 24 C and a hardness of 500 mg/L, at the strength of a label that says 200 to 400 mg/L."""
    register = label("SAN-QUAT-LABEL", 200, 400)
    found = judge(PACK, solution("quat", ppm, celsius, 7, 60, hardness), register)

    assert expected == worst(found, "SAN-QUAT-CONDITIONS", "SAN-QUAT-LABEL", "SAN-QUAT-STRONG")


@pytest.mark.parametrize(("agent", "rule"), [("quat", "SAN-QUAT-LABEL"), ("peracetic_acid", "SAN-PERACETIC-LABEL")])
def test_no_strength_is_invented_where_the_label_sets_it(judge, agent, rule) -> None:
    """4-501.114(C) and (D) name no figure: without a label's own the check is N/O, whatever was read."""
    for ppm in (1, 200, 300):
        assert {"not_observed no_limit"} == {
            c[4] for c in judge(PACK, solution(agent, ppm, 24, 7), reasons=True) if c[0] == rule
        }


@pytest.mark.parametrize(
    ("agent", "rule", "ppm", "expected"),
    [
        ("chlorine", "SAN-CHLORINE-STRONG", 200, "in"), ("chlorine", "SAN-CHLORINE-STRONG", 200.1, "out"),
        ("quat", "SAN-QUAT-STRONG", 400, "in"), ("quat", "SAN-QUAT-STRONG", 400.1, "out"),  # 73 FR 49101
        ("peracetic_acid", "SAN-PERACETIC-STRONG", 500, "in"),  # 65 FR 75168
        ("peracetic_acid", "SAN-PERACETIC-STRONG", 500.1, "out"),
    ],
)  # fmt: skip
def test_ceilings(judge, agent, rule, ppm, expected) -> None:
    """40 CFR 180.940 and 180.1196, by their rule-making documents; the 200 ppm of chlorine by secondary tables."""
    assert expected == status(judge(PACK, solution(agent, ppm, 24, 7)), rule)


@pytest.mark.parametrize(
    ("text", "expected"), [("49.999999999999999", "out"), ("50", "in"), ("50.000000000000001", "in")]
)
def test_digits_beyond_a_float_keep_their_side_of_a_limit(judge, text, expected) -> None:
    """The nearest float to 49.999999999999999 is 50 itself; decimal arithmetic tells them apart, and so do we."""
    assert expected == status(judge(PACK, solution("chlorine", text, 24, 8)), "SAN-CHLORINE-CONDITIONS")


@pytest.mark.parametrize("pack", bundled_packs())
def test_times_for_correction_are_those_of_the_food_code(pack: str) -> None:
    """8-405.11: 72 hours for priority, 10 calendar days for priority foundation; 8-406.11: 90 calendar days for core items.

    Seen through 2VAC5-585-3930 and 12VAC5-421-3950. Guidance of another country sets none of them.
    """
    times = {grade.value: (str(c.within), c.section) for grade, c in load_pack(pack).grading.correct_within.items()}

    assert times in (
        {},
        {"critical": ("PT72H", "8-405.11"), "major": ("P10D", "8-405.11"), "minor": ("P90D", "8-406.11")},
    )  # fmt: skip
    assert bool(times) == (pack not in ("draught-line-cleaning-uk", "frozen-dessert-counts", "cleaning-records-rhode-island"))
