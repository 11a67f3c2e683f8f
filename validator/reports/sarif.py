"""How is a report written as SARIF 2.1.0 (OASIS), with rules, sources, rows, acceptances and what could not be read?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any
from urllib.parse import quote

import orjson

from validator.deviations import ACCEPTED
from validator.findings import (
    PERSISTING,
    Change,
    Citation,
    Counts,
    Evidence,
    Finding,
    Gone,
    Grade,
    InputFile,
    Report,
    RuleChecked,
    Status,
)
from validator.reports import opening, words
from validator.reports.grouping import by_gravity, grouped
from validator.reports.json_ import without_acting
from validator.reports.layout import GONE, GOVERNS, NO_ACTION
from validator.reports.visible import name, sentence, without_surrogates

RESULTS = 25_000
"""Results of one run that code-scanning services take; what is left out is counted in a notification."""

NOTIFICATIONS = 1_000
"""Defects and notices told one by one; the rest is counted."""

_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVELS = {Grade.CRITICAL: "error", Grade.MAJOR: "error", Grade.MINOR: "warning", Grade.OBSERVATION: "note"}
_OPTIONS = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
_MEDIA = {
    "csv": "text/csv",
    "json": "application/json",
    "jsonl": "application/jsonl",
    "parquet": "application/vnd.apache.parquet",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_BY_LINE = ("csv", "jsonl", "xlsx")
"""Formats whose row number is the line, or the row of the sheet, that a reader counts from the top."""

_NOW = {"met": "pass", "not_applicable": "notApplicable", "": "open"}
"""The kind of a result about a finding that is none now, by `Gone.now`; never `fail`, which some readers would show as one."""
_PLACEHOLDER = re.compile(r"\{\d+\}")
_JSON = dict[str, Any]


def render(report: Report) -> bytes:
    """One run as UTF-8 JSON. OUT is `fail`, N/O is `open`; a rule without either is `pass` or `notApplicable` once.

    A breach graded as an observation asks for a look (`review`); an accepted one is `fail` and suppressed.

    Held against an earlier report, every result says how it stands to it (3.27.24): `new`, `unchanged` where the finding persists,
    `absent` where the check is IN or N/A now. What was not judged again is `updated` and `open`, since nothing shows that it was put
    right. Rules without a finding are no results then: how they stood is not known.
    """
    return b"".join(without_acting(memoryview(orjson.dumps(_Run(report).log(), option=_OPTIONS))))


class _Run:
    """One report with the places in its arrays that results point to."""

    def __init__(self, report: Report) -> None:
        self.report = report
        self.checked = {rule.rule: rule for rule in report.checked}
        self.findings = {rule: same[0] for rule, same in grouped(report.findings, lambda f: f.rule).items()}
        self.rules = {rule: at for at, rule in enumerate(dict.fromkeys([*self.checked, *self.findings]))}
        self.files = {file.file: at for at, file in enumerate(report.inputs)}
        self.sources = _sources([*self._cited(), *(a.due_citation for a in report.actions if a.due_citation)])
        self.due = {finding: action.due for action in report.actions for finding in action.findings}

    def _cited(self) -> Iterator[Citation]:
        for rule in self.rules:
            yield from self._citations(rule)

    def _citations(self, rule: str) -> tuple[Citation, ...]:
        checked = self.checked.get(rule)
        found = self.findings.get(rule)
        return (checked.citations if checked else ()) or (found.citations if found else ())

    def log(self) -> _JSON:
        report = self.report
        tool, _, version = report.tool.rpartition(" ")
        results = [*map(self._result, by_gravity(report.findings))]
        results += self._silent_rules() if report.change is None else self._gone(report.change)
        left_out = max(0, len(results) - RESULTS)
        driver = {
            "name": _plain(tool or version) or "cip-audit",
            "version": _plain(version),
            "rules": [self._rule(rule) for rule in self.rules],
            "supportedTaxonomies": [{"name": _id(source), "index": at} for at, (source, _) in enumerate(self.sources)],
        }
        run = {
            "tool": {"driver": driver, "extensions": [_pack(pack) for pack in report.packs]},
            "automationDetails": {"id": f"cip-audit/{_plain(report.as_of)}"},
            "invocations": [self._invocation(left_out)],
            "artifacts": [_artifact(file) for file in report.inputs],
            "taxonomies": [_taxonomy(*source) for source in self.sources.items()],
            "columnKind": "unicodeCodePoints",
            "results": results[:RESULTS],
            "properties": {
                "as_of": _plain(report.as_of), "decision": _plain(report.decision), "title": _text(report.title),
                "result": _text(report.summary.result), "score": asdict(report.summary.score),
                "cautions": [words.stopped(caution) for caution in report.cautions], "governs": GOVERNS,
                **_since(report.change),
            },
        }  # fmt: skip
        return {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}

    def _rule(self, rule: str) -> _JSON:
        checked, found = self.checked.get(rule), self.findings.get(rule)
        about: RuleChecked | Finding | None = checked or found
        assert about is not None
        grade = about.grade
        action = words.stopped(
            (checked.corrective_action if checked else "") or (found.corrective_action if found else "")
        )
        sources = [f"{words.citation(c)}: {words.stopped(c.says)}" for c in self._citations(rule)]
        help_ = " ".join([action or NO_ACTION, *sources, GOVERNS])
        title = _text(about.title) or _id(rule)
        return {
            "id": _id(rule),
            "shortDescription": {"text": title},
            "fullDescription": {"text": words.stopped(title)},
            "help": {"text": help_},
            "defaultConfiguration": {"level": _LEVELS[grade]},
            "relationships": self._relations(rule),
            "properties": {
                "grade": grade.value, "kind": _plain(about.kind), "pack": _plain(about.pack),
                **({"checks": _counts(checked.counts)} if checked else {}),
            },
        }  # fmt: skip

    def _relations(self, rule: str) -> list[_JSON]:
        """The clauses that a rule rests on, each once."""
        sources = list(self.sources)
        clauses = dict.fromkeys((_source(cited), _section(cited)) for cited in self._citations(rule))
        return [
            {
                "target": {
                    "id": section, "index": list(self.sources[source]).index(section),
                    "toolComponent": {"name": _id(source[0]), "index": sources.index(source)},
                },
                "kinds": ["relevant"],
            }
            for source, section in clauses
        ]  # fmt: skip

    def _result(self, finding: Finding) -> _JSON:
        accepted = ACCEPTED in finding.marks or finding.deviation is not None
        kind = _kind(finding, accepted)
        places = [self._place(row) for row in finding.evidence]
        subject = _subject(finding)
        first = places[0] if places else {}
        found = {
            "ruleId": _id(finding.rule),
            "ruleIndex": self.rules[finding.rule],
            "kind": kind,
            "level": _LEVELS[finding.grade] if kind == "fail" else "none",
            "message": {"text": _message(f"{_said(finding)}")},
            "locations": [{**first, "logicalLocations": [*first.get("logicalLocations", ()), subject]}],
            "partialFingerprints": {"findingId/v1": _plain(finding.id)},
            "properties": self._properties(finding),
        }
        if self.report.change is not None:
            found["baselineState"] = "unchanged" if finding.since == PERSISTING else "new"
        if places[1:]:
            found["relatedLocations"] = [{"id": at, **place} for at, place in enumerate(places[1:], 1)]
        if accepted:
            why = words.stopped(finding.deviation or "accepted")
            found["suppressions"] = [{"kind": "external", "status": "accepted", "justification": why}]
        return found

    def _properties(self, finding: Finding) -> _JSON:
        told: _JSON = {
            "grade": finding.grade.value, "grade_reason": finding.grade_reason, "status": finding.status.shown,
            "reason": finding.reason, "marks": list(finding.marks), "store_id": finding.store_id,
            "equipment_id": finding.equipment_id, "cycle_id": finding.cycle_id, "cycle_started": finding.cycle_started,
            "target": finding.target, "hazard": finding.hazard, "control": finding.control,
            "limit_from": finding.limit_from, "since": finding.since, "due": self.due.get(finding.id, ""),
            "first_reported": finding.first_reported, "settled_by": finding.settled_by, "settled_on": finding.settled_on,
            "same_as": finding.same_as,
        }  # fmt: skip
        told.update((label, _plain_values(asdict(value))) for label, value in _measured(finding))
        return {key: _plain_values(value) for key, value in told.items() if value not in ("", [])}

    def _silent_rules(self) -> Iterator[_JSON]:
        """Rules without a finding: that a rule was kept, or had nothing to judge, is a result as well."""
        where = self._anywhere()
        for rule, checked in self.checked.items():
            counts = checked.counts
            if counts.out or counts.not_observed or rule in self.findings:
                continue
            kept = counts.in_ > 0
            said = f"{words.count(counts.in_, 'check')} came out IN." if kept else "The rule had nothing to judge."
            yield {
                "ruleId": _id(rule), "ruleIndex": self.rules[rule], "kind": "pass" if kept else "notApplicable",
                "level": "none", "message": {"text": said}, "locations": [where] if where else [],
                "properties": {"in": counts.in_, "not_applicable": counts.not_applicable},
            }  # fmt: skip

    def _gone(self, change: Change) -> Iterator[_JSON]:
        """Findings of the earlier report that are none now, under the fingerprints that they had."""
        for gone in (*change.resolved, *change.not_judged):
            kind = _NOW[gone.now]
            found: _JSON = {
                "ruleId": _id(gone.rule), "kind": kind, "level": "none",
                "message": {"text": _message(f"{words.stopped(gone.title)} {GONE[gone.now]}")},
                "locations": [{**self._anywhere(), "logicalLocations": [_subject(gone)]}],
                "partialFingerprints": {"findingId/v1": _plain(gone.id)},
                "baselineState": "updated" if kind == "open" else "absent",
                "properties": {"was": {"status": gone.status.shown, "grade": gone.grade.value}},
            }  # fmt: skip
            if gone.rule in self.rules:
                found["ruleIndex"] = self.rules[gone.rule]
            yield found

    def _anywhere(self) -> _JSON:
        """The place of what concerns all files: the first of them, since readers of findings want a place for each."""
        first = self.report.inputs[:1]
        return {"physicalLocation": self._physical(first[0].file, 0)} if first else {}

    def _place(self, row: Evidence) -> _JSON:
        """A row of a file; of a sheet also by the sheet's name, which no physical location can bear."""
        place: _JSON = {"physicalLocation": self._physical(row.file, row.row)}
        if row.row and (row.sheet or not self._has_lines(row.file)):
            place["logicalLocations"] = [_row(row.sheet, row.row)]
        return place

    def _physical(self, file: str, row: int) -> _JSON:
        location: _JSON = {"uri": _uri(file)}
        if file in self.files:
            location["index"] = self.files[file]
        physical: _JSON = {"artifactLocation": location}
        if row and self._has_lines(file):
            physical["region"] = {"startLine": row}
        return physical

    def _has_lines(self, file: str) -> bool:
        return file in self.files and self.report.inputs[self.files[file]].format in _BY_LINE

    def _invocation(self, left_out: int) -> _JSON:
        """How the run went: files and rows that could not be read, and what else a reader must know."""
        report = self.report
        execution = [
            *(self._refused(file) for file in report.inputs if opening.not_read(file)),
            *(self._defect(same) for same in _defects(report)),
        ]
        if left_out:
            said = f"{words.count(left_out, 'result')} left out, none graver; the JSON report has all findings."
            execution.insert(0, self._notification("left_out", "warning", said))
        configuration = [
            self._notification(n.code, "note", words.capital(words.stopped(n.message)), n.rule) for n in report.notices
        ]
        return {
            "executionSuccessful": not any(opening.not_read(file) for file in report.inputs),
            "toolExecutionNotifications": self._capped(execution),
            "toolConfigurationNotifications": self._capped(configuration),
        }

    def _capped(self, notifications: list[_JSON]) -> list[_JSON]:
        left_out = len(notifications) - NOTIFICATIONS
        if left_out <= 0:
            return notifications
        more = self._notification("left_out", "warning", f"{words.count(left_out, 'notification')} left out.")
        return [*notifications[:NOTIFICATIONS], more]

    def _refused(self, file: InputFile) -> _JSON:
        said = f"{name(file.file)} was not read in full: {words.stopped(file.reason or 'no reason is known')}"
        told = self._notification("not_read", "error", said)
        return {**told, "locations": [{"physicalLocation": self._physical(file.file, 0)}]}

    def _defect(self, same: Sequence[Any]) -> _JSON:
        first = same[0]
        often = f" ({words.count(len(same), 'time')})" if len(same) > 1 else ""
        said = f"{words.capital(words.stopped(first.message))}{often}"
        told = self._notification(first.code, "warning" if first.row else "error", said)
        evidence = (Evidence(d.file, d.sheet, d.row, ()) for d in same[:_DEFECT_ROWS])
        return {**told, "locations": [self._place(row) for row in evidence]}

    def _notification(self, code: str, level: str, said: str, rule: str = "") -> _JSON:
        told: _JSON = {
            "descriptor": {"id": _id(code)},
            "level": level,
            "message": {"text": _message(said)},
        }
        if rule in self.rules:
            told["associatedRule"] = {"id": _id(rule), "index": self.rules[rule]}
        return told


