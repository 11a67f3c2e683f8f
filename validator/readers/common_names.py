"""Which columns bear a common name instead of the canonical one? Those that can mean one thing alone; the others are told.

Nothing is converted: a column in another unit than ours, or in none where ours has one, is not ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from validator.mapping.aliases import aliases, could_be, fold, unit_of
from validator.tables import CANONICAL, COMMON_NAMES, FREE_TEXT, NUMBERS, STEPS, UNITS, ParsedTable

DRAFT = "`cip-audit mapping draft FILE`"
_UNREAD = {
    "ambiguous_datetime", "bad_datetime", "implausible_datetime", "bad_number", "unit_in_cell", "bad_type",
}  # fmt: skip
"""Codes of cells that are written in a way which a mapping may state."""
_LISTED = 8


@dataclass
class Found:
    """The canonical column at each position, and what stands in the way of the others.

    `open` names, for each doubtful position, what its column could be; `doubts` say it in words.
    """

    columns: dict[int, str] = field(default_factory=dict)
    open: dict[int, tuple[str, ...]] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)

    @property
    def said(self) -> set[str]:
        """Every canonical column that one of these could be."""
        return {*self.columns.values(), *(name for names in self.open.values() for name in names)}


def by_common_names(cells: Mapping[int, str], taken: Iterable[str]) -> Found:
    """What columns with other names are, beside those canonical ones that are `taken` already."""
    found = Found()
    gone = set(taken)
    sure: dict[str, list[int]] = {}
    unsure: list[tuple[int, tuple[str, ...], str]] = []
    for at, cell in cells.items():
        names, why = _meaning(cell)
        names = tuple(name for name in names if name not in gone)
        if why and names:
            unsure.append((at, names, why))
        elif names:
            sure.setdefault(names[0], []).append(at)
    for name, places in sure.items():
        if len(places) == 1:
            found.columns[places[0]] = name
        else:
            shown = " and ".join(repr(cells[at].strip()[:60]) for at in places)
            found.doubts.append(f"{shown} could {'both' if len(places) == 2 else 'all'} be {name}")
            found.open |= dict.fromkeys(places, (name,))
    for at, names, why in unsure:
        left = tuple(name for name in names if name not in found.columns.values())
        if left:
            found.open[at] = left
            found.doubts.append(f"{cells[at].strip()[:60]!r} {why}")
    return found


def _meaning(cell: str) -> tuple[tuple[str, ...], str]:
    """The canonical columns that a name could be, and why that is not enough where it is not."""
    names = tuple(name for name in could_be(cell) if name not in FREE_TEXT)
    unit = unit_of(cell)
    if not names or (unit and not set(names) & set(NUMBERS)):
        return (), ""
    if names == ("date",):
        return ("started_at",), "holds days while started_at needs the day with its time"
    if names == ("temperature_c",):
        if unit in ("C", "F"):
            return ({"C": "temperature_c", "F": "temperature_f"}[unit],), ""
        return ("temperature_c", "temperature_f"), "could be temperature_c or temperature_f"
    if len(names) > 1:
        return names, f"could be {' or '.join(names)}"
    due = UNITS.get(names[0], ("",))[0]
    if unit != due and names[0] in NUMBERS:
        return names, f"is in {unit} while {names[0]} is in {due}" if unit and due else (
            f"could be {names[0]} and names no unit, which is {due}" if due else f"has a unit, and {names[0]} has none"
        )  # fmt: skip
    return names, ""


def told(cells: Sequence[str], found: Found) -> list[str]:
    """What is assumed by reading columns so, in one sentence, or nothing."""
    pairs = [f"{cells[at].strip()[:60]!r} as {name}" for at, name in sorted(found.columns.items())]
    return [COMMON_NAMES + ", ".join(pairs)] if pairs else []


def refusal(found: Found) -> str:
    """Why a file is not read: which of its columns can mean what, and what to do."""
    shown = ", ".join(found.doubts[:_LISTED])
    more = f" and {len(found.doubts) - _LISTED} more" if len(found.doubts) > _LISTED else ""
    return f"cannot be read by the names of its columns: {shown}{more}; {DRAFT} proposes a mapping in which you say what is meant"


class Hints:
    """What a mapping could mend in a file whose columns were read by common names: cells, and words for steps."""

    def __init__(self) -> None:
        self._columns: set[str] = set()
        self._words: set[str] = set()

    def seen(self, table: ParsedTable) -> ParsedTable:
        """Look at a table, or at one part of it, and hand it on."""
        self._columns |= {d.column for d in table.defects if d.code in _UNREAD and d.index >= 0}
        steps = table.texts["step"]
        self._words |= {steps.vocabulary[c] for c in np.unique(steps.codes).tolist() if c >= 0}
        return table

    def told(self) -> list[str]:
        """What must be told, once all has been seen."""
        notices = []
        if self._columns:
            shown = ", ".join(name for name in CANONICAL if name in self._columns)
            notices.append(f"cells of {shown} are not written as this program reads them without being told how; {DRAFT} "
                           "proposes a mapping that says it")  # fmt: skip
        known = {fold(text): step for step, texts in aliases()["steps"].items() for text in texts}
        words = sorted(word for word in self._words - STEPS if fold(word) in known)
        if words:
            shown = ", ".join(f"{word!r} (perhaps {known[fold(word)]})" for word in words[:_LISTED])
            more = f" and {len(words) - _LISTED} more" if len(words) > _LISTED else ""
            notices.append(f"steps are taken as they are written: {shown}{more}; {DRAFT} proposes a mapping that translates them")  # fmt: skip
        return notices
