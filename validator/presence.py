"""Where were the people who are named at more than one store? Their rows, so that it can be asked across machines.

This is the one thing that rows of one machine do not tell by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.findings import Evidence
from validator.records import Pair, RecordSet, either
from validator.tables import NAT
from validator.timing.zones import Clock

Ints = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int32]
COLUMNS = ("performed_by", "store_id", "started_at", "ended_at")


@dataclass(frozen=True)
class Presence:
    """Rows of people, as columns of one length.

    `person`, `store` and `step` are codes of the records' vocabularies, times are microseconds UTC (`NAT` unknown), `source` and `number`
    say where a row stands. `row` is its position in the records, -1 where it is not among them. `meant` holds what stands in a row whose
    times are unknown because they can be read in two ways or contradict each other.
    """

    person: Codes
    store: Codes
    step: Codes
    start: Ints
    end: Ints
    recorded: Ints
    source: Codes
    number: Codes
    row: Ints
    meant: dict[tuple[int, int], tuple[Pair, ...]]

    def __len__(self) -> int:
        return len(self.person)

    @classmethod
    def of(cls, records: RecordSet, people: npt.NDArray[np.int32] | None = None) -> Presence:
        """The rows of these people (codes); without any named, those that the records name at more than one store."""
        person, store = records.texts["performed_by"].codes, records.texts["store_id"].codes
        people = travellers(stays(records)) if people is None else people
        at = np.flatnonzero(np.isin(person, people))
        unclear = {**records.stated, **records.doubt}
        meant = {
            (int(records.source[row]), int(records.rows[row])): unclear[row]
            for row in (at[np.isin(at, sorted(unclear))].tolist() if unclear else ())
        }
        return cls(
            person[at], store[at], records.texts["step"].codes[at], records.started[at], records.ended[at],
            records.times["recorded_at"][at], records.source[at], records.rows[at], at.astype(np.int64), meant,
        )  # fmt: skip

    @classmethod
    def seen_from(cls, piece: int, every: Sequence[Presence]) -> Presence:
        """The rows of every piece of the records, as one of the pieces has them."""
        columns: dict[str, Any] = {
            f.name: np.concatenate([getattr(p, f.name) for p in every]) for f in fields(cls) if f.name != "meant"
        }
        here = np.repeat(np.arange(len(every)), [len(p) for p in every]) == piece
        columns["row"] = np.where(here, columns["row"], -1)
        return cls(**columns, meant={k: v for p in every for k, v in p.meant.items()})

    def pick(self, at: npt.NDArray[np.intp]) -> Presence:
        """Some of the rows."""
        columns: dict[str, Any] = {f.name: getattr(self, f.name)[at] for f in fields(self) if f.name != "meant"}
        return Presence(**columns, meant=self.meant)

    def evidence(self, at: int, records: RecordSet, clock: Clock) -> tuple[int, int, Evidence]:
        """One row in words, times by its store's clock, with its source and number."""
        source, number = int(self.source[at]), int(self.number[at])
        file, sheet = records.sources[source]
        meant = self.meant.get((source, number), ())
        times = (
            clock.moment(int(known[at])) if known[at] != NAT else either(meant, side, clock)
            for side, known in enumerate((self.start, self.end))
        )
        said = (
            self.word(records, "performed_by", self.person[at]),
            self.word(records, "store_id", self.store[at]),
            *times,
        )
        return source, number, Evidence(file, sheet, number, COLUMNS, said)

    @staticmethod
    def word(records: RecordSet, column: str, code: np.int32) -> str:
        """What a code stands for."""
        return records.texts[column].vocabulary[int(code)]


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
