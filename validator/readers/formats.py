"""What does a file hold? Its content decides; a name that says otherwise is refused, never followed."""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Callable
from pathlib import PurePath

from validator.errors import Unreadable

HEAD = 64 * 1024
"""How much of a file is looked at to tell its format."""

BY_EXTENSION = {
    ".csv": "csv", ".txt": "csv", ".tsv": "csv", ".json": "json", ".jsonl": "jsonl", ".ndjson": "jsonl",
    ".xlsx": "xlsx", ".xlsm": "xlsx", ".parquet": "parquet", ".pq": "parquet",
}  # fmt: skip
SPOKEN = {
    "csv": "CSV text", "json": "a JSON array", "jsonl": "JSON Lines", "xlsx": "a workbook", "parquet": "a Parquet file",
    "html": "an HTML or XML page", "ole": "a workbook of the old .xls kind",
}  # fmt: skip
_FOREIGN = {
    b"MZ": "a program", b"\x7fELF": "a program", b"\x1f\x8b": "a gzip archive", b"BZh": "a bzip2 archive",
    b"\xfd7zXZ\x00": "an xz archive", b"7z\xbc\xaf\x27\x1c": "a 7z archive", b"%PDF-": "a PDF document",
    b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture",
    b"SQLite format 3\x00": "a database", b"\x28\xb5\x2f\xfd": "a zstd archive",
}  # fmt: skip
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTION_STREAM = "EncryptionInfo".encode("utf-16-le")
_ALLOWED = "allowed are .csv, .json, .jsonl, .xlsx and .parquet"
_HTML = re.compile(
    rb"<(!doctype\b|!--|html|head|body|table|meta|style|div|title|script|frameset|\?xml|\w+:)", re.IGNORECASE
)
_JSON_ARRAY = re.compile(rb"\[[ \t\r\n]*[\[{\]]")
_JSON_OBJECT = re.compile(rb'\{[ \t\r\n]*["}]')


def decide(name: str, head: bytes, size: int, at: Callable[[int, int], bytes]) -> str:
    """The format's name (a key of `READERS`); raise `Unreadable` for a file that is none or is named for another.

    `head` is the first `HEAD` bytes, `at(start, n)` gives n others; the name `-`, standard input, has no extension.
    """
    extension = PurePath(name).suffix.lower()
    if size == 0:
        raise Unreadable("empty_file", "is empty: it has no bytes")
    for magic, spoken in _FOREIGN.items():
        if head.startswith(magic):
            raise Unreadable("type_not_allowed", f"is {spoken}, not an export of records; {_ALLOWED}")
    if extension and extension not in BY_EXTENSION and extension != ".xls":
        raise Unreadable("type_not_allowed", f"has the extension {extension!r}; {_ALLOWED}")
    found = _container(extension, head, size, at) or _text(extension, head, size)
    expected = BY_EXTENSION.get(extension, "xlsx" if extension == ".xls" else found)
    if found == "ole":
        raise Unreadable("type_not_allowed", "is a workbook of the old .xls kind; save it as .xlsx")
    if found != expected or found == "html":
        raise Unreadable("type_mismatch", f"is named {extension or 'without an extension'}, but holds {SPOKEN[found]}")
    return found


def _container(extension: str, head: bytes, size: int, at: Callable[[int, int], bytes]) -> str:
    """The format of a file that is not text, by its magic bytes; the empty text for anything else."""
    if head.startswith(b"PK"):
        named = BY_EXTENSION.get(extension) == "xlsx"  # its directory may be cut off: a workbook all the same
        if named or b"[Content_Types].xml" in head or b"[Content_Types].xml" in at(max(0, size - HEAD), HEAD):
            return "xlsx"
        raise Unreadable("type_not_allowed", f"is a ZIP archive, not a workbook; {_ALLOWED}")
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.startswith(b"PARE"):
        raise Unreadable("password_protected", "is an encrypted Parquet file; export it without encryption")
    if head.startswith(_OLE):
        sector = 1 << min(int.from_bytes(head[30:32], "little"), 16)
        directory = (int.from_bytes(head[48:52], "little") + 1) * sector
        if _ENCRYPTION_STREAM in head or _ENCRYPTION_STREAM in at(directory, 16 * sector):
            raise Unreadable("password_protected", "is a workbook protected by a password; save it without one")
        return "ole"
    return ""


def _text(extension: str, head: bytes, size: int) -> str:
    """The format of a text file; where content alone cannot tell, the extension may."""
    declared = BY_EXTENSION.get(extension, "")
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return declared if declared in ("json", "jsonl") else "csv"
    text = head.removeprefix(codecs.BOM_UTF8).lstrip(b" \t\r\n\x0b\x0c")
    if not text and size <= HEAD:
        raise Unreadable("empty_file", "is empty: it holds only blanks and line ends")
    if _HTML.match(text):
        return "html"
    if declared == "csv" and not (_JSON_ARRAY.match(text) or _JSON_OBJECT.match(text)):
        return "csv"
    if text.startswith(b"["):
        return "jsonl" if declared == "jsonl" and _first_line_is_whole(text) else "json"
    if text.startswith(b"{"):
        return declared if declared in ("json", "jsonl") else "jsonl"
    return declared if declared in ("json", "jsonl") else "csv"


def _first_line_is_whole(text: bytes) -> bool:
    """Whether the first line is a JSON text by itself, with more lines after it."""
    line, _, rest = text.partition(b"\n")
    try:
        json.loads(line)
    except (ValueError, RecursionError):
        return False
    return bool(rest.strip())
