"""Does an audit in pieces keep to the memory that it was given, whatever the size of the file?"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.fleet_log import AS_OF, write
from tests.benchmarks.peak import watch

MIB = 2**20
GIVEN = 256
pytestmark = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")


def run(log: Path, *more: str) -> tuple[dict[str, Any], int]:
    """The report of an audit, and the most memory that it took all in all."""
    command = [sys.executable, "-m", "validator.cli", "check", str(log), "--rules", str(log.parent / "pack.yaml"), "--register",
               str(log.parent / "register.yaml"), "--as-of", AS_OF, "--format", "json", *more]  # fmt: skip
    report = log.parent / "report.json"
    with report.open("wb") as out:
        process = subprocess.Popen(command, stdout=out)
        peak = watch(process)
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
