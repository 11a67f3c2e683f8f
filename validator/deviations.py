"""Which findings has somebody accepted, by whom, why and until when? Patterns in a file, held against a report's findings.

An accepted finding stays in the report, marked, as an observation. When its acceptance has expired it counts as before.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from pydantic import field_validator, model_validator

from validator.documents import load, read
from validator.errors import WrongInput
from validator.fields import Day, Document, Text
from validator.findings import Finding, Grade, Notice

ACCEPTED = "accepted"
_FIELDS = ("rule", "store_id", "equipment_id", "cycle_id", "target", "id")


class Deviation(Document):
    """One acceptance: findings that fit every pattern given (`*` stands for any text), from one day to another.

    `expires_on` is the last day on which it holds, by the date of the store. `id` is a finding's own.
    """

    rule: Text
    store_id: Text | None = None
    equipment_id: Text | None = None
    cycle_id: Text | None = None
    target: Text | None = None
    id: Text | None = None
    reason: Text
    approved_by: Text
    approved_on: Day
    expires_on: Day

    @field_validator("rule")
    @classmethod
    def _some_rule(cls, value: str) -> str:
        if not value.strip("*"):
            raise ValueError(f"found {value!r}, which would accept every rule; name one, or a family as SYR-*")
        return value

    @model_validator(mode="after")
    def _in_order(self) -> Deviation:
        if self.expires_on < self.approved_on:
            raise ValueError(f"expires on {self.expires_on}, before it is approved on {self.approved_on}")
        return self

    def fits(self, finding: Finding) -> bool:
        """Whether every pattern fits the finding."""
        return all(
            _pattern(wanted).fullmatch(getattr(finding, name))
            for name in _FIELDS if (wanted := getattr(self, name)) is not None
        )  # fmt: skip

    def said(self) -> str:
        """By whom, from when, until when and why."""
        return f"accepted by {self.approved_by} from {self.approved_on} to {self.expires_on}: {self.reason}"


class Deviations(Document):
    """The whole file."""

    deviations: tuple[Deviation, ...] = ()


def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(".*".join(re.escape(part) for part in text.split("*")), re.DOTALL)


def load_deviations(path: Path) -> Deviations:
    """Read and check a file of acceptances; raise `WrongInput` with file, line, key, what stood there and what may."""
    source = read(path)
    if not isinstance(source.data, dict):
        raise WrongInput(f"{path}: expected a mapping with the key 'deviations', found {type(source.data).__name__}")
    return load(Deviations, source)


def accept(
    found: Sequence[Finding], accepted: Deviations, today: Mapping[str, date], as_of: date
) -> tuple[list[Finding], list[Notice]]:
    """The findings with the accepted ones marked, and what must be told of acceptances that expired or fit nothing.

    `today` is the date at each store, `as_of` the date for a finding of no store.
    """
    expired, used = dict[int, int](), set[int]()
    marked = []
    for finding in found:
        day = today.get(finding.store_id, as_of)
        held: Deviation | None = None
        for n, deviation in enumerate(accepted.deviations):
            if not deviation.fits(finding):
                continue
            used.add(n)
            if day > deviation.expires_on:
                expired[n] = expired.get(n, 0) + 1
            elif day >= deviation.approved_on and held is None:
                held = deviation
        marked.append(finding if held is None else _marked(finding, held))
    return marked, [*_expired(accepted, expired), *_unused(accepted, used)]


def _marked(finding: Finding, held: Deviation) -> Finding:
    reasons = [finding.grade_reason] * bool(finding.grade_reason)
    if finding.grade is not Grade.OBSERVATION:
        reasons.append(f"an observation instead of {finding.grade.value}, since it was accepted")
    return replace(
        finding, grade=Grade.OBSERVATION, grade_reason="; ".join(reasons), marks=(*finding.marks, ACCEPTED),
        deviation=held.said(),
    )  # fmt: skip


def _expired(accepted: Deviations, expired: Mapping[int, int]) -> list[Notice]:
    told = []
    for n, count in expired.items():
        deviation = accepted.deviations[n]
        gone = f"the deviation for {deviation.rule}, {deviation.said()}, has expired"
        told.append(Notice(
            "expired_deviation", f"{gone}; {count} finding that it was for counts as before" if count == 1 else
            f"{gone}; {count} findings that it was for count as before",
            deviation.rule, deviation.store_id or "", deviation.equipment_id or "",
        ))  # fmt: skip
    return told


def _unused(accepted: Deviations, used: set[int]) -> list[Notice]:
    return [
        Notice("unused_deviation", f"the deviation for {d.rule}, {d.said()}, fits no finding", d.rule, d.store_id or "",
               d.equipment_id or "")
        for n, d in enumerate(accepted.deviations) if n not in used
    ]  # fmt: skip
