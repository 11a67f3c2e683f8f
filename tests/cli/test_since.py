"""Change between two audits: what is new, what persists, what was resolved, and what was not judged again."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator.cli import run
from validator.engine import audit as audit_records
from validator.engine.change import Before
from validator.findings import Report, Status
from validator.machines import AsOf
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.records import Intake
from validator.register import load_register
from validator.reports.json_ import load
from validator.reports.opening import standing

PACK = """\
pack: p
version: 1.0.0
procedure: cip
grading: {repeat: raise}
rules:
  - {id: T-FLUSH, title: Short, kind: flush, params: {targets: lines, min: PT15M}}
  - {id: T-EVERY, title: Late, kind: interval, params: {max: P14D, counts: any}}
"""
REGISTER = """\
stores:
  - {store_id: S, timezone: UTC, equipment: [{equipment_id: E, lines: [line-1, line-2]}]}
"""
HEAD = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at\n"
Said = tuple[int, dict, str]
Audit = Callable[..., Said]


def flush(cycle: str, line: int, day: str, minutes: str) -> str:
    """One flush at 20:00, or 21:00 for the second line; blank minutes leave the end out."""
    hour = 19 + line
    return f"S,E,{cycle},flush,line-{line},{day}T{hour}:00Z,{f'{day}T{hour}:{minutes}Z' if minutes else ''}\n"


def cycle(name: str, day: str, one: str = "15", two: str = "15") -> str:
    return flush(name, 1, day, one) + flush(name, 2, day, two)


@pytest.fixture
def audit(tmp_path: Path, capfdbinary) -> Audit:
    """`audit(log, as_of, *more)`: exit status, report, standard error; `earlier.json` in the folder is for --since."""

    def go(log: str, as_of: str, *more: str, pack: str = PACK, head: str = HEAD) -> Said:
        for name, text in {"p.yaml": pack, "log.csv": head + log, "register.yaml": REGISTER}.items():
            (tmp_path / name).write_text(text, "utf-8")
        status = run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "p.yaml"), "--as-of", as_of,
                      "--register", str(tmp_path / "register.yaml"), "--format", "json", *more])  # fmt: skip
        out, err = capfdbinary.readouterr()
        return status, json.loads(out) if out else {}, err.decode()

    return go


@pytest.fixture
def since(tmp_path: Path, audit: Audit) -> Callable[..., Said]:
    """`since((log, as_of), (log, as_of), *more)`: the second audit held against the first."""

    def go(first: tuple[str, str], second: tuple[str, str], *more: str, **packs: str) -> Said:
        _, report, _ = audit(*first)
        (tmp_path / "earlier.json").write_text(json.dumps(report), "utf-8")
        return audit(*second, "--since", str(tmp_path / "earlier.json"), *more, **packs)

    return go


def told(report: dict) -> dict[tuple[str, str, str], tuple[str, ...]]:
    """By cycle, rule and target: new or persisting, then the marks."""
    return {(f["cycle_id"], f["rule"], f["target"]): (f["since"], *f["marks"]) for f in report["findings"]}


def gone(report: dict) -> dict[tuple[str, str, str], str]:
    """By cycle, rule and target of the findings that are none now: why."""
    change = report["change"]
    every = [(g, g["now"]) for g in change["resolved"]] + [(g, "not judged") for g in change["not_judged"]]
    return {(g["cycle_id"], g["rule"], g["target"]): now for g, now in every}


C1, C2 = "2026-01-05", "2026-01-15"
SHORT_ONE = cycle("c1", C1, one="14")


def test_the_same_log_again_has_nothing_new(since) -> None:
    """Every finding persists, nothing is repeated by having been seen before, and `new:` does not fail."""
    status, report, _ = since((SHORT_ONE, "2026-01-06"), (SHORT_ONE, "2026-01-07"), "--fail-on", "new:observation")
    assert told(report) == {("c1", "T-FLUSH", "line-1"): ("persisting",)}
    assert gone(report) == {}
    assert status == 0


def test_a_fault_of_a_later_cycle_is_new(since) -> None:
    """It fails a check that counts only what is new; a fault of the first cycle does not."""
    more = SHORT_ONE + cycle("c2", C2, two="14")
    status, report, _ = since((SHORT_ONE, "2026-01-06"), (more, "2026-01-16"), "--fail-on", "new:major")
    assert told(report) == {
        ("c1", "T-FLUSH", "line-1"): ("persisting",), ("c2", "T-FLUSH", "line-2"): ("new",)
    }  # fmt: skip
    assert status == 1


def test_a_finding_of_an_earlier_report_makes_the_next_one_a_repeat(since) -> None:
    """The records of the first cycle are gone; the report remembers it, and the grade is raised as the pack says."""
    _, report, _ = since((SHORT_ONE, "2026-01-06"), (cycle("c2", C2, one="14", two="14"), "2026-01-16"))
    assert told(report) == {
        ("c2", "T-FLUSH", "line-1"): ("new", "repeat"), ("c2", "T-FLUSH", "line-2"): ("new",)
    }  # fmt: skip
    grades = {f["target"]: f["grade"] for f in report["findings"]}
    assert grades == {"line-1": "critical", "line-2": "major"}


def test_a_corrected_record_resolves_its_finding(since) -> None:
    """The same flush, now 15 minutes long: IN, so resolved."""
    _, report, _ = since((SHORT_ONE, "2026-01-06"), (cycle("c1", C1), "2026-01-07"))
    assert told(report) == {}
    assert gone(report) == {("c1", "T-FLUSH", "line-1"): "met"}


def test_a_shorter_export_resolves_nothing(since) -> None:
    """The cycle is no longer in the log: not judged again, whatever else is clean."""
    _, report, _ = since((SHORT_ONE, "2026-01-06"), (cycle("c2", C2), "2026-01-16"))
    assert gone(report) == {("c1", "T-FLUSH", "line-1"): "not judged"}


TWO_PLACES = "  - {id: T-PLACES, title: Twice, kind: concurrency, params: {resource: performed_by}}\n"


@pytest.mark.parametrize(("later", "expected"), [("", "not judged"), ("T,F,c9,flush,line-1,2026-01-05T23:05Z,2026-01-05T23:20Z,AB\n", "met")])
def test_one_person_at_two_stores_is_not_put_right_by_an_export_of_one(audit, tmp_path, later: str, expected: str) -> None:
    """The other store's half is not in the records. Where it is, at an hour that was corrected, the finding is resolved."""
    here = "S,E,c1,flush,line-1,2026-01-05T20:00Z,2026-01-05T20:15Z,AB\n"
    there = "T,F,c9,flush,line-1,2026-01-05T20:05Z,2026-01-05T20:20Z,AB\n"
    known = {"pack": PACK + TWO_PLACES, "head": HEAD.replace("\n", ",performed_by\n")}
    (tmp_path / "earlier.json").write_text(json.dumps(audit(here + there, "2026-01-06", **known)[1]), "utf-8")

    _, report, _ = audit(here + later, "2026-01-07", "--since", str(tmp_path / "earlier.json"), **known)

    assert {cycle: now for (cycle, rule, _), now in gone(report).items() if (cycle, rule) == ("c1", "T-PLACES")} == {"c1": expected}


