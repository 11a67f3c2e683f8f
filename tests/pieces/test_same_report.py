"""Is a log that is judged in pieces told of in the very same report?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.oracle import logs
from tests.oracle.product import pack_at
from validator.assembly import assemble
from validator.engine import audit
from validator.engine.change import Before
from validator.engine.pieces import audit_pieces, survey_pieces
from validator.machines import AsOf
from validator.packs.loading import load_pack
from validator.readers import csv_
from validator.readers.cells import parse
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
    files: Sequence[FileRead | FileRefused], pack: Path, register: dict[str, Any] | None, as_of: str, count: int, salt: int,
    *, drawn: int = 0, earlier: Sequence[FileRead | FileRefused] | None = None,
) -> tuple[bytes, bytes]:  # fmt: skip
    """The report of the whole, and that of the pieces; with so many pictures, and since the report of some `earlier` files."""
    packs, known = [load_pack(str(pack))], Register.model_validate(register) if register else None
    zones = {s.store_id: s.timezone for s in known.stores} if known else {}
    moment = AsOf.parse(as_of)
    before = None
    if earlier is not None:
        before = Before(audit(assemble(earlier, zones), packs, known, moment, **SAID), "earlier.json", "0" * 64)
    whole = audit(assemble(files, zones), packs, known, moment, drawn=drawn, before=before, **SAID)
    pieces = Divided(files, count, salt)
    clocks = survey_pieces(pieces, zones).clocks
    told = audit_pieces(pieces, clocks, zones, packs, known, moment, drawn=drawn, before=before, **SAID)
    return render(whole), render(told)


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


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(sorted(logs.FAMILIES)), st.integers(0, 2000), st.sampled_from([1, 2, 3, 7]))
def test_pieces_give_the_report_of_the_whole(tmp_path: Path, family: str, seed: int, count: int) -> None:
    """Whatever the log, however many pieces: findings, notices, defects, counts and their order are the same, and so is what
    is drawn, with little room for it or much, and what has changed since a report on some of the files.
    """
    case, r = logs.case(family, seed), Random(seed)
    exports = spoiled(case.rows, r)
    files: list[FileRead | FileRefused] = [table(rows, f"{n}.csv") for n, rows in enumerate(exports)]
    if seed % 7 == 0:
        files.append(FileRefused("lost.csv", "", "not_readable", "cannot be read"))
    whole, pieces = both(
        files, pack_at(tmp_path, case.pack), case.register, case.as_of, count, seed % 5, drawn=(0, 1, 3, 500)[seed % 4],
        earlier=files[: seed % 3] if seed % 2 else None,
    )  # fmt: skip
    assert pieces.decode() == whole.decode()


def row(machine: str, day: int, **more: str) -> Row:
    """A flush of a quarter of an hour on a day of May."""
    at = f"2026-05-{day:02d}T20:"
    return {"store_id": "S-1", "equipment_id": machine, "cycle_id": f"c{day}", "step": "flush", "target": "line-1",
            "started_at": f"{at}00:00Z", "ended_at": f"{at}15:00Z", "duration_s": "", "agent": "water", "performed_by": ""} | more  # fmt: skip


FLUSHES = {"pack": "p", "version": "1.0.0", "title": "P", "rules": [
    {"id": "FLUSH", "title": "Short", "kind": "flush", "grade": "major", "params": {"min": "PT10M"}},
    {"id": "PEOPLE", "title": "Two places", "kind": "concurrency", "grade": "minor", "params": {"resource": "performed_by"}},
]}  # fmt: skip


def apart(*machines: tuple[str, str]) -> tuple[int, int]:
    """A number of pieces and a salt that put every one of these machines into a piece of its own."""
    for salt in range(50):
        if len({Divided([], 7, salt).piece_of(*m) for m in machines}) == len(machines):
            return 7, salt
    raise AssertionError


@pytest.mark.parametrize("later", [0, 1])
def test_how_far_an_export_reaches_is_asked_of_all_its_rows(tmp_path: Path, later: int) -> None:
    """Which version stands hangs on a row of another machine in another piece."""
    exports = [[row("A", 4)], [row("A", 4, ended_at="2026-05-04T20:05:00Z")]]
    exports[later].append(row("B", 20))
    files = [table(rows, f"{n}.csv") for n, rows in enumerate(exports)]
    whole, pieces = both(files, pack_at(tmp_path, FLUSHES), None, "2026-06-01", *apart(("S-1", "A"), ("S-1", "B")))
    assert pieces.decode() == whole.decode()
    assert (b'"too_short"' in whole) == (later == 1)


def test_how_fine_a_clock_is_is_asked_of_all_rows(tmp_path: Path) -> None:
    """Half a minute contradicts a duration only where some machine's times are written to the second."""
    odd = row("A", 4, duration_s="870")
    fine = row("B", 20, started_at="2026-05-20T20:00:01Z", ended_at="2026-05-20T20:15:01Z")
    for rows, told in (([odd, row("B", 20)], False), ([odd, fine], True)):
        whole, pieces = both([table(rows, "a.csv")], pack_at(tmp_path, FLUSHES), None, "2026-06-01",
                             *apart(("S-1", "A"), ("S-1", "B")))  # fmt: skip
        assert pieces.decode() == whole.decode()
        assert (b"duration_disagrees" in whole) == told


