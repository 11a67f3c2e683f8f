"""What mapping would fit an export? A proposal from names and contents, with the reason of every guess beside it.

It never decides what a file cannot tell: the order of day and month where no day is above 12, the time zone, the unit
of a bare number, the country of a gallon. These stand in the draft as comments with a `?`.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from validator.mapping.aliases import aliases, bare, fold, tokens, unit_of
from validator.mapping.apply import LONGEST
from validator.mapping.values import NotRead, Style, read_clock, read_date, read_length, read_moment
from validator.tables import AGENTS, NUMBERS, STEPS, TIMES, FileRead, ParsedTable

SURE, LIKELY, GUESS = "sure", "likely", "a guess"
_MOST_WORDS = 400
_MOST_LISTED = 40
_CLOSE = 0.84
_LINE = re.compile(r"(?:l|line|ltg|leitung|tap|valve)[ ._-]?0*(\d{1,3})", re.IGNORECASE)
_PLAIN = re.compile(r"[^\W\d_](?:[\w ./()°-]*[\w)])?")
_YAML_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}
_PAIR = {"from": "started_at", "start": "started_at", "started": "started_at", "to": "ended_at", "end": "ended_at",
         "ended": "ended_at", "finished": "ended_at", "min": "duration_s", "minutes": "duration_s"}  # fmt: skip


@dataclass
class _Seen:
    """One column of the export: its distinct cells, and what they look like."""

    name: str
    words: list[str]
    kind: str = ""
    unit: str = ""


@dataclass
class _Guess:
    """A canonical column proposed for a column of the export, with how sure it is and why."""

    column: _Seen
    role: str
    score: int
    why: str


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
    columns = _columns(read.raw)
    dates, year, sure = _date_order([c for c in columns if c.kind in ("date", "moment")])
    decimal = _decimal_mark(columns)
    draft = _Draft()
    draft.say(0, f"# Drafted from {_shown(read.name)}. Lines with a ? are open: complete them and take the # away.")
    draft.say(0, "mapping: draft")
    draft.say(0, "files:")
    draft.say(1, "- match: " + _text("*" + _ending(read.name)), "every file with this ending")
    _reading(draft, read)
    guesses = _assign(columns)
    wide = _wide(columns, guesses)
    _Columns(draft, columns, guesses, wide).write()
    _style(draft, columns, dates, year, sure, decimal)
    _rows(draft, read.raw, columns)
    return "\n".join(draft.lines) + "\n"


# --- what the file looks like ---------------------------------------------------------------------------------------


def _columns(tables: Sequence[ParsedTable]) -> list[_Seen]:
    found: dict[str, dict[str, None]] = {}
    for table in tables:
        sums = _sums(table)
        for name, column in table.texts.items():
            codes = column.codes[~sums]
            here = [column.vocabulary[c] for c in np.unique(codes[codes >= 0])[:_MOST_WORDS].tolist()]
            found.setdefault(name, {}).update(dict.fromkeys(w.strip() for w in here if w.strip()))
    blank = {fold(word) for word in aliases()["blanks"]}
    seen = []
    for name, words in found.items():
        kept = [w for w in words if fold(w) not in blank][:_MOST_WORDS]
        if kept or words or name:
            seen.append(_Seen(name, kept, _kind(kept), unit_of(name)))
    return [c for c in seen if not c.name.startswith("#") or c.words]


def _sums(table: ParsedTable) -> npt.NDArray[np.bool_]:
    """Which rows sum up others: a cell of theirs says so."""
    totals = {fold(word) for word in aliases()["totals"]}
    found = np.zeros(len(table.rows), dtype=bool)
    for column in table.texts.values():
        found |= np.array([*(fold(word) in totals for word in column.vocabulary), False], dtype=bool)[column.codes]
    return found


_DATE = re.compile(r"\d{1,2}[./-]\d{1,2}[./-](\d{2}|\d{4})|\d{4}[./-]\d{1,2}[./-]\d{1,2}")


def _kind(words: Sequence[str]) -> str:
    """What most of the cells look like: date, clock, moment, epoch, length, number, amount, or text."""
    if not words:
        return "blank"
    if any(len(word) > LONGEST for word in words):
        return "text"
    orders = [Style(dates=order, year=2000) for order in ("dmy", "mdy", "ymd")]
    looks: tuple[tuple[str, Callable[[str], object]], ...] = (
        (
            "number",
            lambda w: re.fullmatch(r"[+-]?\d[\d.,' ]*", w) and not re.fullmatch(r"\d{1,2}\.\d{1,2}\.(\d{2,4})?", w),
        ),
        ("clock", lambda w: _reads(read_clock, w, Style()) and not w.isdigit()),
        # a day that no month has is still written as one
        ("date", lambda w: _DATE.fullmatch(w) or any(_reads(read_date, w, style) for style in orders)),
        ("moment", lambda w: any(_reads(read_moment, w, style) for style in orders)),
        ("length", lambda w: _reads(_read_length, w, Style())),
        ("amount", lambda w: re.fullmatch(r"[+-]?\d[\d.,]* ?[^\d\s].{0,8}", w)),
    )
    enough = min(0.8 * len(words), len(words) - 1) if len(words) > 2 else len(words)  # one odd cell may be among a few
    for kind, look in looks:
        if sum(bool(look(w)) for w in words) >= enough:
            return kind
    return "text"


def _read_length(text: str, style: Style) -> str:
    return read_length(text, None, style)


def _reads(read: Callable[[str, Style], str], text: str, style: Style) -> bool:
    try:
        read(text, style)
    except NotRead:
        return False
    return True


def _date_order(columns: Sequence[_Seen]) -> tuple[str | None, bool, str]:
    """The one order of day and month in which every date can be read; None where two can, or none is needed."""
    words = [w for c in columns for w in c.words]
    if all(re.match(r"\d{4}-\d\d-\d\d", w) for w in words):
        return "", False, ""
    yearless = any(re.fullmatch(r"\d{1,2}[./-]\d{1,2}\.?", w) for w in words)
    fitting = {}
    for order in ("dmy", "mdy", "ymd"):
        style = Style(dates=order, year=2000)
        fitting[order] = sum(_reads(read_date, w, style) or _reads(read_moment, w, style) for w in words)
    best = max(fitting.values(), default=0)
    orders = [order for order, count in fitting.items() if count == best]
    if len(orders) == 1:
        return orders[0], yearless, f"{best} of {len(words)} distinct dates can be read so, fewer in any other order"
    return None, yearless, "no day is above 12, so that day and month cannot be told apart"


def _decimal_mark(columns: Sequence[_Seen]) -> str | None:
    """The decimal mark that numbers show: None where it cannot be told, nothing where no number has one."""
    cells = [w for c in columns if c.kind in ("number", "amount") for w in c.words]
    comma = any(re.match(r"[+-]?\d+,(\d{1,2}|\d{4,})\b", w) for w in cells)
    point = any(re.match(r"[+-]?\d+\.(\d{1,2}|\d{4,})\b", w) for w in cells)
    three = any(re.match(r"[+-]?\d{1,3},\d{3}\b", w) for w in cells)
    if comma and not point:
        return ","
    return None if three and not point else "."


# --- which column is which ------------------------------------------------------------------------------------------


def _assign(columns: Sequence[_Seen]) -> dict[str, _Guess]:
    """For each canonical column (and `date`) the export's column that fits it best; each is used once."""
    options = [guess for column in columns for guess in _options(column)]
    order = {column.name: at for at, column in enumerate(columns)}
    options.sort(key=lambda g: (-g.score, order[g.column.name], g.role))
    best: dict[str, _Guess] = {}
    taken: set[str] = set()
    for guess in options:
        if guess.role not in best and guess.column.name not in taken:
            best[guess.role] = guess
            taken.add(guess.column.name)
    return {role: best[role] for role in aliases()["columns"] if role in best}


