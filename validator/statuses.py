"""How can a check come out, and how grave can it be?"""

from __future__ import annotations

from enum import StrEnum


class Status(StrEnum):
    """How a check came out, as an inspector marks it on the public food-establishment inspection form."""

    IN = "in"
    OUT = "out"
    NOT_OBSERVED = "not_observed"
    NOT_APPLICABLE = "not_applicable"

    @property
    def shown(self) -> str:
        return {"in": "IN", "out": "OUT", "not_observed": "N/O", "not_applicable": "N/A"}[self.value]


class Grade(StrEnum):
    """How grave a finding is, gravest first."""

    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"
    OBSERVATION = "observation"

    @property
    def rank(self) -> int:
        """0 for the gravest."""
        return _RANKS[self]


_RANKS = {grade: rank for rank, grade in enumerate(Grade)}


OPEN = "open"
"""The target of an interval that is still running."""

EMPTY_EXPORT = "empty-export"
"""The rule of a finding about an export without a row: it belongs to no pack."""

LOST_RECORD = "lost_record"
"""Why a check is N/O, and a machine is told of: an earlier report knew cleanings of it, and the records hold none."""
