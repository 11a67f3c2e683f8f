"""Headers over two rows: titles above names, merged or filled with blanks."""

from __future__ import annotations

import io

import openpyxl
import pytest

from validator.readers.headers import joined

MAPPING = """\
header_rows: 2
columns:
  equipment_id: Machine
constants: {store_id: S}
dates: dmy
steps:
  - targets: {line-1: Line 1, line-2: Line 2}
    constants: {step: flush}
    columns:
      started_at: {date: Date, time: "* start"}
      ended_at: {date: Date, time: "* end"}
"""
TITLES = ["", "", "Line 1", "", "Line 2", "", ""]
NAMES = ["Machine", "Date", "start", "end", "start", "end", "By"]
ROW = ["A", "13.05.2026", "20:00", "20:20", "20:21", "20:41", "Ana"]


def workbook(*rows: list[str], merged: tuple[str, ...] = ()) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([cell or None for cell in row])
    for block in merged:
        book.active.merge_cells(block)
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


def table(*rows: list[str]) -> str:
    return "".join(",".join(row) + "\n" for row in rows)


def test_a_title_stands_for_the_blanks_to_its_right() -> None:
    """A column without a name of its own beneath the title is none of the title's."""
    assert joined([["", "Line 1", "", "Line 2", "", ""], ["Machine", "start", "end", "start", "end", ""]]) == [
        "Machine", "Line 1 start", "Line 1 end", "Line 2 start", "Line 2 end", ""
    ]  # fmt: skip


def test_a_name_merged_over_both_rows_counts_once() -> None:
    """Blank beneath, or the same word again: the name is the same."""
    assert joined([["Machine", "Date", "Line 1"], ["", "Date", "start"]]) == ["Machine", "Date", "Line 1 start"]


def test_merged_cells_say_how_far_a_title_reaches() -> None:
    """Without them 'By' would come under 'Line 2'."""
    spans = [[(2, 3), (4, 5)], []]

    assert joined([TITLES, NAMES], spans)[-1] == "By"
    assert joined([TITLES, NAMES])[-1] == "Line 2 By"


@pytest.mark.parametrize("above", [[], [["Cleaning log"], []]])
def test_both_formats_read_the_same(reading, above) -> None:
    """A workbook with merged titles and a CSV file with blanks give the same rows; a title may stand above."""
    at = 1 + len(above)
    book = workbook(*above, TITLES, NAMES, ROW, merged=(f"C{at}:D{at}", f"E{at}:F{at}"))

    for found in (reading(book, MAPPING, "log.xlsx"), reading(table(*above, TITLES, NAMES, ROW), MAPPING)):
        assert found.column("started_at") == ["2026-05-13T20:00:00", "2026-05-13T20:21:00"]
        assert found.column("ended_at") == ["2026-05-13T20:20:00", "2026-05-13T20:41:00"]
        assert found.rows == [at + 2] * 2
        assert any(f"the header is {where} {at} to {at + 1}" in text for where in ("rows", "lines") for text in found.assumptions)


def test_a_repeated_header_is_seen_by_its_last_row(reading) -> None:
    """A page break that prints the header again is no record."""
    found = reading(table(TITLES, NAMES, ROW, NAMES, ROW), MAPPING)

    assert [(d.row, d.code) for d in found.defects] == [(4, "repeated_header")]


def test_header_row_is_the_first_of_them(reading) -> None:
    """Where the mapping says that the header begins, it begins."""
    found = reading(table(["Machine", "Date"], TITLES, NAMES, ROW), MAPPING + "header_row: 2\n")

    assert found.rows == [4, 4]


@pytest.mark.parametrize("name", ["log.csv", "log.xlsx"])
def test_a_draft_finds_two_rows(tmp_path, capfdbinary, name: str) -> None:
    """Names that repeat under titles are drafted as a header of two rows, with the lines that the titles name."""
    from validator.cli import run

    rows = (TITLES, NAMES, ROW)
    content = workbook(*rows, merged=("C1:D1", "E1:F1")) if name.endswith("xlsx") else table(*rows).encode()
    (tmp_path / name).write_bytes(content)

    run(["mapping", "draft", str(tmp_path / name)])

    out = capfdbinary.readouterr().out.decode()
    assert "    header_rows: 2  # likely" in out
    assert "- targets: {line-1: Line 1, line-2: Line 2}" in out


@pytest.mark.parametrize("record", [
    ["A", "flush", "2026-05-04T20:00", "2026-05-04T20:00"], ["A", "none", "none", "none"], ["A", "flush", "noon", "noon"],
])  # fmt: skip
def test_a_record_is_no_second_row_of_names(tmp_path, capfdbinary, record: list[str]) -> None:
    """Words that repeat beneath names of their own are cells."""
    from validator.cli import run

    (tmp_path / "log.csv").write_text(table(["Machine", "Task", "Start", "End"], record, record))
    run(["mapping", "draft", str(tmp_path / "log.csv")])

    assert "header_rows" not in capfdbinary.readouterr().out.decode()


@pytest.mark.parametrize("rows", [0, 5])
def test_a_header_has_one_to_four_rows(reading, rows: int) -> None:
    """What is none of these is refused with what may stand there."""
    from validator.errors import WrongInput

    with pytest.raises(WrongInput, match="a header takes 1 to 4 rows"):
        reading(table(TITLES, NAMES, ROW), MAPPING.replace("header_rows: 2", f"header_rows: {rows}"))
