"""The equipment register: which stores and machines there are, with their lines, parts and seasons."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import Field, field_validator, model_validator

from validator.documents import load, read, suggest
from validator.errors import WrongInput
from validator.fields import Capacities, Day, Document, Text


class Window(Document):
    """A time out of service: dates in the store's time zone, both inclusive; without `to` it still lasts."""

    start: Day = Field(alias="from")
    end: Day | None = Field(default=None, alias="to")
    why: Text | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Window:
        if self.end is not None and self.end < self.start:
            raise ValueError(f"ends on {self.end}, before it begins on {self.start}")
        return self


class Equipment(Document):
    """One machine. What is left out comes from its profile in the pack."""

    equipment_id: Text
    name: Text | None = None
    profile: Text | None = None
    lines: tuple[Text, ...] | None = None
    lines_out_of_use: tuple[Text, ...] = ()
    parts: tuple[Text, ...] | None = None
    capacities: Capacities = Field(default_factory=dict)
    in_service_on: Day | None = None
    out_of_service: tuple[Window, ...] = ()
    limits: Mapping[Text, Mapping[Text, Any]] = Field(default_factory=dict)
    note: Text | None = None

    @field_validator("lines", "parts")
    @classmethod
    def _once_each(cls, value: tuple[str, ...] | None) -> tuple[str, ...] | None:
        for name in value or ():
            if (value or ()).count(name) > 1:
                raise ValueError(f"{name!r} stands twice")
        return value


class Store(Document):
    """One establishment and its machines."""

    store_id: Text
    name: Text | None = None
    timezone: Text | None = None
    equipment: tuple[Equipment, ...] = ()
    note: Text | None = None

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str | None) -> str | None:
        if value is not None:
            try:
                zoneinfo.ZoneInfo(value)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
                near = suggest(value, sorted(zoneinfo.available_timezones()))
                raise ValueError(f"{value!r} is no IANA time zone{near}; write one as America/Chicago") from None
        return value


class Register(Document):
    """The whole file."""

    stores: tuple[Store, ...] = ()

    @model_validator(mode="after")
    def _once_each(self) -> Register:
        seen: set[tuple[str, str]] = set()
        stores: set[str] = set()
        for store in self.stores:
            if store.store_id in stores:
                raise ValueError(f"the store {store.store_id!r} stands twice")
            stores.add(store.store_id)
            for machine in store.equipment:
                key = (store.store_id, machine.equipment_id)
                if key in seen:
                    raise ValueError(f"the equipment {machine.equipment_id!r} stands twice in store {store.store_id!r}")
                seen.add(key)
        return self


def load_register(path: Path) -> Register:
    """Read and check a register; raise `WrongInput` with file, line, key, what stood there and what may."""
    source = read(path)
    if not isinstance(source.data, dict):
        raise WrongInput(f"{path}: expected a mapping with the key 'stores', found {type(source.data).__name__}")
    return load(Register, source)


def days_in(windows: tuple[Window, ...], until: date) -> list[tuple[int, int]]:
    """The windows as merged pairs of day ordinals, both inclusive, an open one ending with `until`."""
    spans = sorted((w.start.toordinal(), (w.end or max(until, w.start)).toordinal()) for w in windows)
    merged: list[tuple[int, int]] = []
    for start, end in spans:
        if merged and start <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged
