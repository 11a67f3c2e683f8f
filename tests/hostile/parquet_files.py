"""The Parquet files. What is wrong with a footer is written into its Thrift bytes."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from .plausible import COLUMNS, records

FILES: dict[str, Callable[[], bytes]] = {}
_TIMES = ("started_at", "ended_at")
_NUMBERS = ("concentration_ppm", "temperature_c", "ph")
_EPOCH = datetime.fromisoformat("1970-01-01T00:00:00Z")


def file(build: Callable[[], bytes]) -> Callable[[], bytes]:
    FILES[f"{build.__name__}.parquet"] = build
    return build


def _micros(text: str) -> int:
    return int((datetime.fromisoformat(text) - _EPOCH).total_seconds()) * 1_000_000


def columns(count: int = 4) -> dict[str, Any]:
    """The columns of a few records, typed as a database would export them."""
    night = records(count)
    found: dict[str, Any] = {name: [row[name] for row in night] for name in COLUMNS}
    for name in _TIMES:
        found[name] = pa.array([_micros(text) for text in found[name]], pa.timestamp("us", "UTC"))
    for name in _NUMBERS:
        found[name] = pa.array([float(text) for text in found[name]], pa.float64())
    return found


def written(found: dict[str, Any], **options: Any) -> bytes:
    buffer = io.BytesIO()
    pq.write_table(pa.table(found), buffer, **options)
    return buffer.getvalue()


@file
def parquet_ok():
    return written(columns() | {"concentration_ppm": pa.array([200.0, float("nan"), 210.0, 200.0])})


@file
def parquet_nonfinite_and_bad_utf8():
    found = columns() | {"concentration_ppm": pa.array([200.0, float("inf"), 210.0, 200.0])}
    names = pa.array([b"Ana", b"Kim", b"Ana \xe9", b"Li"], pa.binary())
    found["performed_by"] = pa.StringArray.from_buffers(4, names.buffers()[1], names.buffers()[2])
    stamps = found["started_at"].cast(pa.int64()).to_pylist()
    found["started_at"] = pa.array([*stamps[:3], (30828 - 1970) * 31_556_952 * 1_000_000], pa.timestamp("us", "UTC"))
    return written(found)


@file
def parquet_int_timestamp():
    return written(columns() | {"started_at": pa.array([1_772_400_000 + n for n in range(4)], pa.int64())})


@file
def parquet_truncated():
    whole = written(columns())
    return whole[: len(whole) // 2]


@file
def parquet_footer_length_lie():
    whole = written(columns())
    return whole[:-8] + (0x7FFFFFFF).to_bytes(4, "little") + b"PAR1"


@file
def parquet_footer_bitflips():
    whole = bytearray(written(columns()))
    length = int.from_bytes(whole[-8:-4], "little")
    start = len(whole) - 8 - length
    whole[start + 8 : start + 200] = b"\xff" * 192
    return bytes(whole)


def varint(value: int) -> bytes:
    """A number as Thrift's compact protocol writes it: zigzag, seven bits a byte."""
    value = value << 1 if value >= 0 else (-value << 1) - 1
    found = b""
    while value > 0x7F:
        found += bytes([value & 0x7F | 0x80])
        value >>= 7
    return found + bytes([value])


