"""Days between cleanings, as published rules count them."""

from __future__ import annotations

import pytest

HEADER = "store_id,equipment_id,cycle_id,step,started_at,ended_at\n"


def pack(maximum: str, more: str = "") -> str:
    return f"pack: t\nprocedure: p\nrules:\n  - {{id: T-INT, title: t, kind: interval, params: {{max: {maximum}{more}}}}}\n"


def register(extra: str = "", zone: str = "America/New_York") -> str:
    return f"stores:\n  - store_id: S\n    timezone: {zone}\n    equipment: [{{equipment_id: E{extra}}}]\n"


def cleanings(*ends: str) -> str:
    return HEADER + "\n".join(f"S,E,c{n},flush,{end},{end}" for n, end in enumerate(ends))


def second(found) -> str:
    (status,) = {check[4] for check in found if check[2] == "c1" and check[3] == ""}
    return status


@pytest.mark.parametrize(
    ("again", "expected"),
    [("2026-03-15T23:59", "in"), ("2026-03-16T00:00", "out"), ("2026-03-15T00:00", "in")],
)
def test_fourteen_days_in_pennsylvania(judge, again: str, expected: str) -> None:
    """40 Pa. Code 5.51, 14 days (51 Pa.B. 4228): cleaned on the 1st, the 15th is in time, the 16th late by a day."""
    found = judge(pack("P14D"), cleanings("2026-03-01T08:00", again), register(), "2026-03-16T12:00")

    assert expected == second(found)


def test_a_day_is_a_day_of_the_store(judge) -> None:
    """The same two instants are 14 days apart in New York and 15 in Berlin."""
    log = cleanings("2026-03-01T23:30:00-05:00", "2026-03-15T23:00:00-04:00")

    assert second(judge(pack("P13D"), log, register(), "2026-03-16T23:00:00Z")) == "out"
    assert second(judge(pack("P14D"), log, register(), "2026-03-16T23:00:00Z")) == "in"
    assert second(judge(pack("P13D"), log, register(zone="Asia/Tokyo"), "2026-03-16T23:00:00Z")) == "out"


@pytest.mark.parametrize(("maximum", "expected"), [("PT335H", "in"), ("PT334H59M59S", "out"), ("P14D", "in")])
def test_elapsed_time_and_days_part_at_a_clock_change(judge, maximum: str, expected: str) -> None:
    """New York, 2026-03-08 (tz database): noon to noon over 14 days is 335 hours in spring, not 336."""
    found = judge(pack(maximum), cleanings("2026-03-01T12:00", "2026-03-15T12:00"), register(), "2026-03-15T12:00")

    assert expected == second(found)


def test_days_out_of_service_do_not_count(judge) -> None:
    """1 January to 1 March 2024 is 60 days; without 20 January to 3 February, both inclusive, 45 are in service.

    The `portion` library gives 46 for the half-open window 20 January to 3 February; ours takes in its last day too.
    """
    log = cleanings("2024-01-01T12:00", "2024-03-01T12:00")
    closed = register(", out_of_service: [{from: 2024-01-20, to: 2024-02-03}]")

    assert second(judge(pack("P45D"), log, closed, "2024-03-02T00:00")) == "in"
    assert second(judge(pack("P44D"), log, closed, "2024-03-02T00:00")) == "out"
    assert second(judge(pack("P60D"), log, register(), "2024-03-02T00:00")) == "in"
    assert second(judge(pack("P59D"), log, register(), "2024-03-02T00:00")) == "out"


@pytest.mark.parametrize(("grace", "expected"), [("P3D", "in"), ("P2D", "out")])
def test_ten_percent_of_grace(judge, grace: str, expected: str) -> None:
    """A 30-day task must be done within three days more (the 10 % rule of preventive maintenance, trade article)."""
    log = cleanings("2026-03-01T12:00", "2026-04-03T12:00")

    assert expected == second(judge(pack("P30D", f", grace: {grace}"), log, register(), "2026-04-03T13:00"))


@pytest.mark.parametrize(
    "text", ["P1M", "P1Y", "P2W", "P1DT2H", "PT1.5H", "15:00", "PT", "P", "PT4H30", "-P1D", "P-1D"]
)
def test_durations_without_a_fixed_meaning_are_refused(text: str) -> None:
    """P1M is neither more nor less than P28D to P31D (W3C XML Schema Part 2, order of duration), so it is refused."""
    from validator.quantities import Duration

    with pytest.raises(ValueError, match="write days as P30D"):
        Duration.parse(text)
