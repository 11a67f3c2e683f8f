"""What stands in a JSON file? One array of records; the number of a record is its position, from 1."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from validator.errors import Unreadable
from validator.readers.headers import CANONICAL_NAMES, Names
from validator.readers.objects import DECODER, NotANumber, Pairs, Rows, decode, kind, why_not
from validator.tables import Budget, RawTable

_BLANKS = re.compile(r"[ \t\r\n]*")
_CONSTANT = re.compile(r'"(?:[^"\\]|\\.)*"|(NaN|-?Infinity)')


def read(path: Path, budget: Budget, names: Names = CANONICAL_NAMES) -> tuple[list[RawTable], list[str], list[str]]:
    """The one table of a JSON array, with what was assumed to read it and notices; raise `Unreadable`."""
    text = decode(path.read_bytes())
    rows = Rows(budget, names)
    if names.open and text[_skip(text, 0) : _skip(text, 0) + 1] == "{":
        names.look_above(_value(text, _skip(text, 0))[0])
    if names.records is not None:
        return _within(text, names.records, rows)
    at = _BLANKS.match(text, 0).end()  # type: ignore[union-attr]  # the pattern matches anything
    if text[at : at + 1] != "[":
        raise _not_an_array(text, at)
    at += 1
    position = 0
    while True:
        at = _skip(text, at)
        if position == 0 and text[at : at + 1] == "]":
            break
        position += 1
        value, at = _value(text, at)
        if isinstance(value, Pairs):
            rows.add(position, value)
        else:
            rows.lose(position, "wrong_shape", f"is {kind(value)} where an object is expected")
        at = _skip(text, at)
        if text[at : at + 1] == "]":
            break
        if text[at : at + 1] != ",":
            raise _bad(text, at, "a comma or the end of the array is expected")
        at += 1
    at = _skip(text, at + 1)
    if at != len(text):
        raise _bad(text, at, "a second text begins here; a file of one record a line is JSON Lines, named .jsonl")
    if not rows.rows and rows.defects:
        raise Unreadable("wrong_shape", "holds no object: an array of records is expected", "[0]")
    return rows.table()


def _within(text: str, records: str, rows: Rows) -> tuple[list[RawTable], list[str], list[str]]:
    """The array of records that a mapping finds inside of one object, by the keys on the way to it."""
    value, at = _value(text, _skip(text, 0))
    if _skip(text, at) != len(text):
        raise _bad(text, _skip(text, at), "a second text begins here")
    for key in records.removesuffix("[]").split("."):
        inner = (
            [v for k, v in value if k.strip().casefold() == key.strip().casefold()] if isinstance(value, Pairs) else []
        )
        if len(inner) != 1:
            why = f"has no list of records at {records!r}, where the mapping says that it stands"
            raise Unreadable("wrong_shape", why, f"$.{records}")
        value = inner[0]
    if not isinstance(value, list) or isinstance(value, Pairs):
        raise Unreadable(
            "wrong_shape", f"has {kind(value)} at {records!r}, where an array of records is expected", f"$.{records}"
        )
    for position, entry in enumerate(value, 1):
        if isinstance(entry, Pairs):
            rows.add(position, entry)
        else:
            rows.lose(position, "wrong_shape", f"is {kind(entry)} where an object is expected")
    return rows.table()


def _skip(text: str, at: int) -> int:
    found = _BLANKS.match(text, at)
    return found.end() if found else at


def _value(text: str, at: int) -> tuple[Any, int]:
    try:
        return DECODER.raw_decode(text, at)
    except json.JSONDecodeError as error:
        raise _bad(text, error.pos, why_not(error)) from None
    except NotANumber:
        found = next((m for m in _CONSTANT.finditer(text, at) if m[1]), None)
        raise _bad(text, found.start() if found else at, "NaN and Infinity are no JSON numbers") from None
    except RecursionError:
        raise Unreadable("too_deep", "nests lists or objects deeper than any limit allows", f"offset {at}") from None


def _bad(text: str, at: int, why: str) -> Unreadable:
    line = text.count("\n", 0, at) + 1
    column = at - text.rfind("\n", 0, at)
    return Unreadable("bad_json", f"is not JSON: {why}", f"line {line} column {column}")


def _not_an_array(text: str, at: int) -> Unreadable:
    value, end = _value(text, at)
    if _skip(text, end) != len(text):
        return _bad(text, _skip(text, end), "a second text begins here; if it holds one record a line, name it .jsonl")
    why = f"is {kind(value)} where an array of records is expected"
    if isinstance(value, Pairs):
        why = f"{why}; if the records stand in a list within it, a mapping says where: cip-audit mapping draft FILE"
    return Unreadable("wrong_shape", why, "$")