class Thrift:
    """The footer's structures as lists of (field, type, value), read and written again: enough of the compact protocol."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def byte(self) -> int:
        self.at += 1
        return self.data[self.at - 1]

    def unsigned(self) -> int:
        value = shift = 0
        while True:
            byte = self.byte()
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    def number(self) -> int:
        value = self.unsigned()
        return value >> 1 ^ -(value & 1)

    def value(self, kind: int) -> Any:
        if kind in (1, 2):
            return None
        if kind == 3:
            return self.byte()
        if kind in (4, 5, 6):
            return self.number()
        if kind == 7:
            self.at += 8
            return self.data[self.at - 8 : self.at]
        if kind == 8:
            length = self.unsigned()
            self.at += length
            return self.data[self.at - length : self.at]
        if kind in (9, 10):
            head = self.byte()
            length = head >> 4 if head >> 4 < 15 else self.unsigned()
            inner = head & 15
            return inner, [self.byte() if inner in (1, 2) else self.value(inner) for _ in range(length)]
        assert kind == 12, kind
        return self.struct()

    def struct(self) -> list[list[Any]]:
        fields: list[list[Any]] = []
        last = 0
        while head := self.byte():
            last = last + (head >> 4) if head >> 4 else self.number()
            fields.append([last, head & 15, self.value(head & 15)])
        return fields


def packed(value: Any, kind: int) -> bytes:
    if kind in (1, 2):
        return b""
    if kind == 3:
        return bytes([value])
    if kind in (4, 5, 6):
        return varint(value)
    if kind == 7:
        return bytes(value)
    if kind == 8:
        return _length(len(value)) + value
    if kind in (9, 10):
        inner, items = value
        head = bytes([len(items) << 4 | inner]) if len(items) < 15 else bytes([0xF0 | inner]) + _length(len(items))
        return head + b"".join(bytes([i]) if inner in (1, 2) else packed(i, inner) for i in items)
    found, last = b"", 0
    for number, inner, item in value:
        step = number - last
        found += bytes([step << 4 | inner]) if 0 < step < 16 else bytes([inner]) + varint(number)
        found += packed(item, inner)
        last = number
    return found + b"\0"


def _length(value: int) -> bytes:
    found = b""
    while value > 0x7F:
        found += bytes([value & 0x7F | 0x80])
        value >>= 7
    return found + bytes([value])


def field(struct: list[list[Any]], number: int) -> list[Any]:
    return next(entry for entry in struct if entry[0] == number)


def with_footer(whole: bytes, change: Callable[[list[list[Any]]], None]) -> bytes:
    """The file with its footer changed and its length made right again."""
    length = int.from_bytes(whole[-8:-4], "little")
    footer = Thrift(whole[-8 - length : -8]).struct()
    change(footer)
    data = packed(footer, 12)
    return whole[: -8 - length] + data + len(data).to_bytes(4, "little") + b"PAR1"


ROWS, GROUPS = 3, 4  # fields of the footer
GROUP_COLUMNS, GROUP_ROWS = 1, 3
CHUNK_META = 3
META_PATH, META_VALUES = 3, 5


@file
def parquet_row_count_lie():
    def lie(footer):
        field(footer, ROWS)[2] = 10**12
        for group in field(footer, GROUPS)[2][1]:
            field(group, GROUP_ROWS)[2] = 10**12
            for chunk in field(group, GROUP_COLUMNS)[2][1]:
                field(field(chunk, CHUNK_META)[2], META_VALUES)[2] = 10**12

    return with_footer(written(columns()), lie)


@file
def parquet_page_size_lie():
    """The first page header of the first column: its type (field 1), then the size of the page unpacked (field 2)."""
    whole = written(columns(), use_dictionary=False, compression="none")
    assert whole[4:6] == b"\x15\x00"
    end = 7
    while whole[end] & 0x80:
        end += 1
    lie = varint(2**31 - 1)
    grown = whole[:7] + lie + whole[end + 1 :]
    shift = len(grown) - len(whole)

    def move(footer):
        for group in field(footer, GROUPS)[2][1]:
            for at, chunk in enumerate(field(group, GROUP_COLUMNS)[2][1]):
                meta = field(chunk, CHUNK_META)[2]
                if at == 0:
                    field(meta, 7)[2] += shift
                else:
                    field(meta, 9)[2] += shift

    return with_footer(grown, move)


@file
def parquet_column_length_mismatch():
    """The pages of one column, taken from a file of three records, stand in a file of four."""
    return _mismatched(3)


@file
def parquet_column_length_hidden():
    """As above, with a footer that claims four values of the column."""
    return _mismatched(4)


def _mismatched(claimed: int) -> bytes:
    three = written({"performed_by": columns(3)["performed_by"]}, use_dictionary=False, compression="none")
    four = written(columns(), use_dictionary=False, compression="none")
    length = int.from_bytes(three[-8:-4], "little")
    pages = three[4 : -8 - length]
    taken = Thrift(three[-8 - length : -8]).struct()
    taken_chunk = field(field(taken, GROUPS)[2][1][0], GROUP_COLUMNS)[2][1][0]
    end = len(four) - 8 - int.from_bytes(four[-8:-4], "little")

    def swap(footer):
        chunks = field(field(footer, GROUPS)[2][1][0], GROUP_COLUMNS)[2][1]
        at = list(COLUMNS).index("performed_by")
        meta = field(taken_chunk, CHUNK_META)[2]
        field(meta, 9)[2] += end - 4
        field(meta, META_VALUES)[2] = claimed
        taken_chunk[:] = [entry for entry in taken_chunk if entry[0] in (2, CHUNK_META)]
        chunks[at] = taken_chunk

    return with_footer(four[:end] + pages + four[end:], swap)
