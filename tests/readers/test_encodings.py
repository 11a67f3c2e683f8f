"""Text is UTF-8, or what a mark or a mapping says it is; nothing is guessed, and a bad byte costs its cell."""

from __future__ import annotations

import codecs
from typing import get_args

import pytest

from validator import documents
from validator.errors import Unreadable, WrongInput
from validator.mapping.model import Encoding, MappingFile
from validator.readers.cells import as_text, parse
from validator.readers.csv_ import read_bytes
from validator.readers.named import Named
from validator.tables import Budget

SAMPLES = {
    "windows-1250": "Zoë Łódź", "windows-1251": "Жанна", "windows-1252": "Zoë – 20 °C €", "windows-1253": "Ζωή", "windows-1254": "Işık",
    "windows-1257": "Šarūnas", "iso-8859-1": "Zoë 20 °C", "iso-8859-2": "Łódź", "iso-8859-5": "Жанна", "iso-8859-7": "Ζωή",
    "iso-8859-9": "Işık", "iso-8859-15": "Zoë €", "ibm437": "Zoë ½", "ibm850": "Zoë Ñ", "macintosh": "Zoë – †", "shift_jis": "表ソ工",
    "gb18030": "工丂", "big5": "工功", "euc-kr": "공구", "utf-16le": "Zoë 工", "utf-16be": "Zoë 工",
}  # fmt: skip
HEADER = "store_id;equipment_id;step;started_at;performed_by"


def named(encoding: str | None) -> Named:
    told = f"encoding: {encoding}" if encoding else ""
    text = f"""\
mapping: m
files:
  - columns: {{store_id: store_id, equipment_id: equipment_id, step: step, started_at: started_at, performed_by: performed_by}}
    {told}
"""
    return Named(documents.load(MappingFile, documents.read_bytes(text.encode(), "m.yaml")).files[0])


def log(*names: str) -> str:
    return "\r\n".join([HEADER, *(f"S;E;flush;2026-03-01T21:40;{name}" for name in names), ""])


def read(data: bytes, encoding: str | None = None):
    """The rows, their `performed_by`, the faults and the assumptions."""
    (table,), assumptions, _ = read_bytes(data, Budget(), None, named(encoding))
    column = as_text(table.columns["performed_by"], len(table.rows))
    cells = ["" if code < 0 else column.vocabulary[code] for code in column.codes]
    return table.rows.tolist(), cells, {(d.row, d.column, d.code) for d in parse(table).defects}, assumptions


@pytest.mark.parametrize("encoding", get_args(Encoding))
def test_a_declared_code_page_is_read(encoding) -> None:
    """What the standard library's codec of that name writes comes back, and the report says how it was read."""
    rows, cells, faults, assumptions = read(log(SAMPLES[encoding], "Ana").encode(encoding), encoding)

    assert (rows, cells, faults) == ([2, 3], [SAMPLES[encoding], "Ana"], set())
    assert f"read as {encoding} text, as the mapping says" in assumptions


@pytest.mark.parametrize("encoding", [e for e in get_args(Encoding) if not e.startswith("utf")])
def test_an_undeclared_code_page_costs_its_cells(encoding) -> None:
    """The rows with such bytes are named one by one, and the hint names no code page."""
    data = log("Ana", SAMPLES[encoding], "Ben").encode(encoding)
    rows, cells, faults, _ = read(data)

    assert (rows, cells) == ([2, 3, 4], ["Ana", "", "Ben"])
    assert faults == {(3, "performed_by", "bad_encoding")}
    (defect,) = read_bytes(data, Budget(), None, named(None))[0][0].defects
    assert defect.message.endswith("is not UTF-8 text; export the file as UTF-8, or if it is CSV name its code page in a mapping")


def test_two_exports_in_one_file() -> None:
    """Rows of UTF-8 stay, rows of a code page beside them are named."""
    data = log("Zoë").encode() + b"S;E;flush;2026-03-01T22:40;Zo\xeb\r\nS;E;flush;2026-03-01T23:40;Zo\xc3\xab\r\n"

    assert read(data)[:3] == ([2, 3, 4], ["Zoë", "", "Zoë"], {(3, "performed_by", "bad_encoding")})


