"""Which steps make up one cycle? Rows of one procedure sorted once, by cycle, step, target and start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.machines import Machine
from validator.records import RecordSet
from validator.steps import Steps
from validator.tables import NAT, TEXTS
from validator.timing.intervals import runs
from validator.versions import standing

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Codes = npt.NDArray[np.int32]

APART = 6 * 3600 * 1_000_000
"""Rows without a cycle id that lie this far apart or farther belong to different cycles (contract, section 3)."""


def form_cycles(records: RecordSet, machines: Sequence[Machine], procedure: str | None) -> Steps:
    """Sort the rows of one procedure into cycles; None takes every procedure, each by itself.

    A blank procedure stands for the pack's own. Rows without a cycle id form cycles by the time between them. The
    same row a second time is not used again; its position is kept in `duplicates`.
    """
    row, procedures = _rows_of(records, procedure)
    machine = _machine_of(records, machines)[row]
    cycle_code = _cycle_codes(records, machines, row, machine, procedures)
    dense, heads = _dense(machine, cycle_code.codes, procedures)
    start, end = records.started[row], records.ended[row]
    step, target = records.texts["step"].codes[row], records.texts["target"].codes[row]
    order = _order(dense, step, target, start, end, records)
    if order is not None:
        row, dense, step, target = row[order], dense[order], step[order], target[order]
        start, end = start[order], end[order]
    first = np.append(np.flatnonzero(np.diff(dense, prepend=-1)), len(row))
    steps = Steps(
        records, machines, row, dense, step, target, start, end, first, machine[heads].astype(np.int64),
        [cycle_code.vocabulary[c] for c in cycle_code.codes[heads]],
    )  # fmt: skip
    return standing(_without_duplicates(steps))


@dataclass
class _CycleCodes:
    codes: Codes
    vocabulary: list[str]


def _rows_of(records: RecordSet, procedure: str | None) -> tuple[Index, Codes]:
    codes = records.texts["procedure"].codes
    everything = np.arange(len(records))
    if procedure is None:
        return everything, codes
    wanted = (codes == records.code("procedure", procedure)) | (codes < 0)
    rows = everything if wanted.all() else np.flatnonzero(wanted)
    return rows, np.zeros(len(rows), dtype=np.int32)


def _machine_of(records: RecordSet, machines: Sequence[Machine]) -> Ints:
    """The position of each row's machine."""
    stores, equipment = records.texts["store_id"], records.texts["equipment_id"]
    position = {(m.store_id, m.equipment_id): i for i, m in enumerate(machines)}
    pair = stores.codes.astype(np.int64) * len(equipment.vocabulary) + equipment.codes
    heads = np.flatnonzero(np.diff(pair, prepend=-1)) if len(pair) else np.empty(0, dtype=np.intp)
    of_head = (
        [position[stores.vocabulary[stores.codes[i]], equipment.vocabulary[equipment.codes[i]]] for i in heads]
        if len(heads) * 4 < len(pair)
        else None
    )
    if of_head is not None:
        return np.repeat(np.array(of_head, dtype=np.int64), np.diff(np.append(heads, len(pair))))
    present, inverse = np.unique(pair, return_inverse=True)
    width = len(equipment.vocabulary)
    table = [position[stores.vocabulary[int(p) // width], equipment.vocabulary[int(p) % width]] for p in present]
    return np.array(table, dtype=np.int64)[inverse]


def _cycle_codes(
    records: RecordSet, machines: Sequence[Machine], row: Index, machine: Ints, procedures: Codes
) -> _CycleCodes:
    """The cycle of each row: its id, or for rows without one the store's time at which their cycle began."""
    coded = records.texts["cycle_id"]
    codes = coded.codes[row]
    blank = np.flatnonzero(codes < 0)
    if not len(blank):
        return _CycleCodes(codes, coded.vocabulary)
    codes = codes.copy()
    vocabulary = list(coded.vocabulary)
    start, end = records.started[row[blank]].copy(), records.ended[row[blank]]
    for at, r in enumerate(row[blank].tolist() if records.doubt else ()):
        if r in records.doubt and start[at] == NAT:  # the earliest it can mean is near enough to tell its cycle by
            start[at] = next(t for t in records.doubt[r][0] if t != NAT)
    start = np.where(start == NAT, end, start)
    end = np.where(end == NAT, start, end)
    group = machine[blank] * (int(procedures.max()) + 2) + procedures[blank] + 1
    order = np.lexsort((end, start, group))
    found = runs(group[order], start[order], end[order], APART - 1)
    wall = found.start.copy()
    owner = machine[blank][order][found.first]
    for at in np.unique(owner).tolist():
        mine = owner == at
        wall[mine] = machines[at].clock.to_wall(wall[mine])
    names = np.datetime_as_string(wall.view("datetime64[us]"), unit="s")
    position = {name: code for code, name in enumerate(vocabulary)}
    own = len(vocabulary)
    of_run = []
    for name, at in zip(names.tolist(), owner.tolist(), strict=True):
        if position.get(name, own) < own and (codes[machine == at] == position[name]).any():
            name += " (by time)"  # an id of the machine's own reads the same
        if name not in position:
            position[name] = len(vocabulary)
            vocabulary.append(name)
        of_run.append(position[name])
    codes[blank[order]] = np.repeat(of_run, np.diff(np.append(found.first, len(order))))
    return _CycleCodes(codes, vocabulary)


def _dense(machine: Ints, cycle: Codes, procedures: Codes) -> tuple[Ints, Index]:
    """A number for each cycle, by machine and then by its first row, and the position of that row."""
    if not len(machine):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.intp)
    width, kinds = int(cycle.max()) + 2, int(procedures.max()) + 2
    key = (machine * width + cycle) * kinds + procedures + 1
    heads = np.flatnonzero(np.diff(key, prepend=-1))
    _, at, inverse = np.unique(key[heads], return_index=True, return_inverse=True)
    # not by the code of its id, which hangs on what other machines call their cycles
    order = np.lexsort((at, machine[heads[at]]))
    place = np.empty(len(at), dtype=np.int64)
    place[order] = np.arange(len(at))
    at, inverse = at[order], place[inverse]
    return np.repeat(inverse, np.diff(np.append(heads, len(key)))), heads[at]


def _order(cycle: Ints, step: Codes, target: Codes, start: Ints, end: Ints, records: RecordSet) -> Index | None:
    """The sorting by cycle, step, target and start; None where the rows stand in that order already."""
    if not len(cycle):
        return None
    known = np.where(start == NAT, np.where(end == NAT, 0, end), start)
    low = int(known[known != 0].min()) if known.any() else 0
    since = np.maximum(known - low, 0) // 1_000_000 + 1
    steps, targets = len(records.texts["step"].vocabulary) + 1, len(records.texts["target"].vocabulary) + 2
    room = int(since.max()) + 1
    if (int(cycle.max()) + 1) * steps * targets * room >= 2**62:
        return np.lexsort((end, start, target, step, cycle))
    key = ((cycle * steps + step) * targets + (target + 1)) * room + since
    order: Index = np.argsort(key, kind="stable") if not (key[1:] >= key[:-1]).all() else np.arange(len(key))
    ties = np.flatnonzero(key[order][1:] == key[order][:-1])
    if len(ties):  # rows of one second: put them in order of their exact times
        touched = np.unique(np.concatenate([ties, ties + 1]))
        inner = order[touched]
        order = order.copy()
        order[touched] = inner[np.lexsort((end[inner], start[inner], key[inner]))]
    return order


_COMPARED = tuple(n for n in TEXTS if n not in ("store_id", "equipment_id", "cycle_id", "procedure", "step", "target"))
"""The text columns that tell rows of one cycle, step and target apart."""


def _without_duplicates(steps: Steps) -> Steps:
    """Leave out a row that says the same as the row before it in every column; rows without a time are kept."""
    if len(steps) < 2:
        return steps
    same = (steps.cycle[1:] == steps.cycle[:-1]) & (steps.step[1:] == steps.step[:-1])
    same &= (steps.target[1:] == steps.target[:-1]) & (steps.start[1:] == steps.start[:-1])
    same &= (steps.end[1:] == steps.end[:-1]) & ((steps.start[1:] != NAT) | (steps.end[1:] != NAT))
    at = np.flatnonzero(same) + 1
    if not len(at):
        return steps
    seen: dict[tuple[object, ...], int] = {}
    second: list[int] = []
    for here in sorted({*at.tolist(), *(at - 1).tolist()}, key=lambda i: int(steps.row[i])):
        r = int(steps.row[here])
        records = steps.records
        told = (
            int(steps.cycle[here]), int(steps.step[here]), int(steps.target[here]), int(steps.start[here]),
            int(steps.end[here]), *(int(records.texts[n].codes[r]) for n in _COMPARED),
            *(repr(float(v[r])) for v in records.numbers.values()),
            *(int(records.times[n][r]) for n in ("verified_at", "recorded_at")),
        )  # fmt: skip
        if told in seen:
            second.append(here)
        seen.setdefault(told, here)
    if not second:
        return steps
    return steps.without(np.array(second, dtype=np.intp), "duplicates")
