"""Where do the lines of a file end? By CR, LF or CRLF and nothing else, in a file of any size with little memory."""

from __future__ import annotations

import mmap
import re
from pathlib import Path

Bytes = bytes | mmap.mmap
LINE_END = re.compile(rb"\r\n?|\n")
_END = re.compile(rb"[\r\n]")
_USUAL = 64 * 1024
_SLICE = 2**20


def open_bytes(path: Path) -> Bytes:
    """The bytes of a file that is not empty, mapped so that only what is looked at is loaded."""
    with path.open("rb") as file:
        return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def line_end(data: Bytes, start: int) -> tuple[int, int]:
    """Where the line that holds `start` ends, and where the next one begins: both the file's end for the last."""
    found = _END.search(data, start, start + _USUAL)
    end = found.start() if found else _far_end(data, start + _USUAL)
    if end >= len(data):
        return len(data), len(data)
    return end, end + (2 if data[end : end + 2] == b"\r\n" else 1)


def _far_end(data: Bytes, start: int) -> int:
    for at in range(start, len(data), _SLICE):
        part = data[at : at + _SLICE]
        ends = [end for end in (part.find(b"\n"), part.find(b"\r")) if end >= 0]
        if ends:
            return at + min(ends)
        release(data, at, at + _SLICE)
    return len(data)


def release(data: Bytes, start: int, stop: int) -> None:
    """Give back the memory of a part of a mapped file that will not be looked at again soon."""
    if isinstance(data, mmap.mmap) and hasattr(mmap, "MADV_DONTNEED"):
        first = start // mmap.PAGESIZE * mmap.PAGESIZE
        data.madvise(mmap.MADV_DONTNEED, first, min(stop, len(data)) - first)
