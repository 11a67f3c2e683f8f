"""How do some of the machines stand by the packs? What is judged of them is all that one report needs of their records.

A machine's rows are judged together, so a log can be judged a few machines at a time (`engine.pieces`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.cycles import form_cycles
from validator.engine import notices as tell
from validator.engine.apply import Applied, apply
from validator.engine.change import Before, Looked
from validator.engine.due import upcoming
from validator.engine.pictures import Drawn, draw
from validator.engine.stamp import findings
from validator.findings import Due, Finding
from validator.machines import Machine
from validator.packs.model import Pack
from validator.presence import Presence
from validator.records import RecordSet
from validator.steps import Steps

Tallies = npt.NDArray[np.int64]
Ints = npt.NDArray[np.int64]


@dataclass
class Judged:
    """What is known of some machines, `at` in the fleet.

    `tally` counts the checks of each rule, a line for each machine and a column for each status; `cycles` counts the cycles of each
    machine. `judged` are the stores with a row in a cycle, `named` those that any row names. `duplicates` and `superseded` count rows
    that were not used, by file. `looked` says how the checks behind an earlier report's findings stand now, by their ids; `drawn` is what a
    report draws of the machines, where that was asked for.
    """

    at: npt.NDArray[np.intp]
    records: int
    tally: dict[str, Tallies]
    cycles: Ints
    found: list[Finding]
    due: list[Due]
    told: list[tell.Told]
    judged: set[str]
    named: set[str]
    duplicates: Counter[str]
    superseded: Counter[str]
    looked: dict[str, Looked]
    drawn: Drawn | None


def judge(
    records: RecordSet, at: npt.NDArray[np.intp], fleet: Sequence[Machine], packs: Sequence[Pack], decision: str = "", *,
    unread: bool = False, people: Presence | None = None, before: Before | None = None, drawn: int = 0,
) -> Judged:  # fmt: skip
    """Judge the machines `at` some places of the fleet; the records are all rows about them, and about no other.

    `unread` says that some file could not be read. `people` are the rows of people at several stores, where the records are not all.
    """
    mine = [fleet[i] for i in at.tolist()]
    applied: list[Applied] = []
    told = list(tell.about_records(records, packs))
    formed: dict[str | None, Steps] = {}
    for number, pack in enumerate(packs):
        if pack.procedure not in formed:
            formed[pack.procedure] = form_cycles(records, mine, pack.procedure)
        done, more = apply(pack, formed[pack.procedure], mine, decision or pack.decision, unread=unread, number=number,
                           fleet=fleet, people=people, lost=before.lost if before is not None else None)  # fmt: skip
        applied.extend(done)
        told.extend(tell.about_pack(number, more))
    steps = applied[0].steps if applied else next(iter(formed.values()), None)
    if steps is not None:
        told.extend(tell.about_cycles(mine, steps))
    for about in (tell.about_own_limits, tell.about_uncredited, tell.about_samples, tell.about_close, tell.about_claims,
                  tell.about_contradictions, tell.about_targets):  # fmt: skip
        told.extend(about(applied))
    # the steps of every procedure hold all there are
    every = [formed[None]] if None in formed else list(formed.values())
    again, otherwise = (_by_file(records, formed.values(), name) for name in ("duplicates", "superseded"))
    return Judged(
        at, len(records), _tally(applied, len(mine)), sum(_cycles(s, len(mine)) for s in every) + np.zeros(len(mine), np.int64),
        findings(applied, before), upcoming(applied), told,
        {mine[i].store_id for i in np.unique(steps.machine).tolist()} if steps is not None else set(),
        set(records.texts["store_id"].vocabulary), again, otherwise,
        {} if before is None else before.look(applied), draw(applied, at, fleet, drawn) if drawn else None,
    )  # fmt: skip


def recorded(records: RecordSet) -> list[tuple[str, str]]:
    """The machines that the records name."""
    stores, equipment = records.texts["store_id"], records.texts["equipment_id"]
    width = len(equipment.vocabulary) or 1
    pairs = stores.codes.astype(np.int64) * width + equipment.codes
    heads = pairs[np.flatnonzero(np.diff(pairs, prepend=-1))] if len(pairs) else pairs
    return [(stores.vocabulary[p // width], equipment.vocabulary[p % width]) for p in np.unique(heads).tolist()]


def _tally(applied: Sequence[Applied], machines: int) -> dict[str, Tallies]:
    """By rule: the number of checks of each machine (rows) and status (columns)."""
    tally: dict[str, Tallies] = {}
    for a in applied:
        table = tally.setdefault(a.rule.rule.id, np.zeros((machines, 4), dtype=np.int64))
        for o in a.outcomes:
            table += np.bincount(o.machine * 4 + o.status, minlength=machines * 4).reshape(machines, 4)
    return tally


def _cycles(steps: Steps, machines: int) -> Ints:
    return np.bincount(steps.machine, minlength=machines)


def _by_file(records: RecordSet, formed: Iterable[Steps], name: str) -> Counter[str]:
    """How many rows of each file were not used for one reason, whichever procedure they were looked at for."""
    rows = np.unique(np.concatenate([np.empty(0, dtype=np.intp), *(getattr(s, name) for s in formed)]))
    files = [file for file, _ in records.sources]
    return Counter(files[s] for s in records.source[rows].tolist())
