"""How are quantities, places, sources and dates of a report said in plain words?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from validator.findings import Action, Citation, Due, Evidence, Finding, Grade, InputFile, Quantity, Required, Score
from validator.quantities import say
from validator.reports.visible import name, sentence

RANGES_SHOWN = 12
"""Runs of row numbers spelled out for one file; the rest is counted."""
COLUMNS_SHOWN = 8
"""Columns named for the rows of one file; the rest is counted."""

_UNITS = {"Cel": "°C", "[degF]": "°F", "1": ""}
_MARKS = {"cos": "COS (corrected on site)", "repeat": "REPEAT", "accepted": "ACCEPTED"}


def count(number: int, one: str, many: str = "") -> str:
    """`1 finding`, `1,204 findings`."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def plain(code: str) -> str:
    """A code of ours as words: `not_measured` is `not measured`."""
    return name(code).replace("_", " ")


def capital(text: str) -> str:
    """The text with a capital first letter, unless it begins with a name such as `ended_at` or `line-2`."""
    return text[:1].upper() + text[1:] if text.split(" ", 1)[0].rstrip(",;:.").isalpha() else text


def stopped(text: str) -> str:
    """A sentence from data with a full stop where it has no mark at its end; blank stays blank."""
    said = sentence(text)
    return said if not said or said.rstrip(")")[-1:] in (".", "!", "?") else f"{said}."


def grades(found: Mapping[str, int]) -> str:
    """`1 critical, 2 major`, gravest first; blank where there is none."""
    return ", ".join(f"{found[grade]:,} {grade.value}" for grade in Grade if found.get(grade))


def amount(quantity: Quantity | None) -> str:
    """`14 min 59 s`, `82 ppm`, `71 °C`; blank for none."""
    return "" if quantity is None else _amount(quantity.value, quantity.unit)


def _amount(value: float | int | str, unit: str) -> str:
    unit = _UNITS.get(unit, unit)
    if isinstance(value, str) or not math.isfinite(value):
        return sentence(f"{value} {unit}")
    return sentence(say(value, unit))


def required(asked: Required | None) -> str:
    """What the rule asks for: its own words, else both ends said from the numbers."""
    if asked is None:
        return ""
    if asked.text:
        return sentence(asked.text)
    ends = [f"at least {_amount(asked.min, asked.unit)}"] if asked.min is not None else []
    ends += [f"at most {_amount(asked.max, asked.unit)}"] if asked.max is not None else []
    return " and ".join(ends)


def margin(finding: Finding) -> str:
    """How far from the limit, and on which side: `1 s short`, `5 days over`, `2 ppm inside the limit`."""
    if finding.margin is None:
        return ""
    value = finding.margin.value
    if isinstance(value, str):
        return amount(finding.margin)
    if value == 0:
        return "exactly at the limit"
    return f"{_amount(abs(value), finding.margin.unit)} {_side(finding, value)}"


def _side(finding: Finding, distance: float) -> str:
    asked, seen = finding.required, finding.observed
    low, high = (asked.min, asked.max) if asked else (None, None)
    if asked and seen and not isinstance(seen.value, str) and seen.unit == asked.unit:
        if low is not None and seen.value < low:
            return "short"
        if high is not None and seen.value > high:
            return "over"
        return "inside the limit"
    if distance > 0:
        return "inside the limit"
    return "outside the limit" if (low is None) == (high is None) else "over" if low is None else "short"


def marks(finding: Finding) -> tuple[str, ...]:
    """The marks of a finding as words, and whether it is new since an earlier report."""
    return tuple(_MARKS.get(mark, name(mark)) for mark in (finding.since, *finding.marks) if mark)


def rows(numbers: Iterable[int]) -> str:
    """`row 12`, or `rows 12, 14-16`; 0 stands for the file as a whole. Blank for no number."""
    wanted = set(numbers)
    if wanted <= {0}:
        return "the file as a whole" if wanted else ""
    return f"{'row' if len(wanted) == 1 else 'rows'} {runs(wanted - {0})}"


def runs(numbers: Iterable[int]) -> str:
    """Numbers as runs, `12, 14-16`; of many runs the rest is counted."""
    found: list[list[int]] = []
    for number in sorted(set(numbers)):
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    shown = ", ".join(f"{a}-{b}" if a != b else f"{a}" for a, b in found[:RANGES_SHOWN])
    rest = sum(b - a + 1 for a, b in found[RANGES_SHOWN:])
    return shown + (f" and {rest:,} more" if rest else "")


def place(file: str, sheet: str, numbers: Iterable[int]) -> str:
    """`log.csv rows 12, 14-16`; a sheet is named where there is one."""
    return " ".join(part for part in (name(file), f'sheet "{name(sheet)}"' if sheet else "", rows(numbers)) if part)


