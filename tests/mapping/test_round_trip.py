"""Any canonical table written in a dialect that a mapping can state reads back as that table, and no row goes uncounted."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime, timedelta
from decimal import Decimal

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

relaxed = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
WORDS = {"flush": "Flushed", "soak": "Soaked", "mix_solution": "Mixed up"}
TARGETS = {"line-1": "L 1", "line-2": "L 2", "": ""}
minute = st.datetimes(datetime(1990, 1, 2), datetime(2099, 12, 30)).map(lambda t: t.replace(second=0, microsecond=0))
row = st.fixed_dictionaries({
    "machine": st.sampled_from(["A", "B-2", "Ünit 3"]), "step": st.sampled_from(list(WORDS)),
    "target": st.sampled_from(list(TARGETS)), "start": minute, "minutes": st.none() | st.integers(0, 720),
    "ppm": st.none() | st.integers(0, 999_999).map(lambda n: Decimal(n) / 100),
    "celsius": st.none() | st.integers(-50, 250),
})  # fmt: skip
rows = st.lists(row, min_size=1, max_size=8)
dialect = st.fixed_dictionaries({
    "delimiter": st.sampled_from(",;|\t"), "order": st.sampled_from(["dmy", "mdy", "ymd"]),
    "part": st.sampled_from("./-"), "twelve": st.booleans(), "marks": st.sampled_from([".", ",", ".,", ",.", ", ", ".'"]),
    "fahrenheit": st.booleans(), "titles": st.integers(0, 4), "totals": st.booleans(), "end": st.sampled_from(["clock", "length"]),
    "quoting": st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]), "eol": st.sampled_from(["\n", "\r\n", "\r"]),
    "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "windows-1252", "iso-8859-15", "macintosh", "utf-16be"]),
})  # fmt: skip


def day(at: datetime, d: dict) -> str:
    parts = {"d": f"{at.day:02d}", "m": f"{at.month}", "y": f"{at.year}"}
    return d["part"].join(parts[letter] for letter in d["order"])


def clock(at: datetime, d: dict) -> str:
    if not d["twelve"]:
        return f"{at.hour}:{at.minute:02d}"
    return f"{at.hour % 12 or 12}:{at.minute:02d} {'pm' if at.hour >= 12 else 'am'}"


def number(value, d: dict) -> str:
    if value is None:
        return ""
    text = f"{value:,f}" if d["marks"][1:] else f"{value:f}"
    return text.translate(str.maketrans({",": d["marks"][1:] or "", ".": d["marks"][0]}))


def cells(one: dict, d: dict) -> list[str]:
    end = None if one["minutes"] is None else one["start"] + timedelta(minutes=one["minutes"])
    last = "" if end is None else clock(end, d) if d["end"] == "clock" else f"{one['minutes']} min"
    celsius = one["celsius"]
    warm = None if celsius is None else Decimal(celsius) * 9 / 5 + 32 if d["fahrenheit"] else Decimal(celsius)
    return [one["machine"], WORDS[one["step"]], TARGETS[one["target"]], day(one["start"], d), clock(one["start"], d), last,
            number(one["ppm"], d), number(warm, d)]  # fmt: skip


HEADER = ["Machine", "What was done", "Line", "Day", "From", "To", "Strength", "Water"]


def mapping(d: dict) -> str:
    ended = "ended_at: {date: Day, time: To, after: started_at}" if d["end"] == "clock" else "duration_s: To"
    unit = "F" if d["fahrenheit"] else "C"
    thousands = f"thousands: \"{d['marks'][1:]}\"\n" if d["marks"][1:] else ""
    return f"""\
columns:
  equipment_id: Machine
  step: what was done
  target: Line
  started_at: {{date: Day, time: From}}
  {ended}
  concentration_ppm: {{from: Strength, unit: ppm}}
  temperature_c: {{from: Water, unit: {unit}}}
constants: {{store_id: S}}
values:
  step: {{Flushed: flush, Soaked: soak, Mixed up: mix_solution}}
  target: {{L 1: line-1, L 2: line-2}}
dates: {d['order']}
clock: {'12h' if d['twelve'] else '24h'}
decimal: "{d['marks'][0]}"
{f"encoding: {d['encoding']}" if d['encoding'] not in ('utf-8', 'utf-8-sig', 'utf-16') else ""}
{thousands}skip: [{{column: Machine, equals: [Total]}}]
"""


def holds(read, table: list[dict], d: dict) -> None:
    """The table as it must come back."""
    ends = [None if r["minutes"] is None else (r["start"] + timedelta(minutes=r["minutes"])).isoformat() for r in table]
    assert read.defects == []
    assert read.column("equipment_id") == [r["machine"] for r in table]
    assert read.column("step") == [r["step"] for r in table]
    assert read.column("target") == [r["target"] or None for r in table]
    assert read.column("started_at") == [r["start"].isoformat() for r in table]
    if d["end"] == "clock":
        assert read.column("ended_at") == ends
    else:
        assert read.column("duration_s") == [None if r["minutes"] is None else r["minutes"] * 60 for r in table]
    assert read.column("concentration_ppm") == [None if r["ppm"] is None else float(r["ppm"]) for r in table]
    assert read.column("temperature_c") == [r["celsius"] for r in table]


@relaxed
@given(rows, dialect)
def test_text(reading, table, d) -> None:
    """Delimiters, quotes, line ends, encodings, orders of the date, clocks, marks of numbers, units, titles above and totals below."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=d["delimiter"], quoting=d["quoting"], lineterminator=d["eol"])
    for at in range(d["titles"]):
        writer.writerow([f"Title {at}"])
    writer.writerow(HEADER)
    writer.writerows(cells(one, d) for one in table)
    if d["totals"]:
        writer.writerow(["Total", *[""] * 5, str(len(table)), ""])

    read = reading(out.getvalue().encode(d["encoding"]), mapping(d))

    holds(read, table, d)
    assert read.rows == [d["titles"] + 2 + at for at in range(len(table))]
    assert read.set_aside == [[len(table) + d["totals"], {"'Machine' is 'Total'": 1} if d["totals"] else {}]]


