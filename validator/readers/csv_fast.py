"""Is a block of CSV lines plain, and what stands in it? Where it is proved plain, Arrow splits it on every core.

Plain means: quotation marks only around whole cells of one line, line ends LF or CRLF, no blank line, one number of
fields, nothing too long.
Whatever is not proved is left to `csv_`, which gives the same table for the same bytes.
"""

from __future__ import annotations

import codecs
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.readers.columns import TableBuilder, Texts
from validator.readers.dialect import Layout
from validator.readers.physical import Bytes
from validator.tables import TIMES, Budget

_LOOK = 512 * 1024
_LF, _CR, _QUOTE = 10, 13, 34


def split_block(data: Bytes, start: int, stop: int, layout: Layout, budget: Budget) -> Any:
    """The block as an Arrow table of its needed columns; None where it is not plain.

    The block begins with a record and ends with a line end or the file.
    """
    if not layout.needed or data[start : start + len(codecs.BOM_UTF8)] == codecs.BOM_UTF8:
        return None  # Arrow would take the first cell's first character for the mark of a file
    view = np.frombuffer(data, dtype=np.uint8, count=stop - start, offset=start)
    lines = _count_plain_lines(view, budget)
    if lines is None:
        return None
    quotes = np.flatnonzero(view == _QUOTE)
    if len(quotes) and not _quotes_are_plain(view, quotes, layout.delimiter[0]):
        return None
    found = _split(data, start, stop, layout, len(quotes) > 0)
    if found is None or found.num_rows != lines or not _ordinary(found, layout, budget):
        return None
    return found


def append(found: Any, line: int, ahead: int, table: TableBuilder) -> int:
    """Append a block whose first record stands on physical line `line`; how many lines it has.

    `ahead` is about how many lines are still to come.
    """
    lines: int = found.num_rows
    for name in found.column_names:
        column = table.columns[name]
        for chunk in found.column(name).chunks:
            if isinstance(column, Texts):
                column.add(_codes(chunk), chunk.dictionary.to_pylist(), lines + ahead)
            else:
                column.add(*_laid_out(chunk), lines + ahead)
    table.add_rows(np.arange(line, line + lines, dtype=np.int32), ahead)
    return lines


def _count_plain_lines(view: npt.NDArray[np.uint8], budget: Budget) -> int | None:
    """The number of lines of a block without lone returns or overlong lines; None where it has any."""
    if budget.line_bytes < 2 * _LOOK:
        return None  # a line could be too long without filling one look
    lines = 0
    for at in range(0, len(view), _LOOK):
        part = view[at : at + _LOOK]
        ends = int(np.count_nonzero(part == _LF))
        if ends == 0 and len(part) == _LOOK:
            return None
        returns = np.flatnonzero(part == _CR) + (at + 1)
        if len(returns) and (returns[-1] == len(view) or (view[returns] != _LF).any()):
            return None
        lines += ends
    return lines + int(len(view) > 0 and view[-1] != _LF)


def _quotes_are_plain(view: npt.NDArray[np.uint8], quotes: npt.NDArray[np.intp], delimiter: int) -> bool:
    """Whether the marks come in pairs around whole cells within a line; two in a row inside a cell are text."""
    if len(quotes) % 2:
        return False
    opening, closing = quotes[0::2], quotes[1::2]
    doubled = np.zeros(len(opening) + 1, dtype=bool)  # whether pair i is parted from the one before by nothing
    doubled[1:-1] = closing[:-1] + 1 == opening[1:]
    before = view[opening - 1]  # the block begins with a record: before its first byte wraps round to its last
    after = view[np.minimum(closing + 1, len(view) - 1)]
    begins = doubled[:-1] | (before == delimiter) | (before == _LF) | (opening == 0)
    ends = doubled[1:] | (after == delimiter) | (after == _LF) | (after == _CR) | (closing == len(view) - 1)
    if not (begins.all() and ends.all()):
        return False
    line_ends = np.flatnonzero(view == _LF)
    return bool((np.searchsorted(line_ends, opening) == np.searchsorted(line_ends, closing)).all())


def _split(data: Bytes, start: int, stop: int, layout: Layout, quoted: bool) -> Any:
    """The needed columns as an Arrow table, text coded and times plain; None where Arrow refuses a line."""
    import pyarrow as pa
    from pyarrow import csv

    positions = [f"at{n}" for n in range(layout.width)]
    kinds = {
        positions[at]: pa.string() if name in TIMES else pa.dictionary(pa.int32(), pa.string())
        for name, at in layout.columns.items()
    }
    source = pa.BufferReader(pa.py_buffer(data).slice(start, stop - start))
    try:
        found = csv.read_csv(
            source,
            read_options=csv.ReadOptions(column_names=positions, block_size=2**21),
            parse_options=csv.ParseOptions(
                delimiter=layout.delimiter.decode("ascii"),
                quote_char='"' if quoted else False,
                double_quote=quoted,
                escape_char=False,
            ),
            convert_options=csv.ConvertOptions(
                column_types=kinds, include_columns=list(kinds), strings_can_be_null=False, null_values=[]
            ),
        )
    except pa.ArrowInvalid:
        return None
    return found.rename_columns(list(layout.columns))


def _codes(chunk: Any) -> npt.NDArray[np.int32]:
    """The codes of a coded column, out of Arrow's own buffer: `to_numpy` would import pandas for it."""
    indices = chunk.indices
    return np.frombuffer(indices.buffers()[1], dtype=np.int32)[indices.offset : indices.offset + len(indices)]


def _laid_out(chunk: Any) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint8]]:
    """Where every cell ends and their bytes one after the other, out of Arrow's own buffers."""
    _, offsets_buffer, data_buffer = chunk.buffers()
    offsets = np.frombuffer(offsets_buffer, dtype=np.int32)[chunk.offset : chunk.offset + len(chunk) + 1]
    first, last = int(offsets[0]), int(offsets[-1])
    data = np.frombuffer(data_buffer, dtype=np.uint8)[first:last] if last > first else np.empty(0, np.uint8)
    return offsets[1:].astype(np.int64) - first, data


def _ordinary(found: Any, layout: Layout, budget: Budget) -> bool:
    """No overlong cell, no line that could be a header, and none that could be blank."""
    from pyarrow import compute

    for name in found.column_names:
        for chunk in found.column(name).chunks:
            words = chunk if name in TIMES else chunk.dictionary
            if (compute.max(compute.binary_length(words)).as_py() or 0) > budget.cell_characters:
                return False
    mark, names = layout.needed[-1], set(layout.folded)
    for column in found.column(mark).chunks:
        if any(w.strip().casefold() in names for w in column.dictionary.to_pylist() if w):
            return False
    needed = (found.column(name).chunks for name in layout.needed)
    return not any(_blank_row(*chunks) for chunks in zip(*needed, strict=True))


def _blank_row(*columns: Any) -> bool:
    """Whether a row is blank in each of these columns, so that its whole line may be."""
    blank: npt.NDArray[np.bool_] | None = None
    for column in columns:
        empty = [number for number, word in enumerate(column.dictionary.to_pylist()) if not word.strip(" \t")]
        if not empty:
            return False
        here = np.isin(_codes(column), empty)
        blank = here if blank is None else blank & here
    return blank is not None and bool(blank.any())
