"""What the report says first, and how it puts things together."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest

from validator.findings import Counts, Grade, RecordDefect, Report, Status
from validator.reports.finding import cycle_heading
from validator.reports.layout import lay_out
from validator.reports.view import FindingShown
from validator.statuses import EMPTY_EXPORT

from .conftest import action

Made = Callable[[str], Report]


@pytest.mark.parametrize(
    ("counts", "result", "said"),
    [
        ((205, 6, 1, 9), "not met",
         "Not met: 6 of 212 checks at 2 machines were not met; 1 could not be shown from the records."),
        ((1, 1, 0, 0), "not met", "Not met: 1 of 2 checks at 2 machines was not met."),
        ((40, 0, 0, 3), "met", "Met: all 40 checks were met."),
        ((1, 0, 0, 0), "met", "Met: the one check was met."),
        ((39, 0, 1, 0), "not shown", "Not shown: 39 of 40 checks were met; 1 could not be shown from the records."),
        ((0, 0, 3, 0), "not shown", "Not shown: not one of 3 checks could be shown from the records, met or not met."),
        ((0, 0, 0, 7), "not judged", "Not judged: no check could be made."),
    ],
)  # fmt: skip
def test_the_headline_says_what_is_known(made: Made, counts: tuple[int, int, int, int], result: str, said: str) -> None:
    """Checks with no subject do not count, and what could not be shown is neither met nor not met."""
    report = made("full")
    summary = dataclasses.replace(report.summary, result=result, counts=Counts(*counts))

    assert said == lay_out(dataclasses.replace(report, summary=summary), 10).headline


def test_no_row_is_said_and_never_reads_as_met(made: Made) -> None:
    """An empty export is not judged, and the first thing to do is to export again."""
    view = lay_out(made("empty"), 10)

    assert (view.headline, view.first[0].action) == (
        "Not judged: no check could be made; there is no row to judge.",
        "Export the records again and check that they cover the period.",
    )


def test_without_a_row_nothing_is_said_of_evidence(made: Made) -> None:
    """What the register alone lets a rule judge shows nothing of what the records can show."""
    report = made("full")
    labels = {records: [label for label, _ in lay_out(dataclasses.replace(report, records=records), 10).facts] for records in (0, 1)}

    assert report.summary.evidence_completeness is not None
    assert ["Evidence" in labels[records] for records in (0, 1)] == [False, True]


def test_first_things_are_the_gravest_and_at_most_three(made: Made) -> None:
    """In the order of the actions; a file that must come again stands after what is overdue or critical."""
    assert [todo.finding for todo in lay_out(made("full"), 10).first] == ["F00000005", "F00000002", ""]


def test_first_things_name_the_place_of_the_first_action(made: Made) -> None:
    """A rule that is broken at two stores is told of the one that the list of actions begins with, whatever comes first by name."""
    full = made("full")
    later = next(f for f in full.findings if f.id == "F00000002")
    first = dataclasses.replace(later, id="F00000099", store_id="TL-09", equipment_id="TL-09-SYR-A")
    actions = (action(1, first), action(2, later))
    todo = lay_out(dataclasses.replace(full, findings=(*full.findings, first), actions=actions), 10).first[0]

    assert (todo.finding, "2 times at 2 machines, first TL-09, TL-09-SYR-A" in todo.why) == ("F00000099", True)


def shown(report: Report, finding: str) -> FindingShown:
    return next(
        f for g in lay_out(report, 99).grades for m in g.machines for c in m.cycles for f in c.findings if f.id == finding
    )


def test_what_a_later_cleaning_has_settled_asks_for_nothing(made: Made) -> None:
    """It is told with the cleaning that settled it; its rule says that nothing is left to do, and so does the head."""
    view, settled = lay_out(made("since"), 99), shown(made("since"), "F00000004")

    assert "Settled by a later cleaning: Cycle C-0044, started 2026-05-03T07:00:00-05:00. Nothing is left to do." in settled.remarks
    assert settled.action_when == "If it occurs again"
    assert [todo.due[:23] for todo in view.actions if todo.rule == settled.rule] == ["Only if it occurs again"]
    assert "1 finding was settled by a later cleaning; nothing is left to do about it." in view.standing


def test_one_omission_under_two_rules_is_said_to_be_one(made: Made) -> None:
    """Who reads of a flush of no time at all is told that it was left out, and of no second thing to do."""
    full = made("full")
    findings = tuple(dataclasses.replace(f, same_as="F00000001" if f.id == "F00000002" else "") for f in full.findings)

    remark = "That nothing was recorded here is a finding of its own; one act puts both right."
    assert [remark in shown(dataclasses.replace(full, findings=findings), f).remarks for f in ("F00000001", "F00000002")] == [False, True]


def test_an_export_without_a_row_comes_before_the_machines(made: Made) -> None:
    """Of no machine anything is known: the log is asked for first, then what follows from the register alone."""
    full = made("full")
    late = next(f for f in full.findings if f.id == "F00000005")
    empty = dataclasses.replace(late, id="F00000098", rule=EMPTY_EXPORT, status=Status.NOT_OBSERVED, target="")
    report = dataclasses.replace(full, findings=(late, empty), actions=(action(1, late), action(2, empty)), records=0, inputs=())

    assert [todo.finding for todo in lay_out(report, 10).first] == ["F00000098", "F00000005"]
    assert [todo.finding for todo in lay_out(dataclasses.replace(report, records=9), 10).first] == ["F00000005", "F00000098"]


def test_what_was_corrected_or_accepted_is_not_asked_for_first(made: Made) -> None:
    """A finding marked COS and one with a deviation ask for nothing now."""
    report = made("full")
    calm = tuple(f for f in report.findings if "cos" in f.marks or f.deviation)

    assert (
        len(calm),
        lay_out(dataclasses.replace(report, findings=calm, actions=(), inputs=report.inputs[:2], upcoming=()), 10).first,
    ) == (2, ())


def test_an_overdue_machine_is_named_unless_a_finding_tells_it(made: Made) -> None:
    """One fact is asked for once."""
    report = made("clean")
    late = dataclasses.replace(made("full").upcoming[1], days_left=-1)
    report = dataclasses.replace(report, upcoming=(late,), findings=())
    told = tuple(f for f in made("full").findings if f.rule == "SYR-INTERVAL")

    assert [todo.action for todo in lay_out(report, 10).first] == ["Clean TL-02-SYR-A at TL-02."]
    report = dataclasses.replace(report, findings=told, actions=made("full").actions[:1])
    assert [todo.finding for todo in lay_out(report, 10).first] == ["F00000005"]


@pytest.mark.parametrize("shown", [0, 1, 6, 7, 8])
def test_findings_left_out_are_counted_and_none_is_graver(made: Made, shown: int) -> None:
    """Shown and left out add up to all, and the cap takes the least grave."""
    report = made("full")
    view = lay_out(report, shown)
    seen = [f for g in view.grades for m in g.machines for c in m.cycles for f in c.findings]
    ranks = sorted(f.grade.rank for f in report.findings)

    assert len(report.findings) == len(seen) + view.left_out
    assert ranks[: len(seen)] == sorted(Grade(f.grade).rank for f in seen)


def test_of_one_grade_out_stands_before_not_observed(made: Made) -> None:
    """A cap of three majors drops the one that could not be shown."""
    seen = [f for g in lay_out(made("full"), 4).grades for m in g.machines for c in m.cycles for f in c.findings]

    assert {Status.OUT.shown} == {finding.status for finding in seen}


def test_two_findings_of_one_file_and_cycle_stand_under_one_heading(made: Made) -> None:
    """A group is not opened twice for the same machine or cycle."""
    major = next(grade for grade in lay_out(made("full"), 99).grades if grade.grade == "major")

    assert [
        (machine.equipment, [len(cycle.findings) for cycle in machine.cycles]) for machine in major.machines
    ] == [("TL-01-SYR-A", [2, 1]), ("TL-02-SYR-A", [1])]


def test_each_rule_says_its_action_once(made: Made) -> None:
    """The list by rule has one entry a rule, the gravest first."""
    rules = [action.rule for action in lay_out(made("full"), 99).actions]

    assert rules == ["SYR-FLUSH", "SAN-CHLORINE", "SYR-INTERVAL", "REC-VERIFIED", "REC-REGULAR"]


def test_a_rule_that_judged_nothing_is_not_exercised_and_has_no_share(made: Made) -> None:
    """Neither 0 % nor 100 % is said of no check."""
    assert lay_out(made("full"), 9).checked[-1].outcome == "not exercised"


def test_equal_defects_are_told_once_with_their_places(made: Made) -> None:
    """Defects of one code and column are one line; another column is another line."""
    many = [RecordDefect(f"{n}.csv", "", 2, "ended_at", "missing", "ended_at is blank") for n in range(7)]
    other = RecordDefect("0.csv", "", 2, "step", "missing", "step is blank")
    shown = lay_out(dataclasses.replace(made("clean"), record_defects=(*many, other)), 9).defects
    five = "; ".join(f"{n}.csv row 2" for n in range(5))

    assert [("7 times", f"{five}; and 2 other files"), ("1 time", "0.csv row 2")] == [(d.count, d.where) for d in shown]


def test_what_is_overdue_comes_first(made: Made) -> None:
    """Dates are in the order of urgency, whatever the order in the report."""
    assert [due.when for due in lay_out(made("full"), 9).due] == ["8 days overdue", "due in 28 days"]


@pytest.mark.parametrize(
    ("cycle", "started", "said"),
    [
        ("2026-06-17T19:30:00", "2026-06-17T19:30:00-05:00", "The cleaning of 17 June 2026, 19:30"),
        ("2026-06-17T19:30:00", "", "The cleaning of 17 June 2026, 19:30"),
        ("2026-06-17T19:30:00", "2026-06-18T19:30:00-05:00", "Cycle 2026-06-17T19:30:00, started 2026-06-18T19:30:00-05:00"),
        ("C-1", "2026-06-17T19:30:00-05:00", "Cycle C-1, started 2026-06-17T19:30:00-05:00"),
        ("", "", "No cycle"),
    ],
)  # fmt: skip
def test_a_cycle_is_headed_by_its_id_or_its_time_in_words(cycle: str, started: str, said: str) -> None:
    """An id of the log's own that only looks like a time, and is another than its start, is kept as it stands."""
    assert cycle_heading(cycle, started) == said


