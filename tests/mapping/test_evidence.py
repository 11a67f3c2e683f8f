"""Where a finding says that its evidence stands: the export's own column, in a workbook the cell; and what could not be read."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from validator.cli import run

from .exports import EXPORTS, REGISTER, canonical, story
from .strange_exports import deep_json


@pytest.fixture
def told(tmp_path: Path, capfdbinary):
    """`told(name, data, mapping, *arguments)`: what `check` prints; findings as JSON where no arguments are given."""

    def go(name: str, data: bytes, mapping: str | None, *arguments: str):
        (tmp_path / "register.yaml").write_text(REGISTER, "utf-8")
        (tmp_path / name).write_bytes(data)
        (tmp_path / "m.yaml").write_text(mapping or "", "utf-8")
        run(["check", str(tmp_path / name), "--rules", "syrup-line-cip", "--register", str(tmp_path / "register.yaml"), "--as-of",
             "2026-07-01T12:00:00Z", *(("--mapping", str(tmp_path / "m.yaml")) if mapping else ()),
             *(arguments or ("--format", "json"))])  # fmt: skip
        out, err = capfdbinary.readouterr()
        assert out, err.decode()
        return out.decode() if arguments else json.loads(out)["findings"]

    return go


def short_flush(findings: list[dict]) -> dict:
    """Line 2 of machine B was flushed for 11 min where 15 are asked."""
    (found,) = [f for f in findings if f["reason"] == "too_short" and f["kind"] == "flush" and f["target"] == "line-2"
                and f["cycle_id"] == "c-102"]  # fmt: skip
    return found


def where(finding: dict) -> dict[str, str]:
    (row,) = finding["evidence"]
    return dict(zip(row["columns"], row["cells"], strict=True))


def test_a_wide_log_names_its_own_columns(told) -> None:
    """Eight steps stand in one row of the file; the finding tells which of its columns."""
    export = EXPORTS["wide_log"](story())
    cells = where(short_flush(told(export.name, export.data, export.mapping)))

    assert (cells["started_at"], cells["ended_at"]) == ("Night of and L2 from", "Night of and L2 to")
    assert cells["target"] == ""


def test_a_workbook_names_its_cells(told) -> None:
    """The cell as the spreadsheet shows it, beside the column's name: from row 5 on, the ninth step in row 13."""
    export = EXPORTS["titled_workbook"](story())
    cells = where(short_flush(told(export.name, export.data, export.mapping)))

    assert (cells["started_at"], cells["target"]) == ("C13 Date and D13 From", "G13 Line")


def test_nested_objects_name_their_entries(told) -> None:
    """One record of a dump holds everything; the path tells which machine, which cleaning and which step."""
    export = deep_json(story())
    cells = where(short_flush(told(export.name, export.data, export.mapping)))

    # the second machine's first cleaning; mixing was its first step, line 1 the second
    assert cells["started_at"] == "machines[2].cleanings[1].phases[1].steps[3].times.t0"


def test_common_names_are_told_as_they_stand(told) -> None:
    """Read without a mapping, under its own names."""
    data = canonical(story()).replace(b"started_at,ended_at", b"Started,Finished")
    cells = where(short_flush(told("log.csv", data, None)))

    assert (cells["started_at"], cells["ended_at"], cells["target"]) == ("Started", "Finished", "")


def test_a_canonical_file_says_nothing_twice(told) -> None:
    """Its columns bear the names that the report uses."""
    findings = told("log.csv", canonical(story()), None)

    assert {tuple(row["cells"]) for f in findings for row in f["evidence"]} == {()}


@pytest.mark.parametrize("format_", ["text", "html", "explain"])
def test_people_read_it_too(told, format_: str) -> None:
    """In text, on the page and in the reasoning of one finding."""
    export = EXPORTS["wide_log"](story())
    one = short_flush(told(export.name, export.data, export.mapping))["id"]
    out = told(export.name, export.data, export.mapping, *(("--explain", one) if format_ == "explain" else ("--format", format_)))

    assert "Night of and L2 from, Night of and L2 to" in " ".join(out.split()) or format_ == "explain"
    assert format_ == "text" or re.search(r"started_at 2026-05-12T23:07:00-05:00 \[Night of and L2 from\]", out)


@pytest.mark.parametrize(("cell", "shown"), [("25:99", "04/05/2026 25:99"), ("no idea", "04/05/2026 no idea")])
def test_a_cell_that_cannot_be_read_is_not_called_blank(told, cell: str, shown: str) -> None:
    """The finding says what stands there, and names its cell; the same step with a blank cell is called blank."""
    export = EXPORTS["wide_log"](story())
    lines = export.data.decode().split("\n")
    cells = lines[1].split("\t")
    at = lines[0].split("\t").index("L2 to")
    findings = {}
    for text in (cell, ""):
        changed = "\n".join([lines[0], "\t".join([*cells[:at], text, *cells[at + 1 :]]), *lines[2:]])
        findings[text] = [f for f in told(export.name, changed.encode(), export.mapping) if f["cycle_id"] == "c-101"]

    unread = [f for f in findings[cell] if f["rule"] == "SYR-TIMES"]
    assert [(f["reason"], f["message"]) for f in unread] == [
        ("unreadable", "ended_at cannot be read on 1 of 6 rows; what stands there cannot be read: ended_at " + repr(shown))
    ]
    assert unread[0]["evidence"][0]["cells"] == ["Night of and L2 to"]
    assert shown in unread[0]["evidence"][0]["values"][0]
    assert not any("blank" in f["message"] for f in findings[cell] if f["rule"] == "SYR-TIMES")
    blank = [f["message"] for f in findings[""] if f["rule"] == "SYR-TIMES"]
    assert blank == ["ended_at is blank on 1 of 6 rows"]


def test_blank_and_unreadable_cells_are_told_apart(told) -> None:
    """One of each in one cycle: both are counted."""
    rows = canonical(story()).decode().split("\n")
    rows[2] = ",".join(c if at != 7 else "" for at, c in enumerate(rows[2].split(",")))
    rows[3] = ",".join(c if at != 7 else "05/04/26 8pm" for at, c in enumerate(rows[3].split(",")))
    findings = told("log.csv", "\n".join(rows).encode(), None)

    (message,) = [f["message"] for f in findings if f["rule"] == "SYR-TIMES" and f["cycle_id"] == "c-101"]
    assert message.startswith("ended_at is blank on 1 of 6 rows and cannot be read on 1; what stands there cannot be read: ended_at '05/04/26 8pm'")
    (flush,) = [f["message"] for f in findings if f["kind"] == "flush" and f["cycle_id"] == "c-101" and f["target"] == "line-2"]
    assert flush.endswith("what stands there cannot be read: ended_at '05/04/26 8pm'")


def test_a_strength_that_cannot_be_read(told) -> None:
    """It is no reading, but it is not nothing: the finding says what was written."""
    data = canonical(story()).replace(b",120,25,", b",about 120,25,")
    findings = told("log.csv", data, None)

    said = [f["message"] for f in findings if f["cycle_id"] == "c-101" and f["kind"] == "concentration"]
    assert said
    assert all(message.endswith("concentration_ppm 'about 120'") for message in said)
