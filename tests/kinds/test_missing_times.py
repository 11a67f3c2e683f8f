"""What missing and ambiguous times can and cannot show, by small stories worked out by hand."""

from __future__ import annotations

import pytest

HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,duration_s,recorded_at\n"


def pack(kind: str, params: str) -> str:
    return (
        "pack: t\nprocedure: p\nprofiles: {m: {lines: [line-1], capacities: {flush: 1}}}\nrules:\n"
        f"  - {{id: T, title: t, kind: {kind}, params: {params}}}\n"
    )


REGISTER = "stores:\n  - store_id: S\n    timezone: America/New_York\n    equipment: [{equipment_id: E, profile: m}]\n"


def row(step: str, target: str = "", start: str = "", end: str = "", seconds: str = "", recorded: str = "") -> str:
    def at(clock: str) -> str:
        return f"2026-01-05T20:{clock}" if clock else ""

    return f"S,E,c,{step},{target},{at(start)},{at(end)},{seconds},{at(recorded)}\n"


def statuses(found, target: str = "line-1") -> set[str]:
    return {c[4] for c in found if c[3] == target}


def test_the_next_line_on_the_one_adapter_bounds_a_flush(judge) -> None:
    """The adapter was on line 2 from 20:22, so line 1 was flushed twelve minutes at most, whatever its end."""
    log = HEADER + row("flush", "line-1", "10:00") + row("flush", "line-2", "22:00", "40:00")

    assert statuses(judge(pack("flush", "{targets: lines, min: PT15M}"), log, REGISTER)) == {"out"}
    assert statuses(judge(pack("flush", "{targets: lines, min: PT12M}"), log, REGISTER)) == {"not_observed"}


def test_a_row_without_any_time_joins_nothing_for_sure(judge) -> None:
    """It may have been beside the other row or hours away: two minutes are sure, three are not."""
    log = HEADER + row("flush", "line-1", "00:00", "02:00") + row("flush", "line-1", recorded="04:00")
    found = judge(pack("flush", "{targets: lines, min: PT3M, join_gap: PT2M}"), log, REGISTER)

    assert statuses(found) == {"not_observed"}


def test_a_lone_duration_is_what_it_says(judge) -> None:
    """One row with a duration and no times lasted that long, wherever it lay."""
    log = HEADER + row("flush", "line-1", seconds="60")

    assert statuses(judge(pack("flush", "{targets: lines, min: PT3M, join_gap: PT2M}"), log, REGISTER)) == {"out"}
    assert statuses(judge(pack("flush", "{targets: lines, min: PT1M}"), log, REGISTER)) == {"in"}


def test_a_start_after_the_record_was_made_contradicts_itself(judge) -> None:
    """Nothing happens after the export; a flush that began two minutes after it was written down cannot be."""
    log = HEADER + row("flush", "line-1", "05:00", recorded="03:00")
    found = judge(pack("flush", "{targets: lines, min: PT3M}"), log, REGISTER, reasons=True)

    assert statuses(found) == {"not_observed contradiction"}


def test_one_mixing_without_a_time_cannot_serve_two_uses_four_minutes_apart(judge) -> None:
    """Each use taken alone could have come within two minutes of the mixing; both together could not."""
    relation = "{relations: [{first: mix_solution, then: sanitize, per: cycle, max_lag: PT2M}]}"
    log = HEADER + row("mix_solution") + row("sanitize", "a", "10:00", "11:00") + row("sanitize", "b", "14:00", "15:00")
    near = log.replace("20:14", "20:12").replace("20:15", "20:13")

    assert statuses(judge(pack("order", relation), log, REGISTER), "") == {"out"}
    assert statuses(judge(pack("order", relation), near, REGISTER), "") == {"not_observed"}


@pytest.mark.parametrize(
    ("start", "end", "minimum", "expected"),
    [
        ("01:50:00", "03:10:00", "PT80M", "in"),  # 80 minutes or 140: New York, 2026-11-01, the hour from 1 to 2 twice
        ("01:50:00", "03:10:00", "PT80M1S", "not_observed"), ("01:50:00", "03:10:00", "PT140M", "not_observed"),
        ("01:50:00", "03:10:00", "PT140M1S", "out"),
        ("01:10:00", "01:18:00", "PT8M", "in"),  # 8 minutes, or 68 over the change; never fewer
        ("01:10:00", "01:18:00", "PT9M", "not_observed"), ("01:10:00", "01:18:00", "PT69M", "out"),
        ("01:18:00", "01:10:00", "PT52M", "in"),  # an end before its start: only over the change, 52 minutes
        ("01:18:00", "01:10:00", "PT53M", "out"),
    ],
)  # fmt: skip
def test_an_hour_that_happened_twice_is_two_instants(judge, start, end, minimum, expected) -> None:
    """Each pair of instants that the two times can mean is tried; a verdict is given where they agree."""
    log = HEADER + f"S,E,c,flush,line-1,2026-11-01T{start},2026-11-01T{end},,\n"

    assert statuses(judge(pack("flush", f"{{targets: lines, min: {minimum}}}"), log, REGISTER)) == {expected}


