"""How is a table written as an XLSX workbook (ECMA-376) in which text of data is never anything but text?

Cells are strings, numbers or dates; there is no way to write a formula. The same tables give the same bytes.
"""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cache
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from validator.language import said, tr

Cell = str | int | float | date | datetime | None
"""A value of a cell; a date and time is shown as its own clock has it, whatever its offset."""

ROWS = 1_048_575
"""Rows that a sheet holds beneath its heading."""

_LINE, _HIGHEST = 15, 405
"""Points: of a line of text, and of the highest row that the format allows, in whole lines."""

LETTERS = 32_000
"""Characters of a cell; the format allows 32,767."""

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_DAY_ZERO = datetime(1899, 12, 30)
_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_PLAIN, _HEADING, _WRAPPED, _MOMENT, _DATE = range(5)
_STYLES = f"""<styleSheet xmlns="{_MAIN}"><numFmts count="2"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd\\ hh:mm"/>\
<numFmt numFmtId="165" formatCode="yyyy\\-mm\\-dd"/></numFmts><fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>\
<font><b/><sz val="11"/><name val="Calibri"/></font></fonts><fills count="3"><fill><patternFill patternType="none"/></fill>\
<fill><patternFill patternType="gray125"/></fill><fill><patternFill patternType="solid"><fgColor rgb="FFE7E6E6"/></patternFill>\
</fill></fills><borders count="2"><border><left/><right/><top/><bottom/><diagonal/></border><border><left/><right/><top/>\
<bottom style="thin"/><diagonal/></border></borders><cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>\
</cellStyleXfs><cellXfs count="5"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0" applyAlignment="1"><alignment \
vertical="top"/></xf><xf numFmtId="0" fontId="1" fillId="2" borderId="1" xfId="0" applyFont="1" applyFill="1" applyBorder="1" \
applyAlignment="1"><alignment vertical="top" wrapText="1"/></xf><xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" \
applyNumberFormat="1" applyAlignment="1"><alignment vertical="top" wrapText="1"/></xf><xf numFmtId="164" fontId="0" fillId="0" \
borderId="0" xfId="0" applyNumberFormat="1" applyAlignment="1"><alignment vertical="top"/></xf><xf numFmtId="165" fontId="0" \
fillId="0" borderId="0" xfId="0" applyNumberFormat="1" applyAlignment="1"><alignment vertical="top"/></xf></cellXfs>\
<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>"""


@dataclass(frozen=True)
class Column:
    """One column: its heading, its width in characters, and what a person may enter: one of some words, or a date."""

    heading: str
    width: int = 12
    entry: tuple[str, ...] | Literal["date", ""] = ""


@dataclass(frozen=True)
class Sheet:
    """A table with a frozen heading and a filter; of more rows than a sheet holds the rest is counted in the last one.

    `printed` is how many of the columns, from the first, come onto paper; 0 stands for all.
    """

    name: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Cell]]
    printed: int = 0


