"""Rows of several files as one canonical table: local times read by their zone, contradictions told, nothing lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.findings import InputFile, Notice, RecordDefect
from validator.records import (
    AGREES,
    BACKWARD,
    DISAGREES,
    MINUTE,
    SECOND,
    UNSTATED,
    Clocks,
    Files,
    Intake,
    Mask,
    Micros,
    Pair,
    RecordSet,
    Survey,
)
from validator.tables import (
    CANONICAL,
    NAT,
    NUMBERS,
    ONE_TIME,
    REQUIRED,
    TEXTS,
    TIMES,
    FileRead,
    FileRefused,
    ParsedTable,
    TextColumn,
    join_texts,
)
from validator.timing.zones import clock
from validator.units import agree


def survey(files: Files, zones: Mapping[str, str | None]) -> Survey:
    """Look over some of the rows of some files."""
    columns, _, _, kept = _placed(_tables(files), zones)
    named = frozenset(columns.texts["procedure"].vocabulary)
    return Survey(_clocks(columns, _filled_in(columns)), int(kept.sum()), named)


def assemble(files: Files, zones: Mapping[str, str | None], clocks: Clocks | None = None) -> Intake:
    """Join the files into one table, local times read by each store's zone (None or unlisted: UTC, and said so).

    `clocks` are those of all rows, where these are only some of them.
    """
    tables = _tables(files)
    columns, defects, notices, kept = _placed(tables, zones)
    filled = _filled_in(columns)
    clocks = clocks or _clocks(columns, filled)
    _check_times(columns, defects, kept, filled, clocks)
    _check_temperatures(columns, defects, kept)
    _weigh_twice(columns, clocks.slack)
    records = columns.records(kept, [(f.name, t.sheet) for f, t in tables])
    told = [
        Notice("file", f"{f.name}: {text}") for f in _in_order(files) if isinstance(f, FileRead) for text in f.notices
    ]
    return Intake(records, _inputs(_in_order(files), tables, defects), tuple(defects.all()), (*told, *notices))


def _in_order(files: Files) -> Files:
    return sorted(files, key=lambda f: (f.name, f.sha256))


def _tables(files: Files) -> list[tuple[FileRead, ParsedTable]]:
    return [(f, t) for f in _in_order(files) if isinstance(f, FileRead) for t in f.tables]


def _placed(
    tables: list[tuple[FileRead, ParsedTable]], zones: Mapping[str, str | None]
) -> tuple[_Columns, _Defects, list[Notice], Mask]:
    """The tables as one, with instants for times; what was wrong with them, and the rows that belong to a machine."""
    columns = _Columns([t for _, t in tables])
    defects = _Defects([(f.name, t.sheet) for f, t in tables], columns)
    for index, (_, table) in enumerate(tables):
        defects.from_reader(index, table)
    notices = _resolve_local_times(columns, defects, zones)
    return columns, defects, notices, _keep_placeable(columns, defects)


class _Columns:
    """The tables' columns laid end to end; one table is taken as it is."""

    def __init__(self, tables: Sequence[ParsedTable]) -> None:
        self.sizes = [len(t.rows) for t in tables]
        self.zones = [t.zone for t in tables]
        self.starts = np.concatenate([[0], np.cumsum(self.sizes)]).astype(np.int64)
        self.size = int(self.starts[-1])
        self.rows = _joined([t.rows for t in tables], np.int32)
        self.whole = _joined([t.whole for t in tables], np.bool_)
        self.texts = {name: _texts(name, tables, self.sizes) for name in TEXTS}
        self.times = {
            name: _joined([t.times.get(name, np.full(len(t.rows), NAT)) for t in tables], np.int64) for name in TIMES
        }
        self.local = {
            name: _joined(
                [(~t.absolute[name] & (t.times[name] != NAT)) if name in t.times else np.zeros(len(t.rows), bool)
                 for t in tables], np.bool_)
            for name in TIMES
        }  # fmt: skip
        self.numbers = {
            name: _joined([t.numbers.get(name, np.full(len(t.rows), np.nan)) for t in tables], np.float64)
            for name in NUMBERS
            if any(name in t.numbers for t in tables)
        }
        self.own_times = np.zeros(self.size, dtype=np.int8)
        self.given: dict[str, Mask] = {name: self.times[name] != NAT for name in ("started_at", "ended_at")}
        self.twice: dict[str, dict[int, Pair]] = {name: {} for name in TIMES}
        self.doubt: dict[int, tuple[Pair, ...]] = {}
        self.stated: dict[int, tuple[Pair, ...]] = {}
        self.resolution: dict[str, int] = {}
        self.unread: dict[int, dict[str, str]] = {}
        self.origins = [origin for t in tables for origin in t.origins]
        first = np.cumsum([0, *(len(t.origins) for t in tables)])
        parts = [t.origin + first[n] if t.origins else np.full(len(t.rows), -1) for n, t in enumerate(tables)]
        self.origin = np.concatenate(parts).astype(np.int32) if self.origins else np.empty(0, dtype=np.int32)

        self.entries = {
            path: _joined([t.entries.get(path, np.zeros(len(t.rows), np.int32)) for t in tables], np.int32)
            for path in sorted({path for t in tables for path in t.entries}, key=len)
        }

    def source(self) -> npt.NDArray[np.int32]:
        return np.repeat(np.arange(len(self.sizes), dtype=np.int32), self.sizes)

    def records(self, kept: Mask, sources: list[tuple[str, str]]) -> RecordSet:
        everything = bool(kept.all())

        def pick(column: Any) -> Any:
            return column if everything else column[kept]

        place = np.cumsum(kept) - 1 if self.doubt or self.stated or self.unread else kept

        def placed(pairs: dict[int, tuple[Pair, ...]]) -> dict[int, tuple[Pair, ...]]:
            return {int(place[row]): of_row for row, of_row in pairs.items() if kept[row]}

        return RecordSet(
            texts={n: TextColumn(pick(c.codes), c.vocabulary) for n, c in self.texts.items()},
            times={n: pick(a) for n, a in self.times.items()},
            numbers={n: pick(a) for n, a in self.numbers.items()},
            own_times=pick(self.own_times), source=pick(self.source()), rows=pick(self.rows), sources=sources,
            resolution=self.resolution, given={n: pick(a) for n, a in self.given.items()},
            doubt=placed(self.doubt), stated=placed(self.stated),
            unread={int(place[row]): cells for row, cells in self.unread.items() if kept[row]},
            entries={path: pick(numbers) for path, numbers in self.entries.items()},
            origins=self.origins, origin=pick(self.origin) if self.origins else self.origin,
        )  # fmt: skip


