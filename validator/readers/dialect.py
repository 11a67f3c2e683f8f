"""How is a CSV file laid out? Encoding, delimiter and header line: the needed names decide, never statistics."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import takewhile

from validator.errors import Unreadable
from validator.readers.headers import CANONICAL_NAMES, Header, Names
from validator.readers.physical import Bytes, line_end
from validator.tables import TIMES, Budget

DELIMITERS = (b",", b";", b"\t", b"|")
_SPOKEN = {b",": "a comma", b";": "a semicolon", b"\t": "a tab", b"|": "a vertical bar"}
_SEP_LINE = re.compile(rb'"?sep=([\t!#-/:-@\[-^`{-~])"?')
_ENCODINGS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"),
)  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """Where the records of a CSV file begin and what each line of them must look like."""

    header: Header
    delimiter: bytes
    width: int
    start: int
    first_line: int
    columns: dict[str, int]
    folded: tuple[str, ...]
    needed: tuple[str, ...]
    """Columns of text that every record fills, the last of which tells a repeated header; none where times alone are read."""


def decoded(data: Bytes, assumptions: list[str], encoding: str | None = None) -> tuple[Bytes, int]:
    """The file as UTF-8 bytes and where its text begins; UTF-16 and UTF-32 only where a mark declares them.

    `encoding` is one that a mapping states.
    """
    if encoding is not None:
        try:
            return data[:].decode(encoding).encode("utf-8"), 0
        except UnicodeDecodeError as error:
            place = f"byte {error.start}"
            raise Unreadable("bad_encoding", f"is not {encoding} text, as the mapping says", place) from None
    head = data[:4096]
    for mark, encoding in _ENCODINGS:
        if head.startswith(mark):
            try:
                text = data[len(mark) :].decode(encoding)
            except UnicodeDecodeError as error:
                place = f"byte {error.start + len(mark)}"
                raise Unreadable("bad_encoding", f"says it is {encoding.upper()} text, but is not", place) from None
            assumptions.append(f"read as {encoding.upper()} text, as its first bytes say")
            return text.encode("utf-8"), 0
    zeros = head.count(b"\0")
    on_one_side = max(head[::2].count(b"\0"), head[1::2].count(b"\0"))
    if len(head) >= 8 and zeros * 3 >= len(head) and on_one_side * 3 >= zeros * 2:
        raise Unreadable(
            "encoding_undeclared_utf16", "looks like UTF-16 text without its mark; export it as UTF-8", "byte 0"
        )
    return data, len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0


def find_layout(
    data: Bytes, start: int, budget: Budget, assumptions: list[str], names: Names = CANONICAL_NAMES
) -> Layout:
    """The first of the leading lines that one delimiter splits into every needed name; else `Unreadable`."""
    best: tuple[int, int, Sequence[str]] | None = None
    delimiters: tuple[bytes, ...] = (names.delimiter,) if names.delimiter else DELIMITERS
    leading = list(_leading_lines(data, start, budget, names.within, names.rows))
    for number, (line, _) in enumerate(leading[: names.within], 1):
        directive = _SEP_LINE.fullmatch(line.strip(b" ")) if number == 1 else None
        if directive:
            delimiters = (directive[1],)
            continue
        for delimiter in delimiters:
            lines = _split(leading[number - 1 : number - 1 + names.rows], delimiter)
            if not lines:
                continue
            found = names.header(lines, number)
            if found is not None:
                place = number, number + found[1] - 1
                own, after = lines[found[1] - 1], leading[place[1] - 1][1]
                return _layout(names, found[0], own, delimiter, place, after, budget, assumptions)
            worth = names.promise(lines[0])
            if worth and (best is None or worth > best[0]):
                best = worth, number, lines[0]
    raise names.none(best[2] if best else None, f"{best[1] if best else 1}:")


def _split(lines: Sequence[tuple[bytes, int]], delimiter: bytes) -> list[list[str]]:
    """These lines up to the first that the delimiter does not split."""
    split = (split_strictly(line, delimiter) for line, _ in lines)
    return [
        [cell.decode("utf-8", "replace") for cell in cells]
        for cells in takewhile(lambda c: c is not None, split)
        if cells
    ]


def _leading_lines(data: Bytes, start: int, budget: Budget, within: int, more: int) -> Iterator[tuple[bytes, int]]:
    """The lines in which a header can begin, and those that one which begins in the last of them can take."""
    at = start
    for number in range(1, within + more):
        if at >= len(data):
            return
        end, after = line_end(data, at)
        if end - at > budget.line_bytes:
            if number > within:
                return
            raise Unreadable("line_too_long", f"has a line of more than {budget.line_bytes} bytes", str(number))
        yield data[at:end], after
        at = after


def _layout(
    wanted: Names,
    names: Sequence[str],
    own: Sequence[str],
    delimiter: bytes,
    lines: tuple[int, int],
    after: int,
    budget: Budget,
    assumptions: list[str],
) -> Layout:
    """The layout by a header: its names, the cells of its last line, and its first and last line."""
    number, last = lines
    if len(names) > budget.columns:
        raise Unreadable(
            "too_many_columns", f"has {len(names)} columns; at most {budget.columns} are read", f"{number}:*"
        )
    header = wanted.read(names, f"{number}:")
    if delimiter != b",":
        spoken = _SPOKEN.get(delimiter, repr(delimiter.decode("latin-1")))
        assumptions.append(f"cells are separated by {spoken}, which splits the header into the needed names")
    if last > 1:
        what = f"line {number}" if last == number else f"lines {number} to {last}"
        above = "; the lines above it are not records" if number > 1 else ""
        assumptions.append(f"the header is {what}{above}")
    columns = {name: at for at, name in header.columns.items()}
    folded = tuple(name.strip().casefold() for name in own)
    needed = tuple(name for name in wanted.needed if name in columns and name not in TIMES)
    return Layout(header, delimiter, len(own), after, last + 1, columns, folded, needed)


def split_strictly(line: bytes, delimiter: bytes) -> list[bytes] | None:
    """The cells of one line by RFC 4180 with its quotes closed on the line; None where they are not."""
    if b'"' not in line:
        return line.split(delimiter)
    cells = []
    quoted, plain = cell_patterns(delimiter)
    at = 0
    while True:
        found = quoted.match(line, at)
        if found:
            cells.append(found[1].replace(b'""', b'"'))
        else:
            found = plain.match(line, at)
            cells.append(found[0] if found else b"")
        at = found.end() if found else at
        if at == len(line):
            return cells
        if line[at : at + 1] != delimiter:
            return None
        at += 1


_PATTERNS: dict[bytes, tuple[re.Pattern[bytes], re.Pattern[bytes]]] = {}


def cell_patterns(delimiter: bytes) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
    """A quoted cell with its quotes (the content is group 1), and a cell without any."""
    if delimiter not in _PATTERNS:
        stop = re.escape(delimiter)
        _PATTERNS[delimiter] = (
            re.compile(rb'"([^"]*+(?:""[^"]*+)*+)"'),
            re.compile(rb'[^"\r\n' + stop + rb"]*+"),
        )
    return _PATTERNS[delimiter]