@pytest.mark.parametrize(("then", "now", "expected"), [("", "14", "new"), ("14", "", "persisting"), ("", "", "persisting")])
def test_what_could_not_be_shown_and_is_out_now_is_new(since, then: str, now: str, expected: str) -> None:
    """N/O then OUT is news; OUT then N/O is not; N/O twice is not."""
    log = cycle("c1", C1, two=then), "2026-01-06"
    _, report, _ = since(log, (cycle("c1", C1, two=now), "2026-01-06"))
    assert told(report)["c1", "T-FLUSH", "line-2"][0] == expected


def test_an_acceptance_that_has_ended_makes_its_finding_new(since, audit: Audit, tmp_path: Path) -> None:
    """Accepted when the earlier report was made, no longer accepted now."""
    (tmp_path / "accepted.yaml").write_text(
        "deviations:\n  - {rule: T-FLUSH, reason: pump, approved_by: K, approved_on: 2026-01-05, expires_on: 2026-01-06}\n"
    )
    _, first, _ = audit(SHORT_ONE, "2026-01-06", "--accept", str(tmp_path / "accepted.yaml"))
    assert first["findings"][0]["grade"] == "observation"
    (tmp_path / "earlier.json").write_text(json.dumps(first), "utf-8")
    more = "--since", str(tmp_path / "earlier.json"), "--accept", str(tmp_path / "accepted.yaml")
    status, report, _ = audit(SHORT_ONE, "2026-01-07", *more, "--fail-on", "new:major")
    assert told(report) == {("c1", "T-FLUSH", "line-1"): ("new",)}
    assert status == 1


