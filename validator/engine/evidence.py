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
from validator.records import either
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

    def of(
        self, columns: Columns, rows: Sequence[int], beside: tuple[tuple[int, int, Evidence], ...] = ()
    ) -> tuple[Evidence, ...]:
        """The rows of one finding in order of file and number, each once; they were said before, but those `beside`."""
        said = self._said[columns]
        if beside:
            told = [*(said[k] for k in set(rows)), *beside]
            return tuple(seen for _, _, seen in sorted(told, key=lambda one: one[:2]))
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
        cells = records.cells(row, columns) if records.origins else ()
        found.append((source, number, Evidence(file, sheet, number, columns, said, cells)))
    return found


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
                said[k] = either(meant, side, clock)
    return said
