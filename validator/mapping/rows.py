"""Which rows of an export are no records, and which columns are filled in the first row of a block alone?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from validator.mapping.aliases import aliases, fold
from validator.tables import ParsedTable

Mask = npt.NDArray[np.bool_]
_FEWEST_BLANK = 1 / 3
"""The share of blank cells from which on blocks are a likelier cause than cells that were forgotten."""


def _filled(table: ParsedTable) -> npt.NDArray[np.int32]:
    filled = np.zeros(len(table.rows), dtype=np.int32)
    for column in table.texts.values():
        filled += column.codes >= 0
    return filled


def footers(table: ParsedTable) -> tuple[dict[str, dict[str, None]], Mask]:
    """Lines that say who printed or signed what: the usual word that each begins with, by its column, and their rows.

    Such a line fills no other cell.
    """
    usual = tuple(fold(word) for word in aliases()["footers"])
    alone = _filled(table) == 1
    words: dict[str, dict[str, None]] = {}
    rows = np.zeros(len(table.rows), dtype=bool)
    for name, column in table.texts.items():
        begins = {c: w.split()[0] for c, w in enumerate(column.vocabulary) if fold(w).startswith(usual)}
        mine = np.isin(column.codes, list(begins)) & alone
        if mine.any():
            words[name] = dict.fromkeys(begins[c] for c in np.unique(column.codes[mine]).tolist())
            rows |= mine
    return words, rows


def sums(table: ParsedTable) -> tuple[dict[str, dict[str, bool]], Mask]:
    """Rows that sum up others, because a cell says so: the text that each such cell is (true) or begins with, and their rows.

    A cell that only begins so (`Total: 12`) tells it of a row that fills at most half as many cells as most rows do.
    """
    totals = sorted((fold(word) for word in aliases()["totals"]), key=len, reverse=True)
    begins = re.compile(rf"({'|'.join(map(re.escape, totals))})(?![^\W_])", re.IGNORECASE)
    filled = _filled(table)
    sparse = filled <= (np.median(filled) / 2 if len(filled) else 0)
    words: dict[str, dict[str, bool]] = {}
    rows = np.zeros(len(table.rows), dtype=bool)
    for name, column in table.texts.items():
        for code, word in enumerate(column.vocabulary):
            found = begins.match(word.strip())
            if found is not None:
                whole = fold(word) in totals
                here = (column.codes == code) & (sparse | whole)
                if here.any():
                    words.setdefault(name, {})[word.strip() if whole else found[0]] = whole
                    rows |= here
    return words, rows


def in_blocks(tables: Sequence[ParsedTable], names: Iterable[str]) -> dict[str, str]:
    """Of these columns those that are filled in the first of several records and blank below, each with what shows it."""
    records = [~(sums(table)[1] | footers(table)[1]) & (_filled(table) > 0) for table in tables]
    found: dict[str, str] = {}
    for name in names:
        cells = [
            table.texts[name].codes[kept] >= 0
            for table, kept in zip(tables, records, strict=True)
            if name in table.texts
        ]
        rows, filled = sum(map(len, cells)), sum(int(mine.sum()) for mine in cells)
        begins = all(mine[0] for mine in cells if len(mine))
        if begins and filled and rows - filled >= max(1, rows * _FEWEST_BLANK):
            found[name] = (
                f"{name!r} is filled in {filled} of {rows} rows, the first among them, and blank in those below"
            )
    return found
