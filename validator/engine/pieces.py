"""How is a log judged that does not fit into memory? A few machines at a time, and the report is the same.

The rows of one machine are always judged together. What must be known of all rows first (how fine the clocks are, which machines
there are, how far each export reaches, where people were who are named at several stores) is found by going over the pieces before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any, Protocol

import numpy as np

from validator.assembly import assemble, survey
from validator.engine import compose
from validator.engine.change import Before
from validator.engine.judging import Judged, judge, recorded
from validator.engine.pictures import together
from validator.findings import InputFile, Notice, RecordDefect, Report
from validator.kinds import concurrency
from validator.machines import AsOf, machines
from validator.packs.model import Pack
from validator.presence import Presence, distinct, stays, travellers
from validator.records import Clocks, Files, Intake, RecordSet, Survey
from validator.register import Register

Zones = Mapping[str, str | None]


class Pieces(Protocol):
    """Files divided by machine: each piece holds all rows of its machines, with every file and sheet in it.

    Text columns have in every piece the vocabulary that they have in the whole, but for `cycle_id`. What is told of a file as a whole
    (notices, lost lines, blank rows) stands in the first piece only.
    """

    def __len__(self) -> int: ...

    def load(self, piece: int) -> Files:
        """The files with the rows of one piece."""
        ...

    def piece_of(self, store_id: str, equipment_id: str) -> int:
        """The piece that holds the rows of a machine, or would."""
        ...


def survey_pieces(pieces: Pieces, zones: Zones) -> Survey:
    """What must be known of all rows before any is judged."""
    return reduce(_together, (survey(pieces.load(n), zones) for n in range(len(pieces))))


def _together(a: Survey, b: Survey) -> Survey:
    return Survey(a.clocks | b.clocks, a.rows + b.rows, a.procedures | b.procedures)


def audit_pieces(
    pieces: Pieces, clocks: Clocks, zones: Zones, packs: Sequence[Pack], register: Register | None, as_of: AsOf, *,
    decision: str = "", before: Before | None = None, drawn: int = 0,
    on_progress: Callable[[int, int], None] = lambda done, all_: None, **said: Any,
) -> Report:  # fmt: skip
    """The report that `engine.audit` gives of all rows at once; `said` is what it takes beside.

    `on_progress(done, all)` is called after each piece, when its rows are let go.
    """
    known = _Known()
    for n in range(len(pieces)):
        known.add(assemble(pieces.load(n), zones, clocks))
    elsewhere = _presence(pieces, known, zones, clocks) if _asks_for_people(packs) else None
    fleet = machines(register, sorted(known.machines), as_of)
    home = np.array([pieces.piece_of(m.store_id, m.equipment_id) for m in fleet], dtype=np.int64)
    unread = any(f.status != "read" for f in known.inputs)
    done: list[Judged] = []
    for n in range(len(pieces)):
        records = assemble(pieces.load(n), zones, clocks).records
        records.reach = known.reach
        at = np.flatnonzero(home == n)
        people = None if elsewhere is None else Presence.seen_from(n, elsewhere)
        judged = judge(records, at, fleet, packs, decision, unread=unread, people=people, before=before, drawn=drawn)
        if done and judged.drawn is not None:  # what is drawn is bounded: the latest piece holds it for all so far
            judged.drawn, done[-1].drawn = together([d for d in (done[-1].drawn, judged.drawn) if d is not None]), None
        done.append(judged)
        del records, people
        on_progress(n + 1, len(pieces))
    return compose(done, fleet, known.intake(), packs, register, as_of, decision=decision, before=before, **said)


@dataclass
class _Known:
    """What the pieces tell of the whole before they are judged."""

    inputs: tuple[InputFile, ...] = ()
    defects: frozenset[RecordDefect] = frozenset()
    notices: tuple[Notice, ...] = ()
    machines: frozenset[tuple[str, str]] = frozenset()
    reach: Any = None
    stays: Any = None

    def add(self, part: Intake) -> None:
        """Take in one piece."""
        records = part.records
        self.inputs = tuple(map(_sum, self.inputs, part.inputs)) if self.inputs else part.inputs
        self.defects |= frozenset(part.defects)
        self.notices = tuple(dict.fromkeys((*self.notices, *part.notices)))
        self.machines |= frozenset(recorded(records))
        self.reach = records.reach if self.reach is None else np.maximum(self.reach, records.reach)
        mine = stays(records)
        self.stays = mine if self.stays is None else distinct(np.concatenate([self.stays, mine]))

    def intake(self) -> Intake:
        """The files as a whole, without their records."""
        of_files = [n for n in self.notices if n.code == "file"]
        of_stores = sorted((n for n in self.notices if n.code != "file"), key=lambda n: n.store_id)
        none = np.empty(0, dtype=np.int32)
        nothing = RecordSet({}, {}, {}, none.astype(np.int8), none, none, [])
        ordered = sorted(self.defects, key=lambda d: (d.file, d.sheet, d.row, d.column, d.code, d.message))
        return Intake(nothing, self.inputs, tuple(ordered), (*of_files, *of_stores))


def _sum(a: InputFile, b: InputFile) -> InputFile:
    return replace(
        a, rows=a.rows + b.rows, rows_used=a.rows_used + b.rows_used, rows_defective=a.rows_defective + b.rows_defective,
        rows_blank=a.rows_blank + b.rows_blank,
    )  # fmt: skip


def _asks_for_people(packs: Sequence[Pack]) -> bool:
    """Whether a rule holds the rows of one machine against those of others."""
    rules = (b for p in packs for b in p.rules if b.rule.kind == concurrency.NAME)
    return any(b.params.resource == "performed_by" for b in rules)


def _presence(pieces: Pieces, known: _Known, zones: Zones, clocks: Clocks) -> list[Presence]:
    """The rows of the people who are at more than one store, piece by piece."""
    people = travellers(known.stays)
    return [Presence.of(assemble(pieces.load(n), zones, clocks).records, people) for n in range(len(pieces))]
