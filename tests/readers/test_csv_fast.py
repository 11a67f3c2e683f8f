"""The fast reading of plain blocks gives what the line-by-line reading gives, for every file."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator.readers import csv_, csv_fast
from validator.readers.cells import as_text
from validator.readers.columns import TableBuilder
from validator.readers.dialect import find_layout
from validator.tables import Budget, RawTable

HEADER = ["store_id", "equipment_id", "step", "started_at", "ph", "other"]
GOOD = ["TL-01", "TL-01-SYR-A", "flush", "2026-03-01T21:40:00", "7.2", "x"]


def told(table: RawTable):
    """Everything a table says, in a form that compares."""
    cells = {}
    for name, column in table.columns.items():
        text = as_text(column, len(table.rows))
        cells[name] = [None if code < 0 else text.vocabulary[code] for code in text.codes]
    return table.rows.tolist(), cells, table.defects, table.blank_rows


def both(data: bytes, monkeypatch=None):
    fast, slow = (told(csv_.read_bytes(data, Budget(), fast=fast)[0][0]) for fast in (True, False))
    return fast, slow


def plain(data: bytes) -> bool:
    """Whether the whole of the records was taken by the fast reading."""
    layout = find_layout(data, 0, Budget(), [])
    table = TableBuilder(layout.columns, Budget())
    found = csv_fast.split_block(data, layout.start, len(data), layout, Budget())
    if found is not None:
        csv_fast.append(found, layout.first_line, 0, table)
    return found is not None


cell = st.one_of(
    st.sampled_from(
        ["", "flush", " ", "TL-01", "2026-03-01T21:40:00", "step", "a b", "é", "工", "NA", "null", "\t", "1e5"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=6),
)
rows = st.lists(st.lists(cell, min_size=len(HEADER), max_size=len(HEADER)), max_size=12)


@settings(max_examples=300, deadline=None)
@given(rows, st.sampled_from(",;|\t"), st.sampled_from(["\n", "\r\n", "\r"]), st.sampled_from([0, 1, 3]), st.booleans())
def test_same_table_for_every_written_file(table, delimiter, end, quoting, last_end):
    """Whatever a CSV writer writes, in whatever dialect, both readings agree to the last defect."""
    buffer = io.StringIO(newline="")
    escape = {"escapechar": "\\"} if quoting == 3 else {}
    writer = csv.writer(buffer, delimiter=delimiter, lineterminator=end, quoting=quoting, **escape)
    writer.writerow(HEADER)
    writer.writerows(table)
    data = buffer.getvalue().encode()
    fast, slow = both(data if last_end else data.rstrip(end.encode()))
    assert fast == slow


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_same_table_for_every_damaged_file(data):
    """A byte changed, put in or taken out anywhere behind the header changes both readings alike."""
    text = bytearray("\r\n".join(",".join(GOOD) for _ in range(5)).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        piece = data.draw(st.sampled_from([b'"', b"\n", b"\r", b",", b"\0", b"\xff", b'""', b'","', b"\r\n\r\n", b""]))
        text[at : at + data.draw(st.integers(0, 2))] = piece
    fast, slow = both(",".join(HEADER).encode() + b"\r\n" + bytes(text))
    assert fast == slow


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("quote", [b"", b'"'])
def test_ordinary_files_are_plain(end, quote):
    """The fast reading takes what exports mostly look like: bare or quoted cells, LF or CRLF."""
    line = b",".join(quote + cell.encode() + quote for cell in GOOD)
    data = end.join([",".join(HEADER).encode(), line, line.replace(b"x", b""), line]) + end
    assert plain(data)


@pytest.mark.parametrize(
    "spoil",
    [b"\n\n", b',,,,,\n', b'" ",,,,,\n', b"a\n", b"\r", b'TL,A,flush,"a\nb",,\n', b'TL,A,flush,a"b",,\n',
     b"TL,A,step,,,\n", b"step,store_id,equipment_id,ph,started_at,other\n", b"\xff,A,flush,,,\n", b"TL,A,flush,,," + b"x" * 40_000 + b",\n"],
)  # fmt: skip
def test_what_is_not_plain_is_left_alone(spoil):
    """Blank lines, ragged rows, stray quotes or returns, bad bytes, headers and long cells are not plain."""
    line = ",".join(GOOD).encode() + b"\n"
    assert plain(",".join(HEADER).encode() + b"\n" + line + line)
    assert not plain(",".join(HEADER).encode() + b"\n" + line + spoil + line)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('"a","b"\n', True), ('"a""b"\n', True), ('a,""\r\n"x"', True), ('"a\nb"\n', False), ('"a"\n"\n', False),
        ('a"b"\n', False), ('"a"b\n', False), ('"a" ,b\n', False),
    ],
)  # fmt: skip
def test_quotation_marks_that_are_plain(text, expected):
    """Pairs around whole cells within one line, with doubled marks inside, and nothing else."""
    view = np.frombuffer(text.encode(), dtype=np.uint8)
    assert csv_fast._quotes_are_plain(view, np.flatnonzero(view == ord('"')), ord(",")) is expected


def test_a_mark_at_the_head_of_a_block_is_text():
    """Files pasted together put a byte order mark inside the data: it is part of its cell for both readings."""
    data = (",".join(HEADER) + "\n\ufeff" + ",".join(GOOD) + "\n").encode()
    fast, slow = both(data)
    assert fast == slow
    assert fast[1]["store_id"] == ["\ufeffTL-01"]


def test_one_damaged_row_costs_only_its_piece(monkeypatch):
    """In a long file the blocks around a damaged row are still read fast, and every row keeps its line."""
    monkeypatch.setattr(csv_, "BLOCK", 4096)
    monkeypatch.setattr(csv_, "PIECE", 512)
    slow_lines = []
    line_by_line = csv_._Reading._line_by_line
    monkeypatch.setattr(
        csv_._Reading, "_line_by_line", lambda self, stop: (slow_lines.append(stop - self.at), line_by_line(self, stop))
    )
    good = ",".join(GOOD)
    text = "\n".join([",".join(HEADER), *[good] * 300, "torn", *[good] * 300]) + "\n"
    table = csv_.read_bytes(text.encode(), Budget(), fast=True)[0][0]
    assert table.rows.tolist() == [*range(2, 302), *range(303, 603)]
    assert [(d.row, d.code) for d in table.defects] == [(302, "field_count")]
    assert 0 < sum(slow_lines) < 1200


def test_vocabularies_join_over_blocks(monkeypatch):
    """A word has one code in the whole file, whichever block it first stood in."""
    monkeypatch.setattr(csv_, "BLOCK", 64)
    words = ["flush", "rinse", "flush", "soak", "rinse", ""]
    text = "\n".join([",".join(HEADER), *(",".join([*GOOD[:2], word, *GOOD[3:]]) for word in words)])
    table = csv_.read_bytes(text.encode(), Budget(), fast=True)[0][0]
    assert table.columns["step"].vocabulary == ["flush", "rinse", "soak"]
    assert table.columns["step"].codes.tolist() == [0, 1, 0, 2, 1, -1]
    assert table.columns["started_at"].offsets.tolist() == [19 * n for n in range(7)]
    assert np.all(table.rows == np.arange(2, 8))
