"""Stories in which a hurried reader would be misled: each must be told, not passed over."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest

from validator.cli import run

PACK = """\
pack: p
version: 1.0.0
procedure: cip
profiles: {small-dispenser: {lines: [line-1, line-2], parts: [nozzle]}}
rules:
  - {id: T-FLUSH, title: Short, kind: flush, params: {targets: lines, min: PT15M}}
  - {id: T-DAYS, title: Late, kind: interval, params: {max: P30D, counts: any}}
  - id: T-CONTACT
    title: Contact
    kind: contact
    params: {steps: [sanitize], targets: parts, min: [{agent: chlorine, at_least: PT10S}, {agent: quat, at_least: PT30S}]}
  - {id: T-PPM, title: Weak, kind: concentration, params: {agent: chlorine, min: 100}}
"""
HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,agent,recorded_at,verified_at\n"


def register(profile: str = "small-dispenser", more: str = "") -> str:
    return f"stores:\n  - {{store_id: S, timezone: UTC, equipment: [{{equipment_id: E, profile: {profile}{more}}}]}}\n"


def row(step: str, target: str = "", start: str = "2026-01-05T20:00", end: str = "2026-01-05T20:20", rest: str = ",,") -> str:
    return f"S,E,c,{step},{target},{start},{end},{rest}\n"


GOOD = HEADER + row("flush", "line-1") + row("flush", "line-2") + row("sanitize", "nozzle", rest="chlorine,,")


@pytest.fixture
def audit(tmp_path: Path, capfdbinary):
    """`audit(log, register)`: exit status, the report, standard error."""

    def go(log: str | bytes, known: str | None = register(), *more: str) -> tuple[int, dict, str]:
        (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
        (tmp_path / "log.csv").write_bytes(log if isinstance(log, bytes) else log.encode())
        arguments = ["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "pack.yaml"), "--as-of", "2026-01-20",
                     "--format", "json", *more]  # fmt: skip
        if known is not None:
            (tmp_path / "register.yaml").write_text(known, "utf-8")
            arguments += ["--register", str(tmp_path / "register.yaml")]
        status = run(arguments)
        out, err = capfdbinary.readouterr()
        return status, json.loads(out) if out else {}, err.decode()

    return go


def codes(report: dict) -> set[str]:
    return {n["code"] for n in report["notices"]}


def verdicts(report: dict, rule: str) -> set[tuple[str, str, str]]:
    return {(f["target"], f["status"], f["reason"]) for f in report["findings"] if f["rule"] == rule}


def test_a_misspelt_profile_is_refused(audit) -> None:
    """It would leave the machine without the lines that nobody flushed."""
    status, _, err = audit(GOOD, register("small-dispensr"))

    assert status == 2
    assert "found 'small-dispensr', did you mean 'small-dispenser'?" in err


def test_a_profile_of_nobody_is_told_at_the_top(audit) -> None:
    """Nothing is close to it, so the records alone say what is expected, and the report says so."""
    assert "unknown_profile" in codes(audit(GOOD, register("ice-maker"))[1])


@pytest.mark.parametrize("log", ["", HEADER, "\n\n"])
@pytest.mark.parametrize("known", [None, "stores: []\n", register()])
def test_nothing_to_read_is_never_an_error_of_ours(audit, log: str, known: str | None) -> None:
    """No row, with or without a register: 3, nothing could be judged."""
    assert audit(log, known)[0] == 3


def test_a_misspelt_target_is_named(audit) -> None:
    """The flush of 'line 2' is credited to no line, and the notice names the line that was likely meant."""
    _, report, _ = audit(GOOD.replace("flush,line-2", "flush,line 2"))

    assert ("line-2", "out", "missing") in verdicts(report, "T-FLUSH")
    (told,) = [n["message"] for n in report["notices"] if n["code"] == "unknown_target"]
    assert "'line 2'" in told
    assert "did you mean 'line-2'?" in told


def test_a_word_for_an_agent_that_nobody_knows_judges_nothing(audit) -> None:
    """'Chlorine' may be chlorine: neither the contact nor the strength is shown, and neither is OUT or N/A."""
    _, report, _ = audit(GOOD.replace("chlorine,,", "Chlorine,,"))

    assert verdicts(report, "T-CONTACT") == {("nozzle", "not_observed", "missing_condition")}
    assert verdicts(report, "T-PPM") == {("chlorine", "not_observed", "not_measured")}
    assert any("did you mean 'chlorine'?" in n["message"] for n in report["notices"])


def test_a_file_that_could_not_be_read_accuses_nobody(audit, tmp_path) -> None:
    """The machine without a row may have its rows in the refused file."""
    (tmp_path / "empty.csv").write_bytes(b"")
    other = register().replace("equipment_id: E,", "equipment_id: E2, in_service_on: 2025-06-01,")
    known = register() + other.removeprefix("stores:\n").replace("store_id: S,", "store_id: S2,")
    status, report, _ = audit(GOOD, known, str(tmp_path / "empty.csv"))
    alone = audit(GOOD, known)[1]

    assert status == 4
    assert ("open", "not_observed", "unread_file") in verdicts(report, "T-DAYS")
    assert ("open", "out", "too_late") in verdicts(alone, "T-DAYS")
    assert [d["store_id"] for d in report["upcoming"]] == [d["store_id"] for d in alone["upcoming"] if d["store_id"] != "S2"]
    (asked,) = {a["action"] for a in report["actions"] if a["store_id"] == "S2"}
    assert asked.startswith("Send the file that could not be read again.")


def test_an_id_used_for_two_cleanings_is_told(audit) -> None:
    """Rows of one cycle that lie weeks apart."""
    again = row("flush", "line-1", "2026-01-15T20:00", "2026-01-15T20:20")
    assert "long_cycle" in codes(audit(GOOD + again)[1])
    assert "long_cycle" not in codes(audit(GOOD)[1])


def test_two_cleanings_of_one_machine_at_once_are_told(audit) -> None:
    """A second cycle that begins before the first has ended; one that begins as it ends is nothing odd."""
    def second(start: str) -> str:
        return row("flush", "line-1", start, "2026-01-05T21:00").replace(",c,", ",d,")

    assert "contradiction" in codes(audit(GOOD + second("2026-01-05T20:19"))[1])
    assert "contradiction" not in codes(audit(GOOD + second("2026-01-05T20:20"))[1])


def test_one_line_twice_at_the_same_time_is_told(audit) -> None:
    """Two rows that claim the same line at the same time, named by their rows; touching rows claim it in turn."""
    again = row("flush", "line-1", "2026-01-05T20:10", "2026-01-05T20:30")
    (told,) = [n["message"] for n in audit(GOOD + again)[1]["notices"] if n["code"] == "contradiction"]

    assert "flush of line-1 stands twice at the same time" in told
    assert re.search(r"log\.csv row 2, .*log\.csv row 5\)$", told)
    assert "contradiction" not in codes(audit(GOOD + again.replace("T20:10", "T20:20"))[1])


def test_a_signature_before_the_work_is_told(audit) -> None:
    """Verified an hour before the last step ended, written down before the step began."""
    early = GOOD.replace("chlorine,,", "chlorine,2026-01-05T19:00,2026-01-05T19:20")
    messages = [n["message"] for n in audit(early)[1]["notices"] if n["code"] == "contradiction"]

    assert len(messages) == 2


@pytest.mark.parametrize("name", ["log.csv", "register.yaml", "pack.yaml", "./log.csv"])
def test_an_input_is_never_written_over(audit, tmp_path, monkeypatch, name: str) -> None:
    """The record, the register and the pack stay what they are."""
    monkeypatch.chdir(tmp_path)
    status, _, err = audit(GOOD, register(), "--output", f"json={name}")

    assert status == 2
    assert "name another file" in err
    assert (tmp_path / "log.csv").read_text() == GOOD


def test_two_outputs_of_one_name_are_refused(audit, tmp_path) -> None:
    """The second would replace the first."""
    out = tmp_path / "r.out"
    assert audit(GOOD, register(), "--output", f"json={out}", "--output", f"html={out}")[0] == 2


def test_a_report_keeps_to_the_umask_and_to_links(audit, tmp_path) -> None:
    """A private umask gives a private report; a link is followed, not replaced."""
    (tmp_path / "real.json").write_text("{}")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    before = os.umask(0o077)
    try:
        audit(GOOD, register(), "--output", f"json={tmp_path / 'link.json'}", "--output", f"html={tmp_path / 'new.html'}")
    finally:
        os.umask(before)

    assert (tmp_path / "link.json").is_symlink()
    assert json.loads((tmp_path / "real.json").read_text())["report_version"]
    assert (tmp_path / "new.html").stat().st_mode & 0o777 == 0o600


def test_nothing_read_is_never_a_result(audit) -> None:
    """An empty export, and one that is no log at all: the register alone would say that the machine is in time."""
    known = register(more=", in_service_on: 2026-01-10")
    for log in (HEADER, b"PK\x03\x04xx", b""):
        status, report, _ = audit(log, known)
        assert status == 3
        assert report["summary"]["result"] == "not judged"
        assert {e["verdict"]["result"] for s in report["stores"] for e in s["equipment"]} == {"not judged"}


def test_a_file_that_could_not_be_read_withholds_the_result(audit, tmp_path) -> None:
    """What was read is in order, and the rest may not be; a grave OUT stands whatever it holds."""
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04xx")
    good = audit(GOOD, register(), str(tmp_path / "bad.xlsx"))[1]["summary"]
    short = audit(GOOD.replace("T20:20", "T20:10"), register(), str(tmp_path / "bad.xlsx"))[1]["summary"]

    assert (good["result"], good["result_reason"]) == ("not judged", "a file could not be read, and may hold what decides")
    assert short["result"] == "not met"


@pytest.mark.parametrize("header", ["Machine,Task,Began", "Store,Machine,Equipment,step,Began"])
def test_a_log_that_needs_a_mapping_is_not_asked_for_again(audit, tmp_path, header: str) -> None:
    """Without a store, and with two columns for the machine: the same file would come again and be refused again."""
    (tmp_path / "own.csv").write_text(f"{header}\n" + ",".join("x" * len(header.split(","))) + "\n")
    audit(GOOD, register(), str(tmp_path / "own.csv"), "--output", f"text={tmp_path}/r.txt")
    in_one_line = " ".join((tmp_path / "r.txt").read_text("utf-8").split())  # a long path breaks the line elsewhere

    assert "DO FIRST 1. Write a mapping for " in in_one_line


def test_a_misspelt_capacity_is_refused(audit) -> None:
    """A capacity of no step would bound nothing and leave its rule without a subject."""
    status, _, err = audit(GOOD, register(more=", capacities: {flsh: 1}"))

    assert status == 2
    assert "capacities: found the step 'flsh', did you mean 'flush'?" in err


def test_a_procedure_that_no_pack_knows_is_told_at_the_head(audit) -> None:
    """Every row names it, so nothing was judged; the first sentences say so."""
    log = "procedure," + HEADER + "".join(f"cpi,{line}\n" for line in GOOD.splitlines()[1:])
    _, report, _ = audit(log)
    (told,) = [n["message"] for n in report["notices"] if n["code"] == "other_procedure"]

    assert told.startswith("3 rows name the procedure 'cpi'")
    assert "did you mean 'cip'?" in told
