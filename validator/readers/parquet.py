"""What stands in a Parquet file? Its footer is judged before a page is read; a row's number is its position, from 1."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from validator.errors import Unreadable
from validator.readers.columns import Fault, Strings, TableBuilder, code
from validator.readers.headers import CANONICAL_NAMES, Header, Names
from validator.tables import (
    NAT,
    NUMBERS,
    TIMES,
    Budget,
    CellDefect,
    Column,
    Heading,
    NumberColumn,
    RawTable,
    TextColumn,
    TimeColumn,
)

PART = 32_768
"""Rows of a part of a reading that is to take little memory."""
_MAGIC = b"PAR1"
_TO_MICROSECONDS = {"s": 1_000_000, "ms": 1_000, "us": 1}
_PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
_PAGE_HEAD = 32  # bytes in which the sizes of a page stand
_NUMBER_FIELD = b"\x15"  # the next field is a number of 32 bits
_EXPANDS = 20
"""A large file may expand to this many times its size, whatever the budget."""
_ROWS_PER_BYTE = 100_000
"""More rows than this for each byte of the file cannot be true: even a column of one value needs some bytes a page."""


def read(path: Path, budget: Budget, names: Names = CANONICAL_NAMES) -> tuple[list[RawTable], list[str], list[str]]:
    """The one table of a Parquet file, with what was assumed to read it and notices; raise `Unreadable`."""
    file, header, wanted = _opened(path, budget, names)
    with _refusals(wanted):
        table = _plain(file.read(columns=list(wanted.values()), use_threads=True))
        _check_rows(file, table.num_rows)
    raw = _Table(table, wanted, budget, names).raw(header.headings)
    return [raw], list(header.assumptions), list(header.notices)


def parts(
    path: Path, budget: Budget, names: Names = CANONICAL_NAMES
) -> tuple[Iterator[RawTable], list[str], list[str]]:
    """As `read`, the one table in parts of `PART` rows, of which only one is held at a time."""
    file, header, wanted = _opened(path, budget, names)

    def raw(part: Any, before: int) -> RawTable:
        return _Table(_plain(part), wanted, budget, names, before).raw(header.headings)

    return _in_parts(file, wanted, raw), list(header.assumptions), list(header.notices)


def _in_parts(file: Any, wanted: dict[str, str], raw: Callable[[Any, int], RawTable]) -> Iterator[RawTable]:
    """Part by part, at least one; `raw` takes a part and the number of rows before it."""
    seen = 0
    with _refusals(wanted):
        for batch in file.iter_batches(batch_size=PART, columns=list(wanted.values())):
            yield raw(pa.Table.from_batches([batch]), seen)
            seen += batch.num_rows
        _check_rows(file, seen)
        if seen == 0:
            yield raw(file.schema_arrow.empty_table().select(list(wanted.values())), 0)


def _opened(path: Path, budget: Budget, names: Names) -> tuple[Any, Header, dict[str, str]]:
    """The file with its header and the columns wanted, once its footer has been judged."""
    size = path.stat().st_size
    _check_frame(path, size)
    with _refusals({}):
        file = pq.ParquetFile(path, memory_map=False, page_checksum_verification=True)
        header = names.read(file.schema_arrow.names)
    wanted = {name: file.schema_arrow.names[at] for at, name in header.columns.items()}
    with _refusals(wanted):
        if not names.raw:
            _check_types(file.schema_arrow, wanted)
        _check_footer(file.metadata, wanted, size, budget)
        _check_first_pages(path, file.metadata, wanted)
    return file, header, wanted


@contextmanager
def _refusals(wanted: dict[str, str]) -> Iterator[None]:
    """What the library raises of a damaged file, as the reason why it is refused, with the column if it is one of those wanted."""
    try:
        yield
    except (pa.ArrowException, OSError, EOFError, ValueError, KeyError, OverflowError) as error:
        if isinstance(error, MemoryError):  # the footer promised that it would fit
            raise Unreadable("corrupt_container", "asks for far more memory than its footer declares") from None
        if isinstance(error, OSError) and error.errno is not None:
            raise
        why = _first_line(error)
        place = next((name for name, found in wanted.items() if f"named {found} " in why), "")
        raise Unreadable("corrupt_container", f"is a damaged Parquet file: {why}", place) from None


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:160]


def _check_frame(path: Path, size: int) -> None:
    with path.open("rb") as file:
        if size < 12:
            raise Unreadable("corrupt_container", "is too short for a Parquet file")
        file.seek(size - 8)
        tail = file.read(8)
    if tail[4:] == b"PARE":
        raise Unreadable("password_protected", "is an encrypted Parquet file; export it without encryption")
    if tail[4:] != _MAGIC:
        raise Unreadable("corrupt_container", "has no Parquet footer: the file was cut off")
    if int.from_bytes(tail[:4], "little") > size - 12:
        raise Unreadable("corrupt_container", "has a footer that is longer than the file")


def _check_types(schema: Any, wanted: dict[str, str]) -> None:
    for name, found in wanted.items():
        kind = schema.field(schema.names.index(found)).type
        if pa.types.is_dictionary(kind):
            kind = kind.value_type
        if pa.types.is_null(kind) or _is_text(kind):
            continue
        if name in TIMES:
            fits, due = pa.types.is_timestamp(kind), "a timestamp or text"
        elif name in NUMBERS:
            length = pa.types.is_duration(kind) and name == "duration_s"
            fits, due = _is_number(kind) or length, "a number or text"
        else:
            fits = pa.types.is_integer(kind) or pa.types.is_boolean(kind) or pa.types.is_floating(kind)
            due = "text or a whole number"
        if not fits:
            raise Unreadable("wrong_column_type", f"has {kind} in the column {name!r}, where {due} is due", name)


def _is_text(kind: Any) -> bool:
    return bool(
        pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind)
        or pa.types.is_binary(kind) or pa.types.is_large_binary(kind) or pa.types.is_binary_view(kind)
    )  # fmt: skip


def _is_number(kind: Any) -> bool:
    return bool(
        pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)
        or pa.types.is_boolean(kind)
    )  # fmt: skip


def _check_footer(footer: Any, wanted: dict[str, str], size: int, budget: Budget) -> None:
    """Nothing is allocated before the footer's own figures agree with each other and with the size of the file."""
    if footer.num_rows < 0 or footer.num_rows > _ROWS_PER_BYTE * size:
        raise Unreadable("corrupt_container", f"claims {footer.num_rows} rows in {size} bytes")
    if footer.num_rows > budget.rows:
        raise Unreadable("too_many_rows", f"has {footer.num_rows} rows; {budget.says('rows')}")
    if footer.num_columns > budget.columns:
        raise Unreadable("too_many_columns", f"has {footer.num_columns} columns; {budget.says('columns')}")
    rows = expanded = 0
    names = {found: name for name, found in wanted.items()}
    for group in (footer.row_group(n) for n in range(footer.num_row_groups)):
        rows += group.num_rows
        for chunk in (group.column(n) for n in range(group.num_columns)):
            if chunk.path_in_schema not in names:
                continue
            name = names[chunk.path_in_schema]
            if chunk.num_values != group.num_rows:
                why = f"has {chunk.num_values} values in the column {name!r} and {group.num_rows} rows"
                raise Unreadable("corrupt_container", why, name)
            start = chunk.dictionary_page_offset or chunk.data_page_offset
            if chunk.total_compressed_size < 0 or not 0 <= start <= size - chunk.total_compressed_size:
                raise Unreadable("corrupt_container", f"places the column {name!r} outside the file", name)
            expanded += max(chunk.total_uncompressed_size, 0)
    if rows != footer.num_rows:
        raise Unreadable("corrupt_container", f"claims {footer.num_rows} rows, but its parts have {rows}")
    if expanded > max(budget.expanded_bytes, _EXPANDS * size):
        raise Unreadable("expands_too_much", f"expands to {expanded} bytes; {budget.says('expanded-size')}")


