"""One invented story of cleanings as the canonical file and as exports that people keep, with a mapping for each.

An export is its file's bytes, its mapping, and for each canonical row where a reader sees it: sheet and row.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import openpyxl

ZONE = "America/Chicago"
REGISTER = f"""\
stores:
  - store_id: TL-07
    name: Tarnlow Stops, Quarry Lane
    timezone: {ZONE}
    equipment:
      - equipment_id: TL-07-SYR-A
        lines: [line-1, line-2, line-3]
        parts: [nozzles]
        capacities: {{flush: 1}}
        in_service_on: 2026-04-20
      - equipment_id: TL-07-SYR-B
        lines: [line-1, line-2]
        parts: [nozzles]
        capacities: {{flush: 1}}
        in_service_on: 2026-04-20
"""
CANONICAL = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "started_at", "ended_at", "agent",
    "solution_id", "concentration_ppm", "temperature_c", "performed_by", "verified_by",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One performed step of the story."""

    machine: str
    cycle: str
    step: str
    target: str = ""
    start: datetime | None = None
    end: datetime | None = None
    agent: str = ""
    ppm: int | None = None
    celsius: int | None = None
    by: str = ""
    checked: str = ""


@dataclass(frozen=True)
class Export:
    """A file that somebody kept, its mapping, and where each row of the story stands in it."""

    name: str
    data: bytes
    mapping: str
    places: list[tuple[str, int]]
    lengths: bool = False
    """Whether it tells how long a step took instead of when it ended."""


def story() -> list[Row]:
    """Three cleanings of two machines: one over midnight, with a short flush, a weak solution, a missed line, no end."""
    rows: list[Row] = []
    plans = [
        ("A", "c-101", datetime(2026, 5, 4, 20, 0), [20, 20, 20], 120, 25, "Ana", "Ben"),
        ("B", "c-102", datetime(2026, 5, 12, 22, 45), [16, 11], 80, 20, "Ben", "Ana"),
        ("A", "c-103", datetime(2026, 6, 12, 23, 20), [15, 14, None], 110, 25, "Ana", "Ana"),
        ("B", "c-104", datetime(2026, 6, 13, 21, 5), [18, 0], 150, 30, "Eli", "Ben"),
    ]
    for letter, cycle, at, flushes, ppm, celsius, by, checked in plans:
        machine = f"TL-07-SYR-{letter}"

        def add(step: str, minutes: int | None, machine=machine, cycle=cycle, by=by, **more) -> None:
            nonlocal at
            end = None if minutes is None else at + timedelta(minutes=minutes)
            rows.append(Row(machine, cycle, step, start=at, end=end, by=by, **more))
            at = (end or at + timedelta(minutes=17)) + timedelta(minutes=1)

        add("mix_solution", 4, agent="chlorine", ppm=ppm, celsius=celsius)
        for number, minutes in enumerate(flushes, 1):
            if minutes != 0:
                add("flush", minutes, target=f"line-{number}", agent="chlorine")
        add("sanitize", 2, target="nozzles", agent="chlorine")
        add("verify", 1, checked=checked)
    return rows


