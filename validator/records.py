"""The canonical table of performed steps: typed columns, the row each came from, and every row set aside with why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from validator.findings import InputFile, Notice, RecordDefect
from validator.tables import (
    NAT,
    TIMES,
    FileRead,
    FileRefused,
    Origin,
    TextColumn,
)
from validator.timing.zones import Clock

if TYPE_CHECKING:
    import pandas as pd

Micros = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Pair = tuple[int, int]
SECOND = 1_000_000
MINUTE = 60 * SECOND

UNSTATED, AGREES, BACKWARD, DISAGREES = 0, 1, 2, 3
"""What a row's own times say of each other: nothing twice; the same; an end before its start; another duration."""


@dataclass
class RecordSet:
    """Every row that can be placed, as columns of one length; instants are microseconds UTC, `NAT` where unknown.

    `own_times` says whether a row's own times agree (`AGREES`, `BACKWARD`, ...); a row in which they contradict each
    other shows that a step was done, not when, and both its times are unknown (`torn`). `given` says
    for `started_at` and `ended_at` in which rows a time stands there or follows from the duration, torn or not. `doubt`
    holds for a row whose time names an hour that happened twice every pair of start and end (`NAT`: unknown) it can mean,
    `stated` for a torn row the pair that stands in it. `unread` holds for a row what stands in each of its columns that
    could not be read. `origins` are the ways in which rows came from columns with other names, and `origin` is that of each
    row (-1: none); both are empty where every column bears its canonical name. `entries` are the numbers of the entries that
    rows are of lists in a file (0: of none).
    """

    texts: dict[str, TextColumn]
    times: dict[str, Micros]
    numbers: dict[str, npt.NDArray[np.float64]]
    own_times: npt.NDArray[np.int8]
    source: npt.NDArray[np.int32]
    rows: npt.NDArray[np.int32]
    sources: list[tuple[str, str]]
    resolution: dict[str, int] = field(default_factory=dict)
    given: dict[str, Mask] = field(default_factory=dict)
    doubt: dict[int, tuple[Pair, ...]] = field(default_factory=dict)
    stated: dict[int, tuple[Pair, ...]] = field(default_factory=dict)
    unread: dict[int, dict[str, str]] = field(default_factory=dict)
    origins: list[Origin] = field(default_factory=list)
    origin: npt.NDArray[np.int32] = field(default_factory=lambda: np.empty(0, dtype=np.int32))
    entries: dict[str, npt.NDArray[np.int32]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.rows)

    @cached_property
    def reach(self) -> Micros:
        """The latest time of work or verification in each source; `NAT` where there is none.

        `recorded_at` does not count: an export that has the column is not later than one that lacks it.
        """
        latest = np.full(len(self.sources), NAT)
        for name, times in self.times.items():
            if name != "recorded_at":
                np.maximum.at(latest, self.source, times)
        return latest

    @cached_property
    def torn(self) -> Mask:
        """Rows whose own times contradict each other."""
        contradict: Mask = self.own_times >= BACKWARD
        return contradict

    @property
    def started(self) -> Micros:
        return self.times["started_at"]

    @property
    def ended(self) -> Micros:
        return self.times["ended_at"]

    def text(self, column: str, row: int) -> str:
        """One text cell; blank is the empty text."""
        coded = self.texts[column]
        code = int(coded.codes[row])
        return coded.vocabulary[code] if code >= 0 else ""

    def code(self, column: str, value: str) -> int:
        """The code of a text in a column, or -2, which no row holds."""
        try:
            return self.texts[column].vocabulary.index(value)
        except ValueError:
            return -2

    def filled(self, column: str, row: int) -> bool:
        """Whether a row has a readable value in a column."""
        if column in self.times:
            return bool(self.times[column][row] != NAT) or row in self.doubt
        if column in self.numbers:
            return bool(self.numbers[column][row] == self.numbers[column][row])
        return column in self.texts and bool(self.texts[column].codes[row] >= 0)

    def cells(self, row: int, columns: Sequence[str]) -> tuple[str, ...]:
        """Where each column of a row stands in its file; nothing where the columns bear their canonical names."""
        if not self.origins:
            return ()
        entries = [int(numbers[row]) for numbers in self.entries.values()]
        return self.cells_of(int(self.origin[row]), int(self.rows[row]), entries, columns)

    def cells_of(self, origin: int, number: int, entries: Sequence[int], columns: Sequence[str]) -> tuple[str, ...]:
        """As `cells`, of a row that need not be among these, by its origin, its number and its entries.

        A cell is told by the column's own name, in a workbook with its address, in nested JSON with the numbers of the
        entries on the way.
        """
        if origin < 0:
            return ()
        named = (self.origins[origin].get(name, ()) for name in columns)
        said = tuple(
            " and ".join(f"{at}{number} {name}" if at else self._numbered(name, entries) for name, at in of)
            for of in named
        )
        return said if any(said) else ()

    def _numbered(self, path: str, entries: Sequence[int]) -> str:
        """`steps[].from` as `steps[3].from`."""
        folded = path.casefold()
        # the innermost list first, so that places stay
        for before, number in reversed([*zip(self.entries, entries, strict=True)]):
            if number and folded.startswith(before):
                path = f"{path[: len(before) - 1]}{number}{path[len(before) - 1 :]}"
        return path

    def frame(self) -> pd.DataFrame:
        """The table as a pandas frame that holds to `validator.frame.CANONICAL`, for further work outside."""
        from validator.frame import from_records

        return from_records(self)


@dataclass(frozen=True)
class Intake:
    """What came of reading: the records, one line a file, the defects, and what a reader must be told."""

    records: RecordSet
    inputs: tuple[InputFile, ...]
    defects: tuple[RecordDefect, ...]
    notices: tuple[Notice, ...]


@dataclass(frozen=True)
class Clocks:
    """Which columns of time are known to the second, in the whole of the files; the others are known to the minute.

    `written` speaks of the starts and ends that stand in the files, `known` of every column with what follows from durations.
    """

    written: frozenset[str]
    known: frozenset[str]

    def __or__(self, other: Clocks) -> Clocks:
        return Clocks(self.written | other.written, self.known | other.known)

    @property
    def slack(self) -> int:
        """By how much a row's own times must differ to contradict each other, in microseconds."""
        return SECOND if self.written >= {"started_at", "ended_at"} else MINUTE

    def resolution(self) -> dict[str, int]:
        """Of each column, in microseconds."""
        return {name: SECOND if name in self.known else MINUTE for name in TIMES}


@dataclass(frozen=True)
class Survey:
    """What must be known of all rows before any is judged: their clocks, how many can be placed, the procedures they name."""

    clocks: Clocks
    rows: int
    procedures: frozenset[str]


Files = Sequence[FileRead | FileRefused]


def either(pairs: Iterable[Pair], side: int, clock: Clock) -> str:
    """The starts (`side` 0) or ends (1) that a row can mean, or that stand in it, by a clock."""
    return " or ".join(sorted({clock.moment(pair[side]) for pair in pairs if pair[side] != NAT}))
