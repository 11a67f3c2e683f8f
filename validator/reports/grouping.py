"""How are findings and dates put together for a reader: by rule, by machine, by date?"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

from validator.findings import Due, Finding, Status

_Value = TypeVar("_Value")
_Key = TypeVar("_Key", bound=Hashable)


def grouped(values: Iterable[_Value], key: Callable[[_Value], _Key]) -> dict[_Key, list[_Value]]:
    """The values of each key, keys and values in the order in which they come."""
    groups: dict[_Key, list[_Value]] = {}
    for value in values:
        groups.setdefault(key(value), []).append(value)
    return groups


def by_gravity(findings: Iterable[Finding]) -> list[Finding]:
    """The gravest first; of one grade OUT before N/O; else in the report's own order."""
    return sorted(findings, key=lambda finding: (finding.grade.rank, finding.status is not Status.OUT))


def machines(findings: Iterable[Finding]) -> int:
    """At how many machines the findings are; one that names no machine adds none."""
    return len({(finding.store_id, finding.equipment_id) for finding in findings if finding.equipment_id})


def by_date(upcoming: Iterable[Due]) -> list[Due]:
    """What is due, the longest overdue first."""
    return sorted(upcoming, key=lambda due: (due.days_left, due.store_id, due.equipment_id, due.rule))
