"""Does the record contradict itself?

Per cycle; the target is the field whose statement another one excludes:

- `ended_at`: a step ends before it starts;
- `duration_s`: a duration is not the time between its step's own start and end;
- `started_at`: an hour that happened twice is taken, either way it is read, by a row that cannot run beside it;
- `recorded_at`: a row was written down before its step had begun or ended;
- `verified_at`: the cycle was verified before its last step but `verify` had ended;
- `cycle_id`: two cycles of one machine run into each other;
- `target`: one step stands twice on one target at the same time.

Times contradict each other only by more than the clocks they were read from can explain. What is judged is what was
written, not what happened: where nothing is said twice there is nothing to contradict (N/A), and no N/O.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import field_validator

from validator.fields import Document, Text
from validator.kinds.outcome import IN, NOT_APPLICABLE, OUT, Names, Outcomes, Reasons, Scope, Shown, Stricter
from validator.kinds.rows import any_by
from validator.records import AGREES, BACKWARD, DISAGREES, UNSTATED
from validator.steps import Steps
from validator.tables import NAT
from validator.timing.intervals import reached_before

NAME = "consistency"
TIGHTER: Mapping[str, Stricter] = {}
Mask = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Claim:
    """One field's statements: the rows that make one, and those that another statement excludes.

    `with_row` is, for each row, another row that excludes it, or -1 where the row contradicts itself.
    """

    stated: Mask
    wrong: Mask
    with_row: Ints | None = None
    columns: tuple[str, ...] = ()


def _ends(steps: Steps) -> Claim:
    own = steps.records.own_times[steps.row]
    return Claim(own != UNSTATED, own == BACKWARD, columns=("step", "target", "started_at", "ended_at"))


def _durations(steps: Steps) -> Claim:
    own = steps.records.own_times[steps.row]
    timed = ~np.isnan(steps.numbers("duration_s", np.arange(len(steps))))
    stated = ((own == AGREES) & timed) | (own == DISAGREES)
    return Claim(stated, own == DISAGREES, columns=("step", "target", "started_at", "ended_at", "duration_s"))


def _hours(steps: Steps) -> Claim:
    doubt = steps.records.doubt
    stated = np.isin(steps.row, sorted(doubt)) if doubt else np.zeros(len(steps), dtype=bool)
    return Claim(stated, steps.no_room, columns=("step", "target", "started_at", "ended_at"))


def _recorded(steps: Steps) -> Claim:
    recorded = steps.times("recorded_at")
    happened = steps.last_known
    stated = (recorded != NAT) & (happened != NAT)
    wrong = stated & (happened - np.where(stated, recorded, happened) >= steps.slack("recorded_at"))
    return Claim(stated, wrong, columns=("step", "target", "started_at", "ended_at", "recorded_at"))


def _verified(steps: Steps) -> Claim:
    verified = steps.times("verified_at")
    last, last_row = steps.work_last
    done = last[steps.cycle]
    stated = (verified != NAT) & (done != NAT)
    wrong = stated & (done - np.where(stated, verified, done) >= steps.slack("verified_at"))
    return Claim(stated, wrong, last_row[steps.cycle], ("step", "ended_at", "verified_at"))


def _cycles(steps: Steps) -> Claim:
    """Cycles of a machine in order of their start, each against the latest end of all before it."""
    began, done = steps.began, steps.completed
    dated = np.flatnonzero((began != NAT) & (done != NAT))
    order = dated[np.lexsort((done[dated], began[dated], steps.machine[dated]))]
    before = reached_before(steps.machine[order], began[order], done[order])
    here = np.flatnonzero(before >= 0)
    clash = here[done[order[before[here]]] - began[order[here]] >= steps.slack()]
    of_cycle = np.zeros(steps.cycles, dtype=bool)
    of_cycle[order[clash]] = True
    other = np.full(steps.cycles, -1, dtype=np.int64)
    other[order[clash]] = steps.last_row[order[before[clash]]]
    known = np.where(steps.start == NAT, steps.end, steps.start)
    first = known == began[steps.cycle]
    several = np.bincount(steps.machine, minlength=len(steps.machines))[steps.machine] > 1
    stated = (several & (began != NAT))[steps.cycle] & first
    return Claim(
        stated, of_cycle[steps.cycle] & first, other[steps.cycle], ("cycle_id", "step", "started_at", "ended_at")
    )


def _targets(steps: Steps) -> Claim:
    """Rows stand in order of cycle, step, target and start, so each is held against those before it in its group."""
    whole = np.flatnonzero(~steps.incomplete & (steps.target >= 0) & (steps.start < steps.end))
    wide = (int(steps.step.max(initial=0)) + 1, int(steps.target.max(initial=0)) + 1)
    group = (steps.cycle[whole] * wide[0] + steps.step[whole]) * wide[1] + steps.target[whole]
    before = reached_before(group, steps.start[whole], steps.end[whole])
    here = np.flatnonzero(before >= 0)
    stated, wrong = np.zeros(len(steps), dtype=bool), np.zeros(len(steps), dtype=bool)
    stated[whole] = True
    clash = here[steps.end[whole[before[here]]] - steps.start[whole[here]] >= steps.slack()]
    wrong[whole[clash]] = True
    other = np.full(len(steps), -1, dtype=np.int64)
    other[whole[clash]] = whole[before[clash]]
    return Claim(stated, wrong, other, ("step", "target", "started_at", "ended_at"))


CLAIMS: Mapping[str, Callable[[Steps], Claim]] = {
    "ended_at": _ends, "duration_s": _durations, "started_at": _hours, "recorded_at": _recorded,
    "verified_at": _verified, "cycle_id": _cycles, "target": _targets,
}  # fmt: skip
"""What can be said of each field."""
REASONS = {
    "ended_at": "end_before_start", "duration_s": "duration_disagrees", "started_at": "no_room",
    "recorded_at": "recorded_before", "verified_at": "verified_before", "cycle_id": "cycles_interleaved",
    "target": "twice_at_once",
}  # fmt: skip


class Params(Document):
    """`fields` are those whose statements are held against the others; absent: all of them."""

    fields: tuple[Text, ...] = tuple(CLAIMS)

    @field_validator("fields")
    @classmethod
    def _known(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for name in value:
            if name not in CLAIMS:
                raise ValueError(f"found {name!r}; allowed: {', '.join(CLAIMS)}")
        return value


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check a cycle and field."""
    return [_check(scope, field) for field in params.fields]


