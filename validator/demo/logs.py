"""How does each log look as a file? CSV, JSON Lines or a workbook, and the register; the same bytes every time."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import yaml

from validator.demo.cycle import Row
from validator.demo.scenario import Scenario, StorePlan
from validator.documents import as_json

COLUMNS = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "started_at", "ended_at", "agent",
    "solution_id", "concentration_ppm", "temperature_c", "ph", "product_amount", "product_unit", "water_amount",
    "water_unit", "performed_by", "verified_by", "verified_at", "recorded_at", "note",
)  # fmt: skip


def cell_text(value: Any, stamps: str) -> str:
    """A cell of a text log: times as fine as the store writes them, nothing for a blank."""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S" if stamps == "seconds" else "%Y-%m-%d %H:%M")
    return "" if value is None else str(value)


def _csv(rows: Sequence[Row], store: StorePlan) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([cell_text(row.get(name), store.log.stamps) for name in COLUMNS] for row in rows)
    return text.getvalue().encode()


def _jsonl(rows: Sequence[Row], store: StorePlan) -> bytes:
    zone = ZoneInfo(store.timezone)
    lines = []
    for row in rows:
        told = {k: v.replace(tzinfo=zone).isoformat() if isinstance(v, datetime) else v for k, v in row.items()}
        lines.append(json.dumps({k: told[k] for k in COLUMNS if told.get(k) is not None}, ensure_ascii=False))
    return ("\n".join(lines) + "\n").encode()


def _xlsx(rows: Sequence[Row], store: StorePlan) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None, "a new workbook has a sheet"
    sheet.title = "cleanings"
    sheet.append(COLUMNS)
    for row in rows:
        sheet.append([row.get(name) for name in COLUMNS])
    raw = io.BytesIO()
    book.save(raw)
    return _without_clock(raw)


def _without_clock(raw: io.BytesIO) -> bytes:
    """The same workbook without the hour of saving it, uncompressed, so that its bytes hang on nothing but the rows."""
    clean = io.BytesIO()
    with zipfile.ZipFile(raw) as old, zipfile.ZipFile(clean, "w", zipfile.ZIP_STORED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"(<dcterms:\w+[^>]*>)[^<]*", rb"\g<1>2026-07-01T00:00:00Z", data)
            new.writestr(zipfile.ZipInfo(name), data)
    return clean.getvalue()


WRITERS = {"csv": _csv, "jsonl": _jsonl, "xlsx": _xlsx}


def register_text(plan: Scenario) -> str:
    stores = [
        {"store_id": s.store_id, "name": f"{plan.chain}, {s.name}", "timezone": s.timezone,
         "equipment": [_plain(m.equipment.model_dump(by_alias=True, exclude_defaults=True)) for m in s.machines]}
        for s in plan.stores
    ]  # fmt: skip
    head = f"# The machines of {plan.chain}, an invented chain.\n"
    how: dict[str, Any] = {"sort_keys": False, "allow_unicode": True, "default_flow_style": None, "width": 100}
    return head + str(yaml.safe_dump({"stores": stores}, **how))


def _plain(value: Any) -> Any:
    """The value in types that a YAML writer knows."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    resolved = as_json(value)
    return str(resolved) if isinstance(resolved, str) else resolved
