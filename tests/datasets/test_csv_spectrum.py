"""The small CSV files of csv-spectrum: the cells that its JSON files hold."""

from __future__ import annotations

import json

import pytest

from validator import documents
from validator.mapping.model import MappingFile
from validator.readers.cells import as_text
from validator.readers.csv_ import read_bytes
from validator.readers.named import Named
from validator.tables import Budget

FILES = ("comma_in_quotes", "empty", "empty_crlf", "escaped_quotes", "json", "newlines", "newlines_crlf", "quotes_and_newlines",
         "simple", "simple_crlf", "utf8")  # fmt: skip


def read(data: bytes, first: str):
    mapping = f"mapping: m\nfiles: [{{columns: {{equipment_id: {first}}}, constants: {{store_id: S, step: flush, started_at: '2026-01-01T00:00'}}}}]"
    layout = documents.load(MappingFile, documents.read_bytes(mapping.encode(), "m.yaml")).files[0]
    return read_bytes(data, Budget(), None, Named(layout, every=True))[0][0]


@pytest.mark.parametrize("name", FILES)
def test_every_cell(published, name) -> None:
    """Line ends, quotes, delimiters and UTF-8 in cells come out as the suite says."""
    folder = published("node_modules/csv-spectrum")
    expected = json.loads((folder / f"json/{name}.json").read_text("utf-8"))

    table = read((folder / f"csvs/{name}.csv").read_bytes(), next(iter(expected[0])))

    columns = {column: as_text(table.columns[column], len(table.rows)) for column in expected[0]}
    cells = [
        {column: "" if text.codes[at] < 0 else text.vocabulary[text.codes[at]] for column, text in columns.items()}
        for at in range(len(table.rows))
    ]
    assert cells == expected
    assert table.defects == []


def test_a_bare_quotation_mark_costs_its_row(published) -> None:
    """Inches in a cell without quotes around it are not RFC 4180, and the suite's own two files differ: the row is named, not guessed."""
    data = (published("node_modules/csv-spectrum") / "csvs/location_coordinates.csv").read_bytes()

    table = read(data, "Contact Phone Number")

    assert [(d.row, d.column, d.code) for d in table.defects] == [(2, "Location Coordinates", "bad_quoting")]
    assert len(table.rows) == 0


def test_no_file_of_the_suite_is_left_out(published) -> None:
    """What the suite holds is what is read here."""
    found = {path.stem for path in (published("node_modules/csv-spectrum") / "csvs").iterdir()}

    assert found == {*FILES, "location_coordinates"}
