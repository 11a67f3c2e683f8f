"""Which version stands where two exports tell of one step of one cycle differently?

Two rows of one cycle, step and target from different exports are versions of one act where they share a start or an end,
or overlap; rows that lie apart complement each other (a cycle that a month's end cut in two). The version stands whose
export tells of that cycle later: by the latest `recorded_at` of the cycle's rows in it; where those are equal, or one of the
exports has none, by how far the whole export reaches. Where neither says, nothing is dropped, and both rows are judged.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from validator.steps import Steps
from validator.tables import NAT

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]


def standing(steps: Steps) -> Steps:
    """The steps without the rows that a later export tells otherwise."""
    if len(steps.records.sources) < 2 or len(steps) < 2:
        return steps
    source = steps.records.source[steps.row]
    gone: list[int] = []
    for first, last in _told_by_several(steps, source):
        rows = range(first, last)
        cycle = int(steps.cycle[first])
        ages = {s: _age(steps, source, cycle, s) for s in sorted({int(source[k]) for k in rows})}
        if any(recorded == NAT for recorded, _ in ages.values()):  # what was not written down is not earlier
            ages = {s: (NAT, reach) for s, (_, reach) in ages.items()}
        gone += [
            k for k in rows
            if any(ages[int(source[j])] > ages[int(source[k])] and _same_act(steps, j, k) for j in rows)
        ]  # fmt: skip
    return steps.without(np.array(gone, dtype=np.intp), "superseded") if gone else steps


def _told_by_several(steps: Steps, source: npt.NDArray[np.int32]) -> list[tuple[int, int]]:
    """The runs of rows of one cycle, step and target that come from more than one export; the steps are in that order."""
    changes = np.concatenate([
        [True],
        (steps.cycle[1:] != steps.cycle[:-1]) | (steps.step[1:] != steps.step[:-1]) | (steps.target[1:] != steps.target[:-1]),
    ])  # fmt: skip
    heads = np.flatnonzero(changes)
    several = np.minimum.reduceat(source, heads) != np.maximum.reduceat(source, heads)
    ends = np.append(heads[1:], len(steps))
    return list(zip(heads[several].tolist(), ends[several].tolist(), strict=True))


def _age(steps: Steps, source: npt.NDArray[np.int32], cycle: int, of: int) -> tuple[int, int]:
    """How late an export tells of a cycle: its latest `recorded_at` there, then the latest time in the whole export."""
    rows = np.arange(int(steps.first[cycle]), int(steps.first[cycle + 1]))
    recorded = steps.times("recorded_at", rows[source[rows] == of])
    return int(recorded.max(initial=NAT)), int(steps.records.reach[of])


def _same_act(steps: Steps, a: int, b: int) -> bool:
    """Whether two rows share a known start or end, or overlap."""
    starts, ends = (steps.start.item(a), steps.start.item(b)), (steps.end.item(a), steps.end.item(b))
    if (starts[0] == starts[1] != NAT) or (ends[0] == ends[1] != NAT):
        return True
    return NAT not in (*starts, *ends) and starts[0] < ends[1] and starts[1] < ends[0]
