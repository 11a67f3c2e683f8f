"""What mapping would fit an export? A proposal from names and contents, with the reason of every guess beside it.

It never decides what a file cannot tell: the order of day and month where no day is above 12, the time zone, the unit
of a bare number, the country of a gallon. These stand in the draft as comments with a `?`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from validator.mapping.aliases import aliases, fold
from validator.mapping.column_lines import Columns
from validator.mapping.guesses import Guess, assign
from validator.mapping.left_out import why_left
from validator.mapping.lines import GUESS, LIKELY, SURE, Lines, scalar, shown
from validator.mapping.looks import Seen, columns_of, date_order, decimal_mark, note_unread
from validator.mapping.rows import footers, in_blocks, sums
from validator.mapping.step_lines import Steps
from validator.mapping.values import Style
from validator.mapping.wide import wide_groups
from validator.tables import FileRead, ParsedTable

_OF_A_BLOCK = ("store_id", "equipment_id", "cycle_id", "date", "procedure")


def propose(read: FileRead) -> str:
    """The draft for one file of which every column was read as text."""
    draft = Lines()
    draft.say(0, f"# Drafted from {shown(read.name)}. Lines with a ? are open: complete them and take the # away.")
    draft.say(0, "mapping: draft")
    draft.say(0, "files:")
    alike: dict[frozenset[str], list[ParsedTable]] = {}
    for table in read.raw:
        alike.setdefault(frozenset(table.texts), []).append(table)
    for tables in alike.values():
        _layout(draft, read, tables, len(alike) > 1)
    return "\n".join(draft.lines) + "\n"


def _layout(draft: Lines, read: FileRead, tables: Sequence[ParsedTable], among: bool) -> None:
    """The layout for sheets with the same columns; it names them where there are others `among` them."""
    columns = columns_of(tables)
    dates, year, sure = date_order([c for c in columns if c.kind in ("date", "moment")])
    decimal = decimal_mark(columns)
    note_unread(columns, Style(dates or ("dmy" if dates is None else None), 2000, decimal=decimal or "."))
    draft.say(1, "- match: " + scalar("*" + _ending(read.name)), "every file with this ending")
    if among:
        draft.say(2, f"sheets: [{', '.join(scalar(table.sheet) for table in tables)}]", "sheets with the same columns")
    _reading(draft, read, tables[0].sheet)
    guesses = assign([c for c in columns if c.kind != "object"])
    wide = wide_groups(columns, guesses)
    writer = Columns(draft, columns, guesses, wide)
    writer.write()
    if wide:
        Steps(writer).write()
    _style(draft, columns, dates, year, sure, decimal)
    _rows(draft, tables, guesses)
    left = {c.name: draft.left_out.get(c.name) or why_left(c, guesses) for c in columns if c.name not in draft.used}
    for name, why in left.items():
        draft.say(2, f"# not used: {shown(name)}: {why}")
    draft.used, draft.left_out = set(), {}


def _reading(draft: Lines, read: FileRead, sheet: str) -> None:
    seen = read.told.get("seen", {})
    if seen.get("encoding"):
        draft.say(2, f"encoding: {seen['encoding']}", "the bytes are no UTF-8 text", GUESS)
    if seen.get("records"):
        draft.say(2, f"records: {scalar(seen['records'])}", "the longest list of records", LIKELY)
    if read.format in ("csv", "xlsx"):
        row, rows = seen.get("headers", {}).get(sheet, (1, 1))
        draft.say(2, f"# the header was found in row {row}")
        if rows > 1:
            draft.say(2, f"header_rows: {rows}", "names that repeat under titles", LIKELY)


def _style(
    draft: Lines, columns: Sequence[Seen], dates: str | None, yearless: bool, why: str, decimal: str | None
) -> None:
    if dates:
        draft.say(2, f"dates: {dates}", why, LIKELY)
    elif dates is None and any(c.kind in ("date", "moment") for c in columns):
        draft.open(2, "dates: ?", f"dmy, mdy or ymd; {why}")
    if yearless:
        draft.open(2, "year: ?", "the dates have no year")
    if any(c.written == "dotted" and c.kind == "clock" for c in columns):
        draft.say(
            2,
            'clock_mark: "."',
            "cells such as "
            + shown(next(c.words[0] for c in columns if c.written == "dotted" and c.kind == "clock"))
            + " in a column named for a time",
            GUESS,
        )
    for column in columns:
        if column.written == "dotted" and column.kind == "number":
            draft.open(
                2,
                'clock_mark: "."',
                f"? if {shown(column.name)} holds times of day: {shown(column.words[0])} could be a number as well",
            )
    clocks = [w for c in columns if c.kind in ("clock", "moment") for w in c.words]
    if clocks and all(re.search(r"\d ?[ap]\.?m", w, re.IGNORECASE) for w in clocks):
        draft.say(2, "clock: 12h", "every time has am or pm", SURE)
    if decimal == ",":
        draft.say(2, 'decimal: ","', "numbers such as " + shown(_first_with(columns, ",")), LIKELY)
    elif decimal is None:
        draft.open(2, "decimal: ?", f"{shown(_first_with(columns, ','))} can be a thousand or a decimal number")
    draft.open(2, "timezone: ?", "the zone of the times, if it is not that of the store in the register")
    gallons = [
        c.name
        for c in columns
        if any(re.search(r"\b(gal|gallons?|fl\.? ?oz)\b", w, re.IGNORECASE) for w in (c.name, *c.words[:20]))
    ]
    if gallons:
        draft.open(
            2,
            f"product_unit or water_unit for {shown(gallons[0])}: ?",
            "us_gal or imp_gal, us_fl_oz or imp_fl_oz: of which country?",
        )


def _rows(draft: Lines, tables: Sequence[ParsedTable], guesses: Mapping[str, Guess]) -> None:
    blank = {fold(word) for word in aliases()["blanks"]}
    marks: dict[str, None] = {}
    totals: dict[str, dict[str, bool]] = {}
    ends: dict[str, dict[str, None]] = {}
    merged: dict[str, None] = {}
    for table in tables:
        for column in table.texts.values():
            used = {column.vocabulary[c].strip() for c in np.unique(column.codes[column.codes >= 0]).tolist()}
            marks.update(dict.fromkeys(sorted(w for w in used if fold(w) in blank)))
        for name, summed in sums(table)[0].items():
            totals.setdefault(name, {}).update(summed)
        for name, words in footers(table)[0].items():
            ends.setdefault(name, {}).update(words)
        merged.update(dict.fromkeys(d.column for d in table.defects if d.code == "merged_blank"))
    if marks:
        draft.say(2, f"blanks: [{', '.join(map(scalar, marks))}]", "cells that say that there is nothing", LIKELY)
    blocks = in_blocks(
        tables, [guesses[r].column.name for r in _OF_A_BLOCK if r in guesses and guesses[r].column.name not in merged]
    )
    if merged or blocks:
        whys = [*["merged cells stand over several rows"] * bool(merged), *blocks.values()]
        names = ", ".join(map(scalar, (*merged, *blocks)))
        draft.say(2, f"fill_down: [{names}]", "; ".join(whys), GUESS if blocks else LIKELY)
    if totals or ends:
        draft.say(2, "skip:")
    for name, summing in totals.items():
        ways = {
            "equals": [w for w, whole in summing.items() if whole],
            "begins": [w for w, whole in summing.items() if not whole],
        }
        said = "".join(f", {way}: [{', '.join(map(scalar, texts))}]" for way, texts in ways.items() if texts)
        draft.say(3, f"- {{column: {scalar(name)}{said}}}", "rows that sum up others", LIKELY)
    for name, begins in ends.items():
        said = ", ".join(map(scalar, begins))
        draft.say(3, f"- {{column: {scalar(name)}, begins: [{said}]}}", "lines that fill no other cell", LIKELY)


def _first_with(columns: Sequence[Seen], mark: str) -> str:
    return next((w for c in columns if c.kind in ("number", "amount") for w in c.words if mark in w), "")


def _ending(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    dot = last.rfind(".")
    return last[dot:] if dot > 0 and last[dot + 1 :].isalnum() else ""