_DEFECT_ROWS = 20
"""Rows named for one defect; how often it occurs is said in its message."""


def _defects(report: Report) -> Iterable[Sequence[Any]]:
    return grouped(report.record_defects, lambda d: (d.file, d.sheet, d.code, d.column)).values()


def _kind(finding: Finding, accepted: bool) -> str:
    if finding.status is not Status.OUT:
        return "open"
    return "review" if finding.grade is Grade.OBSERVATION and not accepted else "fail"


def _said(finding: Finding) -> str:
    return words.capital(words.stopped(finding.message)) or words.stopped(finding.title)


def _measured(finding: Finding) -> Iterator[tuple[str, Any]]:
    for label in ("observed", "required", "margin"):
        value = getattr(finding, label)
        if value is not None:
            yield label, value


def _since(change: Change | None) -> _JSON:
    """The earlier report that results are held against: it has no GUID to be named by."""
    if change is None:
        return {}
    earlier = (("file", change.file), ("sha256", change.sha256), ("as_of", change.as_of))
    return {"since": {key: _plain(value) for key, value in earlier}}


def _counts(counts: Counts) -> _JSON:
    return {
        "in": counts.in_, "out": counts.out, "not_observed": counts.not_observed, "not_applicable": counts.not_applicable,
    }  # fmt: skip


