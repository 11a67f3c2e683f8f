"""Allen's composition of intervals (CACM 26 (1983) 832-843), worked out by the temporal network.

The counts of the whole 13 x 13 table were found by trying every triple of intervals with ends from 0 to 5, and agree
with a public table of the algebra (`Linear_Interval_Algebra.json` of the repository alreich/qualreas).
"""

from __future__ import annotations

from collections import Counter
from functools import cache

from validator.timing.network import Constraint, fits

# how the start and the end of A lie to the start and the end of B: (start, start), (start, end), (end, start), (end, end)
RELATIONS = {
    "before": (-1, -1, -1, -1), "meets": (-1, -1, 0, -1), "overlaps": (-1, -1, 1, -1), "starts": (0, -1, 1, -1),
    "during": (1, -1, 1, -1), "finishes": (1, -1, 1, 0), "equals": (0, -1, 1, 0), "finished-by": (-1, -1, 1, 0),
    "contains": (-1, -1, 1, 1), "started-by": (0, -1, 1, 1), "overlapped-by": (1, -1, 1, 1), "met-by": (1, 0, 1, 1),
    "after": (1, 1, 1, 1),
}  # fmt: skip


def holds(relation: str, a: int, b: int) -> list[Constraint]:
    """The relation of interval A (points a, a + 1) to B as constraints in whole numbers: before is at least 1 before."""
    said = []
    for sign, (p, q) in zip(RELATIONS[relation], ((a, b), (a, b + 1), (a + 1, b), (a + 1, b + 1)), strict=True):
        if sign <= 0:
            said.append(Constraint(q, p, 0 if sign == 0 else -1))
        if sign >= 0:
            said.append(Constraint(p, q, 0 if sign == 0 else -1))
    return said


@cache
def composed(first: str, second: str) -> frozenset[str]:
    """What A can be to C, given A first B and B second C: every relation that the network finds room for."""
    proper = [Constraint(p + 1, p, -1) for p in (0, 2, 4)]
    given = [*proper, *holds(first, 0, 2), *holds(second, 2, 4)]
    return frozenset(r for r in RELATIONS if fits(6, [*given, *holds(r, 0, 4)]))


def test_counts_of_the_composition_table() -> None:
    """97 entries are certain, 42 leave three relations, 24 five, 3 nine, 3 all thirteen: 409 in all, 27 sets."""
    table = [composed(a, b) for a in RELATIONS for b in RELATIONS]

    assert Counter(map(len, table)) == {1: 97, 3: 42, 5: 24, 9: 3, 13: 3}
    assert sum(map(len, table)) == 409
    assert len(set(table)) == 27


def test_spot_values_of_the_composition_table() -> None:
    """Eight entries, one by one."""
    assert composed("overlaps", "overlaps") == {"before", "meets", "overlaps"}
    assert composed("during", "overlaps") == {"before", "during", "meets", "overlaps", "starts"}
    assert composed("overlaps", "during") == {"during", "overlaps", "starts"}
    assert composed("starts", "started-by") == {"starts", "started-by", "equals"}
    assert composed("meets", "starts") == {"meets"}
    assert composed("before", "after") == composed("during", "contains") == set(RELATIONS)
    assert len(composed("overlaps", "overlapped-by")) == 9
