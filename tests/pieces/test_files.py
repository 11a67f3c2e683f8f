"""Do files that are read part by part and judged in pieces end in the same report as files that are read at once?"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import yaml

from tests.benchmarks.fleet_log import write
from tests.mapping.exports import EXPORTS, REGISTER, canonical, story
from tests.mapping.strange_exports import deep_json
from validator.assembly import assemble
from validator.demo import PACK, write_demo
from validator.engine import audit
from validator.engine.pieces import audit_pieces, survey_pieces
from validator.machines import AsOf
from validator.mapping.model import Chosen, load_mapping
from validator.packs.loading import load_pack
from validator.readers import csv_, parquet, start_reading
from validator.readers.bounded import Reading
from validator.readers.cells import parse
from validator.readers.fitting import fit, fit_parts
from validator.readers.memory import Division
from validator.register import load_register
from validator.reports.json_ import render
from validator.tables import Budget

SAID: dict[str, Any] = {"generated_at": "2026-01-01T00:00:00Z", "tool": "cip-audit", "drawn": 20}


def divided(
    paths: Sequence[str], division: Division, monkeypatch: pytest.MonkeyPatch, mapping: Chosen | None = None
) -> Reading:
    monkeypatch.setattr("validator.readers.bounded.division", lambda *_: division)
    return start_reading(paths, mapping=mapping, memory=1)


def reports(
    paths: Sequence[Path], pack: str, register: Path, as_of: str, division: Division, monkeypatch: pytest.MonkeyPatch,
    mapping: Chosen | None = None,
) -> tuple[bytes, bytes, int]:  # fmt: skip
    """The report of files read at once, that of the same files in pieces, and how many pieces."""
    names = [str(p) for p in paths]
    packs, known, moment = [load_pack(pack)], load_register(register), AsOf.parse(as_of)
    zones = {s.store_id: s.timezone for s in known.stores}
    whole = audit(assemble(start_reading(names, mapping=mapping).result(), zones), packs, known, moment, **SAID)
    with divided(names, division, monkeypatch, mapping) as reading:
        pieces = reading.pieces()
        clocks = survey_pieces(pieces, zones).clocks
        told = audit_pieces(pieces, clocks, zones, packs, known, moment, **SAID)
    return render(whole), render(told), len(pieces)


@pytest.mark.parametrize(("buckets", "rows"), [(2, 1), (64, 300)])
def test_the_demo_is_told_of_in_the_same_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, buckets: int, rows: int
) -> None:
    """The invented chain with all its faults, in CSV and XLSX, gives the same bytes in any number of pieces."""
    demo = write_demo(tmp_path)
    whole, told, pieces = reports(
        demo.logs, PACK, demo.register, demo.as_of, Division(buckets, rows, 2), monkeypatch
    )
    assert told.decode() == whole.decode()
    assert pieces > 1


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of forty machines as three exports, two CSV and one Parquet, with rows told twice, told otherwise and spoiled,
    and one person at two stores.
    """
    folder = tmp_path_factory.mktemp("fleet")
    write(folder, 40)
    with (folder / "log.csv").open(newline="", encoding="utf-8") as log:
        rows = list(csv.DictReader(log))
    header = [*rows[0], "recorded_at"]
    first, second, third = rows[::3] + rows[:40], rows[1::3] + rows[::500], rows[2::3]
    second += [r | {"recorded_at": "2025-12-30T00:00:00Z", "agent": "acid"} for r in rows[5::700]]
    spoiled = [("started_at", "2025-02-30T10:00:00Z"), ("store_id", ""), ("step", "flsh"), ("concentration_ppm", "about 3"),
               ("equipment_id", "EQ\x07"), ("ended_at", "2025-01-01T00:00:00Z"), ("performed_by", "Ada")]  # fmt: skip
    for n, row in enumerate(first[::97]):
        row.update([spoiled[n % len(spoiled)]])
    at = {"started_at": "2025-06-01T10:00:00Z", "ended_at": "2025-06-01T10:30:00Z", "performed_by": "Ada"}
    first += [rows[3] | at, rows[-3] | at]
    for name, some in (("one.csv", first), ("two.csv", second)):
        with (folder / name).open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, header, restval="")
            writer.writeheader()
            writer.writerows(some)
            if name == "two.csv":
                out.write("half a row\r\n\r\n")
    frame = pd.DataFrame(third)
    for name in ("started_at", "ended_at"):
        frame[name] = pd.to_datetime(frame[name])
    frame["concentration_ppm"] = pd.to_numeric(frame["concentration_ppm"])
    pq.write_table(pa.Table.from_pandas(frame), folder / "three.parquet", row_group_size=5000)
    pack = (folder / "pack.yaml").read_text("utf-8")
    people = "  - {id: B-PEOPLE, title: Two places, kind: concurrency, grade: minor, params: {resource: performed_by}}\n"
    (folder / "pack.yaml").write_text(pack + people, "utf-8")
    return folder


