"""Least times against textbook networks, networkx, and an exact solver for shared resources."""

from __future__ import annotations

import random

import networkx as nx
import pytest
from ortools.sat.python import cp_model

from validator.timing.critical_path import Circular, Link, Step, least_time, longest_paths, preemptive_bound

# Taylor, Introduction to Management Science, chapter 8, solutions (seen in a public copy): arcs with their lengths
TAYLOR_1 = {(1, 2): 7, (1, 3): 10, (2, 4): 6, (3, 4): 5, (3, 5): 4, (4, 5): 3, (5, 6): 2}
TAYLOR_2 = {(1, 2): 8, (1, 3): 10, (1, 4): 9, (2, 5): 6, (2, 6): 4, (3, 5): 5, (4, 5): 0, (4, 7): 7, (5, 7): 12,
            (5, 8): 15, (6, 9): 18, (7, 8): 4, (8, 9): 7}  # fmt: skip
# Hillier and Lieberman, Reliable Construction (from memory; recomputed with networkx)
RELIABLE = {"A": (2, ""), "B": (4, "A"), "C": (10, "B"), "D": (6, "C"), "E": (4, "C"), "F": (5, "E"), "G": (7, "D"),
            "H": (9, "EG"), "I": (7, "C"), "J": (8, "FI"), "K": (4, "J"), "L": (5, "J"), "M": (2, "H"), "N": (6, "KL")}  # fmt: skip
# Carlier, EJOR 11 (1982) 42-47 (from memory; optimum recomputed with CP-SAT)
HEADS, WORK, TAILS = [10, 13, 11, 20, 30, 0, 30], [5, 6, 7, 4, 3, 6, 2], [7, 26, 24, 21, 8, 17, 0]


def arcs(lengths: dict[tuple[int, int], int]) -> tuple[list[Step], list[Link], list[tuple[int, int]]]:
    """An activity-on-arc network as steps: an arc follows every arc that ends where it begins."""
    names = list(lengths)
    steps = [Step(f"{a}-{b}", lengths[a, b]) for a, b in names]
    links = [Link(i, j) for i, (_, b) in enumerate(names) for j, (a, _) in enumerate(names) if a == b]
    return steps, links, names


@pytest.mark.parametrize(
    ("lengths", "total", "nodes"), [(TAYLOR_1, 20, [1, 3, 4, 5, 6]), (TAYLOR_2, 38, [1, 3, 5, 7, 8, 9])]
)
def test_taylor(lengths, total, nodes) -> None:
    """The critical paths of the printed solutions, and networkx' longest path."""
    steps, links, names = arcs(lengths)
    found = least_time(steps, links, {})
    graph = nx.DiGraph()
    graph.add_weighted_edges_from((a, b, w) for (a, b), w in lengths.items())

    assert (total, nodes) == (found.total, [names[i][0] for i in found.path] + [names[found.path[-1]][1]])
    assert total == nx.dag_longest_path_length(graph)


def test_reliable_construction() -> None:
    """44 weeks along A-B-C-E-F-J-L-N."""
    names = list(RELIABLE)
    steps = [Step(n, RELIABLE[n][0]) for n in names]
    links = [Link(names.index(p), names.index(n)) for n in names for p in RELIABLE[n][1]]
    found = least_time(steps, links, {})

    assert (found.total, "".join(names[i] for i in found.path)) == (44, "ABCEFJLN")


def test_carlier() -> None:
    """The preemptive bound of the published seven jobs is 49; the set bound is the same, the optimum 50."""
    assert preemptive_bound(HEADS, WORK, TAILS) == 49
    steps, links = [], []
    for head, work, tail in zip(HEADS, WORK, TAILS, strict=True):
        at = len(steps)
        steps += [Step("head", head), Step("work", work, "adapter"), Step("tail", tail)]
        links += [Link(at, at + 1), Link(at + 1, at + 2)]
    assert least_time(steps, links, {"adapter": 1}).total == 49
    assert optimum(steps, links, {"adapter": 1}) == 50


@pytest.mark.parametrize("lines", [1, 4, 8])
def test_lines_on_one_adapter(lines: int) -> None:
    """15 minutes before, 6 a line on the adapter, 20 after: 15 + 6 N + 20, and no schedule is shorter (CP-SAT)."""
    steps, links = [Step("mix", 15), Step("rest", 20)], []
    for n in range(lines):
        steps.append(Step(f"flush {n}", 6, "flush"))
        links += [Link(0, n + 2), Link(n + 2, 1)]
    found = least_time(steps, links, {"flush": 1})

    assert 15 + 6 * lines + 20 == found.total == optimum(steps, links, {"flush": 1})


def optimum(steps: list[Step], links: list[Link], capacities: dict[str, int]) -> int:
    """The shortest schedule there is, by an exact solver."""
    model = cp_model.CpModel()
    far = sum(s.duration for s in steps) + sum(max(0, link.lag) for link in links) + 1
    starts = [model.new_int_var(0, far, f"s{i}") for i in range(len(steps))]
    spans = [model.new_fixed_size_interval_var(v, s.duration, s.name) for v, s in zip(starts, steps, strict=True)]
    for link in links:
        before = starts[link.first] + (steps[link.first].duration if link.kind[0] == "F" else 0)
        after = starts[link.then] + (steps[link.then].duration if link.kind[1] == "F" else 0)
        model.add(after >= before + link.lag)
    for resource, units in capacities.items():
        using = [i for i, s in enumerate(steps) if s.resource == resource]
        model.add_cumulative([spans[i] for i in using], [1] * len(using), units)
    end = model.new_int_var(0, far, "end")
    model.add_max_equality(end, [v + s.duration for v, s in zip(starts, steps, strict=True)])
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.objective_value)


def random_case(rng: random.Random) -> tuple[list[Step], list[Link]]:
    steps = [Step(str(i), rng.randrange(0, 9), rng.choice(["", "a", "a"])) for i in range(rng.randrange(2, 8))]
    links = [
        Link(i, j, rng.choice(["FS", "SS", "FF", "SF"]), rng.choice([0, 0, 3]))
        for i in range(len(steps)) for j in range(i + 1, len(steps)) if rng.random() < 0.3
    ]  # fmt: skip
    return steps, links


def test_no_schedule_is_shorter_than_the_bound() -> None:
    """200 random networks with all four links, lags and one or two adapters: the bound never exceeds the optimum."""
    rng = random.Random(2)
    tight = 0
    for _ in range(200):
        steps, links = random_case(rng)
        capacities = {"a": rng.choice([1, 1, 2])}
        bound, best = least_time(steps, links, capacities).total, optimum(steps, links, capacities)
        assert bound <= best
        tight += bound == best
    assert tight > 150


def test_without_a_shared_resource_the_bound_is_exact() -> None:
    """Then the longest path is the optimum."""
    rng = random.Random(4)
    for _ in range(100):
        steps, links = random_case(rng)
        assert least_time(steps, links, {}).total == optimum(steps, links, {})


def test_a_circle_is_refused() -> None:
    """Wash before sanitize before wash: nothing satisfies it."""
    with pytest.raises(Circular):
        longest_paths([Step("wash", 1), Step("sanitize", 1)], [Link(0, 1), Link(1, 0)])
