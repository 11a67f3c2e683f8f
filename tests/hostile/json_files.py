"""The JSON and JSON Lines files."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from .plausible import record, records

FILES: dict[str, Callable[[], bytes]] = {}


def file(build: Callable[[], bytes | str]) -> Callable[[], bytes | str]:
    """Register a builder; its file is named like it, the format being the first word."""

    def built() -> bytes:
        found = build()
        return found.encode() if isinstance(found, str) else found

    FILES[f"{build.__name__}.{build.__name__.partition('_')[0]}"] = built
    return build


def array(rows: list[Any]) -> str:
    return json.dumps(rows, indent=1)


def one_a_line(rows: list[Any], end: str = "\n") -> str:
    return "".join(json.dumps(row) + end for row in rows)


@file
def json_ok():
    return array(records(3))


@file
def json_duplicate_keys():
    return array(records(3)).replace('"ph": "6.8"', '"ph": 7.0, "ph": 2.0', 2).replace('"ph": 7.0, "ph": 2.0', '"ph": 7.0', 1)


@file
def json_deep_nesting():
    return "[" * 100_000


@file
def json_nan_infinity():
    rows = [record(0), record(1, ph=float("nan")), record(2, ph=float("inf"))]
    return array(rows)


@file
def json_number_traps():
    rows = [record(0, concentration_ppm=200), record(1, concentration_ppm="FIRST"), record(2, ph=6.8),
            record(3, concentration_ppm="SECOND")]  # fmt: skip
    return array(rows).replace('"FIRST"', "1e309").replace('"SECOND"', "9" * 5000)


@file
def json_mixed_types():
    return array([record(0, concentration_ppm=200.5), record(1, concentration_ppm=True), record(2, temperature_c={"c": 24}),
                  record(3, ph=[6.8]), record(4, store_id=None), record(5, cycle_id=1)])  # fmt: skip


@file
def json_lone_surrogate():
    return array([record(0), record(1, performed_by="Ana \ud800")])


@file
def json_truncated():
    return array(records(3))[:-300]


@file
def json_trailing_garbage():
    return array(records(2)) + "\n" + array(records(1))


@file
def json_comments_trailing_comma():
    return "// exported at night\n" + array(records(2)).removesuffix("\n]") + ",\n]"


@file
def json_wrong_top_level():
    return json.dumps({str(n): row for n, row in enumerate(records(3))}, indent=1)


@file
def json_utf16():
    return array(records(2)).encode("utf-16")


@file
def jsonl_broken_line():
    rows = one_a_line(records(6)).splitlines()
    rows[2] = rows[2][:-40]
    rows[4] = "[1, 2, 3]"
    return "\n".join(rows) + "\n"


@file
def jsonl_blank_crlf_bom():
    a, b, c = one_a_line(records(3)).splitlines()
    return "\ufeff" + "\r\n".join([a, "", b, "  ", c])


@file
def jsonl_key_drift():
    rows = one_a_line(records(4)).splitlines()
    return "\n".join(row.replace('"started_at"', '"start_time"') if n > 1 else row for n, row in enumerate(rows))
