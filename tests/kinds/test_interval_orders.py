"""Intervals between cycles whose ends are known only within bounds, against every completion tried one by one."""

from __future__ import annotations

from itertools import permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.kinds.interval_lengths import _orders

NOW = 6
bounds = st.lists(
    st.tuples(st.integers(0, NOW), st.integers(0, NOW)).map(lambda p: (min(p), max(p))), min_size=1, max_size=4
)


def tried(cycles: list[tuple[int, int]], opened: int | None) -> list[list[int]]:
    """The lengths that the interval ending with each cycle, and the running one, can have."""
    found: list[list[int]] = [[] for _ in range(len(cycles) + 1)]
    for done in product(*(range(low, high + 1) for low, high in cycles)):
        for order in permutations(range(len(cycles))):
            moments = [done[k] for k in order]
            if moments != sorted(moments):
                continue
            last = opened
            for k in order:
                if last is not None:
                    found[k].append(done[k] - last)
                last = done[k]
            assert last is not None
            found[-1].append(NOW - last)
    return found


@given(bounds, st.booleans())
def test_longest_and_shortest_over_every_order(cycles: list[tuple[int, int]], registered: bool) -> None:
    """The bounds are those of the completions tried: no wider, no narrower."""
    cycles = sorted(cycles)
    opened = 0 if registered else None
    asked = list(_orders(list(range(1, len(cycles) + 1)), *map(list, zip(*cycles, strict=True)), opened, NOW))
    for k, lengths in enumerate(tried(cycles, opened)):
        most = [end - start for line, longest, start, end in asked if line == k and longest]
        least = [end - start for line, longest, start, end in asked if line == k and not longest]
        if most:
            assert (max(most), min(least)) == (max(lengths), min(lengths))
        else:
            assert (k, registered) == (0, False), "only the first cycle of an unregistered machine ends no interval"


HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at\n"
LOG = HEADER + (
    "S,E,c1,flush,line-1,2026-01-05T20:00,\n"  # when it ended, nobody wrote down
    "S,E,c2,flush,line-1,2026-01-25T20:00,2026-01-25T20:20\n"
)


@pytest.mark.parametrize(("within", "expected"), [("", "not_observed"), (", cycle_within: PT24H", "out")])
def test_a_cycle_taken_to_be_done_within_a_day_keeps_its_order(judge, within: str, expected: str) -> None:
    """A flush that began on 5 January may by its facts have ended yesterday; a rule may take it that it did not."""
    pack = (
        "pack: t\nprocedure: p\nrules:\n"
        f"  - {{id: T, title: t, kind: interval, params: {{max: P14D, counts: any{within}}}}}\n"
    )
    found = judge(pack, LOG, as_of="2026-03-01T12:00:00Z")

    assert {(c[2], c[4]) for c in found} == {("c2", expected)}
    assert {c[3] for c in found} == {"", "open"}


@pytest.mark.parametrize(("days", "expected"), [(14, {"in"}), (15, {"not_observed"})])
def test_a_cycle_without_a_time_is_in_where_none_could_be_late(judge, days: int, expected: set[str]) -> None:
    """Wherever it lay between going into service and now, 14 days hold no interval longer than 14."""
    pack = "pack: t\nprocedure: p\nrules:\n  - {id: T, title: t, kind: interval, params: {max: P14D, counts: any}}\n"
    register = "stores:\n  - {store_id: S, timezone: UTC, equipment: [{equipment_id: E, in_service_on: 2026-01-01}]}\n"
    log = "store_id,equipment_id,cycle_id,step,target,duration_s\nS,E,c1,flush,line-1,900\n"
    found = judge(pack, log, register, f"2026-01-{1 + days}T12:00:00Z")

    assert {c[4] for c in found} == expected


def test_a_late_interval_names_what_was_done_in_between_and_does_not_count(judge_report) -> None:
    """The second cleaning left line 2 out, so it reset no clock; the reader of the third sees which one that was."""
    pack = (
        "pack: t\nprocedure: p\nrules:\n  - {id: T, title: t, kind: interval, params: {max: P14D}}\n"
        "  - {id: C, title: c, kind: coverage, grade: minor, params: {required: [{step: flush, targets: [line-1, line-2]}]}}\n"
    )
    log = "".join(
        f"S,E,{cycle},flush,{line},2026-01-{day}T20:00,2026-01-{day}T20:16\n"
        for cycle, day, lines in (("c1", "05", "12"), ("c2", "15", "1"), ("c3", "25", "12"))
        for line in (f"line-{n}" for n in lines)
    )
    late = [m for m in judge_report(pack, HEADER + log, "simple") if "without a cleaning that counts" in m]

    assert any(m.endswith("(since 2026-01-05); what was done in between does not count, for it was not complete or not in "
                          "order: c2") for m in late)  # fmt: skip
    assert not any("in between" in m for m in judge_report(pack, HEADER + log.replace(",c2,", ",c3,"), "simple"))