def _check(scope: Scope, field: str) -> Outcomes:
    steps = scope.steps
    claim = CLAIMS[field](steps)
    cycles = scope.cycle_in()
    stated, wrong = (any_by(steps.cycle, flag, steps.cycles)[cycles] for flag in (claim.stated, claim.wrong))
    status = np.where(wrong, OUT, np.where(stated, IN, NOT_APPLICABLE)).astype(np.int8)

    def show(i: int) -> Shown:
        first, last = int(steps.first[cycles[i]]), int(steps.first[cycles[i] + 1])
        mine = (first + np.flatnonzero(claim.wrong[first:last])).tolist()
        others = [] if claim.with_row is None else [int(claim.with_row[k]) for k in mine if claim.with_row[k] >= 0]
        facts = _facts(steps, mine[0], others[0] if others else -1, len(mine))
        return Shown(None, None, None, sorted({*mine, *others}), claim.columns, facts)

    return Outcomes(steps.machine[cycles], cycles, Names((field,), np.zeros(len(cycles), dtype=np.int8)), status,
                    Reasons(("", REASONS[field]), wrong.astype(np.int8)), show, part=f"consistent {field}")  # fmt: skip


def _facts(steps: Steps, row: int, other: int, count: int) -> dict[str, str]:
    """What the sentence says of the first row and of the one that excludes it."""
    facts = {"what": _what(steps, row), "rest": f", and {count - 1} more" if count > 1 else ""}
    if other >= 0:
        facts |= {"other": _what(steps, other), "other_cycle": steps.cycle_ids[int(steps.cycle[other])]}
        # an hour that the clock showed twice is known by its bounds alone
        known = int(steps.last_known[other]), int(steps.completed[steps.cycle[other]])
        facts["until"] = steps.clock_time(other, known[0] if known[0] != NAT else known[1])
    return facts


def _what(steps: Steps, row: int) -> str:
    target = steps.target_name(int(steps.target[row]))
    step = steps.records.text("step", int(steps.row[row]))
    return f"{step} of {target}" if target else step
