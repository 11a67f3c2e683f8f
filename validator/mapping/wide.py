"""Which columns of a wide row are steps? Names with the same endings, ticks, and initials in columns named like a step."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from validator.mapping.aliases import aliases, could_be, fold
from validator.mapping.guesses import LINE, Guess
from validator.mapping.looks import Seen

_PAIR = {"from": "started_at", "start": "started_at", "started": "started_at", "to": "ended_at", "end": "ended_at",
         "ended": "ended_at", "finished": "ended_at", "min": "duration_s", "minutes": "duration_s"}  # fmt: skip
_DONE = {"done", "ok", "tick", "ticked", "✓", "cleaned"}
"""What stands behind the name of a step or a part whose tick says that it was done, and says nothing of the step."""
_INITIALS = re.compile(r"[^\W\d_]{2,3}|(?:[^\W\d_]\.){2,3}")


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
        elif column.kind in ("clock", "length") and _is_step(column.name):
            role = "started_at" if column.kind == "clock" else "duration_s"
            groups.setdefault(fold(column.name), Group(column.name.strip(), {})).columns[role] = column
        elif column.kind in ("text", "blank") and _is_step(column.name) and _holds_initials(column):
            groups.setdefault(fold(column.name), Group(column.name.strip(), {})).columns["performed_by"] = column
    if len(groups) < 2 or ("step" in guesses and guesses["step"].score >= 5 and not guesses["step"].doubt):
        return []
    if "step" in guesses and not any(group.columns or _is_step(group.prefix) for group in groups.values()):
        return []  # a long log with a few columns of yes and no
    return list(groups.values())


def step_of(name: str) -> tuple[str | None, str]:
    """What a column of ticks or times says by its name was done, and to what: `Nozzles washed` is wash, of nozzles.

    A name that is no usual word is that of what it was done to.
    """
    known = {fold(text): word for word, texts in aliases()["steps"].items() for text in texts}
    if fold(name) in known:
        step = known[fold(name)]
        part = fold(name).rpartition(" ")[0]
        return step, part if part in ("line", "lines", "parts") else ""
    part, _, last = fold(name).rpartition(" ")
    return (known[last], part) if part and last in known else (None, fold(name))


def _is_step(name: str) -> bool:
    """Whether a column is named like a line or like something that is done."""
    steps = {fold(text) for texts in aliases()["steps"].values() for text in texts}
    return bool(LINE.fullmatch(name.strip())) or (
        (fold(name) in steps or fold(name).rpartition(" ")[2] in steps) and not could_be(name)
    )


def _holds_initials(column: Seen) -> bool:
    """Whether all cells are the initials of people: who ticked a step off."""
    return bool(column.words) and all(_INITIALS.fullmatch(word) for word in column.words)