def _check_first_pages(path: Path, footer: Any, wanted: dict[str, str]) -> None:
    """The first page of a column is no larger than the whole of it: a library makes room for what the page claims."""
    names = {found: name for name, found in wanted.items()}
    with path.open("rb") as file:
        for group in (footer.row_group(n) for n in range(footer.num_row_groups)):
            for chunk in (group.column(n) for n in range(group.num_columns)):
                if chunk.path_in_schema not in names or not chunk.total_compressed_size:
                    continue
                file.seek(chunk.dictionary_page_offset or chunk.data_page_offset)
                sizes = _page_sizes(file.read(_PAGE_HEAD))
                allowed = chunk.total_uncompressed_size, chunk.total_compressed_size
                if sizes is None or not all(0 <= size <= most for size, most in zip(sizes, allowed, strict=True)):
                    name = names[chunk.path_in_schema]
                    found = f"claims {max(sizes)} bytes" if sizes else "has no header"
                    why = f"is a damaged Parquet file: a page of the column {name!r} {found}"
                    raise Unreadable("corrupt_container", why, name)


def _page_sizes(head: bytes) -> tuple[int, int] | None:
    """What a page header says of its size, unpacked and packed; None where it is no page header.

    Its first three fields are numbers in the compact protocol of Thrift: zigzag, seven bits a byte, the lowest first.
    """
    numbers: list[int] = []
    at = 0
    while len(numbers) < 3:
        if head[at : at + 1] != _NUMBER_FIELD:
            return None
        value = shift = 0
        while True:
            at += 1
            if at >= len(head) or shift > 35:
                return None
            value |= (head[at] & 0x7F) << shift
            shift += 7
            if head[at] < 0x80:
                break
        at += 1
        numbers.append(value >> 1 ^ -(value & 1))
    return numbers[1], numbers[2]


