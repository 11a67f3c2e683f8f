"""Every small file of the corpus with one byte changed, at every position: accepted, with defects, or refused, never a crash.

`python -m tests.hostile.byteflips` runs the whole loop, `--sample N` a part of it that is the same every time, and
`--seconds S` as much of it, in an order of chance, as the time allows. One line of JSON says what came out.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import random
import resource
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

from validator.assembly import assemble
from validator.errors import Unreadable
from validator.readers import READERS, formats
from validator.readers.cells import parse
from validator.tables import Budget, FileRead

from . import corpus

SMALL = 4096
SLOW = 5.0
"""Seconds of processor time that no changed file may take."""
_MEMORY = 4 * 2**30


def small_files() -> dict[str, bytes]:
    """The record files of the corpus that have no more than 4 KiB."""
    found = {e.file: corpus.BUILDERS[e.file]() for e in corpus.EXPECTED if not e.is_pack}
    return {name: data for name, data in found.items() if 0 < len(data) <= SMALL}


def outcome(name: str, path: Path) -> str:
    """What comes of a file, by every stop from its format to the ledger; what is raised here is a crash."""
    data = path.read_bytes()
    try:
        format_ = formats.decide(name, data[: formats.HEAD], len(data), lambda start, n: data[start : start + n])
        raw, assumptions, notices = importlib.import_module(READERS[format_]).read(path, Budget())
    except Unreadable:
        return "refused"
    read = FileRead(name, "", format_, [parse(table) for table in raw], assumptions, notices)
    intake = assemble([read], {})
    (line,) = intake.inputs
    rows = {(d.sheet, d.row) for d in intake.defects}
    assert line.rows == line.rows_used + line.rows_defective, "the ledger does not add up"
    assert line.rows_defective == len(rows), "a defective row has no defect, or a sound one has"
    return "defects" if line.rows_defective else "accepted"


def changes(files: dict[str, bytes], seed: int) -> list[tuple[str, int, int]]:
    """File, position and new byte: one change at every position of every file."""
    chance = random.Random(seed)
    return [(name, at, byte ^ chance.randrange(1, 256)) for name, data in files.items() for at, byte in enumerate(data)]


def run(sample: int | None, seconds: float | None, seed: int) -> dict[str, Any]:
    """Try the changes and count what came out; `failed` lists every crash with its change.

    They are tried in a process of its own, as a file is read in one: a library that ends it refuses the file (`died`).
    """
    files = small_files()
    every = changes(files, seed)
    if sample is not None or seconds is not None:
        random.Random(seed).shuffle(every)
    wanted = every[:sample]
    until = time.monotonic() + seconds if seconds is not None else float("inf")
    told: list[dict[str, Any]] = []
    while len(told) < len(wanted) and time.monotonic() < until:
        told += _try(files, wanted[len(told) :], until)
    counts = Counter(one["came"] for one in told)
    failed = [one["why"] for one in told if one["came"] == "failed"]
    slowest = max(one.get("took", 0.0) for one in told)
    return {"all": len(every), "tried": len(told), **counts, "slowest": slowest, "failed": failed}


def _try(files: dict[str, bytes], wanted: list[tuple[str, int, int]], until: float) -> list[dict[str, Any]]:
    """What came of the changes, up to the first that ends the process they are tried in."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        with tempfile.TemporaryDirectory() as folder, os.fdopen(writer, "w", buffering=1) as answers:
            for name, at, byte in wanted:
                if time.monotonic() > until:
                    break
                data = bytearray(files[name])
                data[at] = byte
                answers.write(json.dumps(_one(name, data, Path(folder) / "changed", f"{name} byte {at} = {byte}")) + "\n")
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as answers:
        told = [json.loads(line) for line in answers]
    _, status = os.waitpid(child, 0)
    return told if status == 0 else [*told, {"came": "died"}]


def _one(name: str, data: bytearray, path: Path, spoken: str) -> dict[str, Any]:
    path.write_bytes(data)
    before = time.process_time()
    try:
        came: dict[str, Any] = {"came": outcome(name, path)}
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        came = {"came": "failed", "why": f"{spoken}: {type(error).__name__}: {error} in {where.name}"}
    return {**came, "took": time.process_time() - before}


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("--sample", type=int)
    asked.add_argument("--seconds", type=float)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    print(json.dumps(run(given.sample, given.seconds, given.seed), indent=1))
