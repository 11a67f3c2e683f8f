"""A part of the loop over changed bytes; the whole of it is `python -m tests.hostile.byteflips`."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import validator

from .byteflips import SLOW

ROOT = Path(validator.__file__).resolve().parent.parent
SAMPLE = 500


def test_changed_bytes_crash_nothing():
    """Five hundred files, each with one byte changed: accepted, with defects or refused, and every ledger adds up."""
    done = subprocess.run([sys.executable, "-m", "tests.hostile.byteflips", "--sample", str(SAMPLE)], cwd=ROOT,
                          capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": str(ROOT)})  # fmt: skip
    assert done.returncode == 0, done.stderr[-300:]
    found = json.loads(done.stdout)
    assert found["failed"] == []
    assert found["accepted"] + found["defects"] + found["refused"] == found["tried"] == SAMPLE
    assert found["slowest"] < SLOW
