"""A person with a record sheet: fills in every cell that asks for it, while working from the first row to the last."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from validator.cli import run

CLEAN = Path(__file__).parents[2] / "fixtures" / "clean"
DAY = datetime(2026, 3, 30, 8, 0)
AS_OF = "2026-03-31T12:00"
WHITE = "00FFFFFF"
READINGS = {
    "chlorine": {"concentration_ppm": 100, "temperature_c": 26, "temperature_f": 79, "ph": 7.4, "hardness_ppm": 200},
    "caustic": {"concentration_ppm": 25_000, "temperature_c": 40, "temperature_f": 104, "ph": 7.4},
}
"""What a good solution of each agent reads, from the packs' own clean logs."""
AMOUNTS = {"product_amount": 20, "product_unit": "ml", "water_amount": 10.5, "water_unit": "l"}


class Sheet:
    """One sheet of a workbook as a person sees it: its header row, its rows, the white cells."""

    def __init__(self, sheet) -> None:
        self.sheet = sheet
        self.head = next(r for r in range(1, 21) if "equipment_id" in [c.value for c in sheet[r]])
        self.columns = {c.value: c.column for c in sheet[self.head]}

    def cell(self, row: int, name: str):
        return self.sheet.cell(row, self.columns[name])

    def rows(self) -> list[int]:
        """The rows that say what to do."""
        return [r for r in range(self.head + 1, self.sheet.max_row + 1) if self.cell(r, "what_to_do").value]

    def asked(self, row: int) -> list[str]:
        return [n for n in self.columns if self.cell(row, n).fill.fgColor.rgb == WHITE and n not in ("duration_s", "note")]


def sheets(book) -> list[Sheet]:
    return [Sheet(s) for s in book if s.title != "words"]


def fill(path: Path, begin: datetime = DAY, agent: str = "chlorine") -> None:
    """Type into every white cell of the rows that are there."""
    book = openpyxl.load_workbook(path)
    for sheet in sheets(book):
        clock = begin
        for row in sheet.rows():
            minutes = 31 if sheet.cell(row, "step").value == "heat_treat" else 21
            for name in sheet.asked(row):
                sheet.cell(row, name).value = value(sheet, row, name, clock, minutes, agent)
            clock += timedelta(minutes=minutes, seconds=30)
    book.save(path)


def value(sheet: Sheet, row: int, name: str, clock: datetime, minutes: int, agent: str):
    """What stands in a cell when its step has taken so many minutes, at least as long as any rule asks."""
    times = {"started_at": 0, "ended_at": minutes, "recorded_at": minutes + 4, "verified_at": minutes + 9}
    if name in times:
        return clock + timedelta(minutes=times[name])
    if name == "temperature_c" and sheet.cell(row, "step").value == "heat_treat":
        return 68
    if name == "count_per_g":
        return 3
    words = {"performed_by": "Ida R.", "verified_by": "Noor T.", "agent": agent, "step": "circulate", **AMOUNTS, **READINGS[agent]}
    return words[name]


@pytest.fixture
def register(tmp_path: Path):
    """A function that gives the register of a pack's clean log, its machines in service since the day of the cleaning."""

    def written(pack: str, since: str | None = "2026-03-30") -> Path:
        text = (CLEAN / f"{pack}.yaml").read_text("utf-8")
        path = tmp_path / "register.yaml"
        path.write_text(re.sub(r"in_service_on: [\d-]+", f"in_service_on: {since}", text) if since else text, "utf-8")
        return path

    return written


def make(pack: str, register: Path, path: Path, *more: str) -> Path:
    assert run(["sheet", "--rules", pack, "--register", str(register), "--output", str(path), *more]) == 0
    return path


def judged(capfdbinary, pack: str, register: Path, *paths: Path, more: tuple[str, ...] = ()) -> dict:
    """The report on filled-in sheets."""
    capfdbinary.readouterr()
    run(["check", *map(str, paths), "--rules", pack, "--register", str(register), "--as-of", AS_OF, "--format", "json", *more])
    return json.loads(capfdbinary.readouterr().out)
