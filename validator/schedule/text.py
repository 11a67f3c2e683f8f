"""How are due dates shown to a person at a terminal?"""

from __future__ import annotations

from collections.abc import Iterator

from rich.box import SIMPLE_HEAD
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from validator.language import counted, said, tr
from validator.reports import text
from validator.reports.layout import GOVERNS
from validator.reports.visible import name, sentence
from validator.reports.words import count, looked_from, stopped
from validator.schedule import Cleaning, Schedule

NOTHING = "No rule used here sets an interval for a machine that is known."
_HEADS = ("When", "Last day", "Machine, why, what to do")


def render(schedule: Schedule, *, width: int = 100, color: bool = False) -> bytes:
    """The schedule as UTF-8 text of at most `width` columns, the most urgent first; `color` adds to the words, no more."""
    return text.write(_parts(schedule), width=width, color=color)


def _parts(schedule: Schedule) -> Iterator[RenderableType]:
    yield Text(tr("Cleaning due, as of {moment}", moment=looked_from(schedule.as_of)), style="bold")
    yield Text(sentence(schedule.title))
    yield Text("")
    if schedule.cleanings:
        yield Text(_headline(schedule), style="bold")
        yield Text("")
        yield _table(schedule)
    else:
        yield Text(said(NOTHING), style="bold")
    for note in schedule.notes:
        yield Text("")
        yield Text(tr("Note: {note}.", note=sentence(note)))
    cautions = dict.fromkeys(caution for cleaning in schedule.cleanings for caution in cleaning.cautions)
    yield Text("")
    if cautions:
        yield Text(tr("Take care:"), style="bold")
    yield from (Text(f"- {stopped(caution)}") for caution in cautions)
    yield Text(said(GOVERNS))


def _headline(schedule: Schedule) -> str:
    states = [c.state for c in schedule.cleanings]
    each = (f"{states.count(state):,} {state}" for state in dict.fromkeys(states))
    return f"{count(len(states), 'date')}: {', '.join(each)}."


def _table(schedule: Schedule) -> Table:
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    for heading in _HEADS:
        table.add_column(Text(said(heading)), no_wrap=heading != _HEADS[-1], overflow="fold")
    for cleaning in schedule.cleanings:
        late = cleaning.days_left is None or cleaning.days_left < 0
        table.add_row(Text(when(cleaning), style="bold" if late else ""), Text(cleaning.due_on or "-"), _told(cleaning))
    return table


def when(cleaning: Cleaning) -> str:
    """`5 days overdue`, `due today`, `in 3 days`, `clean now`."""
    if cleaning.days_left is None:
        return tr("clean now")
    if cleaning.days_left < 0:
        return counted(-cleaning.days_left, "{n} day overdue", "{n} days overdue")
    return counted(cleaning.days_left, "in {n} day", "in {n} days") if cleaning.days_left else tr("due today")


def _told(cleaning: Cleaning) -> Text:
    store = ", ".join(name(part) for part in (cleaning.store_id, cleaning.store_name) if part)
    why = f"{name(cleaning.rule)}: {sentence(cleaning.why)}."
    told = Text(f"{store} > {name(cleaning.equipment_id)}")
    told += Text("\n" + why, style="dim")
    if cleaning.doubt:
        told += Text("\n" + tr("Not certain: {doubt}.", doubt=sentence(cleaning.doubt)), style="dim")
    if cleaning.days_left is None or cleaning.days_left < 0:
        told += Text("\n" + sentence(cleaning.action)) if cleaning.action else Text("")
    return told
