"""Was the machine cleaned often enough, and is it still in time?

Cycles of a machine that count, in order of completion; no more than `max` + `grace` in-service days (or elapsed time)
may lie between one and the next, and between the last one and now. Days out of service do not count. The day of a
cleaning is day 0: after a limit of 14 days, cleanings on the 1st and the 15th are in time. With `having` only cycles
in which that was done count: what is due every quarter within cleanings that are due every fortnight.

`counts` says which cycles reset the clock: `any`, `complete` (every coverage rule of the pack is IN, the default) or
`conforming` (no OUT at major or critical by the other rules). A cycle with an end missing may have gone on until now,
unless `cycle_within` says how long after its last known time it is taken to have been done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from validator.fields import Document, Flag
from validator.findings import Quantity, Required
from validator.kinds.acts import ActOn
from validator.kinds.drift import Consecutive, Range, carried, together
from validator.kinds.durations import Either, Elapsed
from validator.kinds.facts import scope_rows
from validator.kinds.interval_lengths import Lines, counting_cycles, intervals, known_before
from validator.kinds.outcome import IN, NOT_OBSERVED, OUT, Names, Outcomes, Reasons, Scope, Shown, Stricter
from validator.language import Said
from validator.quantities import say
from validator.statuses import OPEN
from validator.tables import NAT

NAME = "interval"
TIGHTER: Mapping[str, Stricter] = {"max": "lower", "grace": "none", "warn_before": "free"}
_REASONS = (
    "",
    "too_late",
    "missing_time",
    "no_start",
    "unread_file",
    "missing_agent",
    "carried",
    "drifted",
    "lost_record",
)
_LATE = (1, 6, 7)
COLUMNS = ("cycle_id", "ended_at")
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


class Params(Document):
    """`counts` and `having` say which cycles reset the clock; `warn_before` only shows a due date as near.

    `counts: any` takes every cycle, `complete` (the default) those in which every coverage rule of the pack is IN (so a step
    that a coverage rule asks for and nobody recorded leaves the clock running), `conforming` those without an OUT at major
    or critical by the pack's other rules.

    `cycle_within` is what the rule takes as given of a cycle with an end missing: that it was done no later than this
    after its last known time. Absent: nothing is taken as given, and such a cycle may have gone on until now.

    Two guards against drifting later and later (`validator.kinds.drift`): `excess_carries` takes what a cleaning came
    late, within its grace, off the next interval; `consecutive` limits several intervals together.
    """

    max: Either
    grace: Either | None = None
    warn_before: Either | None = None
    counts: Literal["any", "complete", "conforming"] = "complete"
    having: ActOn | None = None
    cycle_within: Elapsed | None = None
    excess_carries: Flag = False
    consecutive: Consecutive | None = None

    @model_validator(mode="after")
    def _one_measure(self) -> Params:
        for name in ("grace", "warn_before"):
            value = getattr(self, name)
            if value is not None and value.calendar != self.max.calendar:
                raise ValueError(
                    f"{name} {value} and max {self.max} must both be days (PnD) or both elapsed time (PT..)"
                )
        if self.excess_carries and self.grace is None:
            raise ValueError("excess_carries says what becomes of a grace, and there is no grace")
        if self.consecutive is not None and self.consecutive.max.calendar != self.max.calendar:
            raise ValueError(
                f"consecutive.max {self.consecutive.max} and max {self.max} must both be days (PnD) or both elapsed time (PT..)"
            )
        return self

    @property
    def allowed(self) -> int:
        """Days or seconds, grace included."""
        return self.max.amount + (self.grace.amount if self.grace else 0)


def check(params: Params, scope: Scope) -> list[Outcomes]:
    """One check an interval, the running one with the target `open`; without a day to count from one N/O.

    A cycle that counts and has no time at all may lie anywhere: it is N/O, and on its machine nothing is OUT. Nor is
    an interval with a cycle in it that may count, but does not tell what was used. Where an earlier report knew the cleaning
    before the first one of these records, the first interval begins with that; without any row of the machine it is N/O once
    it is too long.
    """
    scope, doubtful = _having(params, scope)
    lines = intervals(params.max, params.cycle_within, scope)
    undated = _undated(scope)
    unsure = np.isin(lines.machine, scope.steps.machine[undated])
    silent = scope.unread & ~np.isin(lines.machine, scope.steps.machine)
    guards = _Guards.of(params, scope, lines)
    late = np.where(lines.least > params.allowed, 1, np.where(lines.most <= params.allowed, 0, 2))
    late = guards.also(late, params)
    out = np.isin(late, _LATE)
    late = np.where(out & _held(lines, scope, doubtful), 5, late)
    rest = _Rest.of(params, scope, lines, undated)
    out = np.isin(late, _LATE)
    late = np.where(out & silent, 4, np.where(out & unsure, 2, late))
    late = np.where(out & _lost(params, lines, scope), 8, late)
    reason = np.concatenate([late, rest.reason])
    running = np.concatenate([lines.end < 0, rest.running])

    required = _required(params)

    def show(i: int) -> Shown:
        if i >= len(late):
            cycle = int(rest.cycle[i - len(late)])
            shown = scope_rows(scope, cycle) if cycle >= 0 else []
            return Shown(None, required, None, shown, COLUMNS, {"limit": required.text})
        return _shown(params, scope, guards, required, i, _REASONS[reason[i]])

    return [Outcomes(
        np.concatenate([lines.machine, rest.machine]),
        np.concatenate([np.where(lines.end < 0, lines.begin, lines.end), rest.cycle]),
        Names((OPEN,), np.where(running, 0, -1)),
        np.array([IN, OUT, *[NOT_OBSERVED] * 4, OUT, OUT, NOT_OBSERVED], dtype=np.int8)[reason],
        Reasons(_REASONS, reason.astype(np.int8)), show,
        allowance=np.concatenate([guards.allowance(params), np.full(len(rest.machine), params.max.amount)]),
        before=known_before(scope, counting_cycles(scope)) if scope.lost is not None and params.max.calendar else None,
    )]  # fmt: skip


@dataclass(frozen=True)
class _Guards:
    """What was carried over to each interval, and how long it and those before it lasted together."""

    lines: Lines
    carry: Range
    together: Range

    @classmethod
    def of(cls, params: Params, scope: Scope, lines: Lines) -> _Guards:
        none = Range(*(np.zeros(len(lines.machine), dtype=np.int64) for _ in range(3)))
        several = params.consecutive
        return cls(
            lines,
            carried(lines, params.max.amount, params.grace.amount) if params.excess_carries and params.grace else none,
            together(lines, several.intervals, several.max, scope.machines) if several else none,
        )

    def also(self, late: Ints, params: Params) -> Ints:
        """The verdicts on the intervals alone, with those of the guards beside them where the interval itself is in time."""
        least, most = self.lines.least + self.carry.least, self.lines.most + self.carry.most
        late = np.where(np.isin(late, (0, 2)) & (least > params.allowed), 6, late)
        late = np.where((late == 0) & (most > params.allowed), 2, late)
        if params.consecutive is not None:
            limit = params.consecutive.max.amount
            late = np.where(np.isin(late, (0, 2)) & (self.together.least > limit), 7, late)
            late = np.where((late == 0) & (self.together.most > limit), 2, late)
        return late

    def allowance(self, params: Params) -> Ints:
        """How long each interval may last before it is due, the grace aside."""
        left: Ints = params.max.amount - self.carry.seen
        if params.consecutive is not None:
            before = self.together.seen - self.lines.seen
            left = np.where(self.together.seen >= 0, np.minimum(left, params.consecutive.max.amount - before), left)
        return left


def _having(params: Params, scope: Scope) -> tuple[Scope, Ints]:
    """The scope with the cycles that count narrowed to those that have the act, and the cycles that only may have it."""
    if params.having is None:
        return scope, np.empty(0, dtype=np.int64)
    counting = np.ones(scope.steps.cycles, dtype=bool) if scope.counting is None else scope.counting
    sure, possible = params.having.cycles(scope)
    narrowed = replace(scope, counting=counting & possible & ~sure)
    doubtful = np.concatenate([counting_cycles(narrowed), _undated(narrowed)])
    return replace(scope, counting=counting & sure), doubtful


def _held(lines: Lines, scope: Scope, cycles: Ints) -> Mask:
    """Which intervals have one of these cycles between their beginning and their end, or may have.

    A cycle whose completion is not known is taken to lie in every interval of its machine.
    """
    steps = scope.steps
    known = steps.completed[cycles] == steps.completed_at_last[cycles]
    found = np.isin(lines.machine, steps.machine[cycles[~known]])
    cycles = cycles[known]
    if not len(cycles):
        return found
    begun = np.where(lines.begin >= 0, steps.completed[lines.begin], NAT)
    machine = np.concatenate([lines.machine, steps.machine[cycles]])
    order = np.lexsort((np.concatenate([begun, steps.completed[cycles]]), machine))
    # the last beginning at or before a cycle is that of its interval, if it is of the same machine
    last = np.maximum.accumulate(np.where(order < len(begun), order, -1))[order >= len(begun)]
    owner = machine[order[order >= len(begun)]]
    mine = last[(last >= 0) & (lines.machine[last] == owner)] if len(begun) else last[:0]
    found[mine] = True
    return found


def _lost(params: Params, lines: Lines, scope: Scope) -> Mask:
    """The first intervals that nobody can judge: an earlier report knew of a cleaning, and the records since are not there.

    So it is as well where the limit is elapsed time, since the earlier report tells the day alone.
    """
    if scope.lost is None:
        return np.zeros(len(lines.begin), dtype=bool)
    silent = ~np.isin(lines.machine, scope.steps.machine)
    found: Mask = (lines.begin < 0) & (scope.lost.on[lines.machine] >= 0) & (silent | (not params.max.calendar))
    return found


@dataclass(frozen=True)
class _Rest:
    """Checks of cycles without a time, which are IN only where no interval of the machine can have been too long wherever
    they lay, and N/O otherwise; and of machines with no day to count from.
    """

    machine: Ints
    cycle: Ints
    running: Mask
    reason: Ints

    @classmethod
    def of(cls, params: Params, scope: Scope, lines: Lines, undated: Ints) -> _Rest:
        startless = np.flatnonzero(scope.machine_in & ~np.isin(np.arange(len(scope.machines)), lines.machine))
        owner = scope.steps.machine[undated]
        last = {int(m): int(c) for m, c in zip(owner, undated, strict=True)}
        ended = undated[~np.isin(owner, startless)]
        cycle = np.array([last.get(m, -1) for m in startless.tolist()], dtype=np.int64)
        longest = np.zeros(len(scope.machines), dtype=np.int64)
        np.maximum.at(longest, lines.machine, lines.most)
        kept = (longest[scope.steps.machine[ended]] <= params.allowed) & (params.consecutive is None)
        kept &= not params.excess_carries
        return cls(
            np.concatenate([scope.steps.machine[ended], startless]), np.concatenate([ended, cycle]),
            np.concatenate([np.zeros(len(ended), dtype=bool), np.ones(len(startless), dtype=bool)]),
            np.concatenate([np.where(kept, 0, 2), np.where(cycle >= 0, 2, 3)]),
        )  # fmt: skip


def _undated(scope: Scope) -> Ints:
    """The cycles that count and have no known time."""
    mine = scope.cycle_in()
    kept = scope.steps.completed[mine] == NAT
    if scope.counting is not None:
        kept &= scope.counting[mine]
    undated: Ints = mine[kept].astype(np.int64)
    return undated


def _required(params: Params) -> Required:
    unit = params.max.unit
    text = f"at most {say(params.max.amount, unit)}"
    text = f"{text} and {say(params.grace.amount, unit)} of grace" if params.grace else text
    return Required(None, params.allowed, unit, text)


def _shown(params: Params, scope: Scope, guards: _Guards, required: Required, i: int, reason: str) -> Shown:
    """The facts of interval i."""
    unit, lines, columns = params.max.unit, guards.lines, COLUMNS
    first, seen = i, int(lines.seen[i])
    if reason == "drifted" and params.consecutive is not None:
        first, seen = i - (params.consecutive.intervals - 1), int(guards.together.seen[i])
        most = params.consecutive.max.amount
        required = Required(
            None, most, unit, f"at most {say(most, unit)} over {params.consecutive.intervals} intervals"
        )
    begins = [int(lines.begin[k]) for k in range(first, i + 1)]
    machine = scope.machines[int(lines.machine[i])]
    since = _since(scope, lines, begins[0], first)
    carry = int(guards.carry.seen[i]) if reason == "carried" else 0
    until = int(scope.steps.completed[lines.end[i]]) if lines.end[i] >= 0 else machine.as_of
    late = reason in [_REASONS[k] for k in _LATE]
    passed_over = _not_counted(scope, int(lines.machine[i]), int(lines.from_at[first]), until) if late else []
    lost = scope.lost.cycle[int(lines.machine[i])] if scope.lost is not None else ""
    facts = {"found": say(seen, unit), "limit": required.text, "since": since, "carried": say(carry, unit), "lost": lost,
             "passed_over": ", ".join(passed_over[:3]) + (" ..." if len(passed_over) > 3 else "")}  # fmt: skip
    rows = [int(scope.steps.last_row[c]) for c in (*begins, int(lines.end[i])) if c >= 0]
    if not late:  # N/O: what was recorded need not be how long it was
        return Shown(None, required, None, rows, columns, facts)
    whole = seen + carry
    margin = whole - (required.max or 0)
    return Shown(Quantity(whole, unit), required, Quantity(margin, unit), rows, columns, facts)


def _since(scope: Scope, lines: Lines, begin: int, line: int) -> str:
    """The day from which an interval is counted, or what day that was."""
    machine = scope.machines[int(lines.machine[line])]
    if begin >= 0:
        return machine.clock.moment(int(scope.steps.completed[begin]))[:10]
    day = machine.clock.moment(int(lines.from_at[line]))[:10]
    opened = machine.in_service_on
    if opened is None or machine.clock.midnight(opened) != int(lines.from_at[line]):
        return Said("{day}, by the earlier report", {"day": day})
    return "the day it went into service"


def _not_counted(scope: Scope, machine: int, since: int, until: int) -> list[str]:
    """The cycles of a machine that were done in between and reset no clock, since the rule does not count them."""
    if scope.counting is None:
        return []
    steps = scope.steps
    done = steps.completed
    between = (steps.machine == machine) & (done != NAT) & (done > since) & (done < until) & ~scope.counting
    return [steps.cycle_ids[c] for c in np.flatnonzero(between).tolist()]
