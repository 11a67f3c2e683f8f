"""What does a cell mean? One reading of texts, instants and numbers for every file format.

Nothing is guessed: a cell that can be read in two ways is a defect, and the row it stands in says so.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from validator.quantities import parse_number, plain_number
from validator.tables import (
    DOMAIN,
    NAT,
    NUMBERS,
    TEXTS,
    TIMES,
    CellDefect,
    Column,
    NumberColumn,
    ParsedTable,
    RawTable,
    StringsColumn,
    TextColumn,
    TimeColumn,
)
from validator.timing.instants import NoInstant, parse_instant, parse_strings

NAMES = ("performed_by", "verified_by", "product_unit", "water_unit", "note")
"""Text that tells but does not identify: a bad character in it spoils the cell, not the row."""

_UNIT_IN_CELL = re.compile(r"(?i)(ph)?\s*[~<>≤≥]?\s*[+-]?\d[\d.,]*\s*([a-z%°].*|-\s*\d.*)?")
_OTHER_NOTATION = re.compile(r"(?i)[+-]?([\d.,]+(e[+-]?\d*)?|0x[\da-f.]+(p[+-]?\d*)?)")
_INVISIBLE = {"Cf", "Co", "Cn", "Cs"}
# marks and letters that print as nothing or as a blank, which no category tells
_BLANK_MARKS = frozenset(
    "\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u2800\u3164\uffa0"
    + "".join(map(chr, [*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)]))
)
_SHOWN = 40


class _Fault(ValueError):
    def __init__(self, code: str, sentence: str) -> None:
        self.code = code
        super().__init__(sentence)


def parse(table: RawTable) -> ParsedTable:
    """Read every cell of a table; defects name the row its user sees, the column, the code and a sentence."""
    size = len(table.rows)
    parsed = ParsedTable(
        sheet=table.sheet, rows=table.rows, texts={}, times={}, absolute={}, numbers={},
        whole=np.zeros(size, dtype=bool), defects=list(table.defects), blank_rows=table.blank_rows,
    )  # fmt: skip
    if table.headings:
        parsed.origins = [{name: [heading] for name, heading in table.headings.items()}]
        parsed.origin = np.zeros(size, dtype=np.int32)
    flagged = {(d.index, d.column) for d in table.defects}
    for defect in table.defects:
        if defect.whole and defect.index >= 0:
            parsed.whole[defect.index] = True
    for name in TEXTS:
        if name in table.columns:
            parsed.texts[name] = _texts(parsed, name, as_text(table.columns[name], size))
    read = _strings_at_once(table)
    for name in TIMES:
        if name in table.columns:
            _times(parsed, name, table.columns[name], flagged, read.get(name))
    for name in NUMBERS:
        if name in table.columns:
            _numbers(parsed, name, table.columns[name], flagged)
    if "note" in table.columns:
        _texts(parsed, "note", as_text(table.columns["note"], size))
    return parsed


def as_text(column: Column, size: int) -> TextColumn:
    """A column that holds text cells, whatever shape the reader gave it."""
    if isinstance(column, TextColumn):
        return column
    if isinstance(column, StringsColumn):
        raw = column.data.tobytes()
        cells = [raw[a:b].decode() for a, b in zip(column.offsets[:-1], column.offsets[1:], strict=True)]
    elif isinstance(column, NumberColumn):
        cells = ["" if np.isnan(v) else repr(int(v)) if v == int(v) else repr(float(v)) for v in column.values]
    else:
        cells = ["" if v == NAT else str(np.datetime64(int(v), "us")) for v in column.microseconds]
    return code_texts(cells)


def code_texts(cells: Iterable[str | None]) -> TextColumn:
    """Code cells by a vocabulary in order of first appearance; None and the empty text are blank."""
    vocabulary: dict[str, int] = {}
    codes = [-1 if not cell else vocabulary.setdefault(cell, len(vocabulary)) for cell in cells]
    return TextColumn(np.array(codes, dtype=np.int32), list(vocabulary))


def _rows_of(codes: npt.NDArray[np.int32], wanted: set[int]) -> npt.NDArray[np.intp]:
    return np.flatnonzero(np.isin(codes, np.fromiter(wanted, dtype=np.int32))) if wanted else np.empty(0, np.intp)


def _texts(parsed: ParsedTable, name: str, column: TextColumn) -> TextColumn:
    """Trim and normalise the vocabulary once; a faulty value is a defect in every row that holds it."""
    clean: dict[str, int] = {}
    mapped = np.empty(len(column.vocabulary) + 1, dtype=np.int32)
    mapped[-1] = -1
    faults: dict[int, _Fault] = {}
    for code, cell in enumerate(column.vocabulary):
        text = (
            unicodedata.normalize("NFC", cell.strip().strip("\ufeff").strip()) if not cell.isascii() else cell.strip()
        )
        try:
            _check_text(text, name not in NAMES)
        except _Fault as fault:
            faults[code] = fault
            mapped[code] = -1
        else:
            mapped[code] = clean.setdefault(text, len(clean)) if text else -1
    for index in _rows_of(column.codes, set(faults)):
        code = int(column.codes[index])
        why = faults[code]
        _defect(parsed, int(index), name, why.code, column.vocabulary[code], str(why), whole=name not in NAMES)
    if len(clean) == len(column.vocabulary) and np.array_equal(mapped[:-1], np.arange(len(clean))):
        return TextColumn(column.codes, list(clean))
    return TextColumn(mapped[column.codes], list(clean))


def _check_text(text: str, identifies: bool) -> None:
    if text.isascii() and text.isprintable():
        return
    for character in text:
        kind = unicodedata.category(character)
        if kind == "Cc" and (identifies or character not in "\n\r\t"):
            raise _Fault("control_character", "holds a control character")
        if kind == "Cs":
            raise _Fault("bad_encoding", "holds half of a character")
        if character == "\ufffd":
            raise _Fault("lossy_text", "holds the mark of a character that was lost before")
        if (identifies and (kind in _INVISIBLE or character in _BLANK_MARKS)) or _unwelcome_in_a_name(character, kind):
            raise _Fault("invisible_character", "holds an invisible character")
    if identifies and len(_scripts(text)) > 1:
        raise _Fault("confusable_id", "mixes letters of scripts that look alike")


def _unwelcome_in_a_name(character: str, kind: str) -> bool:
    """Whether a character has no place in running text: private, no character at all, or one that turns the text around it.

    One that is not assigned yet is let through: it may be of a newer Unicode than the one known here, as new emoji are.
    """
    if kind == "Cf":
        return unicodedata.bidirectional(character) in _TURNS
    return kind == "Co" or (kind == "Cn" and (ord(character) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(character) <= 0xFDEF))


_TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
_ALIKE = ("LATIN", "CYRILLIC", "GREEK", "ARMENIAN", "CHEROKEE", "FULLWIDTH", "COPTIC", "LISU", "MATHEMATICAL")


def _scripts(text: str) -> set[str]:
    """The scripts with look-alike letters that a text draws on."""
    return {s for c in text if c.isalpha() for s in _ALIKE if unicodedata.name(c, "").startswith(s)}


Instants = tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_], npt.NDArray[np.intp]]
"""What `parse_strings` gives."""


def _strings_at_once(table: RawTable) -> dict[str, Instants]:
    """The time columns that are plain strings, two at a time: numpy lets other threads run."""
    plain = {n: c for n in TIMES if isinstance(c := table.columns.get(n), StringsColumn)}
    with ThreadPoolExecutor(max_workers=2) as pool:
        return dict(zip(plain, pool.map(parse_strings, plain.values()), strict=True))


def _times(
    parsed: ParsedTable, name: str, column: Column, flagged: set[tuple[int, str]], read: Instants | None
) -> None:
    if isinstance(column, TimeColumn):
        parsed.times[name] = column.microseconds
        parsed.absolute[name] = np.full(len(parsed.rows), column.absolute)
        _plausible_times(parsed, name, column.microseconds)
        return
    if isinstance(column, StringsColumn) and read is not None:
        micros, absolute, rest = read
        cells = {int(i): column.data[column.offsets[i] : column.offsets[i + 1]].tobytes().decode() for i in rest}
    else:
        text = as_text(column, len(parsed.rows))
        micros, absolute, cells = _parse_vocabulary(text)
    for index, cell in cells.items():
        cell = cell.strip()
        if not cell or (index, name) in flagged:
            continue
        try:
            micros[index], absolute[index] = parse_instant(cell)
        except NoInstant as fault:
            _defect(parsed, index, name, fault.code, cell, str(fault))
    parsed.times[name], parsed.absolute[name] = micros, absolute


def _parse_vocabulary(
    column: TextColumn,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_], dict[int, str]]:
    values = np.full(len(column.vocabulary) + 1, NAT)
    absolute = np.zeros(len(column.vocabulary) + 1, dtype=bool)
    bad: set[int] = set()
    for code, cell in enumerate(column.vocabulary):
        try:
            values[code], absolute[code] = parse_instant(cell.strip())
        except NoInstant:
            bad.add(code)
    cells = {int(i): column.vocabulary[column.codes[i]] for i in _rows_of(column.codes, bad)}
    return values[column.codes], absolute[column.codes], cells


def _plausible_times(parsed: ParsedTable, name: str, micros: npt.NDArray[np.int64]) -> None:
    low, high = parse_instant("1990-01-01T00:00Z")[0], parse_instant("2099-12-31T24:00Z")[0]
    for index in np.flatnonzero((micros != NAT) & ((micros < low) | (micros >= high))):
        said = str(np.datetime64(int(micros[index]), "us"))[:19].removesuffix("T00:00:00")
        _defect(parsed, int(index), name, "implausible_datetime", said, "lies outside the years 1990 to 2099")
        micros[index] = NAT


def _numbers(parsed: ParsedTable, name: str, column: Column, flagged: set[tuple[int, str]]) -> None:
    if isinstance(column, NumberColumn):
        values = column.values
        shown: Callable[[int], str] = lambda i: repr(float(values[i]))  # noqa: E731
    else:
        text = as_text(column, len(parsed.rows))
        values = _parse_numbers(parsed, name, text, flagged)
        shown = lambda i: text.vocabulary[text.codes[i]]  # noqa: E731
    low, high = DOMAIN[name]
    with np.errstate(invalid="ignore"):
        outside = ~np.isnan(values) & ~((values >= low) & (values <= high))
    if outside.any():
        values = values.copy()
        for index in _outside_by_schema(name, values, outside):
            code = "bad_number" if np.isinf(values[index]) else "out_of_domain"
            _defect(
                parsed,
                index,
                name,
                code,
                shown(index),
                f"lies outside {plain_number(low)} to {plain_number(high)}, what {name} can be",
            )
            values[index] = np.nan
    parsed.numbers[name] = values


def _outside_by_schema(name: str, values: npt.NDArray[np.float64], suspect: npt.NDArray[np.bool_]) -> list[int]:
    """The rows of suspect values that the canonical frame's schema refuses: the one statement of what a value may be."""
    from validator.frame import refused_rows

    return refused_rows(name, np.flatnonzero(suspect), values[suspect])