@relaxed
@given(rows.filter(lambda t: all(r["start"].year >= 1901 for r in t)), dialect)
def test_workbook(reading, table, d) -> None:
    """Real dates, times of day and numbers in place of texts, whatever marks the mapping states for texts."""
    book = openpyxl.Workbook()
    sheet = book.active
    for at in range(d["titles"]):
        sheet.append([f"Title {at}"])
    sheet.append(HEADER)
    for one in table:
        end = None if one["minutes"] is None else one["start"] + timedelta(minutes=one["minutes"])
        last = (end and end.time()) if d["end"] == "clock" else end and timedelta(minutes=one["minutes"])
        celsius = one["celsius"]
        warm = celsius if celsius is None or not d["fahrenheit"] else float(Decimal(celsius) * 9 / 5 + 32)
        sheet.append([one["machine"], WORDS[one["step"]], TARGETS[one["target"]] or None, one["start"].date(),
                      one["start"].time(), last, None if one["ppm"] is None else float(one["ppm"]), warm])  # fmt: skip
    raw = io.BytesIO()
    book.save(raw)

    read = reading(raw.getvalue(), mapping(d), "log.xlsx")

    holds(read, table, d)
    assert read.rows == [d["titles"] + 2 + at for at in range(len(table))]


@relaxed
@given(rows, dialect, st.booleans())
def test_nested_json(reading, table, d, lines) -> None:
    """Steps in a list of their machine's record; the row is the position of the record, or its line."""
    records: list[dict] = []
    places = []
    for one in table:
        if not records or records[-1]["Machine"] != one["machine"]:
            records.append({"Machine": one["machine"], "done": []})
        named = dict(zip(HEADER[1:], cells(one, d)[1:], strict=True))
        records[-1]["done"].append({**named, "read": {"Strength": named.pop("Strength") or None}})
        records[-1]["done"][-1].pop("Strength")
        places.append(len(records))
    text = mapping(d).replace("skip: ", "# ")
    for name in HEADER[1:]:
        path = "done[].read.Strength" if name == "Strength" else f"done[].{name}"
        for before in (": ", "date: ", "time: ", "from: "):
            text = text.replace(f"{before}{name}\n", f'{before}"{path}"\n').replace(f"{before}{name},", f'{before}"{path}",')
            text = text.replace(f"{before}{name}}}", f'{before}"{path}"}}')
    text = text.replace("step: what was done", 'step: "done[].what was done"')
    data = "\n".join(map(json.dumps, records)) if lines else json.dumps(records)

    read = reading(data, text, "log.jsonl" if lines else "log.json")

    holds(read, table, d)
    assert read.rows == places


@relaxed
@given(rows, dialect)
def test_parquet(reading, table, d) -> None:
    """Typed columns become the text that the mapping reads."""
    columns = list(zip(*(cells(one, d) for one in table), strict=True))
    named = dict(zip(HEADER, (list(c) for c in columns), strict=True))
    named["Strength"] = [None if one["ppm"] is None else float(one["ppm"]) for one in table]
    named["Day"] = [one["start"].date() for one in table]
    raw = io.BytesIO()
    pq.write_table(pa.table(named), raw)

    holds(reading(raw.getvalue(), mapping(d), "log.parquet"), table, d)


@relaxed
@given(st.lists(st.lists(st.sampled_from(["A", "Total", "", "flush", "2026-06-01T20:00", "31.02.2026", "15", "x\x00", "é"]), min_size=3, max_size=3), max_size=8))
def test_no_row_goes_uncounted(reading, table) -> None:
    """Whatever stands in the cells: a row is read, set aside by a rule that is named, lost with a defect, or blank."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["M", "S", "A"])
    writer.writerows(table)

    read = reading(out.getvalue(), "columns: {equipment_id: M, step: S, started_at: A}\nconstants: {store_id: S}\n"
                   "skip: [{column: M, equals: [Total]}]\n")  # fmt: skip

    aside = sum(sum(reasons.values()) for _, reasons in read.set_aside)
    lost = {d.row for d in read.defects if d.index < 0}
    assert len(read.rows) + aside + len(lost) + sum(t.blank_rows for t in read.tables) == len(table)