def test_an_overdue_machine_that_was_cleaned_since_is_the_same_lateness(since) -> None:
    """14 days after the 5th is the 19th: overdue on the 20th, cleaned on the 21st. The closed interval persists."""
    late = cycle("c1", C1) + cycle("c2", "2026-01-21")
    status, report, _ = since((cycle("c1", C1), "2026-01-20"), (late, "2026-01-22"), "--fail-on", "new:observation")
    assert told(report) == {("c2", "T-EVERY", ""): ("persisting",)}
    assert (gone(report), status) == ({}, 0)


def test_a_late_export_that_shows_a_cleaning_in_time_resolves_the_lateness(since) -> None:
    """The cleaning of the 19th came in late: the interval that was open is closed in time."""
    _, report, _ = since((cycle("c1", C1), "2026-01-20"), (cycle("c1", C1) + cycle("c2", "2026-01-19"), "2026-01-22"))
    assert told(report) == {}
    assert gone(report) == {("c1", "T-EVERY", "open"): "met"}


def test_another_pack_is_told_of(since) -> None:
    """A finding that a stricter limit makes is new, and a notice says that the packs differ."""
    stricter = PACK.replace("PT15M", "PT20M").replace("1.0.0", "1.1.0")
    _, report, _ = since((cycle("c1", C1), "2026-01-06"), (cycle("c1", C1), "2026-01-06"), pack=stricter)
    assert {since for since, *_ in told(report).values()} == {"new"}
    assert any("p was 1.0.0 then and is 1.1.0 now" in n["message"] for n in report["notices"])


def test_new_needs_an_earlier_report(audit: Audit) -> None:
    """`--fail-on new:...` without --since is a slip, and named as such."""
    status, _, err = audit(SHORT_ONE, "2026-01-06", "--fail-on", "new:major")
    assert (status, err) == (2, "cip-audit: --fail-on new:major: what is new is told by an earlier report; name one with --since\n")


def test_a_report_from_later_is_refused(since) -> None:
    """The two were named the wrong way round."""
    status, _, err = since((SHORT_ONE, "2026-01-07"), (SHORT_ONE, "2026-01-06"))
    assert status == 2
    assert "looks from 2026-01-07, after this audit's 2026-01-06; name an earlier one" in err


@pytest.mark.parametrize(("text", "said"), [("{", "is not readable JSON"), ("{}", "report_version is None")])
def test_what_is_no_report_is_refused(audit: Audit, tmp_path: Path, text: str, said: str) -> None:
    """One sentence that names the file."""
    (tmp_path / "earlier.json").write_text(text)
    status, _, err = audit(SHORT_ONE, "2026-01-06", "--since", str(tmp_path / "earlier.json"))
    assert status == 2
    assert err.startswith("cip-audit: --since ")
    assert said in err
    assert err.count("\n") == 1


ROWS = [
    flush(f"c{n}", line, f"2026-01-{day:02d}", minutes)
    for n, day in enumerate((5, 12, 30)) for line in (1, 2) for minutes in ("14", "15", "")
]  # fmt: skip
LOGS = st.lists(st.sampled_from(ROWS), unique=True, min_size=1)


@pytest.fixture(scope="module")
def judge(tmp_path_factory) -> Callable[[str, str, Before | None], Report]:
    """`judge(log, as_of, before)`: the report on a log that is read in this process."""
    place = tmp_path_factory.mktemp("since")
    for name, text in {"p.yaml": PACK, "register.yaml": REGISTER}.items():
        (place / name).write_text(text, "utf-8")
    packs, register = [load_pack(str(place / "p.yaml"))], load_register(place / "register.yaml")

    def go(log: str, as_of: str, before: Before | None = None) -> Report:
        intake = Intake(read_text(HEAD + log, {"S": "UTC"}), (), (), ())
        return audit_records(intake, packs, register, AsOf.parse(as_of), generated_at="", tool="", before=before)

    return go