def _joined(parts: list[npt.NDArray], dtype: type) -> npt.NDArray:  # type: ignore[type-arg]
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.empty(0, dtype=dtype)


def _texts(name: str, tables: Sequence[ParsedTable], sizes: list[int]) -> TextColumn:
    """A text column of all tables; that of one table is taken as it is."""
    parts = [t.texts.get(name) for t in tables]
    return parts[0] if len(parts) == 1 and parts[0] is not None else join_texts(parts, sizes)


def _to_the_second(times: Micros) -> bool:
    """A column whose times all fall on whole minutes is known to the minute, else to the second."""
    known = times[times != NAT] if (times == NAT).any() else times
    return bool((known % MINUTE).any())


def _clocks(columns: _Columns, filled: tuple[Micros, Micros]) -> Clocks:
    times = {**columns.times, "started_at": filled[0], "ended_at": filled[1]}
    return Clocks(
        frozenset(n for n in ("started_at", "ended_at") if _to_the_second(columns.times[n])),
        frozenset(n for n in TIMES if _to_the_second(times[n])),
    )


class _Defects:
    """Collects defects and knows which rows have one."""

    def __init__(self, sources: list[tuple[str, str]], columns: _Columns) -> None:
        self.sources = sources
        self.columns = columns
        self.found: list[RecordDefect] = []
        self.faulty = np.zeros(columns.size, dtype=bool)
        self.time_faulty = np.zeros(columns.size, dtype=bool)
        self.lost = [0] * len(sources)

    def from_reader(self, table: int, parsed: ParsedTable) -> None:
        file, _ = self.sources[table]
        lost = {d.row for d in parsed.defects if d.index < 0}
        self.lost[table] = len(lost)
        start = int(self.columns.starts[table])
        for d in parsed.defects:
            self.found.append(RecordDefect(file, d.sheet or parsed.sheet, d.row, d.column, d.code, d.message))
            if d.index >= 0:
                self.faulty[start + d.index] = True
                if d.cell and d.column in CANONICAL:
                    self.columns.unread.setdefault(start + d.index, {}).setdefault(d.column, d.cell)
                self.time_faulty[start + d.index] |= d.column in ONE_TIME

    def add(self, at: npt.NDArray[np.intp], column: str, code: str, message: str) -> None:
        if not len(at):
            return
        table = np.searchsorted(self.columns.starts, at, side="right") - 1
        for index, t in zip(at.tolist(), table.tolist(), strict=True):
            file, sheet = self.sources[t]
            self.found.append(RecordDefect(file, sheet, int(self.columns.rows[index]), column, code, message))
        self.faulty[at] = True
        self.time_faulty[at] |= column in ONE_TIME

    def all(self) -> list[RecordDefect]:
        return sorted(set(self.found), key=lambda d: (d.file, d.sheet, d.row, d.column, d.code, d.message))


