"""Which findings tell of one omission? A step that nobody recorded on a target is missing by each rule that asks for it.

The coverage rule says that it was left out; a rule about how long it lasted is OUT beside it, for the same reason. Each is
counted by its own rule, and one act puts both right: the second points to the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from validator.engine.apply import Applied
from validator.findings import Finding, Status
from validator.kinds.outcome import Outcomes

_MISSING = "missing"
_Place = tuple[str, str, str, str]


class Omissions:
    """What was left out, as the findings are made rule by rule; asked once all are there."""

    def __init__(self) -> None:
        self._left_out: dict[_Place, list[tuple[frozenset[str], str]]] = {}
        self._too_little: dict[str, frozenset[str]] = {}

    def add(self, applied: Applied, o: Outcomes, made: Sequence[Finding]) -> None:
        """Take in the findings of one rule's outcomes."""
        steps = _steps(applied, o)
        if not steps:
            return
        for f in made:
            if f.reason != _MISSING or f.status is not Status.OUT:
                continue
            if f.kind == "coverage":
                self._left_out.setdefault(_place(f), []).append((steps, f.id))
            else:
                self._too_little[f.id] = steps

    def told(self, found: Iterable[Finding]) -> list[Finding]:
        """The findings, those about too short a time pointing to the one that says that nothing was done at all."""
        return [replace(f, same_as=self._same(f)) if f.id in self._too_little else f for f in found]

    def _same(self, f: Finding) -> str:
        steps = self._too_little[f.id]
        return next((other for left, other in self._left_out.get(_place(f), ()) if steps <= left), "")


def _place(f: Finding) -> _Place:
    return f.store_id, f.equipment_id, f.cycle_id, f.target


def _steps(applied: Applied, o: Outcomes) -> frozenset[str]:
    """The steps of which one would have been enough; of rules that ask for none, nothing."""
    params, kind = applied.params, applied.rule.rule.kind
    if kind == "coverage":
        return next((frozenset(r.step) for r in params.required if str(r) == o.part), frozenset())
    if kind == "flush":
        return frozenset((params.step,))
    return frozenset(params.steps) if kind == "contact" else frozenset()
