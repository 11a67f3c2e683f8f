"""JSON arrays and JSON Lines: RFC 8259 to the letter, numbers as they stand, one bad record costs itself."""

from __future__ import annotations

import json

import pytest

from validator.tables import Budget

RECORD = {"store_id": "TL-01", "equipment_id": "TL-01-SYR-A", "step": "flush", "started_at": "2026-03-01T21:40:00"}


def record(**cells):
    return json.dumps({**RECORD, **cells})


def array(*records):
    return "[" + ",\n".join(records) + "]"


@pytest.fixture(params=["json", "jsonl"])
def reading_records(request, reading):
    """A function that reads records given as JSON texts, once as an array and once as lines."""

    def read(*records, budget=None):
        text = array(*records) if request.param == "json" else "\n".join(records) + "\n"
        return reading(text, f"log.{request.param}", budget)

    return read


def test_positions_count_from_one(reading_records):
    """The first record is row 1."""
    seen = reading_records(record(), record(), record())
    assert seen.rows == [1, 2, 3]
    assert not seen.defects


def test_numbers_keep_their_text(reading_records):
    """A number is the text that stands in the file, as an id and as a reading."""
    seen = reading_records(record().replace('"TL-01"', "9007199254740993"), record()[:-1] + ', "ph": 7.10}')
    assert seen.cells("store_id") == ["9007199254740993", "TL-01"]
    assert seen.cells("ph") == ["", "7.10"]


@pytest.mark.parametrize("number", ["1e309", "1" * 5000])
def test_numbers_beyond_a_float(reading_records, number):
    """A number that no float holds is a defect of its cell, not a crash and not infinity."""
    seen = reading_records(record(), record()[:-1] + f', "concentration_ppm": {number}}}')
    assert seen.faults == {(2, "concentration_ppm", "bad_number")}


def test_a_key_that_stands_twice(reading_records):
    """Which of two values counts is not guessed: the cell is blank, the record has its defect, others are clean."""
    seen = reading_records(record(ph=7), record()[:-1] + ', "ph": 7.0, "ph": 2.0}', record(ph=8))
    assert seen.cells("ph") == ["7", "", "8"]
    assert seen.faults == {(2, "ph", "duplicate_key")}


def test_two_spellings_of_one_key_in_a_record(reading_records):
    """`ph` and `PH` in one record are two values for one column."""
    seen = reading_records(record(ph=7), record(ph=7, PH=8))
    assert (2, "ph", "duplicate_key") in seen.faults


@pytest.mark.parametrize("value", [True, False, {"value": 7}, [7], []])
def test_values_that_are_no_cell(reading_records, value):
    """A truth value is no number, and a cell holds no list or object."""
    seen = reading_records(record(ph=7), record(ph=value))
    assert (2, "ph", "bad_type") in seen.faults
    assert {row for row, _, _ in seen.faults} == {2}


def test_null_is_blank(reading_records):
    """A null is a cell without a value."""
    seen = reading_records(record(ph=None, performed_by=None))
    assert not seen.defects
    assert seen.cells("ph") == [""]


def test_half_a_character(reading_records):
    """An escaped surrogate without its other half is a defect before any report is written; a whole pair is text."""
    seen = reading_records(record(performed_by="x").replace('"x"', r'"\ud800"'), record(performed_by="\U0001f600"))
    assert seen.faults == {(1, "performed_by", "bad_encoding")}
    assert seen.cells("performed_by") == ["", "\U0001f600"]


def test_names_that_change_half_way(reading_records):
    """When `started_at` becomes `start_time`, those records are defective, not silently without a start."""
    later = record().replace("started_at", "start_time")
    seen = reading_records(record(), record(), later, later)
    assert {(3, "started_at", "unknown_key"), (4, "started_at", "unknown_key")} <= seen.faults
    assert {row for row, _, _ in seen.faults} == {3, 4}


def test_sparse_records_are_no_drift(reading_records):
    """A key that is left out where it has no value, and a new key that resembles none, are no defect."""
    first = record(ended_at="2026-03-01T21:55:00", duration_s=900)
    assert not reading_records(first, record(remark="ok"), record(ph=7)).defects


def test_a_bad_byte_costs_its_cell(reading):
    """Bytes that are not UTF-8 are a defect of the cell they stand in."""
    lines = "\n".join([record(performed_by="Jos"), record(performed_by="Ana")]).encode().replace(b"Jos", b"Jos\xe9")
    seen = reading(lines, "log.jsonl")
    assert seen.faults == {(1, "performed_by", "bad_encoding")}


def test_cell_length_both_sides_of_the_limit(reading_records):
    """A cell of exactly the limit is read; one character more is a defect of that cell."""
    seen = reading_records(
        record(performed_by="é" * 50), record(performed_by="é" * 51), budget=Budget(cell_characters=50)
    )
    assert seen.faults == {(2, "performed_by", "cell_too_long")}


def test_records_with_ever_new_keys(reading_records):
    """A file whose records differ in the order of their keys is one table all the same."""
    records = [json.dumps(dict(sorted({**RECORD, f"x{n}": n}.items(), reverse=n % 2 == 0))) for n in range(300)]
    seen = reading_records(*records)
    assert seen.rows == list(range(1, 301))
    assert set(seen.cells("step")) == {"flush"}
    assert not seen.defects


# --- arrays ---------------------------------------------------------------------------------------------------------


def test_an_empty_array_has_no_record(reading):
    """No record is not a fault of the file."""
    assert reading(" [ ]\n", "log.json").rows == []