@pytest.mark.parametrize(("buckets", "rows"), [(1, 10**9), (7, 1), (40, 9000)])
def test_a_fleet_is_told_of_in_the_same_report(
    fleet: Path, monkeypatch: pytest.MonkeyPatch, buckets: int, rows: int
) -> None:
    """Several exports, read in small parts and judged in any number of pieces, give the same bytes as at once."""
    paths = [fleet / name for name in ("one.csv", "two.csv", "three.parquet")]
    whole, told, _ = reports(
        paths, str(fleet / "pack.yaml"), fleet / "register.yaml", "2026-01-01T00:00:00Z", Division(buckets, rows, 2),
        monkeypatch,
    )  # fmt: skip
    assert told.decode() == whole.decode()
    for sign in ('"two_places"', '"superseded_rows"', '"duplicate_rows"', '"unknown_step"', '"field_count"'):
        assert sign in told.decode()


@pytest.mark.parametrize("name", ["one.csv", "two.csv", "three.parquet"])
def test_parts_hold_what_the_whole_holds(fleet: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Every row, cell, defect and blank line of a file is in one of its parts, in order."""
    monkeypatch.setattr(csv_, "PART", 4096)
    monkeypatch.setattr(parquet, "PART", 700)
    reader = parquet if name.endswith("parquet") else csv_
    (whole,), assumptions, notices = reader.read(fleet / name, Budget())
    found, *said = reader.parts(fleet / name, Budget())
    parts = list(found)
    assert len(parts) > 3
    assert said == [assumptions, notices]
    assert np.concatenate([p.rows for p in parts]).tolist() == whole.rows.tolist()
    assert sum(p.blank_rows for p in parts) == whole.blank_rows
    cut, at_once = [parse(p) for p in parts], parse(whole)
    for column, texts in at_once.texts.items():
        words = [w for p in cut for w in np.array([*p.texts[column].vocabulary, ""])[p.texts[column].codes]]
        assert words == np.array([*texts.vocabulary, ""])[texts.codes].tolist()
    for kind in ("times", "absolute", "numbers"):
        for column, values in getattr(at_once, kind).items():
            assert np.array_equal(np.concatenate([getattr(p, kind)[column] for p in cut]), values, equal_nan=kind == "numbers")
    told = sorted((d.row, d.column, d.code, d.message) for p in cut for d in p.defects)
    assert told == sorted((d.row, d.column, d.code, d.message) for d in at_once.defects)


MAPPING = """\
mapping: fleet-log
files:
  - match: "*"
    columns: {store_id: store_id, equipment_id: equipment_id, cycle_id: cycle_id, step: step, target: target, agent: agent,
              started_at: started_at, ended_at: ended_at}
    constants: {procedure: periodic-cip}
    values: {step: {flush: flush, sanitize: sanitize}, agent: {chlorine: chlorine, detergent: caustic}}
    skip: [{column: target, equals: [spout]}, {column: step, equals: [verify]}]
"""


@pytest.mark.parametrize("name", ["one.csv", "three.parquet"])
def test_a_mapping_is_applied_part_by_part(fleet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """What it makes of the rows, and what is told of those set aside and of words in no list, is as for the whole."""
    request = {"layouts": yaml.safe_load(MAPPING)["files"], "mapping": "fleet-log 1", "name": name, "look": False}
    monkeypatch.setattr(csv_, "PART", 4096)
    monkeypatch.setattr(parquet, "PART", 700)
    reader = parquet if name.endswith("parquet") else csv_
    (whole,), said = fit(reader, fleet / name, request, Budget())
    in_parts = fit_parts(reader, fleet / name, request, Budget())
    assert in_parts is not None
    parts = list(in_parts[0])
    told = in_parts[1]()
    assert len(parts) > 3
    assert (told["assumptions"], told["notices"]) == (said["assumptions"], said["notices"])
    assert np.concatenate([p.rows for p in parts]).tolist() == whole.rows.tolist()
    assert sum("set aside" in text for text in told["assumptions"]) == 2
    assert any("does not list" in text for text in told["notices"]) == (name == "one.csv")


@pytest.mark.parametrize("name", [*EXPORTS, "deep_json"])
def test_a_mapped_export_is_told_of_with_its_own_cells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Wide logs, workbooks and nested objects: where each cell stands in the export survives being laid down."""
    export = (EXPORTS.get(name) or deep_json)(story())
    (tmp_path / export.name).write_bytes(export.data)
    (tmp_path / "m.yaml").write_text(export.mapping, "utf-8")
    (tmp_path / "register.yaml").write_text(REGISTER, "utf-8")
    whole, told, pieces = reports(
        [tmp_path / export.name], PACK, tmp_path / "register.yaml", "2026-07-01T12:00:00Z", Division(8, 1, 1), monkeypatch,
        load_mapping(tmp_path / "m.yaml"),
    )  # fmt: skip
    assert told.decode() == whole.decode()
    assert pieces > 1
    assert any(any(e["cells"]) for f in json.loads(told)["findings"] for e in f["evidence"])


def test_common_names_are_told_of_in_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A column under a common name, a time that is written otherwise and a word for a step: the same is said of parts."""
    monkeypatch.setattr(csv_, "PART", 300)
    data = canonical(story()).replace(b"started_at,ended_at", b"Started,Finished").replace(b",flush,", b",rinse,", 3)
    lines = data.splitlines(keepends=True)
    lines[-1] = lines[-1].replace(b"2026-", b"06/05/2026 ", 1)
    (tmp_path / "log.csv").write_bytes(b"".join(lines))
    (tmp_path / "register.yaml").write_text(REGISTER, "utf-8")
    whole, told, pieces = reports(
        [tmp_path / "log.csv"], PACK, tmp_path / "register.yaml", "2026-07-01T12:00:00Z", Division(8, 1, 1), monkeypatch
    )
    assert told.decode() == whole.decode()
    assert pieces > 1
    said = [n["message"] for n in json.loads(told)["notices"] if n["code"] == "file"]
    assert [sign for sign in ("not written as this program reads", "steps are taken as") if any(sign in s for s in said)] != []


EMPTY = "store_id,equipment_id,step,started_at\n"


def test_a_file_without_rows_and_one_that_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An export without a row and a file that cannot be read stand in the report of pieces as they do in that of the whole."""
    write(tmp_path, 3)
    (tmp_path / "empty.csv").write_text(EMPTY, "utf-8")
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", "utf-8")
    (tmp_path / "cut.parquet").write_bytes(b"PAR1 and no more")
    paths = [tmp_path / n for n in ("log.csv", "empty.csv", "other.csv", "cut.parquet")]
    whole, told, _ = reports(
        paths, str(tmp_path / "pack.yaml"), tmp_path / "register.yaml", "2026-01-01T00:00:00Z", Division(4, 1, 1), monkeypatch
    )
    assert told.decode() == whole.decode()
    assert told.count(b'"refused"') == 2


@pytest.mark.parametrize("size", ["much", "255MiB", "-1G", "1 GiB of it"])
def test_a_size_that_is_none_is_refused(tmp_path: Path, size: str) -> None:
    """One sentence says what may stand there."""
    log = tmp_path / "log.csv"
    log.write_text(EMPTY, "utf-8")
    run = subprocess.run([sys.executable, "-m", "validator.cli", "check", str(log), "--memory", size],
                         capture_output=True, text=True, check=False)  # fmt: skip
    assert run.returncode == 2
    assert size in run.stderr
