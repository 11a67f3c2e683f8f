"""Records reviewed in time and kept long enough: what a missing review and a short record show."""

from __future__ import annotations

import pytest

from validator.errors import WrongInput
from validator.packs.lint import lint
from validator.packs.loading import load_pack

HEADER = "store_id,equipment_id,cycle_id,procedure,step,started_at,ended_at,verified_by,verified_at\n"


def pack(params: str) -> str:
    return f"pack: t\nrules: [{{id: T-R, title: t, kind: record, params: {{{params}}}}}]\n"


def register(more: str = "") -> str:
    return f"stores: [{{store_id: S, timezone: America/New_York, equipment: [{{equipment_id: E{more}}}]}}]\n"


def cleaned(day: str, by: str = "", at: str = "", cycle: str = "c1", procedure: str = "p") -> str:
    return f"S,E,{cycle},{procedure},wash,{day}T20:00,{day}T20:30,{by},{at}\n"


def only(found) -> str:
    (check,) = found
    return check[4]


@pytest.mark.parametrize(
    ("by", "at", "as_of", "expected"),
    [
        ("AB", "2026-03-08T23:59", "2026-03-31", "in"),
        ("AB", "2026-03-09T00:00", "2026-03-31", "out too_late"),
        ("", "", "2026-03-08", "not_applicable"),  # to the end of the seventh day there is time
        ("", "", "2026-03-09T00:00", "out not_reviewed"),
        ("AB", "", "2026-03-31", "not_observed not_recorded"),  # reviewed, nobody knows when
    ],
)
def test_a_review_is_due_after_seven_days(judge, by: str, at: str, as_of: str, expected: str) -> None:
    """Cleaned on the 1st: the 8th is in time (the day of the work is day 0), the 9th is not."""
    log = HEADER + cleaned("2026-03-01", by, at)

    assert only(judge(pack("reviewed_within: P7D"), log, register(), as_of, reasons=True)) == expected


def test_a_review_is_due_after_elapsed_time(judge) -> None:
    """Two hours from half past eight are over at half past ten, not before."""
    log = HEADER + cleaned("2026-03-01")
    rule = pack("reviewed_within: PT2H")

    assert only(judge(rule, log, register(), "2026-03-01T22:30:00")) == "not_applicable"
    assert only(judge(rule, log, register(), "2026-03-01T22:30:01")) == "out"


def test_the_end_of_the_work_is_not_known(judge) -> None:
    """It may have ended a moment ago or days ago: whether the review is overdue cannot be told."""
    log = HEADER + cleaned("2026-03-01").replace("T20:30", "T20:30x")

    found = judge(pack("reviewed_within: P7D"), log, register(), "2026-03-20T12:00", reasons=True)
    assert only(found) == "not_observed missing_time"


@pytest.mark.parametrize(
    ("first", "expected"),
    [("2024-07-01", "in"), ("2024-07-31", "in"), ("2024-08-01", "out not_kept"), ("2020-01-01", "in")],
)
def test_two_years_less_one_interval(judge, first: str, expected: str) -> None:
    """2026-07-01 less 730 days is 2024-07-01; the first cleaning after that day may come 30 days later."""
    log = HEADER + cleaned(first) + cleaned("2026-06-20", cycle="c2", procedure="other")
    rule = pack("kept_for: P730D, first_within: P30D")

    found = judge(rule, log, register(", in_service_on: 2020-01-01"), "2026-07-01", reasons=True)
    assert found == {("T-R", "E", "", "", expected)}


@pytest.mark.parametrize(
    ("machine", "expected"),
    [
        (", in_service_on: 2024-07-01", "out not_kept"),
        (", in_service_on: 2024-07-02", "not_observed too_young"),
        ("", "not_observed no_start"),
        # of the 184 days from 2024-07-01 to 2025-01-01 all but 30 out of service
        (", in_service_on: 2020-01-01, out_of_service: [{from: 2024-07-02, to: 2024-12-02}]", "in"),
        (", in_service_on: 2020-01-01, out_of_service: [{from: 2024-07-02, to: 2024-12-01}]", "out not_kept"),
    ],
)
def test_a_short_record_of_a_machine(judge, machine: str, expected: str) -> None:
    """OUT only where the machine is known to be older; days out of service need no record."""
    rule = pack("kept_for: P730D, first_within: P30D")
    found = judge(rule, HEADER + cleaned("2025-01-01"), register(machine), "2026-07-01", reasons=True)

    assert only(found) == expected


def test_another_row_without_a_date_may_be_the_older_one(judge) -> None:
    """A cycle that has an id and a length, but no time."""
    head = HEADER.replace("verified_by", "duration_s,verified_by")
    log = head + "S,E,c0,p,wash,,,60,,\n" + cleaned("2026-01-01").replace(",,\n", ",,,\n")

    found = judge(pack("kept_for: P730D"), log, register(", in_service_on: 2020-01-01"), "2026-07-01", reasons=True)
    assert only(found) == "not_observed undated"


def test_a_machine_without_a_record_keeps_none(judge) -> None:
    """In service for years and no row: there is nothing that reaches back."""
    log = (HEADER + cleaned("2020-01-01")).replace("S,E,", "S,F,")
    found = judge(pack("kept_for: P730D"), log, register(", in_service_on: 2020-01-01"), "2026-07-01", reasons=True)

    assert {c[1]: c[4] for c in found} == {"E": "out not_kept", "F": "in"}


@pytest.mark.parametrize(
    ("params", "words"),
    [("kept_for: PT17520H", "days are due here"), ("first_within: P30D", "beside kept_for only")],
)
def test_a_length_that_means_nothing_is_refused(judge, params: str, words: str) -> None:
    """Records are kept for days."""
    with pytest.raises(WrongInput, match=words):
        judge(pack(params), HEADER + cleaned("2026-03-01"))


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("kind: record, params: {required_fields: [performed_by]}", False),
        ("kind: concurrency, params: {resource: performed_by}", False),
        ("kind: concurrency, params: {steps: [flush], capacity: 1}", True),
        ("kind: interval, params: {max: P1D}", True),
    ],
)
def test_lint_asks_for_a_procedure_where_a_rule_needs_one(tmp_path, rule: str, told: bool) -> None:
    """Rules on the record hold for any procedure; rules on what was done do not."""
    path = tmp_path / "pack.yaml"
    path.write_text(f"pack: t\nrules: [{{id: T-R, title: t, {rule}}}]\n", "utf-8")

    assert any("names no procedure" in fault and "T-R speaks" in fault for fault in lint(load_pack(path))) == told
