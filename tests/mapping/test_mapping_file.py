"""What may stand in a mapping: each fault is one sentence with file, line, key, what was found and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from validator.documents import as_json, read, read_bytes
from validator.errors import WrongInput
from validator.mapping.model import Layout, load_mapping
from validator.schemas import faults_by_schema

from .conftest import layout
from .exports import EXPORTS, story

GOOD = "columns: {equipment_id: M, step: S, started_at: A}\nconstants: {store_id: S}\n"


@pytest.mark.parametrize(("text", "said"), [
    ("columns: {equipment: M}", "m.yaml line 4: files[0].columns: 'equipment' is no column of the canonical table, did you mean 'equipment_id'?"),
    ("columns: {equipment_id: M, step: S, started_at: A}", "no column or constant gives store_id, which every row needs"),
    ("columns: {equipment_id: M, step: S}\nconstants: {store_id: S}", "none of started_at, ended_at, duration_s is given"),
    (GOOD + "dates: dym", "m.yaml line 6: files[0].dates: found 'dym'; allowed: 'dmy', 'mdy', 'ymd'"),
    (GOOD + "timezone: Chicago", "found 'Chicago', which is no IANA time zone; write it as America/Chicago"),
    (GOOD + "timezone: ../../etc/passwd", "which is no IANA time zone"),
    (GOOD + "header_row: 0", "found 0; rows are counted from 1"),
    (GOOD + "decimal: ','\nthousands: ','", "thousands and decimal are both ','"),
    (GOOD + "datez: dmy", "unknown key 'datez', did you mean 'dates'?"),
    (GOOD + "skip: [{column: M}]", "needs one of: equals, begins, blank: true"),
    (GOOD + "values: {step: {Flushed: flush, FLUSHED: soak}}", "'Flushed' and 'FLUSHED' differ in case alone; say match_case: true"),
    (GOOD.replace("started_at: A", "started_at: A, temperature_c: {from: T, unit: K}"), "columns.temperature_c.unit: found 'K'; allowed: C, F"),
    (GOOD.replace("started_at: A", "started_at: A, ph: {from: T, unit: C}"), "columns.ph.unit: found 'C'; this column has no unit"),
    (GOOD.replace("started_at: A", "started_at: {date: A}"), "needs both date and time, the columns that hold them"),
    (GOOD.replace("started_at: A", "started_at: {from: A, date: B, time: C}"), "needs one of: from; date and time; join"),
    (GOOD.replace("started_at: A", "started_at: {join: [A, B]}"), "join is for columns of text; a time is given by date and time"),
    (GOOD.replace("started_at: A", "started_at: A, step: {date: A, time: B}").replace("step: S, ", ""), "date and time are for the columns"),
    (GOOD.replace("started_at: A", 'started_at: {date: A, time: B, night_until: "6"}'), "night_until: expected a time of day as \"06:00\", found '6'"),
    (GOOD.replace("started_at: A", 'started_at: "a[].t", target: "b[].t"'), "columns go through two lists, a[] and b[]"),
    (GOOD.replace("store_id: S", "store_id: S, step: flush"), "step stands in columns and in constants; keep one of them"),
    (GOOD + "steps: [{constants: {step: flush}}]", "needs columns, or when, to tell whether it was done"),
    (GOOD + "steps: [{targets: {line-1: L1}, columns: {duration_s: L}}]", "no column with a * in its name tells them apart"),
])  # fmt: skip
def test_faults_are_said_in_one_sentence(text: str, said: str) -> None:
    """File, line and key stand before it."""
    with pytest.raises(WrongInput) as caught:
        layout(text)

    assert any(said in fault for fault in caught.value.faults), caught.value.faults
    assert all(fault.startswith("m.yaml line ") for fault in caught.value.faults)


@pytest.mark.parametrize("data", ["", "[]", "mapping: m", "mapping: m\nfiles: []", "mapping: m\nfiles: [{match: x}]", "a: &a 1\nb: *a"])
def test_what_is_no_mapping_is_refused(tmp_path: Path, data: str) -> None:
    """An empty file, a list, no layout, an anchor: the path stands in the sentence."""
    (tmp_path / "m.yaml").write_text(data, "utf-8")

    with pytest.raises(WrongInput, match=r"m\.yaml"):
        load_mapping(tmp_path / "m.yaml")


@pytest.mark.parametrize("name", EXPORTS)
def test_the_schema_accepts_what_the_model_accepts(name: str) -> None:
    """Every mapping of the stories is valid by the stored schema."""
    text = EXPORTS[name](story()).mapping

    assert faults_by_schema("mapping", as_json(read_bytes(text.encode(), "m.yaml").data)) == []


@pytest.mark.parametrize("name", EXPORTS)
def test_a_layout_goes_to_the_reading_process_unchanged(tmp_path: Path, name: str) -> None:
    """As JSON and back it is the same layout."""
    (tmp_path / "m.yaml").write_text(EXPORTS[name](story()).mapping, "utf-8")
    for one in load_mapping(tmp_path / "m.yaml").file.files:
        assert Layout.model_validate(one.model_dump(mode="json", by_alias=True, exclude_defaults=True)) == one
    assert read(tmp_path / "m.yaml").sha256


def test_the_first_layout_whose_pattern_fits_is_used(tmp_path: Path) -> None:
    """By the last part of the name, case aside; a file that fits none has none."""
    inner = "columns: {equipment_id: M, step: S, started_at: A}, constants: {store_id: S}"
    (tmp_path / "m.yaml").write_text(f"mapping: m\nfiles: [{{match: 'June*', {inner}}}, {{match: '*.csv', {inner}}}]", "utf-8")
    file = load_mapping(tmp_path / "m.yaml").file

    assert [[one.match for one in file.layouts(n)] for n in ("x/june.CSV", "may.csv", "may.xlsx")] == [["June*"], ["*.csv"], []]
