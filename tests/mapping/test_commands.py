"""`check --mapping` and `mapping check`: what a user sees of a mapping, and the exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from validator.cli import run
from validator.readers.csv_ import read_bytes
from validator.readers.named import Named
from validator.tables import Budget

from .conftest import layout

LOG = "Machine;Done;From;To;Note\nA;Flushed;01.11.2026 00:30;01.11.2026 00:50;x\nA;Flushed;01.11.2026 01:30;;\nTotal;;;;\n"
MAPPING = """\
mapping: night-log
files:
  - match: "*.csv"
    columns: {equipment_id: Machine, step: Done, started_at: From, ended_at: To}
    constants: {store_id: S, target: line-1, cycle_id: c, procedure: cip}
    values: {step: {Flushed: flush}}
    dates: dmy
    skip: [{column: Machine, equals: [Total]}]
"""
PACK = "pack: p\nversion: 1.0.0\nprocedure: cip\nrules: [{id: T-F, title: Short, kind: flush, params: {targets: lines, min: PT15M}}]\n"


@pytest.fixture
def go(tmp_path: Path, capfdbinary):
    """`go(command, mapping, ...)`: status, standard output, standard error; `{}` in an argument is the folder."""
    (tmp_path / "log.csv").write_text(LOG, "utf-8")
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")

    def call(mapping: str, *arguments: str) -> tuple[int, str, str]:
        (tmp_path / "m.yaml").write_text(mapping, "utf-8")
        status = run([argument.replace("{}", str(tmp_path)) for argument in arguments])
        out, err = capfdbinary.readouterr()
        return status, out.decode(), err.decode()

    return call


CHECK = ("check", "{}/log.csv", "--rules", "{}/pack.yaml", "--mapping", "{}/m.yaml", "--as-of", "2026-12-01", "--format", "json")


def test_the_report_says_which_mapping_was_applied_and_what_it_assumed(go) -> None:
    """Its id and sum, the order of dates, the constants, the rows set aside, the columns not used."""
    report = json.loads(go(MAPPING, *CHECK)[1])
    (file,) = report["inputs"]

    assert file["assumptions"][0].startswith("read by the mapping night-log (sha256 ")
    assert {"dates are read day first", "1 row set aside, since 'Machine' is 'Total'",
            "cells are separated by a semicolon, which splits the header into the needed names"} <= set(file["assumptions"])  # fmt: skip
    assert (file["rows"], file["rows_used"], file["rows_defective"]) == (2, 2, 0)
    assert any("columns that the mapping does not use: 'Note'" in n["message"] for n in report["notices"])


def test_the_zone_of_the_file_is_that_of_the_mapping(go) -> None:
    """01:30 on 1 November 2026 happened twice in Chicago (tz database: back from -05:00 to -06:00 at 02:00), once in UTC."""
    codes = {
        zone: [d["code"] for d in json.loads(go(MAPPING + f"    timezone: {zone}\n", *CHECK)[1])["record_defects"]]
        for zone in ("America/Chicago", "UTC")
    }

    assert codes == {"America/Chicago": ["ambiguous_time"], "UTC": []}


def test_a_file_that_no_layout_is_for_is_read_as_it_stands(go) -> None:
    """Here it has no canonical header, so it is refused, and the mapping's patterns are no secret."""
    status, out, _ = go(MAPPING.replace("*.csv", "*.xlsx"), *CHECK)

    assert status == 3
    assert json.loads(out)["inputs"][0]["status"] == "refused"
    status, _, err = go(MAPPING.replace("*.csv", "*.xlsx"), "mapping", "check", "{}/log.csv", "--mapping", "{}/m.yaml")
    assert status == 2
    assert "names no file like this one; it has '*.xlsx'" in err


def test_a_wrong_mapping_ends_in_2(go) -> None:
    """Before a file is read."""
    status, out, err = go(MAPPING.replace("dmy", "dd.mm.yyyy"), *CHECK)

    assert (status, out) == (2, "")
    assert "m.yaml line 7: files[0].dates: found 'dd.mm.yyyy'; allowed: 'dmy', 'mdy', 'ymd'" in err


def test_mapping_check_shows_columns_rows_and_what_is_left_over(go) -> None:
    """From which column, how converted, rows before and after, what is not used, what is set aside and why."""
    status, out, _ = go(MAPPING, "mapping", "check", "{}/log.csv", "--mapping", "{}/m.yaml")

    assert status == 0
    for text in (
        "started_at         from 'From'  (dates day first)", "store_id           always 'S'",
        "row 2 is      Machine: A; Done: Flushed; From: 01.11.2026 00:30; To: 01.11.2026 00:50",
        "row 2 becomes store_id: S; equipment_id: A; cycle_id: c; procedure: cip; step: flush; target: line-1; "
        "started_at: 2026-11-01T00:30:00; ended_at: 2026-11-01T00:50:00",
        "columns not used: 'Note'", "1 row set aside, since 'Machine' is 'Total'",
        "3 rows in the file, 1 set aside; 2 rows read, 0 of them with a defect; 0 blank",
    ):
        assert text in out, out


