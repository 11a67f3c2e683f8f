"""`cip-audit due`: which dates it gives and why, in which order, and a calendar file that other readers and RFC 5545 accept."""

from __future__ import annotations

import csv
import io
import json
import os
from datetime import date, timedelta
from pathlib import Path

import pytest
import vobject

from validator.cli import run
from validator.schemas import faults_by_schema

GOLDEN = Path(__file__).parent / "golden"
PACK = """\
pack: two-intervals
title: Two intervals
procedure: cip
cautions: [Relieve the pressure first; then open.]
rules:
  - {id: T-CLEAN, title: Not cleaned for 30 days, kind: interval, params: {max: P30D, warn_before: P5D, counts: any},
     corrective_action: "Clean it now, all of it."}
  - {id: T-ACID, title: No acid for 90 days, kind: interval,
     params: {max: P90D, counts: any, having: {step: soak, agent: acid}}, corrective_action: Give it acid.}
"""
REGISTER = """\
stores:
  - store_id: K1
    name: "Käsehütte, Straße 1; Süd \\\\ Nord – mit einem langen Namen, der über fünfundsiebzig Oktette reicht 🧀🧀🧀🧀"
    timezone: America/Chicago
    equipment:
      - {equipment_id: LATE, in_service_on: 2026-01-01}
      - {equipment_id: NEVER, in_service_on: 2026-01-01, out_of_service: [{from: 2026-01-10, to: 2026-01-12}]}
      - {equipment_id: NO-DAY}
      - {equipment_id: SOON, in_service_on: 2026-01-01}
      - {equipment_id: "=SUM(A1)", in_service_on: 2026-01-01}
"""
LOG = """\
store_id,equipment_id,cycle_id,procedure,step,agent,started_at,ended_at
K1,LATE,one,cip,flush,,2026-01-20T20:00,2026-01-20T21:00
K1,SOON,two,cip,soak,acid,2026-02-01T20:00,2026-02-01T21:00
K1,=SUM(A1),three,cip,soak,acid,2026-02-27T20:00,2026-02-27T21:00
"""
AS_OF = "2026-03-01"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch) -> Path:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772400000")  # 2026-03-01T21:20:00Z
    for name, text in (("pack.yaml", PACK), ("register.yaml", REGISTER), ("log.csv", LOG)):
        (tmp_path / name).write_text(text, "utf-8")
    return tmp_path


def due(folder: Path, capfdbinary, *more: str, log: str = "log.csv", as_of: str = AS_OF) -> tuple[int, bytes, str]:
    """Exit status, standard output, standard error."""
    status = run(["due", str(folder / log), "--rules", str(folder / "pack.yaml"), "--register",
                  str(folder / "register.yaml"), "--as-of", as_of, *more])  # fmt: skip
    out, err = capfdbinary.readouterr()
    return status, out, err.decode()


def listed(folder: Path, capfdbinary, *more: str, **other: str) -> list[dict]:
    return json.loads(due(folder, capfdbinary, "--format", "json", *more, **other)[1])["cleanings"]


def events(document: bytes) -> dict[tuple[str, str], vobject.base.Component]:
    """The events of a calendar file as another library reads it, by machine and rule."""
    calendar = vobject.readOne(document.decode("utf-8"))
    calendar.validate(raiseException=True)
    return {(e.summary.value.split(":")[0], e.summary.value.rpartition("(")[2][:-1]): e for e in calendar.vevent_list}


@pytest.mark.parametrize("format_", ["text", "json", "csv", "ics"])
def test_each_format_writes_the_bytes_it_wrote_before(folder, capfdbinary, format_) -> None:
    """The same records give the same bytes, twice and as in `golden/`."""
    once, again = (due(folder, capfdbinary, "--format", format_)[1] for _ in range(2))
    path = GOLDEN / f"due.{format_}"
    if os.environ.get("CIP_AUDIT_UPDATE_GOLDEN") == "1":
        path.write_bytes(once)

    assert once == again == path.read_bytes()


def test_the_json_keeps_to_its_schema(folder, capfdbinary) -> None:
    """What is written is valid by the schema that `cip-audit schema due` prints."""
    assert faults_by_schema("due", json.loads(due(folder, capfdbinary, "--format", "json")[1])) == []


def test_the_most_urgent_stands_first(folder, capfdbinary) -> None:
    """The longest overdue first, then what has no date, then by days left; every machine by every rule."""
    found = [(c["equipment_id"], c["rule"], c["days_left"]) for c in listed(folder, capfdbinary)]

    assert found[:4] == [
        ("NEVER", "T-CLEAN", -26), ("LATE", "T-CLEAN", -10), ("NO-DAY", "T-ACID", None), ("NO-DAY", "T-CLEAN", None),
    ]  # fmt: skip
    assert [left for *_, left in found[4:]] == sorted(left for *_, left in found[4:])
    assert len(found) == 10