def _resolve_local_times(columns: _Columns, defects: _Defects, zones: Mapping[str, str | None]) -> list[Notice]:
    """Turn wall-clock times into instants by each store's zone; an hour that happened twice or never is a defect."""
    if not any(local.any() for local in columns.local.values()):
        return []
    stores = columns.texts["store_id"]
    stated = np.repeat([bool(zone) for zone in columns.zones], columns.sizes)
    names = sorted({zones.get(s) or "UTC" for s in stores.vocabulary} | {"UTC"} | {z for z in columns.zones if z})
    zone_of = np.array([names.index(zones.get(s) or "UTC") for s in stores.vocabulary] + [names.index("UTC")])
    row_zone = zone_of[stores.codes]
    if stated.any():  # a mapping says so of its file, whatever the stores' own zones
        of_table = np.array([names.index(zone or "UTC") for zone in columns.zones])
        row_zone = np.where(stated, np.repeat(of_table, columns.sizes), row_zone)
    for name in TIMES:
        local = columns.local[name]
        if not local.any():
            continue
        values = columns.times[name].copy()
        for code, zone in enumerate(names):
            at = np.flatnonzero(local & (row_zone == code)) if len(names) > 1 else np.flatnonzero(local)
            if not len(at):
                continue
            first, last = clock(zone).to_utc(values[at])
            values[at] = np.where(first == last, first, NAT)
            for row, one, other in zip(
                at[first < last].tolist(), first[first < last].tolist(), last[first < last].tolist(), strict=True
            ):
                columns.twice[name][row] = one, other
            defects.add(at[first < last], name, "ambiguous_time", f"{name} names an hour that happened twice in {zone}")
            defects.add(at[first > last], name, "nonexistent_time", f"{name} names an hour that was skipped in {zone}")
        columns.times[name] = values
    has_local = np.zeros(columns.size, dtype=bool)
    for local in columns.local.values():
        has_local |= local & ~stated
    unzoned = sorted({stores.vocabulary[c] for c in np.unique(stores.codes[has_local]) if c >= 0
                      and not zones.get(stores.vocabulary[c])})  # fmt: skip
    return [Notice("no_time_zone", f"store {s}: no time zone is known, so its times without an offset were read as UTC",
                   store_id=s) for s in unzoned]  # fmt: skip