def test_nothing_in_a_cell_acts_on_the_screen(go, tmp_path: Path) -> None:
    """Control characters are written out."""
    (tmp_path / "log.csv").write_bytes(LOG.replace(";Flushed", ";Flu\x07\u202eshed", 1).encode())
    _, out, _ = go(MAPPING, "mapping", "check", "{}/log.csv", "--mapping", "{}/m.yaml")

    assert "row 2 is" in out
    assert not {"\x07", "\u202e"} & set(out)


@pytest.mark.parametrize("name", ["mapping draft", "mapping check"])
def test_a_file_that_cannot_be_read_is_refused_in_one_sentence(go, tmp_path: Path, name: str) -> None:
    """Neither a traceback nor a guess."""
    (tmp_path / "log.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(64))
    more = ("--mapping", "{}/m.yaml") if name.endswith("check") else ()
    status, out, err = go(MAPPING, *name.split(), "{}/log.csv", *more)

    assert (status, out) == (4, "")
    assert err.count("\n") == 1


def test_the_fast_reading_and_the_line_by_line_one_agree_under_a_mapping() -> None:
    """The same columns, rows and defects for a file of many lines with some that are not plain."""
    named = layout(MAPPING.partition("  - ")[2].replace("    ", ""))
    lines = [f"A;Flushed;{n % 28 + 1:02d}.11.2026 00:30;;{n}" for n in range(4000)]
    lines[7], lines[70], lines[700] = "A;Fl\"ushed;;;", "Machine;Done;From;To;Note", ";;;;"
    data = ("Machine;Done;From;To;Note\n" + "\n".join(lines) + "\n").encode()
    tables = [read_bytes(data, Budget(), fast, Named(named))[0][0] for fast in (False, True)]

    assert tables[0].defects == tables[1].defects
    assert (tables[0].rows == tables[1].rows).all()
    for name, column in tables[0].columns.items():
        other = tables[1].columns[name]
        assert [c >= 0 and column.vocabulary[c] for c in column.codes] == [c >= 0 and other.vocabulary[c] for c in other.codes]


def test_mapping_check_without_a_mapping_shows_what_names_tell(go, tmp_path: Path) -> None:
    """Column by column from its name in the file, the first rows before and after, what is left over."""
    (tmp_path / "names.csv").write_text("Store,Machine,step,Started,Weather\nS,A,flush,2026-05-04T20:00,wet\n")
    status, out, _ = go(MAPPING, "mapping", "check", "{}/names.csv")

    assert status == 0
    assert "equipment_id       from 'Machine'" in out
    assert "row 2 is      Store: S; Machine: A; step: flush; Started: 2026-05-04T20:00\n" in out
    assert "row 2 becomes store_id: S; equipment_id: A; step: flush; started_at: 2026-05-04T20:00:00" in out
    assert "columns not used: 'Weather'" in out
    assert "columns read by common names: 'Store' as store_id, 'Machine' as equipment_id, 'Started' as started_at" in out


def test_mapping_check_tells_rows_that_lack_what_every_row_needs(go, tmp_path: Path) -> None:
    """A blank machine below the first is no fault of a cell, and yet nothing can be made of the row."""
    (tmp_path / "names.csv").write_text("Store,Machine,step,Started\nS,A,flush,2026-05-04T20:00\nS,,flush,2026-05-04T20:20\n")
    status, out, _ = go(MAPPING, "mapping", "check", "{}/names.csv")

    assert status == 0
    assert "Lacking: these rows cannot be used in full\n  row 3: equipment_id is blank\n" in out


def test_mapping_check_ends_in_3_where_no_row_can_be_used(go, tmp_path: Path) -> None:
    """As `check` does: minutes alone tell neither a cleaning nor a day."""
    (tmp_path / "names.csv").write_text("Store,Machine,step,duration_s\nS,A,flush,900\n")
    status, out, _ = go(MAPPING, "mapping", "check", "{}/names.csv")

    assert status == 3
    assert "row 2: cycle_id is blank and there is no time to tell the cycle by" in out


def test_mapping_check_tells_a_blank_column_that_it_knows_from_one_it_does_not(go, tmp_path: Path) -> None:
    """`note` is ours and blank; `Mood` is blank as well, and nobody's."""
    (tmp_path / "names.csv").write_text("store_id,equipment_id,step,started_at,note,Mood\nS,A,flush,2026-05-04T20:00,,\n")
    status, out, _ = go(MAPPING, "mapping", "check", "{}/names.csv")

    assert status == 0
    assert "columns not used: 'Mood'\n" in out
    assert "columns known by their names, in which every cell is blank: 'note'\n" in out


def test_mapping_check_says_that_a_cell_looks_like_a_serial_number(go, tmp_path: Path) -> None:
    """It is no date of two readings, but a count that a mapping can declare."""
    (tmp_path / "names.csv").write_text("store_id,equipment_id,step,started_at\nS,A,flush,46053.7917\n")
    _, out, _ = go(MAPPING, "mapping", "check", "{}/names.csv")

    assert "started_at '46053.7917' looks like the serial number of a date in a spreadsheet; a mapping has to declare it" in out
    assert "more than one date" not in out
