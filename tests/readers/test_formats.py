"""A file's content decides its format; a name that says otherwise is refused."""

from __future__ import annotations

import io
import zipfile

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from validator.errors import Unreadable
from validator.readers.formats import HEAD, decide

CSV = b"store_id,equipment_id,step,started_at\n"
JSON = b'[{"store_id": 1}]'
JSONL = b'{"store_id": 1}\n{"store_id": 2}\n'
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)


def packed(*names):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name in names:
            archive.writestr(name, "x" * 200)
    return buffer.getvalue()


def parquet():
    buffer = io.BytesIO()
    pq.write_table(pa.table({"a": [1]}), buffer)
    return buffer.getvalue()


XLSX = packed("[Content_Types].xml", "xl/workbook.xml")
PARQUET = parquet()


def told(name, data):
    return decide(name, data[:HEAD], len(data), lambda start, n: data[start : start + n])


def refusal(name, data):
    with pytest.raises(Unreadable) as caught:
        told(name, data)
    return caught.value


@pytest.mark.parametrize(
    ("names", "data", "expected"),
    [
        (["a.csv", "a.txt", "a.tsv", "A.CSV", "a", "-", "a.b.csv"], CSV, "csv"),
        (["a.json", "a.JSON", "a", "-"], JSON, "json"),
        (["a.jsonl", "a.ndjson", "a", "-"], JSONL, "jsonl"),
        (["a.xlsx", "a.xlsm", "a", "-"], XLSX, "xlsx"),
        (["a.parquet", "a.pq", "a", "-"], PARQUET, "parquet"),
    ],
)
def test_content_and_name_agree(names, data, expected):
    """Every accepted extension, in any case, and no extension at all."""
    assert {told(name, data) for name in names} == {expected}


@pytest.mark.parametrize(
    ("name", "data", "holds"),
    [
        ("a.xlsx", CSV, "CSV text"), ("a.xls", CSV, "CSV text"), ("a.parquet", CSV, "CSV text"),
        ("a.csv", XLSX, "a workbook"),
        ("a.csv", PARQUET, "a Parquet file"), ("a.csv", JSON, "a JSON array"), ("a.csv", JSONL, "JSON Lines"),
        ("a.xls", b"<html><table><tr><td>store_id", "an HTML or XML page"),
        ("a.csv", b"\n<!DOCTYPE html>", "an HTML or XML page"),
        ("a.json", XLSX, "a workbook"), ("a.jsonl", JSON, "a JSON array"), ("a.xlsx", PARQUET, "a Parquet file"),
        ("a.xlsx", JSON, "a JSON array"),
    ],
)  # fmt: skip
def test_a_name_that_says_otherwise(name, data, holds):
    """The refusal says what the name claims and what the file holds."""
    caught = refusal(name, data)
    assert caught.code == "type_mismatch"
    assert holds in caught.sentence


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.csv.exe", b"MZ\x90\0"), ("a.csv", b"MZ\x90\0"), ("a.exe", CSV), ("a.pdf", b"%PDF-1.7"),
        ("a.csv", b"%PDF-1.7"),
        ("a.csv.gz", b"\x1f\x8b\x08\0"), ("a.zip", packed("a.csv")), ("a", packed("a.csv")), ("a.xls", OLE),
        ("a.xlsx", OLE),
        ("a.ods", packed("mimetype")), ("a.log", CSV),
    ],
)  # fmt: skip
def test_types_that_are_not_read(name, data):
    """Programs, archives, old workbooks and unknown extensions are not tried."""
    assert refusal(name, data).code == "type_not_allowed"


@pytest.mark.parametrize("name", ["a.csv", "a.xlsx", "a.json", "a.parquet", "-"])
@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b" \r\n\t\n  "])
def test_empty_files(name, data):
    """No byte, or nothing but blanks, is an empty file under every name."""
    assert refusal(name, data).code == "empty_file"


def test_a_workbook_with_a_password():
    """An encrypted workbook is an old container with a telling stream name; say what it is."""
    far = bytearray(OLE + bytes(200_000))
    far[30:32], far[48:52] = (9).to_bytes(2, "little"), (250).to_bytes(4, "little")  # sectors of 512 bytes
    far[251 * 512 : 251 * 512 + 28] = "EncryptionInfo".encode("utf-16-le")
    assert refusal("a.xlsx", bytes(far)).code == "password_protected"


def test_an_encrypted_parquet_file():
    """Its magic bytes differ in one letter."""
    assert refusal("a.parquet", b"PARE" + PARQUET[4:]).code == "password_protected"


def test_a_title_in_brackets_is_no_json():
    """A CSV export may begin with a bracket."""
    assert told("a.csv", b"[Cleaning log] 2026\n" + CSV) == "csv"


def test_a_cut_workbook_is_still_a_workbook():
    """A workbook without its directory is damaged, not of another type."""
    assert told("a.xlsx", packed("a/b.xml", "[Content_Types].xml")[:100]) == "xlsx"