def canonical(rows: Sequence[Row], lengths: bool = False) -> bytes:
    """The story in the canonical columns, with the length of every step instead of its end where `lengths` says so."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["duration_s" if lengths and name == "ended_at" else name for name in CANONICAL])
    for row in rows:
        writer.writerow([
            "TL-07", row.machine, row.cycle, "periodic-cip", row.step, row.target, _stamp(row.start),
            (_blank(row.end and int((row.end - row.start).total_seconds())) if lengths else _stamp(row.end)),
            row.agent, "", _blank(row.ppm), _blank(row.celsius), row.by, row.checked,
        ])  # fmt: skip
    return text.getvalue().encode()


def _stamp(at: datetime | None) -> str:
    return at.strftime("%Y-%m-%dT%H:%M") if at else ""


def _blank(value: object) -> object:
    return "" if value is None else value


SPOKEN = {"mix_solution": "Mixed", "flush": "Flushed", "sanitize": "Parts sanitized", "verify": "Checked"}
_VALUES = "step: {Mixed: mix_solution, Flushed: flush, Parts sanitized: sanitize, Checked: verify}"


def titled_workbook(rows: Sequence[Row]) -> Export:
    """Three lines of titles, the machine and the cleaning merged over their rows, real dates, a total at the end."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Cleaning log"
    sheet.append(["Quarry Lane"])
    sheet.append(["Syrup machines, cleaning log"])
    sheet.append(["kept by the shift lead"])
    sheet.merge_cells("A1:K1")
    sheet.append(["Machine", "Cleaning", "Date", "From", "To", "What", "Line", "Agent", "ppm", "Temp. °F", "By", "Checked by"])
    places = []
    first = 5
    for at, row in enumerate(rows):
        here = first + at
        new = at == 0 or rows[at - 1].cycle != row.cycle
        day = row.start.date() if row.start else None
        fahrenheit = None if row.celsius is None else row.celsius * 9 / 5 + 32
        sheet.append([
            row.machine if new else None, row.cycle if new else None, day, row.start.time(),
            row.end.time() if row.end else None, SPOKEN[row.step], row.target.replace("line-", "L") or None,
            row.agent or None, row.ppm, fahrenheit, row.by or None, row.checked or None,
        ])  # fmt: skip
        places.append(("Cleaning log", here))
    sheet.append(["Total", None, None, None, None, len(rows)])
    cycles = [row.cycle for row in rows]
    for cycle in dict.fromkeys(cycles):
        top, bottom = first + cycles.index(cycle), first + len(cycles) - 1 - cycles[::-1].index(cycle)
        for column in "AB":
            sheet.merge_cells(f"{column}{top}:{column}{bottom}")
    raw = io.BytesIO()
    book.save(raw)
    mapping = f"""\
mapping: titled-workbook
files:
  - match: "*.xlsx"
    columns:
      equipment_id: Machine
      cycle_id: Cleaning
      started_at: {{date: Date, time: From}}
      ended_at: {{date: Date, time: To, after: started_at}}
      step: What
      target: Line
      agent: Agent
      concentration_ppm: {{from: ppm, unit: ppm}}
      temperature_c: {{from: "Temp. °F", unit: F}}
      performed_by: By
      verified_by: Checked by
    constants: {{store_id: TL-07, procedure: periodic-cip}}
    values:
      {_VALUES}
      target: {{L1: line-1, L2: line-2, L3: line-3}}
    fill_down: [Machine, Cleaning]
    skip: [{{column: Machine, equals: [total]}}]
"""
    return Export("log.xlsx", raw.getvalue(), mapping, places)


def wide_log(rows: Sequence[Row]) -> Export:
    """One line a cleaning, with a start and an end for each line, in a tab-separated file."""
    cycles = list(dict.fromkeys(row.cycle for row in rows))
    header = ["No.", "Machine", "Night of", "By", "Mixed from", "Mixed to", "Strength", "Temp C", "L1 from", "L1 to",
              "L2 from", "L2 to", "L3 from", "L3 to", "Nozzles from", "Nozzles to", "Checked from", "Checked to",
              "Checked by"]  # fmt: skip
    lines = ["\t".join(header)]
    for cycle in cycles:
        mine = [row for row in rows if row.cycle == cycle]
        cells = {"No.": cycle, "Machine": mine[0].machine, "By": mine[0].by,
                 "Night of": mine[0].start.strftime("%d/%m/%Y")}  # fmt: skip
        for row in mine:
            name = {"mix_solution": "Mixed", "sanitize": "Nozzles", "verify": "Checked"}.get(row.step, row.target.replace("line-", "L"))
            cells[f"{name} from"] = row.start.strftime("%H:%M")
            cells[f"{name} to"] = row.end.strftime("%H:%M") if row.end else ""
            if row.ppm is not None:
                cells["Strength"], cells["Temp C"] = f"{row.ppm} ppm", f"{row.celsius} °C"
            if row.checked:
                cells["Checked by"] = row.checked
        lines.append("\t".join(cells.get(name, "") for name in header))
    mapping = """\
mapping: wide-log
files:
  - columns:
      equipment_id: Machine
      cycle_id: No.
      performed_by: By
    constants: {store_id: TL-07, procedure: periodic-cip}
    dates: dmy
    clock: 24h
    steps:
      - constants: {step: mix_solution, agent: chlorine}
        columns:
          started_at: {date: Night of, time: Mixed from, night_until: "06:00"}
          ended_at: {date: Night of, time: Mixed to, night_until: "06:00"}
          concentration_ppm: Strength
          temperature_c: Temp C
      - targets: {line-1: L1, line-2: L2, line-3: L3}
        constants: {step: flush, agent: chlorine}
        columns:
          started_at: {date: Night of, time: "* from", night_until: "06:00"}
          ended_at: {date: Night of, time: "* to", night_until: "06:00"}
      - constants: {step: sanitize, target: nozzles, agent: chlorine}
        columns:
          started_at: {date: Night of, time: Nozzles from, night_until: "06:00"}
          ended_at: {date: Night of, time: Nozzles to, night_until: "06:00"}
      - constants: {step: verify}
        columns:
          started_at: {date: Night of, time: Checked from, night_until: "06:00"}
          ended_at: {date: Night of, time: Checked to, night_until: "06:00"}
          verified_by: Checked by
"""
    places = [("", 2 + cycles.index(row.cycle)) for row in rows]
    return Export("log.csv", ("\n".join(lines) + "\n").encode(), mapping, places)


