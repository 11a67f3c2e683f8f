"""Which steps make up one cycle? Rows of one procedure sorted once, by cycle, step, target and start."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import accumulate

import numpy as np
import numpy.typing as npt

from validator.machines import Machine
from validator.records import RecordSet
from validator.tables import NAT
from validator.timing.intervals import runs

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Codes = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]

Pair = tuple[int, int]

APART = 6 * 3600 * 1_000_000
"""Rows without a cycle id that lie this far apart or farther belong to different cycles (contract, section 3)."""
FAR = 2**60
"""Stands for a time that nothing bounds."""


@dataclass
class Steps:
    """The rows of one procedure, in order of cycle, step, target and start.

    `row` is the position in the records; `step` and `target` are codes of `records`' vocabularies (-1: blank).
    Instants are microseconds UTC, `NAT` where unknown. Cycle c has the rows `first[c]` to `first[c + 1]`.
    """

    records: RecordSet
    machines: Sequence[Machine]
    row: Index
    cycle: Ints
    step: Codes
    target: Codes
    start: Ints
    end: Ints
    first: Index
    machine: Ints
    cycle_ids: list[str]
    duplicates: Index = field(default_factory=lambda: np.empty(0, dtype=np.intp))

    def __len__(self) -> int:
        return len(self.row)

    @property
    def cycles(self) -> int:
        return len(self.machine)

    @cached_property
    def incomplete(self) -> Mask:
        """Rows whose start or end is unknown."""
        unknown: Mask = (self.start == NAT) | (self.end == NAT)
        return unknown

    @cached_property
    def incomplete_cycles(self) -> Mask:
        found = np.zeros(self.cycles, dtype=bool)
        found[self.cycle[self.incomplete]] = True
        return found

    @cached_property
    def began(self) -> Ints:
        """The earliest known time of each cycle; `NAT` where none is known."""
        known = np.where(self.start == NAT, self.end, self.start)
        for at, pairs in self.doubtful(np.flatnonzero(self.incomplete)):
            row = np.flatnonzero(self.incomplete)[at]
            known[row] = min(t for pair in pairs for t in pair if t != NAT)
        lowest = np.minimum.reduceat(np.where(known == NAT, FAR, known), self.first[:-1]) if self.cycles else known
        return np.where(lowest == FAR, NAT, lowest)

    @cached_property
    def ends(self) -> tuple[Ints, Ints]:
        """The earliest and the latest end of every row; a known end is both."""
        low, high = self.end, self.end
        vague = np.flatnonzero(self.incomplete)
        if len(vague):
            low, high = low.copy(), high.copy()
            low[vague], high[vague] = self.bounds(vague)[2:]
        return low, high

    @cached_property
    def completed(self) -> Ints:
        """The latest end of a step of each cycle that is sure, whatever is missing; `NAT` if none is."""
        if not self.cycles:
            return self.end
        sure = np.maximum.reduceat(self.ends[0], self.first[:-1])
        return np.where(sure < -FAR // 2, NAT, sure)

    @cached_property
    def completed_at_last(self) -> Ints:
        """The latest that each cycle can have been completed."""
        return np.maximum.reduceat(self.ends[1], self.first[:-1]) if self.cycles else self.end

    def of_steps(self, names: Sequence[str]) -> Index:
        """The rows of these steps, still in order."""
        codes = [c for c in (self.records.code("step", n) for n in names) if c >= 0]
        if not codes:
            return np.empty(0, dtype=np.intp)
        return np.flatnonzero(self.step == codes[0] if len(codes) == 1 else np.isin(self.step, codes))

    def column(self, name: str) -> Codes:
        """The codes of a text column, in this order."""
        return self.records.texts[name].codes[self.row]

    def numbers(self, name: str, rows: Index) -> npt.NDArray[np.float64]:
        """A number column at these rows; NaN where it is blank."""
        values = self.records.numbers.get(name)
        return np.full(len(rows), np.nan) if values is None else values[self.row[rows]]

    def times(self, name: str, rows: Index | slice = slice(None)) -> Ints:
        return self.records.times[name][self.row[rows]]

    def target_name(self, code: int) -> str:
        return self.records.texts["target"].vocabulary[code] if code >= 0 else ""

    @cached_property
    def _vague(self) -> tuple[Index, tuple[Ints, Ints, Ints, Ints]]:
        """The rows with an unknown time, and their bounds, worked out once for all."""
        rows = np.flatnonzero(self.incomplete)
        return rows, self._bounds(rows)

    def bounds(self, rows: Index) -> tuple[Ints, Ints, Ints, Ints]:
        """For each row the earliest and latest start and the earliest and latest end that the facts allow.

        A known time is its own bound. A step ends no earlier than it starts and no later than the record was made
        (`recorded_at`, else `as_of`); two rows of a step that only one can run at once lie one after the other.
        """
        start, end = self.start[rows], self.end[rows]
        found = start.copy(), start.copy(), end.copy(), end.copy()
        vague = np.flatnonzero(self.incomplete[rows])
        known, limits = self._vague
        at = np.searchsorted(known, rows[vague])
        for side, limit in zip(found, limits, strict=True):
            side[vague] = limit[at]
        return found

    def _bounds(self, rows: Index) -> tuple[Ints, Ints, Ints, Ints]:
        start, end = self.start[rows], self.end[rows]
        latest = self.latest[rows]
        lost = self.contrary[rows]
        start_low = np.where((start == NAT) | lost, -FAR, start)
        end_low = np.where(end == NAT, start_low, np.where(lost, -FAR, end))
        end_high = np.where(lost, latest, np.where(end == NAT, np.maximum(latest, end_low), end))
        known = self.own_durations(rows)
        start_high = np.where(lost | (start == NAT), end_high - np.maximum(known, 0), start)
        for place, pairs in self.doubtful(rows):
            at = np.intp(place)
            latest_end = int(end_high[at])
            starts = [s for s, _ in pairs if s != NAT]
            ends = [e for _, e in pairs if e != NAT]
            if starts:
                start_low[at], start_high[at] = min(starts), max(starts)
                end_low[at] = min(starts)
            if ends:
                end_low[at], end_high[at] = min(ends), max(ends)
            elif starts:
                end_high[at] = max(latest_end, max(starts))
            if not starts:
                start_high[at] = max(ends)
        for at in np.flatnonzero(((start == NAT) ^ (end == NAT)) & ~lost):
            before, after = self._neighbours(int(rows[at]))
            if end[at] == NAT:
                end_high[at] = min(int(end_high[at]), after[0])
            else:
                start_low[at] = max(int(start_low[at]), before[0])
        return start_low, start_high, end_low, end_high

    def doubtful(self, rows: Index) -> list[tuple[int, tuple[tuple[int, int], ...]]]:
        """The positions in `rows` whose time names an hour that happened twice, with the pairs it can mean here."""
        doubt = self.records.doubt
        if not doubt:
            return []
        return [
            (at, self._room_for(int(rows[at]), doubt[r])) for at, r in enumerate(self.row[rows].tolist()) if r in doubt
        ]

    def _room_for(self, row: int, pairs: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
        """The pairs that lie before the record was made and leave room for the known rows of a step that only one can
        run at once; all of them, if none does.
        """
        rivals = self._rivals(row)
        rivals = rivals[~self.incomplete[rivals]]
        start, end = self.start[rivals], self.end[rivals]
        latest = int(self.latest[row])
        free = tuple(
            (s, e) for s, e in pairs
            if max(s, e) <= latest
            and (s in (NAT, e) or e == NAT or not ((start < e) & (end > s) & (start < end)).any())
        )  # fmt: skip
        return free or pairs

    def _rivals(self, row: int) -> Index:
        """The other rows of a cycle that cannot run beside a row, because only one of their step can run at once."""
        name = self.records.texts["step"].vocabulary[self.step[row]]
        cycle = int(self.cycle[row])
        if self.machines[int(self.machine[cycle])].capacities.get(name) != 1:
            return np.empty(0, dtype=np.intp)
        span = np.arange(int(self.first[cycle]), int(self.first[cycle + 1]), dtype=np.intp)
        return span[np.flatnonzero((self.step[span] == self.step[row]) & (span != row))]

    def least_lengths(self, rows: Index, start_high: Ints, end_low: Ints) -> Ints:
        """The shortest that each row can have lasted, given the bounds of its times."""
        found: Ints = np.maximum(end_low - start_high, 0)
        for at, pairs in self.doubtful(rows):
            if all(s != NAT and e != NAT for s, e in pairs):
                found[at] = min(e - s for s, e in pairs)
        return found

    def own_durations(self, rows: Index) -> Ints:
        """The recorded duration of each row in microseconds; -1 where none is recorded or it contradicts the times."""
        given = self.numbers("duration_s", rows)
        usable = ~np.isnan(given) & ~self.records.torn[self.row[rows]]
        length: Ints = np.where(usable, np.rint(np.nan_to_num(given) * 1_000_000), -1).astype(np.int64)
        return length

    @cached_property
    def latest(self) -> Ints:
        """The latest that anything in each row can have happened: when it was recorded, else the audit's moment."""
        recorded = self.times("recorded_at")
        as_of = np.array([m.as_of for m in self.machines], dtype=np.int64)[self.machine[self.cycle]]
        return np.where(recorded == NAT, as_of, recorded)

    @cached_property
    def contrary(self) -> Mask:
        """Rows whose times cannot be true: they contradict each other, or one known time lies after the record's own."""
        known = np.where(self.start == NAT, self.end, self.start)
        after: Mask = self.incomplete & (known != NAT) & (known > self.latest)
        return self.records.torn[self.row] | after

    @cached_property
    def _lanes(self) -> dict[Pair, tuple[list[int], list[Pair], list[int], list[Pair]]]:
        """For each cycle and step that only one can run at once, of its rows that surely lasted: their ends in order with
        the earliest start of that row and all after it, and their starts in order with the latest end so far; each such
        start and end with the row it stands in.
        """
        words = self.records.texts["step"].vocabulary
        single = [{c for c, w in enumerate(words) if m.capacities.get(w) == 1} for m in self.machines]
        found: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
        lasting = ~self.incomplete & (self.start < self.end) & self.incomplete_cycles[self.cycle]
        if any(single):
            rows = np.flatnonzero(lasting & np.isin(self.step, sorted(set().union(*single))))
            columns = (a[rows].tolist() for a in (self.cycle, self.step, self.start, self.end))
            for row, cycle, step, start, end in zip(rows.tolist(), *columns, strict=True):
                if step in single[self.machine[cycle]]:
                    found.setdefault((cycle, step), []).append((start, end, row))
        lanes = {}
        for key, spans in found.items():
            by_end = sorted(spans, key=lambda span: span[1])
            by_start = sorted(spans)
            earliest = list(accumulate(((s, row) for s, _, row in reversed(by_end)), min))[::-1]
            latest = list(accumulate(((e, row) for _, e, row in by_start), max))
            lanes[key] = [e for _, e, _ in by_end], earliest, [s for s, _, _ in by_start], latest
        return lanes

    def _neighbours(self, row: int) -> tuple[Pair, Pair]:
        """The earliest start and the latest end that known rows leave to a row which cannot run beside them, each with
        the row that sets it (-1: none does).

        A row of no length runs beside nothing, so only a rival that surely lasted takes up time.
        """
        lane = self._lanes.get((self.cycle.item(row), self.step.item(row)))
        if lane is None:
            return (-FAR, -1), (FAR, -1)
        ends, earliest, starts, latest = lane
        start, end = self.start.item(row), self.end.item(row)
        if end != NAT:
            before = bisect_left(starts, end)
            low: Pair = min(latest[before - 1], (end, row)) if before else (-FAR, -1)
            return low, (FAR, -1)
        after = bisect_right(ends, start)
        high: Pair = max(earliest[after], (start, row)) if after < len(ends) else (FAR, -1)
        return (-FAR, -1), high

    def why(self, row: int) -> tuple[str, list[int]]:
        """What bounds the missing time of a row, in words, and the rows that show it."""
        start, end = self.start.item(row), self.end.item(row)
        if self.contrary[row] or (start == NAT) == (end == NAT):
            return "", []
        (_, before), (at, after) = self._neighbours(row)
        near = before if start == NAT else after if at <= self.latest[row] else -1
        step = self.records.text("step", self.row.item(row))
        if near >= 0 and near != row:
            what = self.target_name(self.target.item(near)) or "the machine"
            when = f"until {self.clock_time(near, 'end')}" if start == NAT else f"from {self.clock_time(near, 'start')}"
            return f"{step} of {what} ran {when}, and only one can run at once", [near]
        if start == NAT:
            return "", []
        recorded = self.records.times["recorded_at"].item(self.row.item(row)) != NAT
        return ("it was written down by then" if recorded else "the audit looks from then") + ", at the latest", []

    def clock_time(self, row: int, side: str) -> str:
        """A known time of a row by its store's clock, as `20:22:00`."""
        at = int((self.start if side == "start" else self.end)[row])
        zone = self.machines[int(self.machine[self.cycle[row]])].clock
        wall = int(zone.to_wall(np.array([at]))[0])
        return str(np.datetime64(wall, "us").astype("datetime64[s]")).split("T")[1]


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
    return _without_duplicates(steps)


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
    own = set(coded.vocabulary)
    of_run = []
    for name in names.tolist():
        if name in own:
            name += " (by time)"  # an id of the file's own reads the same
        if name not in position:
            position[name] = len(vocabulary)
            vocabulary.append(name)
        of_run.append(position[name])
    codes[blank[order]] = np.repeat(of_run, np.diff(np.append(found.first, len(order))))
    return _CycleCodes(codes, vocabulary)


def _dense(machine: Ints, cycle: Codes, procedures: Codes) -> tuple[Ints, Index]:
    """A number for each cycle, in order of machine, and the position of one row of each."""
    if not len(machine):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.intp)
    width, kinds = int(cycle.max()) + 2, int(procedures.max()) + 2
    key = (machine * width + cycle) * kinds + procedures + 1
    heads = np.flatnonzero(np.diff(key, prepend=-1))
    _, at, inverse = np.unique(key[heads], return_index=True, return_inverse=True)
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


_COMPARED = ("agent", "solution_id", "performed_by", "verified_by")


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
    kept = np.ones(len(steps), dtype=bool)
    kept[second] = False
    cycle = steps.cycle[kept]
    return Steps(
        steps.records, steps.machines, steps.row[kept], cycle, steps.step[kept], steps.target[kept],
        steps.start[kept], steps.end[kept], np.append(np.flatnonzero(np.diff(cycle, prepend=-1)), len(cycle)),
        steps.machine, steps.cycle_ids, np.sort(steps.row[~kept]),
    )  # fmt: skip
