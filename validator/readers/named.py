"""Which columns does a mapping look for? Its own names against those of a header, and paths into nested JSON."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from fnmatch import fnmatchcase

from validator.errors import Unreadable
from validator.mapping.aliases import fold
from validator.mapping.model import FILE, SHEET, Layout, lists_of
from validator.readers.headers import HEADER_WITHIN, Header, Names, Spans, joined
from validator.tables import REQUIRED

_POSITION = re.compile(r"#([1-9]\d{0,3})", re.ASCII)
_VALUE = re.compile(r"[\d.,:/%+-]+ ?([ap]\.?m\.?|min|s|h|ppm|%|°?[cf])?|yes|no|true|false|x", re.ASCII | re.IGNORECASE)
_LISTED = 12
_ENOUGH = 3
_MOST_EVERY = 512


class Named(Names):
    """The columns of a layout, each under the name that the layout gives it; `#3` is the third, whatever its name.

    With `every`, the columns that the layout leaves aside are handed on as well, under the names that they have. Sheets that
    a layout `before` takes are left to it; `took` says whether any was taken here.
    """

    raw = True

    def __init__(self, layout: Layout, every: bool = False, before: Sequence[Layout] = ()) -> None:
        self.layout = layout
        self.before = before
        self.took = False
        self.every = every
        uses = {name: names for name, names in layout.sources().items() if name not in (SHEET, FILE)}
        self.uses = uses
        self.wanted = {fold(name): name for name in uses if not _POSITION.fullmatch(name)}
        self.at = {int(found[1]) - 1: name for name in uses if (found := _POSITION.fullmatch(name))}
        optional = {fold(name) for name in layout.optional}
        self.must = {folded for folded in self.wanted if folded not in optional and not folded.endswith("[]")}
        # a wide row may leave any column of a step blank; what every row fills is what its required columns draw on
        self.needed = tuple(
            name for name, names in uses.items() if set(names) & set(REQUIRED) or (not layout.steps and names)
        )
        self.watched = self.needed
        self.order = tuple(uses)
        self.within = max(HEADER_WITHIN, layout.header_row or 0)
        self.rows = layout.header_rows
        self.delimiter = layout.delimiter.encode() if layout.delimiter else None
        self.encoding = layout.encoding
        self.records = layout.records
        self.lists = lists_of(uses)

    def takes(self, sheet: str) -> bool:
        takes = _takes(self.layout, sheet) and not any(_takes(one, sheet) for one in self.before)
        self.took |= takes
        return takes

    def named(self, header: Sequence[str]) -> dict[int, str]:
        found: dict[int, str] = {}
        taken: set[str] = set()
        for at, cell in enumerate(header):
            name = self.at.get(at) or self.wanted.get(fold(cell))
            if name is None and self.every and len(found) < _MOST_EVERY:
                name = " ".join(cell.split()) or None
                name = f"#{at + 1}" if name is None or name in taken else name
            if name is not None:
                found[at] = name
                taken.add(name)
        return found

    def key(self, key: str) -> str | None:
        folded = fold(key)
        return self.wanted.get(folded) or (folded if folded in self.lists else key if self.every else None)

    def header(self, lines: Sequence[Sequence[str]], row: int, spans: Spans = None) -> tuple[Sequence[str], int] | None:
        if self.layout.header_row not in (None, row) or len(lines) < self.rows:
            return None
        cells = joined(lines[: self.rows], spans) if self.rows > 1 else lines[0]
        found = self.must <= {fold(cell) for cell in cells} and all(at < len(cells) for at in self.at)
        return (cells, self.rows) if found else None

    def exact(self, cells: Sequence[str]) -> bool:
        return True

    def heads(self, cells: Sequence[str]) -> bool:
        # one or two names can stand in a record as well: a shift called Day
        return len(self.must) >= _ENOUGH and self.must <= {fold(cell) for cell in cells}

    def promise(self, cells: Sequence[str]) -> int:
        return len({fold(cell) for cell in cells} & set(self.wanted))

    def read(self, cells: Sequence[str], place: str = "") -> Header:
        columns = self.named(cells)
        found = list(columns.values())
        for name in dict.fromkeys(found):
            if found.count(name) > 1:
                positions = " or ".join(f"#{at + 1}" for at, one in columns.items() if one == name)
                why = f"has the column {name!r} {found.count(name)} times; name it by its position in the mapping, {positions}"
                raise Unreadable("duplicate_column", why, place + name)
        for folded, name in self.wanted.items():
            if folded in self.must and name not in found:
                for_ = " and ".join(self.uses[name]) or "skip or fill_down"
                why = f"has no column {name!r}, which the mapping names for {for_}{_nearest(name, cells)}"
                raise Unreadable("missing_column", why, place + name)
        others = [cell.strip() for at, cell in enumerate(cells) if cell.strip() and columns.get(at) not in self.uses]
        others = [cell for cell in others if fold(cell) not in self.lists]
        return Header(columns, tuple(cells), [], [_left_over(others)] if others else [])

    def wanted_names(self) -> frozenset[str]:
        return frozenset(self.wanted)

    def none(self, best: Sequence[str] | None, place: str = "") -> Unreadable:
        if best is not None:
            try:
                self.read(best, place)
            except Unreadable as refusal:
                return refusal
        row = self.layout.header_row
        where = (
            f"in row {row}, where the mapping says that the header stands,"
            if row
            else f"within the first {self.within}"
        )
        first = next((n for f, n in self.wanted.items() if f in self.must), "")
        named = ", ".join(repr(n) for f, n in self.wanted.items() if f in self.must)
        return Unreadable(
            "missing_column", f"has no line {where} that names the columns of the mapping: {named}", place + first
        )

    def number(self, text: str) -> str:
        return text.replace(".", self.layout.decimal)


def _takes(layout: Layout, sheet: str) -> bool:
    return not layout.sheets or any(fnmatchcase(fold(sheet), fold(pattern)) for pattern in layout.sheets)


class Unknown(Names):
    """Every column of a file of which nothing is known; `seen` has for each sheet where its header begins and its rows.

    Of an object, the longest list of objects holds the records. The header is the first line with several different names none of which looks like a number or a time.
    """

    raw = True
    open = True
    rows = 2
    needed = ()
    watched = ()
    order = ()

    def __init__(self) -> None:
        self.seen: dict[str, tuple[int, int]] = {}
        self.sheet = ""
        self._looked = False

    def takes(self, sheet: str) -> bool:
        self.sheet = sheet
        return True

    def named(self, header: Sequence[str]) -> dict[int, str]:
        found: dict[int, str] = {}
        for at, cell in enumerate(header[:_MOST_EVERY]):
            name = " ".join(cell.split())
            found[at] = f"#{at + 1}" if not name or name in found.values() else name
        while found and not header[max(found)].strip():
            found.pop(max(found))
        return found

    def key(self, key: str) -> str | None:
        return key

    def header(self, lines: Sequence[Sequence[str]], row: int, spans: Spans = None) -> tuple[Sequence[str], int] | None:
        cells, rows = lines[0], 1
        if len(lines) > 1 and _stands_in_two(lines[0], lines[1]):
            cells, rows = joined(lines[:2], spans), 2
        elif not _names_alone(cells, len(cells)):
            return None
        self.seen.setdefault(self.sheet, (row, rows))
        return cells, rows

    def exact(self, cells: Sequence[str]) -> bool:
        return True

    def heads(self, cells: Sequence[str]) -> bool:
        return False

    def promise(self, cells: Sequence[str]) -> int:
        return 0

    def read(self, cells: Sequence[str], place: str = "") -> Header:
        return Header(self.named(cells), tuple(cells))

    def wanted_names(self) -> frozenset[str]:
        return frozenset()

    def none(self, best: Sequence[str] | None, place: str = "") -> Unreadable:
        why = f"has no line within the first {self.within} with three names or more; say header_row in a mapping"
        return Unreadable("missing_column", why, place)

    def look_above(self, whole: object) -> None:
        self.records = next(iter(_lists_within(whole, "")), None)

    def look(self, record: object) -> None:
        if self._looked:
            return
        self._looked = True
        before, here = "", record
        while found := _lists_within(here, before):
            path = f"{fold(found[0])}[]"
            self.lists = (*self.lists, path)
            here, before = _first_entry(here, found[0][len(before) :]), f"{path}."


def _names_alone(cells: Sequence[str], width: int) -> bool:
    """Whether a line holds several different names, and nothing that looks like a number or a time."""
    names = [fold(cell) for cell in cells if cell.strip()]
    words = [name for name in names if any(c.isalpha() for c in name) and not _VALUE.fullmatch(name)]
    return len(words) == len(names) and 2 * len(names) > width and len(set(names)) >= 3


def _stands_in_two(above: Sequence[str], below: Sequence[str]) -> bool:
    """Whether a line of titles, each for several columns, stands above names that repeat from title to title.

    A line of records beneath a header of one row is none: every column of it has a name of its own above.
    """
    names = [fold(cell) for cell in below if cell.strip()]
    twice = {name for name in names if names.count(name) > 1}
    titles = [fold(cell) for cell in above]
    shared = any(
        fold(cell) and (not "".join(titles[at : at + 1]) or titles.count(titles[at]) > 1)
        for at, cell in enumerate(below)
    )
    both = joined([above, below])
    filled = [cell for cell in both if cell]
    return (
        bool(twice)
        and shared
        and not any(name[0].isdigit() for name in names)
        and all(any(c.isalpha() for c in name) and not _VALUE.fullmatch(name) for name in names)
        and len(set(map(fold, filled))) == len(filled)
        and _names_alone(both, len(both))
    )


def _lists_within(record: object, before: str) -> list[str]:
    """The paths of the lists of objects in an object, the longest list first."""
    found: list[tuple[int, str]] = []
    waiting: list[tuple[str, object]] = [(before, record)]
    while waiting:
        path, here = waiting.pop()
        for key, value in here if isinstance(here, list) else ():
            if isinstance(value, list) and value and all(isinstance(v, tuple) for v in value):
                waiting.append((f"{path}{key}.", value))
            elif isinstance(value, list) and value and all(isinstance(v, list) for v in value):
                found.append((-len(value), f"{path}{key}"))
    return [path for _, path in sorted(found)]


def _first_entry(record: object, path: str) -> object:
    """The first entry of the list that stands at a path in an object."""
    here: object = record
    for part in path.split("."):
        here = next((value for key, value in here if key == part), None) if isinstance(here, list) else None
    return here[0] if isinstance(here, list) and here else None


def _nearest(name: str, cells: Sequence[str]) -> str:
    folded = [fold(cell) for cell in cells]
    near = difflib.get_close_matches(fold(name), folded, 1, 0.5)
    return f"; the nearest one found is {cells[folded.index(near[0])].strip()!r}" if near else ""


def _left_over(others: Sequence[str]) -> str:
    more = f" and {len(others) - _LISTED} more" if len(others) > _LISTED else ""
    return f"columns that the mapping does not use: {', '.join(repr(n[:60]) for n in others[:_LISTED])}{more}"