def decimal_commas(rows: Sequence[Row]) -> Export:
    """Semicolons, decimal commas, strength in percent, days with dots, in an old encoding."""
    lines = ["Gerät;Reinigung;Beginn;Ende;Schritt;Leitung;Mittel;Stärke %;Temperatur;Durchführung;Prüfung"]
    said = {"mix_solution": "Lösung angesetzt", "flush": "gespült", "sanitize": "desinfiziert", "verify": "geprüft"}
    for row in rows:
        percent = "" if row.ppm is None else f"{row.ppm / 10_000:.4f}".replace(".", ",")
        celsius = "" if row.celsius is None else f"{row.celsius},0"
        lines.append(";".join([
            row.machine, row.cycle, row.start.strftime("%d.%m.%Y %H:%M"),
            row.end.strftime("%d.%m.%Y %H:%M") if row.end else "", said[row.step],
            row.target.replace("line-", "Leitung ").replace("nozzles", "Düsen"), "Chlor" if row.agent else "", percent,
            celsius, row.by, row.checked,
        ]))  # fmt: skip
    mapping = """\
mapping: decimal-commas
files:
  - match: "*.csv"
    encoding: windows-1252
    delimiter: ";"
    columns:
      equipment_id: Gerät
      cycle_id: Reinigung
      started_at: Beginn
      ended_at: Ende
      step: Schritt
      target: Leitung
      agent: Mittel
      concentration_ppm: {from: Stärke %, unit: "%"}
      temperature_c: {from: Temperatur, unit: C}
      performed_by: Durchführung
      verified_by: Prüfung
    constants: {store_id: TL-07, procedure: periodic-cip}
    values:
      step: {lösung angesetzt: mix_solution, gespült: flush, desinfiziert: sanitize, geprüft: verify}
      target: {Leitung 1: line-1, Leitung 2: line-2, Leitung 3: line-3, Düsen: nozzles}
      agent: {Chlor: chlorine}
    dates: dmy
    decimal: ","
    timezone: America/Chicago
"""
    data = ("\r\n".join(lines) + "\r\n").encode("windows-1252")
    return Export("export.csv", data, mapping, [("", 2 + at) for at in range(len(rows))])


def twelve_hours(rows: Sequence[Row]) -> Export:
    """Months first, a clock of twelve hours, a date and a duration instead of an end, the store and machine apart."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["Site", "Unit", "Job #", "Task", "Point", "Date", "Time", "Finished", "Product", "PPM reading", "Water temp", "Tech", "Sign-off"])
    for row in rows:
        clock = row.start.strftime("%I:%M %p").lstrip("0").lower()
        writer.writerow([
            "TL-07", row.machine.removeprefix("TL-07-"), row.cycle, SPOKEN[row.step].upper(), row.target.replace("-", " "),
            f"{row.start.month}/{row.start.day}/{row.start:%y}", clock,
            f"{row.end.month}/{row.end.day}/{row.end:%y}, {row.end.strftime('%I:%M %p').lstrip('0')}" if row.end else "n/a",
            row.agent.title(), "" if row.ppm is None else f"{row.ppm} ppm",
            "" if row.celsius is None else f"{row.celsius * 9 / 5 + 32:g} °F", row.by, row.checked or "-",
        ])  # fmt: skip
    mapping = f"""\
mapping: twelve-hours
files:
  - columns:
      store_id: Site
      equipment_id: {{join: [Site, Unit], with: "-"}}
      cycle_id: "Job #"
      step: Task
      target: Point
      started_at: {{date: Date, time: Time}}
      ended_at: Finished
      agent: Product
      concentration_ppm: PPM reading
      temperature_c: Water temp
      performed_by: Tech
      verified_by: Sign-off
    constants: {{procedure: periodic-cip}}
    values:
      {_VALUES}
      target: {{line 1: line-1, line 2: line-2, line 3: line-3}}
      agent: {{chlorine: chlorine}}
    blanks: [n/a, "-"]
    dates: mdy
    clock: 12h
