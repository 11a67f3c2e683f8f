"""What stands in a JSON Lines file? One record a line; a broken line costs itself and no other."""

from __future__ import annotations

import json
from pathlib import Path

from validator.errors import Unreadable
from validator.readers.headers import CANONICAL_NAMES, Names
from validator.readers.objects import DECODER, NotANumber, Pairs, Rows, decode, kind, why_not
from validator.readers.physical import line_end, open_bytes
from validator.tables import Budget, RawTable


def read(path: Path, budget: Budget, names: Names = CANONICAL_NAMES) -> tuple[list[RawTable], list[str], list[str]]:
    """The one table of a JSON Lines file, with what was assumed to read it and notices; raise `Unreadable`."""
    rows = Rows(budget, names)
    data = open_bytes(path)
    decode(data[:4])
    at, line = (3 if data[:3] == b"\xef\xbb\xbf" else 0), 1
    while at < len(data):
        end, after = line_end(data, at)
        if end - at > budget.line_bytes:
            rows.lose(line, "line_too_long", f"is a line of {end - at} bytes; {budget.says('line-size')}")
        else:
            _add(rows, line, data[at:end])
        at, line = after, line + 1
    if not rows.rows and rows.defects:
        raise _no_record(path, budget, rows)
    return rows.table()


def _add(rows: Rows, line: int, text: bytes) -> None:
    if not text.strip(b" \t"):
        rows.blank_rows += 1
        return
    try:
        record = DECODER.decode(text.decode("utf-8", "surrogateescape"))
        if isinstance(record, Pairs):
            rows.add(line, record)
        else:
            rows.lose(line, "wrong_shape", f"is {kind(record)} where an object is expected")
    except json.JSONDecodeError as error:
        rows.lose(line, "bad_json", f"is not JSON: {why_not(error)} at column {error.colno}")
    except NotANumber as error:
        rows.lose(line, "bad_json", f"is not JSON: {error} is no JSON number")
    except RecursionError:
        rows.lose(line, "too_deep", "nests lists or objects deeper than any limit allows")
    except Unreadable as refusal:
        if refusal.code != "too_deep":
            raise
        rows.lose(line, refusal.code, refusal.sentence)


def _no_record(path: Path, budget: Budget, rows: Rows) -> Unreadable:
    """The refusal of a file without one readable line; it may be one object spread over many."""
    first = rows.defects[0]
    if path.stat().st_size <= budget.line_bytes:
        try:
            value = DECODER.decode(decode(path.read_bytes()))
        except (ValueError, RecursionError):
            pass
        else:
            return Unreadable("wrong_shape", f"is {kind(value)} where one record a line is expected", "$")
    return Unreadable(first.code, f"has no line that is a record; the first one {first.message}", f"line {first.row}")
