"""What is to be done: one line for what is the same, by when by the store's clock, the most urgent first."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from validator import documents
from validator.deviations import Deviations
from validator.engine import audit
from validator.engine.change import Before
from validator.findings import Action, Report, Status
from validator.machines import AsOf
from validator.packs.cases import read_text
from validator.packs.lint import lint
from validator.packs.loading import load_pack
from validator.records import Intake
from validator.register import Register

PACK = """\
pack: p
version: 1.0.0
title: P
procedure: cip
cautions: [Relieve the pressure., Never mix.]
sources: {code: {title: Code of the place, edition: "2030"}}
grading:
  correct_within:
    critical: {within: PT72H, source: code, section: "1", says: At once.}
    major: {within: P10D, source: code, section: "2", says: Soon.}
rules:
  - {id: T-FLUSH, title: Short, kind: flush, grade: GRADE, params: {targets: lines, min: PT15M}, corrective_action: Flush again}
  - {id: T-WHO, title: Nobody, kind: record, grade: minor, params: {required_fields: [performed_by]}, corrective_action: Sign}
  - {id: T-DAYS, title: Late, kind: interval, grade: major, params: {max: P30D, counts: any}, corrective_action: Clean now}
"""
HEADER = "store_id,equipment_id,cycle_id,procedure,step,target,started_at,ended_at,performed_by\n"


def log(lines: int = 10, minutes: int = 10, who: str = "AB", cycle: str = "c1", machine: str = "E") -> str:
    return "".join(
        f"S,{machine},{cycle},cip,flush,line-{n},2026-02-20T{8 + n:02d}:00,2026-02-20T{8 + n:02d}:{minutes:02d},{who}\n"
        for n in range(1, lines + 1)
    )


def report(
    tmp_path: Path, records: str, as_of: str = "2026-03-07T12:00", grade: str = "critical", pack: str = PACK, zone: str = "America/Chicago",
    accepted: str = "", lines: int = 10, before: Before | None = None,
) -> Report:  # fmt: skip
    (tmp_path / "p.yaml").write_text(pack.replace("GRADE", grade), "utf-8")
    named = ", ".join(f"line-{n}" for n in range(1, lines + 1))
    text = f"stores: [{{store_id: S, timezone: {zone}, equipment: [{{equipment_id: E, lines: [{named}]}}]}}]"
    register = documents.load(Register, documents.read_bytes(text.encode(), "register.yaml"))
    known = documents.load(Deviations, documents.read_bytes(accepted.encode(), "accepted.yaml")) if accepted else None
    intake = Intake(read_text(HEADER + records, {"S": zone}), (), (), ())
    return audit(intake, [load_pack(tmp_path / "p.yaml")], register, AsOf.parse(as_of), generated_at="", tool="", accepted=known,
                 before=before)  # fmt: skip


def of(rule: str, found: Report) -> Action:
    (action,) = [action for action in found.actions if action.rule == rule]
    return action


def test_one_line_stands_for_ten(tmp_path) -> None:
    """Ten lines flushed too short in one cycle are one action with ten targets and ten findings."""
    action = of("T-FLUSH", report(tmp_path, log()))

    assert (action.action, action.title, action.cycle_ids) == ("Flush again", "Short", ("c1",))
    assert (len(action.targets), len(action.findings)) == (10, 10)
    assert action.cautions == (1, 2)


def test_hours_elapse_over_a_change_of_the_clock(tmp_path) -> None:
    """72 hours from noon on the Saturday before clocks go forward end at one in the afternoon."""
    action = of("T-FLUSH", report(tmp_path, log()))

    assert (action.due, action.due_reason) == ("2026-03-10T13:00:00-05:00", "critical: within 72 h of this audit")
    assert action.due_citation is not None
    assert (action.due_citation.title, action.due_citation.edition, action.due_citation.section) == ("Code of the place", "2030", "1")


@pytest.mark.parametrize(
    ("as_of", "due"),
    [
        ("2026-03-07T12:00", "2026-03-17T23:59:59-05:00"),
        ("2026-03-07T00:00", "2026-03-17T23:59:59-05:00"),
        ("2026-03-07", "2026-03-17T23:59:59-05:00"),
        ("2026-03-08T05:59:59Z", "2026-03-17T23:59:59-05:00"),  # still the seventh in Chicago
        ("2026-03-08T06:00:00Z", "2026-03-18T23:59:59-05:00"),
    ],
)
def test_of_calendar_days_the_last_counts_to_its_end(tmp_path, as_of: str, due: str) -> None:
    """By the date at the store on which the audit looks."""
    assert of("T-FLUSH", report(tmp_path, log(), as_of, "major")).due == due


def test_a_grade_without_a_time_says_so(tmp_path) -> None:
    """No time is invented for minor findings where the pack has none."""
    action = of("T-WHO", report(tmp_path, log(minutes=15, who="")))

    assert (action.due, action.due_reason, action.due_citation) == ("", "no time is set for this grade", None)


def test_what_could_not_be_shown_comes_last_and_asks_for_no_cleaning(tmp_path) -> None:
    """A flush without an end is N/O: record it from now on, fill in nothing; no time, and no caution is needed to write."""
    records = log(9) + "S,E,c1,cip,flush,line-10,2026-02-20T18:00,,AB\n"
    found = report(tmp_path, records)
    last = found.actions[-1]

    assert (last.status, last.rule, last.targets, last.due, last.cautions) == (Status.NOT_OBSERVED, "T-FLUSH", ("line-10",), "", ())
    assert last.action.endswith("Fill in nothing afterwards.")


def test_what_the_register_lacks_is_not_asked_of_the_next_cleaning(tmp_path) -> None:
    """A machine without a day of going into service: no record can show that day."""
    action = of("T-DAYS", report(tmp_path, log(machine="F"), lines=1))

    assert action.action == "Enter the day on which the machine went into service in the register, so that it can be shown."


def test_an_overdue_machine_comes_before_what_was_wrong_then(tmp_path) -> None:
    """Though the flush is critical, the machine is dirty now."""
    found = report(tmp_path, log(), "2026-04-15T12:00")

    assert [action.rule for action in found.actions] == ["T-DAYS", "T-FLUSH"]


def test_what_is_due_sooner_comes_first(tmp_path) -> None:
    """72 hours before no time at all."""
    assert [action.rule for action in report(tmp_path, log(who="")).actions] == ["T-FLUSH", "T-WHO"]


def test_an_accepted_finding_asks_for_nothing(tmp_path) -> None:
    """The others of its rule still do."""
    accepted = (
        "deviations: [{rule: T-FLUSH, target: line-1, reason: r, approved_by: K, approved_on: 2026-01-01, expires_on: 2026-12-31}]"
    )
    assert "line-1" not in of("T-FLUSH", report(tmp_path, log(), accepted=accepted)).targets


@pytest.mark.parametrize("as_of", ["2026-03-07T12:00", "2026-04-15"])
def test_every_open_finding_is_in_one_action(tmp_path, as_of: str) -> None:
    """None is lost, none is told twice."""
    records = log(9, who="") + log(3, 15, cycle="c2", machine="E2") + "S,E,c1,cip,flush,line-10,2026-02-20T18:00,,\n"
    found = report(tmp_path, records, as_of)
    named = Counter(finding for action in found.actions for finding in action.findings)

    assert named == Counter({finding.id: 1 for finding in found.findings})
    assert len({action.id for action in found.actions}) == len(found.actions)


def test_the_same_action_has_the_same_id_the_next_night(tmp_path) -> None:
    """A kept list can be followed up: the id is of the rule, the machine and what is asked, not of cycles or rows."""
    before = of("T-FLUSH", report(tmp_path, log(3)))
    after = of("T-FLUSH", report(tmp_path, log(2, cycle="c0") + log(3), "2026-03-08T12:00"))

    assert before.id == after.id
    assert before.due != after.due


TOP = """\
pack: top
version: 1.0.0
extends: [p]
cautions: [c]
sources: {own: {title: Our policy}}
grading: {correct_within: {critical: {within: PT24H, source: own, section: "7", says: Within a day.}}}
"""


def test_a_pack_above_sets_its_own_times_and_keeps_the_rest_of_the_grading(tmp_path) -> None:
    """What it does not write is that of the pack beneath; what it writes replaces it whole."""
    (tmp_path / "p.yaml").write_text(PACK.replace("GRADE", "major").replace("grading:\n", "grading:\n  cos: lower\n"), "utf-8")
    (tmp_path / "top.yaml").write_text(TOP, "utf-8")
    grading = load_pack(tmp_path / "top.yaml").grading

    assert grading.cos == "lower"
    assert {grade.value: str(c.within) for grade, c in grading.correct_within.items()} == {"critical": "PT24H"}


def test_a_pack_above_with_its_own_results_keeps_the_times(tmp_path) -> None:
    """The times of the code do not vanish because a company names its results otherwise."""
    (tmp_path / "p.yaml").write_text(PACK.replace("GRADE", "major"), "utf-8")
    (tmp_path / "top.yaml").write_text("pack: top\nextends: [p]\ngrading: {results: [{result: seen}]}\n", "utf-8")
    grading = load_pack(tmp_path / "top.yaml").grading

    assert [step.result for step in grading.results] == ["seen"]
    assert {grade.value for grade in grading.correct_within} == {"critical", "major"}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("source: own", "source: ours", "cites the source 'ours', which the pack does not list"),
        (", says: Within a day.", "", "cites own without saying in own words what it asks"),
        ("", "", "cites own 7, which clauses.yaml does not list"),
    ],
)
def test_lint_wants_the_source_of_a_time(tmp_path, old: str, new: str, said: str) -> None:
    """A time is held to its source and clause as a limit is."""
    (tmp_path / "p.yaml").write_text(PACK.replace("GRADE", "major"), "utf-8")
    (tmp_path / "top.yaml").write_text(TOP.replace(old, new) if old else TOP, "utf-8")

    assert f"pack top: grading.correct_within.critical: {said}" in lint(load_pack(tmp_path / "top.yaml"))


def night(tmp_path: Path, records: str, as_of: str, earlier: Report | None = None, **more: str) -> Report:
    """One night's audit, held against that of the night before."""
    return report(tmp_path, records, as_of, before=earlier and Before(earlier, "earlier.json", "0" * 64), lines=1, **more)


