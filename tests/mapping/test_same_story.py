"""One story kept in six ways gives the findings of the canonical file, row for row."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from validator.cli import run

from .exports import EXPORTS, REGISTER, canonical, story


@pytest.fixture
def judged(tmp_path: Path, capfdbinary):
    """`judged(name, data, mapping)`: the report on one file."""

    def go(name: str, data: bytes, mapping: str | None = None) -> dict:
        (tmp_path / "register.yaml").write_text(REGISTER, "utf-8")
        (tmp_path / name).write_bytes(data)
        arguments = ["check", str(tmp_path / name), "--rules", "syrup-line-cip", "--register",
                     str(tmp_path / "register.yaml"), "--as-of", "2026-07-01T12:00:00Z", "--format", "json"]  # fmt: skip
        if mapping is not None:
            (tmp_path / "mapping.yaml").write_text(mapping, "utf-8")
            arguments += ["--mapping", str(tmp_path / "mapping.yaml")]
        status = run(arguments)
        out, err = capfdbinary.readouterr()
        assert status == 1, err.decode()
        return json.loads(out)

    return go


def placed(report: dict, places: list[tuple[str, int]] | None = None) -> list[dict]:
    """The findings, their evidence by the place where it stands (of the canonical file: where it would stand)."""
    found = []
    for finding in report["findings"]:
        shown = []
        for one in finding["evidence"]:
            where = (one["sheet"], one["row"]) if places is None else places[one["row"] - 2]
            shown.append((tuple(where), tuple(zip(one["columns"], one["values"], strict=True))))
        found.append({**finding, "evidence": sorted(shown)})
    return found


@pytest.mark.parametrize("name", EXPORTS)
def test_an_export_gives_the_findings_of_the_canonical_file(judged, name: str) -> None:
    """Same findings, same messages and figures, the evidence at the row that the reader of the export sees."""
    rows = story()
    export = EXPORTS[name](rows)

    expected = judged("canonical.csv", canonical(rows, export.lengths))
    report = judged(export.name, export.data, export.mapping)

    assert len(expected["findings"]) > 8
    assert report["record_defects"] == expected["record_defects"] == []
    assert placed(report) == placed(expected, export.places)
    assert report["summary"] == expected["summary"]
    assert report["inputs"][0]["rows_used"] == len(rows)
    assert any("read by the mapping" in text for text in report["inputs"][0]["assumptions"])
