"""A demo scenario, or a part of it, judged without files."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest

from validator.cycles import form_cycles
from validator.demo import PACK, Planted
from validator.demo.cycle import store_rows
from validator.demo.logs import COLUMNS, cell_text
from validator.demo.scenario import Scenario
from validator.engine.apply import apply
from validator.engine.stamp import findings
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register, Store

Found = Callable[[Scenario], set[Planted]]


@pytest.fixture(scope="session")
def found() -> Found:
    """`found(plan)`: every finding of a scenario, from its rows as they would be written."""
    pack = load_pack(PACK)

    def run(plan: Scenario) -> set[Planted]:
        text = io.StringIO()
        writer = csv.writer(text)
        writer.writerow(COLUMNS)
        for store in plan.stores:
            for row in store_rows(plan, store, pack.profiles):
                writer.writerow([cell_text(row.get(name), store.log.stamps) for name in COLUMNS])
        stores = tuple(
            Store(store_id=s.store_id, timezone=s.timezone, equipment=tuple(m.equipment for m in s.machines))
            for s in plan.stores
        )
        records = read_text(text.getvalue(), {s.store_id: s.timezone for s in plan.stores})
        fleet = machines(Register(stores=stores), [], AsOf.parse(plan.as_of))
        applied, _ = apply(pack, form_cycles(records, fleet, pack.procedure), fleet)
        return {
            Planted(f.store_id, f.equipment_id, f.cycle_id, f.rule, f.target, f.status.value) for f in findings(applied)
        }

    return run
