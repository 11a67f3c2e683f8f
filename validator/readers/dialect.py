"""How is a CSV file laid out? Encoding, delimiter and header line: the needed names decide, never statistics."""

from __future__ import annotations

import codecs
import functools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from validator.errors import Unreadable
from validator.readers.headers import CANONICAL_NAMES, Header, Names
from validator.readers.physical import Bytes, line_end
from validator.readers.run_together import ENOUGH, parted
from validator.tables import TIMES, Budget

DELIMITERS = (b",", b";", b"\t", b"|")
_SPOKEN = {b",": "a comma", b";": "a semicolon", b"\t": "a tab", b"|": "a vertical bar"}
_SEP_LINE = re.compile(rb'"?sep=([\t!#-/:-@\[-^`{-~])"?')
_UNREAD = re.compile("[\udc80-\udcff]")
_NEVER = "\udcff"
"""Stands for the byte FF, which is in no UTF-8 text."""
_CUT = b"\xf0"
_BELOW = 20
_LONGEST_HEADER = 2**16
"""Bytes of a line in which names that ran together are looked for."""
_ENCODINGS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"),
)  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """Where the records of a CSV file begin and what each line of them must look like."""

    names: Names
    header: Header
    delimiter: bytes
    spaced: bool
    """Whether a blank follows every delimiter, so that an opening quotation mark may have blanks before it."""
    width: int
    start: int
    first_line: int
    columns: dict[str, int]
    folded: tuple[str, ...]
    needed: tuple[str, ...]
    """Columns of text that every record fills, the last of which tells a repeated header; none where times alone are read."""


def decoded(data: Bytes, assumptions: list[str], encoding: str | None = None) -> tuple[Bytes, int]:
    """The file as UTF-8 bytes and where its text begins; UTF-16 and UTF-32 only where a mark declares them.

    `encoding` is one that a mapping states; the mark of a file goes before it. A character that cannot be read becomes bytes that
    are no UTF-8, so that it costs its cell; one that the file's end cuts off stays cut off.
    """
    head = data[:4096]
    for mark, marked in _ENCODINGS:
        if head.startswith(mark):
            assumptions.append(f"read as {marked.upper()} text, as its first bytes say")
            return _units_decoded(data[len(mark) :], marked, len(mark)), 0
    if head.startswith(codecs.BOM_UTF8):
        return data, len(codecs.BOM_UTF8)
    if encoding is not None and encoding.startswith("utf-16"):
        assumptions.append(f"read as {encoding} text, as the mapping says")
        return _units_decoded(data[:], encoding, 0), 0
    zeros = head.count(b"\0")
    sides = head[::2].count(b"\0"), head[1::2].count(b"\0")
    if len(head) >= 8 and zeros * 3 >= len(head) and max(sides) * 3 >= zeros * 2:
        likely = "utf-16be" if sides[0] > sides[1] else "utf-16le"
        why = f"looks like UTF-16 text without its mark; export it as UTF-8, or say `encoding: {likely}` in a mapping"
        raise Unreadable("encoding_undeclared_utf16", why, "byte 0")
    if encoding is None:
        return data, 0
    assumptions.append(f"read as {encoding} text, as the mapping says{_though_utf8(data[:])}")
    text = _UNREAD.sub(_NEVER, data[:].decode(encoding, "surrogateescape"))
    return text.encode("utf-8", "surrogateescape"), 0


def _though_utf8(data: bytes) -> str:
    """A warning for a file that a declared code page would garble: it is UTF-8 text with characters beyond ASCII."""
    try:
        return "" if data.isascii() or not data.decode("utf-8") else ", though it is UTF-8 text as well"
    except UnicodeDecodeError:
        return ""


def _units_decoded(data: bytes, encoding: str, offset: int) -> bytes:
    """UTF-16 or UTF-32 as UTF-8: half a character stays half a one, and what the end cuts off becomes a cut one."""
    rest = len(data) % (4 if "32" in encoding else 2)
    try:
        text = data[: len(data) - rest].decode(encoding, "surrogatepass")
    except UnicodeDecodeError as error:
        place = f"byte {error.start + offset}"
        raise Unreadable("bad_encoding", f"says it is {encoding.upper()} text, but is not", place) from None
    return text.encode("utf-8", "surrogatepass") + (_CUT if rest else b"")


