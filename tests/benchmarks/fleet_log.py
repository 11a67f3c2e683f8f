"""Write the log of a large fleet, for measuring: `python fleet_log.py FOLDER [--stores 2000]`.

A year of one machine a store, 12 or 13 cycles each, some 54 rows a cycle: about 1.35 million rows for 2,000 stores.
Faults are sown thinly: short flushes, missed parts, weak or unread solutions, wrong order, late cleanings.
"""

from __future__ import annotations

import argparse
import csv
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

HEADER = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "started_at", "ended_at", "agent",
    "solution_id", "concentration_ppm", "temperature_c", "performed_by",
)  # fmt: skip
LINES = [f"line-{n}" for n in range(1, 9)]
PARTS = [
    "nozzle",
    "manifold",
    "spout",
    "drip-tray",
    "gasket",
    "connector",
    "flavour-head",
    "cover",
    "valve",
    "tube-end",
]
PACK = """\
pack: fleet-benchmark
version: 1.0.0
title: Six rules over a fleet
procedure: periodic-cip
profiles:
  dispenser:
    lines: [line-1, line-2, line-3, line-4, line-5, line-6, line-7, line-8]
    parts: [nozzle, manifold, spout, drip-tray, gasket, connector, flavour-head, cover, valve, tube-end]
    capacities: {flush: 1}
rules:
  - {id: B-INTERVAL, title: Late, kind: interval, grade: major, params: {max: P30D, counts: complete}}
  - {id: B-FLUSH, title: Short flush, kind: flush, grade: major, params: {targets: lines, min: PT15M}}
  - {id: B-CONTACT, title: Short contact, kind: contact, grade: major, params: {steps: [sanitize], targets: parts, min: PT5M}}
  - {id: B-STRENGTH, title: Wrong strength, kind: concentration, grade: critical, params: {agent: chlorine, min: 100, max: 200}}
  - {id: B-ORDER, title: Not washed first, kind: order, grade: major, params: {relations: [{first: wash, then: sanitize, per: target}]}}
  - id: B-COVERAGE
    title: Step left out
    kind: coverage
    grade: major
    params: {required: [{step: flush, targets: lines}, {step: sanitize, targets: parts}, {step: empty_tank}]}
"""
AS_OF = "2026-01-01T00:00:00Z"


def cycle_rows(rng: random.Random, store: str, number: int, start: datetime) -> list[list[str]]:
    """One cycle in the order a person would write it down."""
    machine, cycle, who = f"{store}-SYR-A", f"{store}-C{number:03d}", f"P{rng.randrange(6)}-{store}"
    at = start
    solution = f"S{number}"
    rows: list[list[str]] = []

    def add(step: str, target: str, seconds: int, agent: str = "", ppm: str = "", warm: str = "") -> None:
        nonlocal at
        end = at + timedelta(seconds=seconds)
        mixed = solution if agent == "chlorine" else ""
        rows.append([store, machine, cycle, "periodic-cip", step, target, at.strftime("%Y-%m-%dT%H:%M:%SZ"),
                     end.strftime("%Y-%m-%dT%H:%M:%SZ"), agent, mixed, ppm, warm, who])  # fmt: skip
        at = end

    add("empty_tank", "", 300)
    add("mix_solution", "", 120, "chlorine")
    roll = rng.random()
    ppm = "" if roll < 0.01 else str(rng.randrange(60, 100)) if roll < 0.02 else str(rng.randrange(100, 201))
    add("test_solution", "", 60, "chlorine", ppm, "24.5")
    for line in LINES:
        if rng.random() > 0.002:
            add("flush", line, rng.randrange(600, 900) if rng.random() < 0.004 else rng.randrange(900, 960), "chlorine")
    add("disassemble", "", 300)
    for part in PARTS:
        if rng.random() > 0.002:
            add("wash", part, rng.randrange(60, 120), "detergent")
    for part in PARTS:
        add("rinse", part, 30, "water")
    for part in PARTS:
        if rng.random() > 0.002:
            add(
                "sanitize",
                part,
                rng.randrange(200, 300) if rng.random() < 0.004 else rng.randrange(300, 360),
                "chlorine",
            )
    for part in PARTS[:4]:
        add("air_dry", part, 300)
    add("reassemble", "", 600)
    add("refill_tank", "", 300)
    for line in LINES[: rng.choice([4, 8])]:
        add("prime", line, 30)
    add("verify", "", 60)
    return rows


def write(folder: Path, stores: int, seed: int = 7) -> int:
    """Write log.csv, pack.yaml and register.yaml; the number of rows."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "pack.yaml").write_text(PACK, "utf-8")
    count = 0
    with (folder / "log.csv").open("w", newline="", encoding="utf-8") as log:
        writer = csv.writer(log, lineterminator="\n")
        writer.writerow(HEADER)
        for s in range(stores):
            store = f"ST-{s:04d}"
            at = datetime(2025, 1, 1, 3, tzinfo=UTC) + timedelta(days=rng.randrange(28), minutes=rng.randrange(300))
            number = 0
            while at < datetime(2026, 1, 1, tzinfo=UTC):
                number += 1
                rows = cycle_rows(rng, store, number, at)
                writer.writerows(rows)
                count += len(rows)
                at += timedelta(days=rng.choice([26, 27, 28, 28, 29, 29, 30, 33 if rng.random() < 0.1 else 28]))
    with (folder / "register.yaml").open("w", encoding="utf-8") as register:
        register.write("stores:\n")
        for s in range(stores):
            register.write(f"  - store_id: ST-{s:04d}\n    timezone: America/Chicago\n    equipment:\n"
                           f"      - {{equipment_id: ST-{s:04d}-SYR-A, profile: dispenser}}\n")  # fmt: skip
    return count


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--stores", type=int, default=2000)
    given = parser.parse_args()
    print(write(given.folder, given.stores), "rows")
