"""Every limit of what a file may ask for: exactly at it a file is read, one beyond it is not, and the sentence says how to raise it."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pytest

from validator.budget import LIMITS
from validator.cli import run
from validator.cli.limits import audit_memory, budget
from validator.errors import WrongInput
from validator.readers import read_files
from validator.tables import FileRead

from . import csv_files, json_files, parquet_files, workbooks
from .packing import archive, repeated
from .plausible import record, records

CSV = csv_files.table(records(6)).encode()
MEMBERS = workbooks.parts([workbooks.sheet(workbooks.rows(records(6)))])
BOOK = archive(MEMBERS)
JSON = json_files.array(records(6)).encode()
JSONL = json_files.one_a_line(records(6)).encode()
PARQUET = parquet_files.written(parquet_files.columns(6))
UNPACKED, PACKED = sum(m.size for m in MEMBERS), sum(len(m.packed) for m in MEMBERS)
CELLS = 14 + 6 * 13  # the header, and six rows without a note
NOTED = csv_files.table([*records(2), record(2, note="x" * 100)]).encode()  # a record longer than the header
NESTED = json_files.array([record(0), record(1, note=[[["deep"]]])]).encode()  # array, record, three lists
TIGHT = parquet_files.written(
    {name: [row[name] for row in records(50)] for name in ("store_id", "equipment_id", "step", "started_at")}
    | {"note": ["x" * 5000] * 50},
    use_dictionary=False, compression="zstd",
)  # fmt: skip


def unpacked(data: bytes) -> int:
    meta = pa.parquet.read_metadata(pa.BufferReader(data)).row_group(0)
    return sum(meta.column(n).total_uncompressed_size for n in range(meta.num_columns))


CASES = [
    ("a.csv", CSV, "file-size", len(CSV), ()),
    ("a.xlsx", BOOK, "expanded-size", UNPACKED, ()),
    ("a.parquet", TIGHT, "expanded-size", unpacked(TIGHT), ()),
    ("a.xlsx", BOOK, "member-size", max(m.size for m in MEMBERS), ()),
    ("a.xlsx", BOOK, "members", len(MEMBERS), ()),
    ("a.xlsx", BOOK, "ratio", -(-UNPACKED // PACKED), ("ratio-from=1",)),
    ("a.xlsx", BOOK, "ratio-from", UNPACKED, ("ratio=1",)),
    ("a.csv", CSV, "rows", 6, ()), ("a.json", JSON, "rows", 6, ()), ("a.jsonl", JSONL, "rows", 6, ()),
    ("a.xlsx", BOOK, "rows", 6, ()), ("a.parquet", PARQUET, "rows", 6, ()),
    ("a.xlsx", BOOK, "sheet-rows", 7, ()),
    ("a.csv", CSV, "columns", 14, ()), ("a.json", JSON, "columns", 14, ()), ("a.xlsx", BOOK, "columns", 14, ()),
    ("a.parquet", PARQUET, "columns", 14, ()),
    ("a.xlsx", BOOK, "cells", CELLS, ()),
    ("a.json", NESTED, "depth", 5, ()),
]  # fmt: skip


def outcome(tmp_path, name, data, *limits):
    path = tmp_path / name
    path.write_bytes(data)
    (found,) = read_files([str(path)], budget(limits))
    return found


@pytest.mark.parametrize(("name", "data", "limit", "value", "others"), CASES, ids=[f"{c[2]}-{c[0]}" for c in CASES])
def test_both_sides_of_a_limit(tmp_path, name, data, limit, value, others):
    """At the limit the file is read as a whole; one below what it asks for it is refused, and told what raises it."""
    assert isinstance(outcome(tmp_path, name, data, f"{limit}={value}", *others), FileRead)
    refused = outcome(tmp_path, name, data, f"{limit}={value - 1}", *others)
    assert f"--limit {limit}=" in refused.sentence
    assert any(str(n) in refused.sentence for n in (value, value - 1)) or limit == "ratio-from"


@pytest.mark.parametrize(
    ("name", "data", "limit", "value"),
    [("a.csv", CSV, "cell-characters", 20), ("a.jsonl", JSONL, "cell-characters", 20), ("a.xlsx", BOOK, "cell-characters", 20),
     ("a.parquet", PARQUET, "cell-characters", 12), ("a.csv", NOTED, "line-size", max(map(len, NOTED.splitlines()))),
     ("a.jsonl", JSONL, "line-size", max(map(len, JSONL.splitlines())))],
)  # fmt: skip
def test_a_limit_of_one_cell_or_line(tmp_path, name, data, limit, value):
    """What is too long costs its own row and no other, and the defect says what raises the limit."""
    sound = outcome(tmp_path, name, data, f"{limit}={value}")
    assert sound.tables[0].defects == []
    defects = outcome(tmp_path, name, data, f"{limit}={value - 1}").tables[0].defects
    assert defects
    assert all(f"--limit {limit}=" in d.message and f" {value} " in d.message for d in defects)


def test_memory(tmp_path):
    """A cell of 96 MiB cannot be read in 64 MiB, and can in the memory that is allowed by default."""
    before, after = workbooks.sheet(workbooks.rows(records(1)) + '<row r="3"><c r="N3" t="inlineStr"><is><t>\0</t></is></c></row>'
                                    ).encode().split(b"\0")  # fmt: skip
    big = archive([*workbooks.parts([""])[:-1], repeated(workbooks.SHEET, before, b"A" * 2**20, 96, after)])
    refused = outcome(tmp_path, "a.xlsx", big, "ratio=2000", "memory=64MiB")
    assert refused.code == "parser_limit"
    assert "the limit is 64MiB (raise it with --limit memory=SIZE)" in refused.sentence
    read = outcome(tmp_path, "a.xlsx", big, "ratio=2000")
    assert [d.code for d in read.tables[0].defects if d.column == "note"] == ["cell_too_long"]


def test_every_limit_has_a_test():
    """A limit that nothing tries may not hold. Seconds are tried with a reader that loops, beside the other deaths."""
    assert {c[2] for c in CASES} | {"cell-characters", "line-size", "memory", "seconds"} == set(LIMITS)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [(["memers=3"], "did you mean 'members'?; allowed names: file-size, expanded-size"),
     (["members"], "write it as NAME=VALUE; allowed names"),
     (["members=1KiB"], "found '1KiB'; write it as a whole number"),
     (["file-size=2gb"], "found '2gb'; write it as bytes or with a unit, as 2GiB, 512MiB or 64KiB"),
     (["members=-1"], "found '-1'; write it as a whole number"),
     (["members=0"], "members can be 1 to 2147483647"), (["depth=501"], "depth can be 1 to 500"),
     (["memory=1MiB"], "memory can be 64MiB to 1024TiB"), (["rows=5", "rows=6"], "rows is given twice")],
)  # fmt: skip
def test_a_limit_that_is_written_wrong(given, sentence):
    """The sentence says what was found and what may stand there."""
    with pytest.raises(WrongInput, match=None) as caught:
        budget(given)
    assert sentence in str(caught.value)


def test_sizes_have_units():
    """A size is bytes, or has a unit of 1024."""
    assert budget(["file-size=3KiB", "memory=1GiB", "line-size=77"]) == budget(["file-size=3072", "memory=1073741824", "line-size=77"])


@pytest.mark.parametrize(
    ("given", "sentence"),
    [("2gb", "found '2gb'; write it as bytes or with a unit, as 2GiB, 512MiB or 64KiB"),
     ("1.5GiB", "found '1.5GiB'; write it as bytes"), ("255MiB", "--memory can be 256MiB to 1024TiB"),
     ("268435455", "--memory can be 256MiB to 1024TiB")],
)  # fmt: skip
def test_the_memory_of_an_audit_is_written_as_any_size(given, sentence):
    """One grammar: what --limit takes for a size --memory takes, and refuses in the same words."""
    assert audit_memory("256MiB") == audit_memory("268435456") == 2**28
    assert audit_memory(None) is None
    with pytest.raises(WrongInput) as caught:
        audit_memory(given)
    assert f"--memory {given}: {sentence}" in str(caught.value)


def test_check_and_mapping_take_them(tmp_path, capfd):
    """The option reaches the reader from every command that reads records."""
    (tmp_path / "a.csv").write_bytes(CSV)
    (tmp_path / "m.yaml").write_text("mapping: m\nfiles:\n  - match: '*'\n    columns: {store_id: store_id, equipment_id: equipment_id, "
                                     "step: step, started_at: started_at}\n")  # fmt: skip
    log, limit = str(tmp_path / "a.csv"), ("--limit", "rows=5")
    run(["check", log, "--rules", "syrup-line-cip", "--format", "json", *limit])
    assert "--limit rows=N" in json.loads(capfd.readouterr().out)["inputs"][0]["reason"]
    for command in (["check", log, "--mapping", str(tmp_path / "m.yaml")], ["draft", log]):
        assert run(["mapping", *command, *limit]) == 4
        assert "--limit rows=N" in capfd.readouterr().err


def test_help_lists_them(capfd):
    """`check --help` ends with every limit and its default."""
    run(["check", "--help"])
    told = capfd.readouterr().out
    assert all(f"  {name} " in told and limit.said(limit.default) in told for name, (_, limit) in LIMITS.items())


def test_the_readme_lists_them():
    """So does the README."""
    told = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    assert [name for name, (_, limit) in LIMITS.items() if f"`{name}`" not in told or limit.said(limit.default) not in told] == []
