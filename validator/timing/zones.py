"""What do the clocks of a place show? Whole arrays between UTC and local time, with gaps and folds told apart.

Instants are microseconds since 1970, UTC; wall times are microseconds of the local calendar counted the same way.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, cached_property
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

Micros = npt.NDArray[np.int64]
DAY = 86_400_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST, _LAST = 1989, 2101


@dataclass(frozen=True)
class Clock:
    """The changes of a zone's offset from 1989 to 2101: instants of change and the offset that holds from each."""

    changes: Micros
    offsets: Micros

    def offset_at(self, utc: Micros) -> Micros:
        """Local time minus UTC at each instant."""
        return self.offsets[np.searchsorted(self.changes, utc, side="right")]

    def moment(self, at: int) -> str:
        """An instant by this clock as RFC 3339, to the second: `2026-11-01T01:10:00-05:00`."""
        changes, offsets = self._steps
        offset = offsets[bisect_right(changes, at)]
        minutes = abs(offset) // 60_000_000
        wall = str(np.datetime64(at + offset, "us"))[:19]
        return f"{wall}{'-' if offset < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"

    def moments(self, at: Micros) -> list[str]:
        """Many instants by this clock, each as `moment` says it."""
        offset = self.offset_at(at)
        wall = np.datetime_as_string((at + offset).view("datetime64[us]"), unit="s").tolist()
        signs = {
            o: f"{'-' if o < 0 else '+'}{abs(o) // 3_600_000_000:02d}:{abs(o) // 60_000_000 % 60:02d}"
            for o in np.unique(offset).tolist()
        }
        return [f"{text}{signs[o]}" for text, o in zip(wall, offset.tolist(), strict=True)]

    @cached_property
    def _steps(self) -> tuple[list[int], list[int]]:
        return self.changes.tolist(), self.offsets.tolist()

    def to_wall(self, utc: Micros) -> Micros:
        """The wall time at each instant."""
        return utc + self.offset_at(utc)

    def to_utc(self, wall: Micros) -> tuple[Micros, Micros]:
        """The earliest and the latest instant that a wall time can name.

        Equal: the usual case. Earliest < latest: the hour happened twice. Earliest > latest: it never happened.
        """
        late = wall - self.offsets[np.searchsorted(self.changes + self.offsets[1:], wall, side="right")]
        early = wall - self.offsets[np.searchsorted(self.changes + self.offsets[:-1], wall, side="right")]
        exists = self.to_wall(early) == wall
        return np.where(exists, early, late), np.where(exists, late, early)

    def midnight(self, day: int) -> int:
        """The first instant of a local day, given as days since 1970: an instant even where midnight was skipped."""
        first, last = (int(at[0]) for at in self.to_utc(np.array([day * DAY])))
        if first <= last:
            return first
        return int(self.changes[np.searchsorted(self.changes, last, side="right")])


@cache
def clock(zone: str) -> Clock:
    """The clock of an IANA time zone, its changes found by halving every stretch whose ends differ."""
    info = ZoneInfo(zone)
    changes: list[int] = []
    offsets = [_offset(info, datetime(_FIRST, 1, 1, tzinfo=UTC))]
    at = datetime(_FIRST, 1, 1, tzinfo=UTC)
    end = datetime(_LAST, 1, 1, tzinfo=UTC)
    while at < end:
        later = at + timedelta(days=7)
        if _offset(info, later) != offsets[-1]:
            moment = _change(info, at, later, offsets[-1])
            changes.append((moment - _EPOCH) // timedelta(microseconds=1))
            offsets.append(_offset(info, moment))
            at = moment
        else:
            at = later
    return Clock(np.array(changes, dtype=np.int64), np.array(offsets, dtype=np.int64))


def _offset(info: ZoneInfo, at: datetime) -> int:
    offset = at.astimezone(info).utcoffset()
    assert offset is not None
    return offset // timedelta(microseconds=1)


def _change(info: ZoneInfo, low: datetime, high: datetime, offset: int) -> datetime:
    """The first whole second in (low, high] at which the offset is no longer `offset`."""
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
        low, high = (low, middle) if _offset(info, middle) != offset else (middle, high)
    return high
