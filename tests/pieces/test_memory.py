"""Does an audit in pieces keep to the memory that it was given, whatever the size of the file?"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.fleet_log import AS_OF, write

MIB = 2**20
GIVEN = 256
pytestmark = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")


def of_tree(process: int) -> int:
    """The bytes that a process and all that it started have in memory now; what they share is counted for each."""
    try:
        status = Path(f"/proc/{process}/status").read_text()
        children = [
            int(child) for task in Path(f"/proc/{process}/task").iterdir() for child in (task / "children").read_text().split()
        ]
    except OSError:  # it has ended
        return 0
    own = next((int(line.split()[1]) * 1024 for line in status.splitlines() if line.startswith("VmRSS")), 0)
    return own + sum(of_tree(child) for child in children)


def run(log: Path, *more: str) -> tuple[dict[str, Any], int]:
    """The report of an audit, and the most memory that it took all in all."""
    command = [sys.executable, "-m", "validator.cli", "check", str(log), "--rules", str(log.parent / "pack.yaml"), "--register",
               str(log.parent / "register.yaml"), "--as-of", AS_OF, "--format", "json", *more]  # fmt: skip
    report, peak = log.parent / "report.json", 0
    with report.open("wb") as out:
        process = subprocess.Popen(command, stdout=out)
        while process.poll() is None:
            peak = max(peak, of_tree(process.pid))
            time.sleep(0.01)
    assert process.returncode == 1
    return json.loads(report.read_bytes()), peak


def test_a_file_larger_than_the_memory_given(tmp_path: Path) -> None:
    """An export of more than twice the bytes that may be used is audited within them, every row of it."""
    rows = write(tmp_path, 250)
    log = tmp_path / "log.csv"
    header, *lines = log.read_bytes().splitlines()
    remark = b"," + b"nothing to report; " * 180 + b"\n"
    with log.open("wb") as padded:
        padded.write(header + b",remarks\n")
        padded.writelines(line + remark for line in lines)
    assert log.stat().st_size > 2 * GIVEN * MIB

    report, peak = run(log, "--memory", f"{GIVEN}MiB")

    assert peak < GIVEN * MIB
    assert report["records"] == rows
    assert report["findings"]
