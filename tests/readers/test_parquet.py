"""Parquet: typed columns as they are, the footer judged before a page is read."""

from __future__ import annotations

import io
import math
from datetime import UTC, date, datetime

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from validator.tables import NAT, Budget

COLUMNS = {
    "store_id": ["TL-01", "TL-01", "TL-02"], "equipment_id": ["A", "B", "A"], "step": ["flush", "rinse", "flush"],
    "started_at": ["2026-03-01T21:40:00", None, "2026-03-02T21:40:00"],
}  # fmt: skip


def written(columns=None, **options):
    buffer = io.BytesIO()
    pq.write_table(pa.table({**COLUMNS, **(columns or {})}), buffer, **options)
    return buffer.getvalue()


@pytest.fixture
def parquet(reading):
    return lambda columns=None, budget=None, **options: reading(written(columns, **options), "log.parquet", budget)


@pytest.fixture
def refused(refusing):
    return lambda columns=None, budget=None, **options: refusing(written(columns, **options), "log.parquet", budget)


def test_text_and_positions(parquet):
    """Text is text, null is blank, and the first row is row 1."""
    seen = parquet({"other": [1, 2, 3]})
    assert seen.rows == [1, 2, 3]
    assert seen.cells("step") == COLUMNS["step"]
    assert seen.cells("started_at") == ["2026-03-01T21:40:00", "", "2026-03-02T21:40:00"]
    assert seen.notices == ["columns not used: 'other'"]


@pytest.mark.parametrize("kind", [pa.string(), pa.large_string(), pa.binary(), pa.dictionary(pa.int8(), pa.string())])
@pytest.mark.parametrize("group", [1, 2, 1000])
def test_every_kind_of_text(parquet, kind, group):
    """Strings, bytes and dictionaries in one or many parts are the same cells."""
    seen = parquet({"step": pa.array(COLUMNS["step"]).cast(kind)}, row_group_size=group)
    assert seen.cells("step") == COLUMNS["step"]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC", "America/Chicago"])
def test_timestamps_of_every_unit(parquet, unit, zone):
    """A timestamp is microseconds; one with a zone is an instant, one without it a wall-clock time."""
    stamp = datetime(2026, 3, 1, 21, 40, tzinfo=UTC)
    values = pa.array([stamp.replace(tzinfo=None), None, None], pa.timestamp(unit))
    column = parquet({"started_at": values.cast(pa.timestamp(unit, zone))}).tables[0].columns["started_at"]
    assert column.microseconds.tolist() == [int(stamp.timestamp()) * 1_000_000, NAT, NAT]
    assert column.absolute == (zone is not None)


def test_times_before_1970_round_down(parquet):
    """Nanoseconds are cut towards the past, as a clock counts."""
    values = pa.array([-1, 1, 1999], pa.timestamp("ns"))
    column = parquet({"started_at": values}).tables[0].columns["started_at"]
    assert column.microseconds.tolist() == [-1, 0, 1]


def test_a_timestamp_beyond_the_calendar(parquet):
    """Year 30828 and a number of seconds that no microsecond count holds are defects, not crashes."""
    seen = parquet({"started_at": pa.array([910_692_730_085_477_580, 0, None], pa.timestamp("us"))})
    assert (1, "started_at", "implausible_datetime") in seen.faults
    huge = pa.array([2**62, None, None], pa.timestamp("ms"))
    assert parquet({"started_at": huge}).faults >= {(1, "started_at", "implausible_datetime")}


def test_numbers(parquet):
    """Floats and whole numbers are readings, NaN and null are blank, infinity is a defect and never passes."""
    seen = parquet({"concentration_ppm": [math.nan, math.inf, 100.5], "ph": pa.array([7, None, 8], pa.int8())})
    assert np.isnan(seen.parsed[0].numbers["concentration_ppm"]).tolist() == [True, True, False]
    assert seen.parsed[0].numbers["ph"][[0, 2]].tolist() == [7, 8]
    assert [(d.row, d.column, d.code) for d in seen.defects] == [(2, "concentration_ppm", "bad_number")]


def test_exact_decimals(parquet):
    """A decimal column keeps its digits as text."""
    from decimal import Decimal

    assert parquet({"ph": [Decimal("7.10"), None, Decimal("6.95")]}).cells("ph") == ["7.10", "", "6.95"]


def test_whole_numbers_as_identifiers(parquet):
    """An id written as a number is its digits."""
    assert parquet({"equipment_id": pa.array([7, 9007199254740993, 0], pa.int64())}).cells("equipment_id") == [
        "7", "9007199254740993", "0"
    ]  # fmt: skip


def test_a_column_of_nothing(parquet):
    """A column without a value is blank, whatever its type: nothing at all, or NaN from a data frame."""
    seen = parquet({"note": pa.nulls(3), "target": [math.nan] * 3})
    assert (seen.cells("note"), seen.cells("target")) == ([""] * 3, [""] * 3)


def test_truth_values(parquet):
    """True is not the number 1."""
    seen = parquet({"ph": [True, None, False]})
    assert {fault for fault in seen.faults if fault[2] == "bad_type"} == {(1, "ph", "bad_type"), (3, "ph", "bad_type")}
    assert np.isnan(seen.parsed[0].numbers["ph"]).all()


def test_a_length_of_time(parquet):
    """A duration column is seconds, whatever its unit."""
    seen = parquet({"duration_s": pa.array([1500, None, 900_000], pa.duration("ms"))})
    assert seen.parsed[0].numbers["duration_s"][[0, 2]].tolist() == [1.5, 900]


