"""The least time of a cycle: exact at the bound, one second short, never a word about what is fast but possible."""

from __future__ import annotations

import pytest

PACK = """\
pack: t
procedure: p
profiles: {m: {lines: [a, b, c], capacities: {flush: 1}}}
rules:
  - {id: T-FAST, title: t, kind: feasible_time}
  - {id: T-FLUSH, title: t, kind: flush, params: {targets: lines, min: PT15M}}
  - id: T-ORDER
    title: t
    kind: order
    params:
      relations: [{first: mix_solution, then: flush, per: cycle, min_lag: PT5M}]
      forbidden: [{step: flush, after: prime, per: cycle}]
"""
REGISTER = "stores:\n  - store_id: S\n    timezone: UTC\n    equipment: [{equipment_id: E, profile: m}]\n"
HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at\n"


def cycle(end: str, capacity: str = "", flushes: str = "a b c") -> str:
    rows = ["S,E,c,mix_solution,,2026-01-05T20:00:00,2026-01-05T20:00:00"]
    rows += [f"S,E,c,flush,{line},2026-01-05T20:00:00,2026-01-05T20:00:00" for line in flushes.split()]
    return HEADER + "\n".join([*rows, f"S,E,c,prime,,2026-01-05T20:00:00,{end}"])


@pytest.mark.parametrize(
    ("end", "expected"),
    [("2026-01-05T20:50:00", "in"), ("2026-01-05T20:49:59", "out too_fast"), ("2026-01-05T20:10:00", "out too_fast"),
     ("2026-01-06T08:00:00", "in")],
)  # fmt: skip
def test_three_lines_on_one_adapter_after_a_pause(judge, end: str, expected: str) -> None:
    """5 min of waiting and 3 x 15 min on one adapter: 50 min (head + N d, exact for equal lines, see CP-SAT's test)."""
    found = judge(PACK, cycle(end), REGISTER, reasons=True)

    assert expected in {c[4] for c in found if c[0] == "T-FAST"}


def test_two_adapters_halve_what_is_shared(judge) -> None:
    """With two adapters three lines take two turns of 15 min at the least: ceil(45 / 2) = 22.5 min, and 5 before."""
    two = PACK.replace("flush: 1", "flush: 2")
    assert "in" in {c[4] for c in judge(two, cycle("2026-01-05T20:27:30"), REGISTER) if c[0] == "T-FAST"}
    assert "out" in {c[4] for c in judge(two, cycle("2026-01-05T20:27:29"), REGISTER) if c[0] == "T-FAST"}


def test_only_the_cycles_own_steps_count(judge) -> None:
    """A line that was not flushed at all is another rule's business: two lines take 35 min."""
    assert "in" in {c[4] for c in judge(PACK, cycle("2026-01-05T20:35:00", flushes="a b"), REGISTER) if c[0] == "T-FAST"}
    assert "out" in {c[4] for c in judge(PACK, cycle("2026-01-05T20:34:59", flushes="a b"), REGISTER) if c[0] == "T-FAST"}


def test_a_missing_end_may_hide_the_time(judge) -> None:
    """Priming has no end: the cycle may have lasted long enough, up to the moment of the audit."""
    found = judge(PACK, cycle(""), REGISTER, reasons=True)
    assert "not_observed missing_time" in {c[4] for c in found if c[0] == "T-FAST"}
    early = judge(PACK, cycle(""), REGISTER, as_of="2026-01-05T20:30:00Z", reasons=True)
    assert "out too_fast" in {c[4] for c in early if c[0] == "T-FAST"}
