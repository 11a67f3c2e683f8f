"""How are the worst findings written as workflow commands, which a build service shows beside the lines of a file?"""

from __future__ import annotations

from collections.abc import Iterable

from validator.findings import Evidence, Finding, Grade, Report, Status
from validator.reports import opening, words
from validator.reports.grouping import by_gravity
from validator.reports.layout import UNTITLED
from validator.reports.visible import heading, name

SHOWN = 10
"""Errors, and warnings, that a service shows of one step; the rest is counted."""

_GRAVE = (Grade.CRITICAL, Grade.MAJOR)


def render(report: Report) -> bytes:
    """A line a finding: OUT of critical or major grade is an error, all else a warning; the gravest first."""
    ranked = by_gravity(report.findings)
    errors = [f for f in ranked if f.status is Status.OUT and f.grade in _GRAVE]
    warnings = [f for f in ranked if f.status is not Status.OUT or f.grade not in _GRAVE]
    lines = [
        _command("notice", {"title": heading(report.title) or UNTITLED}, opening.headline(report)),
        *_commands("error", errors),
        *_commands("warning", warnings),
    ]
    return ("\n".join(lines) + "\n").encode()


def _commands(level: str, found: list[Finding]) -> Iterable[str]:
    yield from (_finding(level, finding) for finding in found[:SHOWN])
    if len(found) > SHOWN:
        said = f"and {words.count(len(found) - SHOWN, f'more {level}')}, none graver; the other formats have all"
        yield _command("notice", {"title": f"{level}s left out"}, said)


def _finding(level: str, finding: Finding) -> str:
    first = next(iter(finding.evidence), Evidence("", "", 0, ()))
    place = {"file": name(first.file), "line": str(first.row) if first.row else ""}
    title = f"{finding.status.shown} {finding.grade.value}: {heading(finding.title)} ({name(finding.rule)})"
    where = ", ".join(name(p) for p in (finding.store_id, finding.equipment_id, finding.cycle_id, finding.target) if p)
    said = [f"{where}: {words.stopped(finding.message)}" if where else words.stopped(finding.message)]
    said += [words.stopped(f"Accepted: {finding.deviation}")] if finding.deviation else []
    said += [words.stopped(finding.corrective_action)] if finding.status is Status.OUT else []
    return _command(level, {**place, "title": title}, " ".join(part for part in said if part))


def _command(level: str, properties: dict[str, str], message: str) -> str:
    given = ",".join(f"{key}={_property(value)}" for key, value in properties.items() if value)
    return f"::{level} {given}::{_data(message)}"


def _data(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")