@pytest.mark.parametrize("end", ["2026-05-04T20:15:00Z", ""])
def test_a_person_at_two_stores_is_found_across_pieces(tmp_path: Path, end: str) -> None:
    """Both rows are named, in the finding of either machine, though no piece holds both."""
    rows = [row("A", 4, performed_by="Ada"), row("B", 4, store_id="S-2", performed_by="Ada", ended_at=end),
            row("C", 4, store_id="S-3", performed_by="Bo")]  # fmt: skip
    machines = tuple((r["store_id"], r["equipment_id"]) for r in rows)
    whole, pieces = both([table(rows, "a.csv")], pack_at(tmp_path, FLUSHES), None, "2026-06-01", *apart(*machines))
    assert pieces.decode() == whole.decode()
    found = [f for f in json.loads(whole)["findings"] if f["rule"] == "PEOPLE"]
    assert [(f["equipment_id"], [e["row"] for e in f["evidence"]]) for f in found] == [("A", [2, 3]), ("B", [2, 3])]
    assert {f["status"] for f in found} == {"out" if end else "not_observed"}


@pytest.mark.parametrize("most", [1, 4, 500])
def test_what_is_drawn_is_bounded_over_all_pieces(tmp_path: Path, most: int) -> None:
    """The latest cycle of every machine comes first, then the one before, and what is left out is counted once."""
    machines = [(f"S-{n % 2}", name) for n, name in enumerate("ABCDE")]
    rows = [row(name, day, store_id=store, ended_at=f"2026-05-{day:02d}T20:05:00Z")
            for store, name in machines for day in (4, 11, 18)]  # fmt: skip
    whole, pieces = both([table(rows, "a.csv")], pack_at(tmp_path, FLUSHES), None, "2026-06-01", 7, 0, drawn=most)
    assert pieces.decode() == whole.decode()
    drawn = json.loads(pieces)["pictures"]
    shown = [(t["store_id"], t["equipment_id"], t["cycle_id"]) for t in drawn["timelines"]]
    last = [(store, name, "c18") for store, name in sorted(machines)]
    if most == 500:
        assert len(shown) == 15
    else:
        assert shown == last[:most]
    assert drawn["cycles_left_out"] == 15 - len(shown)
    assert (len(drawn["histories"]), drawn["machines_left_out"]) == (min(most, 5), max(0, 5 - most))


def test_what_has_changed_is_asked_of_the_piece_that_knows(tmp_path: Path) -> None:
    """One machine's fault persists, one was put right, one stands in no row any more; each lies in a piece of its own."""
    short = {"ended_at": "2026-05-04T20:05:00Z"}
    earlier = [table([row("A", 4, **short), row("B", 4, **short), row("C", 4, **short)], "a.csv")]
    files = [table([row("A", 4, **short), row("B", 4)], "a.csv")]
    parts = apart(("S-1", "A"), ("S-1", "B"), ("S-1", "C"))
    whole, pieces = both(files, pack_at(tmp_path, FLUSHES), None, "2026-06-01", *parts, earlier=earlier)
    assert pieces.decode() == whole.decode()
    change = json.loads(pieces)["change"]
    assert (change["new"], change["persisting"]) == (0, 1)
    assert [[gone["equipment_id"] for gone in change[name]] for name in ("resolved", "not_judged")] == [["B"], ["C"]]


def test_a_person_at_two_stores_is_shown_with_the_cells_of_the_file(tmp_path: Path) -> None:
    """The row in the other piece is told with the export's own columns, and with what stands in a cell that cannot be read."""
    rows = [row("A", 4, performed_by="Ada"), row("B", 4, store_id="S-2", performed_by="Ada", ended_at="later on")]
    renamed = [{"Finished" if n == "ended_at" else n: v for n, v in r.items()} for r in rows]
    whole, pieces = both([table(renamed, "a.csv")], pack_at(tmp_path, FLUSHES), None, "2026-06-01",
                         *apart(("S-1", "A"), ("S-2", "B")))  # fmt: skip
    assert pieces.decode() == whole.decode()
    found = [f for f in json.loads(pieces)["findings"] if f["rule"] == "PEOPLE"]
    assert {f["equipment_id"] for f in found} == {"A", "B"}
    for finding in found:
        assert [e["cells"] for e in finding["evidence"]] == [["", "", "", "Finished"]] * 2
        assert [e["values"][-1] for e in finding["evidence"]] == ["2026-05-04T20:15:00+00:00", "later on"]