@pytest.mark.parametrize("grade", ["critical", "major"])
def test_a_time_for_correction_does_not_roll_on(tmp_path, grade: str) -> None:
    """It is counted from the first report of the finding, and is over in the end; seen by itself each report counts anew."""
    first = night(tmp_path, log(1), "2026-03-07T12:00", grade=grade)
    second = night(tmp_path, log(1), "2026-03-08T12:00", first, grade=grade)
    last = night(tmp_path, log(1), "2026-03-18T12:00", second, grade=grade)

    due = {"critical": "2026-03-10T13:00:00-05:00", "major": "2026-03-17T23:59:59-05:00"}[grade]
    assert [of("T-FLUSH", r).due for r in (first, second, last)] == [due] * 3
    assert [of("T-FLUSH", r).overdue for r in (first, second, last)] == [False, False, True]
    assert of("T-FLUSH", second).due_reason.endswith("of the first report of it, 2026-03-07 12:00")
    assert of("T-FLUSH", last).due_reason.endswith("of the first report of it, 2026-03-07 12:00")
    assert of("T-FLUSH", night(tmp_path, log(1), "2026-03-08T12:00", grade=grade)).due > due


def test_a_day_of_a_first_report_stays_a_day(tmp_path) -> None:
    """An audit to the end of a day names no hour."""
    first = night(tmp_path, log(1), "2026-03-07")
    action = of("T-FLUSH", night(tmp_path, log(1), "2026-03-08", first))

    assert action.due_reason == "critical: within 72 h of the first report of it, 2026-03-07"