def _keep_placeable(columns: _Columns, defects: _Defects) -> Mask:
    """Rows that can be given to a step of a machine. The others are set aside; each has its defect."""
    kept = ~columns.whole
    for name in REQUIRED:
        blank = columns.texts[name].codes < 0
        if blank.any():
            defects.add(np.flatnonzero(blank & ~columns.whole), name, "missing_required", f"{name} is blank")
            kept &= ~blank
    no_time = (columns.times["started_at"] == NAT) & (columns.times["ended_at"] == NAT)
    no_time[sorted({*columns.twice["started_at"], *columns.twice["ended_at"]})] = False
    if no_time.any():
        duration = columns.numbers.get("duration_s")
        timeless = no_time & np.isnan(duration) if duration is not None else no_time
        defects.add(np.flatnonzero(timeless & ~columns.whole & ~defects.time_faulty), "started_at", "missing_required",
                    "none of started_at, ended_at and duration_s is given")  # fmt: skip
        adrift = no_time & (columns.texts["cycle_id"].codes < 0) & kept
        defects.add(np.flatnonzero(adrift & ~defects.faulty), "cycle_id", "missing_required",
                    "cycle_id is blank and there is no time to tell the cycle by")  # fmt: skip
        kept &= ~adrift
    return kept


def _lengths(columns: _Columns) -> tuple[Mask, Micros] | None:
    """Which rows give a duration, and the durations in microseconds; None where no file has any."""
    duration = columns.numbers.get("duration_s")
    if duration is None:
        return None
    timed = ~np.isnan(duration)
    return timed, np.rint(np.where(timed, duration, 0) * SECOND).astype(np.int64)


def _filled_in(columns: _Columns) -> tuple[Micros, Micros]:
    """Starts and ends, a missing one filled in from the duration."""
    start, end = columns.times["started_at"], columns.times["ended_at"]
    lengths = _lengths(columns)
    if lengths is None:
        return start, end
    timed, length = lengths
    later = np.where(timed & (end == NAT) & (start != NAT), start + length, end)
    return np.where(timed & (start == NAT) & (end != NAT), end - length, start), later


def _check_times(
    columns: _Columns, defects: _Defects, kept: Mask, filled: tuple[Micros, Micros], clocks: Clocks
) -> None:
    """Take what was filled in; a row whose times contradict each other keeps neither."""
    start, end = columns.times["started_at"], columns.times["ended_at"]
    backward = (end < start) & (end != NAT) & kept
    own = np.where((start != NAT) & (end != NAT), AGREES, UNSTATED).astype(np.int8)
    own[backward] = BACKWARD
    if backward.any():
        defects.add(np.flatnonzero(backward), "ended_at", "end_before_start", "ended_at is before started_at")
    lengths = _lengths(columns)
    if lengths is not None:
        timed, length = lengths
        both = timed & (start != NAT) & (end != NAT)
        apart = both & ~backward & (np.abs((end - start) - length) >= clocks.slack) & kept
        if apart.any():
            defects.add(np.flatnonzero(apart), "duration_s", "duration_disagrees",
                        "duration_s is not the time between started_at and ended_at")  # fmt: skip
            own[apart] = DISAGREES
        columns.times["started_at"], columns.times["ended_at"] = start, end = filled
        for name in ("started_at", "ended_at"):
            columns.given[name] = columns.given[name] | (columns.times[name] != NAT)
    columns.own_times = own
    columns.resolution = clocks.resolution()
    torn = own >= BACKWARD
    if torn.any():
        columns.stated = {row: ((int(start[row]), int(end[row])),) for row in np.flatnonzero(torn).tolist()}
        columns.times["started_at"], columns.times["ended_at"] = np.where(torn, NAT, start), np.where(torn, NAT, end)


