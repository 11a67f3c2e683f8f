"""What is known of the steps of every cycle: in one order, with the bounds of every time that is missing."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import accumulate, chain, pairwise, product
from math import prod
from typing import Literal

import numpy as np
import numpy.typing as npt

from validator.machines import Machine
from validator.records import RecordSet
from validator.tables import NAT

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Codes = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]
Pair = tuple[int, int]

FAR = 2**60
"""Stands for a time that nothing bounds."""
MOST_WAYS = 4096
"""Ways to read the hours that happened twice in some rows together: a dozen such rows. Past it nothing is decided."""


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
    superseded: Index = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    """Positions in the records of rows that are not used: said again in every column; told otherwise by a later export."""

    def without(self, gone: Index, why: Literal["duplicates", "superseded"]) -> Steps:
        """The same without some rows (positions here), which are kept in mind under `why`. No cycle is left empty."""
        kept = np.ones(len(self), dtype=bool)
        kept[gone] = False
        cycle = self.cycle[kept]
        known = {name: getattr(self, name) for name in ("duplicates", "superseded")}
        known[why] = np.sort(np.concatenate([known[why], self.row[~kept]]))
        return Steps(
            self.records, self.machines, self.row[kept], cycle, self.step[kept], self.target[kept], self.start[kept],
            self.end[kept], np.append(np.flatnonzero(np.diff(cycle, prepend=-1)), len(cycle)), self.machine,
            self.cycle_ids, **known,
        )  # fmt: skip

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
        vague = np.flatnonzero(self.incomplete)
        for at, pairs in self.doubtful(vague):
            known[vague[at]] = min(t for pair in pairs for t in pair if t != NAT)
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
        for row in np.flatnonzero(self.no_room).tolist():  # what it says is known to the hour, whichever it means
            meant = [e for _, e in self.records.doubt[int(self.row[row])] if e != NAT]
            if meant:
                low[row], high[row] = min(meant), max(meant)
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

    @cached_property
    def last_known(self) -> Ints:
        """The end of each row, its start where the end is unknown."""
        return np.where(self.end == NAT, self.start, self.end)

    @cached_property
    def last_row(self) -> Index:
        """The row that completed each cycle, as far as its times are known."""
        return self.latest_of(self.last_known)[1]

    @cached_property
    def work_last(self) -> tuple[Ints, Index]:
        """When the last step of each cycle but `verify` was done, as far as its times are known, and the row of it."""
        return self.latest_of(np.where(self.step == self.records.code("step", "verify"), NAT, self.last_known))

    def slack(self, *fields: str) -> int:
        """By how much two times must differ to contradict each other, in microseconds: the resolution of the coarsest clock
        among start, end and these fields.
        """
        return max(self.records.resolution.get(name, 0) for name in ("started_at", "ended_at", *fields))

    def latest_of(self, times: Ints) -> tuple[Ints, Index]:
        """The latest of these times of the rows of each cycle (`NAT`: none), and the first row, as its reader sees them,
        that bears it.
        """
        if not self.cycles:
            return times, np.empty(0, dtype=np.intp)
        latest = np.maximum.reduceat(times, self.first[:-1])
        bears = np.flatnonzero(times == latest[self.cycle])
        row = self.row[bears]
        bears = bears[np.lexsort((self.records.rows[row], self.records.source[row], self.cycle[bears]))]
        return latest, bears[np.flatnonzero(np.diff(self.cycle[bears], prepend=-1))]

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
        found = ((at, self._readings[row]) for at, row in enumerate(rows.tolist()) if row in self._readings)
        return [(at, pairs) for at, pairs in found if pairs]

    def ways(self, rows: Index) -> Iterator[tuple[tuple[int, Pair], ...]]:
        """Every way to read the hours that happened twice in some rows, taken together: the position in `rows` of each
        such row with the pair that it means.
        """
        at = {row: k for k, row in enumerate(rows.tolist()) if self._readings.get(row)}
        lanes = []
        for members, assignments in self._together:
            mine = [(i, at[row]) for i, row in enumerate(members) if row in at]
            if mine:
                lanes.append(list(dict.fromkeys(tuple((k, way[i]) for i, k in mine) for way in assignments)))
        for way in product(*lanes):
            yield tuple(chain.from_iterable(way))

    @cached_property
    def _readings(self) -> dict[int, tuple[Pair, ...]]:
        """For each row with an hour that happened twice the pairs it can mean, beside the others; none if it has no room."""
        found: dict[int, tuple[Pair, ...]] = dict.fromkeys(self._doubted, ())
        for members, assignments in self._together:
            for i, row in enumerate(members):
                found[row] = tuple(dict.fromkeys(way[i] for way in assignments))
        return found

    @cached_property
    def _doubted(self) -> list[int]:
        doubt = self.records.doubt
        return np.flatnonzero(np.isin(self.row, sorted(doubt))).tolist() if doubt else []

    @cached_property
    def _together(self) -> list[tuple[list[int], list[tuple[Pair, ...]]]]:
        """The rows with an hour that happened twice, in groups that cannot run at once, with every way to read a group.

        Past `MOST_WAYS` a group's rows are read each by itself, which can leave more ways open and never fewer.
        """
        groups: dict[tuple[int, int, int], list[int]] = {}
        for row in self._doubted:
            alone = len(self._rivals(row)) > 0
            groups.setdefault((int(self.cycle[row]), int(self.step[row]), -1 if alone else row), []).append(row)
        found: list[tuple[list[int], list[tuple[Pair, ...]]]] = []
        for members in groups.values():
            rooms = {row: self._room_for(row, self.records.doubt[int(self.row[row])]) for row in members}
            held = [row for row in members if rooms[row]]
            if prod(len(rooms[row]) for row in held) > MOST_WAYS:
                found += [([row], [(pair,) for pair in rooms[row]]) for row in held]
            elif held:
                ways = [w for w in product(*(rooms[row] for row in held)) if not _overlapping(w)]
                found.append((held, ways if len(held) > 1 else [(pair,) for pair in rooms[held[0]]]))
        return found

    def _room_for(self, row: int, pairs: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
        """The pairs that lie before the record was made and leave room for the known rows of a step that only one can
        run at once.
        """
        rivals = self._rivals(row)
        rivals = rivals[~self.incomplete[rivals]]
        start, end = self.start[rivals], self.end[rivals]
        latest = int(self.latest[row])
        return tuple(
            (s, e) for s, e in pairs
            if max(s, e) <= latest
            and (s in (NAT, e) or e == NAT or not ((start < e) & (end > s) & (start < end)).any())
        )  # fmt: skip

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

    def most_lengths(self, rows: Index, start_low: Ints, end_high: Ints) -> Ints:
        """The longest that each row can have lasted, given the bounds of its times."""
        found: Ints = end_high - start_low
        for at, pairs in self.doubtful(rows):
            if all(s != NAT and e != NAT for s, e in pairs):
                found[at] = max(e - s for s, e in pairs)
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
        """Rows whose times cannot be true: they contradict each other, one known time lies after the record's own, or
        an hour that happened twice fits neither time.
        """
        known = np.where(self.start == NAT, self.end, self.start)
        after: Mask = self.incomplete & (known != NAT) & (known > self.latest)
        return self.records.torn[self.row] | after | self.no_room

    @cached_property
    def any_contrary(self) -> bool:
        return bool(self.contrary.any())

    @cached_property
    def no_room(self) -> Mask:
        """Rows with an hour that happened twice, of which every reading is taken by a row that cannot run beside them
        or lies after the record was made.
        """
        found = np.zeros(len(self), dtype=bool)
        found[[row for row, pairs in self._readings.items() if not pairs]] = True
        return found

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
            if start == NAT:
                until = self.clock_time(near, self.end.item(near))
                return f"{step} of {what} ran until {until}, and only one can run at once", [near]
            since = self.clock_time(near, self.start.item(near))
            return f"{step} of {what} ran from {since}, and only one can run at once", [near]
        if start == NAT:
            return "", []
        recorded = self.records.times["recorded_at"].item(self.row.item(row)) != NAT
        return "it ended before it was written down" if recorded else "it ended before this audit", []

    def clock_time(self, row: int, at: int) -> str:
        """A time by the clock of a row's store, as `20:22:00`."""
        return self.machines[self.machine.item(self.cycle.item(row))].clock.moment(at)[11:19]


def _overlapping(spans: Sequence[Pair]) -> bool:
    """Whether two of these spans run at once; one without a start, an end or any length runs beside nothing."""
    lasting = sorted((s, e) for s, e in spans if NAT not in (s, e) and s < e)
    return any(later[0] < earlier[1] for earlier, later in pairwise(lasting))
