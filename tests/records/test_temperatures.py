"""Temperatures on two scales: each reading stays on its own, and two that cannot be one are set aside."""

from __future__ import annotations

import numpy as np
import pytest

from validator.assembly import assemble
from validator.packs.cases import read_text
from validator.readers import read_files

HEADER = "store_id,equipment_id,cycle_id,step,started_at,temperature_c,temperature_f\n"


def intake(tmp_path, rows: str):
    log = tmp_path / "log.csv"
    log.write_text(HEADER + "".join(f"S,E,c,rinse,2026-01-05T20:00Z,{row}\n" for row in rows.split()), "utf-8")
    return assemble(read_files([str(log)]), {})


@pytest.mark.parametrize(
    ("row", "agrees"),
    [
        ("38,100", True),  # Food Code 4-501.114 prints this pair; 38 °C is 100.4 °F
        ("37.8,100", True),
        ("37.2,100", False),  # what reads 37.2 °C is 99.05 °F at most
        ("38,101", True),  # 38.4 °C is 101.1 °F
        ("38,102", False),  # 38.5 °C is 101.3 °F, which no one reads as 102
        ("24,57", False),  # two digits changed places
        ("24.0,75", True),
        ("75,24", False),
    ],
)
def test_both_scales_agree_within_the_rounding_of_their_digits(tmp_path, row: str, agrees: bool) -> None:
    """One true temperature, rounded on each scale, gives both figures, or they contradict each other."""
    found = intake(tmp_path, row)

    assert [d.code for d in found.defects] == ([] if agrees else ["temperature_disagrees"])
    taken = [float(found.records.numbers[name][0]) for name in ("temperature_c", "temperature_f")]
    assert np.isnan(taken).tolist() == [not agrees] * 2


def test_a_defect_names_row_and_column(tmp_path) -> None:
    """The row that its reader sees; the others keep their readings."""
    found = intake(tmp_path, "24,75 24,57 ,57")

    (defect,) = found.defects
    assert (defect.row, defect.column) == (3, "temperature_f")
    assert found.records.numbers["temperature_f"][2] == 57
    assert found.inputs[0].rows_defective == 1


def test_what_no_thermometer_shows_is_a_defect(tmp_path) -> None:
    """From -76 to 572 °F, which are -60 and 300 °C."""
    found = intake(tmp_path, ",-76 ,572 ,-76.1 ,572.1")

    assert [(d.row, d.code) for d in found.defects] == [(4, "out_of_domain"), (5, "out_of_domain")]


def test_a_frame_holds_both_columns() -> None:
    """The canonical frame has what was read, on the scale that was read."""
    frame = read_text(HEADER + "S,E,c,rinse,2026-01-05T20:00Z,,75", {}).frame()

    assert frame["temperature_f"].tolist() == [75.0]
    assert frame["temperature_c"].isna().tolist() == [True]
