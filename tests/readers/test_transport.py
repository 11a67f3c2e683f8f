"""Tables go to the parent unchanged, and a damaged file never becomes a table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.readers.transport import Damaged, read, write
from validator.tables import NAT, CellDefect, ParsedTable, TextColumn


def table(size=3, words=("a", "é\n工"), defects=()):
    codes = np.arange(size, dtype=np.int32) % (len(words) + 1) - 1
    return ParsedTable(
        sheet="S é", rows=np.arange(2, size + 2, dtype=np.int32), texts={"step": TextColumn(codes, list(words))},
        times={"started_at": np.full(size, NAT)}, absolute={"started_at": np.zeros(size, dtype=bool)},
        numbers={"ph": np.linspace(0, 14, size)}, whole=np.arange(size) % 2 == 0, defects=list(defects), blank_rows=4,
        origins=[{"step": [("Tätigkeit", "B")]}, {"step": [("x", ""), ("y", "")]}], origin=np.arange(size, dtype=np.int32) % 2,
        entries={"steps[]": np.arange(size, dtype=np.int32)},
    )  # fmt: skip


def told(found):
    return (
        found.sheet, found.rows.tolist(), {n: (c.codes.tolist(), c.vocabulary) for n, c in found.texts.items()},
        {n: a.tolist() for n, a in found.times.items()}, {n: a.tolist() for n, a in found.absolute.items()},
        {n: a.tolist() for n, a in found.numbers.items()}, found.whole.tolist(), found.defects, found.blank_rows,
        found.origins, found.origin.tolist(), {path: a.tolist() for path, a in found.entries.items()},
    )  # fmt: skip


defects = st.lists(
    st.builds(
        CellDefect, st.integers(-1, 2**40), st.integers(1, 2**31), st.sampled_from(["", "ph"]), st.text(max_size=5),
        st.text(max_size=9), st.booleans(), st.sampled_from(["", "S"]), st.text(max_size=5),
    )
)  # fmt: skip


@given(
    st.lists(st.tuples(st.integers(0, 20), st.lists(st.text(), max_size=5, unique=True), defects), max_size=3),
    st.booleans(),
)
def test_nothing_is_changed(tmp_path_factory, parts, mapped):
    """Sizes that are no multiple of eight, empty tables, any text: all come back as they were."""
    path = tmp_path_factory.mktemp("t") / "tables"
    tables = [table(*part) for part in parts]
    write(path, tables, {"format": "csv", "notices": ["é"]})
    found, rest = read(path, mapped)
    assert [told(t) for t in found] == [told(t) for t in tables]
    assert rest == {"format": "csv", "notices": ["é"]}


def test_a_large_file_is_mapped(tmp_path):
    """A mapped table is the same table, read-only, and outlives its file."""
    big = table(600_000)
    write(tmp_path / "tables", [big], {})
    found, _ = read(tmp_path / "tables", True)
    (tmp_path / "tables").unlink()
    assert np.array_equal(found[0].numbers["ph"], big.numbers["ph"])
    assert not found[0].rows.flags.writeable


def test_a_row_from_columns_that_nobody_named(tmp_path):
    """A number beyond the ways that are told is damage, not an error much later."""
    wrong = table()
    wrong.origin[1] = 2
    write(tmp_path / "tables", [wrong], {})
    with pytest.raises(Damaged):
        read(tmp_path / "tables", False)


def test_every_byte_of_the_header_flipped(tmp_path):
    """Whatever byte of the header is damaged, the result is a table or `Damaged`, never another error."""
    write(tmp_path / "good", [table(defects=[CellDefect(1, 3, "ph", "bad_number", "is none")])], {})
    good = (tmp_path / "good").read_bytes()
    refused = 0
    for at in range(8 + int.from_bytes(good[:8], "little")):
        spoiled = bytearray(good)
        spoiled[at] ^= 0x01
        (tmp_path / "bad").write_bytes(spoiled)
        try:
            read(tmp_path / "bad", False)
        except Damaged:
            refused += 1
    assert refused > 100


@pytest.mark.parametrize("kept", [0, 7, 20, 0.5, 0.99])
def test_a_cut_file(tmp_path, kept):
    """A child that died while writing leaves no table."""
    write(tmp_path / "tables", [table(100)], {})
    data = (tmp_path / "tables").read_bytes()
    (tmp_path / "tables").write_bytes(data[: kept if isinstance(kept, int) else int(len(data) * kept)])
    with pytest.raises(Damaged):
        read(tmp_path / "tables", False)


def test_a_code_outside_its_vocabulary(tmp_path):
    """A code that names no word would fail far away; it is refused here."""
    bad = table(3)
    bad.texts["step"].codes[0] = 2
    write(tmp_path / "tables", [bad], {})
    with pytest.raises(Damaged):
        read(tmp_path / "tables", False)


def test_a_file_that_exists_is_not_written(tmp_path):
    """A file planted under the name is never followed or overwritten."""
    (tmp_path / "tables").write_text("planted")
    with pytest.raises(FileExistsError):
        write(tmp_path / "tables", [], {})
