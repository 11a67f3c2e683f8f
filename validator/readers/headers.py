"""Which column is which? A header's names against the canonical ones; what is missing, doubled or only looks right."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from validator.errors import Unreadable
from validator.tables import CANONICAL, REQUIRED, named_columns

ONE_TIME = ("started_at", "ended_at", "duration_s")
"""A record needs one of these to say when, or how long."""
HEADER_WITHIN = 20
"""Titles may stand above the header; it is looked for in this many lines."""
_NEAR = 0.85
_LISTED = 12


@dataclass(frozen=True)
class Header:
    """The canonical column at each position, and what the report must say about the names."""

    columns: dict[int, str]
    names: tuple[str, ...]
    assumptions: list[str] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


class Names:
    """The columns that a reader looks for: here the canonical ones, elsewhere those that a mapping names.

    `needed` are columns that tell a record from a blank line; `sheets` of a workbook are taken where `takes` says so.
    With `raw`, cells are handed on as text whatever they are for, numbers written with the mark of `number`; with `open`
    nothing is known of the file beforehand.
    """

    needed: tuple[str, ...] = REQUIRED
    watched: tuple[str, ...] = (*REQUIRED, *ONE_TIME)
    order: tuple[str, ...] = CANONICAL
    within = HEADER_WITHIN
    delimiter: bytes | None = None
    encoding: str | None = None
    records: str | None = None
    lists: tuple[str, ...] = ()
    raw = False
    open = False

    def takes(self, sheet: str) -> bool:
        """Whether a sheet of this name is read."""
        return True

    def named(self, header: Sequence[str]) -> dict[int, str]:
        """Which position holds which column that is looked for."""
        return named_columns(dict(enumerate(header)))

    def key(self, key: str) -> str | None:
        """The column that an object's key names, if it is looked for."""
        return named_columns({0: key}).get(0)

    def look(self, record: object) -> None:
        """See an object before it is taken apart, where the lists in it are not known beforehand."""

    def look_above(self, whole: object) -> None:
        """See an object that is the whole file, where the list of records in it is not known beforehand."""

    def is_header(self, cells: Sequence[str], row: int) -> bool:
        """Whether a line, the `row`th of its sheet, is the header."""
        return is_header(cells)

    def heads(self, cells: Sequence[str]) -> bool:
        """Whether a line below the header is one itself, wherever it stands."""
        return is_header(cells)

    def promise(self, cells: Sequence[str]) -> int:
        """How many of the names a line holds."""
        return promise(cells)

    def read(self, cells: Sequence[str], place: str = "") -> Header:
        """Match a header's names; raise `Unreadable` where one is missing or stands twice."""
        return read_header(cells, place)

    def none(self, best: Sequence[str] | None, place: str = "") -> Unreadable:
        """The refusal of a file without a header."""
        return no_header(best, place)

    def number(self, text: str) -> str:
        """A number that the container holds as one, as the text of its cell."""
        return text


CANONICAL_NAMES = Names()


def is_header(cells: Iterable[str]) -> bool:
    """Whether a line of cells holds every needed name."""
    found = set(named_columns(dict(enumerate(cells))).values())
    return found.issuperset(REQUIRED) and any(name in found for name in ONE_TIME)


def promise(cells: Iterable[str]) -> int:
    """How many canonical names a line holds: to tell which line was meant as the header."""
    return len(set(named_columns(dict(enumerate(cells))).values()))


def read_header(cells: Sequence[str], place: str = "") -> Header:
    """Match a header's names; `place` goes before a column's name in the place of a refusal (`1:`).

    Raises `Unreadable`: a needed column is missing (with the nearest name found), a column stands twice, or a name
    only looks like a canonical one.
    """
    columns = named_columns(dict(enumerate(cells)))
    found = list(columns.values())
    for name in CANONICAL:
        if found.count(name) > 1:
            raise Unreadable("duplicate_column", f"has the column {name!r} {found.count(name)} times", place + name)
    others = [cell for at, cell in enumerate(cells) if at not in columns]
    _refuse_lookalikes(others, set(found), place)
    _refuse_missing(others, set(found), place)
    renamed = [f"column {cells[at]!r} is read as {name!r}" for at, name in columns.items() if cells[at] != name]
    return Header(columns, tuple(cells), renamed, _ignored(others, set(found)))


