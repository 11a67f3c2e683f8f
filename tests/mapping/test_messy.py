"""A draft of what a careless shop keeps: every column used or left out with a reason, and the findings of the canonical file."""

from __future__ import annotations

import hashlib
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator.documents import read_bytes
from validator.mapping.aliases import aliases
from validator.mapping.draft import propose
from validator.readers.cells import code_texts
from validator.tables import FileRead, ParsedTable

from .exports import canonical, story
from .messy_exports import MESSY
from .test_draft import complete, draft  # noqa: F401  # fixtures
from .test_same_story import judged, placed  # noqa: F401

ANSWERS = [("store_id: ?", "store_id: TL-07"), ("procedure: ?", "procedure: periodic-cip"), ("after: started_at", "after: started_at"),
           ("nozzles: ?", "nozzles: nozzles")]  # fmt: skip


@pytest.mark.parametrize("name", MESSY)
def test_a_completed_draft_gives_the_findings_of_the_canonical_file(judged, draft, name: str) -> None:  # noqa: F811
    """Store, procedure, part and the next day are answered; all else is as it was proposed."""
    rows = story()
    file, data, places = MESSY[name](rows)
    lengths = name == "nested"

    expected = judged("canonical.csv", canonical(rows, lengths))
    report = judged(file, data, complete(draft(file, data), ANSWERS))

    assert report["record_defects"] == []
    assert len(report["findings"]) > 8
    assert placed(report) == placed(expected, places)


@pytest.mark.parametrize(("name", "lines"), [
    ("serials", ["started_at: {from: Started, unit: serial_1900}  # a guess: ", "fill_down: [Machine, Job]  # a guess: 'Machine' is filled in 4 of ",
                 'equals: [Grand total]}  # likely: rows that sum up others', 'begins: ["*"]}  # likely: lines',
                 "# not used: 'Mood': text such as 'good'; its name is none that is known", "# not used: 'Key': numbers with a fraction such as '0.75'"]),
    ("points", ['clock_mark: "."  # a guess: ', "begins: [Total]}", "note: Remarks"]),
    ("nested", ["cycle_id: id  # a guess: 'id' stands above a list", 'duration_s: "steps[].took"', "# not used: 'weather': text such as 'dry'"]),
])  # fmt: skip
def test_every_guess_bears_its_confidence_and_reason(draft, name: str, lines: list[str]) -> None:  # noqa: F811
    """Of each messy file what is proposed, and why columns are left out."""
    file, data, _ = MESSY[name](story())
    text = draft(file, data)

    for line in lines:
        assert line in text, text


ODD = "Machine,Started,Act,ppm,Temp F\n" + "".join(
    f"A,2026-05-{day:02d} 20:00,Flushed,{'<100' if day == 7 else 100},{'77F' if day == 9 else 75}\n" for day in range(1, 21)
)


def test_one_odd_cell_spoils_no_column_and_is_named(draft) -> None:  # noqa: F811
    """`<100` in row 8 and `77F` in row 10; the column is proposed from the nineteen others."""
    text = draft("odd.csv", ODD)

    assert "concentration_ppm: {from: ppm, unit: ppm}  # sure: named 'ppm'; 19 of 20 cells are numbers; row 8 holds '<100'" in text
    assert "temperature_f: {from: Temp F, unit: F}  # sure: named 'Temp F'; 19 of 20 cells are numbers; row 10 holds '77F'" in text


def test_one_long_remark_spoils_no_column(draft) -> None:  # noqa: F811
    """A cell of 90 letters among numbers is odd, and the others are numbers still."""
    text = draft("odd.csv", ODD.replace("<100", "see remark " * 9))

    assert "concentration_ppm: {from: ppm, unit: ppm}  # sure: named 'ppm'; 19 of 20 cells are numbers; row 8 holds 'see remark" in text


def test_an_odd_cell_is_a_defect_of_its_row(reading, draft) -> None:  # noqa: F811
    """Read by the draft: no number is made of `<100`, and `77F` bears its own unit."""
    text = complete(draft("odd.csv", ODD), ANSWERS)
    layout = text.partition("  - ")[2].replace("\n    ", "\n")
    found = reading(ODD, layout)

    assert found.faults == {(8, "concentration_ppm", "bad_number")}
    assert found.column("temperature_f")[8] == 77


def test_times_and_numbers_with_a_point_are_told_apart_by_their_names_alone(draft) -> None:  # noqa: F811
    """`Value` may hold 22.40 as a time or as a number, so it stays open."""
    log = "Machine,Date,Act,{}\n" + "A,2026-05-04,Flushed,22.40\nA,2026-05-05,Flushed,21.15\n"

    assert '\n    clock_mark: "."  # a guess: ' in draft("a.csv", log.format("Time in"))
    text = draft("b.csv", log.format("Value"))
    assert """# clock_mark: "."  # open: ? if 'Value' holds times of day""" in text
    assert "# not used: 'Value': numbers with a fraction" in text
    assert "clock_mark" not in draft("c.csv", log.format("ppm"))