def _check_temperatures(columns: _Columns, defects: _Defects, kept: Mask) -> None:
    """Of a row that gives its temperature on two scales which cannot both be right neither is taken."""
    both = columns.numbers.get("temperature_c"), columns.numbers.get("temperature_f")
    if both[0] is None or both[1] is None:
        return
    celsius, fahrenheit = both[0], both[1]
    apart = np.flatnonzero(~np.isnan(celsius) & ~np.isnan(fahrenheit) & ~agree(celsius, fahrenheit) & kept)
    if len(apart):
        defects.add(apart, "temperature_f", "temperature_disagrees", "temperature_f is not temperature_c in °F")
        for name in ("temperature_c", "temperature_f"):
            columns.numbers[name] = columns.numbers[name].copy()
            columns.numbers[name][apart] = np.nan


def _weigh_twice(columns: _Columns, slack: int) -> None:
    """Of a row with an hour that happened twice: every pair of start and end that it can mean; one pair is known."""
    starts, ends = columns.twice["started_at"], columns.twice["ended_at"]
    durations = columns.numbers.get("duration_s")
    for row in sorted({*starts, *ends}):
        start, end = int(columns.times["started_at"][row]), int(columns.times["ended_at"][row])
        seconds = float(durations[row]) if durations is not None else np.nan
        length = None if np.isnan(seconds) else round(seconds * SECOND)
        pairs = [
            _filled(s, e, length) for s in starts.get(row, (start,)) for e in ends.get(row, (end,))
        ]  # fmt: skip
        if length is not None:
            pairs = [(s, e) for s, e in pairs if abs(e - s - length) < slack]
        pairs = [(s, e) for s, e in pairs if s == NAT or e == NAT or s <= e]
        only = pairs[0] if len(pairs) == 1 else (NAT, NAT)
        for name, value in zip(("started_at", "ended_at"), only, strict=True):
            columns.times[name] = _with(columns.times[name], row, value)
        both = (row in starts or start != NAT) and (row in ends or end != NAT)
        torn = BACKWARD if length is None else DISAGREES
        columns.own_times[row] = torn if not pairs else AGREES if both else UNSTATED
        if not pairs:
            columns.stated[row] = tuple(product(starts.get(row, (start,)), ends.get(row, (end,))))
        if len(pairs) > 1:
            columns.doubt[row] = tuple(dict.fromkeys(pairs))


def _filled(start: int, end: int, length: int | None) -> Pair:
    """A pair of times with the missing one filled in from the duration."""
    if length is not None and start != NAT and end == NAT:
        return start, start + length
    if length is not None and start == NAT and end != NAT:
        return end - length, end
    return start, end


def _with(values: Any, at: int, value: Any) -> Any:
    """The array with one value changed, the array itself left as it was."""
    changed = values.copy()
    changed[at] = value
    return changed


def _inputs(files: Files, tables: list[tuple[FileRead, ParsedTable]], defects: _Defects) -> tuple[InputFile, ...]:
    lines = []
    for file in files:
        if isinstance(file, FileRefused):
            why = f"{file.sentence} ({file.place})" if file.place else file.sentence
            lines.append(InputFile(file.name, file.sha256, 0, 0, 0, 0, 0, "refused", f"{file.code}: {why}", "", ()))
            continue
        mine = [i for i, (f, _) in enumerate(tables) if f is file]
        in_columns = sum(defects.columns.sizes[i] for i in mine)
        lost = sum(defects.lost[i] for i in mine)
        faulty = sum(int(defects.faulty[defects.columns.starts[i] : defects.columns.starts[i + 1]].sum()) for i in mine)
        blank = sum(tables[i][1].blank_rows for i in mine)
        lines.append(
            InputFile(file.name, file.sha256, in_columns + lost, in_columns - faulty, faulty + lost, 0, blank,
                      "read", "", file.format, tuple(file.assumptions))
        )  # fmt: skip
    return tuple(lines)