@pytest.mark.parametrize(
    ("machine", "cycles", "last", "said"),
    [
        ("TL-02-SYR-A", 6, "2026-03-27", "2026-03-27 (C-0017)"), ("TL-02-SYR-A", 0, "", "never in the records"),
        ("TL-02-SYR-A", 1, "", "1 cycle on record, which does not count or has no time"),
        ("TL-02-SYR-A", 6, "", "6 cycles on record, of which none counts and has a time"),
    ],
)  # fmt: skip
def test_a_machine_with_cleanings_on_record_was_not_cleaned_never(made: Made, machine: str, cycles: int, last: str, said: str) -> None:
    """Cleanings that lack a time, or do not count, are told as such."""
    report = made("full")
    (store,) = (s for s in report.stores if s.equipment[0].equipment_id == machine)
    store = dataclasses.replace(store, equipment=(dataclasses.replace(store.equipment[0], cycles=cycles),))
    due = tuple(dataclasses.replace(d, last_completed=last) for d in report.upcoming if d.equipment_id == machine)

    assert [shown.last for shown in lay_out(dataclasses.replace(report, stores=(store,), upcoming=due), 10).due] == [said]


def test_a_line_left_out_is_counted_once_among_the_first_things(made: Made) -> None:
    """What tells of the same omission under a second rule is no second time."""
    full = made("full")
    missing, short = (next(f for f in full.findings if f.id == n) for n in ("F00000002", "F00000001"))
    same = dataclasses.replace(short, same_as=missing.id)
    report = dataclasses.replace(full, findings=(missing, same), actions=(action(1, missing, same),), inputs=(), upcoming=())

    assert ": 1 time, " in lay_out(report, 10).first[0].why
    both = dataclasses.replace(report, findings=(missing, short), actions=(action(1, missing, short),))
    assert ": 2 times, " in lay_out(both, 10).first[0].why


