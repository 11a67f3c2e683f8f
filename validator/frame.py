"""The canonical table as a pandas frame, and the pandera schema that says what may stand in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa

from validator.tables import DOMAIN, REQUIRED, TEXTS, TIMES

if TYPE_CHECKING:
    from validator.records import RecordSet


def _number(name: str) -> pa.Column:
    low, high = DOMAIN[name]
    return pa.Column(float, pa.Check.in_range(low, high), nullable=True, required=False)


CANONICAL = pa.DataFrameSchema(
    {
        **{name: pa.Column(str, nullable=name not in REQUIRED) for name in TEXTS},
        **{name: pa.Column("datetime64[us, UTC]", nullable=True) for name in TIMES},
        **{name: _number(name) for name in DOMAIN},
        "file": pa.Column(str),
        "sheet": pa.Column(str),
        "row": pa.Column(int, pa.Check.ge(1)),
    },
    checks=[
        pa.Check(lambda frame: ~(frame["ended_at"] < frame["started_at"]), name="a step ends no earlier than it starts")
    ],
    strict=True,
)
"""The frame of `validator.records.RecordSet.frame`: one row a performed step that was used."""

_NUMBERS = pa.DataFrameSchema({name: _number(name) for name in DOMAIN})


def refused_rows(column: str, rows: Sequence[int] | npt.NDArray[np.intp], values: npt.NDArray[np.float64]) -> list[int]:
    """Which rows hold a number that cannot be: all failures at once, by the row numbers given."""
    frame = pd.DataFrame({column: values}, index=pd.Index(rows, name="row"))
    try:
        _NUMBERS.validate(frame, lazy=True)
    except pa.errors.SchemaErrors as errors:
        return sorted({int(row) for row in errors.failure_cases["index"]})
    return []


def from_records(records: RecordSet) -> pd.DataFrame:
    """The records as a frame in the order they were read, checked against `CANONICAL`."""

    def text(name: str) -> pd.Series[str]:
        coded = records.texts[name]
        return pd.Series(np.array([*coded.vocabulary, None], dtype=object)[coded.codes], dtype="str")

    def instant(name: str) -> pd.Series[pd.Timestamp]:
        return pd.Series(pd.to_datetime(records.times[name].view("datetime64[us]"), utc=True))

    nothing = np.full(len(records), np.nan)
    names = np.array([file for file, _ in records.sources], dtype=object)
    sheets = np.array([sheet for _, sheet in records.sources], dtype=object)
    frame = pd.DataFrame(
        {
            **{name: text(name) for name in TEXTS},
            **{name: instant(name) for name in TIMES},
            **{name: records.numbers.get(name, nothing) for name in DOMAIN},
            "file": pd.Series(names[records.source], dtype="str"),
            "sheet": pd.Series(sheets[records.source], dtype="str"),
            "row": records.rows.astype(np.int64),
        }
    )
    return CANONICAL.validate(frame, lazy=True)
