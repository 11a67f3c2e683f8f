"""One table written in every format by the usual libraries reads back as that table, and no row goes uncounted."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime, timedelta

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from validator.readers.cells import as_text as texts_of
from validator.readers.csv_ import read_bytes
from validator.readers.physical import LINE_END
from validator.tables import NAT, Budget

TEXTS = ("store_id", "equipment_id", "step", "target", "test", "note")
STAMPS = ("started_at", "ended_at")
READINGS = ("concentration_ppm", "ph", "count_per_g")
NAMES = (*TEXTS, *STAMPS, *READINGS)

word = st.text(st.sampled_from("abcXYZ0189 -.:/#,;|'\"é工()"), max_size=8).map(str.strip)
needed = word.filter(lambda text: text not in ("", *NAMES))
stamp = st.one_of(
    st.none(),
    st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 31)).map(
        lambda t: t.replace(microsecond=t.microsecond // 1000 * 1000)
    ),
)
record = st.fixed_dictionaries(
    {
        "store_id": needed, "equipment_id": needed, "step": needed, "target": word, "test": word, "note": word,
        "started_at": stamp, "ended_at": stamp,
        "concentration_ppm": st.one_of(st.none(), st.integers(0, 10**6), st.floats(0, 1e6).map(lambda v: round(v, 9))),
        "ph": st.one_of(st.none(), st.integers(0, 140).map(lambda n: n / 10)),
        "count_per_g": st.one_of(st.none(), st.integers(0, 10**9), st.floats(0, 1e9).map(lambda v: round(v, 3))),
    }
)  # fmt: skip
records = st.lists(record, min_size=1, max_size=8)
relaxed = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def as_text(value):
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(timespec="milliseconds")
    return str(value)


def expected(table):
    """What the table must come back as: texts by row, instants in microseconds, readings as numbers."""
    micro = timedelta(microseconds=1)
    return (
        {name: [row[name] for row in table] for name in TEXTS},
        {n: [NAT if row[n] is None else (row[n] - datetime(1970, 1, 1)) // micro for row in table] for n in STAMPS},
        {name: [None if row[name] is None else float(row[name]) for row in table] for name in READINGS},
    )


def found(seen):
    parsed = seen.parsed[0]
    texts = {}
    for name in TEXTS:
        column = parsed.texts.get(name)
        coded = seen.cells(name) if column is None else ["" if c < 0 else column.vocabulary[c] for c in column.codes]
        texts[name] = coded
    return (
        texts,
        {name: parsed.times[name].tolist() for name in STAMPS},
        {name: [None if v != v else v for v in parsed.numbers[name].tolist()] for name in READINGS},
    )


@relaxed
@given(records, st.sampled_from(",;|\t"), st.sampled_from(["\n", "\r\n", "\r"]), st.sampled_from([0, 1]),
       st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32"]), st.integers(0, 4), st.booleans(), st.booleans())  # fmt: skip
def test_csv(reading, table, delimiter, end, quoting, encoding, titles, spaced, last_end):
    """Every delimiter, line end, way of quoting and encoding that a CSV writer has, with lines above the header or none."""
    buffer = io.StringIO(newline="")
    buffer.write("".join(f"Title {at}{end}" for at in range(titles)))
    lines = [NAMES, *([as_text(row[name]) for name in NAMES] for row in table)]
    if spaced and quoting == csv.QUOTE_ALL and delimiter != "\t":
        quoted = ((f'"{cell.replace(chr(34), chr(34) * 2)}"' for cell in line) for line in lines)
        buffer.write("".join(f"{delimiter} ".join(line) + end for line in quoted))
    else:
        csv.writer(buffer, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(lines)
    text = buffer.getvalue() if last_end else buffer.getvalue().removesuffix(end)
    seen = reading(text.encode(encoding))
    assert not seen.defects
    assert found(seen) == expected(table)
    assert seen.rows == [titles + 2 + at for at in range(len(table))]


@relaxed
@given(records, st.booleans(), st.booleans(), st.booleans())
def test_json(reading, table, lines, indent, sparse):
    """Arrays and lines, spread out or not, with null or without the key for what is blank."""
    plain = [
        {n: as_text(v) if isinstance(v, datetime) else v for n, v in row.items() if not (sparse and v in (None, ""))}
        for row in table
    ]
    # the first record says which names there are
    plain[0] = {n: as_text(v) if isinstance(v, datetime) else v for n, v in table[0].items()}
    if lines:
        seen = reading("\n".join(json.dumps(row, ensure_ascii=indent) for row in plain), "log.jsonl")
    else:
        seen = reading(json.dumps(plain, indent=2 if indent else None), "log.json")
    assert not seen.defects
    for name in STAMPS:
        seen.parsed[0].times.setdefault(name, [])
    assert found(seen) == expected(table)


@settings(relaxed, max_examples=25)
@given(records, st.booleans(), st.booleans())
def test_workbook(reading, table, typed, gaps):
    """Dates and numbers as typed cells or as text, with blank rows between or not."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(NAMES)
    for row in table:
        at = page.max_row + (2 if gaps else 1)
        for column, name in enumerate(NAMES, 1):
            value = row[name] if typed else as_text(row[name])
            cell = page.cell(at, column, value if value != "" else None)
            if isinstance(value, str) and value:
                cell.data_type = "s"
            elif isinstance(value, datetime):
                cell.number_format = "yyyy-mm-dd hh:mm:ss.000"
    buffer = io.BytesIO()
    book.save(buffer)
    seen = reading(buffer.getvalue(), "log.xlsx")
    assert not seen.defects
    assert found(seen) == expected(table)
    assert seen.tables[0].blank_rows == (len(table) if gaps else 0)


