"""Zones: local time and UTC for whole arrays, against pandas, whenever and the tz database's own cases."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import whenever
from hypothesis import given
from hypothesis import strategies as st

from validator.timing.zones import DAY, clock

ZONES = ["America/New_York", "America/Chicago", "America/Phoenix", "Europe/Berlin", "Australia/Lord_Howe",
         "Asia/Kathmandu", "Pacific/Apia", "Africa/Casablanca", "UTC"]  # fmt: skip


def micros(text: str) -> int:
    return (datetime.fromisoformat(text).replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(
        microseconds=1
    )


@pytest.mark.parametrize("zone", ZONES)
@given(st.integers(946_684_800, 4_070_908_799))
def test_wall_time_is_what_pandas_says(zone: str, second: int) -> None:
    """The wall clock of any second of the century is the one that pandas' time zone code gives."""
    expected = pd.Timestamp(second, unit="s", tz="UTC").tz_convert(zone).tz_localize(None).value // 1000

    assert expected == clock(zone).to_wall(np.array([second * 1_000_000]))[0]


@pytest.mark.parametrize("zone", ZONES)
@given(st.integers(946_684_800, 4_070_908_799))
def test_every_instant_is_one_of_the_two_its_wall_time_names(zone: str, second: int) -> None:
    """Going to the wall clock and back gives the instant again, as the first or as the last of the two."""
    instant = np.array([second * 1_000_000])
    first, last = clock(zone).to_utc(clock(zone).to_wall(instant))

    assert instant[0] in (first[0], last[0])
    assert first[0] <= last[0]


@pytest.mark.parametrize(
    ("wall", "kind"),
    [
        ("2024-11-03T01:30:00", "twice"), ("2024-11-03T00:59:59", "once"), ("2024-11-03T02:00:00", "once"),
        ("2024-11-03T01:00:00", "twice"), ("2024-11-03T01:59:59", "twice"),
        ("2024-03-10T02:30:00", "never"), ("2024-03-10T01:59:59", "once"), ("2024-03-10T03:00:00", "once"),
    ],
)  # fmt: skip
def test_new_york_hours_that_happened_twice_or_never(wall: str, kind: str) -> None:
    """The clock changes of 2024 in New York: the `whenever` library raises where we say twice or never."""
    first, last = clock("America/New_York").to_utc(np.array([micros(wall)]))
    found = "once" if first[0] == last[0] else "twice" if first[0] < last[0] else "never"

    assert kind == found
    raised = {"once": None, "twice": whenever.RepeatedTime, "never": whenever.SkippedTime}[kind]
    plain = whenever.PlainDateTime.parse_iso(wall)
    if raised is None:
        assert plain.assume_tz("America/New_York", disambiguation="raise").timestamp() * 1_000_000 == first[0]
    else:
        with pytest.raises(raised):
            plain.assume_tz("America/New_York", disambiguation="raise")


@pytest.mark.parametrize(
    ("start", "end", "hours"),
    [("2024-03-09T22:00:00", "2024-03-10T06:00:00", 7), ("2024-11-02T22:00:00", "2024-11-03T06:00:00", 9)],
)
def test_a_night_with_a_clock_change_has_seven_or_nine_hours(start: str, end: str, hours: int) -> None:
    """From 22:00 to 06:00 the wall clock moves eight hours; seven or nine have passed (tz database, New York 2024)."""
    first, _ = clock("America/New_York").to_utc(np.array([micros(start), micros(end)]))

    assert hours == (first[1] - first[0]) / 3_600_000_000


def test_midnight_that_was_skipped_is_the_first_instant_of_the_day() -> None:
    """On 2018-11-04 Sao Paulo's clocks went from midnight to one: the day began at 01:00 (tz database)."""
    day = datetime(2018, 11, 4).toordinal() - datetime(1970, 1, 1).toordinal()
    expected = datetime(2018, 11, 4, 1, tzinfo=ZoneInfo("America/Sao_Paulo")).timestamp()

    assert expected == clock("America/Sao_Paulo").midnight(day) / 1_000_000
    assert clock("UTC").midnight(day) == day * DAY