def test_a_byte_that_a_declared_code_page_does_not_have_costs_its_cell() -> None:
    """81 is no character of windows-1252."""
    data = log("Ana", "Zoë").encode("windows-1252").replace(b"Ana", b"A\x81a")

    assert read(data, "windows-1252")[:3] == ([2, 3], ["", "Zoë"], {(2, "performed_by", "bad_encoding")})


def test_bytes_that_are_lost_never_become_a_character() -> None:
    """E2 82 AC is nothing in EUC-KR and a euro sign in UTF-8: it is read as neither."""
    data = log("Ana").encode("euc-kr").replace(b"Ana", b"\xe2\x82\xac")

    assert read(data, "euc-kr")[1:3] == ([""], {(2, "performed_by", "bad_encoding")})


@pytest.mark.parametrize("mark", ["utf-8-sig", "utf-16", "utf-32"])
def test_the_mark_of_a_file_goes_before_the_mapping(mark) -> None:
    """An export that begins to say what it is needs no new mapping."""
    assert read(log("Zoë 工").encode(mark), "windows-1252")[:3] == ([2], ["Zoë 工"], set())


def test_a_code_page_declared_for_utf8_is_told() -> None:
    """The mapping is followed, and the report warns that the file is UTF-8 as well: 'Zoë' would be garbled."""
    assumptions = read(log("Zoë").encode(), "windows-1252")[3]

    assert "read as windows-1252 text, as the mapping says, though it is UTF-8 text as well" in assumptions
    assert "read as windows-1252 text, as the mapping says" in read(log("Zoe").encode(), "windows-1252")[3]


@pytest.mark.parametrize(("encoding", "told"), [("utf-16-le", "utf-16le"), ("utf-16-be", "utf-16be")])
def test_utf_16_without_its_mark_is_read_only_where_it_is_declared(encoding, told) -> None:
    """The refusal names what to declare."""
    with pytest.raises(Unreadable, match=f"encoding: {told}") as caught:
        read(log("Zoë").encode(encoding))
    assert caught.value.code == "encoding_undeclared_utf16"
    assert read(log("Zoë").encode(encoding), told)[:3] == ([2], ["Zoë"], set())
    with pytest.raises(Unreadable, match="looks like UTF-16"):
        read(log("Zoë").encode(encoding), "windows-1252")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-32"])
def test_a_file_cut_within_a_character_keeps_all_but_its_last_row(encoding) -> None:
    """The end of an upload that stopped short is named as that."""
    data = log("Ana", "Ben €").removesuffix("\r\n").encode(encoding)[:-1]

    rows, _, faults, _ = read(data)
    assert (rows, faults) == ([2], {(3, "performed_by", "truncated_record")})


def test_half_a_character_in_utf_16_costs_its_cell() -> None:
    """A surrogate without the other one."""
    data = codecs.BOM_UTF16_LE + log("Ana", "Ben").encode("utf-16-le").replace("A".encode("utf-16-le"), b"\x00\xd8")

    assert read(data)[2] == {(2, "performed_by", "bad_encoding")}


def test_a_character_that_was_lost_before_is_named() -> None:
    """U+FFFD in an id: two stores may share it, so the row is not used; in a name it costs the cell alone."""
    data = log("An\ufffd").replace("S;", "S\ufffd;").encode()
    parsed = parse(read_bytes(data, Budget(), None, named(None))[0][0])

    assert {(d.column, d.code, d.whole) for d in parsed.defects} == {
        ("store_id", "lossy_text", True), ("performed_by", "lossy_text", False)
    }  # fmt: skip


def test_a_code_page_that_is_not_known_is_refused() -> None:
    """The sentence lists those that are."""
    with pytest.raises(WrongInput, match="windows-1252"):
        named("latin1")
