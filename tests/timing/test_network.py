"""Temporal networks against the published table, scipy, networkx and z3."""

from __future__ import annotations

import random
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
import z3
from scipy.sparse import csr_array
from scipy.sparse.csgraph import NegativeCycleError, floyd_warshall, johnson

from validator.timing.network import (
    Constraint,
    TooManyBranches,
    between,
    conflict,
    decide,
    fits,
    minimal,
    possible,
    potentials,
)

# Dechter, Meiri and Pearl, Temporal constraint networks, Artificial Intelligence 49 (1991) 61-95, Example 1.1: X0 is
# 7:00, John leaves (X1) and arrives (X2), Fred leaves (X3) and arrives (X4). The story's text was seen in public
# copies; the 5 x 5 table is from memory, recomputed with scipy below.
CAR, BUS = (30, 40), (60, 1000)
FRED_CAR, CARPOOL = (20, 30), (40, 50)
TABLE = [
    [0, 20, 50, 30, 70],
    [-10, 0, 40, 20, 60],
    [-40, -30, 0, -10, 30],
    [-20, -10, 20, 0, 50],
    [-60, -50, -20, -40, 0],
]


def story(john: tuple[int, int], fred: tuple[int, int]) -> list[Constraint]:
    return [
        *between(0, 1, 10, 20), *between(1, 2, *john), *between(3, 2, 10, 20), *between(3, 4, *fred), *between(0, 4, 60, 70),
    ]  # fmt: skip


def test_the_published_table() -> None:
    """All shortest paths of the paper's example are those of its table."""
    assert minimal(5, story(CAR, CARPOOL)) == TABLE


def test_john_cannot_have_taken_the_bus_with_fred_in_the_carpool() -> None:
    """The paper's answer; with the bus and Fred's own car the times fit at one point only."""
    assert not fits(5, story(BUS, CARPOOL))
    table = minimal(5, story(BUS, FRED_CAR))
    assert table is not None
    assert [(-table[i][0], table[0][i]) for i in range(1, 5)] == [(10, 10), (70, 70), (50, 50), (70, 70)]


def test_the_domain_over_all_ways_to_travel() -> None:
    """With both ways for both, John arrives at 40 to 60 or at 70 after seven: the paper's minimal domain."""
    base = [*between(0, 1, 10, 20), *between(3, 2, 10, 20), *between(0, 4, 60, 70)]
    ways = [[between(1, 2, *CAR), between(1, 2, *BUS)], [between(3, 4, *FRED_CAR), between(3, 4, *CARPOOL)]]
    arrives = [t for t in range(30, 80) if possible(5, [*base, *between(0, 2, t, t)], ways) is not None]

    assert arrives == [*range(40, 61), 70]


def random_constraints(rng: random.Random, points: int, count: int) -> list[Constraint]:
    found = []
    for _ in range(count):
        i, j = rng.sample(range(points), 2)
        found.append(Constraint(i, j, rng.choice([0, 0, rng.randrange(-8, 15)])))
    return found


def graph(points: int, constraints: list[Constraint]) -> csr_array:
    """A sparse matrix with its zeros stored: a dense one would take a weight of 0 for no edge."""
    best: dict[tuple[int, int], int] = {}
    for c in constraints:
        key = c.earlier, c.later
        best[key] = min(best.get(key, c.most), c.most)
    rows, columns = zip(*best, strict=True)
    return csr_array((np.array(list(best.values()), dtype=float), (rows, columns)), shape=(points, points))


@pytest.mark.parametrize("seed", range(4))
def test_minimal_networks_are_those_of_scipy(seed: int) -> None:
    """Six hundred random networks, zero weights among them: the same tables, and the same ones without any."""
    rng = random.Random(seed)
    fitting = 0
    for _ in range(150):
        points = rng.randrange(2, 8)
        constraints = random_constraints(rng, points, rng.randrange(1, 16))
        ours = minimal(points, constraints)
        try:
            theirs = floyd_warshall(graph(points, constraints))
            assert np.array_equal(theirs, johnson(graph(points, constraints)))
        except NegativeCycleError:
            theirs = None
        assert (ours is None) == (theirs is None) == (not fits(points, constraints))
        if ours is not None:
            fitting += 1
            assert np.array_equal(np.array(ours), theirs)
    assert 20 < fitting < 130


def test_a_cycle_of_zeros_and_a_negative_edge_is_seen() -> None:
    """0, 0 and -1 in a ring: the case that a dense matrix hides."""
    ring = [Constraint(0, 1, 0), Constraint(1, 2, 0), Constraint(2, 0, -1)]

    assert not fits(3, ring)
    assert conflict(3, ring) == ring or set(conflict(3, ring)) == set(ring)


