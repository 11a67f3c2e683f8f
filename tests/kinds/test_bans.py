"""A ban with times known only within bounds, against every time tried one by one."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from validator.kinds.bans import _can_break, _can_keep

Bounds = tuple[int, int]
span = st.tuples(st.integers(0, 6), st.integers(0, 3)).map(lambda p: (p[0], p[0] + p[1]))
spans = st.lists(span, max_size=2)


def is_broken(at: int, begun: tuple[int, ...], lifted: tuple[int, ...], touching: bool) -> bool:
    """The contract's words: an `after` row has begun (or ended, just then too), and no `until` row has begun since."""
    return any(a < at + touching and not any(a <= u <= at for u in lifted) for a in begun)


@given(span, spans, spans, st.booleans())
def test_every_time_that_the_bounds_allow(point: Bounds, begun: list[Bounds], lifted: list[Bounds], touching: bool) -> None:
    """The ban can be kept, and can be broken, where some times keep it or break it, and nowhere else."""
    ranges = [range(low, high + 1) for low, high in (point, *begun, *lifted)]
    tried = {
        is_broken(times[0], times[1 : 1 + len(begun)], times[1 + len(begun) :], touching) for times in product(*ranges)
    }

    assert _can_keep(point, begun, lifted, touching) == (False in tried)
    assert _can_break(point, begun, lifted, touching) == (True in tried)
