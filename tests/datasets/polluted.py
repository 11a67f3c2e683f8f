"""Makes every file of a published benchmark of polluted CSV files anew, from a clean log of our own.

The shapes, their number and the 84 by 9 source are those of Vitagliano et al., "Pollock: A Data Loading Benchmark", PVLDB 16(8),
2023: one clean table, each file with one pollution. Nothing of the benchmark's own text is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

HEADER = ("Day", "From", "Minutes", "Machine", "Strength", "Work", "Remark", "Sheet", "Initials")
QUOTED = {6, 7}
"""Columns that the source quotes in every line, as an export does with free text."""
ROWS = 83
_MACHINES = ("SYR-A", "SYR-B", "BAR 2", "Drive-in, left", '12" tower')
_WORK = ("Flushed", "Soaked", "Mixed, tested", 'Rinsed 5" hose', "Primed")
_REMARKS = (
    "water ran clear",
    "foam on line 3, rinsed again",
    'gauge reads 8\\\'9" too low, told the manager',
    "",
    'label says "keep closed"',
    "nothing to tell, all as on the card",
    "Ana's key was left in the lock",
)


def _source() -> list[tuple[str, ...]]:
    return [
        (
            f"{n % 28 + 1:02d}/{n // 28 + 1:02d}/2026", f"{n % 24:02d}:{n * 15 % 60:02d}", str(n % 31), _MACHINES[n % 5],
            f"{50 + n}.{n % 10}", _WORK[n // 5 % 5], _REMARKS[n % 7], f"https://log.example/sheet/{n:03d}", "",
        ) for n in range(ROWS)
    ]  # fmt: skip


CLEAN = _source()
"""The data rows of the source, as the cells that must come back."""


@dataclass(frozen=True)
class Polluted:
    """One file: its name, its bytes, the physical line of the damaged row (None: no row is damaged; 1: the header)."""

    name: str
    data: bytes
    kind: str
    damaged: int | None = None


@dataclass(frozen=True)
class _Dialect:
    delimiter: str = ","
    quote: str = '"'
    escape: str = '"'
    end: str = "\r\n"


_USUAL = _Dialect()


def _cells(row: Sequence[str], dialect: _Dialect = _USUAL) -> list[str]:
    """The cells of a line as they are written."""
    written = []
    for at, cell in enumerate(row):
        needs = at in QUOTED or ',' in cell or '"' in cell  # quoted as in the source, whatever the dialect
        inner = cell.replace(dialect.quote, dialect.escape + dialect.quote)
        written.append(f"{dialect.quote}{inner}{dialect.quote}" if needs else cell)
    return written


def _file(rows: Sequence[Sequence[str]], dialect: _Dialect = _USUAL) -> bytes:
    return "".join(dialect.delimiter.join(_cells(row, dialect)) + dialect.end for row in rows).encode("utf-8")


def _spoilt(line: int, text: str) -> bytes:
    """The source with one line, counted from 0, written as `text`."""
    lines = [",".join(_cells(row)) for row in (HEADER, *CLEAN)]
    lines[line] = text
    return ("\r\n".join(lines) + "\r\n").encode("utf-8")


def row_level() -> Iterator[Polluted]:
    """756 with an extra delimiter, 672 with a missing one, 756 with a stray quote, 84 with a line of blanks for delimiters."""
    for line, row in enumerate((HEADER, *CLEAN)):
        cells = _cells(row)
        for at in range(len(cells)):
            place = f"{line}_{at}"
            more = ",".join([*cells[:at], "", *cells[at:]])
            yield Polluted(f"more_{place}.csv", _spoilt(line, more), "extra delimiter", line + 1)
            if at > 0:
                less = ",".join([*cells[: at - 1], cells[at - 1] + cells[at], *cells[at + 1 :]])
                yield Polluted(f"less_{place}.csv", _spoilt(line, less), "missing delimiter", line + 1)
            inner = f'""{cells[at][1:]}' if cells[at].startswith('"') else f'"{cells[at]}'
            stray = ",".join([*cells[:at], inner, *cells[at + 1 :]])
            yield Polluted(f"quote_{place}.csv", _spoilt(line, stray), "stray quote", line + 1)
        yield Polluted(f"blanks_{line}.csv", _spoilt(line, " ".join(cells)), "wrong delimiter", line + 1)


def _torn(row: Sequence[str]) -> list[str]:
    """A row of a second table, in which a cell falls apart before a quotation mark."""
    parts: list[str] = []
    for cell in row:
        before, mark, after = cell.partition('"')
        parts += [before, mark + after] if mark else [cell]
    return parts


def file_level() -> Iterator[Polluted]:
    """22 with a pollution of the whole file, the clean source among them."""
    table = (HEADER, *CLEAN)
    source = _file(table)
    second = [_torn(row) for row in (HEADER, *CLEAN[:-1])]
    files = {
        "source": source, "no_payload": b"", "no_trailing_newline": source.removesuffix(b"\r\n"),
        "double_trailing_newline": source + b"\r\n", "no_header": _file(CLEAN), "header_twice": _file([HEADER, *table]),
        "header_thrice": _file([HEADER, HEADER, *table]),
        "preamble": ("TITLE" + "," * 8 + "\r\n" + "," * 8 + "\r\n").encode() + source,
        "second_table_less": source + _file([row[:8] for row in second]), "second_table_same": source + _file(second),
        "second_table_more": source + _file([second[0] + ["Extra"], *(row if len(row) > 9 else [*row, ""] for row in second[1:])]),
        "header_only": _file([HEADER]), "one_row": _file(table[:2]),
        "lf": _file(table, _Dialect(end="\n")), "cr": _file(table, _Dialect(end="\r")),
        "semicolon": _file(table, _Dialect(delimiter=";")), "tab": _file(table, _Dialect(delimiter="\t")),
        "comma_blank": _file(table, _Dialect(delimiter=", ")), "blank": _file(table, _Dialect(delimiter=" ")),
        "apostrophe": _file(table, _Dialect(quote="'", escape="'")), "backslash": _file(table, _Dialect(escape="\\")),
        "no_escape": _file(table, _Dialect(escape="")),
    }  # fmt: skip
    for name, data in files.items():
        yield Polluted(f"file_{name}.csv", data, name)