def _check_rows(file: Any, rows: int) -> None:
    if rows != file.metadata.num_rows:
        raise Unreadable("corrupt_container", f"claims {file.metadata.num_rows} rows, but holds {rows}")


def _plain(table: Any) -> Any:
    """The columns with text as bytes, so that one cell that is not UTF-8 does not fail the whole check."""
    fields = []
    for field in table.schema:
        kind = field.type
        if pa.types.is_dictionary(kind):
            kind = kind.value_type
        if _is_text(kind):
            kind = pa.large_binary()
        fields.append(pa.field(field.name, kind))
    table = table.cast(pa.schema(fields))
    table.validate(full=True)
    return table


class _Table:
    """Turns Arrow columns into the reader's columns, without a Python loop over rows."""

    def __init__(self, table: Any, wanted: dict[str, str], budget: Budget, names: Names, before: int = 0) -> None:
        self.names = names
        self.table = table
        self.wanted = wanted
        self.budget = budget
        self.rows = np.arange(before + 1, before + table.num_rows + 1, dtype=np.int32)
        self.defects: list[CellDefect] = []

    def raw(self, headings: dict[str, Heading]) -> RawTable:
        columns = {name: self._column(name, self.table.column(found)) for name, found in self.wanted.items()}
        return RawTable("", self.rows, columns, self.defects, headings=headings)

    def _column(self, name: str, values: Any) -> Column:
        kind = values.type
        if self.names.raw and not _is_text(kind) and not pa.types.is_null(kind):
            return self._as_text(name, values)
        if pa.types.is_null(kind):
            return TextColumn(np.full(len(self.rows), -1, dtype=np.int32), [])
        if pa.types.is_timestamp(kind):
            return TimeColumn(self._microseconds(name, values), kind.tz is not None)
        if pa.types.is_boolean(kind):
            return self._truths(name, values)
        if name in NUMBERS and (pa.types.is_floating(kind) or pa.types.is_integer(kind)):
            return NumberColumn(self._finite(name, pc.cast(values, pa.float64(), safe=False)))
        if pa.types.is_duration(kind):
            counts = pc.cast(values, pa.int64())
            seconds = pc.divide(pc.cast(counts, pa.float64()), float(_PER_SECOND[kind.unit]))
            return NumberColumn(self._finite(name, seconds))
        if pa.types.is_floating(kind):
            return self._no_floats(name, values)
        if not pa.types.is_large_binary(kind):  # whole numbers as identifiers, decimals as exact numbers
            values = pc.cast(pc.cast(values, pa.large_string()), pa.large_binary())
        return self._texts(name, values)

    def _as_text(self, name: str, values: Any) -> TextColumn:
        """Values of any plain type as the text that a mapping reads, each distinct one written once."""
        kind = values.type
        if pa.types.is_nested(kind):
            why = f"has {kind} in the column {name!r}, which the mapping reads; text, a number or a time is due"
            raise Unreadable("wrong_column_type", why, name)
        codes, found = code(values.to_pylist())
        blank = [v is None or v != v for v in found]
        words = ["" if skip else self._word(value) for value, skip in zip(found, blank, strict=True)]
        codes[np.isin(codes, np.flatnonzero(blank))] = -1
        return TextColumn(codes, words)

    def _word(self, value: Any) -> str:
        if isinstance(value, bool):
            return str(value).upper()
        if isinstance(value, timedelta):
            return f"{value // timedelta(hours=1):02d}:{value // timedelta(minutes=1) % 60:02d}:{value.total_seconds() % 60:06.3f}"
        if isinstance(value, (int, float, Decimal)):
            return self.names.number(f"{value:f}" if isinstance(value, Decimal) else repr(value).removesuffix(".0"))
        return str(value.isoformat()) if hasattr(value, "isoformat") else str(value)

    def _texts(self, name: str, values: Any) -> Column:
        grown = TableBuilder([name], self.budget)
        column = grown.columns[name]
        at = 0
        for chunk in values.chunks:
            rows = self.rows[at : at + len(chunk)]
            if isinstance(column, Strings):
                ends, data = self._laid_out(grown, name, chunk, rows)
                column.add(ends, data)
            else:
                coded = chunk.dictionary_encode()
                codes = pc.fill_null(coded.indices, -1).to_numpy()
                grown.add_codes(name, rows, codes, coded.dictionary.to_pylist())
            grown.add_rows(rows)
            at += len(chunk)
        self.defects.extend(grown.defects)
        return column.column()

    def _laid_out(
        self, grown: TableBuilder, name: str, chunk: Any, rows: npt.NDArray[np.int32]
    ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint8]]:
        chunk = pc.fill_null(chunk, b"")
        _, offsets_buffer, data_buffer = chunk.buffers()
        offsets = np.frombuffer(offsets_buffer, dtype=np.int64)[chunk.offset : chunk.offset + len(chunk) + 1]
        first, last = int(offsets[0]), int(offsets[-1])
        data = np.frombuffer(data_buffer, dtype=np.uint8)[first:last] if last > first else np.empty(0, np.uint8)
        longest = int(np.diff(offsets).max(initial=0))
        if longest > self.budget.cell_characters or (len(data) and int(data.max()) >= 0x80):
            cells = grown.sound_cells(name, rows, chunk.to_pylist())
            return np.cumsum([len(c) for c in cells], dtype=np.int64), np.frombuffer(b"".join(cells), dtype=np.uint8)
        return offsets[1:] - first, data

    def _microseconds(self, name: str, values: Any) -> npt.NDArray[np.int64]:
        unit = values.type.unit
        counts = pc.cast(values, pa.int64())
        numbers: npt.NDArray[np.int64] = pc.fill_null(counts, 0).to_numpy().astype(np.int64, copy=True)
        missing = counts.is_null().to_numpy()
        if unit == "ns":
            numbers //= 1_000
        else:
            factor = _TO_MICROSECONDS[unit]
            beyond = np.abs(numbers) > np.iinfo(np.int64).max // factor
            for at in np.flatnonzero(beyond & ~missing):
                self._flag(int(at), name, ("implausible_datetime", "lies outside the years that can be written"))
            numbers[beyond] = 0
            missing |= beyond
            numbers *= factor
        numbers[missing] = NAT
        return numbers

    def _finite(self, name: str, values: Any) -> npt.NDArray[np.float64]:
        """The values as floats; an infinite one is a defect and blank, as not-a-number and null are."""
        numbers: npt.NDArray[np.float64] = pc.fill_null(values, np.nan).to_numpy().astype(np.float64, copy=True)
        infinite = np.isinf(numbers)
        for at in np.flatnonzero(infinite):
            why = f"{numbers[at]} is no plain decimal number; write it as 100 or 7.2"
            self._flag(int(at), name, ("bad_number", why))
        numbers[infinite] = np.nan
        return numbers

    def _truths(self, name: str, values: Any) -> TextColumn:
        codes = pc.fill_null(pc.cast(values, pa.int8()), -1).to_numpy().astype(np.int32)
        for at in np.flatnonzero(codes >= 0):
            self._flag(int(at), name, ("bad_type", "is true or false where text or a number is due"))
        return TextColumn(codes, ["FALSE", "TRUE"])

    def _no_floats(self, name: str, values: Any) -> TextColumn:
        """A column of text may be all blank and typed as numbers; a number with a point is no identifier."""
        if not np.isnan(pc.fill_null(values, float("nan")).to_numpy()).all():
            why = f"has {values.type} in the column {name!r}, where text or a whole number is due"
            raise Unreadable("wrong_column_type", why, name)
        return TextColumn(np.full(len(self.rows), -1, dtype=np.int32), [])

    def _flag(self, at: int, name: str, fault: Fault) -> None:
        self.defects.append(CellDefect(at, int(self.rows[at]), name, fault[0], f"{name} {fault[1]}"))
