"""Which findings a later cleaning has settled, so that nothing is left to do about them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from validator import documents
from validator.engine import audit
from validator.findings import Finding, Report
from validator.machines import AsOf
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.records import Intake
from validator.register import Register

PACK = """\
pack: p
version: 1.0.0
title: P
procedure: cip
sources: {code: {title: Code of the place, edition: "2030"}}
grading: {correct_within: {major: {within: P10D, source: code, section: "2", says: Soon.}}}
rules:
  - {id: T-FLUSH, title: Short, kind: flush, params: {targets: lines, min: PT15M}, corrective_action: Flush again}
  - {id: T-WEAK, title: Weak, kind: concentration, params: {agent: chlorine, min: 100}, corrective_action: Throw it away}
  - {id: T-DAYS, title: Late, kind: interval, params: {max: P14D, counts: any}, corrective_action: Clean now}
  - {id: T-ALL, title: Left out, kind: coverage, params: {required: [{step: [flush, test_solution], targets: lines}]}, corrective_action: Flush it}
  - {id: T-TORN, title: Contradicts, kind: consistency, params: {fields: [started_at, ended_at]}, settled_by: correction,
     corrective_action: Correct it}
"""
HEADER = "store_id,equipment_id,cycle_id,procedure,step,target,started_at,ended_at,agent,solution_id,concentration_ppm\n"
LINES = ("line-1", "line-2")


def flush(day: int, *minutes: str) -> str:
    """The cycle of one day of May: a flush of each line, of so many minutes; `?` leaves the end out, '' the line."""
    return "".join(
        f"S,E,c{day},cip,flush,line-{n},2026-05-{day:02d}T{19 + n}:00Z,{'' if of == '?' else f'2026-05-{day:02d}T{19 + n}:{of}Z'},,,\n"
        for n, of in enumerate(minutes, 1) if of
    )


def mixed(day: int, **strengths: str) -> str:
    """Batches of chlorine read on one day of May; a blank strength was not measured."""
    return "".join(
        f"S,E,c{day},cip,test_solution,,2026-05-{day:02d}T18:0{n}Z,2026-05-{day:02d}T18:0{n}Z,chlorine,{batch},{ppm}\n"
        for n, (batch, ppm) in enumerate(strengths.items())
    )


def report(tmp_path: Path, records: str, as_of: str = "2026-05-31T12:00Z") -> Report:
    (tmp_path / "p.yaml").write_text(PACK, "utf-8")
    text = "stores: [{store_id: S, timezone: UTC, equipment: [{equipment_id: E, lines: [line-1, line-2]}]}]"
    register = documents.load(Register, documents.read_bytes(text.encode(), "register.yaml"))
    intake = Intake(read_text(HEADER + records, {"S": "UTC"}), (), (), ())
    return audit(intake, [load_pack(tmp_path / "p.yaml")], register, AsOf.parse(as_of), generated_at="", tool="")


def of(rule: str, found: Report) -> dict[tuple[str, str], Finding]:
    return {(f.cycle_id, f.target): f for f in found.findings if f.rule == rule}


def asked(found: Report) -> set[tuple[str, str, str]]:
    """Rule, cycle and target of every finding that an action is about."""
    by_id = {f.id: f for f in found.findings}
    return {(by_id[i].rule, by_id[i].cycle_id, by_id[i].target) for a in found.actions for i in a.findings}


def test_the_next_cleaning_that_meets_the_check_settles_it(tmp_path) -> None:
    """Line 1 was flushed too short on the 1st and the 8th and long enough on the 15th and the 22nd: the 15th settles both."""
    found = report(tmp_path, flush(1, "10", "15") + flush(8, "10", "15") + flush(15, "15", "15") + flush(22, "15", "15"))
    short = of("T-FLUSH", found)

    assert {f.settled_by for f in short.values()} == {"c15"}
    assert short["c1", "line-1"].settled_on == "2026-05-15T20:00:00+00:00"
    assert "T-FLUSH" not in {a.rule for a in found.actions}


@pytest.mark.parametrize(
    "later",
    [
        flush(8, "", "15"),  # the other line only; this one is OUT for want of a row
        flush(8, "14", "15"),
        flush(8, "?", "15"),
    ],
)
def test_what_the_next_cleaning_does_not_meet_is_not_settled(tmp_path, later: str) -> None:
    """Not by another line, not by a flush that is a minute short, not by one that nobody can tell the length of."""
    found = report(tmp_path, flush(1, "10", "15") + later)

    assert of("T-FLUSH", found)["c1", "line-1"].settled_by == ""
    assert ("T-FLUSH", "c1", "line-1") in asked(found)


def test_an_earlier_cleaning_settles_nothing(tmp_path) -> None:
    """The line was flushed long enough before, and too short since."""
    found = report(tmp_path, flush(1, "15", "15") + flush(8, "10", "15"))

    assert of("T-FLUSH", found)["c8", "line-1"].settled_by == ""


def test_a_cleaning_that_has_not_come_yet_settles_nothing(tmp_path) -> None:
    """A cycle dated after the audit is not known to be done."""
    found = report(tmp_path, flush(1, "10", "15") + flush(28, "15", "15"), "2026-05-20T12:00Z")

    assert of("T-FLUSH", found)["c1", "line-1"].settled_by == ""


@pytest.mark.parametrize(("later", "settled"), [("10", "c8"), ("15", "c8"), ("?", "")])
def test_what_could_not_be_shown_is_settled_once_it_can_be_judged(tmp_path, later: str, settled: str) -> None:
    """Met or not met: the times are written down now."""
    found = report(tmp_path, flush(1, "?", "15") + flush(8, later, "15"))

    assert of("T-FLUSH", found)["c1", "line-1"].settled_by == settled


@pytest.mark.parametrize(
    ("later", "settled"),
    [({"b2": "100"}, "c8"), ({"b2": "99"}, ""), ({"b2": "100", "b3": "99"}, ""), ({"b2": "100", "b3": ""}, "")],
)
def test_a_batch_of_solution_is_settled_by_a_cleaning_of_which_all_batches_are_right(tmp_path, later: dict, settled: str) -> None:
    """The same batch never comes again, so it is the next cycle as a whole that answers."""
    found = report(tmp_path, mixed(1, b1="50") + mixed(8, **later) + flush(8, "15", "15"))

    assert of("T-WEAK", found)["c1", "b1"].settled_by == settled


@pytest.mark.parametrize(("lines", "settled"), [(("15", "15"), "c8"), (("15", ""), ""), (("10", "15"), "c8")])
def test_a_good_batch_settles_a_weak_one_only_where_it_went_everywhere(tmp_path, lines: tuple[str, str], settled: str) -> None:
    """A line that was left out still has what the weak one left; one that was flushed too briefly is told by its own rule."""
    found = report(tmp_path, mixed(1, b1="20") + flush(1, "15", "15") + mixed(8, b2="120") + flush(8, *lines))

    assert of("T-WEAK", found)["c1", "b1"].settled_by == settled


def test_the_same_batch_answers_for_itself(tmp_path) -> None:
    """A batch that is used again and is still too weak is not settled by a good one beside it."""
    found = report(tmp_path, mixed(1, b1="50") + mixed(8, b1="50") + mixed(15, b2="100") + flush(15, "15", "15"))

    assert of("T-WEAK", found)["c1", "b1"].settled_by == ""
    assert of("T-WEAK", found)["c8", "b1"].settled_by == "c15"


def test_an_interval_that_was_too_long_is_settled_by_the_cleaning_that_ended_it(tmp_path) -> None:
    """One that is still running is not: 14 days are over again."""
    found = report(tmp_path, flush(1, "15", "15") + flush(16, "15", "15"))
    late = of("T-DAYS", found)

    assert (late["c16", ""].settled_by, late["c16", "open"].settled_by) == ("c16", "")
    assert {place for place in asked(found) if place[0] == "T-DAYS"} == {("T-DAYS", "c16", "open")}


def test_a_wrong_entry_stays_until_it_is_corrected(tmp_path) -> None:
    """However well the next cleaning is written down."""
    torn = "S,E,c1,cip,flush,line-1,2026-05-01T20:15Z,2026-05-01T20:00Z,,,\n"
    found = report(tmp_path, torn + flush(8, "15", "15"))

    assert [f.settled_by for f in of("T-TORN", found).values()] == [""]
    assert "T-TORN" in {a.rule for a in found.actions}


MINUTES = st.sampled_from(["", "?", "10", "15"])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(MINUTES, MINUTES), min_size=1, max_size=7))
def test_settled_is_what_a_plain_reading_says(tmp_path, cycles: list[tuple[str, str]]) -> None:
    """Line by line, looking at each later cycle in turn; a cycle without a row at all is none."""
    kept = [(day, of) for day, of in enumerate(cycles, 1) if any(of)]
    found = of("T-FLUSH", report(tmp_path, "".join(flush(day, *of) for day, of in kept))) if kept else {}
    for n, line in enumerate(LINES):
        stood = [(f"c{day}", {"": "out", "?": "open", "10": "out", "15": "in"}[of[n]]) for day, of in kept]
        for at, (cycle, how) in enumerate(stood):
            enough = ("in",) if how == "out" else ("in", "out")
            settled = next((later for later, was in stood[at + 1 :] if was in enough), "")
            if how != "in":
                assert found[cycle, line].settled_by == settled
