"""A header whose names ran together is read only where they can be parted in one way, and the lines below agree."""

from __future__ import annotations

import pytest

from validator import documents
from validator.errors import Unreadable
from validator.mapping.model import MappingFile
from validator.readers.csv_ import read_bytes
from validator.readers.named import Named
from validator.tables import Budget, RawTable

MAPPING = """\
mapping: m
files:
  - columns: {equipment_id: Machine, step: Work, started_at: {date: Day, time: From}, note: DayFrom}
    constants: {store_id: S}
    optional: [DayFrom]
    dates: dmy
"""
ROWS = "A,Flushed,03/04/2026,20:00\n" * 3


def read(text: str, mapping: str = MAPPING) -> tuple[RawTable, list[str]]:
    layout = documents.load(MappingFile, documents.read_bytes(mapping.encode(), "m.yaml")).files[0]
    (table,), assumptions, _ = read_bytes(text.encode(), Budget(), True, Named(layout))
    return table, assumptions


PLAIN = MAPPING.replace(", note: DayFrom", "").replace("    optional: [DayFrom]\n", "")


@pytest.mark.parametrize("header", ["Machine,Work,DayFrom", "MachineWork,Day,From", 'Machine,Work,"Day""From"', 'Machine,Work"Day",From'])
def test_two_names_in_one_cell_are_parted(header: str) -> None:
    """All rows are read, and what was done is said."""
    table, assumptions = read(f"{header}\n{ROWS}", PLAIN)

    assert (len(table.rows), table.defects) == (3, [])
    assert any("since the lines below have a cell more" in text for text in assumptions)


def test_names_parted_by_blanks_are_told() -> None:
    """The lines below have commas."""
    table, assumptions = read(f"Machine Work Day From\n{ROWS}", PLAIN)

    assert (len(table.rows), table.defects) == (3, [])
    assert any("parted by blanks" in text for text in assumptions)


@pytest.mark.parametrize(
    "text",
    [
        f"Machine,Work,DayFrom\n{ROWS}A,Flushed,03/04/2026\n",  # a line below has as many cells as the header
        "Machine,Work,DayFrom\n" + ROWS[: len(ROWS) // 3 * 2],  # two lines are too few
        f"Machine,WorkDayFrom\n{ROWS}",  # three names in one
        f"Machine,Work,DayFrom,DayFrom\n{ROWS}",  # two ways
        f"Machine,Work,Day From Till\n{ROWS}",
        f"Machine Work Day From Till\n{ROWS}",  # a name that nobody looks for
        f"Machine Work Day Day From\n{ROWS}",
    ],
)
def test_what_could_be_parted_otherwise_is_refused(text: str) -> None:
    """A header that does not fit the lines below in one way alone is none."""
    with pytest.raises(Unreadable) as refusal:
        read(text, PLAIN)
    assert refusal.value.code == "missing_column"


def test_a_name_that_is_looked_for_is_not_parted() -> None:
    """`DayFrom` is a column of its own here, so that Day and From are missing."""
    with pytest.raises(Unreadable):
        read(f"Machine,Work,DayFrom\n{ROWS}")


def test_canonical_names_are_parted_too() -> None:
    """Without a mapping, where a needed name ran into the next."""
    (table,), _, _ = read_bytes(b"store_id,equipment_idstep,started_at\n" + b"S,E,flush,2026-05-04T20:00\n" * 3, Budget())

    assert (len(table.rows), table.defects) == (3, [])
