"""Which texts name an instant: the vectorised reading against the one for a single text, and against pandas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.tables import NAT, StringsColumn
from validator.timing.instants import NoInstant, parse_instant, parse_strings


def column(texts: list[str]) -> StringsColumn:
    raw = [t.encode() for t in texts]
    return StringsColumn(np.cumsum([0, *map(len, raw)], dtype=np.int64), np.frombuffer(b"".join(raw), dtype=np.uint8))


well_formed = st.builds(
    lambda at, sep, seconds, zone: at.strftime(f"%Y-%m-%d{sep}%H:%M" + (":%S" if seconds else "")) + zone,
    st.datetimes(pd.Timestamp(1990, 1, 1).to_pydatetime(), pd.Timestamp(2099, 12, 31, 23, 59, 59).to_pydatetime()),
    st.sampled_from("Tt "), st.booleans(), st.sampled_from(["", "Z", "z", "+05:30", "-0800", "-00:00", "+14:00"]),
)  # fmt: skip
damaged = st.builds(
    lambda text, at, c: text[: at % len(text)] + c + text[at % len(text) + 1 :],
    well_formed, st.integers(0, 30), st.sampled_from("0123456789-:+TZ. xé/"),
)  # fmt: skip


@given(st.lists(st.one_of(well_formed, damaged, st.just(""), st.text(max_size=26)), max_size=12))
def test_a_column_is_read_as_its_cells_are(texts: list[str]) -> None:
    """Whatever stands in a column, each cell is read as it would be alone, or left for a closer look."""
    micros, absolute, rest = parse_strings(column(texts))
    for at, text in enumerate(texts):
        if at in rest or text == "":
            assert micros[at] == NAT
        else:
            assert (micros[at], bool(absolute[at])) == parse_instant(text)


@given(st.lists(well_formed, min_size=1, max_size=8))
def test_well_formed_texts_need_no_closer_look(texts: list[str]) -> None:
    """RFC 3339 with seconds or without, a blank for T, and offsets with or without a colon: all on the fast path."""
    assert len(parse_strings(column(texts))[2]) == 0


@given(well_formed)
def test_instants_are_those_that_pandas_reads(text: str) -> None:
    """pandas reads the same instant, or the same wall time where the text has no offset."""
    micros, absolute = parse_instant(text)
    stamp = pd.Timestamp(text.upper().replace(" ", "T"))

    assert absolute == (stamp.tzinfo is not None)
    assert micros == (stamp.tz_convert("UTC").tz_localize(None) if absolute else stamp).value // 1000


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-02-29T10:00:00", "bad_datetime"), ("2026-04-31T10:00:00", "bad_datetime"),
        ("2026-13-01T10:00:00", "bad_datetime"), ("2026-01-01T25:00:00", "bad_datetime"),
        ("2026-01-01T23:60:00", "bad_datetime"), ("2026-01-01T24:01:00", "bad_datetime"),
        ("2026-W10-7T21:40", "bad_datetime"), ("20260101T214000", "bad_datetime"), ("yesterday", "bad_datetime"),
        ("2026-01-01T10:00:00 PST", "bad_datetime"), ("2026-01-01T10:00:00\u221205:00", "bad_datetime"),
        ("2026-01-01T10:00:00+25:00", "bad_datetime"), ("21:40", "bad_datetime"), ("2026-01-01", "bad_datetime"),
        ("2026-06-30T23:59:60Z", "bad_datetime"), ("03/04/2026", "ambiguous_datetime"),
        ("13.04.2026 21:40", "ambiguous_datetime"), ("46082.9027777778", "ambiguous_datetime"),
        ("0001-01-01T00:00:00", "implausible_datetime"), ("1970-01-01T00:00:00Z", "implausible_datetime"),
        ("1989-12-31T23:59:59", "implausible_datetime"), ("2100-01-01T00:00:00", "implausible_datetime"),
        ("0000-01-01T00:00:00", "implausible_datetime"),
    ],
)  # fmt: skip
def test_texts_that_name_no_instant_say_why(text: str, code: str) -> None:
    """Nothing is guessed: RFC 3339 refuses these, and so do we, with a code that says in which way they fail."""
    with pytest.raises(NoInstant) as fault:
        parse_instant(text)

    assert code == fault.value.code


def test_the_end_of_a_day_is_the_start_of_the_next() -> None:
    """24:00 is the end of a day (ISO 8601-1:2019/Amd 1:2022)."""
    assert parse_instant("2026-03-01T24:00") == parse_instant("2026-03-02T00:00")


def test_a_leap_second_that_was_is_read_as_the_next_second() -> None:
    """2016 ended with a leap second (IERS Bulletin C 52, from memory); 2026-06-30 does not."""
    assert parse_instant("2016-12-31T23:59:60Z") == parse_instant("2017-01-01T00:00:00Z")
