"""The story of `exports` as strangers keep it: titles over names, ticks, totals, footers, several layouts in one workbook, deep JSON."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

import openpyxl

from .exports import SPOKEN, ZONE, Export, Row

_NAMES = {"mix_solution": "Solution", "sanitize": "Nozzles", "verify": "Checked"}


def _cycles(rows: Sequence[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.cycle, []).append(row)
    return found


def titles_over_names(rows: Sequence[Row]) -> Export:
    """A printed form: merged titles above start, end and a tick, units as each person writes them, sums and a footer."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Form 7"
    groups = ["Solution", "Line 1", "Line 2", "Line 3", "Nozzles", "Checked"]
    sheet.append(["Cleaning form, Quarry Lane"])
    sheet.append(["please tick what was done"])
    sheet.append([])
    top = ["Machine", "No.", "Night of", "By"]
    for group in groups:
        top += [group, None, None]
    sheet.append([*top, "Strength", "Temp.", "Signed"])
    sheet.append([None] * 4 + ["start", "end", "ok"] * len(groups))
    for at in range(5, 5 + 3 * len(groups), 3):
        sheet.merge_cells(start_row=4, end_row=4, start_column=at, end_column=at + 2)
    for at in [1, 2, 3, 4, 5 + 3 * len(groups), 6 + 3 * len(groups), 7 + 3 * len(groups)]:
        sheet.merge_cells(start_row=4, end_row=5, start_column=at, end_column=at)
    places: dict[str, int] = {}
    strengths = {120: "0.0120 %", 80: "80 ppm", 110: "110 mg/L", 150: "0.015%"}
    for number, (cycle, mine) in enumerate(_cycles(rows).items()):
        times = {_NAMES.get(r.step, r.target.replace("line-", "Line ")): r for r in mine}
        cells: list[object] = [mine[0].machine, cycle, mine[0].start.date(), mine[0].by]
        for group in groups:
            row = times.get(group)
            done = None if row is None else "✓" if number % 2 else "x"
            cells += [row and row.start.time(), row and row.end and row.end.time(), done or ("no" if group == "Line 2" else None)]
        mixed = mine[0]
        warm = f"{mixed.celsius} °C" if number % 2 else f"{mixed.celsius * 9 / 5 + 32:g} F"
        sheet.append([*cells, strengths[mixed.ppm], warm, mine[-1].checked])
        places[cycle] = sheet.max_row
        if number == 1:
            sheet.append(["Total", 2])
    sheet.append(["Total", 4])
    sheet.append([])
    sheet.append(["Printed 07/01/2026, page 1 of 1"])
    raw = io.BytesIO()
    book.save(raw)
    mapping = """\
mapping: titles-over-names
files:
  - match: "*.xlsx"
    header_row: 4
    header_rows: 2
    columns:
      equipment_id: Machine
      cycle_id: No.
      performed_by: By
    constants: {store_id: TL-07, procedure: periodic-cip}
    skip:
      - {column: Machine, equals: [Total], begins: [Printed]}
    steps:
      - constants: {step: mix_solution, agent: chlorine}
        when: {column: Solution ok, yes: [x, "✓"]}
        columns:
          started_at: {date: Night of, time: Solution start, night_until: "06:00"}
          ended_at: {date: Night of, time: Solution end, night_until: "06:00"}
          concentration_ppm: Strength
          temperature_c: Temp.
      - targets: {line-1: Line 1, line-2: Line 2, line-3: Line 3}
        constants: {step: flush, agent: chlorine}
        when: {column: "* ok", yes: [x, "✓"], no: ["no"]}
        columns:
          started_at: {date: Night of, time: "* start", night_until: "06:00"}
          ended_at: {date: Night of, time: "* end", night_until: "06:00"}
      - constants: {step: sanitize, target: nozzles, agent: chlorine}
        when: {column: Nozzles ok, yes: [x, "✓"]}
        columns:
          started_at: {date: Night of, time: Nozzles start, night_until: "06:00"}
          ended_at: {date: Night of, time: Nozzles end, night_until: "06:00"}
      - constants: {step: verify}
        when: {column: Checked ok, yes: [x, "✓"]}
        columns:
          started_at: {date: Night of, time: Checked start, night_until: "06:00"}
          ended_at: {date: Night of, time: Checked end, night_until: "06:00"}
          verified_by: Signed
"""
    return Export("form 7.xlsx", raw.getvalue(), mapping, [("Form 7", places[row.cycle]) for row in rows])


