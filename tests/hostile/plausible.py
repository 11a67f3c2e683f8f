"""A plausible cleaning, row by row: what every hostile file spoils in one place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

COLUMNS = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "started_at", "ended_at", "agent",
    "concentration_ppm", "temperature_c", "ph", "performed_by", "note",
)  # fmt: skip
_STEPS = ("mix_solution", "flush", "flush", "soak", "rinse", "prime")
NAMES = ("Ana Oduya", "K. Marwood", "Li Wei", "Femi Bright", "Dana Vale", "R. Quist")


def record(number: int, **cells: Any) -> dict[str, Any]:
    """The `number`th record of a night (from 0), some of its cells replaced by name."""
    start = 20 * 60 + 10 * number
    filled = {
        "store_id": "TL-01", "equipment_id": "TL-01-SYR-A", "cycle_id": "c1", "procedure": "periodic-cip",
        "step": _STEPS[number % len(_STEPS)], "target": f"line-{number % 8 + 1}",
        "started_at": f"2026-03-01T{start // 60:02d}:{start % 60:02d}:00Z",
        "ended_at": f"2026-03-01T{start // 60:02d}:{start % 60 + 9:02d}:00Z", "agent": "chlorine",
        "concentration_ppm": "200", "temperature_c": "24.5", "ph": "6.8", "performed_by": NAMES[number % len(NAMES)],
        "note": "",
    }  # fmt: skip
    unknown = cells.keys() - filled.keys()
    assert not unknown, unknown
    return filled | cells


def records(count: int) -> list[dict[str, Any]]:
    return [record(number) for number in range(count)]


def of(column: str, values: Sequence[Any], **cells: Any) -> list[dict[str, Any]]:
    """One record for each value, which stands in one column."""
    return [record(number, **{column: value}, **cells) for number, value in enumerate(values)]
