"""What does a raw table become by a layout? Whole columns at a time, each distinct cell looked at once.

Every row of the raw table ends up in a row of the canonical one (of a wide row: in one for each step it holds), or is
set aside with a reason that is counted; a cell that is not written as the layout says is a defect of its row.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from validator.mapping.aliases import fold
from validator.mapping.model import SERIALS, Column, Layout, Step
from validator.mapping.values import (
    NotRead,
    Style,
    read_amount,
    read_clock,
    read_date,
    read_drops,
    read_epoch,
    read_moment,
    read_part,
    read_serial,
    read_serial_clock,
    read_serial_date,
)
from validator.tables import AGENTS, NUMBERS, STEPS, TIMES, UNITS, CellDefect, RawTable, TextColumn, join_texts

Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]
LONGEST = 80
"""Characters of a time or a number: what is longer is none, and is not looked at."""
NIGHT = np.timedelta64(12, "h")
"""An end is put on the next day only where its step then lasted no longer."""
_Fault = tuple[int, str, str, str, str]
"""A row of the raw table, the canonical column, a code, what is wrong and what stands there."""
_SHOWN = 40
_LISTED = 8


@dataclass
class Fitted:
    """The canonical table, and how many rows were set aside by which reason, which values stood in no list.

    `rows` counts those of the raw table, `steps` those that were made of them. `at` is for each of these the position of the
    row of the file that it comes from, and `plan` the number of that of the layout's plans by which it does.
    """

    table: RawTable
    set_aside: dict[str, int] = field(default_factory=dict)
    unlisted: dict[str, dict[str, None]] = field(default_factory=dict)
    rows: int = 0
    at: Index = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    plan: npt.NDArray[np.int32] = field(default_factory=lambda: np.empty(0, dtype=np.int32))
    steps: int = 0

    def without_rows(self) -> Fitted:
        """What must be told of it, without the rows themselves."""
        table = RawTable(self.table.sheet, self.table.rows[:0], {})
        return Fitted(table, self.set_aside, self.unlisted, self.rows, steps=self.steps)


def apply(layout: Layout, raw: RawTable) -> Fitted:
    """Fit a table whose columns bear the export's names; `raw.columns` are all `TextColumn`s."""
    return _Fitting(layout, raw).all()


