"""Why is a column of an export left out of a draft? In plain words: what its cells are, and what its name can mean."""

from __future__ import annotations

from collections.abc import Mapping

from validator.mapping.aliases import could_be, tokens
from validator.mapping.guesses import Guess
from validator.mapping.lines import shown
from validator.mapping.looks import NOUNS, Seen

_ONE = {
    "number": "number",
    "clock": "time of day",
    "date": "date",
    "moment": "date with a time of day",
    "amount": "number with a unit",
}
_UNKNOWN = "its name is none that is known"


def why_left(column: Seen, guesses: Mapping[str, Guess]) -> str:
    """The reason, for a column that stands in no other line of the draft."""
    if column.kind == "object":
        return "an object, whose parts are columns of their own"
    held = _held(column)
    meant = could_be(column.name)
    taken = [
        (role, guesses[role].column.name)
        for role in meant
        if role in guesses and guesses[role].column.name != column.name
    ]
    if taken:
        return f"{held}; it could be {' or '.join(meant)}, and {' and '.join(f'{shown(name)} is taken for {role}' for role, name in taken)}"
    if tokens(column.name) == ["id"] and column.words:
        return f"{held}; it is another one in every row, so that it tells rows apart and no cleanings"
    if any(guesses[role].column is column for role in meant if role in guesses):
        return f"{held}; no column of times needs it"
    if meant and column.words:
        return f"{held}; by its name it could be {' or '.join(meant)}, which does not fit them"
    return f"{held}; {'it has no name' if column.name.startswith('#') else _UNKNOWN}"


def _held(column: Seen) -> str:
    """What the cells are, with an example."""
    if not column.words:
        return "every cell is blank" if not column.places else "every cell says that there is nothing"
    example = shown(column.words[0])
    if column.odd:
        return column.oddities + (
            f", which is no {_ONE[column.near]}" if column.near in _ONE and len(column.odd) == 1 else ""
        )
    if column.kind == "number":
        parted = [word for word in column.words if "." in word or "," in word]
        return f"numbers with a fraction such as {shown(parted[0])}" if parted else f"numbers such as {example}"
    return f"{NOUNS[column.kind]} such as {example}"
