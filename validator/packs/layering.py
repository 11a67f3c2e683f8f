"""May a limit stand above another? The stricter wins unless an authority that is no lower says why it allows otherwise.

Authorities from the highest: the maker's label or manual, the law of the place, the company's policy, practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from validator import kinds
from validator.packs.model import BoundRule

AUTHORITIES = ("manufacturer", "regulation", "company", "practice")


def origin(bound: BoundRule) -> str:
    """Which layer a rule's limits come from, in words."""
    said = f"pack {bound.pack} ({bound.rule.authority})"
    if bound.beneath is not None:
        return f"{said}, in place of {bound.beneath.pack} ({bound.beneath.rule.authority})"
    return said


def loosened(bound: BoundRule) -> str:
    """What a rule loosens of the one that it stands in place of, in words; '' for nothing."""
    return "" if bound.beneath is None else "; ".join(_loosened(bound, bound.beneath))


def faults(bound: BoundRule) -> Iterable[str]:
    """What is wrong with a rule that stands in place of one of a pack beneath."""
    beneath = bound.beneath
    if beneath is None:
        return
    changed = list(_loosened(bound, beneath))
    if not changed:
        return
    what = f"loosens {'; '.join(changed)} of {beneath.pack}"
    if bound.rule.justification is None:
        yield f"{what}; keep to it, or say why it may under 'justification'"
    if AUTHORITIES.index(bound.rule.authority) > AUTHORITIES.index(beneath.rule.authority):
        yield f"{what}, which rests on {beneath.rule.authority}; {bound.rule.authority} does not stand above that"


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