@settings(deadline=None)
@given(LOGS, LOGS)
def test_no_earlier_finding_is_lost(judge, then: list[str], now: list[str]) -> None:
    """Each is a finding still, resolved or not judged again; only an interval that was open may stand under another id."""
    first = judge("".join(then), "2026-02-01")
    second = judge("".join(now), "2026-02-20", Before(first, "earlier.json", ""))
    change = second.change
    assert change.new + change.persisting == len(second.findings)
    present, gone = {f.id for f in second.findings}, {g.id for g in (*change.resolved, *change.not_judged)}
    assert not present & gone
    moved = [f for f in first.findings if f.id not in present | gone]
    assert {f.target for f in moved} <= {"open"}
    known = {f.id for f in first.findings}
    persisting = [f for f in second.findings if f.since == "persisting" and f.id not in known]
    # what could not be shown then and is OUT now is news
    assert sum(f.status is Status.OUT for f in moved) <= len(persisting) <= len(moved)


IN_SERVICE = """\
stores:
  - {store_id: S, timezone: UTC, equipment: [
      {equipment_id: E, lines: [line-1, line-2], in_service_on: 2026-02-01},
      {equipment_id: F, lines: [line-1, line-2], in_service_on: 2026-02-01}]}
"""


def other(name: str, day: str) -> str:
    return cycle(name, day).replace("S,E,", "S,F,")


@pytest.fixture
def nights(tmp_path: Path, audit: Audit, monkeypatch) -> Callable[..., list[dict]]:
    """The reports of several nights, each held against the one before: `nights((log, as_of), ...)`."""
    monkeypatch.setattr("tests.cli.test_since.REGISTER", IN_SERVICE)

    def go(*uploads: tuple[str, str], **packs: str) -> list[dict]:
        reports: list[dict] = []
        for log, as_of in uploads:
            more = ["--since", str(tmp_path / "earlier.json")] if reports else []
            reports.append(audit(log, as_of, *more, **packs)[1])
            (tmp_path / "earlier.json").write_text(json.dumps(reports[-1]), "utf-8")
        return reports

    return go


def late(report: dict, machine: str = "F") -> list[tuple[str, str, str]]:
    return [(f["status"], f["reason"], f["target"]) for f in report["findings"] if (f["rule"], f["equipment_id"]) == ("T-EVERY", machine)]


def due(report: dict, machine: str = "F") -> tuple[str, str]:
    return next((d["due_on"], d["last_cycle_id"]) for d in report["upcoming"] if d["equipment_id"] == machine)


def test_a_log_that_is_missing_does_not_make_a_machine_dirty(nights) -> None:
    """The earlier report knew of a cleaning: the machine is in time until 14 days after it, whether its log is there or not, and
    then nobody can tell. That the log is missing is told every night. Alone, such a report tells of a machine never cleaned.
    """
    alone_e = cycle("e", "2026-02-10")
    first, *silent = nights((alone_e + other("f", "2026-02-12"), "2026-02-14T12:00Z"), (alone_e, "2026-02-20T12:00Z"),
                            (alone_e, "2026-02-26T12:00Z"), (alone_e, "2026-02-27T12:00Z"), (alone_e, "2026-02-28T12:00Z"))  # fmt: skip
    (alone,) = nights((alone_e, "2026-02-20T12:00Z"))

    assert [late(r) for r in (first, *silent)] == [[], [], [], *[[("not_observed", "lost_record", "open")]] * 2]
    assert [due(r) for r in (first, *silent)] == [("2026-02-26", "f")] * 5
    assert late(alone) == [("out", "too_late", "open")]
    said = "No cleaning of 1 machine that the earlier report knew is in these records: send its whole log."
    assert [said in standing(load(json.dumps(r).encode())) for r in (first, *silent)] == [False, *[True] * 4]
    (finding,) = [f for f in silent[-1]["findings"] if f["reason"] == "lost_record"]
    assert finding["message"].startswith("an earlier report knew of a cleaning (f) that these records do not hold")
    assert [a["action"][:31] for a in silent[-1]["actions"] if a["equipment_id"] == "F"] == ["Send the whole log of this mach"]


