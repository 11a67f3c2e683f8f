"""Frozen-dessert machines, as published rules judge them."""

from __future__ import annotations

import pytest

from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register

HEATING = "frozen-dessert-machine-heat-treating"


def judged(pack: str, rule: str, log: str, as_of: str, profile: str = HEATING) -> list[str]:
    """Status of every check of one bundled rule, by cycle."""
    loaded = load_pack(pack)
    store = {"store_id": "S", "timezone": "America/New_York", "equipment": [{"equipment_id": "E", "profile": profile}]}
    records = read_text(log, {"S": "America/New_York"})
    fleet = machines(Register.model_validate({"stores": [store]}), [("S", "E")], AsOf.parse(as_of))
    applied, _ = apply(loaded, form_cycles(records, fleet, loaded.procedure), fleet)
    found = [
        (a.steps.cycle_ids[int(o.cycle[i])], o.target[i], STATUS_WORDS[int(o.status[i])])
        for a in applied if a.rule.rule.id == rule for o in a.outcomes for i in range(len(o)) if o.cycle[i] >= 0
    ]  # fmt: skip
    return [status for _, _, status in sorted(found)]


def heating(end: str, celsius: float) -> str:
    return (
        "store_id,equipment_id,cycle_id,procedure,step,temperature_c,started_at,ended_at\n"
        f"S,E,c1,heat-treatment,heat_treat,{celsius},2026-03-01T02:00:00,2026-03-01T{end}\n"
    )


@pytest.mark.parametrize(
    ("end", "celsius", "expected"),
    [
        ("02:29:00", 65.6, "out"),  # 150 F for 29 minutes
        ("02:29:59", 65.6, "out"),
        ("02:30:00", 65.6, "in"),
        ("02:30:00", 65.5, "out"),
    ],
)
def test_all_mix_is_heated_for_half_an_hour(end: str, celsius: float, expected: str) -> None:
    """7 Pa. Code 39.54(e): at least 150 F (printed as 65.6 C) for at least 30 minutes each day."""
    assert judged("frozen-dessert-heat-treatment", "FRZ-HEAT", heating(end, celsius), "2026-03-01T12:00") == [expected]


@pytest.mark.parametrize(
    ("end", "fahrenheit", "expected"),
    [("02:30:00", 150, "in"), ("02:30:00", 149.9, "out"), ("02:29:00", 150, "out")],  # example 24: 29 minutes
)
def test_a_fahrenheit_thermometer_is_held_against_the_printed_fahrenheit(end, fahrenheit, expected) -> None:
    """7 Pa. Code 39.54(e) prints 150 F first; it is 65.56 C, less than the 65.6 C that stands beside it."""
    log = heating(end, fahrenheit).replace("temperature_c", "temperature_f")

    assert judged("frozen-dessert-heat-treatment", "FRZ-HEAT", log, "2026-03-01T12:00") == [expected]


@pytest.mark.parametrize(("again", "expected"), [("2026-03-15", "in"), ("2026-03-16", "out")])
def test_a_heat_treating_machine_is_taken_apart_every_14_days(again: str, expected: str) -> None:
    """7 Pa. Code 39.54(e): at most 14 days; cleaned on the 1st, the 15th is in time and the 16th is day 15."""
    parts = load_pack("frozen-dessert-machine").profiles[HEATING].parts
    rows = ["store_id,equipment_id,cycle_id,procedure,step,target,started_at,ended_at"]
    for cycle, day in (("c1", "2026-03-01"), ("c2", again)):
        rows.append(f"S,E,{cycle},strip-down,disassemble,,{day}T20:00,{day}T20:10")
        for part in parts:
            rows.append(f"S,E,{cycle},strip-down,wash,{part},{day}T20:10,{day}T20:20")
            rows.append(f"S,E,{cycle},strip-down,sanitize,{part},{day}T20:30,{day}T20:40")
    found = judged("frozen-dessert-machine", "FRZ-FORTNIGHT", "\n".join(rows), "2026-03-16T23:00")

    assert found == [expected, "in"]  # the second is the interval still running


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((12, 8, 11, 9, 14), "in in in in out"),  # three of five over 10
        ((12, 8, 11, 9, 10), "in in in in in"),
        ((12, 11, 14), "in in out"),
    ],
)
def test_coliforms_in_three_of_the_last_five(counts, expected: str) -> None:
    """Iowa Code 190.12: coliform 10 per gram in plain desserts, a violation where 3 of the last 5 samples exceed it."""
    log = "store_id,equipment_id,cycle_id,procedure,step,target,test,count_per_g,started_at\n" + "".join(
        f"S,E,c{n},laboratory-samples,sample,plain,coliform,{count},2026-0{n}-10T09:00\n" for n, count in enumerate(counts, 1)
    )

    assert judged("frozen-dessert-counts", "FRZ-COLIFORM-PLAIN", log, "2026-06-01T00:00") == expected.split()
