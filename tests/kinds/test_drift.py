"""Intervals that are each within their grace, and drift all the same: two published guards, by worked examples."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.engine.due import upcoming
from validator.errors import WrongInput
from validator.kinds.drift import carried
from validator.kinds.interval_lengths import Lines
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register

HEADER = "store_id,equipment_id,cycle_id,step,started_at,ended_at\n"
START = date(2026, 1, 1)


def log(gaps: Sequence[int]) -> str:
    """One cleaning a gap, the first of them so many days after 1 January."""
    day, lines = START, []
    for number, gap in enumerate(gaps, 1):
        day += timedelta(days=gap)
        lines.append(f"S,E,c{number},flush,{day}T10:00,{day}T11:00\n")
    return HEADER + "".join(lines)


def statuses(judge, params: str, gaps: Sequence[int], running: int = 0) -> dict[str, str]:
    """What each interval is, by its cycle; `open` is the one still running after so many days."""
    pack = f"pack: t\nprocedure: p\nrules:\n  - {{id: T, title: t, kind: interval, params: {params}}}\n"
    register = f"stores:\n  - {{store_id: S, timezone: UTC, equipment: [{{equipment_id: E, in_service_on: {START}}}]}}\n"
    as_of = START + timedelta(days=sum(gaps) + running)
    found = judge(pack, log(gaps), register, f"{as_of}T23:00:00Z", reasons=True)
    return {c[3] or c[2]: c[4] for c in found}


# NRC Generic Letter 89-14: each interval up to 25 % over, any three within 3.25 times the interval. 31 days: 38.75 and 100.75
THREE = "{max: P31D, grace: P7D, counts: any, consecutive: {intervals: 3, max: P100D}}"


@pytest.mark.parametrize(
    ("gaps", "third"),
    [
        ([38, 38, 31], "out drifted"),  # 107 days: each in time, together not (the letter's own arithmetic)
        ([38, 31, 31], "in"), ([38, 38, 24], "in"), ([38, 38, 25], "out drifted"),  # 100 days, 100, 101
        ([31, 31, 39], "out too_late"),  # late by itself, whatever the three are together
    ],
)  # fmt: skip
def test_three_consecutive_intervals(judge, gaps, third) -> None:
    """Three intervals within 100 days; the first two are judged by themselves."""
    assert statuses(judge, THREE, gaps)["c3"] == third


def test_the_running_interval_is_one_of_the_three(judge) -> None:
    """After 38 and 38 days it is over on its 25th day, though by itself it had 38."""
    assert statuses(judge, THREE, [38, 38], 24)["open"] == "in"
    assert statuses(judge, THREE, [38, 38], 25)["open"] == "out drifted"


# 14 CFR 91.409(b): 100 hours may be exceeded by at most 10, and the excess is included in computing the next 100
CARRIED = "{max: P100D, grace: P10D, counts: any, excess_carries: true}"


@pytest.mark.parametrize(
    ("gaps", "expected"),
    [
        ([110, 100], ["in", "in"]),  # 10 over; the next is due after 90, and 100 is still within its grace
        ([110, 101], ["in", "out carried"]),
        ([105, 105, 100], ["in", "in", "in"]), ([105, 105, 101], ["in", "in", "out carried"]),  # 5 + 5 carried
        ([105, 95, 110], ["in", "in", "in"]),  # made good: nothing is carried over
        ([100, 110], ["in", "in"]), ([90, 110], ["in", "in"]),  # early is no credit
        ([90, 111], ["in", "out too_late"]),
        ([111, 100], ["out too_late", "in"]), ([150, 101], ["out too_late", "out carried"]),  # no more than the grace is carried
    ],
)  # fmt: skip
def test_excess_is_included_in_the_next_interval(judge, gaps, expected) -> None:
    """Days for hours; each interval with what was carried over to it against 110."""
    found = statuses(judge, CARRIED, gaps)

    assert [found[f"c{n}"] for n in range(1, len(gaps) + 1)] == expected


@given(st.lists(st.integers(0, 12), min_size=1, max_size=8), st.integers(0, 3))
def test_carrying_is_counting_from_the_day_it_was_due(gaps, grace) -> None:
    """The same as to begin the next interval on the day the last was due, if it came late, at most `grace` days before."""
    limit, day, anchor, expected = 5, 0, 0, []
    for gap in gaps:
        expected.append(day - anchor)
        day += gap
        anchor = max(min(day, anchor + limit), day - grace)
    lasted = np.array(gaps, dtype=np.int64)
    none = np.zeros(len(gaps), dtype=np.int64)
    lines = Lines(none, none, none, lasted, lasted, lasted, *[none] * 6, none.astype(bool))

    assert carried(lines, limit, grace).seen.tolist() == expected


@pytest.mark.parametrize(("params", "gaps", "due"), [(CARRIED, [110], 200), (THREE, [38, 38], 100), (THREE, [31, 31], 93)])
def test_the_due_date_follows_the_guards(tmp_path, params: str, gaps: list[int], due: int) -> None:
    """After 110 of 100 days the next is due 90 days on; after 38 and 38 of three within 100 in 24, after 31 and 31 in 31."""
    (tmp_path / "p.yaml").write_text(f"pack: t\nprocedure: p\nrules:\n  - {{id: T, title: t, kind: interval, params: {params}}}\n")
    pack = load_pack(tmp_path / "p.yaml")
    register = Register.model_validate({"stores": [{"store_id": "S", "timezone": "UTC", "equipment": [
        {"equipment_id": "E", "in_service_on": START.isoformat()}]}]})  # fmt: skip
    records = read_text(log(gaps), {"S": "UTC"})
    fleet = machines(register, [("S", "E")], AsOf.parse((START + timedelta(days=sum(gaps))).isoformat()))
    applied, _ = apply(pack, form_cycles(records, fleet, "p"), fleet)
    (found,) = upcoming(applied)

    assert found.due_on == (START + timedelta(days=due)).isoformat()


@pytest.mark.parametrize(
    ("params", "said"),
    [
        ("{max: P10D, excess_carries: true}", "there is no grace"),
        ("{max: P10D, consecutive: {intervals: 1, max: P10D}}", "it takes 2 or more"),
        ("{max: P10D, consecutive: {intervals: 3, max: PT30H}}", "must both be days"),
    ],
)
def test_a_guard_without_sense_is_refused(judge, params: str, said: str) -> None:
    """One sentence that says what does not fit."""
    with pytest.raises(WrongInput, match=said):
        statuses(judge, params, [1])