def find_layout(
    data: Bytes, start: int, budget: Budget, assumptions: list[str], names: Names = CANONICAL_NAMES
) -> Layout:
    """The first of the leading lines that one delimiter splits into every needed name; else `Unreadable`."""
    best: tuple[int, int, Sequence[str]] | None = None
    delimiters: tuple[bytes, ...] = (names.delimiter,) if names.delimiter else DELIMITERS
    source = _leading_lines(data, start, budget)
    leading: list[tuple[bytes | None, int]] = []
    for number in range(1, names.within + 1):
        leading += islice(
            source, max(0, number - 1 + names.rows - len(leading))
        )  # no line is looked at before it is needed
        if len(leading) < number:
            break
        line = leading[number - 1][0]
        if line is None:
            begun = leading[number - 2][1] if number > 1 else start
            why = f"has a line of {line_end(data, begun)[0] - begun} bytes; {budget.says('line-size')}"
            raise Unreadable("line_too_long", why, str(number))
        directive = _SEP_LINE.fullmatch(line.strip(b" ")) if number == 1 else None
        if directive:
            delimiters = (directive[1],)
            continue
        for delimiter in delimiters:
            spaced = line.count(delimiter + b" ") == line.count(delimiter) > 0
            lines = _split(leading[number - 1 : number - 1 + names.rows], delimiter, spaced)
            stray = not lines and not names.open
            if stray:
                lines = [line.replace(b'"', b"").decode("utf-8", "replace").split(delimiter.decode("latin-1"))]
            if not lines:
                continue
            found = names.header(lines, number)
            if found is not None and not names.exact(lines[0]):
                # names for people can stand above those that are looked for
                leading += islice(source, max(0, names.within - len(leading)))
                if any(
                    names.exact(one[0])
                    for one in (_split([below], delimiter, spaced) for below in leading[number:])
                    if one
                ):
                    continue
            if found is not None:
                place = number, number + found[1] - 1
                own, after = lines[found[1] - 1], leading[place[1] - 1][1]
                widths = list(_widths_below(data, after, budget, delimiter, spaced))
                if stray and widths[:1] != [len(own)]:
                    continue  # the header may go on in the next line
                if stray:
                    assumptions.append("the header has a quotation mark too many, which is left out of the names")
                header = _without_extra(list(found[0]), own, widths, assumptions)
                return _layout(names, header, delimiter, spaced, place, after, budget, assumptions)
            worth = 0 if stray else names.promise(lines[0])
            if worth and (best is None or worth > best[0]):
                best = worth, number, lines[0]
    mended = _mended(data, leading[: names.within], delimiters, names, budget)
    if mended is not None:
        number, cells, delimiter, spaced, why = mended
        assumptions.append(why)
        place, after = (number, number), leading[number - 1][1]
        return _layout(names, (cells, cells), delimiter, spaced, place, after, budget, assumptions)
    raise names.none(best[2] if best else None, f"{best[1] if best else 1}:")


def _mended(
    data: Bytes, leading: Sequence[tuple[bytes | None, int]], delimiters: Sequence[bytes], names: Names, budget: Budget
) -> tuple[int, list[str], bytes, bool, str] | None:
    """The first line whose names ran together and can be parted in one way: its number, names, dialect and what was done."""
    wanted = names.wanted_names()
    for number, (line, after) in enumerate(leading, 1) if wanted and names.rows == 1 else ():
        if line is None or len(line) > _LONGEST_HEADER:
            continue
        for delimiter in delimiters:
            spaced = line.count(delimiter + b" ") == line.count(delimiter) > 0
            below = functools.partial(_widths_below, data, after, budget, delimiter, spaced)
            cells = line.decode("utf-8", "replace").split(delimiter.decode("latin-1"))
            found = parted(cells, wanted, below)
            if found is not None and names.header([found[0]], number) is not None:
                return number, found[0], delimiter, spaced, found[1]
    return None


