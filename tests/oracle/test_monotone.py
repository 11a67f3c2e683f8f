"""Taking a time away never turns a verdict round; giving a true one never makes it vaguer."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register

from . import logs, product

Key = tuple[str, str, str, str, str]


def verdicts(case, rows, path: Path) -> dict[Key, set[str]]:
    """Every check of a case, whatever its status; several relations of one rule can share a key."""
    pack = load_pack(product.pack_at(path, case.pack))
    known = Register.model_validate(case.register) if case.register else None
    records = read_text(product.csv_text(rows), {s.store_id: s.timezone for s in known.stores} if known else {})
    named = sorted({(records.text("store_id", i), records.text("equipment_id", i)) for i in range(len(records))})
    fleet = machines(known, named, AsOf.parse(case.as_of))
    applied, _ = apply(pack, form_cycles(records, fleet, pack.procedure), fleet)
    found: dict[Key, set[str]] = {}
    for a in applied:
        # a rule that asks for the time itself is broken by taking it away, and an interval's name hangs on its cycles
        if a.rule.rule.kind in ("record", "interval"):
            continue
        for o in a.outcomes:
            for i in range(len(o)):
                m, cycle = a.machines[int(o.machine[i])], int(o.cycle[i])
                key = (a.rule.rule.id, m.equipment_id, a.steps.cycle_ids[cycle], o.target[i], o.part)
                found.setdefault(key, set()).add(STATUS_WORDS[int(o.status[i])])
    return found


@pytest.mark.parametrize("family", ["capacities", "contacts", "flushes", "orders", "tiny"])
def test_taking_a_time_away_only_makes_things_vaguer(family: str, tmp_path: Path) -> None:
    """OUT and IN stay or become N/O, and N/O stays N/O: seen the other way, a true time never makes a verdict vaguer."""
    rng = random.Random(family)
    changed = 0
    for seed in range(40):
        case = logs.case(family, seed)
        rows = [dict(r) for r in case.rows]
        timed = [(k, c) for k, r in enumerate(rows) for c in ("started_at", "ended_at") if r.get(c) and r.get("cycle_id")]
        if not timed:
            continue
        before = verdicts(case, rows, tmp_path)
        at, column = rng.choice(timed)
        rows[at][column] = ""
        after = verdicts(case, rows, tmp_path)
        for key in before.keys() & after.keys():
            if len(before[key]) == len(after[key]) == 1:
                (old,), (new,) = before[key], after[key]
                assert new in (old, "not_observed"), f"{family} {seed}: {key}: {old} -> {new}"
                changed += old != new
    assert changed > 0
