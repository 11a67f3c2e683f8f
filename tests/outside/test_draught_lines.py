"""Published figures for cleaning draught lines, judged by the bundled packs.

40 Pa. Code 5.51 as amended by 51 Pa.B. 4228 (14 days), Rhode Island General Laws 3-7-25 (four weeks), Ohio
Administrative Code 4301:1-1-28 (two weeks), United Kingdom trade guidance as told at second hand (seven days), and the
Draught Beer Quality Manual of the Brewers Association as three summaries give it: 2 percent of caustic, 80 to 125 °F,
15 minutes pumped or 20 standing.
"""

from __future__ import annotations

import pytest

HEADER = "store_id,equipment_id,cycle_id,step,target,agent,solution_id,started_at,ended_at,concentration_ppm,temperature_c\n"
REGISTER = """\
stores:
  - store_id: S
    timezone: America/New_York
    equipment: [{equipment_id: E, lines: [line-1], parts: [faucets]}]
"""


def pack(name: str = "draught-line-cleaning") -> str:
    return f"pack: t\nversion: 1.0.0\nextends: [{name}]\n"


def cleaning(day: str, cycle: str, rows: str = "") -> str:
    at = f"2026-03-{day}T"
    return rows or (
        f"S,E,{cycle},circulate,line-1,caustic,,{at}08:00,{at}08:15,,\n"
        f"S,E,{cycle},wash,faucets,caustic,,{at}08:00,{at}08:10,,\n"
        f"S,E,{cycle},rinse,line-1,water,,{at}08:20,{at}08:30,,\n"
    )


def status(found, rule: str, cycle: str = "c") -> str:
    (only,) = {c[4] for c in found if c[0] == rule and c[2] == cycle and c[3] != "open"}
    return only


@pytest.mark.parametrize(
    ("place", "last", "late"),
    [
        ("-pennsylvania", "15", "16"),  # the 1st and the 15th of a month are 14 days apart, the 16th is late by one
        ("", "15", "16"), ("-ohio", "15", "16"), ("-rhode-island", "29", "30"), ("-uk", "08", "09"),
    ],
)  # fmt: skip
def test_days_between_cleanings(judge, place: str, last: str, late: str) -> None:
    """Cleaned on the 1st of March: 14 days, four weeks and seven days later are in time, a day more is not."""
    for day, expected in ((last, "in"), (late, "out")):
        log = HEADER + cleaning("01", "b") + cleaning(day, "c")
        found = judge(pack("draught-line-cleaning" + place), log, REGISTER, as_of="2026-03-31T12:00")

        assert status(found, "DRA-INTERVAL") == expected


@pytest.mark.parametrize(("percent", "expected"), [(2.0, "in"), (1.99, "out"), (3.0, "in")])
def test_two_percent_of_caustic(judge, percent: float, expected: str) -> None:
    """A percent weight by volume is 10 g in a litre, 10,000 mg/L."""
    log = HEADER + f"S,E,c,mix_solution,,caustic,A,2026-03-01T08:00,2026-03-01T08:05,{round(percent * 10_000)},40\n"

    assert status(judge(pack(), log, REGISTER), "DRA-CAUSTIC-WEAK") == expected


@pytest.mark.parametrize(("fahrenheit", "expected"), [(80, "in"), (79, "out"), (110, "in"), (125, "in"), (126, "out")])
def test_temperature_of_caustic(judge, fahrenheit: int, expected: str) -> None:
    """80 to 125 °F as the thermometer shows them, both ends included."""
    header = HEADER.replace("temperature_c", "temperature_f")
    log = header + f"S,E,c,mix_solution,,caustic,A,2026-03-01T08:00,2026-03-01T08:05,20000,{fahrenheit}\n"

    assert status(judge(pack(), log, REGISTER), "DRA-CAUSTIC-TEMPERATURE") == expected


@pytest.mark.parametrize(
    ("step", "end", "expected"),
    [("circulate", "15:00", "in"), ("circulate", "14:59", "out"), ("soak", "20:00", "in"), ("soak", "19:59", "out")],
)
@pytest.mark.parametrize(("agent", "rule"), [("caustic", "DRA-CONTACT-TIME"), ("acid", "DRA-ACID-TIME")])
def test_time_of_cleaner(judge, agent: str, rule: str, step: str, end: str, expected: str) -> None:
    """15 minutes pumped, 20 standing, for caustic and for acid alike."""
    log = HEADER + f"S,E,c,{step},line-1,{agent},,2026-03-01T08:00:00,2026-03-01T08:{end},,\n"

    assert status(judge(pack(), log, REGISTER), rule) == expected
