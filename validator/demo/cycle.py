"""How does a night of cleaning go? Every row of a log, laid out as it should be, then with its faults worked in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any

from validator.demo.scenario import Change, Edit, MachinePlan, Scenario, StorePlan, cycle_name
from validator.documents import as_json
from validator.packs.model import Profile

PROCEDURE = "periodic-cip"
Row = dict[str, Any]


def store_rows(plan: Scenario, store: StorePlan, profiles: Mapping[str, Profile]) -> Iterator[Row]:
    """The rows of a store's log, in the order of writing, faults worked in; times are the store's own clock."""
    for machine in store.machines:
        for number, day in enumerate(machine.cleaned_on, 1):
            rows = _Cycle(plan, store, machine, number, day).rows(profiles)
            faults = (f for f in store.faults if (f.machine, f.cycle) == (machine.equipment.equipment_id, number))
            for edit in (e for f in faults for e in f.edits):
                rows = [after for row in rows for after in _edited(row, edit)]
            yield from rows
    yield from ({name: as_json(value) for name, value in stray.items()} for stray in store.stray_rows)


class _Cycle:
    """Lays out one cycle: one line after the other on the adapter, and the parts at the sink meanwhile."""

    def __init__(self, plan: Scenario, store: StorePlan, machine: MachinePlan, number: int, day: date) -> None:
        self.plan, self.store, self.machine, self.number = plan, store, machine, number
        self.draw = Random(f"{plan.seed} {machine.equipment.equipment_id} {number}")  # noqa: S311 - dice for a demo, no secret
        self.at = datetime.combine(day, time.fromisoformat(machine.starts_at))
        self.made: list[Row] = []

    def rows(self, profiles: Mapping[str, Profile]) -> list[Row]:
        """Every row of the cycle."""
        profile = profiles[self.machine.equipment.profile or ""]
        lines = [line for line in profile.lines if line not in self.machine.equipment.lines_out_of_use]
        first, second = self.store.people
        for step, target in (("empty_tank", "tank"), ("rinse", "tank"), ("disconnect", ""), ("disassemble", "")):
            self.do(step, target, first, agent="water" if step == "rinse" else None)
        self.solution(first)
        sink = copy(self)  # a clock of its own for what is done meanwhile; the rows are shared
        for line in lines:
            self.do("flush", line, first, agent="chlorine", solution_id=self.batch)
            self.at += self.length(*self.plan.habits.pause)
        sink.parts(profile.parts, second)
        self.at = max(self.at, sink.at)
        for step, target in (("reassemble", ""), ("refill_tank", "tank"), ("reconnect", "")):
            self.do(step, target, second)
        for line in lines:
            self.do("prime", line, first)
        return self.signed()

    @property
    def batch(self) -> str:
        return f"batch-{self.number}"

    def length(self, least: int, most: int) -> timedelta:
        """A length between two numbers of minutes, as fine as this store writes its times."""
        seconds = self.draw.randint(least * 60, most * 60)
        return timedelta(seconds=seconds if self.store.log.stamps == "seconds" else seconds // 60 * 60)

    def do(self, step: str, target: str, who: str, **cells: Any) -> None:
        """Write one step and let its time pass."""
        begun = self.at
        self.at += self.length(*self.plan.habits.minutes[step])
        row = {
            "store_id": self.store.store_id, "equipment_id": self.machine.equipment.equipment_id,
            "cycle_id": cycle_name(self.number) if self.store.log.cycle_ids else None, "procedure": PROCEDURE,
            "step": step, "target": target or None, "started_at": begun, "ended_at": self.at, "performed_by": who,
        }  # fmt: skip
        self.made.append({**row, **cells})

    def solution(self, who: str) -> None:
        """Mix and test the sanitizer; the amounts come out a little above what the strip will show."""
        habits = self.plan.habits
        amounts = {"product_amount": 0.75, "product_unit": "us_fl_oz", "water_amount": 2.5, "water_unit": "us_gal"}
        self.do("mix_solution", "", who, agent="chlorine", solution_id=self.batch, **amounts)
        begun = self.at
        self.do("test_solution", "", who, agent="chlorine", solution_id=self.batch,
                concentration_ppm=self.draw.choice(habits.concentration_ppm),
                temperature_c=self.draw.randint(*habits.temperature_c),
                ph=round(self.draw.uniform(*habits.ph), 1))  # fmt: skip
        self.at = begun + timedelta(minutes=habits.before_use)

    def parts(self, parts: Sequence[str], who: str) -> None:
        """Wash and rinse part by part, then sanitize them together."""
        for part in parts:
            self.do("wash", part, who, agent="detergent")
            self.do("rinse", part, who, agent="water")
        into, out = self.at, self.at
        for part in parts:
            self.at = into
            self.do("sanitize", part, who, agent="chlorine", solution_id=self.batch)
            out = max(out, self.at)
        self.at = out

    def signed(self) -> list[Row]:
        """The rows with the hour of writing them down and the check of the next morning."""
        written = self.at + timedelta(minutes=10)
        checked = datetime.combine(self.at.date() + timedelta(days=1), time(8)) + self.length(0, 59)
        signature = {"recorded_at": written, "verified_by": self.store.verifier, "verified_at": checked}
        return [{**row, **signature} for row in self.made]


def _edited(row: Row, edit: Edit) -> list[Row]:
    """What becomes of a row: itself if the edit does not speak of it, else none, one or two rows."""
    if edit.step not in (None, row["step"]) or edit.target not in (None, row["target"]):
        return [row]
    if edit.drop:
        return []
    changed = _changed(row, edit)
    return [changed] if edit.again is None else [changed, _changed(changed, edit.again)]


def _changed(row: Row, change: Change) -> Row:
    """The row with its times moved and its cells set; a time that an earlier edit spoilt is left as it is."""
    changed = dict(row)
    if change.later:
        shift = timedelta(minutes=change.later)
        changed |= {"started_at": row["started_at"] + shift, "ended_at": row["ended_at"] + shift}
    if change.minutes is not None:
        changed["ended_at"] = changed["started_at"] + timedelta(minutes=change.minutes)
    return {**changed, **{name: as_json(value) for name, value in change.set_.items()}}
