"""The canonical pandas frame: what was read, row for row, and a schema that refuses what cannot be."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pandera.pandas as pa
import pytest

from validator.frame import CANONICAL, refused_rows
from validator.packs.cases import read_text

LOG = """\
store_id,equipment_id,cycle_id,step,target,started_at,ended_at,ph
007,E-1,1e5,flush,line-1,2026-01-05T20:00,2026-01-05T20:15,7.2
007,E-1,1e5,flush,line-2,2026-01-05T20:15,,
"""


def test_a_frame_holds_what_was_read() -> None:
    """Ids stay text, local times are instants of the store's zone, a blank is missing, the row is the file's."""
    frame = read_text(LOG, {"007": "America/Chicago"}).frame()

    assert frame["store_id"].tolist() == ["007", "007"]
    assert frame["cycle_id"].tolist() == ["1e5", "1e5"]
    assert frame["started_at"].tolist() == [pd.Timestamp("2026-01-06T02:00Z"), pd.Timestamp("2026-01-06T02:15Z")]
    assert frame["ended_at"].isna().tolist() == [False, True]
    assert frame["row"].tolist() == [2, 3]


@pytest.mark.parametrize(
    ("column", "value"), [("ph", 14.1), ("concentration_ppm", -1.0), ("row", 0), ("ended_at", pd.Timestamp("2026-01-05", tz="UTC"))]
)
def test_the_schema_refuses_what_cannot_be(column: str, value: object) -> None:
    """A pH above 14, a strength below 0, a row before the first, an end before its start."""
    frame = read_text(LOG, {"007": "America/Chicago"}).frame().copy()
    frame.loc[0, column] = value
    with pytest.raises(pa.errors.SchemaErrors):
        CANONICAL.validate(frame, lazy=True)


def test_refused_rows_are_named_by_their_own_numbers() -> None:
    """Both ends of a domain are inside it; what lies beyond is named, every one at once."""
    values = np.array([0.0, 14.0, 14.000001, -0.000001, np.inf])

    assert refused_rows("ph", [3, 5, 8, 9, 12], values) == [8, 9, 12]
