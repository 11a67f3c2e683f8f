"""What is done with arbitrary bytes in a fuzz run: one function a reader, with files to begin from.

A target returns quietly for every outcome that is promised (a table, a refusal, a plain error); anything else that it raises is a find.
"""

from __future__ import annotations

import atexit
import contextlib
import io
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq

from validator import documents
from validator.errors import Unreadable, WrongInput
from validator.mapping.apply import LONGEST
from validator.mapping.model import MappingFile, load_mapping
from validator.mapping.values import NotRead, Style, read_amount, read_clock, read_date, read_epoch, read_moment
from validator.packs.loading import load_pack
from validator.quantities import parse_number
from validator.readers import csv_, json_, jsonl, parquet, xlsx
from validator.readers.cells import as_text, parse
from validator.readers.named import Named, Unknown
from validator.tables import Budget, StringsColumn
from validator.timing.instants import NoInstant, parse_instant, parse_strings

BUDGET = Budget(rows=10_000, sheet_rows=10_000, cells=50_000, expanded_bytes=2**22, member_bytes=2**22)
NAMES = ("store_id", "equipment_id", "step", "started_at", "ended_at", "concentration_ppm", "note")
ROW = ("TL-01", "SYR-A", "flush", "2026-03-01T21:40:00", "2026-03-01T21:55:00", "100", "ran clear")
MAPPING = """\
mapping: m
files:
  - columns: {equipment_id: equipment_id, step: step, started_at: started_at, concentration_ppm: {from: concentration_ppm, unit: ppm}}
    constants: {store_id: S}
    dates: dmy
"""
PARTS = ("", "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/workbook.xml", "xl/sharedStrings.xml")
_SCHEMAS = b"http://schemas.openxmlformats.org/officeDocument"
_LAYOUT = documents.load(MappingFile, documents.read_bytes(MAPPING.encode(), "m.yaml")).files[0]
_FOLDER = Path(tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
atexit.register(shutil.rmtree, _FOLDER, ignore_errors=True)


def _file(data: bytes, name: str) -> Path:
    path = _FOLDER / name
    path.write_bytes(data)
    return path


def _read(reader: object, data: bytes, name: str) -> None:
    """By the canonical names, by a mapping's, and of a file of which nothing is known."""
    if not data:
        return
    path = _file(data, name)
    for names in (None, Named(_LAYOUT), Unknown()):
        try:
            read = reader.read(path, BUDGET) if names is None else reader.read(path, BUDGET, names)  # type: ignore[attr-defined]
        except (Unreadable, MemoryError):
            continue
        if names is None:
            for table in read[0]:
                parse(table)


def _told(table: object) -> object:
    texts = {name: as_text(column, len(table.rows)) for name, column in table.columns.items()}  # type: ignore[attr-defined]
    cells = {name: ["" if c < 0 else text.vocabulary[c] for c in text.codes] for name, text in texts.items()}
    return table.rows.tolist(), cells, table.defects, table.blank_rows  # type: ignore[attr-defined]


def csv(data: bytes) -> None:
    """The two ways of reading agree, and the rows are read, lost or blank: no more of them than lines."""
    _read(csv_, data, "log.csv")
    tables = []
    for fast in (True, False):
        try:
            tables.append(_told(csv_.read_bytes(data, BUDGET, fast)[0][0]))
        except Unreadable as refusal:
            tables.append(str(refusal))
    assert tables[0] == tables[1], "the fast and the slow reading differ"
    if not isinstance(tables[0], str):
        rows, _, defects, blank = tables[0]
        lost = [d.row for d in defects if d.index < 0]
        assert len({*rows, *lost}) == len(rows) + len(lost), "a line is told of twice"
        assert len(rows) + len(lost) + blank <= data.count(b"\n") + data.count(b"\r") + 1


def xlsx_package(data: bytes) -> None:
    """The first byte says whether the rest is a whole package or one part of a sound one."""
    if not data:
        return
    part = PARTS[data[0] % len(PARTS)]
    _read(xlsx, data[1:] if not part else _with_part(part, data[1:]), "log.xlsx")


def json_array(data: bytes) -> None:
    _read(json_, data, "log.json")


def json_lines(data: bytes) -> None:
    _read(jsonl, data, "log.jsonl")


def parquet_file(data: bytes) -> None:
    _read(parquet, data, "log.parquet")


def pack(data: bytes) -> None:
    """A pack, its kinds and parameters bound."""
    with contextlib.suppress(WrongInput, Unreadable):
        load_pack(_file(data, "pack.yaml"))


def mapping(data: bytes) -> None:
    with contextlib.suppress(WrongInput, Unreadable):
        load_mapping(_file(data, "m.yaml"))


def cells(data: bytes) -> None:
    """A time, a number and a length of time, by the contract and by a mapping; the vectorised reading of times agrees."""
    text = data.decode("utf-8", "replace").strip()
    try:
        one = parse_instant(text)
    except NoInstant:
        one = None
    stored = text.encode()
    laid = StringsColumn(np.array([0, len(stored)], dtype=np.int64), np.frombuffer(stored, dtype=np.uint8))
    micros, absolute, rest = parse_strings(laid)
    assert len(rest) or not text or one == (int(micros[0]), bool(absolute[0]))
    with contextlib.suppress(ValueError):
        assert np.isfinite(parse_number(text))
    if len(text) > LONGEST:
        return
    for style in (Style(), Style("dmy", 2026, "12h", ",", "."), Style("mdy", None, "24h", ".", ","), Style("ymd", 2026, None, ",", " ")):
        for read in (
            lambda t, s=style: read_moment(t, s), lambda t, s=style: read_date(t, s), lambda t, s=style: read_clock(t, s),
            lambda t: read_epoch(t, "epoch_ms"), lambda t, s=style: read_amount(t, "duration_s", "min", s),
            lambda t, s=style: read_amount(t, "concentration_ppm", "%", s), lambda t, s=style: read_amount(t, "temperature_c", "F", s),
        ):  # fmt: skip
            with contextlib.suppress(NotRead):
                read(text)


# --- files to begin from --------------------------------------------------------------------------------------------


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    book.active.append(NAMES)
    book.active.append(ROW)
    book.active["D2"].value = 46082.9
    book.active["D2"].number_format = "yyyy-mm-dd hh:mm"
    raw = io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    # the last cell as a shared text, which this library does not write
    cell = b'<c r="G2" t="inlineStr"><is><t>ran clear</t></is></c>'
    assert cell in parts[PARTS[1]]
    parts[PARTS[1]] = parts[PARTS[1]].replace(cell, b'<c r="G2" t="s"><v>0</v></c>')
    parts[PARTS[4]] = b'<sst xmlns="%s/2006/main"><si><t>ran clear</t></si></sst>' % _SCHEMAS.replace(b"office", b"spreadsheet")
    link = b'<Relationship Type="%s/2006/relationships/sharedStrings" Target="sharedStrings.xml" Id="rId9"/></Relationships>'
    rels = "xl/_rels/workbook.xml.rels"
    parts[rels] = parts[rels].replace(b"</Relationships>", link % _SCHEMAS)
    return _zipped(parts)


def _zipped(parts: dict[str, bytes]) -> bytes:
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w") as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return raw.getvalue()


_BOOK = _workbook()


def _with_part(name: str, content: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(_BOOK)) as book:
        return _zipped({**{member: book.read(member) for member in book.namelist()}, name: content})


def _parts() -> list[bytes]:
    with zipfile.ZipFile(io.BytesIO(_BOOK)) as book:
        return [b"\0" + _BOOK, *(bytes([at]) + book.read(part) for at, part in enumerate(PARTS) if part)]


def _parquet() -> bytes:
    """Without statistics: a damaged histogram in them makes the library abort, which only the bounded process turns into a refusal."""
    raw = io.BytesIO()
    table = pa.table({name: [cell] for name, cell in zip(NAMES, ROW, strict=True)})
    pq.write_table(table, raw, compression="none", write_statistics=False)
    return raw.getvalue()


_LOG = "\r\n".join([",".join(NAMES), ",".join(ROW), ",".join((*ROW[:-1], '"a, ""b""\n c"')), ""]).encode()
_RECORD = dict(zip(NAMES, ROW, strict=True))
_RULES = Path(__file__).resolve().parents[2] / "rules"
_PACK = b"pack: p\nversion: 1.0.0\nprocedure: cip\nrules: [{id: T-F, title: Short, kind: flush, params: {targets: lines, min: PT15M}}]\n"

TARGETS: dict[str, tuple[Callable[[bytes], None], list[bytes]]] = {
    "csv": (csv, [_LOG, _LOG.replace(b",", b";"), b"sep=|\n" + _LOG.replace(b",", b"|"), b"\xef\xbb\xbf" + _LOG,
                  _LOG.decode().encode("utf-16"), b"Title\n\n" + _LOG.replace(b",", b", ")]),
    "xlsx": (xlsx_package, _parts()),
    "json": (json_array, [json.dumps([_RECORD, {**_RECORD, "note": None, "concentration_ppm": 1.5e3}]).encode(),
                          json.dumps({"logs": [{"steps": [_RECORD]}]}).encode()]),
    "jsonl": (json_lines, ["\n".join(map(json.dumps, [_RECORD, {}, {"store_id": "é\ud800"}])).encode()]),
    "parquet": (parquet_file, [_parquet()]),
    "pack": (pack, [_PACK, *(p.read_bytes() for p in sorted(_RULES.glob("*/pack.yaml")))]),
    "mapping": (mapping, [MAPPING.encode()]),
    "cells": (cells, [b"2026-03-01T21:40:00+05:30", b"31.12.2026 9:05 pm", b"1.234,5 ppm", b"1 h 5 min", b"PT15M", b"20260301214000",
                      b"Mar 1, 2026 12:00 am", b"24:00", b"0:15:00.5", b"1767225600000", b"-3.5e2"]),
}  # fmt: skip


def seeds(target: str, folder: Path) -> None:
    """Write the files that a target begins from into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for at, data in enumerate(TARGETS[target][1]):
        (folder / f"seed-{at}").write_bytes(data)


def bound_memory(bytes_: int) -> None:
    """What the process of a reader has as well: a file that asks for more is refused, not a find."""
    if os.name == "posix":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (bytes_, bytes_))
