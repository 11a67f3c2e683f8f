"""What does the product find in a case? The same set that the slow reading gives, from memory or through files."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

from validator.cycles import form_cycles
from validator.engine.apply import apply
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.packs.model import Pack
from validator.register import Register

Finding = tuple[str, str, str, str, str, str]


def csv_text(rows: list[dict[str, str]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def pack_at(folder: Path, pack: dict[str, Any]) -> Path:
    # JSON is YAML
    path = folder / "pack.yaml"
    path.write_text(json.dumps(pack, indent=1), encoding="utf-8")
    return path


def findings(
    rows: list[dict[str, str]], pack: Pack | Path, register: dict[str, Any] | None, as_of: str
) -> set[Finding]:
    if isinstance(pack, Path):
        pack = load_pack(pack)
    known = Register.model_validate(register) if register else None
    records = read_text(csv_text(rows), {s.store_id: s.timezone for s in known.stores} if known else {})
    named = sorted({(records.text("store_id", i), records.text("equipment_id", i)) for i in range(len(records))})
    park = machines(known, named, AsOf.parse(as_of))
    applied, _ = apply(pack, form_cycles(records, park, pack.procedure), park)
    found = set()
    for a in applied:
        for o in a.outcomes:
            for i in range(len(o)):
                status = STATUS_WORDS[int(o.status[i])]
                if status in ("out", "not_observed"):
                    cycle = int(o.cycle[i])
                    m = a.machines[int(o.machine[i])]
                    name = a.steps.cycle_ids[cycle] if cycle >= 0 else ""
                    found.add((a.rule.rule.id, m.store_id, m.equipment_id, name, o.target[i], status))
    return found
