"""How do the records get out of a file? One reader a format; every file is read in a process of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from validator.tables import Budget, FileRead, FileRefused

if TYPE_CHECKING:
    from validator.mapping.model import Chosen
    from validator.readers.bounded import Reading

READERS = {
    "csv": "validator.readers.csv_",
    "json": "validator.readers.json_",
    "jsonl": "validator.readers.jsonl",
    "parquet": "validator.readers.parquet",
    "xlsx": "validator.readers.xlsx",
}
"""The module of each format, loaded where it is needed: `read(path, budget)` gives the tables, assumptions, notices."""


def read_files(
    paths: Sequence[str],
    budget: Budget | None = None,
    on_progress: Callable[[int, int], None] | None = None,
    mapping: Chosen | None = None,
    look: bool = False,
) -> list[FileRead | FileRefused]:
    """Read files in the order named; `-` is standard input. No file can fail another, and none raises.

    `on_progress(done, all)` is called after each file. `mapping` fits an export's own columns to the canonical ones;
    with `look`, what stands in the file comes back beside what is made of it.
    """
    return start_reading(paths, budget, mapping, look).result(on_progress)


def start_reading(
    paths: Sequence[str], budget: Budget | None = None, mapping: Chosen | None = None, look: bool = False, memory: int | None = None
) -> Reading:  # fmt: skip
    """Begin to read in the background; the handle's `result()` waits and gives what `read_files` gives.

    With `memory`, files whose audit would take more bytes than that are divided: the handle's `division` says so, and its
    `pieces()` waits and gives them piece by piece.
    """
    from validator.readers.bounded import Reading

    return Reading(paths, budget or Budget(), mapping, look, memory)