@pytest.mark.parametrize(("day", "expected"), [("2026-02-26", []), ("2026-02-27", [("out", "too_late", "")])])
def test_an_export_that_begins_later_is_judged_from_the_cleaning_known_before(nights, day: str, expected: list) -> None:
    """14 days after the cleaning that rolled out of the export is in time, 15 are not; so it is every night after, and with the
    whole log again.
    """
    early, later = other("f1", "2026-02-12"), other("f2", day)
    reports = nights((early, "2026-02-13T12:00Z"), (later, f"{day}T23:00Z"), (later, "2026-02-28T12:00Z"), (later, "2026-03-01T12:00Z"),
                     (early + later, "2026-03-02T12:00Z"))  # fmt: skip

    assert [late(r) for r in reports] == [[], *[expected] * 4]
    if expected:
        (told,) = [f["message"] for f in reports[1]["findings"] if (f["rule"], f["equipment_id"]) == ("T-EVERY", "F")]
        assert "since 2026-02-12, by the earlier report" in told


def test_what_an_earlier_report_has_judged_is_not_judged_anew_from_less(nights) -> None:
    """The first cleaning of a shorter export was in time with the one before it, which is gone; a late one stays late."""
    logs = [other(f"f{n}", day) for n, day in enumerate(("2026-02-12", "2026-02-25", "2026-03-15"), 1)]
    whole, short, again, shorter, last = nights(
        ("".join(logs), "2026-03-16T12:00Z"), ("".join(logs[1:]), "2026-03-17T12:00Z"), ("".join(logs[1:]), "2026-03-18T12:00Z"),
        (logs[2], "2026-03-19T12:00Z"), (logs[2], "2026-03-20T12:00Z"),
    )  # fmt: skip

    assert [late(r) for r in (whole, short, again, shorter, last)] == [[("out", "too_late", "")]] * 5
    assert [f["cycle_id"] for f in short["findings"] if (f["rule"], f["equipment_id"]) == ("T-EVERY", "F")] == ["f3"]


def test_a_machine_is_overdue_by_a_cleaning_that_only_the_earlier_report_knew(nights) -> None:
    """Its rows since are there, and none of its cleanings counts: 14 days after the one known it is overdue."""
    pack = PACK.replace("counts: any", "counts: complete") + "  - {id: T-ALL, title: Left, kind: coverage, params: {required: [{step: flush, targets: lines}]}}\n"
    half = flush("f2", 1, "2026-02-24", "15").replace("S,E,", "S,F,")
    first, in_time, late_now = nights((other("f1", "2026-02-12"), "2026-02-13T12:00Z"), (half, "2026-02-26T12:00Z"),
                                      (half, "2026-02-27T12:00Z"), pack=pack)  # fmt: skip

    assert [late(r) for r in (first, in_time, late_now)] == [[], [], [("out", "too_late", "open")]]


def test_a_cleaning_that_does_not_count_for_a_rule_is_no_beginning_for_it(nights) -> None:
    """A rinse every 14 days is not kept by a flush, whether its record is there or only the earlier report knew of it."""
    pack = PACK + "  - {id: T-RINSE, title: No rinse, kind: interval, params: {max: P14D, counts: any, having: {step: rinse}}}\n"
    reports = nights((other("f1", "2026-02-12"), "2026-02-20T12:00Z"), ("", "2026-02-21T12:00Z"), (other("f2", "2026-02-22"), "2026-02-23T12:00Z"),
                     pack=pack)  # fmt: skip

    rinse = [[f["status"] for f in r["findings"] if (f["rule"], f["equipment_id"]) == ("T-RINSE", "F")] for r in reports]
    assert rinse == [["out"]] * 3


def test_a_cleaning_taken_out_of_the_middle_of_a_log_excuses_nothing(nights) -> None:
    """It lay after the first one that is there: the first interval is judged as it stands."""
    first, last = other("f1", "2026-02-20"), other("f2", "2026-02-25")
    _, without = nights((first + last, "2026-02-26T12:00Z"), (first, "2026-02-27T12:00Z"))

    assert ("out", "too_late", "") in late(without)
