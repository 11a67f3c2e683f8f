"""The story of `exports` as a careless shop keeps it: serial numbers, times with a point, blocks, sums, signatures, nested lengths."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from datetime import datetime

import openpyxl
from openpyxl.utils.datetime import to_excel

from .exports import SPOKEN, Row


def _machine(rows: Sequence[Row], at: int) -> list[str]:
    """The machine and the cleaning, in the first row of a block alone."""
    new = at == 0 or rows[at - 1].cycle != rows[at].cycle
    return [rows[at].machine, rows[at].cycle] if new else ["", ""]


def serials(rows: Sequence[Row]) -> tuple[str, bytes, list[tuple[str, int]]]:
    """What a spreadsheet leaves in a CSV whose columns lost their format, with a sum and a signature below."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(["Machine", "Job", "Act", "Line", "Started", "Finished", "Chemical", "ppm", "Water temp (C)", "By", "Checked by", "Mood", "Key"])
    for at, row in enumerate(rows):
        times = ["" if t is None else f"{to_excel(t):.4f}" for t in (row.start, row.end)]
        out.writerow([*_machine(rows, at), SPOKEN[row.step], row.target.replace("line-", "Line "), *times, row.agent,
                      row.ppm, row.celsius, row.by, row.checked, "good" if at % 2 else "", f"{at}.75"])  # fmt: skip
    out.writerow(["Grand total", "", len(rows), *[""] * 10])
    out.writerow(["* signed by the shift lead", *[""] * 12])
    return "serials.csv", text.getvalue().encode(), [("", at + 2) for at in range(len(rows))]


def points(rows: Sequence[Row]) -> tuple[str, bytes, list[tuple[str, int]]]:
    """A workbook of text: days as 13.05.2026, times as 22.40, machine and job in the first row of a block alone."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Night shift"
    sheet.append(["Machine", "Job", "Date", "Time from", "Time to", "Act", "Line", "Chemical", "ppm", "tempC", "By", "Checked by", "Remarks"])
    for at, row in enumerate(rows):
        clock = [t and f"{t.hour}.{t.minute:02d}" for t in (row.start, row.end)]
        sheet.append([*(cell or None for cell in _machine(rows, at)), row.start.strftime("%d.%m.%Y"), *clock, SPOKEN[row.step],
                      row.target.replace("line-", "Line ") or None, row.agent or None, row.ppm, row.celsius, row.by, row.checked or None])  # fmt: skip
    sheet.append([f"Total: {len(rows)} acts"])
    raw = io.BytesIO()
    book.save(raw)
    return "points.xlsx", raw.getvalue(), [("Night shift", at + 2) for at in range(len(rows))]


def nested(rows: Sequence[Row]) -> tuple[str, bytes, list[tuple[str, int]]]:
    """A list of cleanings, the acts of each with their start and how long each took."""
    cleanings: dict[str, dict] = {}
    for row in rows:
        one = cleanings.setdefault(row.cycle, {"id": row.cycle, "machine": row.machine, "staff": row.by, "weather": "dry", "steps": []})
        one["steps"].append({
            "name": SPOKEN[row.step], "line": row.target, "begin": _iso(row.start), "with": row.agent or None, "ppm": row.ppm, "tempC": row.celsius,
            "took": row.end and f"PT{int((row.end - row.start).total_seconds()) // 60}M", "checkedBy": row.checked or None,
        })  # fmt: skip
    numbers = {cycle: at + 1 for at, cycle in enumerate(cleanings)}
    return "nested.json", json.dumps({"cleanings": list(cleanings.values())}).encode(), [("", numbers[row.cycle]) for row in rows]


def _iso(at: datetime | None) -> str | None:
    return at and at.isoformat()


MESSY: dict[str, Callable[[Sequence[Row]], tuple[str, bytes, list[tuple[str, int]]]]] = {"serials": serials, "points": points, "nested": nested}
