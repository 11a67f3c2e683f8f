"""Runs the real command in a process of its own and tells what it took."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import validator

_SCRIPT = """\
import json, re, resource, sys
from pathlib import Path
from validator.cli import run
status = run(sys.argv[2:])
children = resource.getrusage(resource.RUSAGE_CHILDREN)
# getrusage would count the memory of the process that started this one as well
own = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
with open(sys.argv[1], "w") as told:
    json.dump({"own": own, "reader": children.ru_maxrss, "seconds": children.ru_utime + children.ru_stime}, told)
sys.exit(status)
"""


@dataclass(frozen=True)
class Ran:
    """What a run gave, its memory in MiB, and the processor time of its readers: a busy machine does not change that."""

    status: int
    out: bytes
    err: str
    own_mib: float
    reader_mib: float
    reader_seconds: float

    @property
    def report(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


def command(folder: Path, arguments: Sequence[str], **environment: str) -> Ran:
    """`cip-audit` with these arguments, started in a folder."""
    told = folder / "measured.json"
    root = str(Path(validator.__file__).resolve().parent.parent)
    done = subprocess.run(
        [sys.executable, "-c", _SCRIPT, str(told), *arguments], cwd=folder, capture_output=True, timeout=300,
        env={**os.environ, "PYTHONPATH": root, **environment}, stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    found = json.loads(told.read_text())
    told.unlink()
    err = done.stderr.decode("utf-8", "backslashreplace")
    return Ran(done.returncode, done.stdout, err, found["own"] / 1024, found["reader"] / 1024, found["seconds"])