@relaxed
@given(records, st.sampled_from(["us", "ms", "ns", "text"]), st.sampled_from([1, 3, 100]), st.booleans())
def test_parquet(reading, table, unit, group, coded):
    """Timestamps of any unit or text, in row groups of any size, with dictionaries or without."""
    columns = {name: pa.array([row[name] for row in table], pa.string()) for name in TEXTS}
    for name in STAMPS:
        values = [row[name] for row in table]
        columns[name] = (
            pa.array([as_text(v) for v in values])
            if unit == "text"
            else pa.array(values, pa.timestamp("us")).cast(pa.timestamp(unit))
        )
    for name in READINGS:
        columns[name] = pa.array([None if row[name] is None else float(row[name]) for row in table], pa.float64())
    buffer = io.BytesIO()
    pq.write_table(pa.table(columns), buffer, row_group_size=group, use_dictionary=coded)
    seen = reading(buffer.getvalue(), "log.parquet")
    assert not seen.defects
    assert found(seen) == expected(table)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.text(st.sampled_from("ab,;\t \0é"), max_size=12), max_size=10), st.sampled_from(["csv", "jsonl"]))
def test_every_line_is_counted(reading, lines, kind):
    """Whatever the lines hold, each is a row, a blank or a row set aside: the three add up to the lines of the file."""
    good = {
        "csv": "store_id,equipment_id,step,started_at\nS,E,flush,2026-03-01T21:40",
        "jsonl": '{"store_id": "S", "equipment_id": "E", "step": "flush", "started_at": "2026-03-01T21:40"}\n{}',
    }[kind]
    seen = reading("\n".join([good, *lines, "end"]) + "\n", f"log.{kind}")
    counted = len(seen.rows) + len(seen.lost) + seen.tables[0].blank_rows
    assert counted == len(lines) + (2 if kind == "csv" else 3)


lines_of_bytes = st.lists(st.binary(max_size=20) | st.text(st.sampled_from(',;\t"\r a1é'), max_size=12).map(str.encode), max_size=12)


@settings(max_examples=300, deadline=None)
@given(lines_of_bytes, st.sampled_from([b"\n", b"\r\n", b"\r"]), st.booleans())
def test_every_line_of_bytes_is_counted(lines, end, fast):
    """Below a header each line is a row or a part of one, a row set aside or a blank, whatever its bytes; none is told of twice."""
    header = b"store_id,equipment_id,step,started_at,note"
    data = end.join([header, b"S,E,flush,2026-03-01T21:40,x", *lines, b"end"]) + end
    table = read_bytes(data, Budget(), fast)[0][0]

    columns = [texts_of(column, len(table.rows)) for column in table.columns.values()]
    texts = ["".join("" if c.codes[at] < 0 else c.vocabulary[c.codes[at]] for c in columns) for at in range(len(table.rows))]
    spans = [1 + len(LINE_END.findall(text.encode())) for text in texts]
    lost = [defect.row for defect in table.defects if defect.index < 0]
    size = len(LINE_END.findall(data)) - 1
    unread = any(defect.index >= 0 for defect in table.defects)
    counted = sum(spans) + len(lost) + table.blank_rows
    # a blank record, or a cell that is not UTF-8, can span lines as well
    assert counted == size or (b'"' in data and (table.blank_rows or unread) and counted < size)
    places = [*table.rows.tolist(), *lost]
    assert len(set(places)) == len(places)
    assert all(2 <= place <= size + 1 for place in places)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.binary(max_size=20).map(lambda b: b.replace(b"\n", b"").replace(b"\r", b"")), max_size=10))
def test_every_line_of_json_is_counted(reading, lines):
    """So it is in JSON Lines."""
    record = b'{"store_id": "S", "equipment_id": "E", "step": "flush", "started_at": "2026-03-01T21:40"}'
    seen = reading(b"\n".join([record, *lines, b"1", b""]), "log.jsonl")

    assert len(seen.rows) + len(seen.lost) + seen.tables[0].blank_rows == len(lines) + 2


@pytest.mark.parametrize("name", ["log.csv", "log.jsonl"])
def test_places_survive_what_is_set_aside(reading, name):
    """A row after a lost one still has the number of its own line."""
    text = {
        "log.csv": "store_id,equipment_id,step,started_at\nx\nS,E,flush,2026-03-01T21:40\n",
        "log.jsonl": 'x\n\n{"store_id": "S", "equipment_id": "E", "step": "flush", "started_at": "2026-03-01T21:40"}\n',
    }[name]
    assert reading(text, name).rows == [3]