def _parse_numbers(
    parsed: ParsedTable, name: str, column: TextColumn, flagged: set[tuple[int, str]]
) -> npt.NDArray[np.float64]:
    values = np.full(len(column.vocabulary) + 1, np.nan)
    bad: dict[int, str] = {}
    for code, cell in enumerate(column.vocabulary):
        text = cell.strip()
        if not text:
            continue
        try:
            values[code] = parse_number(text)
        except ValueError:
            bad[code] = "unit_in_cell" if _has_unit(text) else "bad_number"
    for index in _rows_of(column.codes, set(bad)):
        code = int(column.codes[index])
        if (int(index), name) in flagged:
            continue
        why = (
            "holds a unit or a sign beside the number" if bad[code] == "unit_in_cell" else "is no plain decimal number"
        )
        _defect(parsed, int(index), name, bad[code], column.vocabulary[code], f"{why}; write it as 100 or 7.2")
    return values[column.codes]


def _has_unit(text: str) -> bool:
    return bool(_UNIT_IN_CELL.fullmatch(text)) and _OTHER_NOTATION.fullmatch(text) is None


def _defect(
    parsed: ParsedTable, index: int, column: str, code: str, cell: str, sentence: str, *, whole: bool = False
) -> None:
    shown = cell if len(cell) <= _SHOWN else cell[:_SHOWN] + "..."
    parsed.defects.append(
        CellDefect(
            index, int(parsed.rows[index]), column, code, f"{column} {shown!r} {sentence}", whole, parsed.sheet, shown
        )
    )
    if whole:
        parsed.whole[index] = True
