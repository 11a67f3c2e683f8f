"""May a limit stand above another? The stricter wins unless an authority that is no lower says why it allows otherwise.

Authorities from the highest: the maker's label or manual, the law of the place, the company's policy, practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from validator import kinds
from validator.packs.model import BoundRule, BoundTimes, Grading, Rule
from validator.quantities import Duration

AUTHORITIES = ("manufacturer", "regulation", "company", "practice")
_DAY_SECONDS = 86_400


def origin(bound: BoundRule) -> str:
    """Which layer a rule's limits come from, in words."""
    said = f"pack {bound.pack} ({bound.rule.authority})"
    if bound.beneath is not None:
        return f"{said}, in place of {bound.beneath.pack} ({bound.beneath.rule.authority})"
    return said


def loosened(bound: BoundRule | BoundTimes) -> str:
    """What a rule, or a pack's times for correction, loosens of what it stands in place of, in words; '' for nothing."""
    return "; ".join(_changes(bound))


def faults(bound: BoundRule | BoundTimes) -> Iterable[str]:
    """What is wrong with a rule, or with times for correction, in place of those of a pack beneath."""
    what = loosened(bound)
    if bound.beneath is None or not what:
        return
    what = f"loosens {what} of {bound.beneath.pack}"
    ours, theirs = _answering(bound), _answering(bound.beneath)
    if ours.justification is None:
        yield f"{what}; keep to it, or say why it may under 'justification'"
    if AUTHORITIES.index(ours.authority) > AUTHORITIES.index(theirs.authority):
        yield f"{what}, which rests on {theirs.authority}; {ours.authority} does not stand above that"


def _answering(bound: BoundRule | BoundTimes) -> Rule | Grading:
    """The part of a pack's file that says why, and by which authority."""
    return bound.rule if isinstance(bound, BoundRule) else bound.grading


def _changes(bound: BoundRule | BoundTimes) -> Iterable[str]:
    if isinstance(bound, BoundTimes):
        return () if bound.beneath is None else _longer(bound.grading, bound.beneath.grading)
    return () if bound.beneath is None else _loosened(bound, bound.beneath)


def _longer(ours: Grading, theirs: Grading) -> Iterable[str]:
    for grade, before in theirs.correct_within.items():
        after = ours.correct_within.get(grade)
        if after is None or not _no_longer(after.within, before.within):
            now = "none" if after is None else str(after.within)
            yield f"the time to correct what is {grade.value} ({before.within} to {now})"


def _no_longer(after: Duration, before: Duration) -> bool:
    """Whether a time surely ends no later; of calendar days the last one counts to its end, and a zone may leave one out."""
    if after.calendar == before.calendar:
        return after.amount <= before.amount
    most = (after.amount + 2) * _DAY_SECONDS if after.calendar else after.amount
    least = (before.amount - 1) * _DAY_SECONDS if before.calendar else before.amount
    return most <= least


def _loosened(bound: BoundRule, beneath: BoundRule) -> Iterable[str]:
    if bound.rule.kind != beneath.rule.kind:
        yield f"the kind ({beneath.rule.kind} to {bound.rule.kind})"
        return
    kind = kinds.load(bound.rule.kind)
    for key in kind.params.model_fields:
        if not kind.tightens(beneath.params, bound.params, key):
            yield f"{key} ({shown(beneath.params, key)} to {shown(bound.params, key)})"
    if bound.rule.grade.rank > beneath.rule.grade.rank:
        yield f"the grade ({beneath.rule.grade.value} to {bound.rule.grade.value})"


def shown(params: Any, key: str) -> str:
    """A parameter as a sentence names it."""
    value = getattr(params, key, None)
    return "none" if value is None else "a list" if isinstance(value, tuple) else str(value)
