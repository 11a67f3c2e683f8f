"""Is a ZIP package safe to open? Names, sizes, checksums and document types are proved before anything parses it."""

from __future__ import annotations

import re
import zipfile
import zlib
from pathlib import Path

from validator.errors import Unreadable
from validator.tables import Budget

_PIECE = 256 * 1024
_STEPS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_XML = (".xml", ".rels", ".vml")
_DOCTYPE = [
    text.encode(encoding) for text in ("<!DOCTYPE", "<!ENTITY") for encoding in ("ascii", "utf-16-le", "utf-16-be")
]
_ENCODING = re.compile(rb"""<\?xml[^>]*?\bencoding\s*=\s*["']([^"']+)["']""")
_ENCODINGS = {"utf-8", "utf8", "utf-16", "us-ascii", "ascii"}
_XML_BEGINS = (b"<", b"\xef\xbb\xbf<", b"\xff\xfe<", b"\xfe\xff\0<", b"<\0", b"\0<")


def open_package(path: Path, budget: Budget) -> zipfile.ZipFile:
    """A package all of whose members keep to the budget and match their checksums; raise `Unreadable`."""
    try:
        package = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, NotImplementedError, ValueError, EOFError) as error:
        cut = "its end is missing: the file was cut off" if str(error) == "File is not a zip file" else str(error)
        raise _damaged(cut) from None
    try:
        _check_directory(package.infolist(), budget)
        total = 0
        for member in package.infolist():
            total += _check_member(package, member, budget, total)
    except BaseException:
        package.close()
        raise
    return package


def _damaged(why: str, place: str = "") -> Unreadable:
    return Unreadable("corrupt_container", f"is a damaged workbook: {why[:1].lower()}{why[1:160]}", place)


def _check_directory(members: list[zipfile.ZipInfo], budget: Budget) -> None:
    if len(members) > budget.members:
        raise Unreadable("too_many_entries", f"is a package of {len(members)} parts; {budget.says('members')}")
    seen: set[str] = set()
    for member in members:
        name = member.filename
        _check_name(member)
        if name.casefold() in seen:
            raise _damaged("two of its parts have one name", name)
        seen.add(name.casefold())
        if member.flag_bits & 0x1:
            raise Unreadable("password_protected", "is protected by a password; save it without one", name)
        if member.compress_type not in _STEPS:
            raise _damaged("a part is compressed in a way that workbooks do not use", name)
        if member.file_size > budget.member_bytes:
            raise _too_much(member.file_size, budget.says("member-size"), name)
    total = sum(member.file_size for member in members)
    packed = sum(member.compress_size for member in members)
    if total > budget.expanded_bytes:
        raise _too_much(total, budget.says("expanded-size"), max(members, key=lambda m: m.file_size).filename)
    if total > budget.ratio_from_bytes and total > budget.ratio * max(packed, 1):
        largest = max(members, key=lambda m: m.file_size / max(m.compress_size, 1)).filename
        why = f"expands to {-(-total // max(packed, 1))} times its size; {budget.says('ratio', 'ratio-from')}"
        raise Unreadable("expands_too_much", why, largest)


def _check_name(member: zipfile.ZipInfo) -> None:
    name = member.orig_filename
    parts = name.replace("\\", "/").split("/")
    unsafe = "\\" in name or name.startswith("/") or ".." in parts or "\0" in name or re.match(r"[A-Za-z]:", name)
    if unsafe or not name.isprintable():
        why = "holds a part whose name would lead out of the package"
        raise Unreadable("unsafe_member_name", why, ascii(name)[1:-1])


def _too_much(found: int, limit: str, name: str) -> Unreadable:
    return Unreadable("expands_too_much", f"expands to {found} bytes or more; {limit}", name)


def _check_member(package: zipfile.ZipFile, member: zipfile.ZipInfo, budget: Budget, before: int) -> int:
    """Inflate one part piece by piece and count: a declared size is a hint, the running count is the guard."""
    is_xml = member.filename.lower().endswith(_XML)
    count = 0
    tail = b""
    try:
        with package.open(member) as stream:
            while piece := stream.read(_PIECE):
                if is_xml and count == 0:
                    _check_prolog(piece, member.filename)
                count += len(piece)
                if count > budget.member_bytes:
                    raise _too_much(count, budget.says("member-size"), member.filename)
                if before + count > budget.expanded_bytes:
                    raise _too_much(before + count, budget.says("expanded-size"), member.filename)
                if is_xml and any(word in tail + piece for word in _DOCTYPE):
                    why = "declares a document type, which no workbook needs"
                    raise Unreadable("dtd_forbidden", why, member.filename)
                tail = piece[-32:]
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise _damaged(str(error), member.filename) from None
    if count != member.file_size:
        raise _damaged(f"a part has {count} bytes where {member.file_size} are declared", member.filename)
    return count


def _check_prolog(head: bytes, name: str) -> None:
    """The part is in an encoding in which the search for a document type sees what a parser would see."""
    if not head.lstrip(b" \t\r\n").startswith(_XML_BEGINS):
        raise _damaged("a part is not XML", name)
    declared = _ENCODING.search(head[:512])
    if declared and declared[1].decode("latin-1").lower() not in _ENCODINGS:
        raise _damaged(f"a part is in the encoding {declared[1].decode('latin-1')!r}", name)
