"""What do the names and contents of an export's columns suggest? What each holds, which of ours it could be, which are steps."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.mapping.aliases import aliases, bare, could_be, fold, tokens, unit_of
from validator.mapping.apply import LONGEST
from validator.mapping.values import NotRead, Style, read_clock, read_date, read_length, read_moment
from validator.tables import NUMBERS, TIMES, ParsedTable

_MOST_WORDS = 400
_CLOSE = 0.84
_NAMED = 6
"""The score of a column that bears a usual name."""
LINE = re.compile(r"(?:l|line|ltg|leitung|tap|valve)[ ._-]?0*(\d{1,3})", re.IGNORECASE)
"""How lines are numbered."""
_PAIR = {"from": "started_at", "start": "started_at", "started": "started_at", "to": "ended_at", "end": "ended_at",
         "ended": "ended_at", "finished": "ended_at", "min": "duration_s", "minutes": "duration_s"}  # fmt: skip
_DONE = {"done", "ok", "tick", "ticked", "✓", "flushed", "rinsed", "cleaned", "sanitized"}
_PATH = re.compile(r"\w\.\w|\]")
_INITIALS = re.compile(r"[^\W\d_]{2,3}|(?:[^\W\d_]\.){2,3}")


@dataclass
class Seen:
    """One column of the export: its distinct cells, and what they look like."""

    name: str
    words: list[str]
    kind: str = ""
    unit: str = ""


@dataclass
class Guess:
    """A canonical column proposed for a column of the export, with how sure it is and why."""

    column: Seen
    role: str
    score: int
    why: str


def columns_of(tables: Sequence[ParsedTable]) -> list[Seen]:
    found: dict[str, dict[str, None]] = {}
    for table in tables:
        sums = _sums(table) | footers(table)[1]
        for name, column in table.texts.items():
            codes = column.codes[~sums]
            here = [column.vocabulary[c] for c in np.unique(codes[codes >= 0])[:_MOST_WORDS].tolist()]
            found.setdefault(name, {}).update(dict.fromkeys(w.strip() for w in here if w.strip()))
    blank = {fold(word) for word in aliases()["blanks"]}
    seen = []
    for name, words in found.items():
        if not words and any(other.startswith(f"{name}.") for other in found):
            continue  # null where an object stands in other records
        kept = [w for w in words if fold(w) not in blank][:_MOST_WORDS]
        if kept or words or name:
            seen.append(Seen(name, kept, _kind(kept), unit_of(name)))
    return [c for c in seen if not c.name.startswith("#") or c.words]


def footers(table: ParsedTable) -> tuple[dict[str, dict[str, None]], npt.NDArray[np.bool_]]:
    """Lines that say who printed what: the usual word that each begins with, by its column, and their rows.

    Such a line fills no other cell.
    """
    usual = tuple(fold(word) for word in aliases()["footers"])
    filled = np.zeros(len(table.rows), dtype=np.int32)
    for column in table.texts.values():
        filled += column.codes >= 0
    words: dict[str, dict[str, None]] = {}
    rows = np.zeros(len(table.rows), dtype=bool)
    for name, column in table.texts.items():
        begins = {c: w.split()[0] for c, w in enumerate(column.vocabulary) if fold(w).startswith(usual)}
        mine = np.isin(column.codes, list(begins)) & (filled == 1)
        if mine.any():
            words[name] = dict.fromkeys(begins[c] for c in np.unique(column.codes[mine]).tolist())
            rows |= mine
    return words, rows


def _sums(table: ParsedTable) -> npt.NDArray[np.bool_]:
    """Which rows sum up others: a cell of theirs says so."""
    totals = {fold(word) for word in aliases()["totals"]}
    found = np.zeros(len(table.rows), dtype=bool)
    for column in table.texts.values():
        found |= np.array([*(fold(word) in totals for word in column.vocabulary), False], dtype=bool)[column.codes]
    return found


_DATE = re.compile(r"\d{1,2}[./-]\d{1,2}[./-](\d{2}|\d{4})|\d{4}[./-]\d{1,2}[./-]\d{1,2}")


def _kind(words: Sequence[str]) -> str:
    """What most of the cells look like: tick, epoch, date, clock, moment, length, number, amount, or text."""
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
    if all(re.fullmatch(r"1\d{9}|1\d{12}", word) for word in words):
        return "epoch"
    ticks = {fold(word) for marks in aliases()["ticks"].values() for word in marks}
    if all(fold(word) in ticks for word in words):
        return "tick"
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


def date_order(columns: Sequence[Seen]) -> tuple[str | None, bool, str]:
    """The one order of day and month in which every date can be read; None where two can, or none is needed."""
    words = [w for c in columns for w in c.words]
    if all(_reads(read_date, w, Style()) or _reads(read_moment, w, Style()) for w in words):
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


def decimal_mark(columns: Sequence[Seen]) -> str | None:
    """The decimal mark that numbers show: None where it cannot be told, nothing where no number has one."""
    cells = [w for c in columns if c.kind in ("number", "amount") for w in c.words]
    comma = any(re.match(r"[+-]?\d+,(\d{1,2}|\d{4,})\b", w) for w in cells)
    point = any(re.match(r"[+-]?\d+\.(\d{1,2}|\d{4,})\b", w) for w in cells)
    three = any(re.match(r"[+-]?\d{1,3},\d{3}\b", w) for w in cells)
    if comma and not point:
        return ","
    return None if three and not point else "."


def assign(columns: Sequence[Seen]) -> dict[str, Guess]:
    """For each canonical column (and `date`) the export's column that fits it best; each is used once."""
    options = [guess for column in columns for guess in _options(column)]
    order = {column.name: at for at, column in enumerate(columns)}
    options.sort(key=lambda g: (-g.score, order[g.column.name], g.role))
    best: dict[str, Guess] = {}
    taken: set[str] = set()
    for guess in options:
        if guess.role not in best and guess.column.name not in taken:
            best[guess.role] = guess
            taken.add(guess.column.name)
    return {role: best[role] for role in aliases()["columns"] if role in best}