def test_a_date_leaves_out_the_days_out_of_service(folder, capfdbinary) -> None:
    """30 days from 1 January are 31 January; three days closed on the way make it 3 February, and the reason says so."""
    (never,) = [c for c in listed(folder, capfdbinary) if (c["equipment_id"], c["rule"]) == ("NEVER", "T-CLEAN")]

    assert date.fromisoformat(never["due_on"]) == date(2026, 1, 1) + timedelta(days=33)
    assert never["days_closed"] == 3
    assert never["why"] == ("at most 30 days after it went into service on 2026-01-01; no cleaning that counts is on record; "
                            "3 days out of service left out")  # fmt: skip


def test_the_register_sets_the_date(folder, capfdbinary) -> None:
    """A machine's own tighter interval is used, and named as the register's."""
    text = REGISTER.replace("{equipment_id: SOON,", "{equipment_id: SOON, limits: {T-CLEAN: {max: P20D}},")
    (folder / "register.yaml").write_text(text, "utf-8")
    (soon,) = [c for c in listed(folder, capfdbinary) if (c["equipment_id"], c["rule"]) == ("SOON", "T-CLEAN")]

    assert (soon["due_on"], soon["limit"]) == ("2026-02-21", "20 days")
    assert soon["limit_from"].startswith("register")


def test_the_last_day_is_not_overdue(folder, capfdbinary) -> None:
    """On the due date nothing is overdue, one day later it is."""
    (folder / "register.yaml").write_text(
        "stores: [{store_id: K1, timezone: America/Chicago, equipment: [{equipment_id: LATE}]}]", "utf-8"
    )
    (folder / "pack.yaml").write_text(PACK[: PACK.index("  - {id: T-ACID")], "utf-8")
    (folder / "log.csv").write_text("\n".join(LOG.splitlines()[:2]) + "\n", "utf-8")

    assert due(folder, capfdbinary, as_of="2026-02-19")[0] == 0
    assert due(folder, capfdbinary, as_of="2026-02-20")[0] == 1


def test_a_cycle_without_any_time_gives_no_date(folder, capfdbinary) -> None:
    """A machine whose only cleaning has no date is listed without one; it does not break the list."""
    (folder / "log.csv").write_text(
        "store_id,equipment_id,cycle_id,procedure,step,started_at,duration_s\nK1,NO-DAY,x,cip,flush,,900\n", "utf-8"
    )
    found = [c for c in listed(folder, capfdbinary) if (c["equipment_id"], c["rule"]) == ("NO-DAY", "T-CLEAN")]

    assert [(c["state"], c["due_on"], c["days_left"]) for c in found] == [("no day to count from", "", None)]


def test_a_file_that_cannot_be_read_is_told(folder, capfdbinary) -> None:
    """Exit status 4, and the note says that a later cleaning may stand in it."""
    (folder / "broken.csv").write_bytes(b"\x00\x01")
    status, out, _ = due(folder, capfdbinary, str(folder / "broken.csv"))

    assert status == 4
    assert b"may hold a later cleaning" in out


def test_without_a_row_or_a_rule_nothing_can_be_said(folder, capfdbinary) -> None:
    """Exit status 3 where no row was read, and where no rule sets an interval."""
    (folder / "empty.csv").write_text(LOG.splitlines()[0] + "\n", "utf-8")
    assert due(folder, capfdbinary, log="empty.csv")[0] == 3

    (folder / "pack.yaml").write_text("pack: p\nrules: [{id: T-A, title: t, kind: coverage, params: {required: [{step: flush}]}}]\n",
                                      "utf-8")  # fmt: skip
    status, out, _ = due(folder, capfdbinary)
    assert status == 3
    assert b"sets an interval" in out


def test_no_calendar_is_written_without_a_date(folder, capfdbinary) -> None:
    """RFC 5545, 3.6: a calendar has at least one component, so an empty one is no file at all."""
    (folder / "pack.yaml").write_text("pack: p\nrules: [{id: T-A, title: t, kind: coverage, params: {required: [{step: flush}]}}]\n",
                                      "utf-8")  # fmt: skip
    status, out, err = due(folder, capfdbinary, "--format", "ics", "--output", f"ics={folder / 'due.ics'}")

    assert (status, out) == (3, b"")
    assert "no calendar" in err
    assert not (folder / "due.ics").exists()


