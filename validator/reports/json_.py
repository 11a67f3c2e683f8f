"""How is a report written as JSON for programs and the archive, and read back unchanged?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import orjson
from pydantic import TypeAdapter, ValidationError

from validator.errors import WrongInput
from validator.findings import REPORT_VERSION, Report
from validator.reports import visible

_NOTHING_DRAWN = b'\n  "pictures": null'
_WINDOW = 2**16
_OPTIONS = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE


def render(report: Report) -> bytes:
    """UTF-8 JSON: two spaces an indent, keys in the order in which `findings.py` declares them, a last line end.

    What a report draws stands on one line: nobody reads it by eye, and indented it would be twice as long.
    """
    try:
        written = orjson.dumps(replace(report, pictures=None), option=_OPTIONS)
        drawn = orjson.dumps(report.pictures)
    except orjson.JSONEncodeError:
        # UTF-8 has no lone surrogates; they are spelled out as every other format shows them.
        plain = _without_surrogates(_adapter().dump_python(report))
        written = orjson.dumps({**plain, "pictures": None}, option=_OPTIONS)
        drawn = orjson.dumps(plain["pictures"])
    # A quote inside a string follows a backslash, so a blank before a quote and a colon after one mean a key. Counts stand
    # before the findings, which can be many times as long.
    counts, at = written.find(b'\n  "findings": '), written.rfind(_NOTHING_DRAWN)
    head = written[:counts].replace(b' "in_": ', b' "in": ')
    # joined from views, so that no third copy of it is made
    view = memoryview(written)
    pictures, end = at + len(_NOTHING_DRAWN) - len(b"null"), at + len(_NOTHING_DRAWN)
    return b"".join(
        part for piece in (head, view[counts:pictures], drawn, view[end:]) for part in without_acting(memoryview(piece))
    )


def load(document: bytes) -> Report:
    """The report that `render` wrote; raises `WrongInput` for anything else, naming the first place that is wrong."""
    try:
        found = orjson.loads(document)
    except orjson.JSONDecodeError as error:
        raise WrongInput(f"the report is not readable JSON: {error}") from error
    if not isinstance(found, dict) or found.get("report_version") != REPORT_VERSION:
        version = found.get("report_version") if isinstance(found, dict) else None
        raise WrongInput(f"report_version is {version!r}; this program reads {REPORT_VERSION!r}")
    for counts in _all_counts(found):
        if "in" in counts:
            counts["in_"] = counts.pop("in")
    try:
        return _adapter().validate_python(found)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise WrongInput(f"{place}: {first['msg']} in the report") from error


# characters that JSON may hold as they are and that act on a terminal: controls beyond ASCII, separators, marks of direction
_ACTING = re.compile(rb"\x7f|\xc2[\x80-\x9f]|\xd8\x9c|\xe2\x80[\x8e\x8f\xa8-\xae]|\xe2\x81[\xa6-\xa9]")


def without_acting(written: memoryview) -> Iterator[bytes | memoryview]:
    """JSON in parts, in which what acts on a terminal is escaped."""
    at = 0
    while at < len(written):
        end = min(at + _WINDOW, len(written))
        while end < len(written) and written[end] >= 0x80:  # no character is cut in two
            end += 1
        window = written[at:end].tobytes()
        plain = window.isascii() and b"\x7f" not in window
        yield written[at:end] if plain else _ACTING.sub(_escaped, window)
        at = end


def _escaped(found: re.Match[bytes]) -> bytes:
    return b"\\u%04x" % ord(found[0].decode())


@cache  # built at the first use: it takes a while
def _adapter() -> TypeAdapter[Report]:
    return TypeAdapter(Report)


def _all_counts(found: Any) -> Iterator[dict[str, Any]]:
    if isinstance(found, dict):
        for key, value in found.items():
            if key == "counts" and isinstance(value, dict):
                yield value
            elif key in ("summary", "stores", "verdict", "equipment", "checked"):
                yield from _all_counts(value)
    elif isinstance(found, list):
        for value in found:
            yield from _all_counts(value)


def _without_surrogates(value: Any) -> Any:
    if isinstance(value, str):
        return visible.without_surrogates(value)
    if isinstance(value, dict):
        return {_without_surrogates(key): _without_surrogates(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_without_surrogates(item) for item in value]
    return value
