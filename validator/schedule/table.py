"""How are due dates handed to a program or a spreadsheet?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import asdict, fields

from validator.reports import words
from validator.reports.flat import in_csv
from validator.reports.layout import GOVERNS
from validator.reports.workbook import Cell
from validator.schedule import Cleaning, Schedule

_TO_READ = ("cautions", "governs")
"""Said in every row, since rows are cut out and sent on."""
_COLUMNS = tuple(f.name for f in fields(Cleaning) if f.name not in _TO_READ)


def as_json(schedule: Schedule) -> bytes:
    """UTF-8 JSON, keys in their declared order; half a character, which UTF-8 cannot hold, as its escape."""
    return (json.dumps(asdict(schedule), indent=2, ensure_ascii=False) + "\n").encode("utf-8", "backslashreplace")


def as_csv(schedule: Schedule) -> bytes:
    """One row a cleaning, RFC 4180; a text that a spreadsheet would compute has an apostrophe before it."""
    written = io.StringIO(newline="")
    writer = csv.writer(written)
    writer.writerow((*_COLUMNS, *_TO_READ))
    writer.writerows(map(in_csv, _row(cleaning)) for cleaning in schedule.cleanings)
    return written.getvalue().encode("utf-8", "backslashreplace")


def _row(cleaning: Cleaning) -> Iterator[Cell]:
    yield from (getattr(cleaning, column) for column in _COLUMNS)
    yield " ".join(map(words.stopped, cleaning.cautions))
    yield GOVERNS