class _Fitting:
    def __init__(self, layout: Layout, raw: RawTable) -> None:
        self.layout = layout
        self.raw = raw
        self.style = Style(layout.dates, layout.year, layout.clock, layout.decimal, layout.thousands, layout.clock_mark)
        self.uses = layout.sources()
        blank = {_plain(text) for text in layout.blanks}
        self.cells = {
            name: _trimmed(column, blank) for name, column in raw.columns.items() if isinstance(column, TextColumn)
        }
        self.fitted = Fitted(raw, rows=len(raw.rows))
        self.lists: dict[str, dict[str, str]] = {
            name: dict(words) if layout.match_case else {fold(text): word for text, word in words.items()}
            for name, words in layout.values.items()
        }
        self.kept: Mask = np.ones(len(raw.rows), dtype=bool)
        self.faults: list[_Fault] = []

    def all(self) -> Fitted:
        for rule in self.layout.skip:
            hit = self.kept & self._skipped(rule.column, rule.equals, rule.begins, rule.blank)
            if hit.any():
                self.fitted.set_aside[rule.said] = self.fitted.set_aside.get(rule.said, 0) + int(hit.sum())
            self.kept &= ~hit
        for name in self.layout.fill_down:
            self._fill_down(name)
        at, columns, defects = self._long() if self.layout.steps else self._flat()
        self.fitted.at = at
        if not self.layout.steps:
            self.fitted.plan = np.zeros(len(at), dtype=np.int32)
        self.fitted.table = RawTable(self.raw.sheet, self.raw.rows[at], dict(columns), defects, self.raw.blank_rows)
        self.fitted.steps = len(at)
        return self.fitted

    # --- rows ------------------------------------------------------------------------------------------------------

    def _skipped(self, name: str, equals: Sequence[str], begins: Sequence[str], blank: bool) -> Mask:
        column = self._source(name)
        same = {self._key(text) for text in equals}
        first = tuple(self._key(text) for text in begins)
        hits = [self._key(w) in same or bool(first and self._key(w).startswith(first)) for w in column.vocabulary]
        return np.array([*hits, blank], dtype=bool)[column.codes]

    def _key(self, text: str) -> str:
        return _plain(text) if self.layout.match_case else fold(text)

    def _fill_down(self, name: str) -> None:
        """A blank takes the value of the nearest row above that is no title or total.

        Below a cell that could not be read it stays blank: the value above is not the one that stood there.
        """
        column = self._source(name)
        kept = np.flatnonzero(self.kept)
        codes = column.codes[kept]
        unread = np.zeros(len(column.codes), dtype=bool)
        unread[
            [d.index for d in self.raw.defects if d.column == name and d.index >= 0 and d.code != "merged_blank"]
        ] = True
        last = np.maximum.accumulate(np.where((codes >= 0) | unread[kept], np.arange(len(codes)), -1))
        filled = column.codes.copy()
        filled[kept] = np.where(last >= 0, codes[np.maximum(last, 0)], -1)
        self.cells[name] = TextColumn(filled, column.vocabulary)

    def _flat(self) -> tuple[Index, dict[str, TextColumn], list[CellDefect]]:
        (plan,) = self.layout.plans()
        at = np.flatnonzero(self.kept)
        columns = self._columns(plan, at)
        place = np.full(len(self.raw.rows), -1, dtype=np.int64)
        place[at] = np.arange(len(at))
        defects = self._carried(lambda row: [int(place[row])] if place[row] >= 0 else [])
        defects += [self._defect(int(place[row]), row, *rest) for row, *rest in self.faults]
        return at, columns, defects

    def _long(self) -> tuple[Index, dict[str, TextColumn], list[CellDefect]]:
        """One row for each step that a wide row holds, in the order of the rows, then of the steps."""
        plans, own = self.layout.plans(), self.layout.own_columns()
        parts: list[Index] = []
        columns: list[dict[str, TextColumn]] = []
        faults: list[list[_Fault]] = []
        told = np.zeros(len(self.raw.rows), dtype=bool)
        for plan, mine in zip(plans, own, strict=True):
            self.faults = []
            done = self.kept & self._done(plan, mine)
            told |= done
            told[[row for row, *_ in self.faults]] = True
            at = np.flatnonzero(done)
            columns.append(self._columns(plan, at))
            parts.append(at)
            faults.append(self.faults)
        at = np.concatenate(parts) if parts else np.empty(0, dtype=np.intp)
        order = np.argsort(at, kind="stable")
        where = np.empty(len(at), dtype=np.int64)
        where[order] = np.arange(len(at))
        starts = np.cumsum([0, *(len(p) for p in parts)])
        self.fitted.plan = np.repeat(np.arange(len(parts), dtype=np.int32), np.diff(starts))[order]
        places: list[dict[int, int]] = [
            dict(zip(part.tolist(), where[a:b].tolist(), strict=True))
            for part, a, b in zip(parts, starts[:-1], starts[1:], strict=True)
        ]
        used = [{s for c in plan.columns.values() for s in c.sources} for plan in plans]
        defects: list[CellDefect] = []
        for place, found in zip(places, faults, strict=True):
            # a doubtful mark of a step that may not have been done has no row of its own: it is told by its file row
            defects += [self._defect(place.get(row, -1), row, *rest) for row, *rest in found]
        defects += self._carried_long(places, used)
        for row in np.flatnonzero(self.kept & ~told).tolist():
            defects.append(self._defect(-1, row, "step", "no_step", "holds no step: every column of a step is blank"))
        names = dict.fromkeys(name for part in columns for name in part)
        joined = {name: join_texts([part.get(name) for part in columns], [len(p) for p in parts]) for name in names}
        return at[order], {n: TextColumn(c.codes[order], c.vocabulary) for n, c in joined.items()}, defects

    def _done(self, plan: Step, own: Sequence[str]) -> Mask:
        if plan.when is None:
            filled = np.zeros(len(self.raw.rows), dtype=bool)
            for name in own:
                filled |= self._source(name).codes >= 0
                for defect in self.raw.defects:
                    if defect.index >= 0 and defect.column == name:
                        filled[defect.index] = True  # something stands there, though it cannot be read
            return filled
        column = self._source(plan.when.column)
        yes, no = ({self._key(t) for t in texts} for texts in (plan.when.yes, plan.when.no))
        marks = [self._key(word) for word in column.vocabulary]
        strange = (
            np.array([*(m not in yes and m not in no for m in marks), False], dtype=bool)[column.codes] & self.kept
        )
        for row in np.flatnonzero(strange).tolist():
            word = column.vocabulary[column.codes[row]]
            said = ", ".join(map(repr, (*plan.when.yes, *plan.when.no)))
            step = " ".join(t for t in (plan.constants.get("step", ""), plan.constants.get("target", "")) if t)
            message = f"step, read from {plan.when.column!r}: {_short(word)} does not say whether {step or 'it'} was done; known: {said}"
            self.faults.append((row, "step", "unmapped_value", message, word))
        return np.array([*(m in yes for m in marks), False], dtype=bool)[column.codes]

    # --- defects ---------------------------------------------------------------------------------------------------

    def _defect(self, index: int, row: int, column: str, code: str, message: str, cell: str = "") -> CellDefect:
        return CellDefect(index, int(self.raw.rows[row]), column, code, message, False, self.raw.sheet, cell[:_SHOWN])

    def _carried(self, places: Callable[[int], list[int]]) -> list[CellDefect]:
        """What the reader found, under the canonical names of the columns that its column is for."""
        carried = []
        for d in self.raw.defects:
            if d.index < 0:
                carried.append(d)
                continue
            if d.code == "merged_blank" and d.column in self.layout.fill_down:
                continue
            for place in places(d.index):
                names = self.uses.get(d.column, ()) or (d.column,)
                carried += [
                    CellDefect(place, d.row, name, d.code, d.message, d.whole, d.sheet, d.cell) for name in names
                ]
        return carried

    def _carried_long(self, places: Sequence[Mapping[int, int]], used: Sequence[set[str]]) -> list[CellDefect]:
        carried = [d for d in self.raw.defects if d.index < 0]
        for d in self.raw.defects:
            if (
                d.index < 0
                or not self.kept[d.index]
                or (d.code == "merged_blank" and d.column in self.layout.fill_down)
            ):
                continue
            names = self.uses.get(d.column, ()) or (d.column,)
            here = [p[d.index] for p, mine in zip(places, used, strict=True) if d.index in p and d.column in mine]
            carried += [
                CellDefect(place, d.row, name, d.code, d.message, d.whole, d.sheet, d.cell)
                for place in here or [-1]
                for name in names
            ]
        return carried

    # --- columns ---------------------------------------------------------------------------------------------------

    def _columns(self, plan: Step, at: Index) -> dict[str, TextColumn]:
        found = {name: self._column(name, column, at) for name, column in plan.columns.items()}
        for name, column in plan.columns.items():
            if column.after is not None and column.after in found:
                found[name] = _after(found[name], found[column.after])
        for name, text in plan.constants.items():
            found[name] = TextColumn(np.zeros(len(at), dtype=np.int32), [text])
        return found

    def _column(self, name: str, column: Column, at: Index) -> TextColumn:
        if column.date is not None:
            return self._moments(name, column, at)
        if column.join:
            return self._words(name, _pairs([self._at(s, at) for s in column.join], column.with_), column, at)
        assert column.from_ is not None
        given = self._at(column.from_, at)
        if name in TIMES:
            if column.unit is not None:
                counted_in = column.unit
                if counted_in in SERIALS:
                    return self._read(name, given, column, at, lambda text: read_serial(text, counted_in, self.style))
                return self._read(name, given, column, at, lambda text: read_epoch(text, counted_in))
            return self._read(name, given, column, at, lambda text: read_moment(text, self.style))
        if column.part is not None:
            part = column.part
            given = self._read(name, given, column, at, lambda text: read_part(text, part, self.style))
            return given if name in NUMBERS else self._words(name, given, column, at)
        if column.drops is not None:
            kit = column.drops
            return self._read(name, given, column, at, lambda text: read_drops(text, kit.each, kit.blank, self.style))
        if name in NUMBERS:
            unit = column.unit or _own_unit(name, column.from_)
            return self._read(name, given, column, at, lambda text: read_amount(text, name, unit, self.style))
        return self._words(name, given, column, at)

    def _source(self, name: str) -> TextColumn:
        found = self.cells.get(name)
        return found if found is not None else TextColumn(np.full(len(self.raw.rows), -1, dtype=np.int32), [])

    def _at(self, name: str, at: Index) -> TextColumn:
        column = self._source(name)
        return TextColumn(column.codes[at], column.vocabulary)

    def _moments(self, name: str, column: Column, at: Index) -> TextColumn:
        """Days and times of day from two columns: a blank time leaves the moment unknown, a time needs its day."""
        assert column.date is not None
        assert column.time is not None
        both = _pairs([self._at(column.date, at), self._at(column.time, at)], "\0", blanks=True)

        def read(pair: str) -> str:
            day, _, clock = pair.partition("\0")
            clock = self._translated(name, clock)
            if not clock:
                return ""
            if not day:
                raise NotRead("missing_part", f"has a time of day, and {column.date!r} is blank")
            if clock[:4].isdigit() and clock[10:11] == "T":  # the cell holds its day itself
                return read_moment(clock, self.style)
            if column.unit is None:
                on, time = read_date(day, self.style), read_clock(clock, self.style)
            else:
                on, time = read_serial_date(day, column.unit, self.style), read_serial_clock(clock, self.style)
            if column.night_until is not None and time < column.night_until:
                on = str(np.datetime64(on) + np.timedelta64(1, "D"))
            return f"{on}T{time}"

        return self._read(name, both, column, at, read, mapped=False)

    def _words(self, name: str, given: TextColumn, column: Column, at: Index) -> TextColumn:
        """Text by the list of its values; what is in no list stays as it stands, or is a defect where the layout says so."""
        words = self.layout.values.get(name)
        if words is None:
            return given
        known = {self._key(text) for text in words}
        sound = {*words.values(), *(STEPS if name == "step" else AGENTS if name == "agent" else ())}

        def read(text: str) -> str:
            if self._key(text) not in known and text not in sound:
                if self.layout.unlisted == "defect":
                    listed = ", ".join(map(repr, list(words)[:_LISTED]))
                    raise NotRead("unmapped_value", f"stands in no list of the mapping; listed: {listed}")
                self.fitted.unlisted.setdefault(name, {})[text] = None
            return self._translated(name, text)

        return self._read(name, given, column, at, read, mapped=False)

    def _translated(self, name: str, text: str) -> str:
        return self.lists.get(name, {}).get(self._key(text), text)

    def _read(
        self, name: str, given: TextColumn, column: Column, at: Index, read: Callable[[str], str], mapped: bool = True
    ) -> TextColumn:
        """Each distinct cell read once; one that cannot be is blank, and a defect in every row that holds it."""
        known: dict[str, int] = {}
        new = np.full(len(given.vocabulary) + 1, -1, dtype=np.int32)
        faults: dict[int, NotRead] = {}
        for code in np.unique(given.codes[given.codes >= 0]).tolist():
            text = given.vocabulary[code]
            text = self._translated(name, text) if mapped else text
            try:
                if len(text) > LONGEST and (name in TIMES or name in NUMBERS):
                    raise NotRead("bad_length", f"has {len(text)} characters, more than a value of {name} can have")
                text = read(text) if text else ""
            except NotRead as fault:
                faults[code] = fault
                continue
            if text:
                new[code] = known.setdefault(text, len(known))
        for place in np.flatnonzero(np.isin(given.codes, list(faults))).tolist() if faults else ():
            code = int(given.codes[place])
            cell = given.vocabulary[code].replace("\0", " ").strip()
            origin = " and ".join(map(repr, column.sources))
            message = f"{name}, read from {origin}: {_short(cell)} {faults[code]}"
            self.faults.append((int(at[place]), name, faults[code].code, message, cell))
        return TextColumn(new[given.codes], list(known))


