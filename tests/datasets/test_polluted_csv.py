"""2,290 polluted CSV files: nothing is read wrongly in silence, and a damaged row costs itself alone."""

from __future__ import annotations

import json

import pytest

from validator import documents
from validator.cli import run
from validator.errors import Unreadable
from validator.mapping.model import MappingFile
from validator.readers import formats
from validator.readers.cells import as_text
from validator.readers.csv_ import read_bytes
from validator.readers.named import Named
from validator.tables import Budget

from .polluted import CLEAN, HEADER, ROWS, file_level, row_level

MAPPING = """\
mapping: own-log
files:
  - columns:
      equipment_id: Machine
      step: Work
      started_at: {date: Day, time: From}
      duration_s: {from: Minutes, unit: min}
      concentration_ppm: {from: Strength, unit: ppm}
      solution_id: Sheet
      performed_by: Initials
      note: Remark
    constants: {store_id: S}
    values: {step: {Flushed: flush, Soaked: soak, "Mixed, tested": mix_solution, 'Rinsed 5" hose': rinse, Primed: prime}}
    dates: dmy
"""
LAYOUT = documents.load(MappingFile, documents.read_bytes(MAPPING.encode(), "m.yaml")).files[0]


def rows_of(data: bytes, fast: bool) -> tuple[dict[int, tuple[str, ...]], list[tuple[int, str]]]:
    """Each row that is used by its line, all nine cells; line and code of each that is set aside."""
    formats.decide("log.csv", data[: formats.HEAD], len(data), lambda start, n: data[start : start + n])
    (table,), _, _ = read_bytes(data, Budget(), fast, Named(LAYOUT))
    columns = [as_text(table.columns[name], len(table.rows)) for name in HEADER]
    cells = ["" if code < 0 else c.vocabulary[code].strip() for c in columns for code in c.codes]
    size = len(table.rows)
    rows = {int(line): tuple(cells[at::size]) for at, line in enumerate(table.rows)}
    return rows, [(d.row, d.code) for d in table.defects]


KINDS = {"extra delimiter": 756, "missing delimiter": 672, "stray quote": 756, "wrong delimiter": 84}


@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_row_costs_itself_alone(kind) -> None:
    """In each of the 2,268 files with one damaged line, every other row is read as it stands in the clean log.

    The damaged one is named. Where it is the header, all rows are read: its names can still be told.
    """
    files = [file for file in row_level() if file.kind == kind]
    for number, file in enumerate(files):
        rows, lost = rows_of(file.data, fast=number % 2 == 1)
        assert rows == {line: row for line, row in enumerate(CLEAN, 2) if line != file.damaged}, file.name
        assert [line for line, _ in lost] == ([file.damaged] if file.damaged != 1 else []), file.name

    assert len(files) == KINDS[kind]


WITH_QUOTES = [line for line, row in enumerate(CLEAN, 2) if any('"' in cell for cell in row)]
OUTCOMES: dict[str, object] = {
    "source": [], "no_payload": "empty_file", "no_trailing_newline": [], "double_trailing_newline": [],
    "no_header": "missing_column", "header_twice": [2], "header_thrice": [2, 3], "preamble": [],
    "second_table_less": list(range(85, 168)), "second_table_same": [85, *(line + 84 for line in WITH_QUOTES if line < 84)], "second_table_more": list(range(85, 168)),
    "header_only": [], "one_row": [], "lf": [], "cr": [], "semicolon": [], "tab": [], "comma_blank": [],
    "blank": "missing_column", "apostrophe": "missing_column", "backslash": WITH_QUOTES, "no_escape": WITH_QUOTES,
}  # fmt: skip
"""The lines that are set aside, or the reason for which the file is refused."""


@pytest.mark.parametrize("fast", [False, True])
@pytest.mark.parametrize("file", list(file_level()), ids=lambda file: file.kind)
def test_pollution_of_the_whole_file(file, fast) -> None:
    """What can be read is read as in the clean log, what cannot is named, line by line or as a whole file."""
    expected = OUTCOMES[file.kind]
    if isinstance(expected, str):
        with pytest.raises(Unreadable) as caught:
            rows_of(file.data, fast)
        assert caught.value.code == expected
        return
    rows, lost = rows_of(file.data, fast)

    first = {"header_twice": 3, "header_thrice": 4, "preamble": 4}.get(file.kind, 2)
    size = {"header_only": 0, "one_row": 1}.get(file.kind, ROWS)
    clean = {line: row for line, row in enumerate(CLEAN[:size], first) if line not in expected}
    if file.kind == "second_table_same":  # the same columns again: its rows are records as well
        clean |= {line: row for line, row in enumerate(CLEAN[:-1], 86) if line not in expected}
    assert rows == clean
    assert [line for line, _ in lost] == expected


def test_every_file_of_the_benchmark_is_made_once() -> None:
    """756 extra delimiters, 672 missing ones, 756 stray quotes, 84 rows with another delimiter, 22 whole files; no name twice."""
    files = [*row_level(), *file_level()]

    assert len({file.name for file in files}) == len(files) == 2290
    assert len({file.data for file in files}) == len(files)
    assert set(OUTCOMES) == {file.kind for file in file_level()}


def test_the_command_tells_the_same(tmp_path, capfdbinary) -> None:
    """`check --mapping` counts one defective row and 82 used ones in a file of each kind."""
    kinds = {file.kind: file for file in row_level() if file.damaged == 40}
    for file in kinds.values():
        (tmp_path / file.name).write_bytes(file.data)
    (tmp_path / "m.yaml").write_text(MAPPING, "utf-8")
    (tmp_path / "pack.yaml").write_text(
        "pack: p\nversion: 1.0.0\nprocedure: cip\nrules: [{id: T-F, title: Short, kind: flush, params: {targets: lines, min: PT15M}}]\n"
    )
    run(["check", *(str(tmp_path / file.name) for file in kinds.values()), "--rules", str(tmp_path / "pack.yaml"),
         "--mapping", str(tmp_path / "m.yaml"), "--as-of", "2026-12-01", "--format", "json"])  # fmt: skip
    inputs = json.loads(capfdbinary.readouterr()[0])["inputs"]

    assert len(inputs) == len(KINDS)
    assert [(file["rows"], file["rows_used"], file["rows_defective"]) for file in inputs] == [(83, 82, 1)] * len(KINDS)