def no_header(best: Sequence[str] | None, place: str = "") -> Unreadable:
    """The refusal of a file without a header, told from the line that came nearest to one."""
    if best is not None:
        try:
            read_header(best, place)
        except Unreadable as refusal:
            return refusal
    why = f"has no line within the first {HEADER_WITHIN} that names the columns {', '.join(REQUIRED)}"
    return Unreadable("missing_column", why, place + REQUIRED[0])


def _refuse_lookalikes(others: Iterable[str], found: set[str], place: str) -> None:
    for cell in others:
        for name in CANONICAL:
            if name not in found and _looks_like(cell, name):
                points = ", ".join(f"U+{ord(c):04X}" for c in cell if not c.isascii())
                needed = "missing_column" if name in REQUIRED else "confusable_column"
                raise Unreadable(
                    needed, f"has no column {name!r}, only one that looks like it but holds {points}", place + name
                )


def _looks_like(cell: str, name: str) -> bool:
    """Equal but for invisible characters, or but for letters of another alphabet in the places of Latin ones."""
    text = cell.strip().casefold()
    if text.isascii():
        return False
    visible = "".join(c for c in text if unicodedata.category(c) != "Cf")
    if visible == name:
        return True
    if len(visible) != len(name):
        return False
    pairs = list(zip(visible, name, strict=True))
    return any(a == b for a, b in pairs) and all(a == b or _foreign(a) for a, b in pairs)


def _foreign(character: str) -> bool:
    return character.isalpha() and not unicodedata.name(character, "LATIN").startswith("LATIN")


def _refuse_missing(others: Sequence[str], found: set[str], place: str) -> None:
    for name in REQUIRED:
        if name not in found:
            raise Unreadable("missing_column", f"has no column {name!r}{_nearest(name, others)}", place + name)
    for name in ("started_at", "ended_at"):
        if name not in found and difflib.get_close_matches(name, _folded(others), 1, _NEAR):
            # a column of times that is passed over would turn measured ends into missing ones
            raise Unreadable("missing_column", f"has no column {name!r}{_nearest(name, others)}", place + name)
    if not any(name in found for name in ONE_TIME):
        raise Unreadable(
            "missing_column",
            f"has none of the columns {', '.join(ONE_TIME)}{_nearest(ONE_TIME[0], others)}",
            place + ONE_TIME[0],
        )


def _folded(cells: Iterable[str]) -> list[str]:
    return [cell.strip().casefold() for cell in cells]


def _nearest(name: str, others: Sequence[str]) -> str:
    near = difflib.get_close_matches(name, _folded(others), 1, 0.5)
    return f"; the nearest one found is {others[_folded(others).index(near[0])].strip()!r}" if near else ""


def _ignored(others: Sequence[str], found: set[str]) -> list[str]:
    named = [cell.strip() for cell in others if cell.strip()]
    notices = []
    if named:
        more = f" and {len(named) - _LISTED} more" if len(named) > _LISTED else ""
        notices.append(f"columns not used: {', '.join(repr(n[:60]) for n in named[:_LISTED])}{more}")
    for cell in named[:_LISTED]:
        near = difflib.get_close_matches(cell.casefold(), [n for n in CANONICAL if n not in found], 1, _NEAR)
        if near:
            notices.append(f"column {cell!r} is not used; if {near[0]!r} is meant, rename it")
    if len(named) < len(others):
        notices.append(f"columns without a name, not used: {len(others) - len(named)}")
    return notices
