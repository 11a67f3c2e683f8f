"""How does a record sheet become a workbook that is filled in and then read as it stands?

One sheet a form. The canonical names stand in one row, which a reader takes for the header; title, cautions and the names that people
read stand above it, within the rows in which it is looked for. What to do and what is asked stand in two columns of other names, which
a reader leaves aside. A row in which no time was written is set aside with its defect and counts as nothing done. The sheet of the
words to choose from has no such header, so it holds no records. Drop-downs and checks warn of words and times that look wrong and refuse
only numbers that nothing can have: a bad reading must be writable.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import datetime

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.worksheet import Worksheet

from validator.language import said, tr
from validator.quantities import plain_number
from validator.readers.headers import HEADER_WITHIN
from validator.sheet import Form, Row
from validator.sheet.asks import LABELS
from validator.tables import DOMAIN, TIMES

DO, ASKED = "what_to_do", "what_is_asked"
"""The two columns that are for the person who cleans."""
WORDS = "words"
FREE_ROWS = 5
"""Blank rows below the others: for a step that was done again, or one that the rules do not ask for."""
FREE_ROWS_ALONE = 30
HOW = (
    "Write while you work: start and end of each step as date and time (2026-03-25 19:05), the readings as you see them, good or "
    "bad, and who did it. White cells are asked for. Leave a step blank that was not done."
)
FREE_HOW = (
    "The rules used here name no steps: write each step that was done into a row of its own, with store and machine."
)
_ASKED_FILL, _QUIET_FILL, _HEAD_FILL, _LATE_FILL = (
    PatternFill("solid", fgColor=c) for c in ("FFFFFF", "EDEDED", "D9E2EC", "F7C9A9")
)
_LINE = Border(*(Side(style="thin", color="9AA5B1"),) * 4)
_TOP = Alignment(vertical="top", wrap_text=True)
_WIDTHS = {DO: 30, ASKED: 50, "step": 17, "target": 15, "note": 22, "agent": 14, "solution_id": 12, "performed_by": 13,
           "verified_by": 13, "store_id": 10, "equipment_id": 14, "procedure": 14}  # fmt: skip
_TIME_WIDTH, _NUMBER_WIDTH = 19, 11
_TIME_FORMAT = "yyyy-mm-dd hh:mm:ss"
_DAYS = 32_874, 73_050
"""1 January 1990 and 31 December 2099 as a workbook counts days."""
_ACTIVE = ("=", "+", "-", "@")
_PAPER = {"a4": 9, "letter": 1}
_WHEN = datetime(1980, 1, 1)


def render(forms: Sequence[Form], paper: str = "a4") -> bytes:
    """The forms as a workbook, `paper` (`a4` or `letter`) for printing; the same bytes for the same forms."""
    book = Workbook()
    book.remove(book.active)
    names, words = {WORDS}, _Words()
    for form in forms:
        _Page(book.create_sheet(_name(form, names)), form, paper, words).write()
    words.write(book.create_sheet(WORDS))
    book.properties.creator, book.properties.title = "cip-audit", forms[0].title if forms else ""
    book.properties.created = _WHEN
    written = io.BytesIO()
    book.save(written)
    return _as_always(written.getvalue())


def _name(form: Form, taken: set[str]) -> str:
    """A name that a workbook takes: at most 31 characters, none of those that formulas use, each once."""
    machine, procedure = (re.sub(r"[\[\]:*?/\\'\x00-\x1f]", "-", text) for text in (form.equipment_id, form.procedure))
    names = [
        machine[:31],
        f"{machine[:15]} {procedure[:15]}",
        *(f"{machine[:24]} ({n})" for n in range(2, len(taken) + 3)),
    ]
    name = next(n for n in names if n.casefold() not in taken)
    taken.add(name.casefold())
    return name


def _put(cell: Cell, text: str) -> None:
    """A text as text, whatever it begins with."""
    cell.value = text
    cell.data_type = "s"
    if text.startswith(_ACTIVE):
        cell.quotePrefix = True


class _Page:
    """Writes one form onto one sheet."""

    def __init__(self, sheet: Worksheet, form: Form, paper: str, words: _Words) -> None:
        self.sheet, self.form, self.paper, self.words = sheet, form, paper, words
        self.columns = (DO, ASKED, *form.columns, *form.same)
        self.letter = {name: get_column_letter(at) for at, name in enumerate(self.columns, 1)}

    def write(self) -> None:
        head = self._head()
        for at, row in enumerate(self.form.rows, head + 1):
            self._row(at, row)
        last = head + len(self.form.rows) + (FREE_ROWS if self.form.rows else FREE_ROWS_ALONE)
        self._free(head + 1 + len(self.form.rows), last)
        self._check(head + 1, last)
        for name, letter in self.letter.items():
            usual = _TIME_WIDTH if name in TIMES else _NUMBER_WIDTH if name in DOMAIN else 12
            self.sheet.column_dimensions[letter].width = _WIDTHS.get(name, usual)
        self.sheet.freeze_panes = f"C{head + 1}"
        setup = self.sheet.page_setup
        self.sheet.page_margins = PageMargins(left=0.4, right=0.4, top=0.4, bottom=0.4)
        setup.orientation, setup.paperSize, setup.fitToWidth, setup.fitToHeight = "landscape", _PAPER[self.paper], 1, 0
        self.sheet.sheet_properties.pageSetUpPr.fitToPage = True
        self.sheet.print_title_rows = f"{head - 1}:{head}"

    def _head(self) -> int:
        """What stands above the rows; the row of the canonical names, which must not lie too far down."""
        form = self.form
        care = tr("Take care:")
        lines = [tr("Cleaning record: {title}", title=form.title), " > ".join(filter(None, (form.store_id, form.store_name, form.equipment_id))),
                 said(HOW), *([] if form.rows else [said(FREE_HOW)]), *form.intervals, care]  # fmt: skip
        room = HEADER_WITHIN - 2 - len(lines)
        cautions = list(form.cautions)
        if len(cautions) > room:
            cautions = [*cautions[: room - 1], " ".join(cautions[room - 1 :])]
        lines += [f"- {caution}" for caution in cautions]
        across = len(self.columns) - len(form.same)
        wide = sum(_WIDTHS.get(name, 13) for name in self.columns[:across])
        for at, line in enumerate(lines, 1):
            _put(self.sheet.cell(at, 1), line)
            self.sheet.cell(at, 1).alignment = _TOP
            self.sheet.cell(at, 1).font = Font(bold=at <= 2 or line == care, size=14 if at == 1 else 11)
            self.sheet.merge_cells(start_row=at, end_row=at, start_column=1, end_column=across)
            self.sheet.row_dimensions[at].height = (20 if at == 1 else 15) * _lines(line, wide)
        head = len(lines) + 2
        for at, name in enumerate(self.columns, 1):
            for row, text in ((head - 1, _label(name)), (head, name)):
                cell = self.sheet.cell(row, at)
                _put(cell, text)
                cell.fill, cell.border, cell.alignment = _HEAD_FILL, _LINE, _TOP
                cell.font = Font(bold=True) if row < head else Font(size=8, color="52606D")
        return head

    def _row(self, at: int, row: Row) -> None:
        given = {DO: row.do, ASKED: "\n".join(row.hints), **row.given, **self.form.same}
        for name, letter in self.letter.items():
            cell = self.sheet[f"{letter}{at}"]
            if given.get(name):
                _put(cell, given[name])
            else:
                cell.number_format = _TIME_FORMAT if name in TIMES else "General" if name in DOMAIN else "@"
            cell.fill = _ASKED_FILL if name in row.asked else _QUIET_FILL
            cell.border, cell.alignment = _LINE, _TOP
            cell.font = Font(bold=name == DO, size=9 if name == ASKED else 11)
        tall = max(_lines(row.do, _WIDTHS[DO]), sum(_lines(hint, _WIDTHS[ASKED] * 1.35) for hint in row.hints))
        self.sheet.row_dimensions[at].height = 13 * max(1, tall) + 3
        for name, words in row.choices.items():
            if name in self.letter:
                self._offer(name, at, at, words)

    def _free(self, first: int, last: int) -> None:
        for at in range(first, last + 1):
            for name in (*self.form.columns, *self.form.same):
                cell = self.sheet[f"{self.letter[name]}{at}"]
                cell.number_format = _TIME_FORMAT if name in TIMES else "General" if name in DOMAIN else "@"
                cell.fill, cell.border = _ASKED_FILL, _LINE
        for name, text in self.form.same.items():
            self._offer(name, first, last, (text,))

    def _check(self, first: int, last: int) -> None:
        """Drop-downs for words, and checks of times and numbers, in every row that has none of its own."""
        own = {(name, first + at) for at, row in enumerate(self.form.rows) for name in row.choices}
        for name, words in self.form.words.items():
            if name in self.letter and words:
                runs = _runs([at for at in range(first, last + 1) if (name, at) not in own])
                for top, bottom in runs:
                    self._offer(name, top, bottom, words)
        for name in self.form.columns:
            where = f"{self.letter[name]}{first}:{self.letter[name]}{last}"
            if name in TIMES:
                self._add(where, DataValidation(
                    type="date", operator="between", formula1=str(_DAYS[0]), formula2=str(_DAYS[1]), errorStyle="warning",
                    errorTitle=_label(name), error=tr("Write date and time, as 2026-03-25 19:05."),
                    promptTitle=_label(name), prompt=tr("Date and time, as 2026-03-25 19:05, by the store's clock.")))  # fmt: skip
            elif name in DOMAIN:
                low, high = map(plain_number, DOMAIN[name])
                self._add(where, DataValidation(
                    type="decimal", operator="between", formula1=low, formula2=high, errorStyle="stop", errorTitle=_label(name),
                    error=tr("Nothing can have such a value: {low} to {high}, a plain number without its unit.", low=low, high=high),
                    promptTitle=_label(name), prompt=tr("As you read it, good or bad; a plain number without its unit.")))  # fmt: skip
        if {"started_at", "ended_at"} <= set(self.form.columns):
            start, end = self.letter["started_at"], self.letter["ended_at"]
            late = f"AND(ISNUMBER(${start}{first}),ISNUMBER(${end}{first}),${end}{first}<${start}{first})"
            self.sheet.conditional_formatting.add(
                f"{start}{first}:{end}{last}", FormulaRule(formula=[late], fill=PatternFill(bgColor=_LATE_FILL.fgColor))
            )

    def _offer(self, name: str, first: int, last: int, words: tuple[str, ...]) -> None:
        where = f"{self.letter[name]}{first}:{self.letter[name]}{last}"
        self._add(where, DataValidation(type="list", formula1=self.words.place(name, words), errorStyle="warning", errorTitle=_label(name),
                                        error=tr("This word is not on the list. Keep it only if it is meant.")))  # fmt: skip

    def _add(self, where: str, check: DataValidation) -> None:
        check.allow_blank = check.showErrorMessage = check.showInputMessage = True
        check.add(where)
        self.sheet.add_data_validation(check)


def _label(name: str) -> str:
    return said({DO: tr("What to do"), ASKED: tr("What is asked")}.get(name, LABELS.get(name, name)))


def _lines(text: str, width: float) -> int:
    return max(1, -(-len(text) // max(int(width), 1)))


def _runs(rows: Sequence[int]) -> Iterable[tuple[int, int]]:
    """Rows as runs of neighbours."""
    begin = 0
    for at in range(1, len(rows) + 1):
        if at == len(rows) or rows[at] != rows[at - 1] + 1:
            yield rows[begin], rows[at - 1]
            begin = at


class _Words:
    """The sheet of words: one column a list that some cell is to be chosen from, each list once."""

    def __init__(self) -> None:
        self.lists: dict[tuple[str, tuple[str, ...]], int] = {}

    def place(self, name: str, words: tuple[str, ...]) -> str:
        """Where a list stands, as a check names it."""
        letter = get_column_letter(self.lists.setdefault((name, words), len(self.lists) + 1))
        return f"{WORDS}!${letter}$2:${letter}${len(words) + 1}"

    def write(self, sheet: Worksheet) -> None:
        for (name, words), at in self.lists.items():
            for row, word in enumerate((_label(name), *words), 1):
                _put(sheet.cell(row, at), word)
            sheet.cell(1, at).font = Font(bold=True)
            sheet.column_dimensions[get_column_letter(at)].width = 18


def _as_always(package: bytes) -> bytes:
    """The same workbook without the moment at which it was written."""
    fixed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(package)) as made, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in made.namelist():
            content = made.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + _WHEN.isoformat().encode() + b"Z", content
                )
            kept.writestr(zipfile.ZipInfo(name, _WHEN.timetuple()[:6]), content, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()