"""
    return Export("june-export.csv", text.getvalue().encode(), mapping, [("", 2 + at) for at in range(len(rows))])


def sheet_a_month(rows: Sequence[Row]) -> Export:
    """A sheet a month with days without a year, and a sheet that is none."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    notes = book.create_sheet("Read me")
    notes.append(["Machine", "is the number on the plate"])
    places = []
    for month in ("May", "June"):
        sheet = book.create_sheet(f"{month} 2026")
        sheet.append([f"Cleanings in {month}"])
        sheet.append([])
        sheet.append(["Day", "Machine", "Cleaning", "Step", "Where", "Started", "Minutes", "ppm", "°C", "With", "Who", "Seen by"])
        for row in rows:
            if row.start.strftime("%B") != month:
                continue
            minutes = None if row.end is None else int((row.end - row.start).total_seconds() // 60)
            sheet.append([
                row.start.strftime("%d.%m."), row.machine, row.cycle, SPOKEN[row.step], row.target or None,
                row.start.strftime("%H:%M"), minutes, row.ppm, row.celsius, row.agent or None, row.by, row.checked or None,
            ])  # fmt: skip
            places.append((f"{month} 2026", sheet.max_row))
    raw = io.BytesIO()
    book.save(raw)
    mapping = f"""\
mapping: sheet-a-month
files:
  - sheets: ["* 2026"]
    header_row: 3
    columns:
      equipment_id: Machine
      cycle_id: Cleaning
      step: Step
      target: Where
      started_at: {{date: Day, time: Started}}
      duration_s: {{from: Minutes, unit: min}}
      concentration_ppm: {{from: ppm, unit: ppm}}
      temperature_c: {{from: °C, unit: C}}
      agent: With
      performed_by: Who
      verified_by: Seen by
    constants: {{store_id: TL-07, procedure: periodic-cip}}
    values:
      {_VALUES}
    dates: dmy
    year: 2026
"""
    return Export("cleanings-2026.xlsx", raw.getvalue(), mapping, places, lengths=True)


def nested_json(rows: Sequence[Row]) -> Export:
    """One record a cleaning, with its steps in a list, inside of an object."""
    cycles = list(dict.fromkeys(row.cycle for row in rows))
    cleanings = []
    for cycle in cycles:
        mine = [row for row in rows if row.cycle == cycle]
        cleanings.append({
            "number": cycle, "machine": {"site": "TL-07", "plate": mine[0].machine}, "kind": "periodic-cip",
            "steps": [
                {"name": SPOKEN[row.step].lower(), "on": row.target or None,
                 "from": row.start.strftime("%Y-%m-%d %H:%M"), "to": row.end and row.end.strftime("%Y-%m-%d %H:%M"),
                 "agent": row.agent or None, "by": row.by, "checked": row.checked or None,
                 "readings": {} if row.ppm is None else {"strength": row.ppm / 10_000, "temperature": row.celsius * 9 / 5 + 32}}
                for row in mine
            ],
        })  # fmt: skip
    mapping = f"""\
mapping: nested-json
files:
  - match: "*.json"
    records: cleanings
    columns:
      store_id: machine.site
      equipment_id: machine.plate
      cycle_id: number
      procedure: kind
      step: steps[].name
      target: steps[].on
      started_at: steps[].from
      ended_at: steps[].to
      agent: steps[].agent
      concentration_ppm: {{from: "steps[].readings.strength", unit: "%"}}
      temperature_c: {{from: "steps[].readings.temperature", unit: F}}
      performed_by: steps[].by
      verified_by: steps[].checked
    values:
      {_VALUES}
"""
    data = json.dumps({"exported": "2026-07-01", "cleanings": cleanings}, indent=1).encode()
    return Export("dump.json", data, mapping, [("", 1 + cycles.index(row.cycle)) for row in rows])


EXPORTS: dict[str, Callable[[Sequence[Row]], Export]] = {
    "titled_workbook": titled_workbook, "wide_log": wide_log, "decimal_commas": decimal_commas,
    "twelve_hours": twelve_hours, "sheet_a_month": sheet_a_month, "nested_json": nested_json,
}  # fmt: skip