def _options(column: _Seen) -> Iterable[_Guess]:
    known: Mapping[str, Sequence[str]] = aliases()["columns"]
    words = tokens(column.name)
    path = re.search(r"\w\.\w|\]", column.name) is not None
    last = tokens(re.split(r"[.\]]", column.name)[-1]) if path else words
    short = bare(last)
    for role, names in known.items():
        if not _may_be(role, column):
            continue
        texts = [tokens(name) for name in (*names, role)]
        if any(t in texts for t in (words, last, short)):
            yield _Guess(column, role, 6 + _confirmed(role, column), f"named {column.name!r}")
        elif any(_within(text, short) for text in texts if text):
            yield _Guess(column, role, 4, f"its name {column.name!r} holds a usual one")
        elif path and any(_within(text, words) for text in texts if text):
            yield _Guess(column, role, 3, f"its path {column.name!r} holds a usual name")
        elif difflib.get_close_matches(" ".join(short), [" ".join(t) for t in texts], 1, _CLOSE):
            yield _Guess(column, role, 2, f"its name {column.name!r} is close to a usual one")
    if _share(column, "steps") > 0.5:
        yield _Guess(column, "step", 5, f"{column.name!r} holds words for steps")
    if _share(column, "agents") > 0.5:
        yield _Guess(column, "agent", 5, f"{column.name!r} holds words for agents")
    if column.words and sum(bool(_LINE.fullmatch(w)) for w in column.words) > len(column.words) / 2:
        yield _Guess(column, "target", 5, f"{column.name!r} holds numbers of lines")
    if column.kind == "date":
        yield _Guess(column, "date", 3, f"{column.name!r} holds dates")
    if column.kind in ("clock", "moment"):
        yield _Guess(column, "started_at", 1, f"{column.name!r} holds times")