def test_a_csv_computes_nothing(folder, capfdbinary) -> None:
    """A machine whose name looks like a formula is text, and a number below zero stays a number."""
    table = list(csv.DictReader(io.StringIO(due(folder, capfdbinary, "--format", "csv")[1].decode(), newline="")))

    assert {row["equipment_id"] for row in table} >= {"'=SUM(A1)"}
    assert {row["days_left"] for row in table} >= {"-26", ""}
    assert [c["equipment_id"] for c in listed(folder, capfdbinary)].count("=SUM(A1)") == 2


# --- the calendar file ---------------------------------------------------------------------------------------------------


def test_lines_end_and_fold_as_the_standard_says(folder, capfdbinary) -> None:
    """RFC 5545, 3.1: CRLF, at most 75 octets a line without it, and no fold inside a character."""
    document = due(folder, capfdbinary, "--format", "ics")[1]
    lines = document.split(b"\r\n")

    assert lines[-1] == b""
    assert not any(b"\r" in line or b"\n" in line for line in lines)
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert all(line.decode("utf-8") is not None for line in lines)


def test_text_is_escaped_as_the_standard_says(folder, capfdbinary) -> None:
    r"""RFC 5545, 3.3.11: backslash, semicolon and comma have a backslash before them, a line end is \n."""
    unfolded = due(folder, capfdbinary, "--format", "ics")[1].replace(b"\r\n ", b"").decode()

    assert "LOCATION:Käsehütte\\, Straße 1\\; Süd \\\\ Nord" in unfolded
    assert "DESCRIPTION:Clean it now\\, all of it.\\nT-CLEAN: Not cleaned for 30 days.\\n" in unfolded
    assert "- Relieve the pressure first\\; then open." in unfolded


def test_another_reader_finds_the_same_dates(folder, capfdbinary) -> None:
    """vobject, which shares no code with the writer, reads every cleaning: the last day, and to the present what is late."""
    found = events(due(folder, capfdbinary, "--format", "ics")[1])
    cleanings = listed(folder, capfdbinary)

    assert set(found) == {(c["equipment_id"], c["rule"]) for c in cleanings}
    for c in cleanings:
        event = found[c["equipment_id"], c["rule"]]
        first = date.fromisoformat(c["due_on"] or AS_OF)
        late = c["days_left"] is None or c["days_left"] < 0
        assert event.dtstart.value == first
        assert event.dtend.value == (date.fromisoformat(AS_OF) if late else first) + timedelta(days=1)
        assert event.location.value.startswith("Käsehütte, Straße 1; Süd \\ Nord – mit")
        assert event.valarm.action.value == "DISPLAY"


@pytest.mark.parametrize(
    ("machine", "rule", "trigger"),
    [("SOON", "T-CLEAN", "TRIGGER:-P4DT15H"), ("SOON", "T-ACID", "TRIGGER:-PT15H"), ("LATE", "T-CLEAN", "TRIGGER;RELATED=END:-PT15H")],
)  # fmt: skip
def test_the_alarm_sounds_at_nine(folder, capfdbinary, machine, rule, trigger) -> None:
    """`warn_before` days before the last day, else one day; of what is late on the day that the file was made for."""
    written = due(folder, capfdbinary, "--format", "ics")[1].replace(b"\r\n ", b"").decode()
    (event,) = [e for e in written.split("BEGIN:VEVENT") if f"SUMMARY:{machine}" in e and f"({rule})" in e]

    assert trigger in event.split("\r\n")


def test_a_later_file_updates_the_same_events(folder, capfdbinary, monkeypatch) -> None:
    """After a new cleaning the UIDs are the same, dates are new, and SEQUENCE, DTSTAMP and LAST-MODIFIED have grown."""
    before = events(due(folder, capfdbinary, "--format", "ics")[1])
    with (folder / "log.csv").open("a", encoding="utf-8") as log:
        log.write("K1,LATE,four,cip,flush,,2026-03-01T20:00,2026-03-01T21:00\n")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(1772400000 + 86_400))
    after = events(due(folder, capfdbinary, "--format", "ics", as_of="2026-03-02")[1])

    assert {k: e.uid.value for k, e in before.items()} == {k: e.uid.value for k, e in after.items()}
    assert len({e.uid.value for e in after.values()}) == len(after)
    assert after["LATE", "T-CLEAN"].dtstart.value == date(2026, 3, 31)
    for key, event in after.items():
        assert int(event.sequence.value) > int(before[key].sequence.value)
        assert event.dtstamp.value - before[key].dtstamp.value == timedelta(days=1)
        assert event.last_modified.value == event.dtstamp.value


