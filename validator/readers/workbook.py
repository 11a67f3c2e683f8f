"""Which sheets does a workbook have, and how are its numbers shown? The parts of a package beside the sheets."""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from validator.errors import Unreadable
from validator.tables import Budget

NUMBER, DATE, LENGTH, PERCENT = "number", "date", "length", "percent"
"""How a numeric cell is shown: as it is, as a date or time of day, as a length of time, as a percentage."""
_BUILT_IN = {9: PERCENT, 10: PERCENT, 45: LENGTH, 46: LENGTH, 47: LENGTH} | dict.fromkeys(
    [*range(14, 23), *range(27, 37), *range(50, 59)], DATE
)
_NOT_SHOWN = re.compile(r'"[^"]*"|\\.|_.|\*.')
_ELAPSED = re.compile(r"\[(h+|m+|s+)\]", re.IGNORECASE)
_BRACKETS = re.compile(r"\[[^\]]*\]")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_WORKBOOK = "/officeDocument"
_SHEET = "/worksheet"


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, the part that holds it, and whether a user sees it."""

    name: str
    part: str
    hidden: bool


@dataclass(frozen=True)
class Workbook:
    """What the cells of every sheet refer to."""

    sheets: list[Sheet]
    shared: list[str]
    shown: list[str]
    from_1904: bool


def read_workbook(package: zipfile.ZipFile, budget: Budget) -> Workbook:
    """The package's sheets, shared texts and number formats; raise `Unreadable` where parts are missing or damaged."""
    parts = {name.casefold(): name for name in package.namelist()}
    book = _book_part(package, parts)
    related = _relations(package, parts, book)
    sheets, from_1904 = _sheets(package, book, related, parts)
    shared: list[str] = []
    shown: list[str] = []
    for kind, target in related.values():
        if kind.endswith("/sharedStrings") and target.casefold() in parts:
            shared = _shared(package, parts[target.casefold()], budget)
        elif kind.endswith("/styles") and target.casefold() in parts:
            shown = _shown(package, parts[target.casefold()])
    return Workbook(sheets, shared, shown, from_1904)


def local(tag: Any) -> str:
    """A tag without its namespace: workbooks come in two of them."""
    return str(tag).rpartition("}")[2]


def unescape(text: str) -> str:
    """A text with the characters that XML cannot hold, written `_x000D_` in a workbook, put back."""
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


def damaged(why: str, place: str = "") -> Unreadable:
    return Unreadable("corrupt_container", f"is a damaged workbook: {why}", place)


def elements(package: zipfile.ZipFile, part: str) -> Iterator[Any]:
    """Every element of a part as it ends; raise `Unreadable` where it is not XML or declares a document type."""
    try:
        with package.open(part) as stream:
            for _, element in iterparse(stream, events=("end",), forbid_dtd=True):
                yield element
    except ParseError as error:
        raise damaged(f"a part is not XML ({error})", part) from None
    except DefusedXmlException:
        raise Unreadable("dtd_forbidden", "declares a document type, which no workbook needs", part) from None


def _book_part(package: zipfile.ZipFile, parts: dict[str, str]) -> str:
    for kind, target in _relations(package, parts, "").values():
        if kind.endswith(_WORKBOOK) and target.casefold() in parts:
            return parts[target.casefold()]
    raise damaged("it names no workbook part")


def _relations(package: zipfile.ZipFile, parts: dict[str, str], part: str) -> dict[str, tuple[str, str]]:
    """Relation id to (kind, part name) of one part."""
    folder, name = posixpath.split(part)
    found = parts.get(posixpath.join(folder, "_rels", f"{name}.rels").casefold())
    if found is None:
        raise damaged("a list of related parts is missing", part)
    related = {}
    for element in elements(package, found):
        if local(element.tag) == "Relationship" and element.get("TargetMode") != "External":
            target = posixpath.normpath(posixpath.join("/", folder, element.get("Target", ""))).lstrip("/")
            related[element.get("Id", "")] = (element.get("Type", ""), target)
    return related


def _sheets(
    package: zipfile.ZipFile, book: str, related: dict[str, tuple[str, str]], parts: dict[str, str]
) -> tuple[list[Sheet], bool]:
    sheets = []
    from_1904 = False
    for element in elements(package, book):
        tag = local(element.tag)
        if tag == "workbookPr":
            from_1904 = element.get("date1904", "0") in ("1", "true", "on")
        elif tag == "sheet":
            key = next((value for name, value in element.attrib.items() if local(name) == "id" and name != "id"), "")
            kind, target = related.get(key, ("", ""))
            if kind and not kind.endswith(_SHEET):
                continue  # a chart or a dialog
            if target.casefold() not in parts:
                raise damaged(f"the part of the sheet {element.get('name', '')!r} is missing", target)
            hidden = element.get("state", "visible") != "visible"
            sheets.append(Sheet(element.get("name", ""), parts[target.casefold()], hidden))
    return sheets, from_1904


def _shared(package: zipfile.ZipFile, part: str, budget: Budget) -> list[str]:
    texts: list[str] = []
    for element in elements(package, part):
        if local(element.tag) == "si":
            texts.append(plain_text(element))
            element.clear()
            if len(texts) > budget.cells:
                why = f"holds more than {budget.cells} texts; {budget.says('cells')}"
                raise Unreadable("too_many_cells", why, part)
    return texts


def plain_text(element: Any) -> str:
    """The text of a cell or shared text: its runs joined, the reading aids of East Asian text left out."""
    pieces = []
    for child in element:
        tag = local(child.tag)
        if tag == "t":
            pieces.append(child.text or "")
        elif tag == "r":
            pieces.extend(inner.text or "" for inner in child if local(inner.tag) == "t")
    return unescape("".join(pieces))


def _shown(package: zipfile.ZipFile, part: str) -> list[str]:
    """How each cell style shows a number."""
    formats: dict[int, str] = {}
    styles: list[int] = []
    for element in elements(package, part):
        tag = local(element.tag)
        if tag == "numFmt":
            formats.setdefault(_whole(element.get("numFmtId")), element.get("formatCode", ""))
        elif tag == "cellXfs":
            styles = [_whole(xf.get("numFmtId", "0")) for xf in element if local(xf.tag) == "xf"]
    return [how_shown(formats[n]) if n in formats else _BUILT_IN.get(n, NUMBER) for n in styles]


def _whole(text: str | None) -> int:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 10 else 0


def how_shown(format_code: str) -> str:
    """What a number format makes of a number: `DATE`, `LENGTH`, `PERCENT` or `NUMBER`."""
    if "%" in format_code:
        return PERCENT
    section = _NOT_SHOWN.sub("", format_code).split(";")[0]
    if _ELAPSED.search(section):
        return LENGTH
    bare = _BRACKETS.sub("", section)
    if bare.strip().casefold() in ("general", "@"):
        return NUMBER
    return DATE if re.search(r"[dmyhs]", bare, re.IGNORECASE) else NUMBER