def three_layouts(rows: Sequence[Row]) -> Export:
    """One machine's flushes wide, the other's long in words of its own, what was mixed and checked on a third sheet."""
    book = openpyxl.Workbook()
    a, b, c = book.active, book.create_sheet("Machine B"), book.create_sheet("Solutions and checks")
    a.title = "Machine A"
    a.append(["Cleaning", "Day", "L1 from", "L1 to", "L2 from", "L2 to", "L3 from", "L3 to", "Nozzles from", "Nozzles to", "Who"])
    b.append(["log of the machine at the window"])
    b.append(["Job", "What was done", "Point", "Begin", "Stop", "Operator"])
    c.append(["Cleaning", "Plate", "Act", "From", "To", "ppm", "°C", "By", "Seen by"])
    places: dict[int, tuple[str, int]] = {}
    for cycle, mine in _cycles(rows).items():
        acts = [row for row in mine if row.step in ("flush", "sanitize")]
        if mine[0].machine.endswith("A"):
            times = {row.target.replace("line-", "L").replace("nozzles", "Nozzles"): row for row in acts}
            cells = []
            for name in ("L1", "L2", "L3", "Nozzles"):
                row = times.get(name)
                cells += [row and row.start.strftime("%H:%M"), row and row.end and row.end.strftime("%H:%M")]
            a.append([cycle, mine[0].start.strftime("%d %b %Y"), *cells, mine[0].by])
            places |= {id(row): ("Machine A", a.max_row) for row in acts}
        else:
            for row in acts:
                b.append([cycle, "rinsed through" if row.step == "flush" else "parts in sanitizer",
                          row.target.replace("line-", "tap "), row.start.strftime("%m/%d/%y %I:%M %p"),
                          row.end and row.end.strftime("%m/%d/%y %I:%M %p"), row.by])  # fmt: skip
                places[id(row)] = ("Machine B", b.max_row)
        for row in (mine[0], mine[-1]):
            c.append([cycle, row.machine[-1], "mixed" if row.ppm else "looked over", row.start, row.end, row.ppm, row.celsius, row.by,
                      row.checked or None])  # fmt: skip
            places[id(row)] = ("Solutions and checks", c.max_row)
    b.append([None, "sum", len(rows)])
    raw = io.BytesIO()
    book.save(raw)
    mapping = """\
mapping: three-layouts
files:
  - match: "*.xlsx"
    sheets: [Machine A]
    columns: {cycle_id: Cleaning, performed_by: Who}
    constants: {store_id: TL-07, procedure: periodic-cip, equipment_id: TL-07-SYR-A, agent: chlorine}
    steps:
      - targets: {line-1: L1, line-2: L2, line-3: L3}
        constants: {step: flush}
        columns:
          started_at: {date: Day, time: "* from", night_until: "06:00"}
          ended_at: {date: Day, time: "* to", night_until: "06:00"}
      - constants: {step: sanitize, target: nozzles}
        columns:
          started_at: {date: Day, time: Nozzles from, night_until: "06:00"}
          ended_at: {date: Day, time: Nozzles to, night_until: "06:00"}
  - match: "*.xlsx"
    sheets: [Machine B]
    columns:
      cycle_id: Job
      step: What was done
      target: Point
      started_at: Begin
      ended_at: Stop
      performed_by: Operator
    constants: {store_id: TL-07, procedure: periodic-cip, equipment_id: TL-07-SYR-B, agent: chlorine}
    values:
      step: {rinsed through: flush, parts in sanitizer: sanitize}
      target: {tap 1: line-1, tap 2: line-2}
    dates: mdy
    clock: 12h
    skip: [{column: What was done, equals: [sum]}]
  - match: "*.xlsx"
    columns:
      cycle_id: Cleaning
      equipment_id: Plate
      step: Act
      started_at: From
      ended_at: To
      concentration_ppm: {from: ppm, unit: ppm}
      temperature_c: {from: °C, unit: C}
      performed_by: By
      verified_by: Seen by
      agent: Act
    constants: {store_id: TL-07, procedure: periodic-cip}
    values:
      equipment_id: {A: TL-07-SYR-A, B: TL-07-SYR-B}
      step: {mixed: mix_solution, looked over: verify}
      agent: {mixed: chlorine, looked over: }
"""
    return Export("june.xlsx", raw.getvalue(), mapping, [places[id(row)] for row in rows])


def deep_json(rows: Sequence[Row]) -> Export:
    """Cleanings in machines in a store, their steps two lists deeper, starts counted in milliseconds, ends with an offset."""
    zone = ZoneInfo(ZONE)
    machines = []
    for letter in "AB":
        cleanings = []
        for cycle, mine in _cycles([row for row in rows if row.machine.endswith(letter)]).items():
            cleanings.append({
                "ref": cycle, "staff": {"by": mine[0].by}, "phases": [{
                    "label": "all", "steps": [{
                        "name": SPOKEN[row.step], "on": row.target,
                        "times": {"t0": int(row.start.replace(tzinfo=zone).timestamp() * 1000),
                                  "t1": row.end and row.end.replace(tzinfo=zone).isoformat()},
                        "agent": row.agent or None, "seenBy": row.checked or None,
                        "reading": None if row.ppm is None else {"value": row.ppm, "unit": "ppm", "celsius": row.celsius},
                    } for row in mine],
                }],
            })  # fmt: skip
        machines.append({"plate": f"TL-07-SYR-{letter}", "cleanings": cleanings})
    data = {"meta": {"exportedAt": 1782907200}, "data": {"sites": [{"id": "TL-07", "machines": machines}]}}
    mapping = """\
mapping: deep-json
files:
  - match: "*.json"
    records: data.sites
    columns:
      store_id: id
      equipment_id: machines[].plate
      cycle_id: machines[].cleanings[].ref
      performed_by: machines[].cleanings[].staff.by
      step: machines[].cleanings[].phases[].steps[].name
      target: machines[].cleanings[].phases[].steps[].on
      started_at: {from: "machines[].cleanings[].phases[].steps[].times.t0", unit: epoch_ms}
      ended_at: machines[].cleanings[].phases[].steps[].times.t1
      agent: machines[].cleanings[].phases[].steps[].agent
      verified_by: machines[].cleanings[].phases[].steps[].seenBy
      concentration_ppm: {from: "machines[].cleanings[].phases[].steps[].reading.value", unit: ppm}
      temperature_c: {from: "machines[].cleanings[].phases[].steps[].reading.celsius", unit: C}
    constants: {procedure: periodic-cip}
    values:
      step: {Mixed: mix_solution, Flushed: flush, Parts sanitized: sanitize, Checked: verify}
"""
    return Export("dump.json", json.dumps(data, indent=1).encode(), mapping, [("", 1)] * len(rows))


STRANGE: dict[str, Callable[[Sequence[Row]], Export]] = {
    "titles_over_names": titles_over_names, "three_layouts": three_layouts, "deep_json": deep_json,
}  # fmt: skip
