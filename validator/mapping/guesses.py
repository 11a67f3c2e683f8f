"""Which of our columns could a column of an export be? By its name against the usual ones, and by what it holds."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from validator.mapping.aliases import aliases, bare, could_be, fold, tokens
from validator.mapping.looks import Seen
from validator.tables import NUMBERS, TIMES

_CLOSE = 0.84
_NAMED = 6
"""The score of a column that bears a usual name."""
LINE = re.compile(r"(?:l|line|ltg|leitung|tap|valve)[ ._-]?0*(\d{1,3})", re.IGNORECASE)
"""How lines are numbered."""
_UNCLEAR = 5
"""The score of a column whose name is in use for several of ours: a name that means one goes before it."""
_VOLUMES = re.compile(
    r"(us_|imp_)?(gal|gallons?|fl\.?[ _]?oz|oz|ounces?|ml|l|liters?|litres?|qt|quarts?|pt|pints?|g|kg|lb)",
    re.IGNORECASE,
)
_PATH = re.compile(r"\w\.\w|\]")


@dataclass
class Guess:
    """A canonical column proposed for a column of the export, with how sure it is and why.

    `doubt` names the canonical columns that it could be as well as this one, by its name and its cells.
    """

    column: Seen
    role: str
    score: int
    why: str
    doubt: tuple[str, ...] = ()


def assign(columns: Sequence[Seen]) -> dict[str, Guess]:
    """For each canonical column (and `date`) the export's column that fits it best; each is used once."""
    options = [guess for column in columns for guess in (*_options(column), *_cycles(column, columns))]
    order = {column.name: at for at, column in enumerate(columns)}
    # of times in paths that fit as well the one through more lists stands: it is the step's, not the cleaning's
    depth = {guess.column.name: guess.column.name.count("[]") for guess in options}
    options.sort(
        key=lambda g: (-g.score, -depth[g.column.name] if g.role in TIMES else 0, order[g.column.name], g.role)
    )
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
            if mine is not None and guess.score == mine.score >= _UNCLEAR:
                found.setdefault(guess.role, []).append(column.name)
    return found


def _cycles(column: Seen, columns: Sequence[Seen]) -> Iterable[Guess]:
    """What is called `id` and stands over a list, or on several rows, may be the cleaning's."""
    if tokens(column.name) == ["id"]:
        if any("[]" in other.name for other in columns):
            yield Guess(column, "cycle_id", 3, f"{column.name!r} stands above a list of what was done")
        elif column.filled > len(column.words):
            yield Guess(column, "cycle_id", 3, f"{column.name!r} is the same in several rows")


def _by_unclear_name(column: Seen, names: Sequence[str]) -> Iterable[Guess]:
    """A name in use for several: the cells may leave one of them, which is then likely and never sure."""
    fitting = [role for role in names if _may_be(role, column) and not (role == "procedure" and _numbered(column))]
    settled = [role for role in fitting if _confirmed(role, column)] if column.words else []
    left = settled if len(settled) == 1 else fitting
    for role in left:
        why = f"{column.name!r} could be {' or '.join(names)}"
        if len(left) > 1:
            yield Guess(column, role, _UNCLEAR, f"{why}; say which", tuple(left))
        else:
            yield Guess(column, role, _UNCLEAR, f"{why} by its name, and its cells fit {role} alone")


def _numbered(column: Seen) -> bool:
    """Whether most cells bear a number, as cleanings do and procedures seldom."""
    return 2 * sum(any(c.isdigit() for c in word) for word in column.words) > len(column.words) > 1


def _options(column: Seen) -> Iterable[Guess]:
    meant = () if _PATH.search(column.name) else could_be(column.name)
    if column.unit and not set(meant) & set(NUMBERS):
        meant = ()  # what bears a unit is measured
    if len(meant) > 1:
        yield from _by_unclear_name(column, meant)
    else:
        yield from _by_name(column)
    yield from _by_cells(column)


def _by_name(column: Seen) -> Iterable[Guess]:
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


def _by_cells(column: Seen) -> Iterable[Guess]:
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
    if column.kind == "length":
        yield Guess(column, "duration_s", 3, f"{column.name!r} holds lengths of time")


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
    if role in ("product_unit", "water_unit"):
        return kind == "text" and all(_VOLUMES.fullmatch(word) for word in column.words)
    if role in TIMES:
        return kind in ("clock", "moment", "epoch") or (kind == "date" and role not in ("started_at", "ended_at"))
    if role in NUMBERS:
        return kind in ("number", "amount") or (role == "duration_s" and kind in ("length", "clock"))
    if role == "target":  # lines have numbers, none of which has a fraction
        return kind == "text" or (kind == "number" and all(word.isdigit() for word in column.words))
    if role in ("step", "agent", "performed_by", "verified_by"):
        return kind == "text"
    return kind not in ("clock", "moment", "date")


def _share(column: Seen, table: str) -> float:
    known = {fold(word) for words in aliases()[table].values() for word in words}
    return sum(fold(w) in known for w in column.words) / len(column.words) if column.words else 0.0