def _widths_below(data: Bytes, start: int, budget: Budget, delimiter: bytes, spaced: bool) -> Iterator[int]:
    """How many cells a few lines below a header have; 0 where a line by itself is no record."""
    at = start
    for _ in range(_BELOW):
        if at >= len(data):
            return
        end, after = line_end(data, at)
        if at < end <= at + budget.line_bytes:
            yield len(split_strictly(data[at:end], delimiter, spaced) or ())
        at = after


def _without_extra(
    names: list[str], own: list[str], widths: list[int], assumptions: list[str]
) -> tuple[list[str], list[str]]:
    """The header and its last line without the one cell that has no name, where every line below has one cell less."""
    blank = [at for at, name in enumerate(names) if not name.strip()]
    widths = [width for width in widths if width]
    if len(blank) != 1 or len(widths) < ENOUGH or set(widths) != {len(own) - 1}:
        return names, own
    at = blank[0]
    assumptions.append(
        f"cell {at + 1} of the header has no name and no line below has so many cells: it is taken for no column"
    )
    return names[:at] + names[at + 1 :], own[:at] + own[at + 1 :]


def _split(lines: Sequence[tuple[bytes | None, int]], delimiter: bytes, spaced: bool) -> list[list[str]]:
    """These lines up to the first that the delimiter does not split."""
    found = []
    for line, _ in lines:
        cells = None if line is None else split_strictly(line, delimiter, spaced)
        if cells is None:
            break
        found.append([cell.decode("utf-8", "replace") for cell in cells])
    return found


def _leading_lines(data: Bytes, start: int, budget: Budget) -> Iterator[tuple[bytes | None, int]]:
    """The lines of a file with the place after each; none in place of one that is too long."""
    at = start
    while at < len(data):
        end, after = line_end(data, at)
        yield (data[at:end] if end - at <= budget.line_bytes else None), after
        at = after


def _layout(
    wanted: Names,
    found: tuple[list[str], list[str]],
    delimiter: bytes,
    spaced: bool,
    lines: tuple[int, int],
    after: int,
    budget: Budget,
    assumptions: list[str],
) -> Layout:
    """The layout by a header: its names with the cells of its last line, and its first and last line."""
    (names, own), (number, last) = found, lines
    if len(names) > budget.columns:
        raise Unreadable("too_many_columns", f"has {len(names)} columns; {budget.says('columns')}", f"{number}:*")
    header = wanted.read(names, f"{number}:")
    if delimiter != b",":
        spoken = _SPOKEN.get(delimiter, repr(delimiter.decode("latin-1")))
        assumptions.append(f"cells are separated by {spoken}, which splits the header into the needed names")
    if spaced:
        assumptions.append("a blank follows every delimiter, as in the header; it belongs to no cell")
    if last > 1:
        what = f"line {number}" if last == number else f"lines {number} to {last}"
        above = "; the lines above it are not records" if number > 1 else ""
        assumptions.append(f"the header is {what}{above}")
    columns = {name: at for at, name in header.columns.items()}
    folded = tuple(name.strip().casefold() for name in own)
    needed = tuple(name for name in wanted.needed if name in columns and name not in TIMES)
    return Layout(wanted, header, delimiter, spaced, len(own), after, last + 1, columns, folded, needed)


def split_strictly(line: bytes, delimiter: bytes, spaced: bool = False) -> list[bytes] | None:
    """The cells of one line by RFC 4180 with its quotes closed on the line; None where they are not.

    `spaced`: blanks may stand before an opening quotation mark.
    """
    if b'"' not in line:
        return line.split(delimiter)
    cells = []
    quoted, plain = cell_patterns(delimiter, spaced)
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


@functools.cache
def cell_patterns(delimiter: bytes, spaced: bool = False) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
    """A quoted cell with its quotes (the content is group 1), and a cell without any."""
    before = b" *+" if spaced else b""
    return (
        re.compile(before + rb'"([^"]*+(?:""[^"]*+)*+)"'),
        re.compile(rb'[^"\r\n' + re.escape(delimiter) + rb"]*+"),
    )