def test_a_person_may_have_been_at_two_stores(judge) -> None:
    """Without an end nobody can say; with one that is early enough, nobody need ask."""
    rule = pack("concurrency", "{resource: performed_by}")
    head = "store_id,equipment_id,cycle_id,step,started_at,ended_at,performed_by\n"
    other = "S2,E2,d,wash,2026-01-05T20:02:00Z,2026-01-05T20:05:00Z,Ada\n"

    open_ = judge(rule, head + "S1,E1,c,wash,2026-01-05T20:01:00Z,,Ada\n" + other)
    shut = judge(rule, head + "S1,E1,c,wash,2026-01-05T20:01:00Z,2026-01-05T20:02:00Z,Ada\n" + other)
    assert {c[4] for c in open_} == {"not_observed"}
    assert {c[4] for c in shut} == {"in"}


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        ("2026-11-01T01:15:00-04:00,2026-11-01T01:15:01-05:00", "out"),  # from the first 01:15 to the second 01:15:01
        ("2026-11-01T01:15:00-04:00,2026-11-01T01:10:00-05:00", "not_observed"),  # the second time is free, to the second
        ("2026-11-01T01:20:00-05:00,2026-11-01T01:30:00-05:00", "in"),  # free whichever is meant, to the second
    ],
)
def test_two_rows_at_once_whichever_hour_is_meant(judge, other: str, expected: str) -> None:
    """New York, 2026-11-01: 01:10 to 01:20 happened twice; the capacity is on trial, so it settles neither."""
    log = HEADER + "S,E,c,flush,line-1,2026-11-01T01:10:00,2026-11-01T01:20:00,,\n" + f"S,E,c,flush,line-2,{other},,\n"

    assert statuses(judge(pack("concurrency", "{steps: [flush]}"), log, REGISTER), "") == {expected}


def test_an_hour_taken_either_way_leaves_the_flush_unshown(judge) -> None:
    """The only adapter was on line 2 over both readings of line 1's times: the record contradicts itself."""
    log = (HEADER + "S,E,c,flush,line-1,2026-11-01T01:10:00,2026-11-01T01:20:00,,\n"
           + "S,E,c,flush,line-2,2026-11-01T01:15:00-04:00,2026-11-01T01:15:01-05:00,,\n")  # fmt: skip
    found = judge(pack("flush", "{targets: lines, min: PT3M}"), log, REGISTER, reasons=True)

    assert statuses(found) == {"not_observed contradiction"}


def test_two_rows_of_the_hour_that_happened_twice_leave_each_other_one_hour(judge) -> None:
    """01:10 to 01:20 and 01:15 to 01:25 on one adapter: one in the first hour, one in the second, and neither over both."""
    alone = HEADER + "S,E,c,flush,line-1,2026-11-01T01:10:00,2026-11-01T01:20:00,,\n"
    both = alone + "S,E,c,flush,line-2,2026-11-01T01:15:00,2026-11-01T01:25:00,,\n"
    longer = pack("flush", "{targets: lines, min: PT11M}")

    assert statuses(judge(longer, alone, REGISTER)) == {"not_observed"}  # 10 minutes or 70
    assert statuses(judge(longer, both, REGISTER)) == {"out"}
    assert statuses(judge(pack("flush", "{targets: lines, min: PT10M}"), both, REGISTER)) == {"in"}


def test_more_ways_to_read_a_log_than_are_tried_decide_nothing(judge) -> None:
    """Thirteen rows of the hour that happened twice have over 4,096 ways to be read together."""
    log = HEADER + "".join(
        f"S,E,c,wash,line-1,2026-11-01T01:{m:02d}:00,2026-11-01T01:{m + 1:02d}:00,,\n" for m in range(10, 36, 2)
    )
    found = judge(pack("flush", "{step: wash, targets: lines, min: PT1M}"), log, REGISTER)

    assert statuses(found) == {"not_observed"}


BAN = "{forbidden: [{step: prime, after: rinse, until: reassemble, per: cycle}]}"


@pytest.mark.parametrize(("reassembled", "expected"), [("01:06:00", {"in"}), ("01:04:00", {"not_observed"})])
def test_a_ban_over_an_hour_that_happened_twice_is_read_both_ways(judge, reassembled: str, expected: set[str]) -> None:
    """Rinsed at 01:05 and primed until 01:03 of either hour: only the second priming comes after a rinse, and a reassembly
    at 01:06 of the first hour lies between; one at 01:04 does not.
    """
    log = HEADER + (
        "S,E,c,rinse,a,2026-11-01T01:05:00,2026-11-01T01:05:00,,\n"
        "S,E,c,prime,a,2026-11-01T01:02:00,2026-11-01T01:03:00,60,\n"
        f"S,E,c,reassemble,a,2026-11-01T{reassembled}-04:00,2026-11-01T{reassembled}-04:00,,\n"
    )

    assert statuses(judge(pack("order", BAN), log, REGISTER), "") == expected
