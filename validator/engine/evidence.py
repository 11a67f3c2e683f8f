"""The rows that show a finding, with what stands in them: times by the clock of the store, a blank as an empty text.

Rows are put into words in bulk: many findings name many rows, and often the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from validator.findings import Evidence
from validator.language import Said
from validator.quantities import plain_number
from validator.records import RecordSet
from validator.steps import Steps
from validator.tables import NAT, NUMBERS, TIMES

MOST_ROWS = 60
"""Rows named in one finding: a finding on more says so in its sentence."""
_MOST_CELLS = 3
Columns = tuple[str, ...]
Index = npt.NDArray[np.intp]


class Rows:
    """The rows of some steps (positions in their order) in words, each put into them once for every set of columns."""

    def __init__(self, steps: Steps) -> None:
        self.steps = steps
        self._said: dict[Columns, dict[int, tuple[int, int, Evidence]]] = {}

    def say(self, asked: Iterable[tuple[Columns, Sequence[int]]]) -> None:
        """Put into words what several findings will name."""
        wanted: dict[Columns, set[int]] = {}
        for columns, rows in asked:
            wanted.setdefault(columns, set()).update(rows)
        for columns, every in wanted.items():
            known = self._said.setdefault(columns, {})
            fresh = np.array(sorted(every - known.keys()), dtype=np.intp)
            known.update(zip(fresh.tolist(), _in_words(self.steps, fresh, columns), strict=True))

    def of(self, columns: Columns, rows: Sequence[int]) -> tuple[Evidence, ...]:
        """The rows of one finding in order of file and number, each once; they were said before."""
        said = self._said[columns]
        # several records can stand under one number: a wide row of a file holds many steps
        placed = sorted((*said[k][:2], k) for k in set(rows))
        return tuple(said[k][2] for _, _, k in placed[:MOST_ROWS])

    def unread(self, columns: Columns, rows: Sequence[int]) -> str:
        """What stands in cells of these rows that could not be read; nothing where all could."""
        records = self.steps.records
        if not records.unread:
            return ""
        found: dict[tuple[str, str], None] = {}
        for row in sorted(self.steps.row[list(set(rows))].tolist()) if len(rows) else ():
            cells = records.unread.get(row, {})
            found |= {(name, cells[name]): None for name in columns if name in cells and not records.filled(name, row)}
        shown = ", ".join(f"{name} {cell!r}" for name, cell in list(found)[:_MOST_CELLS])
        if len(found) > _MOST_CELLS:
            shown = Said("{shown} and {rest} more", {"shown": shown, "rest": str(len(found) - _MOST_CELLS)})
        return shown


def _in_words(steps: Steps, rows: Index, columns: Columns) -> list[tuple[int, int, Evidence]]:
    records = steps.records
    at = steps.row[rows]
    sources, numbers = records.source[at].tolist(), records.rows[at].tolist()
    values = zip(*(_column(steps, rows, at, name) for name in columns), strict=True) if columns else ((),) * len(rows)
    found = []
    for row, source, number, said in zip(at.tolist(), sources, numbers, values, strict=True):
        file, sheet = records.sources[source]
        unread = records.unread.get(row)
        if unread is not None:
            said = tuple(value or unread.get(name, "") for name, value in zip(columns, said, strict=True))
        cells = _cells(records, row, columns, number) if records.origins else ()
        found.append((source, number, Evidence(file, sheet, number, columns, said, cells)))
    return found


def _cells(records: RecordSet, row: int, columns: Columns, number: int) -> tuple[str, ...]:
    """Where each column of a row stands in its file: the column's own name, in a workbook with the cell, in nested JSON with
    the numbers of the entries on the way.
    """
    if records.origin[row] < 0:
        return ()
    origin = records.origins[records.origin[row]]
    named = (origin.get(name, ()) for name in columns)
    said = tuple(
        " and ".join(f"{at}{number} {name}" if at else _numbered(name, records, row) for name, at in of) for of in named
    )
    return said if any(said) else ()


def _numbered(path: str, records: RecordSet, row: int) -> str:
    """`steps[].from` as `steps[3].from`."""
    folded = path.casefold()
    for before, numbers in reversed(records.entries.items()):  # the innermost list first, so that places stay
        if numbers[row] and folded.startswith(before):
            path = f"{path[: len(before) - 1]}{numbers[row]}{path[len(before) - 1 :]}"
    return path


def _column(steps: Steps, rows: Index, at: Index, name: str) -> list[str]:
    records = steps.records
    if name in TIMES:
        return _times(steps, rows, at, name)
    if name in NUMBERS:
        if name not in records.numbers:
            return [""] * len(at)
        return ["" if value != value else plain_number(value) for value in records.numbers[name][at].tolist()]
    coded = records.texts[name]
    words = [*coded.vocabulary, ""]
    return [words[code] for code in coded.codes[at].tolist()]


def _times(steps: Steps, rows: Index, at: Index, name: str) -> list[str]:
    """Times by the clock of each row's store; of an hour that happened twice both, of torn times what was written."""
    records = steps.records
    instants = records.times[name][at]
    said = [""] * len(at)
    machine = steps.machine[steps.cycle[rows]]
    zones = sorted({m.zone for m in steps.machines})
    zone = np.array([zones.index(m.zone) for m in steps.machines], dtype=np.int64)[machine]
    for code in np.unique(zone).tolist():
        mine = np.flatnonzero((zone == code) & (instants != NAT))
        if len(mine):
            clock = steps.machines[int(machine[mine[0]])].clock
            for k, text in zip(mine.tolist(), clock.moments(instants[mine]), strict=True):
                said[k] = text
    if name in ("started_at", "ended_at"):
        side = ("started_at", "ended_at").index(name)
        for k in np.flatnonzero(instants == NAT).tolist():
            row = int(at[k])
            meant = records.doubt.get(row, ()) or records.stated.get(row, ())
            if meant:
                clock = steps.machines[int(machine[k])].clock
                said[k] = " or ".join(sorted({clock.moment(pair[side]) for pair in meant if pair[side] != NAT}))
    return said
