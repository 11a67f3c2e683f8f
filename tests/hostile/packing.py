"""A ZIP archive written by hand, so that its headers can say what is not so and a bomb costs nothing to build."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass


@dataclass
class Member:
    """One member: its packed bytes and what the headers say of it."""

    name: str
    packed: bytes
    size: int
    sum: int
    method: int = 8
    flags: int = 0

    @property
    def headers(self) -> tuple[int, ...]:
        return (20, self.flags, self.method, 0, 0x21, self.sum, len(self.packed), self.size, len(self.name.encode()))


def member(name: str, content: bytes | str) -> Member:
    data = content.encode() if isinstance(content, str) else content
    return Member(name, deflated(data), len(data), zlib.crc32(data))


def deflated(data: bytes) -> bytes:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    return packer.compress(data) + packer.flush()


def repeated(name: str, before: bytes, piece: bytes, times: int, after: bytes) -> Member:
    """A member whose content is a piece many times over: the piece is packed once and its packed form repeated."""
    head = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = head.compress(before) + head.flush(zlib.Z_FULL_FLUSH)
    body = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed += (body.compress(piece) + body.flush(zlib.Z_FULL_FLUSH)) * times + deflated(after)
    total = zlib.crc32(before)
    for _ in range(times):
        total = zlib.crc32(piece, total)
    return Member(name, packed, len(before) + times * len(piece) + len(after), zlib.crc32(after, total))


def archive(members: list[Member]) -> bytes:
    """The archive: local headers with their members, the directory, its end."""
    body, directory = b"", b""
    for one in members:
        name = one.name.encode()
        directory += struct.pack("<4s2H4H3I5H2I", b"PK\x01\x02", 20, *one.headers, 0, 0, 0, 0, 0, len(body)) + name
        body += struct.pack("<4s5H3I2H", b"PK\x03\x04", *one.headers, 0) + name + one.packed
    end = struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, len(members), len(members), len(directory), len(body), 0)
    return body + directory + end


def gzip_of_repeated(before: bytes, piece: bytes, times: int) -> bytes:
    """A gzip file of a piece many times over."""
    found = repeated("", before, piece, times, b"")
    return b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x02\x03" + found.packed + struct.pack("<2I", found.sum, found.size % 2**32)
