"""Wide logs of ticks: what a tick shows, and what a draft makes of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from validator.cli import run
from validator.errors import WrongInput
from validator.mapping.model import load_mapping

from .test_draft import complete, draft  # noqa: F401  # a fixture

TICKS = """\
Store,Machine,Date,By,Emptied,Solution ppm,Line 1,Line 2,Nozzles,Rinsed,Checked by
S,A,13/05/2026,Ana,x,100,x,✓,x,AB,Ben
S,A,27/05/2026,Ana,x,100,x,,no,,Ben
"""
BOTH = """\
Store,Machine,Date,By,Line 1 start,Line 1 end,Line 1 ok,Line 2 start,Line 2 end,Line 2 ok
S,A,13/05/2026,Ana,20:00,20:20,x,20:21,20:41,x
S,A,27/05/2026,Ana,20:00,20:20,x,,,
"""
ANSWERS = [("procedure: ?", "procedure: periodic-cip")]


def answered(text: str, *steps: tuple[str, str]) -> str:
    """The draft with its steps and agents named, in their order."""
    text = complete(text, ANSWERS)
    for key, word in steps:
        text = text.replace(f"# {key}: ?", f"{key}: {word}", 1)
    return text


def rows(tmp_path: Path, capfdbinary, name: str, data: str, mapping: str) -> dict:
    (tmp_path / name).write_text(data, "utf-8")
    (tmp_path / "m.yaml").write_text(mapping, "utf-8")
    run(["check", str(tmp_path / name), "--mapping", str(tmp_path / "m.yaml"), "--rules", "syrup-line-cip", "--as-of",
         "2026-07-01", "--format", "json"])  # fmt: skip
    out, err = capfdbinary.readouterr()
    assert out, err.decode()
    return json.loads(out)


def test_a_draft_of_ticks(draft) -> None:  # noqa: F811
    """Lines become targets, a column named like an act its step, initials say who; what no tick tells is left out."""
    text = draft("ticks.csv", TICKS)

    assert "- targets: {line-1: Line 1, line-2: Line 2}" in text
    assert 'when: {column: "*", yes: [x, "✓"]}' in text
    assert 'when: {column: Nozzles, yes: [x], no: ["no"]}' in text
    assert "step: empty_tank  # likely" in text
    assert "performed_by: Rinsed" in text
    assert 'cycle_id: {join: [Machine, Date], with: " "}  # a guess' in text
    assert "solution_id" not in text
    assert "started_at" not in text.replace("neither when", "")


def test_a_tick_shows_that_a_step_was_done_and_no_duration(tmp_path, capfdbinary, draft) -> None:  # noqa: F811
    """Line 2 was not ticked in the second cleaning, which is OUT; no flush can be shown to have lasted."""
    text = answered(draft("ticks.csv", TICKS), ("agent", "water"), ("step", "flush"), ("agent", "water"),
                    ("step", "sanitize"), ("agent", "chlorine"), ("agent", "water"))  # fmt: skip
    report = rows(tmp_path, capfdbinary, "ticks.csv", TICKS, text)

    flushes = {(f["cycle_id"], f["target"]): (f["status"], f["reason"]) for f in report["findings"] if f["kind"] == "flush"}
    assert flushes == {
        ("A 13/05/2026", "line-1"): ("not_observed", "missing_time"), ("A 13/05/2026", "line-2"): ("not_observed", "missing_time"),
        ("A 27/05/2026", "line-1"): ("not_observed", "missing_time"), ("A 27/05/2026", "line-2"): ("out", "missing"),
    }  # fmt: skip
    assert report["records"] == 7


def test_ticks_beside_start_and_end(tmp_path, capfdbinary, draft) -> None:  # noqa: F811
    """The tick says that it was done, the times when; what is not ticked was not done."""
    text = answered(draft("both.csv", BOTH), ("step", "flush"), ("agent", "chlorine"))
    report = rows(tmp_path, capfdbinary, "both.csv", BOTH, text)

    assert 'when: {column: "* ok", yes: [x]}' in text
    flushes = [(f["status"], f["reason"], f["target"]) for f in report["findings"] if f["kind"] == "flush"]
    assert flushes == [("out", "missing", "line-2")]
    assert report["records"] == 3


def test_a_step_without_a_time_needs_its_cycle(tmp_path: Path) -> None:
    """Neither a time nor a cycle: the step could belong to any cleaning."""
    mapping = """\
mapping: m
files:
  - columns: {store_id: Store, equipment_id: Machine}
    steps: [{constants: {step: flush}, when: {column: L1, yes: [x]}}]
"""
    (tmp_path / "m.yaml").write_text(mapping)
    with pytest.raises(WrongInput, match="or a cycle_id where a tick alone shows that it was done"):
        load_mapping(tmp_path / "m.yaml")

    (tmp_path / "m.yaml").write_text(mapping.replace("equipment_id: Machine", "equipment_id: Machine, cycle_id: No"))
    assert load_mapping(tmp_path / "m.yaml").file.mapping == "m"
