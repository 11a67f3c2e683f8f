"""The benchmark's two sides give the same findings, so that measuring them side by side means something."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from validator.cli import run

HERE = Path(__file__).parent


def key(finding: dict) -> tuple[str, ...]:
    return tuple(finding[k] for k in ("rule", "equipment_id", "cycle_id", "target", "status"))


def test_six_rules_by_hand_in_sql_find_the_same(tmp_path: Path, capfdbinary) -> None:
    """Twenty stores for a year: every finding of the hand-written SQL is ours, and none beside."""
    subprocess.run([sys.executable, HERE / "fleet_log.py", tmp_path, "--stores", "20"], check=True, capture_output=True)
    subprocess.run([sys.executable, HERE / "by_sql.py", tmp_path], check=True, capture_output=True)
    capfdbinary.readouterr()
    run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "pack.yaml"), "--register",
         str(tmp_path / "register.yaml"), "--as-of", "2026-01-01T00:00:00Z", "--format", "json"])  # fmt: skip
    ours = json.loads(capfdbinary.readouterr()[0])["findings"]
    theirs = json.loads((tmp_path / "by-sql.json").read_text("utf-8"))

    assert len(theirs) > 20
    assert sorted(map(key, theirs)) == sorted(map(key, ours))