def _own_unit(name: str, source: str) -> str | None:
    """A column that bears the canonical name holds the canonical unit, the first of those it can have."""
    return UNITS[name][0] if name in UNITS and fold(source) == name else None


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text.strip().strip("\ufeff").strip())


def _short(text: str) -> str:
    return repr(text if len(text) <= _SHOWN else text[:_SHOWN] + "...")


def _trimmed(column: TextColumn, blank: set[str]) -> TextColumn:
    known: dict[str, int] = {}
    new = np.full(len(column.vocabulary) + 1, -1, dtype=np.int32)
    for code, cell in enumerate(column.vocabulary):
        text = _plain(cell)
        if text and text not in blank:
            new[code] = known.setdefault(text, len(known))
    return TextColumn(new[column.codes], list(known))


def _pairs(columns: Sequence[TextColumn], mark: str, *, blanks: bool = False) -> TextColumn:
    """Cells of several columns joined; one that is blank leaves the whole blank, unless `blanks` are to be told apart."""
    stacked = np.stack([c.codes for c in columns], axis=1)
    distinct, codes = np.unique(stacked, axis=0, return_inverse=True)
    known: dict[str, int] = {}
    new = np.full(len(distinct), -1, dtype=np.int32)
    for number, combination in enumerate(distinct.tolist()):
        if (all(c < 0 for c in combination)) if blanks else any(c < 0 for c in combination):
            continue
        text = mark.join(c.vocabulary[code] if code >= 0 else "" for c, code in zip(columns, combination, strict=True))
        new[number] = known.setdefault(text, len(known))
    return TextColumn(new[codes.reshape(-1)].astype(np.int32), list(known))


