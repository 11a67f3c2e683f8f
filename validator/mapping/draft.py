"""What mapping would fit an export? A proposal from names and contents, with the reason of every guess beside it.

It never decides what a file cannot tell: the order of day and month where no day is above 12, the time zone, the unit
of a bare number, the country of a gallon. These stand in the draft as comments with a `?`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from validator.mapping.aliases import aliases, fold
from validator.mapping.guesses import LINE, Guess, assign, rivals
from validator.mapping.looks import Seen, columns_of, date_order, decimal_mark, footers
from validator.mapping.wide import Group, wide_groups
from validator.tables import AGENTS, ONE_TIME, STEPS, TIMES, FileRead, ParsedTable

SURE, LIKELY, GUESS = "sure", "likely", "a guess"
_MOST_LISTED = 40
_PLAIN = re.compile(r"[^\W\d_](?:[\w ./()°-]*[\w)])?")
_YAML_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}


@dataclass
class _Draft:
    """The lines of the proposal."""

    lines: list[str] = field(default_factory=list)

    def say(self, depth: int, text: str, why: str = "", sure: str = "") -> None:
        told = f"  # {sure + ': ' if sure else ''}{why}" if why else ""
        self.lines.append("  " * depth + text + told)

    def open(self, depth: int, text: str, why: str) -> None:
        """A line that its reader completes: `# key: ?`."""
        self.lines.append("  " * depth + f"# {text}  # open: {why}")


def propose(read: FileRead) -> str:
    """The draft for one file of which every column was read as text."""
    draft = _Draft()
    draft.say(0, f"# Drafted from {_shown(read.name)}. Lines with a ? are open: complete them and take the # away.")
    draft.say(0, "mapping: draft")
    draft.say(0, "files:")
    alike: dict[frozenset[str], list[ParsedTable]] = {}
    for table in read.raw:
        alike.setdefault(frozenset(table.texts), []).append(table)
    for tables in alike.values():
        _layout(draft, read, tables, len(alike) > 1)
    return "\n".join(draft.lines) + "\n"


def _layout(draft: _Draft, read: FileRead, tables: Sequence[ParsedTable], among: bool) -> None:
    """The layout for sheets with the same columns; it names them where there are others `among` them."""
    columns = columns_of(tables)
    dates, year, sure = date_order([c for c in columns if c.kind in ("date", "moment")])
    decimal = decimal_mark(columns)
    draft.say(1, "- match: " + _text("*" + _ending(read.name)), "every file with this ending")
    if among:
        draft.say(2, f"sheets: [{', '.join(_text(table.sheet) for table in tables)}]", "sheets with the same columns")
    _reading(draft, read, tables[0].sheet)
    guesses = assign(columns)
    wide = wide_groups(columns, guesses)
    _Columns(draft, columns, guesses, wide).write()
    _style(draft, columns, dates, year, sure, decimal)
    _rows(draft, tables, columns)


class _Columns:
    """Writes the columns, constants, values and steps of a draft."""

    def __init__(
        self, draft: _Draft, columns: Sequence[Seen], guesses: dict[str, Guess], wide: Sequence[Group]
    ) -> None:
        self.draft = draft
        self.wide = wide
        self.headed = False
        grouped = {c.name for group in wide for c in group.all}
        self.guesses = {role: g for role, g in guesses.items() if g.column.name not in grouped}
        used = {g.column.name for g in self.guesses.values()} | grouped
        self.unused = [c.name for c in columns if c.name not in used and not c.name.endswith("[]")]
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
            self.draft.open(3, "started_at: ?", f"{date.column.name!r} holds days; no column holds the time of day")
        store, machine = self.guesses.get("store_id"), self.guesses.get("equipment_id")
        if store is not None and machine is not None and "equipment_id" not in self.rivals:
            both = f"[{_text(store.column.name)}, {_text(machine.column.name)}]"
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
        if self.unused:
            shown = ", ".join(_shown(name) for name in self.unused[:_MOST_LISTED])
            self.draft.say(2, f"# not used: {shown}")

    def _cycle(self) -> None:
        """Ticks and bare minutes have no times that could tell which steps belong together: machine and day do."""
        timeless = [group for group in self.wide if not set(group.columns) & {"started_at", "ended_at"}]
        machine, date = self.guesses.get("equipment_id"), self.guesses.get("date")
        self.ticked = any(not set(group.columns) & set(ONE_TIME) for group in timeless)
        self.joined = ""
        if timeless and "cycle_id" not in self.guesses and date is not None:
            names = [g.column.name for g in (machine, date) if g is not None]
            self.joined = f'cycle_id: {{join: [{", ".join(map(_text, names))}], with: " "}}'

    def _column(self, depth: int, role: str, guess: Guess, day: Seen | None = None) -> None:
        sure = SURE if guess.score >= 7 else LIKELY if guess.score >= 4 else GUESS
        column = guess.column
        if role in self.rivals:
            others = " or ".join(_shown(name) for name in (column.name, *self.rivals[role]))
            self.draft.open(depth, f"{role}: ?", f"which of them is it: {others}?")
        elif role in TIMES and column.kind == "epoch":
            unit = "epoch_ms" if len(column.words[0]) > 10 else "epoch_s"
            self.draft.say(
                depth, f"{role}: {{from: {_text(column.name)}, unit: {unit}}}", f"{guess.why}, counted from 1970", sure
            )
        elif role in TIMES and column.kind == "clock":
            self._clock(depth, role, column, guess.why, sure, day)
        elif role in ("duration_s", "temperature_c", "concentration_ppm", "hardness_ppm"):
            self._measured(depth, role, column, guess.why, sure)
        else:
            self.draft.say(depth, f"{role}: {_text(column.name)}", guess.why, sure)

    def _clock(self, depth: int, role: str, column: Seen, why: str, sure: str, day: Seen | None) -> None:
        date = day or (self.guesses["date"].column if "date" in self.guesses else None)
        if date is None:
            self.draft.open(depth, f"{role}: {{date: ?, time: {_text(column.name)}}}", "no column holds the day")
            return
        self.draft.say(depth, f"{role}:", why, sure)
        self.draft.say(depth + 1, f"date: {_text(date.name)}")
        self.draft.say(depth + 1, f"time: {_text(column.name)}")
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
        if not bare or fold(column.name) == role:
            self.draft.say(
                depth,
                f"{role}: {_text(column.name)}",
                f"{why}; the unit stands in the cells" if not bare else why,
                sure,
            )
        elif column.unit in allowed:
            text = f"{role}: {{from: {_text(column.name)}, unit: {_text(column.unit)}}}"
            self.draft.say(depth, text, f"{why}; the unit stands in the name", sure)
        else:
            self.draft.open(depth, f"{role}: {{from: {_text(column.name)}, unit: ?}}",
                            f"{why}; one of {', '.join(allowed)}, and no unit is written")  # fmt: skip

    def _open(self) -> None:
        """What every row needs and no name told: the columns that could hold it."""
        left = [self.names[name] for name in self.unused]
        if "step" not in self.guesses and not self.wide:
            texts = ", ".join(_shown(c.name) for c in left if c.kind == "text")
            self.draft.open(3, "step: ?", "which column says what was done" + (f": {texts}?" if texts else "?"))
        if "ended_at" not in self.guesses and not self.wide:
            for column in left:
                if column.kind in ("moment", "epoch"):
                    unit = (
                        {10: ", unit: epoch_s", 13: ", unit: epoch_ms"}.get(len(column.words[0]), "")
                        if column.kind == "epoch"
                        else ""
                    )
                    self.draft.open(
                        3,
                        f"ended_at: {{from: {_text(column.name)}{unit}}}",
                        f"? if these times are ends; {_shown(column.name)} holds times",
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
                self.draft.say(4, f"{_text(cell)}: {word}", "a usual word for it", LIKELY)
            elif cell not in words:
                self.draft.open(4, f"{_text(cell)}: ?", f"which {role} is it?")

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
            self.draft.say(4, f"{_text(cell)}: line-{number}", "looks like the number of a line", LIKELY)
        for cell in [c for c in cells if not LINE.fullmatch(c)][:_MOST_LISTED]:
            self.draft.open(4, f"{_text(cell)}: ?", "which part is it?")

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
                self.draft.say(2, f"# not used: {_shown(name)}; it may be {role} of one of the steps")
        for role in ("started_at", "ended_at"):
            if role in self.guesses:
                name = self.guesses[role].column.name
                self.draft.say(2, f"# not used: {_shown(name)}; it may be {role} of the first or the last step")
        clocks = any(column.kind == "clock" for group in self.wide for column in group.columns.values())
        if "date" in self.guesses and not self.joined and not clocks:
            self.draft.say(2, f"# not used: {_shown(self.guesses['date'].column.name)}, which holds days")

    def _at(self, group: Group) -> int:
        return list(self.names).index(group.all[0].name)

    def _lines(self, lines: Sequence[Group]) -> None:
        targets = ", ".join(f"line-{LINE.fullmatch(g.prefix)[1]}: {_text(g.prefix)}" for g in lines)  # type: ignore[index]
        self.draft.say(3, f"- targets: {{{targets}}}", "numbers of lines in the names", LIKELY)
        self.draft.say(4, "constants:")
        self.draft.open(5, "step: ?", "what was done to the lines?")
        self.draft.open(5, "agent: ?", "with what?")
        first = lines[0]
        ticks = [group.tick for group in lines if group.tick is not None]
        if ticks:
            words = list(dict.fromkeys(word for tick in ticks for word in tick.words))
            self._when("*" + ticks[0].name[len(first.prefix) :], words)
        if first.columns:
            self.draft.say(4, "columns:")
        for role, column in first.columns.items():
            starred = Seen("*" + column.name[len(first.prefix) :], column.words, column.kind, column.unit)
            self._column(5, role, Guess(starred, role, 4, f"named like {column.name!r}"))

    def _when(self, name: str, words: Sequence[str]) -> None:
        """The marks of a column of ticks, and which of them say that a step was not done."""
        no = {fold(word) for word in aliases()["ticks"]["no"]}
        yes = ", ".join(_text(word) for word in _once(words) if fold(word) not in no)
        not_done = ", ".join(_text(word) for word in _once(words) if fold(word) in no)
        more = f", no: [{not_done}]" if not_done else ""
        self.draft.say(
            4, f"when: {{column: {_text(name)}, yes: [{yes}]{more}}}", "marks that say that it was done", LIKELY
        )

    def _step(self, group: Group, known: Mapping[str, str], mixing: Group | None, checking: Group | None) -> None:
        word = known.get(fold(group.prefix))
        self.draft.say(3, "- constants:")
        if word is not None:
            self.draft.say(5, f"step: {word}", f"{group.prefix!r} is a usual word for it", LIKELY)
        else:
            self.draft.open(5, "step: ?", f"what was done to {group.prefix!r}?")
            self.draft.say(5, f"target: {_text(fold(group.prefix))}", "the name before the time", GUESS)
        self.draft.open(5, "agent: ?", "with what?")
        if group.tick is not None:
            self._when(group.tick.name, group.tick.words)
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


def _reading(draft: _Draft, read: FileRead, sheet: str) -> None:
    seen = read.told.get("seen", {})
    if seen.get("encoding"):
        draft.say(2, f"encoding: {seen['encoding']}", "the bytes are no UTF-8 text", GUESS)
    if seen.get("records"):
        draft.say(2, f"records: {_text(seen['records'])}", "the longest list of records", LIKELY)
    if read.format in ("csv", "xlsx"):
        row, rows = seen.get("headers", {}).get(sheet, (1, 1))
        draft.say(2, f"# the header was found in row {row}")
        if rows > 1:
            draft.say(2, f"header_rows: {rows}", "names that repeat under titles", LIKELY)


def _style(
    draft: _Draft, columns: Sequence[Seen], dates: str | None, yearless: bool, why: str, decimal: str | None
) -> None:
    if dates:
        draft.say(2, f"dates: {dates}", why, LIKELY)
    elif dates is None and any(c.kind in ("date", "moment") for c in columns):
        draft.open(2, "dates: ?", f"dmy, mdy or ymd; {why}")
    if yearless:
        draft.open(2, "year: ?", "the dates have no year")
    clocks = [w for c in columns if c.kind in ("clock", "moment") for w in c.words]
    if clocks and all(re.search(r"\d ?[ap]\.?m", w, re.IGNORECASE) for w in clocks):
        draft.say(2, "clock: 12h", "every time has am or pm", SURE)
    if decimal == ",":
        draft.say(2, 'decimal: ","', "numbers such as " + _shown(_first_with(columns, ",")), LIKELY)
    elif decimal is None:
        draft.open(2, "decimal: ?", f"{_shown(_first_with(columns, ','))} can be a thousand or a decimal number")
    draft.open(2, "timezone: ?", "the zone of the times, if it is not that of the store in the register")
    gallons = [
        c.name
        for c in columns
        if any(re.search(r"\b(gal|gallons?|fl\.? ?oz)\b", w, re.IGNORECASE) for w in (c.name, *c.words[:20]))
    ]
    if gallons:
        draft.open(
            2,
            f"product_unit or water_unit for {_shown(gallons[0])}: ?",
            "us_gal or imp_gal, us_fl_oz or imp_fl_oz: of which country?",
        )


def _rows(draft: _Draft, tables: Sequence[ParsedTable], columns: Sequence[Seen]) -> None:
    blank, totals = ({fold(w) for w in aliases()[key]} for key in ("blanks", "totals"))
    marks: dict[str, None] = {}
    skips: dict[str, dict[str, None]] = {}
    ends: dict[str, dict[str, None]] = {}
    merged: dict[str, None] = {}
    for table in tables:
        for name, column in table.texts.items():
            used = {column.vocabulary[c].strip() for c in np.unique(column.codes[column.codes >= 0]).tolist()}
            marks.update(dict.fromkeys(sorted(w for w in used if fold(w) in blank)))
            found = sorted(w for w in used if fold(w) in totals)
            if found:
                skips.setdefault(name, {}).update(dict.fromkeys(found))
        for name, words in footers(table)[0].items():
            ends.setdefault(name, {}).update(words)
        merged.update(dict.fromkeys(d.column for d in table.defects if d.code == "merged_blank"))
    if marks:
        draft.say(2, f"blanks: [{', '.join(map(_text, marks))}]", "cells that say that there is nothing", LIKELY)
    if merged:
        draft.say(2, f"fill_down: [{', '.join(map(_text, merged))}]", "merged cells stand over several rows", LIKELY)
    if skips or ends:
        draft.say(2, "skip:", "lines that sum up, or say who printed it", LIKELY)
    for key, of_columns in (("equals", skips), ("begins", ends)):
        for name, words in of_columns.items():
            draft.say(3, f"- {{column: {_text(name)}, {key}: [{', '.join(map(_text, words))}]}}")


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


def _text(text: str) -> str:
    """A text as a YAML scalar that comes back as it is."""
    if _PLAIN.fullmatch(text) and text.casefold() not in _YAML_WORDS and " #" not in text:
        return text
    return json.dumps(text, ensure_ascii=not text.isprintable())


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:60] + "...")