def places(evidence: Sequence[Evidence]) -> tuple[str, ...]:
    """One line a file and sheet, in the order in which they first occur, with the columns that show it."""
    found: dict[tuple[str, str], list[Evidence]] = {}
    for row in evidence:
        found.setdefault((row.file, row.sheet), []).append(row)
    said = []
    for (file, sheet), of_file in found.items():
        columns = dict.fromkeys(name(own) for row in of_file for own in origins(row) if own)
        more = f" and {len(columns) - COLUMNS_SHOWN} more" if len(columns) > COLUMNS_SHOWN + 1 else ""
        shown = list(columns)[: COLUMNS_SHOWN if more else None]
        named = f" ({', '.join(shown)}{more})" if columns else ""
        said.append(place(file, sheet, (row.row for row in of_file)) + named)
    return tuple(said)


def origins(row: Evidence) -> tuple[str, ...]:
    """For each column of a row what its reader finds it by: the place in the file, where that has names of its own."""
    cells = row.cells or ("",) * len(row.columns)
    return tuple(own or column for own, column in zip(cells, row.columns, strict=True))


def citation(source: Citation) -> str:
    """A source in short: title, edition and section; what is not published is called that."""
    title = sentence(source.title or source.source)
    parts = [" ".join(part for part in (title, sentence(source.edition)) if part), sentence(source.section)]
    said = ", ".join(part for part in parts if part)
    return said if source.published else f"{said} (not published)"


def cited(source: Citation) -> str:
    """A source by its name in the pack and its section, for a place where its title stands elsewhere."""
    return " ".join(part for part in (name(source.source), sentence(source.section)) if part)


def percent(value: float | None) -> str:
    """A share in percent as a whole number; never 100 for less than all, nor 0 for more than none."""
    return "not judged" if value is None else f"{_whole(value)} %"


def _whole(value: float) -> str:
    if 99.5 <= value < 100:
        return f"{min(math.floor(value * 10) / 10, 99.9):g}"
    if 0 < value <= 0.5:
        return f"{max(math.ceil(value * 10) / 10, 0.1):g}"
    return f"{value:.0f}"


def score(found: Score) -> str:
    """`87 % (81-94 %)`: the score and the range it could have once what could not be shown is known."""
    if found.value is None or found.low is None or found.high is None or found.low == found.high:
        return percent(found.value)
    return f"{percent(found.value)} ({_whole(found.low)}-{_whole(found.high)} %)"


def share(value: float, low: float | None, high: float | None) -> str:
    """`12 % (5-27 %)`, from shares between 0 and 1: the share of OUT and its 95 % interval."""
    ends = "" if low is None or high is None else f" ({_whole(low * 100)}-{_whole(high * 100)} %)"
    return percent(value * 100) + ends


def moment(stamp: str) -> str:
    """A time of RFC 3339 as the clock of its place shows it, to the minute: `2026-07-04 12:00`."""
    shown = name(stamp)
    return f"{shown[:10]} {shown[11:16]}" if shown[10:11] == "T" else shown


def looked_from(as_of: str) -> str:
    """The moment an audit looks from; one without an offset is read by the clock of each store, a day to its end."""
    said = name(as_of)
    if len(said) == 10:
        return f"{said}, to the end of the day at each store"
    return said if said.endswith(("Z", "z")) or set(said[11:]) & set("+-") else f"{said} at each store"


def deadline(actions: Iterable[Action]) -> str:
    """By when the first of some actions must be done, why then and by which source; blank where no time is set."""
    timed = [action for action in actions if action.due]
    if not timed:
        return ""
    first = min(timed, key=lambda action: (instant(action.due), action.due))
    source = f", {cited(first.due_citation)}" if first.due_citation else ""
    return f"At the latest {moment(first.due)} at the store ({sentence(first.due_reason)}{source})."


def instant(stamp: str) -> float:
    """A time of RFC 3339 as seconds since 1970, to order by; one that cannot be read comes last."""
    try:
        return datetime.fromisoformat(stamp).timestamp()
    except (ValueError, OverflowError):
        return math.inf


def due(of: Due) -> str:
    """`5 days overdue`, `due today`, `due in 3 days`."""
    if of.days_left < 0:
        return f"{count(-of.days_left, 'day')} overdue"
    return f"due in {count(of.days_left, 'day')}" if of.days_left else "due today"


def rows_read(file: InputFile) -> str:
    """`212 rows = 208 used + 4 defective`, with the duplicates among them and blank rows beside."""
    beside = [count(file.rows_blank, "blank row")] if file.rows_blank else []
    again = f" ({file.rows_duplicate:,} of them a second time, counted once)" if file.rows_duplicate else ""
    again += f" ({file.rows_superseded:,} of them told otherwise by a later export)" if file.rows_superseded else ""
    said = f"{count(file.rows, 'row')} = {file.rows_used:,} used{again} + {file.rows_defective:,} defective"
    return said + (f"; beside them {' and '.join(beside)}" if beside else "")
