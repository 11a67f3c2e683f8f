"""Lines end by CR, LF and CRLF, wherever they fall and however long they are."""

from __future__ import annotations

import mmap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from validator.readers import physical
from validator.readers.physical import LINE_END, line_end, open_bytes


@given(st.binary(max_size=30).map(lambda data: bytes(b"\r\nab"[byte % 4] for byte in data)), st.integers(0, 30))
def test_a_line_ends_where_the_pattern_says(data, start):
    """The end found in small steps is the end that one search of the whole file finds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(physical, "_USUAL", 3)
        patch.setattr(physical, "_SLICE", 2)
        found = LINE_END.search(data, start)
        assert line_end(data, start) == (found.span() if found else (len(data), len(data)))


def test_lines_longer_than_a_look(tmp_path):
    """In a mapped file of long lines every end is found, and the bytes stay readable."""
    path = tmp_path / "long"
    path.write_bytes(b"a" * 3_000_000 + b"\r\n" + b"b" * 100_000 + b"\n" + b"c" * 10)
    data = open_bytes(path)
    assert isinstance(data, mmap.mmap)
    first = line_end(data, 0)
    second = line_end(data, first[1])
    assert (first, second) == ((3_000_000, 3_000_002), (3_100_002, 3_100_003))
    assert line_end(data, second[1]) == (3_100_013, 3_100_013)
    assert data[0:1] == b"a"
