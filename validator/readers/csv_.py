"""What stands in a CSV file? A strict RFC 4180 reading that loses no line: a damaged one costs itself and no other.

The file is taken in blocks. A block that is proved plain goes to `csv_fast`; any other is read here, line by line.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from validator.errors import Unreadable
from validator.readers.columns import TableBuilder
from validator.readers.dialect import Layout, cell_patterns, decoded, find_layout, split_strictly
from validator.readers.headers import CANONICAL_NAMES, Names
from validator.readers.physical import LINE_END, Bytes, line_end, open_bytes, release
from validator.tables import Budget, RawTable

BLOCK = 16 * 2**20
PART = 8 * 2**20
"""The block of a reading that is to take little memory."""
PIECE = 2**20
WORTH_FAST = 512 * 1024
"""Below this many bytes the line-by-line reading ends before the fast one's library is loaded."""
_QUOTE = b'"'
_OPENING = re.compile(rb' *+"')
_BLANK = b" \t"


def read(path: Path, budget: Budget, names: Names = CANONICAL_NAMES) -> tuple[list[RawTable], list[str], list[str]]:
    """The one table of a CSV file, with what was assumed to read it and notices; raise `Unreadable`."""
    return read_bytes(open_bytes(path), budget, None, names)


def read_bytes(
    data: Bytes, budget: Budget, fast: bool | None = None, names: Names = CANONICAL_NAMES
) -> tuple[list[RawTable], list[str], list[str]]:
    """As `read`, from bytes; `fast` says whether the fast reading may be used (None: where it is worth it)."""
    assumptions: list[str] = []
    data, start = decoded(data, assumptions, names.encoding)
    layout = find_layout(data, start, budget, assumptions, names)
    if fast is None:
        fast = len(data) >= WORTH_FAST or "pyarrow.csv" in sys.modules
    return (
        [_Reading(data, layout, budget).all(fast)],
        [*assumptions, *layout.header.assumptions],
        list(layout.header.notices),
    )


def parts(
    path: Path, budget: Budget, names: Names = CANONICAL_NAMES
) -> tuple[Iterator[RawTable], list[str], list[str]]:
    """As `read`, the one table in parts of about `PART` bytes, of which only one is held at a time."""
    assumptions: list[str] = []
    data, start = decoded(open_bytes(path), assumptions, names.encoding)
    layout = find_layout(data, start, budget, assumptions, names)
    found = _Reading(data, layout, budget).parts()
    return found, [*assumptions, *layout.header.assumptions], list(layout.header.notices)


@dataclass
class _Block:
    """Records read line by line: their cells, the line each begins on."""

    records: list[list[bytes]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)