def _confirmed(role: str, column: _Seen) -> bool:
    """Whether the cells say the same as the name."""
    if role in ("step", "agent"):
        return _share(column, f"{role}s") > 0.5
    if role == "target":
        return any(_LINE.fullmatch(word) for word in column.words)
    if role == "date" or role in TIMES:
        return column.kind in ("date", "clock", "moment")
    return role in NUMBERS and (column.kind in ("amount", "length") or bool(column.unit))


def _within(text: Sequence[str], name: Sequence[str]) -> bool:
    """Whether a usual name of more than two letters stands in a longer one, word for word."""
    size = len(text)
    if len("".join(text)) < 3:
        return False
    return any(list(name[at : at + size]) == list(text) for at in range(len(name) - size + 1))


def _may_be(role: str, column: _Seen) -> bool:
    """Whether the cells can be what the role holds."""
    kind = column.kind
    if kind == "blank":
        return True
    if role == "date":
        return kind == "date"
    if role in TIMES:
        return kind in ("clock", "moment") or (kind == "date" and role not in ("started_at", "ended_at"))
    if role in NUMBERS:
        return kind in ("number", "amount") or (role == "duration_s" and kind in ("length", "clock"))
    if role in ("step", "agent", "performed_by", "verified_by", "target"):
        return kind in ("text", "number") if role == "target" else kind == "text"
    return kind not in ("clock", "moment", "date")


def _share(column: _Seen, table: str) -> float:
    known = {fold(word) for words in aliases()[table].values() for word in words}
    return sum(fold(w) in known for w in column.words) / len(column.words) if column.words else 0.0


@dataclass
class _Group:
    """Columns of one step of a wide row: what stands before `from`, `to` or `min`, and the column for each."""

    prefix: str
    columns: dict[str, _Seen]


def _wide(columns: Sequence[_Seen], guesses: Mapping[str, _Guess]) -> list[_Group]:
    """The steps of a wide row: at least two prefixes with the same endings, and no column that names the step."""
    groups: dict[str, _Group] = {}
    for column in columns:
        head, _, tail = column.name.strip().rpartition(" ")
        role = _PAIR.get(tail.casefold().strip("()."))
        if role and head:
            groups.setdefault(fold(head), _Group(head, {})).columns.setdefault(role, column)
        elif _LINE.fullmatch(column.name.strip()) and column.kind in ("number", "length", "clock"):
            role = "started_at" if column.kind == "clock" else "duration_s"
            groups.setdefault(fold(column.name), _Group(column.name, {})).columns.setdefault(role, column)
    if len(groups) < 2 or ("step" in guesses and guesses["step"].score >= 5):
        return []
    return list(groups.values())


# --- writing --------------------------------------------------------------------------------------------------------