def test_a_column_that_says_no_alone_has_the_natural_opposite_for_yes(draft) -> None:  # noqa: F811
    """`N` asks for `y`, a guess; steps are known by the word that ends their name."""
    text = draft("a.csv", "Machine,Date,Lines flushed,Nozzles washed,Drip trays sanitized\nA,2026-05-04,Y,Y,N\nA,2026-05-05,Y,Y,N\nB,2026-05-05,N,Y,N\n")

    assert 'when: {column: Drip trays sanitized, yes: ["y"], no: ["N"]}  # a guess: every cell says that it was not done' in text
    assert re.findall(r"step: (\w+)  # likely", text) == ["flush", "wash", "sanitize"]
    assert re.findall(r"target: (.*?)  # a guess", text) == ["nozzles", "drip trays"]


@pytest.mark.parametrize(("cells", "line"), [
    (("chlorine", "water"), "agent: Chemical  # likely: 'Chemical' could be agent or product_amount by its name, and its cells fit agent alone"),
    (("2.5", "3"), "product_amount: Chemical  # likely: "),
    (("", ""), "# agent: Chemical  # open: 'Chemical' could be agent or product_amount; say which"),
])  # fmt: skip
def test_a_name_that_check_finds_unclear_is_never_sure(draft, cells, line: str) -> None:  # noqa: F811
    """The cells settle which it is, or nothing does."""
    text = draft("a.csv", "Machine,Started,Act,Chemical\n" + "".join(f"A,2026-05-04 20:00,Flushed,{cell}\n" for cell in cells))

    assert line in text


@pytest.mark.parametrize("name", aliases()["unclear"])
@pytest.mark.parametrize("cells", [("", ""), ("flush", "rinse"), ("chlorine", "water"), ("Ana", "Ben"), ("2026-05-04 20:00", "2026-05-05 20:00"), ("1", "2")])
def test_no_unclear_name_is_sure_whatever_its_cells(name: str, cells: tuple[str, str]) -> None:
    """Of all names in use for several columns, with blanks, words, people, moments and numbers."""
    columns = {"Machine": ["A", "B"], name: list(cells)}
    table = ParsedTable("", np.arange(2, 4), {n: code_texts(c) for n, c in columns.items()}, {}, {}, {}, np.zeros(2, dtype=bool), [])

    text = propose(FileRead("log.csv", "", "csv", [], raw=[table]))

    assert not [line for line in text.splitlines() if f"{name!r}" in line and "# sure" in line]


NAMES = [*(name for names in aliases()["columns"].values() for name in names), *aliases()["unclear"], "Line 1", "Lines flushed", "Nozzles ok", "id",
         "started_at", "Begin to", "L2 from", "L3 to", "tempF", "x", "Ü", "a.b", "- x", "yes", "# no", "'"]  # fmt: skip
CELLS = st.sampled_from(["", "A", "flush", "Flushed", "chlorine", "Y", "N", "no", "x", "22.40", "46053.7917", "46053", "0.7917", "100", "<100", "77F",
                         "1,500", "1.5", "20:00", "9 pm", "2026-05-04", "04/05/2026", "3 May", "2026-05-04 20:00", "1780000000", "PT15M", "15 min",
                         "Total", "Total: 3", "* signed", "n/a", "Line 2", "KL", "\x1b[2J", "a: b #", "9" * 90])  # fmt: skip


@st.composite
def tables(draw) -> ParsedTable:
    names = draw(st.lists(st.one_of(st.sampled_from(NAMES), st.text("ab #:'\"[]{}*", min_size=1, max_size=4).map(str.strip).filter(bool)),
                          min_size=1, max_size=9, unique=True))  # fmt: skip
    names = [name for name in names if not name.endswith("[]")] or ["x"]
    size = draw(st.integers(0, 7))
    texts = {name: code_texts(draw(st.lists(CELLS, min_size=size, max_size=size))) for name in names}
    return ParsedTable("", np.arange(2, size + 2), texts, {}, {}, {}, np.zeros(size, dtype=bool), [])


def _live(value: object) -> set[str]:
    """Every text in the values of a part of the draft that is read."""
    if isinstance(value, dict):
        return set().union(*(_live(inner) for inner in value.values()), set())
    if isinstance(value, list):
        return set().union(*map(_live, value), set())
    return {value} if isinstance(value, str) else set()


@settings(max_examples=60, deadline=None)
@given(table=tables())
def test_every_column_of_any_table_stands_once(table: ParsedTable) -> None:
    """In a line that is read or asked, or among those not used with its reason; and the draft is YAML."""
    read = FileRead("log.csv", hashlib.sha256().hexdigest(), "csv", [], raw=[table])
    text = propose(read)

    layout = read_bytes(text.encode(), "draft").data["files"][0]
    used = _live([layout.get("columns"), layout.get("steps")])
    lines = text.splitlines()
    for name in table.texts:
        left = [line for line in lines if line.startswith(f"    # not used: {name!r}: ")]
        starred = {name.replace(f"{n}", "*") for n in re.findall(r"^\w+ ?\d+", name)}
        asked = [line for line in lines if "# open:" in line and name in line]
        assert len(left) <= 1
        if left:
            assert name not in used
            assert left[0].partition(": ")[2].partition(": ")[2]
        else:
            assert name in used or starred & used or asked or any(name in line for line in lines if "targets:" in line), text