def rivals(guesses: Mapping[str, Guess], left: Sequence[Seen]) -> dict[str, list[str]]:
    """For each canonical column the names of those left over that fit it as well as the one that stands first.

    Of paths into JSON the first stands: the last key of many is `id` or `name`.
    """
    found: dict[str, list[str]] = {}
    for column in left:
        if _PATH.search(column.name):
            continue
        for guess in _options(column):
            mine = guesses.get(guess.role)
            if mine is not None and guess.score == mine.score >= _NAMED:
                found.setdefault(guess.role, []).append(column.name)
    return found


def _options(column: Seen) -> Iterable[Guess]:
    known: Mapping[str, Sequence[str]] = aliases()["columns"]
    words = tokens(column.name)
    path = _PATH.search(column.name) is not None
    last = tokens(re.split(r"[.\]]", column.name)[-1]) if path else words
    short = bare(last)
    whole = [words, last]
    for role, names in known.items():
        if not _may_be(role, column):
            continue
        texts = [tokens(name) for name in (*names, role)]
        # what bears a unit is measured: of other columns it is not the name without the unit
        if any(t in texts for t in (*whole, *([short] if role in NUMBERS or not column.unit else []))):
            yield Guess(column, role, _NAMED + _confirmed(role, column), f"named {column.name!r}")
        elif any(_within(text, last) for text in texts if text) and (role in NUMBERS or not column.unit):
            yield Guess(column, role, 4, f"its name {column.name!r} holds a usual one")
        elif path and any(_within(text, words) for text in texts if text):
            yield Guess(column, role, 3, f"its path {column.name!r} holds a usual name")
        elif role == "temperature_c" and "°" in column.name and column.unit in ("C", "F"):
            yield Guess(column, role, 4, f"its name {column.name!r} holds a scale of temperature")
        elif (role in NUMBERS or not column.unit) and difflib.get_close_matches(
            " ".join(short), [" ".join(t) for t in texts], 1, _CLOSE
        ):
            yield Guess(column, role, 2, f"its name {column.name!r} is close to a usual one")
    if _share(column, "steps") > 0.5:
        yield Guess(column, "step", 5, f"{column.name!r} holds words for steps")
    if _share(column, "agents") > 0.5:
        yield Guess(column, "agent", 5, f"{column.name!r} holds words for agents")
    if column.words and sum(bool(LINE.fullmatch(w)) for w in column.words) > len(column.words) / 2:
        yield Guess(column, "target", 5, f"{column.name!r} holds numbers of lines")
    if column.kind == "date":
        yield Guess(column, "date", 3, f"{column.name!r} holds dates")
    if column.kind in ("clock", "moment", "epoch"):
        yield Guess(column, "started_at", 1, f"{column.name!r} holds times")


