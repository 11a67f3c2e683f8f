"""CSV and XLSX, of findings and of actions: typed, complete, and read back by programs that are not ours."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable

import openpyxl
import pandas as pd
import pytest
import python_calamine
from hypothesis import example, given
from hypothesis import strategies as st

from validator.findings import Report
from validator.reports import RENDERERS, workbook
from validator.reports.layout import GOVERNS
from validator.reports.workbook import Column, Sheet

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")


def table(name: str, report: Report) -> list[dict[str, str]]:
    text = RENDERERS[name].render(report).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def sheets(name: str, report: Report) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(RENDERERS[name].render(report)))


def columns(sheet: openpyxl.worksheet.worksheet.Worksheet) -> dict[str, list[object]]:
    head, *rows = sheet.iter_rows(values_only=True)
    return {str(label): [row[n] for row in rows] for n, label in enumerate(head)}


@pytest.mark.parametrize("name", ["full", "clean", "empty", "unobserved", "fleet"])
def test_every_finding_is_a_row_in_both_forms(made: Made, name: str) -> None:
    """Neither form has a cap that a run reaches; a clean run is a heading alone."""
    report = made(name)
    ids = sorted(finding.id for finding in report.findings)

    assert sorted(row["finding"] for row in table("csv", report)) == ids
    assert sorted(columns(sheets("xlsx", report)["Findings"])["finding"]) == ids


@pytest.mark.parametrize("name", ["full", "clean", "fleet"])
def test_every_action_is_a_row_in_both_forms(made: Made, name: str) -> None:
    """In the order of urgency that the report has."""
    report = made(name)
    ids = [action.id for action in report.actions]

    assert [row["action_id"] for row in table("actions-csv", report)] == ids
    assert columns(sheets("actions-xlsx", report)["Actions"])["action_id"] == ids


def test_pandas_reads_numbers_as_numbers_and_times_as_times(made: Made) -> None:
    """A person sorts by them; a negative margin is a number and no formula."""
    found = pd.read_csv(io.BytesIO(RENDERERS["csv"].render(made("full"))), parse_dates=["due"]).set_index("finding")

    assert found.loc["F00000003", "margin"] == -20.5
    assert found["required_min"].dtype == float
    assert found.loc["F00000005", "due"] == pd.Timestamp("2026-04-26T23:59:59-05:00")


def test_the_workbook_has_numbers_dates_and_text(made: Made) -> None:
    """By openpyxl and by calamine alike; a time is that of the store's clock."""
    written = RENDERERS["xlsx"].render(made("full"))
    found = columns(openpyxl.load_workbook(io.BytesIO(written))["Findings"])
    at = found["finding"].index("F00000003")
    calamine = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(written)).get_sheet_by_name("Findings")
    row = dict(zip(*(calamine.to_python(skip_empty_area=False)[n] for n in (0, at + 1)), strict=True))

    assert (found["margin"][at], found["cycle_started"][at]) == (-20.5, dt.datetime(2026, 5, 1, 7, 0))
    assert (row["margin"], row["cycle_started"]) == (-20.5, dt.datetime(2026, 5, 1, 7, 0))
    assert found["required"][at] == row["required"] == "50 to 100 ppm"


def test_the_rows_behind_a_finding_stand_on_their_own_sheet(made: Made) -> None:
    """One line a value, so that they can be filtered by file, row and column."""
    found = columns(sheets("xlsx", made("full"))["Evidence"])
    of_one = [n for n, finding in enumerate(found["finding"]) if finding == "F00000001"]

    assert [(found["file"][n], found["row"][n], found["column"][n]) for n in of_one] == [
        ("monday.csv", row, "started_at") for row in (16, 12, 14, 15)
    ]


@pytest.mark.parametrize("name", ["xlsx", "actions-xlsx"])
def test_every_sheet_has_a_frozen_heading_and_a_filter(made: Made, name: str) -> None:
    """And the cautions with the sentence on who governs stand in both workbooks."""
    book = sheets(name, made("full"))

    assert {(sheet.freeze_panes, sheet.auto_filter.ref == sheet.dimensions) for sheet in book} == {("A2", True)}
    said = columns(book["Read first"])["says"]
    assert said[0] == GOVERNS
    assert [f"{caution}." for caution in made("full").cautions] == said[1:3]


def test_an_action_can_be_kept(made: Made) -> None:
    """Its state is chosen from a list and dates are dates; who did and verified it is left blank to sign."""
    sheet = sheets("actions-xlsx", made("full"))["Actions"]
    found = columns(sheet)
    head = [cell.value for cell in sheet[1]]
    entries = {head[openpyxl.utils.cell.coordinate_to_tuple(str(v.sqref).split(":")[0])[1] - 1]: v for v in
               sheet.data_validations.dataValidation}  # fmt: skip

    assert entries["state"].formula1 == '"open,done,verified"'
    assert {entries[name].type for name in ("done_on", "verified_on")} == {"date"}
    assert found["state"] == ["open"] * 4
    assert {value for name in ("done_by", "done_on", "signature", "verified_by", "verified_on") for value in found[name]} == {None}