def test_where_no_fault_is_open_that_is_said_first(made: Made) -> None:
    """The score stays what it was; nobody is sent to do anything."""
    full = made("full")
    settled = tuple(dataclasses.replace(f, settled_by="C-0099") for f in full.findings)
    said = "No fault is open now: each was met by a later cleaning, put right on site, or accepted."

    assert lay_out(dataclasses.replace(full, findings=settled, actions=()), 10).standing[0] == said
    assert said not in lay_out(full, 10).standing


def test_a_machine_that_is_overdue_is_told_to_be_cleaned_once(made: Made) -> None:
    """A line of it that was flushed too briefly is cleaned with the rest; what is critical, of the record, or elsewhere is told beside."""
    full = made("full")
    late, short = (next(f for f in full.findings if f.id == n) for n in ("F00000005", "F00000001"))
    here = {"store_id": late.store_id, "equipment_id": late.equipment_id, "grade": Grade.MAJOR}
    others = [
        dataclasses.replace(short, id="a", **here), dataclasses.replace(short, id="b", **(here | {"grade": Grade.CRITICAL})),
        dataclasses.replace(short, id="c", kind="record", **here), dataclasses.replace(short, id="d", grade=Grade.MAJOR),
    ]  # fmt: skip
    firsts = []
    for other in others:
        report = dataclasses.replace(full, findings=(late, other), actions=(action(1, late), action(2, other)), inputs=(), upcoming=())
        firsts.append([todo.finding for todo in lay_out(report, 10).first])

    assert firsts == [["F00000005"], ["F00000005", "b"], ["F00000005", "c"], ["F00000005", "d"]]