def _confirmed(role: str, column: Seen) -> bool:
    """Whether the cells say the same as the name."""
    if role in ("step", "agent"):
        return _share(column, f"{role}s") > 0.5
    if role == "target":
        return any(LINE.fullmatch(word) for word in column.words)
    if role == "date" or role in TIMES:
        return column.kind in ("date", "clock", "moment", "epoch")
    return role in NUMBERS and (column.kind in ("amount", "length") or bool(column.unit))


def _within(text: Sequence[str], name: Sequence[str]) -> bool:
    """Whether a usual name of more than two letters stands in a longer one, word for word."""
    size = len(text)
    if len("".join(text)) < 3:
        return False
    return any(list(name[at : at + size]) == list(text) for at in range(len(name) - size + 1))


def _may_be(role: str, column: Seen) -> bool:
    """Whether the cells can be what the role holds."""
    kind = column.kind
    if kind == "blank":
        return True
    if role == "date":
        return kind == "date"
    if role in TIMES:
        return kind in ("clock", "moment", "epoch") or (kind == "date" and role not in ("started_at", "ended_at"))
    if role in NUMBERS:
        return kind in ("number", "amount") or (role == "duration_s" and kind in ("length", "clock"))
    if role in ("step", "agent", "performed_by", "verified_by", "target"):
        return kind in ("text", "number") if role == "target" else kind == "text"
    return kind not in ("clock", "moment", "date")


def _share(column: Seen, table: str) -> float:
    known = {fold(word) for words in aliases()[table].values() for word in words}
    return sum(fold(w) in known for w in column.words) / len(column.words) if column.words else 0.0


@dataclass
class Group:
    """Columns of one step of a wide row: what stands before `from`, `to` or `min`, the column for each, and that of its tick."""

    prefix: str
    columns: dict[str, Seen]
    tick: Seen | None = None

    @property
    def all(self) -> list[Seen]:
        """Every column of the step."""
        return [*self.columns.values(), *([self.tick] if self.tick is not None else [])]


def wide_groups(columns: Sequence[Seen], guesses: Mapping[str, Guess]) -> list[Group]:
    """The steps of a wide row: at least two prefixes with the same endings, and no column that names the step."""
    groups: dict[str, Group] = {}
    for column in columns:
        head, _, tail = column.name.strip().rpartition(" ")
        role = _PAIR.get(tail.casefold().strip("()."))
        if role and head:
            groups.setdefault(fold(head), Group(head, {})).columns.setdefault(role, column)
        elif LINE.fullmatch(column.name.strip()) and column.kind in ("number", "length", "clock"):
            role = "started_at" if column.kind == "clock" else "duration_s"
            groups.setdefault(fold(column.name), Group(column.name, {})).columns.setdefault(role, column)
        elif column.kind == "tick":
            named = head if head and fold(tail.strip("().")) in _DONE else column.name.strip()
            groups.setdefault(fold(named), Group(named, {})).tick = column
        elif column.kind in ("text", "blank") and _is_step(column.name) and _holds_initials(column):
            groups.setdefault(fold(column.name), Group(column.name.strip(), {})).columns["performed_by"] = column
    if len(groups) < 2 or ("step" in guesses and guesses["step"].score >= 5):
        return []
    if "step" in guesses and not any(group.columns or _is_step(group.prefix) for group in groups.values()):
        return []  # a long log with a few columns of yes and no
    return list(groups.values())


def _is_step(name: str) -> bool:
    """Whether a column is named like a line or like something that is done."""
    steps = {fold(text) for texts in aliases()["steps"].values() for text in texts}
    return bool(LINE.fullmatch(name.strip())) or (fold(name) in steps and not could_be(name))


def _holds_initials(column: Seen) -> bool:
    """Whether all cells are the initials of people: who ticked a step off."""
    return bool(column.words) and all(_INITIALS.fullmatch(word) for word in column.words)
