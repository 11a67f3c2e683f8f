"""How is a report written as JUnit XML, so that a build server shows each rule at each store as a case?

There is no one schema; this is the shape that most of those in use accept. An OUT is a failure, whatever its grade, unless it
was accepted. A rule of which nothing could be shown is skipped, with its N/O in `system-out`; so is one that had nothing to
judge at the store. The files are a suite of their own: one that could not be read is an error.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET  # only to write: no document of others is parsed here
from collections.abc import Iterable, Sequence

from validator.deviations import ACCEPTED
from validator.findings import Finding, InputFile, RecordDefect, Report, RuleChecked, Status
from validator.reports import opening, words
from validator.reports.grouping import by_gravity, grouped
from validator.reports.layout import GOVERNS
from validator.reports.visible import heading, name, sentence

DEFECTS = 200
"""Defects told one by one for a file; the rest is counted."""

_FILES = "records"
_STAMP = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")


def render(report: Report) -> bytes:
    """UTF-8 XML with a suite for the files and one for each store."""
    suites = ET.Element("testsuites")
    stamp = _STAMP.match(report.generated_at)
    when = stamp[0] if stamp else "1970-01-01T00:00:00"
    of_store = grouped(by_gravity(report.findings), lambda finding: finding.store_id)
    _files(_Suite(suites, _FILES, when), report, of_store.pop("", []))
    for store in report.stores:
        suite = _Suite(suites, name(store.store_id), when)
        suite.say("result", heading(store.verdict.result))
        suite.say("score", words.score(store.verdict.score))
        _rules(suite, report.checked, of_store.pop(store.store_id, []), store.not_judged)
        suite.close()
    for store_id, found in of_store.items():  # a store that only its findings name
        suite = _Suite(suites, name(store_id), when)
        suite.say("result", "not stated")
        _rules(suite, (), found, ())
        suite.close()
    ET.indent(suites, " ")
    written: bytes = ET.tostring(suites, encoding="utf-8", xml_declaration=True)
    return written + b"\n"


class _Suite:
    """A suite that counts its cases; its properties come first, its own output last."""

    def __init__(self, suites: ET.Element, called: str, when: str) -> None:
        self.element = ET.SubElement(
            suites, "testsuite", id=str(len(suites)), name=called, package="cip-audit", hostname="localhost", tests="0",
            failures="0", errors="0", skipped="0", time="0", timestamp=when,
        )  # fmt: skip
        self.properties = ET.SubElement(self.element, "properties")

    def say(self, label: str, said: str) -> None:
        """A property of the suite."""
        ET.SubElement(self.properties, "property", name=label, value=said)

    def case(self, called: str, of: str) -> ET.Element:
        """A new case; it has passed unless something is put into it."""
        self._count("tests")
        return ET.SubElement(self.element, "testcase", name=called, classname=of, time="0")

    def fail(self, case: ET.Element, tag: str, kind: str, message: str, lines: Iterable[str]) -> None:
        """Mark a case as a failure or an error."""
        self._count(f"{tag}s")
        ET.SubElement(case, tag, message=message, type=kind).text = "\n".join(lines)

    def skip(self, case: ET.Element) -> None:
        """Mark a case as neither passed nor failed."""
        self._count("skipped")
        ET.SubElement(case, "skipped")

    def close(self, out: Sequence[str] = (), err: Sequence[str] = ()) -> None:
        """End the suite with what it says of itself."""
        ET.SubElement(self.element, "system-out").text = "\n".join(out)
        ET.SubElement(self.element, "system-err").text = "\n".join(err)

    def _count(self, what: str) -> None:
        self.element.set(what, str(int(self.element.attrib[what]) + 1))


def _files(suite: _Suite, report: Report, found: Sequence[Finding]) -> None:
    """A case for each file, the findings of no store, and how the run stands as a whole."""
    suite.say("as_of", name(report.as_of))
    suite.say("tool", name(report.tool))
    defects = grouped(report.record_defects, lambda defect: defect.file)
    for file in report.inputs:
        _file(suite, file, defects.pop(file.file, []))
    elsewhere = [line for of_file in defects.values() for line in _defects(of_file)]
    _rules(suite, () if report.stores else report.checked, found, ())
    notices = [words.capital(words.stopped(notice.message)) for notice in report.notices]
    suite.close([opening.headline(report), *notices, GOVERNS], elsewhere)


def _file(suite: _Suite, file: InputFile, defects: Sequence[RecordDefect]) -> None:
    case = suite.case(name(file.file), "files")
    if opening.not_read(file):
        reason = words.capital(words.stopped(file.reason)) or "The file was not read in full."
        suite.fail(case, "error", heading(file.status), heading(reason), [reason])
    _output(case, "system-out", [f"{words.rows_read(file)}; sha256 {name(file.sha256)}"])
    _output(case, "system-err", _defects(defects))


def _defects(defects: Sequence[RecordDefect]) -> list[str]:
    said = [f"{words.place(d.file, d.sheet, [d.row])}: {words.stopped(d.message)}" for d in defects[:DEFECTS]]
    left_out = len(defects) - DEFECTS
    return [*said, f"... and {words.count(left_out, 'more defect')}"] if left_out > 0 else said


def _rules(suite: _Suite, checked: Sequence[RuleChecked], found: Sequence[Finding], idle: Sequence[str]) -> None:
    """A case for each rule that was held against the store, and for each that has a finding there."""
    of_rule = grouped(found, lambda finding: finding.rule)
    for rule in checked:
        same = of_rule.pop(rule.rule, [])
        case = suite.case(f"{name(rule.rule)} {heading(rule.title)}".strip(), name(rule.pack))
        _judged(suite, case, same, rule.rule in idle or rule.state == opening.NOT_EXERCISED)
    for same in of_rule.values():
        case = suite.case(f"{name(same[0].rule)} {heading(same[0].title)}".strip(), name(same[0].pack))
        _judged(suite, case, same, False)


def _judged(suite: _Suite, case: ET.Element, found: Sequence[Finding], idle: bool) -> None:
    failed = [f for f in found if f.status is Status.OUT and not _accepted(f)]
    beside = [f for f in found if f.status is not Status.OUT or _accepted(f)]
    if failed:
        message = f"{len(failed):,} OUT: {heading(failed[0].title)}"
        suite.fail(case, "failure", failed[0].grade.value, message, map(_said, failed))
    elif beside or idle:
        suite.skip(case)
    lines = [_said(f) for f in beside] or (["No check came out IN or OUT."] if idle and not failed else [])
    _output(case, "system-out", lines)


def _accepted(finding: Finding) -> bool:
    return ACCEPTED in finding.marks or finding.deviation is not None


def _said(finding: Finding) -> str:
    """A finding on one line: where, what, the rows, and what to do."""
    where = " ".join(name(p) for p in (finding.equipment_id, finding.cycle_id, finding.target) if p)
    parts = (
        f"{finding.status.shown} {finding.grade.value} {name(finding.id)}",
        f"{where}: {words.stopped(finding.message)}" if where else words.stopped(finding.message),
        sentence(f"accepted: {finding.deviation}") if finding.deviation else "",
        f"[{'; '.join(words.places(finding.evidence))}]" if finding.evidence else "",
        words.stopped(finding.corrective_action) if finding.status is Status.OUT else "",
    )
    return " ".join(part for part in parts if part)


def _output(case: ET.Element, stream: str, lines: Sequence[str]) -> None:
    if lines:
        ET.SubElement(case, stream).text = "\n".join(lines)
