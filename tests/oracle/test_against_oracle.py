"""Does the product find what a slow and plain reading of the contract finds, case by case?"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from . import logs, product, reading

# as many cases of a family as a few seconds allow
COUNTS = {
    "capacities": 50, "contacts": 70, "flushes": 50, "loose": 70, "notes": 120, "orders": 60, "schedules": 80,
    "solutions": 70, "tiny": 200,
}  # fmt: skip
# what these find of a time that is missing is not settled
UNSETTLED: dict = {}


@pytest.mark.parametrize("family", sorted(COUNTS))
def test_findings_are_those_of_a_plain_reading(family: str, tmp_path: Path) -> None:
    """Every check that is OUT or N/O, and no other, comes out as the plain reading has it."""
    tried, found = 0, 0
    for seed in range(COUNTS[family]):
        case = logs.case(family, seed)
        try:
            wanted = reading.findings(case.rows, case.pack, case.register, case.as_of)
        except reading.TooMany:
            continue
        seen = product.findings(case.rows, product.pack_at(tmp_path, case.pack), case.register, case.as_of)
        unsettled = UNSETTLED.get(family, set())
        wanted, seen = ({f for f in some if f[0] not in unsettled} for some in (wanted, seen))
        assert seen == wanted, f"{family} {seed}: lacks {sorted(wanted - seen)}, has beside {sorted(seen - wanted)}"
        tried, found = tried + 1, found + len(wanted)
    assert tried >= 0.8 * COUNTS[family]
    assert found >= tried / 2


@pytest.mark.parametrize(("ending", "seed"), [("csv", 1), ("xlsx", 2), ("jsonl", 4), ("parquet", 5)])
def test_files_of_every_format_give_the_same_findings(ending: str, seed: int, tmp_path: Path) -> None:
    """A log that goes through a file and the command line ends in the findings of the plain reading."""
    case = logs.case("orders", seed)
    log = tmp_path / f"log.{ending}"
    frame = pd.DataFrame(case.rows)
    if ending == "csv":
        frame.to_csv(log, index=False)
    elif ending == "xlsx":
        frame.to_excel(log, index=False)
    elif ending == "jsonl":
        frame.to_json(log, orient="records", lines=True)
    else:
        frame.to_parquet(log, index=False)
    register = tmp_path / "register.yaml"
    register.write_text(json.dumps(case.register), encoding="utf-8")
    command = [
        sys.executable, "-m", "validator.cli", "check", str(log), "--rules", str(product.pack_at(tmp_path, case.pack)),
        "--register", str(register), "--as-of", case.as_of, "--format", "json", "--fail-on", "never",
    ]  # fmt: skip
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    names = ("rule", "store_id", "equipment_id", "cycle_id", "target", "status")
    seen = {tuple(f[n] or "" for n in names) for f in json.loads(run.stdout)["findings"]}
    wanted = reading.findings(case.rows, case.pack, case.register, case.as_of)
    assert wanted
    assert {f for f in seen if f[0] != "empty-export"} == wanted