class _Columns:
    """Writes the columns, constants, values and steps of a draft."""

    def __init__(
        self, draft: _Draft, columns: Sequence[_Seen], guesses: dict[str, _Guess], wide: Sequence[_Group]
    ) -> None:
        self.draft = draft
        self.wide = wide
        grouped = {c.name for group in wide for c in group.columns.values()}
        self.guesses = {role: g for role, g in guesses.items() if g.column.name not in grouped}
        used = {g.column.name for g in self.guesses.values()} | grouped
        self.unused = [c.name for c in columns if c.name not in used and not c.name.endswith("[]")]
        self.names = {c.name: c for c in columns}

    def write(self) -> None:
        in_step = {"concentration_ppm", "temperature_c", "ph", "verified_by"} if self.wide else set()
        self.draft.say(2, "columns:")
        for role, guess in self.guesses.items() if self.guesses else ():
            if role not in in_step and role not in ("date", *(("started_at", "ended_at") if self.wide else ())):
                self._column(3, role, guess)
        date = self.guesses.get("date")
        if date is not None and not self.wide and "started_at" not in self.guesses:
            self.draft.open(3, "started_at: ?", f"{date.column.name!r} holds days; no column holds the time of day")
        store, machine = self.guesses.get("store_id"), self.guesses.get("equipment_id")
        if store is not None and machine is not None:
            both = f"[{_text(store.column.name)}, {_text(machine.column.name)}]"
            self.draft.open(
                3, f'equipment_id: {{join: {both}, with: "-"}}', "? if machines are numbered anew in every store"
            )
        self._constants()
        self._values("step", STEPS, "steps")
        self._values("agent", AGENTS, "agents")
        self._targets()
        if self.wide:
            self._steps()
        if self.unused:
            shown = ", ".join(_shown(name) for name in self.unused[:_MOST_LISTED])
            self.draft.say(2, f"# not used: {shown}")

    def _column(self, depth: int, role: str, guess: _Guess, day: _Seen | None = None) -> None:
        sure = SURE if guess.score >= 7 else LIKELY if guess.score >= 4 else GUESS
        column = guess.column
        if role in TIMES and column.kind == "clock":
            self._clock(depth, role, column, guess.why, sure, day)
        elif role in ("duration_s", "temperature_c", "concentration_ppm", "hardness_ppm"):
            self._measured(depth, role, column, guess.why, sure)
        else:
            self.draft.say(depth, f"{role}: {_text(column.name)}", guess.why, sure)

    def _clock(self, depth: int, role: str, column: _Seen, why: str, sure: str, day: _Seen | None) -> None:
        date = day or (self.guesses["date"].column if "date" in self.guesses else None)
        if date is None:
            self.draft.open(depth, f"{role}: {{date: ?, time: {_text(column.name)}}}", "no column holds the day")
            return
        self.draft.say(depth, f"{role}:", why, sure)
        self.draft.say(depth + 1, f"date: {_text(date.name)}")
        self.draft.say(depth + 1, f"time: {_text(column.name)}")
        if "night" in fold(date.name):
            self.draft.open(depth + 1, "night_until: ?", "up to which time of day is a time that of the next day?")
        elif role == "ended_at":
            self.draft.open(depth + 1, "after: started_at", "? if an end before its start is on the next day")

    def _measured(self, depth: int, role: str, column: _Seen, why: str, sure: str) -> None:
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

    def _constants(self) -> None:
        asked = {"store_id": "which store is it?", "equipment_id": "which machine is it?",
                 "procedure": "what is the pack's procedure called? (cip-audit rules list)"}  # fmt: skip
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
        if "    values:" not in self.draft.lines:
            self.draft.say(2, "values:")

    def _targets(self) -> None:
        guess = self.guesses.get("target")
        if guess is None:
            return
        cells = [c for c in _once(guess.column.words) if not re.fullmatch(r"line-\d+", c)]
        lines = [(c, found[1]) for c in cells if (found := _LINE.fullmatch(c))]
        if not lines:
            return
        self._head()
        self.draft.say(3, "target:")
        for cell, number in lines[:_MOST_LISTED]:
            self.draft.say(4, f"{_text(cell)}: line-{number}", "looks like the number of a line", LIKELY)
        for cell in [c for c in cells if not _LINE.fullmatch(c)][:_MOST_LISTED]:
            self.draft.open(4, f"{_text(cell)}: ?", "which part is it?")

    def _steps(self) -> None:
        known = {fold(text): word for word, texts in aliases()["steps"].items() for text in texts}
        lines = [g for g in self.wide if _LINE.fullmatch(g.prefix)]
        others = [g for g in self.wide if not _LINE.fullmatch(g.prefix)]
        mixing = next((g for g in others if known.get(fold(g.prefix)) in ("test_solution", "mix_solution")), None)
        checking = next((g for g in others if known.get(fold(g.prefix)) == "verify"), None)
        self.draft.say(2, "steps:", "a row holds several steps", LIKELY)
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

    def _at(self, group: _Group) -> int:
        return list(self.names).index(next(iter(group.columns.values())).name)

    def _lines(self, lines: Sequence[_Group]) -> None:
        targets = ", ".join(f"line-{_LINE.fullmatch(g.prefix)[1]}: {_text(g.prefix)}" for g in lines)  # type: ignore[index]
        self.draft.say(3, f"- targets: {{{targets}}}", "numbers of lines in the names", LIKELY)
        self.draft.say(4, "constants:")
        self.draft.open(5, "step: ?", "what was done to the lines?")
        self.draft.open(5, "agent: ?", "with what?")
        self.draft.say(4, "columns:")
        first = lines[0]
        for role, column in first.columns.items():
            starred = _Seen("*" + column.name[len(first.prefix) :], column.words, column.kind, column.unit)
            self._column(5, role, _Guess(starred, role, 4, f"named like {column.name!r}"))

    def _step(self, group: _Group, known: Mapping[str, str], mixing: _Group | None, checking: _Group | None) -> None:
        word = known.get(fold(group.prefix))
        self.draft.say(3, "- constants:")
        if word is not None:
            self.draft.say(5, f"step: {word}", f"{group.prefix!r} is a usual word for it", LIKELY)
        else:
            self.draft.open(5, "step: ?", f"what was done to {group.prefix!r}?")
            self.draft.say(5, f"target: {_text(fold(group.prefix))}", "the name before the time", GUESS)
        self.draft.open(5, "agent: ?", "with what?")
        self.draft.say(4, "columns:")
        for role, column in group.columns.items():
            self._column(5, role, _Guess(column, role, 4, f"named {column.name!r}"))
        if group is mixing:
            for role in ("concentration_ppm", "temperature_c", "ph"):
                if role in self.guesses:
                    self._column(5, role, self.guesses[role])
        if group is checking and "verified_by" in self.guesses:
            self._column(5, "verified_by", self.guesses["verified_by"])


