"""What is there to look at without data of one's own? An invented chain: its register, its logs and their faults.

The scenario (`fixtures/demo/scenario.yaml`) says who cleans when and which faults are planted. From it come the logs,
the register, and the truth: every finding that the planted faults must cause, known without running an audit.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from validator.demo.cycle import store_rows
from validator.demo.logs import WRITERS, register_text
from validator.demo.scenario import Scenario, scenario
from validator.demo.truth import Planted, truth, truth_text
from validator.packs.loading import load_pack

PACK = "syrup-line-cip"


@dataclass(frozen=True)
class DemoFiles:
    """What was written, the moment to audit from, and what must be found."""

    register: Path
    logs: tuple[Path, ...]
    as_of: str
    truth: tuple[Planted, ...]


def write_demo(folder: Path) -> DemoFiles:
    """Write register, logs and a short README into a folder; the same bytes every time."""
    plan = scenario()
    profiles = load_pack(PACK).profiles
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    (folder / "README.txt").write_bytes(_readme(plan).encode())
    (folder / "register.yaml").write_bytes(register_text(plan).encode())
    logs = []
    for store in plan.stores:
        path = folder / "logs" / f"{store.store_id}.{store.log.format}"
        path.write_bytes(WRITERS[store.log.format](list(store_rows(plan, store, profiles)), store))
        logs.append(path)
    return DemoFiles(folder / "register.yaml", tuple(logs), plan.as_of, tuple(truth(plan)))


def _readme(plan: Scenario) -> str:
    stories = " ".join(f"{s.store_id}: {s.story}" for s in plan.stores)
    return (
        f"{plan.chain} is invented: its stores, machines, people and logs exist nowhere else.\n"
        f"{stories}\n"
        f"Audit it: cip-audit check logs/* --rules {PACK} --register register.yaml --as-of {plan.as_of}\n"
    )


__all__ = ["PACK", "DemoFiles", "Planted", "scenario", "truth", "truth_text", "write_demo"]
