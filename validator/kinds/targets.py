"""Which targets does a rule expect of each cycle? From the register or profile, else from the machine's own records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import BeforeValidator, WithJsonSchema

from validator.kinds.outcome import Scope
from validator.machines import Machine
from validator.steps import Steps

Ints = npt.NDArray[np.int64]


def _targets(value: Any) -> Any:
    if value is None or (isinstance(value, str) and value in ("lines", "parts", "all")):
        return None if value is None else str(value)
    if isinstance(value, (list, tuple)) and value and all(isinstance(v, str) and v.strip() for v in value):
        return tuple(str(v) for v in value)
    raise ValueError(f"expected lines, parts, all or a list of names, found {str(value)!r}")


Targets = Annotated[
    Any,
    BeforeValidator(_targets),
    WithJsonSchema(
        {"oneOf": [{"enum": ["lines", "parts", "all"]}, {"type": "array", "minItems": 1, "items": {"type": "string"}}]}
    ),
]


@dataclass(frozen=True)
class Expected:
    """One entry a check: the cycle, the code of the target (-1: the whole equipment) and whether it is out of use."""

    cycle: Ints
    target: Ints
    out_of_use: npt.NDArray[np.bool_]
    names: Sequence[str]


def expected(scope: Scope, targets: Any, steps: Sequence[str]) -> Expected:
    """Every (cycle, target) that a rule about these steps must judge; without `targets` one a cycle."""
    cycles = scope.cycle_in()
    vocabulary = scope.steps.records.texts["target"].vocabulary
    if targets is None:
        return Expected(cycles, np.full(len(cycles), -1), np.zeros(len(cycles), dtype=bool), vocabulary)
    names = list(vocabulary)
    code = {name: i for i, name in enumerate(names)}
    flat: list[int] = []
    idle: list[bool] = []
    counts = np.zeros(len(scope.machines), dtype=np.int64)
    recorded: dict[int, list[int]] = {}
    if any(_unknown(m, targets) for m in scope.machines):
        asked = {s for name, of in scope.families.items() if targets in (name, "all") for s in of}
        recorded = _recorded_targets(scope.steps, sorted({*steps, *asked}))
    for at in np.flatnonzero(scope.machine_in).tolist():
        machine = scope.machines[at]
        wanted = _wanted(machine, targets, [vocabulary[c] for c in recorded.get(at, ())])
        counts[at] = len(wanted) or 1
        if not wanted:  # nothing to judge is said, not passed over
            flat.append(-1)
            idle.append(True)
        for name in wanted:
            if name not in code:
                code[name] = len(names)
                names.append(name)
            flat.append(code[name])
            idle.append(name in machine.out_of_use)
    starts = np.concatenate([[0], np.cumsum(counts)])
    machine_of = scope.steps.machine[cycles]
    each = counts[machine_of]
    cycle = np.repeat(cycles, each)
    within = np.arange(len(cycle)) - np.repeat(np.cumsum(each) - each, each)
    at_flat = np.repeat(starts[machine_of], each) + within
    return Expected(cycle, np.array(flat, dtype=np.int64)[at_flat], np.array(idle, dtype=bool)[at_flat], names)


def _unknown(machine: Machine, targets: Any) -> bool:
    return (targets in ("lines", "all") and machine.lines is None) or (
        targets in ("parts", "all") and machine.parts is None
    )


def _wanted(machine: Machine, targets: Any, recorded: Sequence[str]) -> Sequence[str]:
    if isinstance(targets, tuple):
        return targets
    lines = machine.lines if targets in ("lines", "all") else ()
    parts = machine.parts if targets in ("parts", "all") else ()
    if lines is None or parts is None:
        # what the register does not tell, the machine's own records do; what it does tell stays apart
        known = {*(machine.lines or ()), *(machine.parts or ())}
        return [*(lines or ()), *(parts or ()), *(name for name in recorded if name not in known)]
    return [*lines, *(p for p in parts if p not in lines)]


def _recorded_targets(steps: Steps, names: Sequence[str]) -> dict[int, list[int]]:
    """For each machine the codes of the targets that its records name for these steps, in order of name."""
    rows = steps.of_steps(names)
    rows = rows[steps.target[rows] >= 0]
    vocabulary = steps.records.texts["target"].vocabulary
    pair = steps.machine[steps.cycle[rows]] * (len(vocabulary) + 1) + steps.target[rows]
    found: dict[int, list[int]] = {}
    for p in np.unique(pair).tolist():
        found.setdefault(p // (len(vocabulary) + 1), []).append(p % (len(vocabulary) + 1))
    return {machine: sorted(codes, key=lambda c: vocabulary[c]) for machine, codes in found.items()}
