"""What a report draws says the same as its findings, its dates and the rows of the files."""

from __future__ import annotations

import csv
import dataclasses
import random
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from validator.cli.check import audit_files
from validator.cli.waiting import Waiting
from validator.demo import PACK, write_demo
from validator.findings import Report, Status
from validator.kinds.concentration import Strip
from validator.reports.narrow import bounded

Audit = Callable[[int], Report]
EVERYTHING = 10_000


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory):
    """The files of the invented chain."""
    return write_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def audit(demo) -> Audit:
    """A function that audits the chain and draws at most so many cycles and machines."""
    def run(most: int) -> Report:
        logs = [str(p) for p in demo.logs]
        return audit_files(logs, [PACK], str(demo.register), demo.as_of, "simple", Waiting("reading"), drawn=most)

    return run


@pytest.fixture(scope="module")
def report(audit: Audit) -> Report:
    return audit(EVERYTHING)


def test_the_months_count_every_finding_once(report: Report) -> None:
    """Over all stores and months as many checks are OUT, and N/O, as the report counts."""
    months = report.pictures.months

    counts = report.summary.counts
    assert (sum(m.out for m in months), sum(m.not_observed for m in months)) == (counts.out, counts.not_observed)
    assert sum(m.cycles for m in months) == sum(e.cycles for s in report.stores for e in s.equipment)


def test_the_running_interval_is_due_on_the_day_that_the_report_names(report: Report) -> None:
    """The date at the end of a machine's history is that of the list of what is due."""
    running = {
        (h.equipment_id, r.rule): r.due for h in report.pictures.histories for r in h.runs if r.running
    }  # fmt: skip

    assert running == {(due.equipment_id, due.rule): due.due_on for due in report.upcoming}


def test_intervals_that_are_out_are_those_with_a_finding(report: Report) -> None:
    """A stretch past its due date is drawn as OUT where there is a finding about it, and nowhere else."""
    drawn = Counter(h.equipment_id for h in report.pictures.histories for r in h.runs if r.status is Status.OUT)

    assert drawn == Counter(f.equipment_id for f in report.findings if f.kind == "interval" and f.status is Status.OUT)


def test_rows_lie_where_the_file_has_them(report: Report, demo) -> None:
    """Start and end of every row of a CSV, in seconds since the cycle's first time, by a plain reading of the file."""
    log = next(p for p in demo.logs if p.name == "TL-02.csv")
    rows = {n: row for n, row in enumerate(csv.DictReader(log.read_text().splitlines()), 2) if row["started_at"] and row["ended_at"]}
    begun: dict[str, datetime] = {}
    for row in rows.values():
        at = datetime.fromisoformat(row["started_at"])
        begun[row["cycle_id"]] = min(at, begun.get(row["cycle_id"], at))
    timelines = [t for t in report.pictures.timelines if t.store_id == "TL-02"]
    drawn = {(t.cycle_id, s.row): (s.step, s.target, s.start, s.end) for t in timelines for s in t.spans if not s.unknown}

    expected = {
        (row["cycle_id"], n): (
            row["step"], row["target"],
            *((datetime.fromisoformat(row[k]) - begun[row["cycle_id"]]).total_seconds() for k in ("started_at", "ended_at")),
        )
        for n, row in rows.items() if row["cycle_id"] in {t.cycle_id for t in timelines}
    }  # fmt: skip
    assert drawn == expected


def test_what_is_too_short_or_missing_in_a_finding_is_so_in_the_picture(report: Report) -> None:
    """Every finding on a flush or a contact stands in the timeline of its cycle, with its status and its reason."""
    drawn = {
        (t.equipment_id, t.cycle_id, a.rule, a.target, a.status, a.reason) for t in report.pictures.timelines for a in t.asked
    }
    found = {
        (f.equipment_id, f.cycle_id, f.rule, f.target, f.status, f.reason)
        for f in report.findings if f.kind in ("flush", "contact", "coverage")
    }  # fmt: skip

    assert found
    assert found - drawn == set()


def test_every_reading_of_the_file_is_drawn_once(report: Report, demo) -> None:
    """As many readings of chlorine as rows of the file with a strength."""
    log = next(p for p in demo.logs if p.name == "TL-02.csv")
    values = sorted(float(row["concentration_ppm"]) for row in csv.DictReader(log.read_text().splitlines()) if row["concentration_ppm"])

    (series,) = [r for r in report.pictures.readings if r.store_id == "TL-02"]
    assert sorted(r.value for r in series.readings) == values
    assert (series.agent, series.min, series.max) == ("chlorine", 100, 200)  # rules/syrup-line-cip and sanitizer-solutions


@pytest.mark.parametrize("most", [1, 3, 10])
def test_a_report_cut_down_draws_what_an_audit_asked_for_less_draws(audit: Audit, report: Report, most: int) -> None:
    """A run that also writes a folder gives the same JSON as one that does not."""
    less = audit(most)

    assert bounded(report, most).pictures == less.pictures
    assert len(less.pictures.timelines) == most


def test_the_order_of_rows_changes_no_picture_but_the_numbers_of_rows(demo, tmp_path: Path) -> None:
    """A shuffled file draws the same, its row numbers aside."""
    log = next(p for p in demo.logs if p.name == "TL-04.csv")
    head, *rows = log.read_text().splitlines()
    random.Random(4).shuffle(rows)
    shuffled = tmp_path / log.name
    shuffled.write_text("\n".join([head, *rows]) + "\n")

    def drawn(path: Path) -> object:
        found = audit_files([str(path)], [PACK], str(demo.register), demo.as_of, "simple", Waiting("reading"), drawn=99).pictures
        return dataclasses.replace(
            found,
            timelines=[
                dataclasses.replace(t, sources=(), spans=sorted(map(repr, (dataclasses.replace(s, row=0) for s in t.spans))))
                for t in found.timelines
            ],
            readings=[
                dataclasses.replace(r, readings=[dataclasses.replace(x, row=0, file="") for x in r.readings])
                for r in found.readings
            ],
        )

    assert drawn(log) == drawn(shuffled)


def test_a_strips_reading_stands_for_the_step_of_its_colours(tmp_path: Path) -> None:
    """Blocks at 50, 100 and 200 ppm: a reading of 100 stands for 75 to just below 150."""
    (tmp_path / "pack.yaml").write_text(
        "pack: p\nversion: 1.0.0\ntitle: T\nrules:\n"
        "  - {id: R, title: Wrong, kind: concentration, grade: major, cites: [{source: practice, says: x}],\n"
        "     params: {agent: chlorine, min: 50, max: 150, strip: {blocks: [50, 100, 200]}}}\n"
        "sources: {practice: {title: Practice, published: false}}\n"
    )
    (tmp_path / "log.csv").write_text(
        "store_id,equipment_id,step,started_at,ended_at,agent,concentration_ppm\n"
        "S,E,test_solution,2026-01-05T08:00:00Z,2026-01-05T08:01:00Z,chlorine,100\n"
    )
    report = audit_files([str(tmp_path / "log.csv")], [str(tmp_path / "pack.yaml")], None, "2026-02-01", "simple",
                         Waiting("reading"), drawn=5)  # fmt: skip

    ((reading,),) = [r.readings for r in report.pictures.readings]
    low, high = Strip(blocks=(50, 100, 200)).cell(100)
    assert (reading.low, reading.high) == (75, pytest.approx(150)) == (low, pytest.approx(high))


def test_an_audit_for_text_draws_nothing(audit: Audit) -> None:
    """What no format asks for is not computed."""
    assert audit(0).pictures is None