def _subject(finding: Finding | Gone) -> _JSON:
    """The machine, its cycle and the target in it, as a path of names."""
    parts = [_plain(p) for p in (finding.store_id, finding.equipment_id, finding.cycle_id, finding.target) if p]
    return {
        "name": parts[-1] if parts else "records",
        "fullyQualifiedName": "/".join(parts) or "records",
        "kind": "resource",
    }


def _row(sheet: str, row: int) -> _JSON:
    return {
        "name": f"row {row}",
        "fullyQualifiedName": f"{_plain(sheet)}!{row}" if sheet else f"row {row}",
        "kind": "element",
    }


def _artifact(file: InputFile) -> _JSON:
    told: _JSON = {
        "location": {"uri": _uri(file.file)},
        "roles": ["analysisTarget"],
        "hashes": {"sha-256": _plain(file.sha256)},
        "properties": {
            "rows": file.rows, "rows_used": file.rows_used, "rows_defective": file.rows_defective,
            "status": _plain(file.status),
        },
    }  # fmt: skip
    if file.format in _MEDIA:
        told["mimeType"] = _MEDIA[file.format]
    return told


def _uri(file: str) -> str:
    """A path as a URI: from the working folder, or `file:` where it is absolute; standard input is `stdin`."""
    path = without_surrogates(file).replace("\\", "/")
    if path in ("", "-"):
        return "stdin"
    return ("file://" if path.startswith("/") else "") + quote(path, safe="/")


