"""How does a draft say which column is which? Columns, constants and lists of values, each with its reason or as a question."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from validator.mapping.aliases import aliases, fold
from validator.mapping.guesses import LINE, Guess, rivals
from validator.mapping.lines import GUESS, LIKELY, SURE, Lines, scalar, shown
from validator.mapping.looks import Seen
from validator.mapping.wide import Group
from validator.tables import AGENTS, ONE_TIME, STEPS, TIMES

_MOST_LISTED = 40
_AS_SERIAL = "these numbers look like a spreadsheet's days since 1900; say serial_1904 if it counts from 1904"


class Columns:
    """Writes the columns, constants and values of a layout."""

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
        """All of them, in the order of the canonical table."""
        self._cycle()
        in_step = {"concentration_ppm", "temperature_c", "ph", "verified_by"} if self.wide else set()
        self.draft.say(2, "columns:")
        for role, guess in self.guesses.items() if self.guesses else ():
            if role not in in_step and role not in ("date", *(("started_at", "ended_at") if self.wide else ())):
                self.column(3, role, guess)
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

    def _cycle(self) -> None:
        """Ticks and bare minutes have no times that could tell which steps belong together: machine and day do."""
        timeless = [group for group in self.wide if not set(group.columns) & {"started_at", "ended_at"}]
        machine, date = self.guesses.get("equipment_id"), self.guesses.get("date")
        self.ticked = any(not set(group.columns) & set(ONE_TIME) for group in timeless)
        self.joined = ""
        if timeless and "cycle_id" not in self.guesses and date is not None:
            names = [g.column.name for g in (machine, date) if g is not None]
            self.joined = f'cycle_id: {{join: [{", ".join(map(self.draft.use, names))}], with: " "}}'

    def column(self, depth: int, role: str, guess: Guess) -> None:
        """The line of one canonical column, with its reason, or a question."""
        sure = SURE if guess.score >= 7 else LIKELY if guess.score >= 4 else GUESS
        column = guess.column
        why = "; ".join(part for part in (guess.why, "" if column.near else column.oddities) if part)
        taken = {
            other for other, one in self.guesses.items() if other != role and one.column is not column and not one.doubt
        }
        date = self.guesses["date"].column if "date" in self.guesses else None
        if role in self.rivals:
            self.draft.used.update((column.name, *self.rivals[role]))
            others = " or ".join(shown(name) for name in (column.name, *self.rivals[role]))
            self.draft.open(depth, f"{role}: ?", f"which of them is it: {others}?")
        elif len(set(guess.doubt) - taken) > 1:
            origin = self.draft.use(column.name)
            if role in TIMES and column.kind == "clock":
                on = self.draft.use(date.name) if date is not None else "?"
                origin = f"{{date: {on}, time: {origin}{_counted(column, date)}}}"
            elif _counted(column):
                origin = f"{{from: {origin}{_counted(column)}}}"
            self.draft.open(depth, f"{role}: {origin}", why)
        elif role in TIMES and column.kind == "epoch":
            text = f"{role}: {{from: {self.draft.use(column.name)}{_counted(column)}}}"
            self.draft.say(depth, text, f"{why}, counted from 1970", sure)
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

    def _clock(self, depth: int, role: str, column: Seen, why: str, sure: str, date: Seen | None) -> None:
        if date is None:
            self.draft.open(
                depth, f"{role}: {{date: ?, time: {self.draft.use(column.name)}}}", f"{why}; no column holds the day"
            )
            return
        self.draft.say(depth, f"{role}:", why, sure)
        self.draft.say(depth + 1, f"date: {self.draft.use(date.name)}", date.oddities)
        self.draft.say(depth + 1, f"time: {self.draft.use(column.name)}")
        if _counted(column, date):
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
                    self.draft.open(
                        3,
                        f"ended_at: {{from: {self.draft.use(column.name)}{_counted(column)}}}",
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
        cells = once(guess.column.words)
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
        cells = [c for c in once(guess.column.words) if not re.fullmatch(r"line-\d+", c)]
        lines = [(c, found[1]) for c in cells if (found := LINE.fullmatch(c))]
        if not lines:
            return
        self._head()
        self.draft.say(3, "target:")
        for cell, number in lines[:_MOST_LISTED]:
            self.draft.say(4, f"{scalar(cell)}: line-{number}", "looks like the number of a line", LIKELY)
        for cell in [c for c in cells if not LINE.fullmatch(c)][:_MOST_LISTED]:
            self.draft.open(4, f"{scalar(cell)}: ?", "which part is it?")


def _counted(*columns: Seen | None) -> str:
    """The unit of times that are counts, as it stands behind the column in the draft; empty where none is."""
    for column in columns:
        if column is not None and column.written == "serial":
            return ", unit: serial_1900"
        if column is not None and column.kind == "epoch":
            first = next(word for word in column.words if word not in column.odd)
            return f", unit: {'epoch_ms' if len(first) > 10 else 'epoch_s'}"
    return ""


def once(words: Iterable[str]) -> list[str]:
    """The words, those that differ in case alone once."""
    found: dict[str, str] = {}
    for word in words:
        found.setdefault(fold(word), word)
    return list(found.values())
