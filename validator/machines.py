"""Which machines are audited, and what is known of each: from the register, its profile, or its records alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Protocol

import numpy as np

from validator.register import Register, days_in
from validator.timing.instants import NoInstant, parse_instant
from validator.timing.zones import DAY, Clock, clock

EPOCH = date(1970, 1, 1).toordinal()


class ProfileLike(Protocol):
    """What a pack says of a type of equipment."""

    @property
    def lines(self) -> tuple[str, ...]: ...
    @property
    def parts(self) -> tuple[str, ...]: ...
    @property
    def capacities(self) -> Mapping[str, int]: ...


@dataclass(frozen=True)
class Machine:
    """One equipment. `lines` and `parts` are None where nothing but the records tells them.

    Days are counted since 1970 in the store's time zone; `as_of` is microseconds UTC and `today` its day. `closed` are
    merged pairs of days out of service, both inclusive.
    """

    store_id: str
    equipment_id: str
    store_name: str
    zone: str
    clock: Clock
    as_of: int
    today: int
    registered: bool
    profile: str = ""
    lines: tuple[str, ...] | None = None
    parts: tuple[str, ...] | None = None
    out_of_use: frozenset[str] = frozenset()
    capacities: Mapping[str, int] = field(default_factory=dict)
    in_service_on: int | None = None
    closed: tuple[tuple[int, int], ...] = ()
    limits: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def with_profile(self, profiles: Mapping[str, ProfileLike]) -> Machine:
        """The machine with what its profile says where the register is silent."""
        profile = profiles.get(self.profile)
        if profile is None:
            return self
        return replace(
            self,
            lines=self.lines if self.lines is not None else tuple(profile.lines),
            parts=self.parts if self.parts is not None else tuple(profile.parts),
            capacities={**profile.capacities, **self.capacities},
        )


@dataclass(frozen=True)
class AsOf:
    """The moment an audit looks from: an instant, or a wall-clock time that each store reads by its own clock."""

    micros: int
    absolute: bool
    shown: str

    @classmethod
    def parse(cls, text: str) -> AsOf:
        """Read `2026-07-01T06:00:00Z`, `2026-07-01T06:00` (each store's clock) or `2026-07-01` (to the day's end)."""
        whole_day = len(text) == 10
        try:
            micros, absolute = parse_instant(f"{text}T24:00" if whole_day else text)
        except NoInstant as error:
            raise ValueError(str(error)) from None
        return cls(micros - 1 if whole_day else micros, absolute, text)

    def at(self, zone: Clock) -> int:
        """Microseconds UTC; of a wall time that happened twice the later, so that nothing recorded is cut off."""
        if self.absolute:
            return self.micros
        first, last = zone.to_utc(np.array([self.micros]))
        return int(max(first[0], last[0]))


class _Moments:
    """The clock of a zone, and the moment of the audit by it, once for each zone."""

    def __init__(self, as_of: AsOf) -> None:
        self.as_of = as_of
        self.known: dict[str, tuple[Clock, int, int]] = {}

    def of(self, zone: str) -> tuple[Clock, int, int]:
        if zone not in self.known:
            here = clock(zone)
            now = self.as_of.at(here)
            self.known[zone] = here, now, int(here.to_wall(np.array([now]))[0] // DAY)
        return self.known[zone]


def machines(register: Register | None, recorded: Iterable[tuple[str, str]], as_of: AsOf) -> list[Machine]:
    """The register's machines and those that only the records name, in order of store and equipment."""
    found: dict[tuple[str, str], Machine] = {}
    stores = {s.store_id: s for s in register.stores} if register else {}
    moments = _Moments(as_of)
    for store in stores.values():
        zone, now, today = moments.of(store.timezone or "UTC")
        for e in store.equipment:
            until = date.fromordinal(EPOCH + today)
            found[store.store_id, e.equipment_id] = Machine(
                store.store_id, e.equipment_id, store.name or "", store.timezone or "UTC", zone, now, today, True,
                e.profile or "", e.lines, e.parts, frozenset(e.lines_out_of_use), dict(e.capacities),
                e.in_service_on.toordinal() - EPOCH if e.in_service_on else None,
                tuple((a - EPOCH, b - EPOCH) for a, b in days_in(e.out_of_service, until)), e.limits,
            )  # fmt: skip
    for store_id, equipment_id in recorded:
        if (store_id, equipment_id) not in found:
            known = stores.get(store_id)
            name = (known.timezone if known else None) or "UTC"
            found[store_id, equipment_id] = Machine(
                store_id, equipment_id, (known.name if known else None) or "", name, *moments.of(name), False
            )
    return [found[key] for key in sorted(found)]