@pytest.mark.parametrize("name", ["step", "started_at"])
def test_bytes_that_are_no_utf_8(parquet, name):
    """Such a cell in a text column is a defect of its row."""
    data = pa.array([b"flush", b"fl\xffsh", b"flush"], pa.binary())
    text = pa.Array.from_buffers(pa.string(), 3, data.buffers())
    seen = parquet({name: text})
    assert (2, name, "bad_encoding") in seen.faults
    assert seen.cells(name)[1] == ""


def test_cell_length_both_sides_of_the_limit(parquet):
    """A cell of exactly the limit is read; one character more is a defect of that cell."""
    seen = parquet({"performed_by": ["é" * 50, "é" * 51, None]}, budget=Budget(cell_characters=50))
    assert seen.faults == {(2, "performed_by", "cell_too_long")}


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("started_at", pa.array([1, 2, 3], pa.int64())), ("started_at", pa.array([1.5, 2, 3])),
        ("started_at", pa.array([date(2026, 3, 1)] * 3)), ("ph", pa.array([datetime(2026, 3, 1)] * 3)),
        ("step", pa.array([1.5, 2, 3])), ("note", pa.array([["a"], ["b"], []])), ("ph", pa.array([{"a": 1}] * 3)),
    ],
)  # fmt: skip
def test_types_that_would_need_guessing(refused, name, values):
    """A bare number as a time may be seconds, milliseconds or days; the refusal names the column and its type."""
    refusal = refused({name: values})
    assert (refusal.code, refusal.place) == ("wrong_column_type", name)
    assert str(values.type).split("<")[0] in refusal.sentence


def test_columns_that_are_not_used_may_be_anything(parquet):
    """A list in a column that is not read does no harm."""
    assert parquet({"other": [["a"], ["b"], []]}).rows == [1, 2, 3]


def test_an_empty_table(parquet):
    """No record is not a fault of the file."""
    assert parquet({name: pa.array([], pa.string()) for name in COLUMNS}).rows == []


def test_rows_both_sides_of_the_limit(parquet, refused):
    """As many rows as the budget allows are read; one more is refused."""
    assert parquet(budget=Budget(rows=3)).rows == [1, 2, 3]
    assert refused(budget=Budget(rows=2)).code == "too_many_rows"


def test_columns_both_sides_of_the_limit(parquet, refused):
    """As many columns as the budget allows are read; one more is refused."""
    assert parquet(budget=Budget(columns=4)).rows == [1, 2, 3]
    assert refused(budget=Budget(columns=3)).code == "too_many_columns"


def test_expansion_both_sides_of_the_limit(parquet, refused):
    """The needed columns may expand to the budget, or to twenty times the file where that is more."""
    values = {"performed_by": ["x" * 30_000, "x" * 30_000, None]}
    assert parquet(values, compression="zstd", use_dictionary=False).rows == [1, 2, 3]
    tight = Budget(expanded_bytes=10_000)
    assert parquet(values, tight, compression="none", use_dictionary=False).rows == [1, 2, 3]
    refusal = refused(values, tight, compression="zstd", use_dictionary=False, write_statistics=False)
    assert refusal.code == "expands_too_much"


# --- damage ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut", [0.3, 0.9])
def test_a_cut_file(refusing, cut):
    """A file without its footer is damaged."""
    data = written()
    assert refusing(data[: int(len(data) * cut)], "log.parquet").code == "corrupt_container"


@pytest.mark.parametrize("length", [0x7FFFFFFF, 0xFFFFFFFF, 0])
def test_a_footer_length_that_lies(refusing, length):
    """A footer longer than the file, or of no bytes, is damage."""
    data = written()
    assert refusing(data[:-8] + length.to_bytes(4, "little") + b"PAR1", "log.parquet").code == "corrupt_container"


def test_every_byte_of_the_footer_flipped(reading):
    """Whatever byte is damaged, the file is read or refused by name: never another error."""
    from validator.errors import Unreadable

    data = written()
    start = len(data) - 8 - int.from_bytes(data[-8:-4], "little")
    codes = set()
    for at in range(start, len(data), 3):
        spoiled = bytearray(data)
        spoiled[at] ^= 0xFF
        try:
            reading(bytes(spoiled), "log.parquet")
        except Unreadable as refusal:
            codes.add(refusal.code)
    assert "corrupt_container" in codes


def test_a_column_of_another_length(refusing):
    """A column with fewer values than the file has rows would shift; the refusal names it."""
    columns = {name: pa.array(COLUMNS[name]) for name in COLUMNS}
    data = written(columns, use_dictionary=False, compression="none", write_statistics=False)
    footer = pq.read_metadata(io.BytesIO(data))
    rows = footer.row_group(0).num_rows
    assert rows == 3
    spoiled = _with_other_count(data, "step", rows, rows - 1)
    refusal = refusing(spoiled, "log.parquet")
    assert (refusal.code, refusal.place) == ("corrupt_container", "step")


def test_a_row_count_that_lies(refusing):
    """A footer that claims a million million rows for a few bytes is refused before anything is allocated."""
    small = written()
    footer_start = len(small) - 8 - int.from_bytes(small[-8:-4], "little")
    footer = small[footer_start:-8]
    claimed = _varint(10**12 * 2)
    changed = footer.replace(b"\x16\x06", b"\x16" + claimed)
    data = small[:footer_start] + changed + len(changed).to_bytes(4, "little") + b"PAR1"
    assert refusing(data, "log.parquet").code == "corrupt_container"


def _varint(value):
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*out, value])


def _with_other_count(data, column, old, new):
    """The file with one column's number of values changed in its footer (a zigzag number after its name)."""
    start = len(data) - 8 - int.from_bytes(data[-8:-4], "little")
    at = data.rindex(column.encode(), start)
    count = data.index(bytes([0x16, old * 2]), at)
    return data[: count + 1] + bytes([new * 2]) + data[count + 2 :]