def _reading(draft: _Draft, read: FileRead) -> None:
    seen = read.told.get("seen", {})
    if seen.get("encoding"):
        draft.say(2, f"encoding: {seen['encoding']}", "the bytes are no UTF-8 text", GUESS)
    if seen.get("records"):
        draft.say(2, f"records: {_text(seen['records'])}", "the longest list of records", LIKELY)
    if read.format in ("csv", "xlsx"):
        draft.say(2, f"# the header was found in row {seen.get('header_row', 1)}")
        if seen.get("header_rows", 1) > 1:
            draft.say(2, f"header_rows: {seen['header_rows']}", "names that repeat under titles", LIKELY)


def _style(
    draft: _Draft, columns: Sequence[_Seen], dates: str | None, yearless: bool, why: str, decimal: str | None
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


def _rows(draft: _Draft, tables: Sequence[ParsedTable], columns: Sequence[_Seen]) -> None:
    blank, totals = ({fold(w) for w in aliases()[key]} for key in ("blanks", "totals"))
    marks: dict[str, None] = {}
    skips: dict[str, dict[str, None]] = {}
    merged: dict[str, None] = {}
    for table in tables:
        for name, column in table.texts.items():
            used = {column.vocabulary[c].strip() for c in np.unique(column.codes[column.codes >= 0]).tolist()}
            marks.update(dict.fromkeys(sorted(w for w in used if fold(w) in blank)))
            found = sorted(w for w in used if fold(w) in totals)
            if found:
                skips.setdefault(name, {}).update(dict.fromkeys(found))
        merged.update(dict.fromkeys(d.column for d in table.defects if d.code == "merged_blank"))
    if marks:
        draft.say(2, f"blanks: [{', '.join(map(_text, marks))}]", "cells that say that there is nothing", LIKELY)
    if merged:
        draft.say(2, f"fill_down: [{', '.join(map(_text, merged))}]", "merged cells stand over several rows", LIKELY)
    if skips:
        draft.say(2, "skip:", "lines that sum up", LIKELY)
        for name, words in skips.items():
            draft.say(3, f"- {{column: {_text(name)}, equals: [{', '.join(map(_text, words))}]}}")


def _first_with(columns: Sequence[_Seen], mark: str) -> str:
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
