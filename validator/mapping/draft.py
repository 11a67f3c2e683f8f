"""What mapping would fit an export? A proposal from names and contents, with the reason of every guess beside it.

It never decides what a file cannot tell: the order of day and month where no day is above 12, the time zone, the unit
of a bare number, the country of a gallon. These stand in the draft as comments with a `?`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from validator.mapping.aliases import aliases, fold
from validator.mapping.guesses import LINE, Guess, assign, rivals
from validator.mapping.left_out import why_left
from validator.mapping.lines import GUESS, LIKELY, SURE, Lines, scalar, shown
from validator.mapping.looks import Seen, columns_of, date_order, decimal_mark, note_unread
from validator.mapping.rows import footers, in_blocks, sums
from validator.mapping.values import Style
from validator.mapping.wide import Group, step_of, wide_groups
from validator.tables import AGENTS, ONE_TIME, STEPS, TIMES, FileRead, ParsedTable

_MOST_LISTED = 40
_OF_A_BLOCK = ("store_id", "equipment_id", "cycle_id", "date", "procedure")
_AS_SERIAL = "these numbers look like a spreadsheet's days since 1900; say serial_1904 if it counts from 1904"


def propose(read: FileRead) -> str:
    """The draft for one file of which every column was read as text."""
    draft = Lines()
    draft.say(0, f"# Drafted from {shown(read.name)}. Lines with a ? are open: complete them and take the # away.")
    draft.say(0, "mapping: draft")
    draft.say(0, "files:")
    alike: dict[frozenset[str], list[ParsedTable]] = {}
    for table in read.raw:
        alike.setdefault(frozenset(table.texts), []).append(table)
    for tables in alike.values():
        _layout(draft, read, tables, len(alike) > 1)
    return "\n".join(draft.lines) + "\n"


def _layout(draft: Lines, read: FileRead, tables: Sequence[ParsedTable], among: bool) -> None:
    """The layout for sheets with the same columns; it names them where there are others `among` them."""
    columns = columns_of(tables)
    dates, year, sure = date_order([c for c in columns if c.kind in ("date", "moment")])
    decimal = decimal_mark(columns)
    note_unread(columns, Style(dates or ("dmy" if dates is None else None), 2000, decimal=decimal or "."))
    draft.say(1, "- match: " + scalar("*" + _ending(read.name)), "every file with this ending")
    if among:
        draft.say(2, f"sheets: [{', '.join(scalar(table.sheet) for table in tables)}]", "sheets with the same columns")
    _reading(draft, read, tables[0].sheet)
    guesses = assign([c for c in columns if c.kind != "object"])
    wide = wide_groups(columns, guesses)
    _Columns(draft, columns, guesses, wide).write()
    _style(draft, columns, dates, year, sure, decimal)
    _rows(draft, tables, guesses)
    left = {c.name: draft.left_out.get(c.name) or why_left(c, guesses) for c in columns if c.name not in draft.used}
    for name, why in left.items():
        draft.say(2, f"# not used: {shown(name)}: {why}")
    draft.used, draft.left_out = set(), {}


class _Columns:
    """Writes the columns, constants, values and steps of a draft."""

    def __init__(self, draft: Lines, columns: Sequence[Seen], guesses: dict[str, Guess], wide: Sequence[Group]) -> None:
        self.draft = draft
        self.wide = wide
        self.headed = False
        grouped = {c.name for group in wide for c in group.all}
        self.guesses = {role: g for role, g in guesses.items() if g.column.name not in grouped}
        used = {g.column.name for g in self.guesses.values()} | grouped
        self.unused = [c.name for c in columns if c.name not in used]
        self.names = {c.name: c for c in columns}
        self.rivals = rivals(self.guesses, [self.names[name] for name in self.unused])
        self.unused = [name for name in self.unused if not any(name in names for names in self.rivals.values())]

    def write(self) -> None:
        self._cycle()
        in_step = {"concentration_ppm", "temperature_c", "ph", "verified_by"} if self.wide else set()
        self.draft.say(2, "columns:")
        for role, guess in self.guesses.items() if self.guesses else ():
            if role not in in_step and role not in ("date", *(("started_at", "ended_at") if self.wide else ())):
                self._column(3, role, guess)
        if self.joined:
            self.draft.say(3, self.joined, "a row is one cleaning of a machine and day", GUESS)
        date = self.guesses.get("date")
        if date is not None and not self.wide and "started_at" not in self.guesses:
            self.draft.used.add(date.column.name)
            self.draft.open(3, "started_at: ?", f"{date.column.name!r} holds days; no column holds the time of day")
        store, machine = self.guesses.get("store_id"), self.guesses.get("equipment_id")
        if store is not None and machine is not None and "equipment_id" not in self.rivals:
            both = f"[{self.draft.use(store.column.name)}, {self.draft.use(machine.column.name)}]"
            self.draft.open(
                3, f'equipment_id: {{join: {both}, with: "-"}}', "? if machines are numbered anew in every store"
            )
        self._open()
        self._constants()
        self._values("step", STEPS, "steps")
        self._values("agent", AGENTS, "agents")
        self._targets()
        if self.wide:
            self._steps()

    def _cycle(self) -> None:
        """Ticks and bare minutes have no times that could tell which steps belong together: machine and day do."""
        timeless = [group for group in self.wide if not set(group.columns) & {"started_at", "ended_at"}]
        machine, date = self.guesses.get("equipment_id"), self.guesses.get("date")
        self.ticked = any(not set(group.columns) & set(ONE_TIME) for group in timeless)
        self.joined = ""
        if timeless and "cycle_id" not in self.guesses and date is not None:
            names = [g.column.name for g in (machine, date) if g is not None]
            self.joined = f'cycle_id: {{join: [{", ".join(map(self.draft.use, names))}], with: " "}}'

    def _column(self, depth: int, role: str, guess: Guess, day: Seen | None = None) -> None:
        sure = SURE if guess.score >= 7 else LIKELY if guess.score >= 4 else GUESS
        column = guess.column
        why = "; ".join(part for part in (guess.why, "" if column.near else column.oddities) if part)
        taken = {
            other for other, one in self.guesses.items() if other != role and one.column is not column and not one.doubt
        }
        date = day or (self.guesses["date"].column if "date" in self.guesses else None)
        if role in self.rivals:
            self.draft.used.update((column.name, *self.rivals[role]))
            others = " or ".join(shown(name) for name in (column.name, *self.rivals[role]))
            self.draft.open(depth, f"{role}: ?", f"which of them is it: {others}?")
        elif len(set(guess.doubt) - taken) > 1:
            origin = self.draft.use(column.name)
            if role in TIMES and column.kind == "clock":
                on = self.draft.use(date.name) if date is not None else "?"
                origin = f"{{date: {on}, time: {origin}{self._serial(column, date)}}}"
            self.draft.open(depth, f"{role}: {origin}", why)
        elif role in TIMES and column.kind == "epoch":
            unit = "epoch_ms" if len(column.words[0]) > 10 else "epoch_s"
            self.draft.say(
                depth,
                f"{role}: {{from: {self.draft.use(column.name)}, unit: {unit}}}",
                f"{why}, counted from 1970",
                sure,
            )
        elif role in TIMES and column.kind == "clock":
            self._clock(depth, role, column, why, GUESS if column.written else sure, date)
        elif role in TIMES and column.written == "serial":
            self.draft.say(
                depth,
                f"{role}: {{from: {self.draft.use(column.name)}, unit: serial_1900}}",
                f"{why}; {_AS_SERIAL}",
                GUESS,
            )
        elif role in ("duration_s", "temperature_c", "concentration_ppm", "hardness_ppm"):
            self._measured(depth, role, column, why, sure)
        else:
            self.draft.say(depth, f"{role}: {self.draft.use(column.name)}", why, sure)

    @staticmethod
    def _serial(*columns: Seen | None) -> str:
        return ", unit: serial_1900" if any(c is not None and c.written == "serial" for c in columns) else ""

    def _clock(self, depth: int, role: str, column: Seen, why: str, sure: str, date: Seen | None) -> None:
        if date is None:
            self.draft.open(
                depth, f"{role}: {{date: ?, time: {self.draft.use(column.name)}}}", f"{why}; no column holds the day"
            )
            return
        self.draft.say(depth, f"{role}:", why, sure)
        self.draft.say(depth + 1, f"date: {self.draft.use(date.name)}", date.oddities)
        self.draft.say(depth + 1, f"time: {self.draft.use(column.name)}")
        if self._serial(column, date):
            self.draft.say(depth + 1, "unit: serial_1900", _AS_SERIAL, GUESS)
        if self.wide or "night" in fold(date.name):
            self.draft.open(depth + 1, "night_until: ?", "up to which time of day is a time that of the next day?")
        if role == "ended_at" and "night" not in fold(date.name):
            self.draft.open(depth + 1, "after: started_at", "? if an end before its start is on the next day")

    def _measured(self, depth: int, role: str, column: Seen, why: str, sure: str) -> None:
        if role == "temperature_c" and column.unit == "F":
            role = "temperature_f"  # a limit is held against the scale that was read
        bare = column.kind == "number"
        allowed = {"duration_s": ("s", "min", "h"), "temperature_c": ("C", "F"), "temperature_f": ("F",)}.get(
            role, ("ppm", "%")
        )
        name = self.draft.use(column.name)
        if not bare or fold(column.name) == role:
            self.draft.say(
                depth,
                f"{role}: {name}",
                why if bare or column.kind == "blank" else f"{why}; the unit stands in the cells",
                sure,
            )
        elif column.unit in allowed:
            text = f"{role}: {{from: {name}, unit: {scalar(column.unit)}}}"
            self.draft.say(depth, text, f"{why}; the unit stands in the name", sure)
        else:
            self.draft.open(
                depth,
                f"{role}: {{from: {name}, unit: ?}}",
                f"{why}; one of {', '.join(allowed)}, and no unit is written",
            )

    def _open(self) -> None:
        """What every row needs and no name told: the columns that could hold it."""
        left = [self.names[name] for name in self.unused]
        if "step" not in self.guesses and not self.wide:
            texts = ", ".join(shown(c.name) for c in left if c.kind == "text")
            self.draft.open(3, "step: ?", "which column says what was done" + (f": {texts}?" if texts else "?"))
        if "ended_at" not in self.guesses and not self.wide:
            for column in left:
                if column.kind in ("moment", "epoch"):
                    unit = self._serial(column) or (
                        {10: ", unit: epoch_s", 13: ", unit: epoch_ms"}.get(len(column.words[0]), "")
                        if column.kind == "epoch"
                        else ""
                    )
                    self.draft.open(
                        3,
                        f"ended_at: {{from: {self.draft.use(column.name)}{unit}}}",
                        f"? if these times are ends; {shown(column.name)} holds times",
                    )

    def _constants(self) -> None:
        asked = {"store_id": "which store is it?", "equipment_id": "which machine is it?",
                 "procedure": "what is the pack's procedure called? (cip-audit rules list)"}  # fmt: skip
        if not self.wide:
            asked["agent"] = "what was it done with, if it was the same in every row?"
        missing = [name for name in asked if name not in self.guesses]
        if missing:
            self.draft.say(2, "constants:")
            for name in missing:
                self.draft.open(3, f"{name}: ?", asked[name])

    def _values(self, role: str, words: Iterable[str], table: str) -> None:
        guess = self.guesses.get(role)
        if guess is None or guess.column.kind != "text":
            return
        known = {fold(text): word for word, texts in aliases()[table].items() for text in texts}
        cells = _once(guess.column.words)
        if all(cell in words for cell in cells):
            return
        self._head()
        self.draft.say(3, f"{role}:")
        for cell in cells[:_MOST_LISTED]:
            word = known.get(fold(cell))
            if word is not None:
                self.draft.say(4, f"{scalar(cell)}: {word}", "a usual word for it", LIKELY)
            elif cell not in words:
                self.draft.open(4, f"{scalar(cell)}: ?", f"which {role} is it?")

    def _head(self) -> None:
        if not self.headed:
            self.headed = True
            self.draft.say(2, "values:")

    def _targets(self) -> None:
        guess = self.guesses.get("target")
        if guess is None:
            return
        cells = [c for c in _once(guess.column.words) if not re.fullmatch(r"line-\d+", c)]
        lines = [(c, found[1]) for c in cells if (found := LINE.fullmatch(c))]
        if not lines:
            return
        self._head()
        self.draft.say(3, "target:")
        for cell, number in lines[:_MOST_LISTED]:
            self.draft.say(4, f"{scalar(cell)}: line-{number}", "looks like the number of a line", LIKELY)
        for cell in [c for c in cells if not LINE.fullmatch(c)][:_MOST_LISTED]:
            self.draft.open(4, f"{scalar(cell)}: ?", "which part is it?")

    def _steps(self) -> None:
        known = {fold(text): word for word, texts in aliases()["steps"].items() for text in texts}
        lines = [g for g in self.wide if LINE.fullmatch(g.prefix)]
        others = [g for g in self.wide if not LINE.fullmatch(g.prefix)]
        mixing = next((g for g in others if known.get(fold(g.prefix)) in ("test_solution", "mix_solution")), None)
        checking = next((g for g in others if known.get(fold(g.prefix)) == "verify"), None)
        self.draft.say(2, "steps:", "a row holds several steps", LIKELY)
        if self.ticked:
            self.draft.say(3, "# a tick shows that a step was done, neither when nor how long")
        before = [g for g in others if self._at(g) < min((self._at(one) for one in lines), default=0)]
        for group in before:
            self._step(group, known, mixing, checking)
        if lines:
            self._lines(lines)
        for group in others:
            if group not in before:
                self._step(group, known, mixing, checking)
        for role in ("concentration_ppm", "temperature_c", "ph", "verified_by"):
            if role in self.guesses and (checking if role == "verified_by" else mixing) is None:
                name = self.guesses[role].column.name
                fahrenheit = role == "temperature_c" and self.guesses[role].column.unit == "F"
                self.draft.left_out[name] = f"it may be {'temperature_f' if fahrenheit else role} of one of the steps"
        for role in ("started_at", "ended_at"):
            if role in self.guesses:
                name = self.guesses[role].column.name
                self.draft.left_out[name] = f"it may be {role} of the first or the last step"

    def _at(self, group: Group) -> int:
        return list(self.names).index(group.all[0].name)

    def _lines(self, lines: Sequence[Group]) -> None:
        self.draft.used.update(column.name for group in lines for column in group.all)
        targets = ", ".join(f"line-{LINE.fullmatch(g.prefix)[1]}: {scalar(g.prefix)}" for g in lines)  # type: ignore[index]
        self.draft.say(3, f"- targets: {{{targets}}}", "numbers of lines in the names", LIKELY)
        self.draft.say(4, "constants:")
        self.draft.open(5, "step: ?", "what was done to the lines?")
        self.draft.open(5, "agent: ?", "with what?")
        first = lines[0]
        ticks = [group.tick for group in lines if group.tick is not None]
        if ticks:
            words = list(dict.fromkeys(word for tick in ticks for word in tick.words))
            oddities = "; ".join(tick.oddities for tick in ticks if tick.oddities)
            self._when("*" + ticks[0].name[len(first.prefix) :], words, oddities)
        if first.columns:
            self.draft.say(4, "columns:")
        for role, column in first.columns.items():
            starred = replace(column, name="*" + column.name[len(first.prefix) :])
            self._column(5, role, Guess(starred, role, 4, f"named like {column.name!r}"))

    def _when(self, name: str, words: Sequence[str], oddities: str) -> None:
        """The marks of a column of ticks, and which of them say that a step was not done."""
        done, undone = ({fold(word) for word in aliases()["ticks"][key]} for key in ("yes", "no"))
        yes = [word for word in _once(words) if fold(word) in done]
        no = [word for word in _once(words) if fold(word) in undone]
        sure, why = LIKELY, "marks that say that it was done"
        if not yes:
            opposite = {fold(word): other for word, other in aliases()["opposites"].items()}
            yes = list(dict.fromkeys(opposite[fold(word)] for word in no if fold(word) in opposite))
            sure, why = GUESS, "every cell says that it was not done; the mark for done is taken to be the opposite"
        why += "; " * bool(oddities) + oddities
        said = f"column: {self.draft.use(name)}, yes: [{', '.join(map(scalar, yes))}]"
        said += f", no: [{', '.join(map(scalar, no))}]" if no else ""
        self.draft.say(4, f"when: {{{said}}}", why, sure)

    def _step(self, group: Group, known: Mapping[str, str], mixing: Group | None, checking: Group | None) -> None:
        word, part = step_of(group.prefix)
        self.draft.say(3, "- constants:")
        if word is not None:
            self.draft.say(5, f"step: {word}", f"{group.prefix!r} is a usual word for it", LIKELY)
        else:
            self.draft.open(5, "step: ?", f"what was done to {group.prefix!r}?")
        if part in ("line", "lines", "parts"):
            self.draft.open(5, "target: ?", f"which {part} are meant by {group.prefix!r}?")
        elif part:
            self.draft.say(5, f"target: {scalar(part)}", "the name before what was done", GUESS)
        self.draft.open(5, "agent: ?", "with what?")
        if group.tick is not None:
            self._when(group.tick.name, group.tick.words, group.tick.oddities)
        if group.columns or group in (mixing, checking):
            self.draft.say(4, "columns:")
        for role, column in group.columns.items():
            self._column(5, role, Guess(column, role, 4, f"named {column.name!r}"))
        if group is mixing:
            for role in ("concentration_ppm", "temperature_c", "ph"):
                if role in self.guesses:
                    self._column(5, role, self.guesses[role])
        if group is checking and "verified_by" in self.guesses:
            self._column(5, "verified_by", self.guesses["verified_by"])


def _reading(draft: Lines, read: FileRead, sheet: str) -> None:
    seen = read.told.get("seen", {})
    if seen.get("encoding"):
        draft.say(2, f"encoding: {seen['encoding']}", "the bytes are no UTF-8 text", GUESS)
    if seen.get("records"):
        draft.say(2, f"records: {scalar(seen['records'])}", "the longest list of records", LIKELY)
    if read.format in ("csv", "xlsx"):
        row, rows = seen.get("headers", {}).get(sheet, (1, 1))
        draft.say(2, f"# the header was found in row {row}")
        if rows > 1:
            draft.say(2, f"header_rows: {rows}", "names that repeat under titles", LIKELY)


def _style(
    draft: Lines, columns: Sequence[Seen], dates: str | None, yearless: bool, why: str, decimal: str | None
) -> None:
    if dates:
        draft.say(2, f"dates: {dates}", why, LIKELY)
    elif dates is None and any(c.kind in ("date", "moment") for c in columns):
        draft.open(2, "dates: ?", f"dmy, mdy or ymd; {why}")
    if yearless:
        draft.open(2, "year: ?", "the dates have no year")
    if any(c.written == "dotted" and c.kind == "clock" for c in columns):
        draft.say(
            2,
            'clock_mark: "."',
            "cells such as "
            + shown(next(c.words[0] for c in columns if c.written == "dotted" and c.kind == "clock"))
            + " in a column named for a time",
            GUESS,
        )
    for column in columns:
        if column.written == "dotted" and column.kind == "number":
            draft.open(
                2,
                'clock_mark: "."',
                f"? if {shown(column.name)} holds times of day: {shown(column.words[0])} could be a number as well",
            )
    clocks = [w for c in columns if c.kind in ("clock", "moment") for w in c.words]
    if clocks and all(re.search(r"\d ?[ap]\.?m", w, re.IGNORECASE) for w in clocks):
        draft.say(2, "clock: 12h", "every time has am or pm", SURE)
    if decimal == ",":
        draft.say(2, 'decimal: ","', "numbers such as " + shown(_first_with(columns, ",")), LIKELY)
    elif decimal is None:
        draft.open(2, "decimal: ?", f"{shown(_first_with(columns, ','))} can be a thousand or a decimal number")
    draft.open(2, "timezone: ?", "the zone of the times, if it is not that of the store in the register")
    gallons = [
        c.name
        for c in columns
        if any(re.search(r"\b(gal|gallons?|fl\.? ?oz)\b", w, re.IGNORECASE) for w in (c.name, *c.words[:20]))
    ]
    if gallons:
        draft.open(
            2,
            f"product_unit or water_unit for {shown(gallons[0])}: ?",
            "us_gal or imp_gal, us_fl_oz or imp_fl_oz: of which country?",
        )


def _rows(draft: Lines, tables: Sequence[ParsedTable], guesses: Mapping[str, Guess]) -> None:
    blank = {fold(word) for word in aliases()["blanks"]}
    marks: dict[str, None] = {}
    totals: dict[str, dict[str, bool]] = {}
    ends: dict[str, dict[str, None]] = {}
    merged: dict[str, None] = {}
    for table in tables:
        for column in table.texts.values():
            used = {column.vocabulary[c].strip() for c in np.unique(column.codes[column.codes >= 0]).tolist()}
            marks.update(dict.fromkeys(sorted(w for w in used if fold(w) in blank)))
        for name, summed in sums(table)[0].items():
            totals.setdefault(name, {}).update(summed)
        for name, words in footers(table)[0].items():
            ends.setdefault(name, {}).update(words)
        merged.update(dict.fromkeys(d.column for d in table.defects if d.code == "merged_blank"))
    if marks:
        draft.say(2, f"blanks: [{', '.join(map(scalar, marks))}]", "cells that say that there is nothing", LIKELY)
    blocks = in_blocks(
        tables, [guesses[r].column.name for r in _OF_A_BLOCK if r in guesses and guesses[r].column.name not in merged]
    )
    if merged or blocks:
        whys = [*["merged cells stand over several rows"] * bool(merged), *blocks.values()]
        names = ", ".join(map(scalar, (*merged, *blocks)))
        draft.say(2, f"fill_down: [{names}]", "; ".join(whys), GUESS if blocks else LIKELY)
    if totals or ends:
        draft.say(2, "skip:")
    for name, summing in totals.items():
        ways = {
            "equals": [w for w, whole in summing.items() if whole],
            "begins": [w for w, whole in summing.items() if not whole],
        }
        said = "".join(f", {way}: [{', '.join(map(scalar, texts))}]" for way, texts in ways.items() if texts)
        draft.say(3, f"- {{column: {scalar(name)}{said}}}", "rows that sum up others", LIKELY)
    for name, begins in ends.items():
        said = ", ".join(map(scalar, begins))
        draft.say(3, f"- {{column: {scalar(name)}, begins: [{said}]}}", "lines that fill no other cell", LIKELY)


def _first_with(columns: Sequence[Seen], mark: str) -> str:
    return next((w for c in columns if c.kind in ("number", "amount") for w in c.words if mark in w), "")


def _once(words: Iterable[str]) -> list[str]:
    """The words, those that differ in case alone once."""
    found: dict[str, str] = {}
    for word in words:
        found.setdefault(fold(word), word)
    return list(found.values())


def _ending(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    dot = last.rfind(".")
    return last[dot:] if dot > 0 and last[dot + 1 :].isalnum() else ""
