"""Which column is which? A header's names against the canonical ones; what is missing, doubled or only looks right."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from validator.errors import Unreadable
from validator.tables import CANONICAL, ONE_TIME, REQUIRED, Heading, named_columns

if TYPE_CHECKING:
    from validator.readers.common_names import Found

HEADER_WITHIN = 20
"""Titles may stand above the header; it is looked for in this many lines."""
NOT_NAMED = "is not read: the mapping does not name it"
"""How the notice ends that tells of a sheet which a mapping leaves aside."""
_NEAR = 0.85
_LISTED = 12


@dataclass(frozen=True)
class Header:
    """The canonical column at each position, and what the report must say about the names."""

    columns: dict[int, str]
    names: tuple[str, ...]
    assumptions: list[str] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    @property
    def headings(self) -> dict[str, Heading]:
        """The columns that were found under a name that is not their own."""
        named = ((name, self.names[at].strip()) for at, name in self.columns.items())
        return {name: (heading, "") for name, heading in named if heading.casefold() != name.casefold()}


Spans = Sequence[Sequence[tuple[int, int]]] | None
"""For each line the first and last position of its merged cells; None where a file has no such thing."""


def joined(lines: Sequence[Sequence[str]], spans: Spans = None) -> list[str]:
    """The names of a header over several rows: `Line 1` above `start` is `Line 1 start`.

    A title stands for the blanks to its right that have a name beneath them; where cells are merged, for those alone.
    The same word above itself counts once.
    """
    width = max(map(len, lines))
    names = [" ".join(cell.split()) for cell in lines[-1]] + [""] * (width - len(lines[-1]))
    for number in range(len(lines) - 2, -1, -1):
        own = [" ".join(cell.split()) for cell in lines[number]] + [""] * (width - len(lines[number]))
        covers = list(own)
        if spans is None:
            for at in range(1, width):
                covers[at] = own[at] or covers[at - 1]
        else:
            for first, last in spans[number]:
                covers[first : last + 1] = [own[first]] * (min(last, width - 1) - first + 1)
        titles = [own[at] or (covers[at] if names[at] else "") for at in range(width)]
        names = [
            " ".join(dict.fromkeys(part for part in (above, here) if part))
            for above, here in zip(titles, names, strict=True)
        ]
    return names


class Names:
    """The columns that a reader looks for: here the canonical ones, elsewhere those that a mapping names.

    `needed` are columns that tell a record from a blank line; `sheets` of a workbook are taken where `takes` says so.
    `rows` is the most that a header takes.
    With `raw`, cells are handed on as text whatever they are for, numbers written with the mark of `number`; with `open`
    nothing is known of the file beforehand.
    """

    needed: tuple[str, ...] = REQUIRED
    watched: tuple[str, ...] = (*REQUIRED, *ONE_TIME)
    order: tuple[str, ...] = CANONICAL
    within = HEADER_WITHIN
    rows = 1
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
        columns = named_columns(dict(enumerate(header)))
        return columns | _others(header, columns).columns

    def key(self, key: str) -> str | None:
        """The column that an object's key names, if it is looked for."""
        return self.named([key]).get(0)

    def look(self, record: object) -> None:
        """See an object before it is taken apart, where the lists in it are not known beforehand."""

    def look_above(self, whole: object) -> None:
        """See an object that is the whole file, where the list of records in it is not known beforehand."""

    def header(self, lines: Sequence[Sequence[str]], row: int, spans: Spans = None) -> tuple[Sequence[str], int] | None:
        """The names of the header that begins with the first of these lines, the `row`th of its sheet, and how many lines
        it takes; None where none begins there.
        """
        return (lines[0], 1) if is_header(lines[0]) else None

    def exact(self, cells: Sequence[str]) -> bool:
        """Whether a header holds the very names that are looked for, so that none below it can be meant instead."""
        return _complete(set(named_columns(dict(enumerate(cells))).values()))

    def heads(self, cells: Sequence[str]) -> bool:
        """Whether a line below the header is one itself, wherever it stands."""
        return is_header(cells)

    def promise(self, cells: Sequence[str]) -> int:
        """How many of the names a line holds."""
        return promise(cells)

    def read(self, cells: Sequence[str], place: str = "") -> Header:
        """Match a header's names; raise `Unreadable` where one is missing or stands twice."""
        return read_header(cells, place)

    def wanted_names(self) -> frozenset[str]:
        """The folded names that are looked for; none where any may come."""
        return frozenset(CANONICAL)

    def none(self, best: Sequence[str] | None, place: str = "") -> Unreadable:
        """The refusal of a file without a header."""
        return no_header(best, place)

    def number(self, text: str) -> str:
        """A number that the container holds as one, as the text of its cell."""
        return text


