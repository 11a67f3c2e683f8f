"""What is the least time in which steps can be done? Longest paths, and the one-machine bound of a shared adapter.

Every step has a least duration, may have to start or end some time after another starts or ends, and may need a
resource of which there are only so many. No schedule is shorter than the longest path through the relations, nor than
head + work + tail of any set of steps that share one unit of a resource (Carlier, European Journal of Operational
Research 11 (1982) 42-47). Whole numbers throughout.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Step:
    """A step with its least duration and the resource that it needs, if any."""

    name: str
    duration: int
    resource: str = ""


@dataclass(frozen=True)
class Link:
    """`then` starts (or ends) at least `lag` after `first` starts (or ends): S or F for each side, as in `FS`."""

    first: int
    then: int
    kind: str = "FS"
    lag: int = 0


@dataclass(frozen=True)
class LeastTime:
    """The bound, and what makes it: the steps in order with their times, or those that share a resource."""

    total: int
    path: tuple[int, ...] = ()
    resource: str = ""
    head: int = 0
    tail: int = 0
    sharing: tuple[int, ...] = field(default=())


class Circular(ValueError):
    """The relations close a circle: no order of the steps satisfies them."""


def least_time(steps: Sequence[Step], links: Sequence[Link], capacities: Mapping[str, int]) -> LeastTime:
    """The greatest of the bounds; raise `Circular` where the relations cannot be satisfied at all."""
    earliest, before = longest_paths(steps, links)
    after, _ = longest_paths(steps, [_turned(link) for link in links])
    total = max((e + s.duration for e, s in zip(earliest, steps, strict=True)), default=0)
    found = LeastTime(total, _path(steps, earliest, before, total))
    for resource, units in capacities.items():
        using = [i for i, s in enumerate(steps) if s.resource == resource and s.duration > 0]
        if not using:
            continue
        bound = _shared(using, earliest, steps, after, resource, units)
        if bound.total > found.total:
            found = bound
    return found


def longest_paths(steps: Sequence[Step], links: Sequence[Link]) -> tuple[list[int], list[int]]:
    """The earliest start of each step, no resource considered, and the step that it waits for (-1: none)."""
    start, before = [0] * len(steps), [-1] * len(steps)
    for _ in range(len(steps) + 1):
        changed = False
        for link in links:
            first, then = steps[link.first], steps[link.then]
            wait = start[link.first] + link.lag
            wait += first.duration if link.kind[0] == "F" else 0
            wait -= then.duration if link.kind[1] == "F" else 0
            if wait > start[link.then]:
                start[link.then], before[link.then] = wait, link.first
                changed = True
        if not changed:
            return start, before
    raise Circular("the relations close a circle")


def _turned(link: Link) -> Link:
    """The same relation seen from the end: starts become ends."""
    turned = {"S": "F", "F": "S"}
    return Link(link.then, link.first, turned[link.kind[1]] + turned[link.kind[0]], link.lag)


def _path(steps: Sequence[Step], earliest: Sequence[int], before: Sequence[int], total: int) -> tuple[int, ...]:
    """One longest path, first step first."""
    ends = [i for i, s in enumerate(steps) if earliest[i] + s.duration == total]
    path: list[int] = []
    at = min(ends, default=-1)
    while at >= 0 and at not in path:
        path.append(at)
        at = before[at]
    return tuple(reversed(path))


def _shared(
    using: Sequence[int], earliest: Sequence[int], steps: Sequence[Step], after: Sequence[int], resource: str, units: int
) -> LeastTime:  # fmt: skip
    """Head + work / units + tail of the set of steps that gives most, tried by every pair of head and tail."""
    best = LeastTime(0)
    for head in sorted({earliest[i] for i in using}):
        for tail in sorted({after[i] for i in using}):
            sharing = tuple(i for i in using if earliest[i] >= head and after[i] >= tail)
            if not sharing:
                continue
            work = sum(steps[i].duration for i in sharing)
            total = head + max(-(-work // units), max(steps[i].duration for i in sharing)) + tail
            if total > best.total:
                best = LeastTime(total, (), resource, head, tail, sharing)
    return best


def preemptive_bound(heads: Sequence[int], durations: Sequence[int], tails: Sequence[int]) -> int:
    """The makespan of the best schedule on one unit in which steps may be interrupted (Jackson's rule)."""
    left = list(durations)
    waiting = sorted(range(len(left)), key=lambda i: heads[i])
    ready: list[tuple[int, int]] = []
    now = best = 0
    while waiting or ready:
        if not ready:
            now = max(now, heads[waiting[0]])
        while waiting and heads[waiting[0]] <= now:
            i = waiting.pop(0)
            heapq.heappush(ready, (-tails[i], i))
        _, i = ready[0]
        until = min(now + left[i], heads[waiting[0]] if waiting else now + left[i])
        left[i] -= until - now
        now = until
        if left[i] == 0:
            heapq.heappop(ready)
            best = max(best, now + tails[i])
    return best
