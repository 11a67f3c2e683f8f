"""A spreadsheet's serial numbers and times written with a point are read where a mapping says so, and only there."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel, to_excel

from validator.errors import WrongInput
from validator.mapping.values import NotRead, Style, read_clock, read_serial, read_serial_clock, read_serial_date
from validator.timing.instants import NoInstant, parse_instant

from .conftest import layout

SYSTEMS = {"serial_1900": CALENDAR_WINDOWS_1900, "serial_1904": CALENDAR_MAC_1904}
ENOUGH = 'columns: {{store_id: S, equipment_id: M, step: Act, started_at: {}}}'


@pytest.mark.parametrize("unit", SYSTEMS)
@given(at=st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 31, 23, 59, 59)), decimals=st.integers(6, 11))
def test_every_second_of_a_spreadsheet_comes_back(unit: str, at: datetime, decimals: int) -> None:
    """As openpyxl writes the moment, to six decimals (0.09 s) or more, and as it reads it."""
    at = at.replace(microsecond=0)
    text = f"{to_excel(at, SYSTEMS[unit]):.{decimals}f}"

    if set(text.partition(".")[2]) == {"0"}:
        return  # midnight is a whole number, which names a day alone
    assert read_serial(text, unit, Style()) == at.isoformat()
    assert abs(from_excel(float(text), SYSTEMS[unit]) - at) <= timedelta(seconds=0.05)


@pytest.mark.parametrize("unit", SYSTEMS)
@given(at=st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 31)))
def test_four_decimals_tell_the_minute(unit: str, at: datetime) -> None:
    """A minute is 0.00069 days; four decimals are 8.64 s apart, so one minute alone is meant."""
    at = at.replace(second=0, microsecond=0, minute=at.minute or 1)

    assert read_serial(f"{to_excel(at, SYSTEMS[unit]):.4f}", unit, Style()) == at.isoformat()


@pytest.mark.parametrize(("text", "code"), [
    ("46053", "bad_datetime"), ("46053.792", "ambiguous_datetime"), ("32873.5", "implausible_datetime"),
    ("73051.5", "implausible_datetime"), ("-46053.5", "bad_datetime"), ("46053.79.17", "bad_datetime"),
])  # fmt: skip
def test_what_tells_no_minute_of_our_years_is_a_defect(text: str, code: str) -> None:
    """A day alone, three decimals that are no minute, the last day of 1989, the first of 2100, a sign, two points."""
    with pytest.raises(NotRead) as fault:
        read_serial(text, "serial_1900", Style())

    assert fault.value.code == code


@pytest.mark.parametrize(("day", "said"), [("32874", "1990-01-01"), ("73050", "2099-12-31")])
def test_the_first_and_the_last_day_are_read(day: str, said: str) -> None:
    """The years 1990 and 2099 lie within, as openpyxl counts them."""
    assert from_excel(int(day)).date().isoformat() == said
    assert read_serial_date(day, "serial_1900", Style()) == said


def test_a_day_and_a_part_of_a_day_stand_in_columns_of_their_own(reading) -> None:
    """46053 is 31 January 2026 (openpyxl), 0.7917 is 19:00; a cell that is written as a date keeps to its own writing."""
    assert from_excel(46053) == datetime(2026, 1, 31)
    log = "S,M,Act,Day,At\nS,A,flush,46053,0.7917\nS,A,flush,2026-02-01,20:15\nS,A,flush,46053,<1\n"
    found = reading(log, ENOUGH.format("{date: Day, time: At, unit: serial_1900}"))

    assert found.column("started_at") == ["2026-01-31T19:00:00", "2026-02-01T20:15:00", None]
    assert found.faults == {(4, "started_at", "bad_datetime")}


def test_a_decimal_comma_is_that_of_the_layout(reading) -> None:
    """46053,7917 is a number where the mapping writes numbers so."""
    found = reading("S;M;Act;At\nS;A;flush;46053,7917\n", ENOUGH.format("{from: At, unit: serial_1900}") + '\ndecimal: ","')

    assert found.column("started_at") == ["2026-01-31T19:00:00"]
    assert any("'At' are serial_1900" in text for text in found.assumptions)


@pytest.mark.parametrize("text", ["46053", "46053.7917", "46053,7917"])
def test_without_a_mapping_the_sentence_says_what_it_is(text: str, reading) -> None:
    """Neither in one nor in another order of days is it a date."""
    with pytest.raises(NoInstant, match="serial number of a date in a spreadsheet; a mapping has to declare it"):
        parse_instant(text)
    found = reading(f'S,M,Act,At\nS,A,flush,"{text}"\n', ENOUGH.format("At"))

    assert found.faults == {(2, "started_at", "bad_datetime")}
    assert "say `unit: serial_1900`" in found.defects[0].message


def test_a_day_with_its_time_counts_no_seconds() -> None:
    """Seconds since 1970 hold both, so that they stand in one column."""
    with pytest.raises(WrongInput, match="found 'epoch_s'; allowed: serial_1900, serial_1904"):
        layout(ENOUGH.format("{date: Day, time: At, unit: epoch_s}"))


@pytest.mark.parametrize(("text", "said"), [
    ("22.40", "22:40:00"), ("9.05", "09:05:00"), ("22:40", "22:40:00"), ("9.30 pm", "21:30:00"), ("22.4", None), ("22.60", None), ("24.01", None),
])  # fmt: skip
def test_a_point_between_hour_and_minute(text: str, said: str | None) -> None:
    """Only where the layout says so, and with two digits for the minute: 22.4 may have been a number."""
    style = Style(clock_mark=".")
    if said is None:
        with pytest.raises(NotRead):
            read_clock(text, style)
    else:
        assert read_clock(text, style) == said
    if ":" not in text:
        with pytest.raises(NotRead):
            read_clock(text, Style())


def test_a_moment_with_a_point(reading) -> None:
    """A date with points and a time with one are told apart by the blank between them."""
    found = reading("S,M,Act,At\nS,A,flush,31.01.2026 22.40\nS,A,flush,31.01.2026\n", ENOUGH.format("At") + '\ndates: dmy\nclock_mark: "."')

    assert found.column("started_at") == ["2026-01-31T22:40:00", None]
    assert "times of day may have a point between hour and minute" in found.assumptions


def test_the_end_of_a_day_is_no_time_of_it() -> None:
    """0.999999 rounds to midnight, of which a part of a day cannot say the day."""
    with pytest.raises(NotRead):
        read_serial_clock("0.999999", Style())
