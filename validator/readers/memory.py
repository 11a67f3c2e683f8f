"""Is there memory enough to audit some files at once, and if not, in how many pieces? Sizes are bytes.

A file is judged by its size and first bytes alone: what is in it is the business of the process that reads it.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from validator.budget import AUDIT_MEMORY, Budget

FIXED = 160 * 2**20
"""What the program, its packs and what outlasts a piece take, whatever the rows."""
PER_ROW = 700
"""What it takes to judge one row: its columns as they are read, sorted and judged."""
PER_READER = 176 * 2**20
"""What a process takes that reads a file part by part."""
PER_BYTE = {b"PAR1": 100, b"PK\x03\x04": 20}
"""What it takes to audit one byte of a file by how it begins: a packed one unfolds."""
PER_PLAIN_BYTE = 5
_UNKNOWN = 4 * 2**30
_MOST_BUCKETS = 1024
"""Past it pieces grow beyond what was asked for: at 256 MiB from some 150 million rows on."""


@dataclass(frozen=True)
class Division:
    """Into how many buckets machines are divided, how many rows a piece of some buckets may have, and how many files are read
    at a time.
    """

    buckets: int
    rows: int
    readers: int


def at_hand() -> int:
    """Half of the memory that this process may use: that of the machine, or what its container allows."""
    found = [_UNKNOWN]
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        found = [os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")]
    for limit in ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes"):
        try:
            found.append(int(Path(limit).read_text("ascii")))
        except (OSError, ValueError):
            continue
    return min(found) // 2


def division(paths: Iterable[str], memory: int, budget: Budget) -> Division | None:
    """How to divide what is in some files, so that its audit stays within so much memory; None where it all fits."""
    sizes = [(size_of(path), _per_byte(path)) for path in paths]
    needed = FIXED + sum(size * each for size, each in sizes)
    if needed <= memory and all(size <= budget.file_bytes for size, _ in sizes):
        return None
    rows = max(memory - FIXED, AUDIT_MEMORY.least - FIXED) // PER_ROW
    pieces = needed // (rows * PER_ROW) + 1
    return Division(min(_MOST_BUCKETS, 4 * pieces), rows, max(1, (memory - FIXED) // PER_READER))


def unbounded(budget: Budget) -> Budget:
    """The budget for a file that is read in parts: bytes and rows are bounded to save memory, and here they take none.

    A bound that somebody chose still holds. A row's number has 31 bits.
    """
    usual = Budget()
    return replace(
        budget, file_bytes=2**62 if budget.file_bytes == usual.file_bytes else budget.file_bytes,
        rows=2**31 - 2 if budget.rows == usual.rows else budget.rows,
    )  # fmt: skip


def size_of(path: str) -> int:
    """The size of a regular file; 0 of anything else."""
    try:
        status = Path(path).stat()
    except (OSError, ValueError):
        return 0
    return status.st_size if stat.S_ISREG(status.st_mode) else 0


def _per_byte(path: str) -> int:
    if not size_of(path):
        return 0
    try:
        with Path(path).open("rb") as file:
            return PER_BYTE.get(file.read(4), PER_PLAIN_BYTE)
    except OSError:
        return 0