def test_a_calendar_has_what_the_standard_requires(folder, capfdbinary) -> None:
    """RFC 5545, 3.6 and 3.6.1: VERSION and PRODID once; UID, DTSTAMP and DTSTART once an event."""
    lines = due(folder, capfdbinary, "--format", "ics")[1].replace(b"\r\n ", b"").decode().split("\r\n")

    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2] == "END:VCALENDAR"
    for line in ("VERSION:2.0", "CALSCALE:GREGORIAN"):
        assert lines.count(line) == 1
    names = [line.partition(":")[0].partition(";")[0] for line in lines]
    assert names.count("PRODID") == 1
    assert {names.count(n) for n in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE")} == {10}


def test_a_calendar_is_a_snapshot_and_no_message_of_scheduling(folder, capfdbinary) -> None:
    """RFC 5545, 3.7.2: without METHOD none may be assumed. With PUBLISH an ORGANIZER would have to stand (RFC 5546, 3.2.1)."""
    document = due(folder, capfdbinary, "--format", "ics")[1]
    calendar = vobject.readOne(document.decode("utf-8"))

    assert "method" not in calendar.contents
    assert [e for e in calendar.vevent_list if {"organizer", "attendee"} & set(e.contents)] == []
    assert len(calendar.vevent_list) == 10


def test_what_is_to_be_done_fits_the_state(folder, capfdbinary) -> None:
    """What the rule says to correct stands where it is late or undated; a machine in time is to be cleaned by its last day."""
    done = {(c["equipment_id"], c["rule"]): c["action"] for c in listed(folder, capfdbinary)}

    assert done["LATE", "T-CLEAN"] == done["NO-DAY", "T-CLEAN"] == "Clean it now, all of it."
    assert done["SOON", "T-CLEAN"] == "Clean the machine no later than 2026-03-03."
    assert done["SOON", "T-ACID"] == (
        "Clean the machine no later than 2026-05-02. Only a cleaning in which this is done counts: soak with acid."
    )


@pytest.mark.parametrize(("as_of", "action"), [("2026-02-19", "Clean the machine no later than 2026-02-19."),
                                               ("2026-02-20", "Clean it now, all of it.")])  # fmt: skip
def test_on_its_last_day_a_machine_is_in_time(folder, capfdbinary, as_of: str, action: str) -> None:
    """30 days from 20 January are 19 February; one day later it is late."""
    (late,) = [c for c in listed(folder, capfdbinary, as_of=as_of) if (c["equipment_id"], c["rule"]) == ("LATE", "T-CLEAN")]

    assert late["action"] == action


def test_every_row_of_the_csv_has_the_cautions_and_says_who_governs(folder, capfdbinary) -> None:
    """In columns, so that the header stays the first line; rows are cut out and sent on."""
    table = list(csv.DictReader(io.StringIO(due(folder, capfdbinary, "--format", "csv")[1].decode(), newline="")))

    assert len(table) == 10
    assert {row["cautions"] for row in table} == {"Relieve the pressure first; then open."}
    assert {row["governs"].partition(". ")[0] for row in table} == {"Local code, the label of each product and licensed practice govern"}


@pytest.mark.parametrize("form", ["text", "ics", "csv"])
def test_what_people_read_has_the_cautions_and_says_who_governs(folder: Path, capfdbinary, form: str) -> None:
    """Whoever is told to clean is told what can hurt, and that code, label and licensed practice come first."""
    said = " ".join(due(folder, capfdbinary, "--format", form)[1].decode().replace("\r\n ", "").replace("\\", "").split())

    assert "Relieve the pressure first; then open." in said
    assert "Local code, the label of each product and licensed practice govern." in said


def test_a_cleaning_that_an_earlier_report_knew_still_counts(folder, capfdbinary) -> None:
    """Its log is missing tonight: the date is that of last night's report; alone, the machine seems never cleaned, and that is doubted."""
    inputs = ["--rules", str(folder / "pack.yaml"), "--register", str(folder / "register.yaml")]
    assert run(["check", str(folder / "log.csv"), *inputs, "--as-of", AS_OF, "--format", "json"]) in (0, 1)
    (folder / "earlier.json").write_bytes(capfdbinary.readouterr()[0])
    (folder / "short.csv").write_text("".join(line for line in LOG.splitlines(keepends=True) if ",SOON," not in line), "utf-8")

    def soon(*more: str) -> dict:
        found = json.loads(due(folder, capfdbinary, "--format", "json", *more, log="short.csv")[1])["cleanings"]
        return next(c for c in found if c["equipment_id"] == "SOON" and c["rule"] == "T-CLEAN")

    whole = json.loads(due(folder, capfdbinary, "--format", "json")[1])["cleanings"]
    (expected,) = [c for c in whole if c["equipment_id"] == "SOON" and c["rule"] == "T-CLEAN"]
    known = soon("--since", str(folder / "earlier.json"))
    assert (known["due_on"], known["last_completed"]) == (expected["due_on"], expected["last_completed"])
    assert soon()["doubt"].startswith("no row of this machine is in these files")
