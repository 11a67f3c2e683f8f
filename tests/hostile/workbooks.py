"""The workbooks, as raw parts: a library would not write most of this."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from .csv_files import FILES as CSV_FILES
from .packing import Member, archive, gzip_of_repeated, member, repeated
from .plausible import COLUMNS, record, records

FILES: dict[str, Callable[[], bytes]] = {}
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
SHEET = "xl/worksheets/sheet1.xml"
LETTERS = "ABCDEFGHIJKLMN"
DATE, PERCENT = 1, 2
"""Cell styles of `STYLES`."""
STYLES = f'<styleSheet xmlns="{MAIN}"><cellXfs><xf numFmtId="0"/><xf numFmtId="22"/><xf numFmtId="10"/></cellXfs></styleSheet>'


def file(build: Callable[[], bytes]) -> Callable[[], bytes]:
    FILES[f"{build.__name__}.xlsx"] = build
    return build


def cell(reference: str, value: Any, style: int = 0) -> str:
    """One cell: a number as a number, a text as an inline one, XML as it stands."""
    at = f' r="{reference}"' if reference else ""
    style_ = f' s="{style}"' if style else ""
    if isinstance(value, Raw):
        return f"<c{at}{style_}{value}"
    if isinstance(value, (int, float)):
        return f"<c{at}{style_}><v>{value!r}</v></c>"
    return f'<c{at}{style_} t="inlineStr"><is><t xml:space="preserve">{escape(str(value))}</t></is></c>'


class Raw(str):
    """What stands in a cell after its reference."""

    __slots__ = ()


class Styled(float):
    """A number with a style."""

    style = DATE


def percent(value: float) -> Styled:
    found = Styled(value)
    found.style = PERCENT
    return found


def row(number: int, cells: dict[str, Any] | Sequence[Any], attributes: str = "", refs: bool = True) -> str:
    values = [cells.get(name, "") for name in COLUMNS] if isinstance(cells, dict) else cells
    found = []
    for letter, value in zip(LETTERS, values, strict=False):
        if value == "" and not isinstance(value, Raw):
            continue
        shown = float(value) if isinstance(value, Styled) else value
        found.append(cell(f"{letter}{number}" if refs else "", shown, getattr(value, "style", 0)))
    at = f' r="{number}"' if refs else ""
    return f"<row{at}{attributes}>{''.join(found)}</row>"


def rows(all_rows: Iterable[dict[str, Any]]) -> str:
    return row(1, COLUMNS) + "".join(row(n, one) for n, one in enumerate(all_rows, 2))


def sheet(inside: str, before: str = "", after: str = "") -> str:
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<worksheet xmlns="{MAIN}">{before}<sheetData>{inside}</sheetData>{after}</worksheet>'


def parts(
    sheets: Sequence[str], states: Sequence[str] = (), shared: str | None = None, flags: str = ""
) -> list[Member]:
    """The members of a workbook."""
    states = [*states, *["visible"] * len(sheets)]
    listed = "".join(f'<sheet name="S{n}" sheetId="{n}" r:id="r{n}" state="{states[n - 1]}"/>' for n in range(1, len(sheets) + 1))
    related = "".join(
        f'<Relationship Id="r{n}" Type="{REL}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in range(1, len(sheets) + 1)
    )
    related += f'<Relationship Id="y" Type="{REL}/styles" Target="styles.xml"/>'
    found = [
        member("[Content_Types].xml", "<Types/>"),
        member("_rels/.rels", f'<Relationships><Relationship Id="b" Type="{REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>'),
        member("xl/workbook.xml", f'<workbook xmlns="{MAIN}" xmlns:r="{REL}">{flags}<sheets>{listed}</sheets></workbook>'),
        member("xl/styles.xml", STYLES),
    ]  # fmt: skip
    if shared is not None:
        found.append(member("xl/sharedStrings.xml", shared))
        related += f'<Relationship Id="t" Type="{REL}/sharedStrings" Target="sharedStrings.xml"/>'
    found.append(member("xl/_rels/workbook.xml.rels", f"<Relationships>{related}</Relationships>"))
    return [*found, *(member(f"xl/worksheets/sheet{n}.xml", text) for n, text in enumerate(sheets, 1))]


def book(*sheets: str, **options: Any) -> bytes:
    return archive(parts(sheets, **options))


def shared_texts(*texts: str) -> str:
    return f'<sst xmlns="{MAIN}">{"".join(f"<si>{text}</si>" for text in texts)}</sst>'


# --- content --------------------------------------------------------------------------------------------------------


@file
def xlsx_ok():
    return book(sheet(rows(record(n, concentration_ppm=200, temperature_c=24.5) for n in range(6))))


FIRST_1904 = 46082.902777777778 - 1462
"""2026-03-01 21:40 in days since 1904."""


@file
def xlsx_dates_1904():
    times = [Styled(FIRST_1904 + n / 24) for n in range(3)]
    return book(sheet(rows(record(n, started_at=t, ended_at=Styled(t + 0.006)) for n, t in enumerate(times))),
                flags='<workbookPr date1904="1"/>')  # fmt: skip


@file
def xlsx_dates_1900_bug():
    serials = [46082.902777777778, 60, 0, -1, 2958466, 1e10]
    return book(sheet(rows(record(n, started_at=Styled(s), ended_at="") for n, s in enumerate(serials))))


@file
def xlsx_date_rounding():
    hair = 0.0001 / 86400
    start = 46082 + (21 * 60 + 40) / 1440
    return book(sheet(rows([record(0, started_at=Styled(start - hair), ended_at=Styled(start + 5 / 1440 - hair)),
                            record(1, started_at=Styled(start + 1 / 24 - hair), ended_at=Styled(start + 1 / 24 + 5 / 1440))])))  # fmt: skip


@file
def xlsx_merged_cells():
    night = [record(n, store_id="TL-01" if n in (0, 3) else "") for n in range(4)]
    return book(sheet(rows(night), after='<mergeCells count="1"><mergeCell ref="A2:A4"/></mergeCells>'))


@file
def xlsx_hidden_rows_and_sheet():
    hidden = "".join(row(n, record(n - 2), ' hidden="1"' * (n in (3, 4))) for n in range(2, 6))
    return book(sheet(row(1, COLUMNS) + hidden), sheet(rows(records(2))), states=["visible", "hidden"])


@file
def xlsx_two_data_sheets():
    other = sheet(row(1, ["Legend"]) + row(2, ["soak: solution stands"]))
    return book(sheet(rows(records(3))), sheet(rows(record(n, cycle_id="c2") for n in range(2))), other)


@file
def xlsx_formula_no_cache():
    night = records(4)
    night[1]["temperature_c"] = Raw("><f>24+1</f></c>")
    night[2]["ended_at"] = Raw("><f>G4+1/96</f></c>")
    return book(sheet(rows(night)))


@file
def xlsx_error_values():
    night = records(4)
    for at, name, error in ((1, "concentration_ppm", "#REF!"), (2, "temperature_c", "#N/A"), (3, "ph", "#DIV/0!")):
        night[at][name] = Raw(f' t="e"><v>{error}</v></c>')
    return book(sheet(rows(night)))


@file
def xlsx_percent_and_text_numbers():
    night = records(4)
    night[1]["concentration_ppm"] = percent(0.02)
    return book(sheet(rows(night)))


@file
def xlsx_rich_text_escapes():
    night = [record(n, performed_by=Raw(f' t="s"><v>{n}</v></c>')) for n in range(3)]
    shared = shared_texts("<r><t>Ana </t></r><r><rPr><b/></rPr><t>Oduya</t></r>",
                          "<t>first_x000D_\nsecond</t>",
                          "<t>=1+1</t><rPh sb='0' eb='1'><t>reading aid</t></rPh>")  # fmt: skip
    return book(sheet(rows(night)), shared=shared)


@file
def xlsx_dimension_too_small():
    return book(sheet(rows(records(6)), before='<dimension ref="A1:N2"/>'))


@file
def xlsx_dimension_too_big():
    return book(sheet(rows(records(6)), before='<dimension ref="A1:XFD1048576"/>'))


@file
def xlsx_trailing_blank_rows():
    blank = "".join(f'<row r="{n}" s="1" customFormat="1"><c r="A{n}" s="1"/><c r="G{n}" s="1"/></row>' for n in range(5, 5005))
    return book(sheet(rows(records(3)) + blank))


@file
def xlsx_missing_cell_refs():
    gaps = row(3, record(1, agent="", note="after a gap"))
    return book(sheet(row(1, COLUMNS, refs=False) + row(2, record(0, note="x"), refs=False) + gaps + row(4, record(2, note="y"), refs=False)))


# --- resources ------------------------------------------------------------------------------------------------------


@file
def xlsx_far_cell():
    return book(sheet(rows(records(2)) + f'<row r="1048576">{cell("XFD1048576", "x")}</row>'))


def _bomb(before: str, piece: bytes, times: int, after: str) -> bytes:
    whole = sheet(f"{before}\0{after}").encode()
    head, _, tail = whole.partition(b"\0")
    return archive([*parts([""])[:-1], repeated(SHEET, head, piece, times, tail)])


@file
def xlsx_zip_bomb_text():
    opened = rows(records(1)) + '<row r="3"><c r="A3" t="inlineStr"><is><t>'
    return _bomb(opened, b"A" * 2**20, 512, "</t></is></c></row>")


@file
def xlsx_zip_bomb_rows():
    blank = b"<row><c t='n'><v>1</v></c></row>"  # 32 bytes
    return _bomb(rows(records(1)), blank * 2**15, 256, "")


def _lying(size: int, times: int) -> bytes:
    opened = rows(records(1)) + '<row r="3"><c r="A3" t="inlineStr"><is><t>'
    head, _, tail = sheet(f"{opened}\0</t></is></c></row>").encode().partition(b"\0")
    liar = repeated(SHEET, head, b"A" * 2**20, times, tail)
    liar.size = size
    return archive([*parts([""])[:-1], liar])


@file
def xlsx_lying_size():
    return _lying(1000, 64)


@file
def xlsx_many_entries():
    more = [member(f"xl/media/image{n}.png", b"x") for n in range(5000 - len(parts([""])))]
    return archive([*parts([sheet(rows(records(1)))]), *more])


@file
def xlsx_xxe():
    spoiled = sheet(rows([record(0), record(1, note="NOTE")])).replace("NOTE", "&host;").replace(
        "<worksheet", '<!DOCTYPE worksheet [<!ENTITY host SYSTEM "file:///etc/hostname">]><worksheet', 1)  # fmt: skip
    return book(spoiled)


@file
def xlsx_billion_laughs():
    entities = '<!ENTITY a0 "ha">' + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    shared = f"<!DOCTYPE sst [{entities}]>" + shared_texts("<t>&a9;</t>")
    return book(sheet(rows([record(0, performed_by=Raw(' t="s"><v>0</v></c>'))])), shared=shared)


# --- containers -----------------------------------------------------------------------------------------------------


def _ole(stream: str) -> bytes:
    """The smallest compound file with one named entry in its directory."""
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16) + struct.pack("<5H", 0x3E, 3, 0xFFFE, 9, 6) + bytes(10)
    head += struct.pack("<4I", 1, 1, 0, 4096) + struct.pack("<5I", 0xFFFFFFFE, 0, 0xFFFFFFFE, 0, 0)
    head += b"\xff" * (512 - len(head))
    fat = struct.pack("<2I", 0xFFFFFFFD, 0xFFFFFFFE).ljust(512, b"\xff")
    entries = b""
    for name, kind in (("Root Entry", 5), (stream, 2)):
        text = name.encode("utf-16-le")
        entries += text.ljust(64, b"\0") + struct.pack("<HBB", len(text) + 2, kind, 1) + b"\xff" * 12 + bytes(48)
    return head + fat + entries.ljust(512, b"\0")


@file
def xlsx_password():
    return _ole("EncryptionInfo")


@file
def xlsx_password_elsewhere():
    """The head points at no directory, yet the stream is there."""
    return _ole("EncryptionInfo")[:30] + bytes(482) + _ole("EncryptionInfo")[512:]


@file
def xlsx_duplicate_member():
    return archive([*parts([sheet(rows(records(2)))]), member(SHEET, sheet(rows(records(3))))])


@file
def xlsx_zip_slip():
    more = [member(name, b"x") for name in ("../../pwned.txt", "/tmp/pwned.txt", "..\\pwned.txt")]
    return archive([*parts([sheet(rows(records(1)))]), *more])


@file
def xlsx_bad_sst_index():
    return book(sheet(rows([record(0), record(1, performed_by=Raw(' t="s"><v>99</v></c>'))])), shared=shared_texts("<t>Ana</t>"))


@file
def xlsx_truncated():
    whole = FILES["xlsx_ok.xlsx"]()
    return whole[: len(whole) * 6 // 10]


@file
def xlsx_bad_crc():
    found = parts([sheet(rows(records(2)))])
    found[-1].sum ^= 1
    return archive(found)


@file
def xlsx_no_worksheet():
    return archive(parts([sheet(rows(records(2)))])[:-1])


FILES["mislabelled_csv.xlsx"] = CSV_FILES["ok_baseline.csv"]
FILES["mislabelled_xlsx.csv"] = FILES["xlsx_ok.xlsx"]
FILES["mislabelled_html.xls"] = lambda: (
    b"<html><body><table><tr><td>store_id</td><td>equipment_id</td></tr><tr><td>TL-01</td><td>TL-01-SYR-A</td></tr></table></body></html>"
)
FILES["mislabelled_html_style.xls"] = lambda: b"<style>td {}</style><table><tr><td>store_id</td></tr></table>"
FILES["double_extension.csv.exe"] = lambda: b"MZ\x90\x00" + bytes(60) + b"store_id,equipment_id,step,started_at\r\n"
FILES["csv_1gib_single_line.csv.gz"] = lambda: gzip_of_repeated(
    (",".join(COLUMNS) + "\r\n").encode(), b"A" * 2**20, 1024
)
