"""Exports that overlap, come again or correct each other: used once, said, and the later version stands."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from validator.cli import run

PACK = """\
pack: p
version: 1.0.0
procedure: cip
rules:
  - {id: T-FLUSH, title: Short, kind: flush, params: {targets: [line-1, line-2], min: PT15M}}
"""
HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,recorded_at\n"
Audit = Callable[..., dict]


def row(line: int, start: str, end: str, recorded: str = "") -> str:
    return f"S,E,c1,flush,line-{line},2026-01-05T{start}Z,2026-01-05T{end}Z,{recorded and f'2026-01-{recorded}Z'}\n"


@pytest.fixture
def audit(tmp_path: Path, capfdbinary) -> Audit:
    """`audit(a, b, ...)`: the report on exports of these rows, named a.csv, b.csv ..."""

    def go(*exports: str) -> dict:
        (tmp_path / "p.yaml").write_text(PACK, "utf-8")
        names = [tmp_path / f"{name}.csv" for name, _ in zip("abcd", exports, strict=False)]
        for name, rows in zip(names, exports, strict=True):
            name.write_text(HEADER + rows, "utf-8")
        run(["check", *map(str, reversed(names)), "--rules", str(tmp_path / "p.yaml"), "--as-of", "2026-01-31", "--format", "json"])
        report: dict = json.loads(capfdbinary.readouterr()[0])
        return report

    return go


def statuses(report: dict) -> dict[str, str]:
    return {f["target"]: f"{f['status']} {f['reason']}" for f in report["findings"]}


def unused(report: dict, name: str) -> list[int]:
    return [f[name] for f in report["inputs"]]


BOTH = row(1, "20:00", "20:16") + row(2, "20:20", "20:36")


def test_the_same_export_twice_changes_nothing(audit: Audit) -> None:
    """Every row of the second is told a second time."""
    report = audit(BOTH, BOTH)

    assert statuses(report) == {}
    assert unused(report, "rows_duplicate") == [0, 2]
    assert unused(report, "rows_superseded") == [0, 0]


def test_a_correction_recorded_later_stands(audit: Audit) -> None:
    """First written down as 14 minutes, corrected the next day to 16; in whichever file it stands."""
    wrong, right = row(1, "20:00", "20:14", "05T21:00"), row(1, "20:00", "20:16", "06T09:00")
    for exports in ((wrong + BOTH, right), (right, wrong)):
        report = audit(*exports)
        assert "line-1" not in statuses(report)
        (told,) = [n["message"] for n in report["notices"] if n["code"] == "superseded_rows"]
        assert "later export of the same cycle, which stands" in told
    assert unused(report, "rows_superseded") == [0, 1]
    assert statuses(audit(right.replace("06T09", "04T09"), wrong))["line-1"] == "out too_short"


def test_without_a_time_of_recording_the_export_that_reaches_further_stands(audit: Audit) -> None:
    """The second export ends with another line's flush that the first does not have yet."""
    report = audit(row(1, "20:00", "20:16"), row(1, "20:00", "20:14") + row(2, "20:20", "20:36"))

    assert statuses(report) == {"line-1": "out too_short"}
    assert unused(report, "rows_superseded") == [1, 0]


def test_where_neither_is_later_nothing_is_dropped(audit: Audit) -> None:
    """Both reach as far: both rows are judged, and the contradiction is told."""
    report = audit(row(1, "20:00", "20:14") + row(2, "20:20", "20:36"), row(1, "20:01", "20:17") + row(2, "20:20", "20:36"))

    assert unused(report, "rows_superseded") == [0, 0]
    assert "contradiction" in [n["code"] for n in report["notices"]]


def test_an_export_without_times_of_recording_is_not_the_earlier_one(audit: Audit) -> None:
    """One export says when it was recorded, the other does not and reaches as far: nothing says which is the correction."""
    report = audit(row(1, "20:00", "20:14", "05T21:00") + row(2, "20:20", "20:36"), row(1, "20:00", "20:16") + row(2, "20:20", "20:36"))

    assert unused(report, "rows_superseded") == [0, 0]


def test_an_export_that_reaches_further_stands_where_the_other_alone_says_when(audit: Audit) -> None:
    """Three exports, one of them without a time of recording: how far each reaches orders them all, and one stands."""
    later = row(1, "20:00", "20:16") + row(2, "20:20", "20:36")
    report = audit(row(1, "20:00", "20:14", "05T20:17"), row(1, "20:00", "20:13", "05T20:16"), later)

    assert statuses(report) == {}
    assert unused(report, "rows_superseded") == [1, 1, 0]


def test_rows_that_lie_apart_complement_each_other(audit: Audit) -> None:
    """A cycle that the end of a month cut in two: eight minutes in one export, eight more in the next, nothing dropped."""
    report = audit(row(1, "20:00", "20:08") + row(2, "20:20", "20:36"), row(1, "20:08", "20:16", "06T09:00"))

    assert statuses(report) == {}
    assert unused(report, "rows_superseded") == [0, 0]


def test_versions_within_one_export_are_rows_like_any_other(audit: Audit) -> None:
    """One log that says both is judged by both."""
    report = audit(row(1, "20:00", "20:14", "05T21:00") + row(1, "20:00", "20:16", "06T09:00") + row(2, "20:20", "20:36"))

    assert unused(report, "rows_superseded") == [0]
