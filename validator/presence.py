"""Where were the people who are named at more than one store? Their rows, so that it can be asked across machines.

This is the one thing that rows of one machine do not tell by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.findings import Evidence
from validator.records import RecordSet, either
from validator.tables import NAT
from validator.timing.zones import Clock

Ints = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int32]
COLUMNS = ("performed_by", "store_id", "started_at", "ended_at")


@dataclass(frozen=True)
class Presence:
    """Rows of people, as columns of one length.

    `person`, `store` and `step` are codes of the records' vocabularies, times are microseconds UTC (`NAT` unknown), `source` and `number`
    say where a row stands, `origin` and `entries` (a column for each list) by which columns and entries of the file. `row` is its position
    in the records, -1 where it is not among them. `meant` holds what stands in a row whose times are unknown because they can be read in
    two ways or contradict each other, `unread` what stands in cells that could not be read; of other rows both are None.
    """

    person: Codes
    store: Codes
    step: Codes
    start: Ints
    end: Ints
    recorded: Ints
    source: Codes
    number: Codes
    origin: Codes
    entries: Codes
    row: Ints
    meant: npt.NDArray[np.object_]
    unread: npt.NDArray[np.object_]

    def __len__(self) -> int:
        return len(self.person)

    @classmethod
    def of(cls, records: RecordSet, people: npt.NDArray[np.int32] | None = None) -> Presence:
        """The rows of these people (codes); without any named, those that the records name at more than one store."""
        person, store = records.texts["performed_by"].codes, records.texts["store_id"].codes
        people = travellers(stays(records)) if people is None else people
        at = np.flatnonzero(np.isin(person, people))
        none = np.full(len(at), -1, dtype=np.int32)
        entries = [numbers[at] for numbers in records.entries.values()]
        return cls(
            person[at], store[at], records.texts["step"].codes[at], records.started[at], records.ended[at],
            records.times["recorded_at"][at], records.source[at], records.rows[at],
            records.origin[at] if records.origins else none,
            np.stack(entries, axis=1) if entries else np.empty((len(at), 0), dtype=np.int32), at.astype(np.int64),
            _of_some(at, {**records.stated, **records.doubt}), _of_some(at, records.unread),
        )  # fmt: skip

    @classmethod
    def seen_from(cls, piece: int, every: Sequence[Presence]) -> Presence:
        """The rows of every piece of the records, as one of the pieces has them."""
        columns: dict[str, Any] = {f.name: np.concatenate([getattr(p, f.name) for p in every]) for f in fields(cls)}
        here = np.repeat(np.arange(len(every)), [len(p) for p in every]) == piece
        columns["row"] = np.where(here, columns["row"], -1)
        return cls(**columns)

    def pick(self, at: npt.NDArray[np.intp]) -> Presence:
        """Some of the rows."""
        return Presence(**{f.name: getattr(self, f.name)[at] for f in fields(self)})

    def in_order(self, low: Ints, high: Ints, at: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
        """Some of the rows by person and time, those of one time as they stand in the files."""
        place = (*self.entries.T[::-1], self.origin, self.number, self.source)
        order: npt.NDArray[np.intp] = at[np.lexsort(tuple(a[at] for a in (*place, high, low, self.person)))]
        return order

    def evidence(self, at: int, records: RecordSet, clock: Clock) -> tuple[int, int, Evidence]:
        """One row in words, times by its store's clock, with its source and number."""
        source, number = int(self.source[at]), int(self.number[at])
        file, sheet = records.sources[source]
        meant = self.meant[at] or ()
        times = (
            clock.moment(int(known[at])) if known[at] != NAT else either(meant, side, clock)
            for side, known in enumerate((self.start, self.end))
        )
        said = (
            self.word(records, "performed_by", self.person[at]),
            self.word(records, "store_id", self.store[at]),
            *times,
        )
        unread = self.unread[at] or {}
        said = tuple(value or unread.get(name, "") for name, value in zip(COLUMNS, said, strict=True))
        cells = records.cells_of(int(self.origin[at]), number, self.entries[at].tolist(), COLUMNS)
        return source, number, Evidence(file, sheet, number, COLUMNS, said, cells)

    @staticmethod
    def word(records: RecordSet, column: str, code: np.int32) -> str:
        """What a code stands for."""
        return records.texts[column].vocabulary[int(code)]


def _of_some(at: npt.NDArray[np.intp], known: Mapping[int, object]) -> npt.NDArray[np.object_]:
    """What is known of some rows, None of the others."""
    found = np.full(len(at), None, dtype=object)
    for k in np.flatnonzero(np.isin(at, list(known))).tolist() if known else ():
        found[k] = known[int(at[k])]
    return found


def stays(records: RecordSet) -> npt.NDArray[np.int64]:
    """Every person named, with every store at which it is: two columns of codes, each pair once."""
    person, store = records.texts["performed_by"].codes, records.texts["store_id"].codes
    return distinct(np.stack([person, store], axis=1)[person >= 0].astype(np.int64))


def distinct(pairs: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Each pair once, in order."""
    width = int(pairs[:, 1].max(initial=0)) + 1
    found = np.unique(pairs[:, 0] * width + pairs[:, 1])
    return np.stack([found // width, found % width], axis=1)


def travellers(pairs: npt.NDArray[np.int64]) -> npt.NDArray[np.int32]:
    """The people of some stays who are at more than one store."""
    people, places = np.unique(pairs[:, 0], return_counts=True)
    return people[places > 1].astype(np.int32)
