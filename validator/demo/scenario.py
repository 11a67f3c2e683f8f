"""What can a demo scenario say? The models of `fixtures/demo/scenario.yaml`: who cleans when, and what goes wrong."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field

from validator.documents import load, read
from validator.fields import Day, Document, Flag, Number, Text, Whole
from validator.findings import Status
from validator.places import bundled
from validator.register import Equipment


class Habits(Document):
    """How long steps take (least and most minutes) and what a solution is like, where no fault is planted."""

    minutes: Mapping[Text, tuple[Whole, Whole]]
    pause: tuple[Whole, Whole]
    before_use: Whole
    concentration_ppm: tuple[Whole, ...]
    temperature_c: tuple[Whole, Whole]
    ph: tuple[Number, Number]


class Change(Document):
    """What is done to a row: moved by minutes, given a length in minutes, cells set (null: left blank)."""

    later: Whole = 0
    minutes: Whole | None = None
    set_: Mapping[Text, Any] = Field(default_factory=dict, alias="set")


class Edit(Change):
    """A change to the rows of a step and target (left out: to every row), which may also be dropped or doubled."""

    step: Text | None = None
    target: Text | None = None
    drop: Flag = False
    again: Change | None = None


class Cause(Document):
    """A finding that a fault must cause, in its own cycle unless another is named."""

    rule: Text
    target: str = ""
    status: Status = Status.OUT
    machine: Text | None = None
    cycle: Whole | None = None


class Fault(Document):
    """One planted fault; `causes` is all that an audit finds because of it."""

    machine: Text
    cycle: Whole
    says: Text
    edits: tuple[Edit, ...]
    causes: tuple[Cause, ...]


class Log(Document):
    """How a store writes: the file's format, the shape of its times, and whether it numbers its cycles."""

    format: Literal["csv", "xlsx", "jsonl"]
    stamps: Literal["minutes", "seconds", "offset"]
    cycle_ids: Flag


class MachinePlan(Document):
    """One machine: its entry in the register, and the evenings on which it is cleaned."""

    starts_at: Text
    cleaned_on: tuple[Day, ...]
    equipment: Equipment


class StorePlan(Document):
    """One store with its people, its machines, its way of writing and its faults."""

    store_id: Text
    name: Text
    timezone: Text
    log: Log
    people: tuple[Text, Text]
    verifier: Text
    story: Text
    machines: tuple[MachinePlan, ...]
    faults: tuple[Fault, ...] = ()
    stray_rows: tuple[Mapping[Text, Any], ...] = ()


class Scenario(Document):
    """The whole demo."""

    chain: Text
    seed: Whole
    as_of: Text
    interval_days: Whole
    habits: Habits
    stores: tuple[StorePlan, ...]


def scenario() -> Scenario:
    """The scenario that comes with the program."""
    return load(Scenario, read(bundled("fixtures") / "demo" / "scenario.yaml"))


def cycle_name(number: int) -> str:
    """The id of a machine's nth cycle."""
    return f"cycle-{number}"