CANONICAL_NAMES = Names()


def is_header(cells: Sequence[str]) -> bool:
    """Whether a line of cells holds every needed name, or common names that could be those."""
    columns = named_columns(dict(enumerate(cells)))
    found = set(columns.values())
    enough = sum(bool(cell.strip()) for cell in cells) > len(REQUIRED)
    return _complete(found) or (enough and _complete(found | _others(cells, columns).said))


def _complete(found: set[str]) -> bool:
    return found.issuperset(REQUIRED) and not found.isdisjoint(ONE_TIME)


def _others(cells: Sequence[str], columns: Mapping[int, str]) -> Found:
    """What the columns without a canonical name could be; the table of common names is asked only if there are any."""
    from validator.readers.common_names import Found, by_common_names

    named = {at: cell for at, cell in enumerate(cells) if at not in columns and cell.strip()}
    return by_common_names(named, columns.values()) if named else Found()


def promise(cells: Sequence[str]) -> int:
    """How many canonical names a line holds, or could hold: to tell which line was meant as the header."""
    columns = named_columns(dict(enumerate(cells)))
    return len({*columns.values(), *_others(cells, columns).said})


def read_header(cells: Sequence[str], place: str = "") -> Header:
    """Match a header's names; `place` goes before a column's name in the place of a refusal (`1:`).

    Raises `Unreadable`: a needed column is missing (with the nearest name found), a column stands twice, a name only
    looks like a canonical one, or a file without all needed ones has a common name that could be several. A file that
    has them all may hold anything beside them.
    """
    columns = named_columns(dict(enumerate(cells)))
    found = list(columns.values())
    for name in CANONICAL:
        if found.count(name) > 1:
            raise Unreadable("duplicate_column", f"has the column {name!r} {found.count(name)} times", place + name)
    others = [cell for at, cell in enumerate(cells) if at not in columns]
    _refuse_lookalikes(others, set(found), place)
    renamed = [f"column {cells[at]!r} is read as {name!r}" for at, name in columns.items() if cells[at] != name]
    draft = ""
    if any(cell.strip() for cell in others):
        from validator.readers.common_names import DRAFT, told

        draft = f"; {DRAFT} proposes a mapping"
        common = _others(cells, columns)
        if not _complete(set(found)):
            _refuse_doubtful(set(found), common, place)
        renamed += told(cells, common)
        columns = dict(sorted((columns | common.columns).items()))
        others = [cell for at, cell in enumerate(cells) if at not in columns]
    found = list(columns.values())
    _refuse_missing(others, set(found), place, draft)
    return Header(columns, tuple(cells), renamed, _ignored(others, set(found)))


def _refuse_doubtful(found: set[str], common: Found, place: str) -> None:
    """A file that is read by common names is refused where one of its columns could mean two things."""
    from validator.readers.common_names import refusal

    if common.doubts and _complete(found | common.said):
        raise Unreadable("ambiguous_column", refusal(common), place + common.open[min(common.open)][0])


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


def _refuse_missing(others: Sequence[str], found: set[str], place: str, draft: str) -> None:
    for name in REQUIRED:
        if name not in found:
            why = f"has no column {name!r}{_nearest(name, others)}{draft}"
            raise Unreadable("missing_column", why, place + name)
    for name in ("started_at", "ended_at"):
        if name not in found and difflib.get_close_matches(name, _folded(others), 1, _NEAR):
            # a column of times that is passed over would turn measured ends into missing ones
            raise Unreadable("missing_column", f"has no column {name!r}{_nearest(name, others)}", place + name)
    if not any(name in found for name in ONE_TIME):
        raise Unreadable(
            "missing_column",
            f"has none of the columns {', '.join(ONE_TIME)}{_nearest(ONE_TIME[0], others)}{draft}",
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
