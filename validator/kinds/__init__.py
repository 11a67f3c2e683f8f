"""The kinds of rule: what each computes, by the name that a rule gives it.

A kind is one module: a docstring, `Params` (what a rule may set), `TIGHTER` (which way a limit gets stricter) and
`check`, from a scope of records to outcomes. A kind never knows a rule's id, grade, source or wording.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from importlib.metadata import entry_points
from typing import Any

from validator.kinds.outcome import Stricter
from validator.quantities import Duration

MODULES = {
    "interval": "validator.kinds.interval",
    "flush": "validator.kinds.flush",
    "contact": "validator.kinds.contact",
    "concentration": "validator.kinds.concentration",
    "mixed_strength": "validator.kinds.mixed_strength",
    "order": "validator.kinds.order",
    "coverage": "validator.kinds.coverage",
    "concurrency": "validator.kinds.concurrency",
    "feasible_time": "validator.kinds.feasible_time",
    "agreement": "validator.kinds.agreement",
    "record": "validator.kinds.record",
    "consistency": "validator.kinds.consistency",
    "samples": "validator.kinds.samples",
}
"""Name of a kind to its module; another distribution adds one by an entry point in the group `validator.kinds`."""


@dataclass(frozen=True)
class Kind:
    """A kind, ready to use."""

    name: str
    params: type[Any]
    tighter: Mapping[str, Stricter]
    check: Callable[[Any, Any], list[Any]]
    doc: str

    def tightens(self, old: Any, new: Any, key: str) -> bool:
        """Whether the new parameters ask for no less than the old ones by this key; what cannot be compared does not."""
        before, after = getattr(old, key, None), getattr(new, key, None)
        way = self.tighter.get(key)
        if before == after or way == "free" or (before is None and way != "none"):
            return True
        if way == "none" and (before is None or after is None):
            return after is None
        if isinstance(before, Duration) and isinstance(after, Duration) and before.calendar == after.calendar:
            before, after = before.amount, after.amount
        if way is None or not isinstance(before, (int, float)) or not isinstance(after, (int, float)):
            return False
        return bool(after > before) if way == "higher" else bool(after < before)


def names() -> list[str]:
    """Every kind there is."""
    return [*MODULES, *(e.name for e in entry_points(group="validator.kinds"))]


def load(name: str) -> Kind:
    """The kind of that name; raise `KeyError` if there is none."""
    if name in MODULES:
        module = import_module(MODULES[name])
    else:
        module = {e.name: e for e in entry_points(group="validator.kinds")}[name].load()
    return Kind(name, module.Params, module.TIGHTER, module.check, module.__doc__ or "")
