"""Which columns with another name are taken for ours, and which refuse a file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from validator.cli import run
from validator.errors import Unreadable
from validator.mapping.aliases import aliases, could_be, tokens
from validator.readers import read_files
from validator.readers.headers import is_header, read_header
from validator.tables import CANONICAL, FileRead, FileRefused

SPOKEN = ["Store", "Machine", "Task", "Started"]
GOOD = ["store_id", "equipment_id", "step", "started_at"]


def refusal(cells: list[str]) -> Unreadable:
    with pytest.raises(Unreadable) as caught:
        read_header(cells, "1:")
    return caught.value


def test_common_names_are_read_and_said() -> None:
    """Every column that was taken for ours is named in one assumption."""
    header = read_header([*SPOKEN, "Finished", "Checked by"])

    assert is_header([*SPOKEN, "Finished"])
    assert list(header.columns.values()) == [*GOOD, "ended_at", "verified_by"]
    assert header.assumptions == [
        "columns read by common names: 'Store' as store_id, 'Machine' as equipment_id, 'Task' as step, 'Started' as "
        "started_at, 'Finished' as ended_at, 'Checked by' as verified_by"
    ]


def test_the_canonical_name_goes_before_a_common_one() -> None:
    """A file of ours may hold a column 'Machine' beside `equipment_id`; it is not used."""
    header = read_header([*GOOD, "Machine"])

    assert header.columns == dict(enumerate(GOOD))
    assert header.notices == ["columns not used: 'Machine'"]


def test_two_columns_that_could_be_one_refuse_the_file() -> None:
    """'Started' and 'Begin' both tell when; the sentence names them, the column and the command."""
    caught = refusal([*SPOKEN, "Begin"])

    assert (caught.code, caught.place) == ("ambiguous_column", "1:started_at")
    assert "'Started' and 'Begin' could both be started_at" in caught.sentence
    assert "`cip-audit mapping draft FILE`" in caught.sentence


@pytest.mark.parametrize(("name", "said"), [
    ("Unit", None), ("Product", "agent or product_amount"), ("Timestamp", "recorded_at"), ("Initials", "performed_by or verified_by"),
])  # fmt: skip
def test_a_name_with_two_meanings_refuses_the_file(name: str, said: str | None) -> None:
    """It is left aside only where another column has taken all that it could be."""
    assert f"{name!r} could be " in refusal([*SPOKEN, name]).sentence
    if said:
        assert said in refusal([*SPOKEN, name]).sentence
    assert "ambiguous" not in str(read_header([*GOOD, name]).notices)


def test_a_name_with_two_meanings_that_are_both_taken_is_left_aside() -> None:
    """'Time' can be the start or the end; where both have columns of their own it is neither."""
    assert len(read_header([*SPOKEN, "Finished", "Time"]).columns) == 5


@pytest.mark.parametrize(("name", "column"), [
    ("Temp (°F)", "temperature_f"), ("Water temp. °C", "temperature_c"), ("PPM", "concentration_ppm"), ("Duration (s)", "duration_s"),
    ("Strength mg/L", "concentration_ppm"),
])  # fmt: skip
def test_a_unit_in_the_name_that_is_ours(name: str, column: str) -> None:
    """The column of ours that is in that unit takes it as it stands."""
    assert read_header([*SPOKEN, name]).columns[4] == column


@pytest.mark.parametrize(("name", "said"), [
    ("Minutes", "is in min while duration_s is in s"), ("Duration", "names no unit"), ("Strength %", "is in % while"),
    ("Temp", "could be temperature_c or temperature_f"), ("Strength", "names no unit"), ("pH (min)", "has a unit"),
])  # fmt: skip
def test_a_unit_that_is_not_ours_or_not_named_refuses_the_file(name: str, said: str) -> None:
    """Nothing is converted and no unit is supposed."""
    assert said in refusal([*SPOKEN, name]).sentence


def test_days_without_their_time_refuse_the_file() -> None:
    """A column of days is no start; beside one that is, it is only left aside."""
    assert "holds days" in refusal(["Store", "Machine", "Task", "Date", "Finished"]).sentence
    assert read_header([*SPOKEN, "Date"]).notices == ["columns not used: 'Date'"]


def test_a_column_that_is_missing_points_to_a_draft() -> None:
    """No store in the file: a mapping can say it once for all rows."""
    caught = refusal(["Machine", "Task", "Started"])

    assert caught.code == "missing_column"
    assert caught.sentence.endswith("`cip-audit mapping draft FILE` proposes a mapping")


def test_a_file_of_ours_may_hold_anything_beside_its_columns() -> None:
    """Where all needed names are canonical, an unclear one is left aside and named."""
    header = read_header([*GOOD, "Temp", "Minutes", "Checked by"])

    assert header.columns == {**dict(enumerate(GOOD)), 6: "verified_by"}
    assert header.notices == ["columns not used: 'Temp', 'Minutes'"]


def test_the_table_names_columns_that_there_are() -> None:
    """Every entry is for a canonical column or for days, and no unclear name comes under one word twice."""
    table = aliases()

    assert set(table["columns"]) - {"date"} <= set(CANONICAL)
    assert {c for meant in table["unclear"].values() for c in meant} <= set(CANONICAL)
    assert all(" ".join(tokens(name)) == name and len(meant) == 2 for name, meant in table["unclear"].items())


def test_a_common_name_means_one_column_or_is_unclear() -> None:
    """No name stands for two columns without being listed as unclear."""
    for names in aliases()["columns"].values():
        for name in names:
            meant = could_be(name)
            assert len(meant) == 1 or meant == tuple(aliases()["unclear"][" ".join(tokens(name))])


def read(path: Path, text: str) -> FileRead | FileRefused:
    path.write_text(text, "utf-8")
    (found,) = read_files([str(path)])
    return found


def test_objects_are_read_by_common_names(tmp_path: Path) -> None:
    """The keys of JSON are names like others; one that comes later is taken if its column is free."""
    log = [{"Store": "S", "Machine": "A", "Task": "flush", "Started": "2026-05-04T20:00"},
           {"Store": "S", "Machine": "A", "Task": "flush", "Started": "2026-05-04T21:00", "ppm": 100}]  # fmt: skip
    found = read(tmp_path / "log.json", json.dumps(log))

    assert isinstance(found, FileRead)
    assert found.tables[0].numbers["concentration_ppm"].tolist()[1] == 100


def test_objects_that_use_two_names_for_one_column(tmp_path: Path) -> None:
    """A canonical key that comes after a common one for the same column: which is meant cannot be known."""
    log = [{"Store": "S", "Machine": "A", "Task": "flush", "Started": "2026-05-04T20:00", "PPM": 1},
           {"Store": "S", "Machine": "A", "Task": "flush", "Started": "2026-05-04T21:00", "concentration_ppm": 2}]  # fmt: skip
    found = read(tmp_path / "log.json", json.dumps(log))

    assert isinstance(found, FileRefused)
    assert "'PPM' and 'concentration_ppm'" in found.sentence


def test_cells_stay_what_they_are(tmp_path: Path) -> None:
    """A day and month that can be swapped stay a defect, a step in other words stays as it is; both point to a mapping."""
    found = read(tmp_path / "log.csv", ",".join(SPOKEN) + "\nS,A,Flushed,05/04/2026 20:00\n")

    assert isinstance(found, FileRead)
    assert [(d.column, d.code) for d in found.tables[0].defects] == [("started_at", "ambiguous_datetime")]
    assert found.tables[0].texts["step"].vocabulary == ["Flushed"]
    assert any("cells of started_at" in text and "mapping draft" in text for text in found.notices)
    assert any("'Flushed' (perhaps flush)" in text for text in found.notices)


def test_the_report_says_it_first(tmp_path: Path, capfdbinary) -> None:
    """What was assumed stands above everything that rests on it, in text and in HTML."""
    (tmp_path / "log.csv").write_text(",".join(SPOKEN) + "\nS,A,flush,2026-05-04T20:00Z\n")
    arguments = ["check", str(tmp_path / "log.csv"), "--rules", "syrup-line-cip", "--as-of", "2026-06-01"]

    for format_ in ("text", "html"):
        run([*arguments, "--format", format_])
        out = " ".join(capfdbinary.readouterr().out.decode().replace("&#39;", "'").split())
        assert out.index("Columns read by common names: 'Store' as store_id") < out.index("FINDINGS" if format_ == "text" else "findings-title")
