"""How are quantities, places, sources and dates of a report said in plain words?"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from validator.findings import Action, Citation, Due, Evidence, Finding, Grade, InputFile, Quantity, Required, Score
from validator.language import Said, counted, said, tr
from validator.quantities import say
from validator.reports.visible import name, sentence
from validator.statuses import OPEN

RANGES_SHOWN = 12
"""Runs of row numbers spelled out for one file; the rest is counted."""
COLUMNS_SHOWN = 8
"""Columns named for the rows of one file; the rest is counted."""

_BY_TIME = re.compile(r"(\d\d\d\d)-(0[1-9]|1[0-2])-(\d\d)T(\d\d:\d\d)(:\d\d)")
_OF_MONTH = (
    "the cleaning of {day} January {year}, {time}",
    "the cleaning of {day} February {year}, {time}",
    "the cleaning of {day} March {year}, {time}",
    "the cleaning of {day} April {year}, {time}",
    "the cleaning of {day} May {year}, {time}",
    "the cleaning of {day} June {year}, {time}",
    "the cleaning of {day} July {year}, {time}",
    "the cleaning of {day} August {year}, {time}",
    "the cleaning of {day} September {year}, {time}",
    "the cleaning of {day} October {year}, {time}",
    "the cleaning of {day} November {year}, {time}",
    "the cleaning of {day} December {year}, {time}",
)
_UNITS = {"Cel": "°C", "[degF]": "°F", "1": ""}
_MARKS = {"cos": "COS (corrected on site)", "repeat": "REPEAT", "accepted": "ACCEPTED"}


def count(number: int, one: str, many: str = "") -> str:
    """`1 finding`, `1,204 findings`."""
    return tr(f"{{n}} {one if number == 1 else many or one + 's'}", n=f"{number:,}")


def plain(code: str) -> str:
    """A code of ours as words: `not_measured` is `not measured`."""
    return said(name(code).replace("_", " "))


def grade(of: Grade) -> str:
    """A grade as a word."""
    return said(of.value)


def capital(text: str) -> str:
    """The text with a capital first letter, unless it begins with a name such as `ended_at` or `line-2`."""
    return text[:1].upper() + text[1:] if text.split(" ", 1)[0].rstrip(",;:.").isalpha() else text


def stopped(text: str) -> str:
    """A sentence from data with a full stop where it has no mark at its end; blank stays blank."""
    said = sentence(text)
    return said if not said or said.rstrip(")")[-1:] in (".", "!", "?") else f"{said}."


def grades(found: Mapping[str, int]) -> str:
    """`1 critical, 2 major`, gravest first; blank where there is none."""
    return ", ".join(f"{found[of]:,} {grade(of)}" for of in Grade if found.get(of))


def amount(quantity: Quantity | None) -> str:
    """`14 min 59 s`, `82 ppm`, `71 °C`; blank for none."""
    return "" if quantity is None else _amount(quantity.value, quantity.unit)


def _amount(value: float | int | str, unit: str) -> str:
    unit = _UNITS.get(unit, unit)
    if isinstance(value, str) or not math.isfinite(value):
        return sentence(f"{value} {unit}")
    return sentence(said(say(value, unit)))


def required(asked: Required | None) -> str:
    """What the rule asks for: its own words, else both ends said from the numbers."""
    if asked is None:
        return ""
    if asked.text:
        return sentence(asked.text)
    least = "" if asked.min is None else _amount(asked.min, asked.unit)
    most = "" if asked.max is None else _amount(asked.max, asked.unit)
    if least and most:
        return tr("at least {least} and at most {most}", least=least, most=most)
    return tr("at least {least}", least=least) if least else tr("at most {most}", most=most) if most else ""


def margin(finding: Finding) -> str:
    """How far from the limit, and on which side: `1 s short`, `5 days over`, `2 ppm inside the limit`."""
    if finding.margin is None:
        return ""
    value = finding.margin.value
    if isinstance(value, str):
        return amount(finding.margin)
    if value == 0:
        return tr("exactly at the limit")
    return tr(_side(finding, value), amount=_amount(abs(value), finding.margin.unit))


SHORT, OVER = "{amount} short", "{amount} over"
INSIDE, OUTSIDE = "{amount} inside the limit", "{amount} outside the limit"


def _side(finding: Finding, distance: float) -> str:
    asked, seen = finding.required, finding.observed
    low, high = (asked.min, asked.max) if asked else (None, None)
    if asked and seen and not isinstance(seen.value, str) and seen.unit == asked.unit:
        if low is not None and seen.value < low:
            return SHORT
        if high is not None and seen.value > high:
            return OVER
        return INSIDE
    if distance > 0:
        return INSIDE
    return OUTSIDE if (low is None) == (high is None) else OVER if low is None else SHORT


def marks(finding: Finding) -> tuple[str, ...]:
    """The marks of a finding as words, and whether it is new since an earlier report."""
    return tuple(said(_MARKS.get(mark, name(mark))) for mark in (finding.since, *finding.marks) if mark)


def by_its_time(cycle: str) -> str:
    """`the cleaning of 17 June 2026, 19:30` for a cycle that is named by its time alone, in English; blank for any other.

    Rows without a cycle's id are put together by the times between them, and their cycle is called by the first one.
    """
    found = _BY_TIME.fullmatch(cycle)
    if found is None:
        return ""
    year, month, day, time, seconds = found.groups()
    told = {"day": str(int(day)), "year": year, "time": time if seconds == ":00" else time + seconds}
    return Said(_OF_MONTH[int(month) - 1], told)


def beside_its_day(cycle: str, day: str) -> str:
    """A cycle beside the day that it ended on, in English: of one named by its time on that day, the time alone."""
    told = by_its_time(cycle)
    return cycle[11:16] if told and cycle.startswith(f"{day}T") else told or cycle


def cycle(of: str) -> str:
    """A cycle by the id that its log gave, or by its time in words."""
    return said(by_its_time(of)) or name(of)


def target(of: str) -> str:
    """What a check is about: a line or a part by its name, or the interval that is still running."""
    return tr("still running") if of == OPEN else name(of)


def rows(numbers: Iterable[int]) -> str:
    """`row 12`, or `rows 12, 14-16`; 0 stands for the file as a whole. Blank for no number."""
    wanted = set(numbers)
    if wanted <= {0}:
        return tr("the file as a whole") if wanted else ""
    return tr("row {shown}" if len(wanted) == 1 else "rows {shown}", shown=runs(wanted - {0}))


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
    return tr("{shown} and {rest} more", shown=shown, rest=f"{rest:,}") if rest else shown


def place(file: str, sheet: str, numbers: Iterable[int]) -> str:
    """`log.csv rows 12, 14-16`; a sheet is named where there is one."""
    on = tr('sheet "{sheet}"', sheet=name(sheet)) if sheet else ""
    return " ".join(part for part in (name(file), on, rows(numbers)) if part)


def places(evidence: Sequence[Evidence]) -> tuple[str, ...]:
    """One line a file and sheet, in the order in which they first occur, with the columns that show it."""
    found: dict[tuple[str, str], list[Evidence]] = {}
    for row in evidence:
        found.setdefault((row.file, row.sheet), []).append(row)
    found_in = []
    for (file, sheet), of_file in found.items():
        columns = dict.fromkeys(name(own) for row in of_file for own in origins(row) if own)
        shown = ", ".join(list(columns)[:COLUMNS_SHOWN])
        if len(columns) > COLUMNS_SHOWN + 1:
            shown = tr("{shown} and {rest} more", shown=shown, rest=len(columns) - COLUMNS_SHOWN)
        elif columns:
            shown = ", ".join(columns)
        named = f" ({shown})" if columns else ""
        found_in.append(place(file, sheet, (row.row for row in of_file)) + named)
    return tuple(found_in)


def origins(row: Evidence) -> tuple[str, ...]:
    """For each column of a row what its reader finds it by: the place in the file, where that has names of its own."""
    cells = row.cells or ("",) * len(row.columns)
    return tuple(own or column for own, column in zip(cells, row.columns, strict=True))


def citation(source: Citation) -> str:
    """A source in short: title, edition and section; what is not published is called that."""
    title = sentence(source.title or source.source)
    parts = [" ".join(part for part in (title, sentence(source.edition)) if part), sentence(source.section)]
    short = ", ".join(part for part in parts if part)
    return short if source.published else tr("{source} (not published)", source=short)


def cited(source: Citation) -> str:
    """A source by its name in the pack and its section, for a place where its title stands elsewhere."""
    return " ".join(part for part in (name(source.source), sentence(source.section)) if part)


def percent(value: float | None) -> str:
    """A share in percent as a whole number; never 100 for less than all, nor 0 for more than none."""
    return tr("not judged") if value is None else f"{_whole(value)} %"


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
    moment = name(as_of)
    if len(moment) == 10:
        return tr("{moment}, to the end of the day at each store", moment=moment)
    absolute = moment.endswith(("Z", "z")) or set(moment[11:]) & set("+-")
    return moment if absolute else tr("{moment} at each store", moment=moment)


def deadline(actions: Iterable[Action]) -> str:
    """By when the first of some actions must be done, why then and by which source; blank where no time is set."""
    timed = [action for action in actions if action.due]
    if not timed:
        return ""
    first = min(timed, key=lambda action: (instant(action.due), action.due))
    source = f", {cited(first.due_citation)}" if first.due_citation else ""
    why = sentence(first.due_reason) + source
    late, ahead = "Overdue since {moment} at the store ({why}).", "At the latest {moment} at the store ({why})."
    return tr(late if first.overdue else ahead, moment=moment(first.due), why=why)


def instant(stamp: str) -> float:
    """A time of RFC 3339 as seconds since 1970, to order by; one that cannot be read comes last."""
    try:
        return datetime.fromisoformat(stamp).timestamp()
    except (ValueError, OverflowError):
        return math.inf


def due(of: Due) -> str:
    """`5 days overdue`, `due today`, `due in 3 days`."""
    if of.days_left < 0:
        return counted(-of.days_left, "{n} day overdue", "{n} days overdue")
    return counted(of.days_left, "due in {n} day", "due in {n} days") if of.days_left else tr("due today")


def rows_read(file: InputFile) -> str:
    """`212 rows = 208 used + 4 defective`, with the duplicates among them and blank rows beside."""
    again = (
        tr(" ({n} of them a second time, counted once)", n=f"{file.rows_duplicate:,}") if file.rows_duplicate else ""
    )
    if file.rows_superseded:
        again += tr(" ({n} of them told otherwise by a later export)", n=f"{file.rows_superseded:,}")
    blank = tr("; beside them {rows}", rows=count(file.rows_blank, "blank row")) if file.rows_blank else ""
    return tr("{rows} = {used} used{again} + {defective} defective{blank}", rows=count(file.rows, "row"),
              used=f"{file.rows_used:,}", again=again, defective=f"{file.rows_defective:,}", blank=blank)  # fmt: skip
