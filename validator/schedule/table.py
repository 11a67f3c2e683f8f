"""How are due dates handed to a program or a spreadsheet?"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict, fields

from validator.reports.flat import in_csv
from validator.schedule import Cleaning, Schedule

_LEFT_OUT = ("cautions",)
"""Texts too long for a cell of a list."""


def as_json(schedule: Schedule) -> bytes:
    """UTF-8 JSON, keys in their declared order; half a character, which UTF-8 cannot hold, as its escape."""
    return (json.dumps(asdict(schedule), indent=2, ensure_ascii=False) + "\n").encode("utf-8", "backslashreplace")


def as_csv(schedule: Schedule) -> bytes:
    """One row a cleaning, RFC 4180; a text that a spreadsheet would compute has an apostrophe before it."""
    written = io.StringIO(newline="")
    columns = [f.name for f in fields(Cleaning) if f.name not in _LEFT_OUT]
    writer = csv.writer(written)
    writer.writerow(columns)
    writer.writerows([in_csv(getattr(cleaning, column)) for column in columns] for cleaning in schedule.cleanings)
    return written.getvalue().encode("utf-8", "backslashreplace")
