"""How much may one file ask for? Every limit with its name, what it bounds, and how a sentence speaks of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields
from typing import Any


@dataclass(frozen=True)
class Limit:
    """One limit of a `Budget`: the name that a user gives it by, what it bounds, and the values that it can have."""

    name: str
    meaning: str
    default: int
    least: int
    most: int

    @property
    def in_bytes(self) -> bool:
        return self.most == _MOST_BYTES

    def said(self, value: int) -> str:
        """A value as a user writes it: `512`, or `2GiB` where it counts bytes."""
        if self.in_bytes:
            for unit, size in reversed(BYTE_UNITS.items()):
                if value % size == 0:
                    return f"{value // size}{unit}"
        return str(value)

    def value(self, text: str) -> int:
        """What a user wrote as a number; raise `ValueError` with the end of a sentence that says what may stand there."""
        found = _WRITTEN.fullmatch(text)
        if found is None or (found[2] and not self.in_bytes):
            written = "bytes or with a unit, as 2GiB, 512MiB or 64KiB" if self.in_bytes else "a whole number"
            raise ValueError(f"found {text!r}; write it as {written}")
        number = int(found[1]) * BYTE_UNITS.get(found[2], 1)
        if not self.least <= number <= self.most:
            raise ValueError(f"{self.name} can be {self.said(self.least)} to {self.said(self.most)}")
        return number


_WRITTEN = re.compile(r"(\d{1,18})([KMGT]iB)?", re.ASCII)
BYTE_UNITS = {"KiB": 2**10, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40}
_MOST_BYTES = 2**50


def _count(name: str, default: int, meaning: str, most: int = 2**31 - 1) -> Any:
    return field(default=default, metadata={"limit": Limit(name, meaning, default, 1, most)})


def _bytes(name: str, default: int, meaning: str, least: int = 1) -> Any:
    return field(default=default, metadata={"limit": Limit(name, meaning, default, least, _MOST_BYTES)})


@dataclass(frozen=True)
class Budget:
    """How much one file may ask for. Every field is a `Limit` that a user can set."""

    file_bytes: int = _bytes("file-size", 4 * 2**30, "a file")
    expanded_bytes: int = _bytes("expanded-size", 512 * 2**20, "all parts of a workbook, or a Parquet file, unpacked")
    member_bytes: int = _bytes("member-size", 256 * 2**20, "one part of a workbook, unpacked")
    members: int = _count("members", 1_000, "parts of a workbook")
    ratio: int = _count("ratio", 200, "how many times its packed size a workbook may have unpacked")
    ratio_from_bytes: int = _bytes("ratio-from", 10 * 2**20, "unpacked size from which the ratio counts")
    rows: int = _count("rows", 50_000_000, "records in a file")
    sheet_rows: int = _count("sheet-rows", 1_048_576, "rows of a sheet")
    columns: int = _count("columns", 512, "columns, or different keys")
    cells: int = _count("cells", 20_000_000, "filled cells of a sheet")
    cell_characters: int = _count("cell-characters", 32_767, "characters in a cell")
    line_bytes: int = _bytes("line-size", 2**20, "a line of CSV or JSON Lines")
    depth: int = _count("depth", 64, "lists and objects within each other in JSON", most=500)
    seconds: int = _count("seconds", 60, "processor time; a second more for each MiB", most=10**6)
    memory_bytes: int = _bytes(
        "memory", 2 * 2**30, "memory of the reading process; 24 bytes more for each of the file", 2**26
    )

    def says(self, name: str, *others: str) -> str:
        """The end of a refusal's sentence: what the limit is, and how it is raised, or which others would do."""
        at, limit = LIMITS[name]
        return f"the limit is {limit.said(getattr(self, at))} ({raised_by(name, *others)})"


LIMITS: dict[str, tuple[str, Limit]] = {
    limit.name: (one.name, limit) for one in fields(Budget) for limit in [one.metadata["limit"]]
}
"""Every limit by the name that a user gives it by, with the field of `Budget` that holds it."""

AUDIT_MEMORY = Limit("--memory", "what an audit may take at once", 0, 256 * 2**20, _MOST_BYTES)
"""The memory of a whole audit. Below the least none runs: the program itself, and a reader with one part of a file."""


def raised_by(*names: str) -> str:
    """What a user can do about a limit."""
    return "raise it with " + " or ".join(
        f"--limit {name}={'SIZE' if LIMITS[name][1].in_bytes else 'N'}" for name in names
    )