@pytest.mark.parametrize("constant", ["NaN", "Infinity", "-Infinity"])
def test_constants_that_json_does_not_have(refusing, constant):
    """NaN passes every comparison the wrong way; the refusal names where it stands."""
    text = array(record(note="NaN"), record()[:-1] + f', "ph": {constant}}}')
    refusal = refusing(text, "log.json")
    assert refusal.code == "bad_json"
    assert refusal.place == f"line 2 column {len(record()) + 8}"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (array(record())[:-20], "line 1"), (array(record()) + array(record()), "line 1 column"),
        ("// a log\n" + array(record()), "line 1 column 1"), (array(record() + ","), "line 1 column"),
        (array(record()[:-1] + ", 'ph': 7}"), "line 1 column"), (array(record()[:-1] + ', "ph": 07}'), "line 1 column"),
        (array(record(note="x").replace("x", "\t")), "line 1 column"), ("[" + record(), "line 1 column"),
    ],
)  # fmt: skip
def test_what_is_not_json_is_refused_with_its_place(refusing, text, place):
    """A cut file, a second text, comments, trailing commas, bare keys, leading zeros and raw tabs are no JSON."""
    refusal = refusing(text, "log.json")
    assert refusal.code == "bad_json"
    assert refusal.place.startswith(place)


@pytest.mark.parametrize("text", ['{"a": ' + record() + "}", record(), '{"records": []}'])
def test_an_object_is_no_array(refusing, text):
    """The refusal says what is expected and what was found."""
    refusal = refusing(text, "log.json")
    assert (refusal.code, refusal.place) == ("wrong_shape", "$")


def test_lines_named_json_get_the_right_name(refusing):
    """Records a line under the name .json are refused with the name they should have."""
    refusal = refusing(record() + "\n" + record(), "log.json")
    assert refusal.code == "bad_json"
    assert ".jsonl" in refusal.sentence


def test_an_array_element_that_is_no_object(reading):
    """Its position is lost, the others stay."""
    seen = reading(array(record(), "7", record()), "log.json")
    assert (seen.rows, seen.faults) == ([1, 3], {(2, "", "wrong_shape")})


@pytest.mark.parametrize("text", ["[" * 100_000, array(record()[:-1] + ', "ph": ' + "[" * 70 + "]" * 70 + "}")])
def test_deep_nesting_is_refused(refusing, text):
    """Nesting stops at a limit, not at the end of a stack."""
    assert refusing(text, "log.json").code == "too_deep"


def test_depth_both_sides_of_the_limit(reading, refusing):
    """The array is one level, the record the next; a cell may use the rest."""
    text = array(record()[:-1] + ', "other": ' + "[" * 3 + "]" * 3 + "}")
    assert reading(text, "log.json", Budget(depth=5)).rows == [1]
    assert refusing(text, "log.json", Budget(depth=4)).code == "too_deep"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32", "utf-16-le"])
def test_other_encodings_are_refused(refusing, encoding):
    """RFC 8259 knows UTF-8 only."""
    assert refusing(array(record()).encode(encoding), "log.json").code == "encoding_not_utf8"


def test_a_byte_order_mark_is_ignored(reading):
    """The mark some programs put before UTF-8 is no part of the text."""
    assert reading(b"\xef\xbb\xbf" + array(record()).encode(), "log.json").rows == [1]


def test_a_missing_key_refuses_the_file(refusing):
    """A needed name that no record has is told like a missing column."""
    refusal = refusing(array(record().replace("step", "stepp")), "log.json")
    assert (refusal.code, refusal.place) == ("missing_column", "step")
    assert "'stepp'" in refusal.sentence


# --- lines ----------------------------------------------------------------------------------------------------------


def test_a_broken_line_costs_itself(reading):
    """A cut line and a line that is a list are two defects among clean rows."""
    lines = [record(), record(), record()[:30], record(), "[1, 2]", record(), record()]
    seen = reading("\n".join(lines), "log.jsonl")
    assert seen.rows == [1, 2, 4, 6, 7]
    assert seen.faults == {(3, "", "bad_json"), (5, "", "wrong_shape")}


def test_blank_lines_crlf_and_mark(reading):
    """Blank lines count as lines and as blank; CRLF, a byte order mark and a missing last line end are fine."""
    seen = reading("\ufeff" + record() + "\r\n\r\n" + record() + "\r\n  \r\n" + record(), "log.jsonl")
    assert seen.rows == [1, 3, 5]
    assert seen.tables[0].blank_rows == 2
    assert not seen.defects


def test_deep_nesting_costs_its_line(reading):
    """One line of brackets does not refuse the others."""
    seen = reading(
        "\n".join([record(), "[" * 100_000, record()[:-1] + ', "ph": ' + "[" * 70 + "]" * 70 + "}"]), "log.jsonl"
    )
    assert (seen.rows, seen.faults) == ([1], {(2, "", "too_deep"), (3, "", "too_deep")})


def test_constants_cost_their_line(reading):
    """NaN on one line is a defect of that line."""
    seen = reading(record() + "\n" + record()[:-1] + ', "ph": NaN}\n', "log.jsonl")
    assert (seen.rows, seen.faults) == ([1], {(2, "", "bad_json")})


@pytest.mark.parametrize("name", ["log.jsonl", "-"])
def test_one_object_over_many_lines_is_refused(refusing, name):
    """An object written for people to read is no JSON Lines: no line of it is a record."""
    refusal = refusing(json.dumps({"records": [RECORD]}, indent=2), name)
    assert (refusal.code, refusal.place) == ("wrong_shape", "$")


def test_no_line_is_a_record(refusing):
    """A file without one readable line is refused with its first fault."""
    refusal = refusing("{broken\n{broken\n", "log.jsonl")
    assert (refusal.code, refusal.place) == ("bad_json", "line 1")