def _pack(pack: Any) -> _JSON:
    told = {"name": _id(pack.id), "version": _plain(pack.version), "fullName": _text(pack.title) or _id(pack.id)}
    return {**told, "properties": {"sha256": _plain(pack.sha256)}}


_Source = tuple[str, str]


def _source(cited: Citation) -> _Source:
    return cited.source, cited.edition


def _section(cited: Citation) -> str:
    return _plain(cited.section) or "whole"


def _sources(cited: Iterable[Citation]) -> Mapping[_Source, Mapping[str, Citation]]:
    """Every source and edition with its sections, in the order in which they come."""
    found: dict[_Source, dict[str, Citation]] = {}
    for citation in cited:
        found.setdefault(_source(citation), {}).setdefault(_section(citation), citation)
    return found


def _taxonomy(source: _Source, sections: Mapping[str, Citation]) -> _JSON:
    first = next(iter(sections.values()))
    told: _JSON = {
        "name": _id(source[0]),
        "shortDescription": {"text": _text(first.title) or _id(source[0])},
        "isComprehensive": False,
        "taxa": [
            {"id": section, "shortDescription": {"text": words.stopped(cited.says) or section}}
            for section, cited in sections.items()
        ],
        "properties": {"published": first.published},
    }
    return {**told, "version": _plain(source[1])} if source[1] else told


def _id(text: str) -> str:
    return _plain(text) or "unnamed"


def _plain(text: str) -> str:
    """Text of data as it is, but for what JSON cannot hold."""
    return without_surrogates(text)


def _plain_values(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain_values(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_values(item) for item in value]
    return _plain(value) if isinstance(value, str) else value


def _text(text: str) -> str:
    return sentence(text)


def _message(text: str) -> str:
    """A plain text message: data in it is neither a link (3.11.6) nor a placeholder (3.11.5)."""
    if "](" in text:
        text = re.sub(r"[\\\[\]]", r"\\\g<0>", text)
    return text.replace("{", "{{").replace("}", "}}") if _PLACEHOLDER.search(text) else text