def write(sheets: Sequence[Sheet]) -> bytes:
    """The workbook as a complete file."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as package:
        sizes = []
        for number, sheet in enumerate(sheets, 1):
            size, text = _sheet(sheet)
            sizes.append(size)
            _add(package, f"xl/worksheets/sheet{number}.xml", text)
        for name, text in _parts(sheets, sizes).items():
            _add(package, name, text)
    return written.getvalue()


def _add(package: zipfile.ZipFile, name: str, text: str) -> None:
    part = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    part.compress_type, part.create_system = zipfile.ZIP_DEFLATED, 0
    package.writestr(part, (_HEAD + text).encode())


def _parts(sheets: Sequence[Sheet], sizes: Sequence[int]) -> Mapping[str, str]:
    """All of the package but the sheets themselves."""
    numbers = range(1, len(sheets) + 1)
    listed = "".join(
        f'<sheet name={quoteattr(s.name)} sheetId="{n}" r:id="rId{n}"/>' for n, s in zip(numbers, sheets, strict=True)
    )
    names = (
        "".join(
            f'<definedName name="_xlnm._FilterDatabase" localSheetId="{n}" hidden="1">{_absolute(sheet, size)}</definedName>'
            for n, (sheet, size) in enumerate(zip(sheets, sizes, strict=True))
        )
        + "".join(
            f'<definedName name="_xlnm.Print_Titles" localSheetId="{n}">{_quoted(sheet)}!$1:$1</definedName>'
            for n, sheet in enumerate(sheets)
        )
        + "".join(
            f'<definedName name="_xlnm.Print_Area" localSheetId="{n}">{_absolute(sheet, size, sheet.printed)}</definedName>'
            for n, (sheet, size) in enumerate(zip(sheets, sizes, strict=True))
            if sheet.printed
        )
    )
    relations = "".join(
        f'<Relationship Id="rId{n}" Type="{_RELATIONS}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    kinds = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{_TYPE}.worksheet+xml"/>' for n in numbers
    )
    last = len(sheets) + 1
    return {
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELATIONS}"><sheets>{listed}</sheets>'
        f"<definedNames>{names}</definedNames></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">{relations}'
        f'<Relationship Id="rId{last}" Type="{_RELATIONS}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": _STYLES,
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="xml" ContentType="application/xml"/>{kinds}'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/></Types>',
    }


def _quoted(sheet: Sheet) -> str:
    return escape("'" + sheet.name.replace("'", "''") + "'")


def _absolute(sheet: Sheet, rows: int, columns: int = 0) -> str:
    return f"{_quoted(sheet)}!$A$1:${_letters(columns or len(sheet.columns))}${rows + 1}"


def _sheet(sheet: Sheet) -> tuple[int, str]:
    """How many rows the sheet has beneath its heading, and its XML."""
    widths = [column.width for column in sheet.columns]
    body = [_row(1, [said(column.heading) for column in sheet.columns], widths, _HEADING)]
    left_out = 0
    for number, row in enumerate(sheet.rows, 2):
        if number - 1 < ROWS:
            body.append(_row(number, row, widths))
        else:
            left_out += 1
    if left_out:
        rest = tr("... and {n} more in the CSV and JSON forms", n=f"{left_out:,}")
        body.append(_row(ROWS + 1, [rest], widths))
    rows = len(body) - 1
    last = f"{_letters(len(sheet.columns))}{rows + 1}"
    layout = "".join(
        f'<col min="{n}" max="{n}" width="{column.width}" customWidth="1"/>'
        for n, column in enumerate(sheet.columns, 1)
    )
    text = (
        f'<worksheet xmlns="{_MAIN}"><sheetPr><pageSetUpPr fitToPage="1"/></sheetPr><dimension ref="A1:{last}"/>'
        '<sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" '
        'state="frozen"/><selection pane="bottomLeft" activeCell="A2" sqref="A2"/></sheetView></sheetViews>'
        f'<sheetFormatPr defaultRowHeight="15"/><cols>{layout}</cols><sheetData>{"".join(body)}</sheetData>'
        f'<autoFilter ref="A1:{last}"/>{_entries(sheet.columns, rows)}'
        f'<printOptions gridLines="1"/><pageSetup orientation="landscape" fitToWidth="1" fitToHeight="0"/></worksheet>'
    )
    return rows, text


def _entries(columns: Sequence[Column], rows: int) -> str:
    """What a person may enter where a column is for entries."""
    found = [
        _entry(column.entry, f"{_letters(n)}2:{_letters(n)}{rows + 1}")
        for n, column in enumerate(columns, 1)
        if column.entry and rows
    ]
    return f'<dataValidations count="{len(found)}">{"".join(found)}</dataValidations>' if found else ""


def _entry(entry: tuple[str, ...] | str, cells: str) -> str:
    common = f'allowBlank="1" showErrorMessage="1" sqref="{cells}"'
    if isinstance(entry, tuple):
        words = escape('"' + ",".join(map(said, entry)) + '"')
        return f'<dataValidation type="list" {common}><formula1>{words}</formula1></dataValidation>'
    return f'<dataValidation type="date" operator="greaterThan" {common}><formula1>1</formula1></dataValidation>'


def _row(number: int, values: Sequence[Cell], widths: Sequence[int], style: int | None = None) -> str:
    """A row of cells, each in the style that fits its value unless one is given; a cell without a value is left out.

    Its height is that of its longest text, since not every reader measures it.
    """
    cells = "".join(
        _cell(f"{_letters(n)}{number}", value, _style(value) if style is None else style)
        for n, value in enumerate(values, 1)
        if value is not None and value != ""
    )
    lines = max((-(-len(v) // w) for v, w in zip(values, widths, strict=False) if isinstance(v, str)), default=1)
    height = min(max(lines, 1) * _LINE, _HIGHEST)
    return f'<row r="{number}" ht="{height}" customHeight="1">{cells}</row>'


def _style(value: Cell) -> int:
    if isinstance(value, datetime):
        return _MOMENT
    return _DATE if isinstance(value, date) else _WRAPPED if isinstance(value, str) else _PLAIN


def _cell(place: str, value: str | float | date, style: int) -> str:
    if isinstance(value, float) and not math.isfinite(value):
        value, style = str(value), _WRAPPED
    if isinstance(value, str):
        return f'<c r="{place}" s="{style}" t="inlineStr"><is><t xml:space="preserve">{_text(value)}</t></is></c>'
    return f'<c r="{place}" s="{style}"><v>{_serial(value) if isinstance(value, date) else repr(value)}</v></c>'


def _serial(value: date) -> str:
    """Days since the day zero of workbooks, by the clock that the value itself shows."""
    moment = value if isinstance(value, datetime) else datetime.combine(value, time())
    since = moment.replace(tzinfo=None) - _DAY_ZERO
    return repr(round(since.days + since.seconds / 86_400, 8)) if since.seconds else str(since.days)


def _text(text: str) -> str:
    """Text as a cell holds it: what XML or the format's own escapes would change is spelled so that it does not."""
    if len(text) > LETTERS:
        text = f"{text[:LETTERS]} ... ({len(text) - LETTERS:,} more characters)"
    return escape(_ESCAPED.sub("_x005F_", _NOT_XML.sub("\ufffd", text)))


@cache
def _letters(number: int) -> str:
    """The name of a column, from 1: A, B, ..., Z, AA."""
    return "".join(reversed(list(_digits(number))))


def _digits(number: int) -> Iterator[str]:
    while number:
        number, rest = divmod(number - 1, 26)
        yield chr(ord("A") + rest)