def test_one_line_stands_for_both_lines_of_a_machine(made: Made) -> None:
    """The same action for several targets is said once, with all of them, its time and where that comes from."""
    row = next(r for r in table("actions-csv", made("full")) if r["rule"] == "SYR-FLUSH")

    assert (row["targets"], row["due"]) == ("line-2, line-3", "2026-05-07T06:00:00-05:00")
    assert row["due_reason"] == "critical: within 72 h, food-code 8-405.11"
    assert row["governs"] == GOVERNS
    assert all(caution in row["cautions_in_full"] for caution in made("full").cautions)


def test_findings_that_ask_for_nothing_are_counted_beside_the_actions(made: Made) -> None:
    """What was corrected or accepted is in no action, and the list says how many there are."""
    said = columns(sheets("actions-xlsx", made("full"))["Read first"])

    assert said["says"][said["about"].index("Not listed")] == "1 finding put right on site, 1 finding accepted for a time"


@pytest.mark.parametrize("name", ["csv", "actions-csv"])
@pytest.mark.parametrize("sign", SIGNS)
def test_no_cell_of_a_csv_file_is_a_formula(made: Made, every_text: EveryText, name: str, sign: str) -> None:
    """With a sign in front of every text that a spreadsheet would run, each such cell has a quote before it."""
    numbers = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
    report = every_text(made("full"), lambda text: sign + text)
    cells = [cell for row in table(name, report) for cell in row.values() if not numbers.fullmatch(cell)]

    assert cells
    assert [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))] == []


@pytest.mark.parametrize("name", ["xlsx", "actions-xlsx"])
def test_no_cell_of_a_workbook_is_a_formula(made: Made, every_text: EveryText, hostile: str, name: str) -> None:
    """Text is text whatever it begins with, in every sheet; the package has neither macro nor link."""
    report = every_text(made("full"), lambda text: hostile + text)
    written = RENDERERS[name].render(report)
    book = openpyxl.load_workbook(io.BytesIO(written))
    cells = [cell for sheet in book for row in sheet for cell in row if isinstance(cell.value, str)]
    with zipfile.ZipFile(io.BytesIO(written)) as package:
        parts = [package.read(part) for part in package.namelist() if "/sheet" in part]

    assert {cell.data_type for cell in cells} <= {"s", "inlineStr"}
    assert any(cell.value.startswith("=cmd|") for cell in cells)
    assert not any(b"<f>" in part or b"hyperlink" in part for part in parts)


@example("_x0041_ and _x005F_x0041_")
@given(st.text(max_size=60))
def test_text_comes_back_from_a_workbook_as_it_went_in(text: str) -> None:
    """But for what XML cannot hold; `_x0041_` stays itself, which other readers of the format unescape."""
    written = workbook.write([Sheet("T", (Column("said"), Column("number")), [(text, 1)])])
    row = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(written)).get_sheet_by_name("T").to_python()[1]
    plain = re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)

    assert row[0] == plain.replace("\r\n", "\n").replace("\r", "\n")


@given(st.floats(allow_nan=False, allow_infinity=False), st.datetimes(dt.datetime(1901, 1, 1), dt.datetime(9999, 1, 1)))
def test_numbers_and_times_come_back_as_they_went_in(number: float, moment: dt.datetime) -> None:
    """A number to its last digit, a time to the second."""
    moment = moment.replace(microsecond=0)
    written = workbook.write([Sheet("T", (Column("number"), Column("moment")), [(number, moment)])])
    row = list(openpyxl.load_workbook(io.BytesIO(written))["T"].values)[1]

    assert row == (number, moment)


def test_a_long_text_says_how_much_of_it_is_left_out(made: Made, every_text: EveryText) -> None:
    """A cell holds 32,767 characters; an id longer than that is cut with a count, and the file stays readable."""
    full = made("full")
    huge = dataclasses.replace(full.findings[0], id="x" * 100_000, message="m" * 100_000)
    found = columns(sheets("xlsx", dataclasses.replace(full, findings=(huge,), actions=()))["Findings"])

    assert found["finding"][0].endswith(" ... (68,000 more characters)")
    assert found["message"][0].endswith(" ... (98,000 more characters).")


def test_rows_past_the_end_of_a_sheet_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """The last row says how many there are; nothing is dropped in silence."""
    monkeypatch.setattr(workbook, "ROWS", 3)
    written = workbook.write([Sheet("T", (Column("n"),), [(n,) for n in range(5)])])

    assert [row[0] for row in openpyxl.load_workbook(io.BytesIO(written))["T"].values][1:] == [
        0, 1, "... and 3 more in the CSV and JSON forms",
    ]  # fmt: skip


def test_every_column_has_a_value_in_every_row(made: Made) -> None:
    """As many cells as columns: a cell too many would shift all after it."""
    for name in ("csv", "actions-csv"):
        rows = list(csv.reader(io.StringIO(RENDERERS[name].render(made("full")).decode(), newline="")))
        assert {len(row) for row in rows} == {len(rows[0])}
