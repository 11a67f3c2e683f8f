"""What every test may use: a pack and records written as text, judged in one call."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from validator import documents
from validator.cycles import form_cycles
from validator.engine.apply import Applied, apply
from validator.engine.stamp import findings
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register

# a property is true or false, however slow the machine is
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

Check = tuple[str, str, str, str, str]
Judge = Callable[..., set[Check]]


@pytest.fixture
def judge(tmp_path) -> Judge:
    """`judge(pack, records, register=None, as_of=...)`: every check as (rule, equipment, cycle, target, status)."""

    def run(
        pack: str, records: str, register: str | None = None, as_of: str = "2026-12-31T00:00:00Z", reasons: bool = False,
        decision: str = "simple",
    ) -> set[Check]:
        applied = _applied(tmp_path, pack, records, register, as_of, decision)
        return {
            (a.rule.rule.id, a.machines[int(o.machine[i])].equipment_id,
             a.steps.cycle_ids[int(o.cycle[i])] if o.cycle[i] >= 0 else "", o.target[i],
             STATUS_WORDS[int(o.status[i])] + (f" {o.reason[i]}" if reasons and o.reason[i] else ""))
            for a in applied for o in a.outcomes for i in range(len(o))
        }  # fmt: skip

    return run


@pytest.fixture
def judge_report(tmp_path) -> Callable[[str, str, str], list[str]]:
    """`judge_report(pack, records, decision)`: the message of every finding."""

    def run(pack: str, records: str, decision: str) -> list[str]:
        return [f.message for f in findings(_applied(tmp_path, pack, records, None, "2026-12-31T00:00:00Z", decision))]

    return run


def _applied(tmp_path: Path, pack: str, records: str, register: str | None, as_of: str, decision: str) -> list[Applied]:
    """A pack and records written as text, read and judged."""
    path = tmp_path / "pack.yaml"
    path.write_text(pack, "utf-8")
    loaded = load_pack(path)
    known = None
    if register is not None:
        known = documents.load(Register, documents.read_bytes(register.encode(), "register.yaml"))
    table = read_text(records, {s.store_id: s.timezone for s in known.stores} if known else {})
    named = {(table.text("store_id", i), table.text("equipment_id", i)) for i in range(len(table))}
    fleet = machines(known, sorted(named), AsOf.parse(as_of))
    applied, _ = apply(loaded, form_cycles(table, fleet, loaded.procedure), fleet, decision)
    return applied
