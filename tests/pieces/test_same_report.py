"""Is a log that is judged in pieces told of in the very same report?"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from random import Random
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.oracle import logs
from tests.oracle.product import pack_at
from validator.engine import audit
from validator.engine.pieces import audit_pieces, survey_pieces
from validator.machines import AsOf
from validator.packs.loading import load_pack
from validator.readers import csv_
from validator.readers.cells import parse
from validator.records import assemble
from validator.register import Register
from validator.reports.json_ import render
from validator.tables import Budget, FileRead, FileRefused

from .division import Divided

Row = dict[str, str]
SAID = {"generated_at": "2026-01-01T00:00:00Z", "tool": "cip-audit"}


def table(rows: Sequence[Row], name: str) -> FileRead:
    """Rows as a file of this name that has been read."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    raw, assumptions, notices = csv_.read_bytes(text.getvalue().encode(), Budget())
    return FileRead(name, name, "csv", [parse(t) for t in raw], assumptions, notices)


def both(
    files: Sequence[FileRead | FileRefused], pack: Path, register: dict[str, Any] | None, as_of: str, count: int, salt: int
) -> tuple[bytes, bytes]:
    """The report of the whole, and that of the pieces."""
    packs, known = [load_pack(str(pack))], Register.model_validate(register) if register else None
    zones = {s.store_id: s.timezone for s in known.stores} if known else {}
    moment = AsOf.parse(as_of)
    whole = audit(assemble(files, zones), packs, known, moment, **SAID)
    pieces = Divided(files, count, salt)
    clocks = survey_pieces(pieces, zones).clocks
    return render(whole), render(audit_pieces(pieces, clocks, zones, packs, known, moment, **SAID))


def spoiled(rows: list[Row], r: Random) -> list[list[Row]]:
    """The rows in one to three exports, some told twice or otherwise, some with cells that cannot be read."""
    exports: list[list[Row]] = [[] for _ in range(r.randint(1, 3))]
    for row in rows:
        r.choice(exports).append(row)
        if r.random() < 0.15:
            r.choice(exports).append(dict(row))
        if r.random() < 0.1:
            r.choice(exports).append(row | {"recorded_at": row["ended_at"], "agent": r.choice(["chlorine", "", "chlorin"])})
        if r.random() < 0.1:
            broken = r.choice(list(row))
            r.choice(exports).append(row | {broken: r.choice(["", "??", "2026-13-01", "x\x07", "flsh"])})
    return [e for e in exports if e]


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(sorted(logs.FAMILIES)), st.integers(0, 2000), st.sampled_from([1, 2, 3, 7]))
def test_pieces_give_the_report_of_the_whole(tmp_path: Path, family: str, seed: int, count: int) -> None:
    """Whatever the log, however many pieces: findings, notices, defects, counts and their order are the same."""
    case, r = logs.case(family, seed), Random(seed)
    exports = spoiled(case.rows, r)
    files: list[FileRead | FileRefused] = [table(rows, f"{n}.csv") for n, rows in enumerate(exports)]
    if seed % 7 == 0:
        files.append(FileRefused("lost.csv", "", "not_readable", "cannot be read"))
    whole, pieces = both(files, pack_at(tmp_path, case.pack), case.register, case.as_of, count, seed % 5)
    assert pieces.decode() == whole.decode()
