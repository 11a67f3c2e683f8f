"""How do parsed tables go from the child process to the parent? A JSON header and raw arrays in one private file.

The layout is: the length of the header in 8 bytes (little-endian), the header, then arrays at multiples of 8 bytes.
Nothing in it is executed when it is read, since the child that wrote it has parsed a file nobody vouches for.
"""

from __future__ import annotations

import json
import mmap
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.readers.columns import code
from validator.tables import CellDefect, Origin, ParsedTable, TextColumn

_DTYPES = {np.dtype(name): name for name in ("int32", "int64", "float64", "bool")}
_ALIGN = 8
_MAP_FROM = 4 * 2**20
_DEFECT_TEXTS = ("column", "code", "message", "sheet", "cell")


class Damaged(ValueError):
    """The file does not hold what a child writes."""


# --- writing, in the child ------------------------------------------------------------------------------------------


class _Arrays:
    """Gives every array its place after the header."""

    def __init__(self) -> None:
        self.arrays: list[npt.NDArray[Any]] = []
        self.end = 0

    def put(self, array: npt.NDArray[Any]) -> list[Any]:
        array = np.ascontiguousarray(array)
        at = self.end
        self.arrays.append(array)
        self.end = -(-(at + array.nbytes) // _ALIGN) * _ALIGN
        return [at, len(array), _DTYPES[array.dtype]]


def write(path: Path, tables: list[ParsedTable], told: dict[str, Any]) -> None:
    """Write the tables, and `told` beside them, to a new file."""
    with open(path, "wb", opener=privately) as file:
        file.writelines(encode(tables, told))


def encode(tables: list[ParsedTable], told: dict[str, Any]) -> list[bytes | memoryview]:
    """The tables, and `told` beside them, as bytes to be written one after the other."""
    arrays = _Arrays()
    described = [_describe(table, arrays) for table in tables]
    header = json.dumps({"tables": described, **told}, ensure_ascii=False).encode("utf-8", "surrogatepass")
    header += b" " * (-len(header) % _ALIGN)
    written: list[bytes | memoryview] = [len(header).to_bytes(8, "little"), header]
    for array in arrays.arrays:
        written += [array.data.cast("B") if len(array) else b"", b"\0" * (-array.nbytes % _ALIGN)]
    return written


def privately(path: str, flags: int) -> int:
    """Open a file that is new and nobody else's."""
    return os.open(path, flags | os.O_EXCL, 0o600)


def _describe(table: ParsedTable, arrays: _Arrays) -> dict[str, Any]:
    return {
        "sheet": table.sheet,
        "blank_rows": table.blank_rows,
        "zone": table.zone,
        "origins": table.origins,
        "origin": arrays.put(table.origin),
        "entries": {path: arrays.put(numbers) for path, numbers in table.entries.items()},
        "rows": arrays.put(table.rows),
        "whole": arrays.put(table.whole),
        "texts": {n: [arrays.put(c.codes), c.vocabulary] for n, c in table.texts.items()},
        "times": {n: arrays.put(a) for n, a in table.times.items()},
        "absolute": {n: arrays.put(a) for n, a in table.absolute.items()},
        "numbers": {n: arrays.put(a) for n, a in table.numbers.items()},
        "defects": _describe_defects(table.defects, arrays),
    }


def _describe_defects(defects: list[CellDefect], arrays: _Arrays) -> dict[str, Any] | None:
    if not defects:
        return None
    described: dict[str, Any] = {
        "index": arrays.put(np.array([d.index for d in defects], dtype=np.int64)),
        "row": arrays.put(np.array([d.row for d in defects], dtype=np.int64)),
        "whole": arrays.put(np.array([d.whole for d in defects], dtype=np.bool_)),
    }
    for name in _DEFECT_TEXTS:
        codes, words = code(getattr(d, name) for d in defects)
        described[name] = [arrays.put(codes), words]
    return described


# --- reading, in the parent -----------------------------------------------------------------------------------------


def read(path: Path, map_it: bool) -> tuple[list[ParsedTable], dict[str, Any]]:
    """The tables of a file written by `write` and what was told beside them; raise `Damaged`.

    The arrays are read-only. A large file is mapped instead of copied where `map_it` allows one more open mapping.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        mapped = map_it and size >= _MAP_FROM
        return decode(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) if mapped else file.read())


def decode(
    data: Any, shared: Mapping[str, list[str]] = MappingProxyType({})
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """What `encode` made bytes of; `shared` holds the words of text columns that were written without."""
    if len(data) < 8:
        raise Damaged("no header")
    start = 8 + int.from_bytes(data[:8], "little")
    if start > len(data):
        raise Damaged("header longer than the file")
    try:
        told = json.loads(data[8:start].decode("utf-8", "surrogatepass"))
        take = _taker(data, start)
        tables = [_rebuild(described, take, shared) for described in told.pop("tables")]
    except (KeyError, TypeError, IndexError, AttributeError, ValueError) as error:
        raise Damaged(str(error)) from None
    return tables, told


def _taker(data: Any, start: int) -> Callable[..., npt.NDArray[Any]]:
    def take(place: list[Any], dtype: str, length: int | None = None) -> npt.NDArray[Any]:
        at, count, written = place
        if written != dtype or (length is not None and count != length) or at < 0 or count < 0:
            raise Damaged(f"an array of {count} {written} where {dtype} is due")
        if start + at + count * np.dtype(dtype).itemsize > len(data):
            raise Damaged("an array beyond the end")
        return np.frombuffer(data, dtype=dtype, count=count, offset=start + at)

    return take


def _rebuild(
    described: dict[str, Any], take: Callable[..., npt.NDArray[Any]], shared: Mapping[str, list[str]]
) -> ParsedTable:
    rows = take(described["rows"], "int32")
    size = len(rows)
    origins = _origins(described["origins"])
    origin = take(described["origin"], "int32", size if origins else 0)
    if len(origin) and (int(origin.min()) < 0 or int(origin.max()) >= len(origins)):
        raise Damaged("a row from no known columns")
    return ParsedTable(
        sheet=str(described["sheet"]),
        rows=rows,
        texts={
            n: _text(take(place, "int32", size), shared.get(n, words))
            for n, (place, words) in described["texts"].items()
        },
        times={n: take(place, "int64", size) for n, place in described["times"].items()},
        absolute={n: take(place, "bool", size) for n, place in described["absolute"].items()},
        numbers={n: take(place, "float64", size) for n, place in described["numbers"].items()},
        whole=take(described["whole"], "bool", size),
        defects=_defects(described["defects"], take),
        blank_rows=int(described["blank_rows"]),
        zone=str(described["zone"]),
        origins=origins,
        origin=origin,
        entries={str(path): take(place, "int32", size) for path, place in described["entries"].items()},
    )


def _origins(described: list[dict[str, list[list[str]]]]) -> list[Origin]:
    return [{str(n): [(str(name), str(at)) for name, at in of] for n, of in one.items()} for one in described]


def _text(codes: npt.NDArray[np.int32], words: list[str]) -> TextColumn:
    if len(codes) and (int(codes.min()) < -1 or int(codes.max()) >= len(words)):
        raise Damaged("a code outside its vocabulary")
    return TextColumn(codes, words)


def _defects(described: dict[str, Any] | None, take: Callable[..., npt.NDArray[Any]]) -> list[CellDefect]:
    if described is None:
        return []
    index = take(described["index"], "int64").tolist()
    row = take(described["row"], "int64", len(index)).tolist()
    whole = take(described["whole"], "bool", len(index)).tolist()
    texts = []
    for name in _DEFECT_TEXTS:
        place, words = described[name]
        texts.append([words[c] for c in take(place, "int32", len(index)).tolist()])
    return [
        CellDefect(i, r, column, code_, message, w, sheet, cell)
        for i, r, w, column, code_, message, sheet, cell in zip(index, row, whole, *texts, strict=True)
    ]