class _Reading:
    """Reads one file from its first record to its last byte."""

    def __init__(self, data: Bytes, layout: Layout, budget: Budget) -> None:
        self.data = data
        self.size = len(data)
        self.layout = layout
        self.budget = budget
        self.table = TableBuilder(layout.columns, budget)
        self.at = layout.start
        self.line = layout.first_line
        # by the word in this place a line is ruled out as a header at once; the whole line decides
        self.mark_at = layout.columns[layout.needed[-1]] if layout.needed else 0
        self.heads = {name.encode() for name in layout.folded}
        self.foreign = 0  # the line in which another table began, while its lines go by
        self.coming: tuple[tuple[int, int], Future[Any]] | None = None
        self.whole = True

    def all(self, fast: bool) -> RawTable:
        """The whole as one table."""
        for _ in self._blocks(fast, BLOCK):
            self._within_budget(self.table.size)
        self._within_budget(self.table.size)
        return self._taken()

    def parts(self) -> Iterator[RawTable]:
        """Block by block, at least one."""
        rows, self.whole = 0, False
        for _ in self._blocks(True, PART):
            rows += self.table.size
            self._within_budget(rows)
            yield self._taken()
            self.table = TableBuilder(self.layout.columns, self.budget)
        yield self._taken()

    def _taken(self) -> RawTable:
        """What has been read since a table was begun."""
        table = self.table.table()
        table.headings = self.layout.header.headings
        return table

    def _blocks(self, fast: bool, length: int) -> Iterator[None]:
        """Read one block of about so many bytes after the other into the table."""
        with ThreadPoolExecutor(max_workers=1) as pool:
            while self.at < self.size:
                start, stop = self.at, self._block_end(self.at, length)
                if not (fast and self._plain(stop, pool)):
                    self._piece_by_piece(stop, fast)
                release(self.data, start, self.at)
                yield

    def _piece_by_piece(self, stop: int, fast: bool) -> None:
        """A block that is not plain as a whole: the pieces of it that are, and the others line by line."""
        while self.at < stop:
            piece = self._block_end(self.at, PIECE)
            if not (fast and stop - self.at > PIECE and self._plain(piece)):
                self._line_by_line(piece)

    def _block_end(self, start: int, length: int) -> int:
        """The end of the line that the block's last byte stands in."""
        if start + length >= self.size:
            return self.size
        return line_end(self.data, start + length)[1]

    def _within_budget(self, rows: int) -> None:
        if rows > self.budget.rows:
            raise Unreadable("too_many_rows", f"has more than {self.budget.rows} rows; {self.budget.says('rows')}")

    def _plain(self, stop: int, pool: ThreadPoolExecutor | None = None) -> bool:
        """Take the block up to `stop` at once if it is plain; with a pool the next one is split meanwhile."""
        from validator.readers.csv_fast import append, split_block

        if self.foreign:
            return False
        start = self.at
        coming, self.coming = self.coming, None
        if coming is not None and coming[0] == (start, stop):
            found = coming[1].result()
        else:
            found = split_block(self.data, start, stop, self.layout, self.budget)
        if pool is not None and stop < self.size:
            span = stop, self._block_end(stop, stop - start)
            self.coming = span, pool.submit(split_block, self.data, *span, self.layout, self.budget)
        if found is None:
            return False
        ahead = found.num_rows * (self.size - stop) // max(stop - start, 1) if self.whole else 0
        self.line += append(found, self.line, ahead, self.table)
        self.at = stop
        return True

    def _line_by_line(self, stop: int) -> None:
        block = _Block()
        delimiter, width = self.layout.delimiter, self.layout.width
        while self.at < stop:
            end, after = line_end(self.data, self.at)
            if end - self.at > self.budget.line_bytes:
                why = f"is a line of {end - self.at} bytes; {self.budget.says('line-size')}"
                self._lose("line_too_long", why, after)
                continue
            text = self.data[self.at : end]
            if self.foreign and text.strip(_BLANK + delimiter):
                self._pass_over(text, after)
                continue
            if _QUOTE in text:
                self._quoted(block, text, after)
                continue
            if not text.strip(_BLANK + delimiter):
                self.table.blank_rows += 1
                self._move(after)
                continue
            cells = text.split(delimiter)
            if len(cells) != width:
                self._wrong_width(text, cells, end, after)
            elif not self._is_header(cells, after, 1):
                self._keep(block, cells, end, after, 1)
        self._hand_over(block)

    def _move(self, after: int, lines: int = 1) -> None:
        self.at = after
        self.line += lines

    def _lose(self, code: str, message: str, after: int, column: str = "", lines: int = 1) -> None:
        self.table.lose(self.line, code, message, column)
        self._move(after, lines)

    def _keep(self, block: _Block, cells: list[bytes], end: int, after: int, lines: int) -> None:
        if end == after and _cut_in_a_character(cells[-1]):
            column = self._column(len(cells) - 1)
            why = f"{column} ends in the middle of a character: the file was cut off"
            self._lose("truncated_record", why, after, column, lines)
            return
        block.records.append(cells)
        block.lines.append(self.line)
        self._move(after, lines)

    def _column(self, position: int) -> str:
        """The canonical name of a position, else the name in the header."""
        header = self.layout.header
        return header.columns.get(position, header.names[position].strip() if position < len(header.names) else "")

    def _wrong_width(self, text: bytes, cells: list[bytes], end: int, after: int) -> None:
        fields = f"has {len(cells)} fields where the header has {self.layout.width}"
        if len(cells) == 1:
            fields = f"has {len(cells)} field where the header has {self.layout.width}"
        if self.layout.names.heads([c.decode("utf-8", "replace") for c in cells]):
            self._begin_another(after)
        elif b"\0" in text:
            self._lose("control_character", f"holds NUL characters and {fields}", after)
        elif end == after and len(cells) < self.layout.width:
            column = self._column(len(cells) - 1) if _cut_in_a_character(cells[-1]) else ""
            self._lose("truncated_record", f"{fields}, and the file ends here: it was cut off", after, column)
        else:
            self._lose("field_count", fields, after)

    def _is_header(self, cells: list[bytes], after: int, lines: int) -> bool:
        """Whether a line is the header again, or that of another table; then it is dealt with."""
        word = cells[self.mark_at].strip().lower()
        if word not in self.heads and word.isascii():
            return False
        texts = [c.decode("utf-8", "replace") for c in cells]
        if tuple(text.strip().casefold() for text in texts) == self.layout.folded:
            self.foreign = 0
            self._lose("repeated_header", "repeats the header", after, lines=lines)
        elif self.layout.names.heads(texts):
            self._begin_another(after, lines)
        else:
            return False
        return True

    def _begin_another(self, after: int, lines: int = 1) -> None:
        self.foreign = self.line
        why = "names the columns again, others or in another order: a second table begins"
        self._lose("second_table", why, after, lines=lines)

    def _pass_over(self, text: bytes, after: int) -> None:
        """A line of another table, whose cells stand in columns of their own; the first header may come again."""
        cells = split_strictly(text, self.layout.delimiter, self.layout.spaced)
        if cells is None or len(cells) != self.layout.width or not self._is_header(cells, after, 1):
            why = f"belongs to the second table that begins in line {self.foreign}; export it to a file of its own"
            self._lose("second_table", why, after)

    # --- records with quotes ---------------------------------------------------------------------------------------

    def _quoted(self, block: _Block, text: bytes, after: int) -> None:
        cells, end, fault, at_cell = self._split_quoted(self.at + len(text))
        lines = 1 + sum(1 for _ in LINE_END.finditer(self.data, self.at, end)) if end > self.at + len(text) else 1
        column = self._column(at_cell)
        if fault == "bad_quoting":
            self._lose(fault, f"{column} holds a quotation mark that is not written as RFC 4180 says", after, column)
        elif fault or (lines > 1 and len(cells) != self.layout.width):
            self._lose("unbalanced_quote", f"{column} opens a quotation mark that is not closed", after, column)
        elif lines > 1 and self._swallows_records(end):
            for _ in range(lines):
                message = "stands between two quotation marks, yet reads as a record of its own"
                self._lose("unbalanced_quote", message, line_end(self.data, self.at)[1])
        else:
            self._judge_quoted(block, cells, end, lines)

    def _judge_quoted(self, block: _Block, cells: list[bytes], end: int, lines: int) -> None:
        after = line_end(self.data, end)[1]
        if not any(cell.strip(_BLANK) for cell in cells):
            self.table.blank_rows += 1
            self._move(after, lines)
        elif len(cells) != self.layout.width:
            self._wrong_width(self.data[self.at : end], cells, end, after)
        elif not self._is_header(cells, after, lines):
            self._keep(block, cells, end, after, lines)

    def _split_quoted(self, line_end: int) -> tuple[list[bytes], int, str, int]:
        """The cells of a record with quotes, where it ends, its fault (or the empty text) and the cell that has it."""
        data, delimiter = self.data, self.layout.delimiter
        quoted, plain = cell_patterns(delimiter, self.layout.spaced)
        reach = min(self.size, max(line_end, self.at + 4 * self.budget.cell_characters))
        cells: list[bytes] = []
        at = self.at
        opened = 0
        while True:
            if data[at : at + 1] == _QUOTE or (self.layout.spaced and _OPENING.match(data, at)):
                opened = len(cells)
                found = quoted.match(data, at, reach)
                if found is None:
                    return cells, at, "unbalanced_quote", opened
                cells.append(found[1].replace(b'""', b'"'))
            else:
                found = plain.match(data, at)
                assert found is not None  # the pattern matches the empty cell as well
                cells.append(found[0])
            at = found.end()
            following = data[at : at + 1]
            if following in (b"", b"\r", b"\n"):
                return cells, at, "", opened
            if following != delimiter:
                return cells, at, "bad_quoting" if at <= line_end else "unbalanced_quote", len(cells) - 1
            at += 1

    def _swallows_records(self, end: int) -> bool:
        """Whether a line inside a quoted cell is itself a whole record: then two readings are possible."""
        needed = [self.layout.columns[name] for name in self.layout.needed]
        for text in list(_lines(self.data[self.at : end]))[1:-1]:
            cells = text.split(self.layout.delimiter)
            if needed and len(cells) == self.layout.width and all(cells[at].strip() for at in needed):
                return True
        return False

    def _hand_over(self, block: _Block) -> None:
        if block.records:
            columns: list[tuple[bytes, ...]] = list(zip(*block.records, strict=True))
            cells: dict[str, Sequence[bytes]] = {name: columns[at] for name, at in self.layout.columns.items()}
            self.table.add(np.array(block.lines, dtype=np.int32), cells)


def _lines(data: bytes) -> Iterator[bytes]:
    return iter(LINE_END.split(data))


def _cut_in_a_character(cell: bytes) -> bool:
    try:
        cell.decode("utf-8")
    except UnicodeDecodeError as error:
        return error.reason == "unexpected end of data"
    return False
