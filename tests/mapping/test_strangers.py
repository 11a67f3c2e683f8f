"""What strangers keep gives the findings of the canonical file, row for row, by a mapping and by a draft that was completed."""

from __future__ import annotations

import pytest

from .exports import canonical, story
from .strange_exports import STRANGE
from .test_draft import complete, draft  # noqa: F401  # fixtures
from .test_same_story import judged, placed  # noqa: F401


@pytest.mark.parametrize("name", STRANGE)
def test_an_export_gives_the_findings_of_the_canonical_file(judged, name: str) -> None:  # noqa: F811
    """Same findings, same messages and figures, the evidence where the reader of the export sees it."""
    rows = story()
    export = STRANGE[name](rows)

    expected = judged("canonical.csv", canonical(rows))
    report = judged(export.name, export.data, export.mapping)

    assert report["record_defects"] == expected["record_defects"] == []
    assert same(name, report) == same(name, expected, export.places)
    assert report["inputs"][0]["rows_used"] == len(rows)
    assert report["summary"] == expected["summary"]


def same(name: str, report: dict, places: list[tuple[str, int]] | None = None) -> list[dict]:
    """The findings with their places; what is missing is shown by the first and last row, which are others in several sheets."""
    found = placed(report, places)
    if name != "three_layouts":
        return found
    return [{**f, "evidence": []} if f["reason"] in ("missing", "missing_first", "not_recorded") else f for f in found]


ANSWERS = [("store_id: ?", "store_id: TL-07"), ("procedure: ?", "procedure: periodic-cip"), ("night_until: ?", 'night_until: "06:00"')]
IN_ORDER: dict[str, list[tuple[str, str]]] = {
    "titles_over_names": [
        ("agent: ?", "agent: chlorine"), ("step: ?", "step: flush"), ("agent: ?", "agent: chlorine"), ("step: ?", "step: sanitize"),
        ("agent: ?", "agent: chlorine"),
    ],
    "three_layouts": [
        ("equipment_id: ?", "equipment_id: TL-07-SYR-A"), ("step: ?", "step: flush"), ("agent: ?", "agent: chlorine"),
        ("step: ?", "step: sanitize"), ("agent: ?", "agent: chlorine"),
        ("equipment_id: ?", "equipment_id: TL-07-SYR-B"), ("agent: ?", "agent: chlorine"), ("rinsed through: ?", "rinsed through: flush"),
        ("parts in sanitizer: ?", "parts in sanitizer: sanitize"), ("nozzles: ?", "nozzles: nozzles"), ("looked over: ?", "looked over: verify"),
    ],
    "deep_json": [("unit: ?}", "unit: ppm}"), ("ended_at: {", "ended_at: {")],
}  # fmt: skip
"""The answers to the open lines of a draft, in their order; each is given once."""


@pytest.mark.parametrize("name", STRANGE)
def test_a_draft_completed_where_it_is_open_reads_the_same(judged, draft, name: str) -> None:  # noqa: F811
    """Open lines are answered; of the workbook with three layouts the plates of the machines are translated by hand."""
    rows = story()
    export = STRANGE[name](rows)
    text = complete(draft(export.name, export.data), ANSWERS)
    for question, answer in IN_ORDER[name]:
        lines = text.split("\n")
        at = next(n for n, line in enumerate(lines) if line.strip().startswith("#") and question in line)
        lines[at] = lines[at].replace("# ", "", 1).replace(question, answer)
        text = "\n".join(lines)
    if name == "three_layouts":  # the plate bears one letter, and what was mixed is chlorine
        before, after = text.rsplit("    values:\n", 1)
        text = before + "    values:\n      equipment_id: {A: TL-07-SYR-A, B: TL-07-SYR-B}\n      agent: {mixed: chlorine, looked over: }\n" + after
        text = text.replace("      step: Act", "      agent: Act\n      step: Act")

    expected = judged("canonical.csv", canonical(rows))
    report = judged(export.name, export.data, text)

    assert report["record_defects"] == []
    assert same(name, report) == same(name, expected, export.places)


def test_a_sheet_is_read_by_the_first_layout_that_takes_it(judged) -> None:  # noqa: F811
    """A layout for sheets that this workbook does not have is passed over, and no sheet is told as left aside that another reads."""
    export = STRANGE["three_layouts"](story())
    other = """\
  - match: "*.xlsx"
    sheets: [2025]
    columns: {store_id: S, equipment_id: E, step: X, started_at: T}
"""
    report = judged(export.name, export.data, export.mapping.replace("files:\n", "files:\n" + other, 1))

    assert report["inputs"][0]["rows_used"] == len(story())
    assert not any("is not read" in n["message"] for n in report["notices"])


def test_null_where_an_object_stood_is_no_new_name(reading) -> None:
    """A step without a reading has no `reading.value`; the export did not change its names."""
    log = '[{"m": "A", "at": "2026-05-04T20:00", "r": {"v": 1}}, {"m": "A", "at": "2026-05-04T20:00", "r": null}]'
    found = reading(log, "columns: {equipment_id: m, started_at: at, ph: r.v}\nconstants: {store_id: S, step: flush}", "a.json")

    assert found.defects == []
    assert found.column("ph") == [1.0, None]
