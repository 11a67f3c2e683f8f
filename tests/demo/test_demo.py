"""The demo: what is planted is found, what is not planted is not, and the files are the same every time."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator.cli.check import judge_files
from validator.cli.waiting import Waiting
from validator.demo import PACK, DemoFiles, Planted, scenario, truth, truth_text, write_demo
from validator.demo.scenario import Fault, Scenario
from validator.findings import Report
from validator.places import bundled

Found = Callable[[Scenario], set[Planted]]

PLAN = scenario()
FAULTS = [(store.store_id, fault) for store in PLAN.stores for fault in store.faults]


def _with_faults(plan: Scenario, keep: tuple[Fault, ...]) -> Scenario:
    """The scenario with these faults alone, and without the rows that are no steps."""
    stores = tuple(
        s.model_copy(update={"faults": tuple(f for f in s.faults if f in keep), "stray_rows": ()}) for s in plan.stores
    )
    return plan.model_copy(update={"stores": stores})


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoFiles:
    return write_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def report(demo: DemoFiles) -> Report:
    with Waiting("auditing the demo") as waiting:
        return judge_files([str(p) for p in demo.logs], [PACK], str(demo.register), demo.as_of, "simple", waiting).report


def test_audit_of_the_files_finds_exactly_what_is_planted(demo: DemoFiles, report: Report) -> None:
    """From the files as written, through every reader, come the planted findings and no other."""
    found = [Planted(f.store_id, f.equipment_id, f.cycle_id, f.rule, f.target, f.status.value) for f in report.findings]

    assert sorted(found) == list(demo.truth)


def test_the_clean_store_stays_silent(report: Report) -> None:
    """The store without a planted fault has checks, and not one of them is a finding."""
    clean = next(s for s in report.stores if s.store_id == "TL-01")

    assert clean.verdict.counts.in_ > 500
    assert (clean.verdict.counts.out, clean.verdict.counts.not_observed, clean.verdict.result) == (0, 0, "met")
    assert [n for n in report.notices if n.store_id == "TL-01"] == []
    assert [d for d in report.record_defects if "TL-01" in d.file] == []


def test_every_damaged_row_is_told(report: Report) -> None:
    """Each row that the scenario spoils is listed, once for each value that cannot be read."""
    told = [(Path(d.file).name, d.column, d.code) for d in report.record_defects]

    assert told == [
        ("TL-04.csv", "store_id", "missing_required"),
        ("TL-04.csv", "ended_at", "bad_datetime"),
        ("TL-04.csv", "ended_at", "end_before_start"),
        ("TL-04.csv", "concentration_ppm", "unit_in_cell"),
        ("TL-04.csv", "step", "missing_required"),
        ("TL-04.csv", "equipment_id", "missing_required"),
        ("TL-04.csv", "step", "missing_required"),
    ]
    assert {n.code for n in report.notices} == {
        "unknown_step", "duplicate_rows", "within_resolution", "not_exercised",
    }  # fmt: skip
    assert sum(f.rows_duplicate for f in report.inputs) == 1


def test_a_reading_put_right_before_use_is_marked(report: Report) -> None:
    """Of the weak solutions only the one that was made stronger before its use bears the mark `cos`."""
    marked = [(f.rule, f.target) for f in report.findings if "cos" in f.marks]

    assert marked == [("SYR-CHLORINE-WEAK", "batch-5")]


def test_stored_truth_follows_from_the_scenario() -> None:
    """`truth.yaml` holds what the scenario's faults and dates must cause."""
    stored = (bundled("fixtures") / "demo" / "truth.yaml").read_text("utf-8")

    assert stored == truth_text(truth(PLAN))


@pytest.mark.parametrize(("store", "fault"), FAULTS, ids=[f"{f.machine} {f.cycle} {f.says}" for _, f in FAULTS])
def test_each_fault_alone_causes_what_it_says(store: str, fault: Fault, found: Found) -> None:
    """A fault by itself causes its own findings (and a late interval, where it leaves a cycle incomplete), no more."""
    plan = _with_faults(PLAN, (fault,))

    assert found(plan) == set(truth(plan))


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**9))
def test_a_cycle_without_a_fault_keeps_every_rule(seed: int, found: Found) -> None:
    """However the dice fall, a cleaning by these habits gives no finding but the two dates that are late."""
    plan = _with_faults(PLAN.model_copy(update={"seed": seed}), ())

    assert {(p.rule, p.cycle_id, p.target) for p in found(plan)} == {
        ("SYR-INTERVAL", "cycle-4", ""),
        ("SYR-INTERVAL", "cycle-5", "open"),
    }


def test_written_twice_the_bytes_are_the_same(tmp_path: Path) -> None:
    """Two runs give the same files, byte for byte."""
    for name in ("one", "two"):
        write_demo(tmp_path / name)

    one, two = (
        {p.relative_to(tmp_path / n): p.read_bytes() for p in (tmp_path / n).rglob("*") if p.is_file()}
        for n in ("one", "two")
    )

    assert one == two
    assert sorted(p.as_posix() for p in one) == [
        "README.txt", "logs/TL-01.xlsx", "logs/TL-02.csv", "logs/TL-03.jsonl", "logs/TL-04.csv", "register.yaml",
    ]  # fmt: skip


def test_the_workbook_holds_no_clock(demo: DemoFiles) -> None:
    """No part of the workbook bears the hour at which it was saved, so a run on another day gives the same bytes."""
    with zipfile.ZipFile(next(p for p in demo.logs if p.suffix == ".xlsx")) as book:
        dates = {info.date_time for info in book.infolist()}
        core = book.read("docProps/core.xml").decode()

    assert dates == {(1980, 1, 1, 0, 0, 0)}
    assert core.count("2026-07-01T00:00:00Z") == core.count("<dcterms:") == 2


def test_the_readme_has_three_lines(demo: DemoFiles) -> None:
    """The folder explains itself in three lines, one of them the command."""
    lines = (demo.register.parent / "README.txt").read_text("utf-8").splitlines()

    assert len(lines) == 3
    assert f"--as-of {demo.as_of}" in lines[-1]