def _after(ends: TextColumn, starts: TextColumn) -> TextColumn:
    """Ends that lie before their start put on the next day where that is at most `NIGHT` later.

    Both are wall-clock times of one form, compared as text. An end shortly before its start is no night but a
    contradiction, or the hour that a clock set back showed twice.
    """
    both = np.flatnonzero((ends.codes >= 0) & (starts.codes >= 0))
    pairs, codes = np.unique(np.stack([ends.codes[both], starts.codes[both]], axis=1), axis=0, return_inverse=True)
    known = {word: number for number, word in enumerate(ends.vocabulary)}
    new = np.empty(len(pairs), dtype=np.int32)
    for number, (end, start) in enumerate(pairs.tolist()):
        said, first = ends.vocabulary[end], starts.vocabulary[start]
        if _local(said) and _local(first) and said[:19] < first[:19]:
            later = f"{np.datetime64(said[:10]) + np.timedelta64(1, 'D')}{said[10:]}"
            near = "T24" not in later + first and np.datetime64(later) - np.datetime64(first) <= NIGHT
            said = later if near else said
        new[number] = known.setdefault(said, len(known))
    moved = ends.codes.copy()
    moved[both] = new[codes.reshape(-1)]
    return TextColumn(moved, list(known))


def _local(stamp: str) -> bool:
    return len(stamp) >= 19 and not stamp.endswith("Z") and "+" not in stamp[19:] and "-" not in stamp[19:]
