"""Can a damaged header still be told? Two of its names run into one, or blanks stand where the delimiter should.

Nothing is guessed: the names that are looked for part the text in one way alone, and the lines below have as many cells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence, Set

from validator.mapping.aliases import fold

ENOUGH = 3
"""So many lines below a header at least tell together how many cells it has; fewer may be damaged themselves."""
_LONGEST = 200
"""Characters of a cell in which two names are looked for."""


def parted(cells: Sequence[str], wanted: Set[str], below: Callable[[], Iterable[int]]) -> tuple[list[str], str] | None:
    """The names of a header and what was done to it, in words; None where it cannot be told, or needs nothing.

    `wanted` are the folded names that are looked for, `below` counts the cells of the lines below (0: no record).
    """
    if len(cells) > 2 * len(wanted):
        return None
    plain = [cell.replace('"', "").strip() for cell in cells]
    found = _by_blanks(plain, wanted) if len(plain) == 1 else _in_two(plain, wanted)
    if found is None:
        return None
    widths = [width for width in below() if width]
    return found if len(widths) >= ENOUGH and set(widths) == {len(found[0])} else None


def _by_blanks(cells: Sequence[str], wanted: Set[str]) -> tuple[list[str], str] | None:
    names = cells[0].split()
    folded = {fold(name) for name in names}
    if len(folded) < len(names) or not folded <= wanted:
        return None
    return names, "the names of the header are parted by blanks, while the lines below have a delimiter"


def _in_two(cells: Sequence[str], wanted: Set[str]) -> tuple[list[str], str] | None:
    missing = wanted - {fold(cell) for cell in cells}
    ways = [
        (at, cell[:cut], cell[cut:])
        for at, cell in enumerate(cells) if len(cell) <= _LONGEST and fold(cell) not in wanted
        for cut in range(1, len(cell))
        if fold(cell[:cut]) in missing and fold(cell[cut:]) in missing and fold(cell[:cut]) != fold(cell[cut:])
    ]  # fmt: skip
    if len(ways) != 1:
        return None
    ((at, first, second),) = ways
    why = f"the header's {cells[at]!r} is read as {first.strip()!r} and {second.strip()!r}, since the lines below have a cell more"
    return [*cells[:at], first.strip(), second.strip(), *cells[at + 1 :]], why