def test_a_fault_that_comes_again_has_a_time_of_its_own(tmp_path) -> None:
    """What was settled in between is history: the new fault counts from the report that first tells of it."""
    first = night(tmp_path, log(1), "2026-03-07T12:00")
    again = log(1) + log(1, 15, cycle="c2").replace("02-20", "03-08") + log(1, cycle="c3").replace("02-20", "03-11")
    action = of("T-FLUSH", night(tmp_path, again, "2026-03-12T12:00", first))

    assert (action.cycle_ids, action.due) == (("c3",), "2026-03-15T12:00:00-05:00")


def test_an_overdue_machine_was_due_on_its_own_day(tmp_path) -> None:
    """30 days after the cleaning of 20 February, whatever the time for a correction, and overdue since."""
    action = of("T-DAYS", report(tmp_path, log(), "2026-04-15T12:00"))

    assert (action.due, action.overdue) == ("2026-03-22T23:59:59-05:00", True)


OMITTED = """\
  - {id: T-LEFT, title: Left out, kind: coverage, grade: major, params: {required: [{step: [flush, rinse], targets: lines}]},
     corrective_action: Flush the line}
"""


def test_one_omission_is_asked_for_once(tmp_path) -> None:
    """A line without a row is left out and flushed for too short a time; one act puts both right, and it is due when the graver is."""
    found = report(tmp_path, log(1) + log(1, 10, cycle="c2").replace("line-1", "line-2"), pack=PACK + OMITTED, lines=2)
    told = {(f.rule, f.cycle_id, f.target): f for f in found.findings}
    left = told["T-LEFT", "c1", "line-2"]

    assert told["T-FLUSH", "c1", "line-2"].same_as == left.id
    assert told["T-FLUSH", "c1", "line-1"].same_as == ""
    action = of("T-LEFT", found)
    assert set(action.findings) >= {left.id, told["T-FLUSH", "c1", "line-2"].id}
    assert (action.grade, action.action, action.due_reason) == ("critical", "Flush the line", "critical: within 72 h of this audit")


def test_another_step_is_another_omission(tmp_path) -> None:
    """A rule that asks for a rinse says nothing about a flush that is missing."""
    pack = PACK + OMITTED.replace("[flush, rinse]", "rinse")
    found = report(tmp_path, log(1) + log(1, 10, cycle="c2").replace("line-1", "line-2"), pack=pack, lines=2)

    assert {f.same_as for f in found.findings} == {""}