def shortest_negative_cycle(points: int, constraints: list[Constraint]) -> int:
    """The fewest edges of a negative cycle, by listing every simple cycle of the graph."""
    g = nx.MultiDiGraph()
    g.add_nodes_from(range(points))
    best: dict[tuple[int, int], int] = {}
    for c in constraints:
        best[c.earlier, c.later] = min(best.get((c.earlier, c.later), c.most), c.most)
    g = nx.DiGraph()
    g.add_weighted_edges_from((i, j, w) for (i, j), w in best.items())
    sums = [(len(cycle), sum(best[a, b] for a, b in pairwise([*cycle, cycle[0]]))) for cycle in nx.simple_cycles(g)]
    return min((size for size, total in sums if total < 0), default=0)


def test_a_conflict_is_a_negative_cycle_of_the_fewest_edges() -> None:
    """Of 300 random networks: the proof chains, sums to less than 0, and no cycle with fewer edges does (networkx)."""
    rng = random.Random(11)
    proofs = 0
    for _ in range(300):
        points = rng.randrange(2, 7)
        constraints = random_constraints(rng, points, rng.randrange(2, 14))
        proof = conflict(points, constraints)
        assert bool(proof) == (not fits(points, constraints))
        assert len(proof) == shortest_negative_cycle(points, constraints)
        if proof:
            proofs += 1
            assert all(a.later == b.earlier for a, b in pairwise([*proof, proof[0]]))
            assert sum(c.most for c in proof) < 0
    assert proofs > 50


def z3_times(points: int) -> list[z3.ArithRef]:
    return [z3.Int(f"x{i}") for i in range(points)]


def as_z3(x: list[z3.ArithRef], constraint: Constraint) -> z3.BoolRef:
    return x[constraint.later] - x[constraint.earlier] <= constraint.most


def test_questions_with_choices_are_answered_as_z3_answers_them() -> None:
    """A thousand random networks with either-or choices and a rule of two bounds: the same four answers as the solver."""
    rng = random.Random(5)
    seen: dict[str, int] = {}
    for _ in range(1000):
        points = rng.randrange(3, 7)
        facts = random_constraints(rng, points, rng.randrange(2, 9))
        choices = [
            [random_constraints(rng, points, 1), random_constraints(rng, points, 1)] for _ in range(rng.randrange(4))
        ]
        rule = random_constraints(rng, points, 2)
        answer = decide(points, facts, [[[c]] for c in rule],
                        [[[Constraint(c.later, c.earlier, -c.most - 1)] for c in rule]], choices)  # fmt: skip
        x = z3_times(points)
        solver = z3.Solver()
        solver.add(*(as_z3(x, c) for c in facts))
        solver.add(*(z3.Or(*(z3.And(*(as_z3(x, c) for c in option)) for option in choice)) for choice in choices))
        holds = z3.And(*(as_z3(x, c) for c in rule))
        can_hold, can_break = solver.check(holds) == z3.sat, solver.check(z3.Not(holds)) == z3.sat
        expected = {(True, True): "cannot tell", (True, False): "conforms", (False, True): "violates",
                    (False, False): "contradicts itself"}[can_hold, can_break]  # fmt: skip
        assert answer == expected
        seen[answer] = seen.get(answer, 0) + 1
    assert min(seen.values()) > 20
    assert len(seen) == 4


def test_times_found_satisfy_every_constraint() -> None:
    """What `possible` gives is a witness."""
    rng = random.Random(8)
    for _ in range(200):
        points = rng.randrange(2, 7)
        constraints = random_constraints(rng, points, 6)
        choices = [[random_constraints(rng, points, 1), random_constraints(rng, points, 1)] for _ in range(2)]
        times = possible(points, constraints, choices)
        if times is not None:
            assert all(times[c.later] - times[c.earlier] <= c.most for c in constraints)
            assert all(any(all(times[c.later] - times[c.earlier] <= c.most for c in o) for o in ch) for ch in choices)
            assert potentials(points, constraints) is not None


def test_more_choices_than_are_tried_are_refused() -> None:
    """Thirteen rows on one adapter in a space too small for them: the number of orders is bounded, and said."""
    rows, facts, choices = 13, [], []
    for i in range(rows):
        facts += between(1 + 2 * i, 2 + 2 * i, 10, 10)
        facts += [Constraint(1 + 2 * i, 0, 0), Constraint(0, 2 + 2 * i, 10 * rows - 1)]
        choices += [[[Constraint(2 + 2 * j, 1 + 2 * i, 10**9), Constraint(1 + 2 * i, 2 + 2 * j, 0)],
                     [Constraint(1 + 2 * j, 2 + 2 * i, 0)]] for j in range(i)]  # fmt: skip
    with pytest.raises(TooManyBranches):
        possible(2 * rows + 1, facts, choices)
