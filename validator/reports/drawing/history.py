"""A machine's cleanings over the months: each interval to its due date, what came late, and when it was closed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from validator.findings import History, Run, Status
from validator.language import counted, said, tr
from validator.reports import words
from validator.reports.drawing import Picture, Shape, across, look_of, short, wide
from validator.reports.visible import name

HEAD = ("Rule", "From", "Due", "Cleaned", "In time")
_TOP, _LANE = 22, 40
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MOST_TICKS = 8


def draw(history: History) -> Picture | None:
    """The picture of a machine's cleanings; none where nothing has a date."""
    try:
        scale = _scale(history)
    except ValueError:  # an archived report can hold any text
        return None
    rules = list(dict.fromkeys(run.rule for run in history.runs)) or [""]
    height = _TOP + _LANE * len(rules) + 4
    shapes = [*_closed(history, scale, height), *scale.axis(height)]
    shapes.append(Shape("line", "now", scale.at(history.until), 16, 0, height - 16))
    for n, rule in enumerate(rules):
        shapes += _lane(history, rule, scale, _TOP + n * _LANE)
    late = sum(_late(run) > 0 for run in history.runs)
    says = tr(
        "{cleanings} from {first} to {last}; {intervals} longer than allowed.",
        cleanings=words.count(len(history.cleanings), "cleaning"), first=scale.first, last=history.until,
        intervals=words.count(late, "interval"),
    )  # fmt: skip
    closed = tuple((tr("closed"), a, "-", tr("until {day}", day=b), tr("not counted")) for a, b in history.closed)
    rows = (*(_row(run) for run in history.runs), *_uncounted(history), *closed)
    return Picture(tr("Cleanings of {machine} and when they were due", machine=name(history.equipment_id)), says, height,
                   tuple(shapes), tuple(map(said, HEAD)), rows)  # fmt: skip


def _scale(history: History) -> _Scale:
    """From the first day of an interval or a cleaning to the audit, or to the last date due; raises `ValueError` where
    there is none, or something is no date.
    """
    days = [date.fromisoformat(c.day) for c in history.cleanings]
    for run in history.runs:
        ends = [date.fromisoformat(day) for day in (run.begun, run.due, run.ended)]
        days += ends if run.running else ends[::2]
    _ = [date.fromisoformat(day) for season in history.closed for day in season]
    return _Scale(min(days), max(*days, date.fromisoformat(history.until)))


class _Scale:
    def __init__(self, first: date, last: date) -> None:
        self.first, self.days = first, max(1, (last - first).days)

    def at(self, day: str) -> float:
        return across((date.fromisoformat(day) - self.first).days / self.days)

    def length(self, first: str, last: str, more: int = 0) -> float:
        a = max(0, (date.fromisoformat(first) - self.first).days)
        b = min(self.days, (date.fromisoformat(last) - self.first).days + more)
        return wide((b - a) / self.days)

    def axis(self, height: int) -> Iterator[Shape]:
        months: list[date] = []
        at = self.first.replace(day=1)
        last = self.first + timedelta(days=self.days)
        while at <= last and len(months) < 1200:
            if at >= self.first:
                months.append(at)
            at = (at + timedelta(days=32)).replace(day=1)
        every = next(k for k in (1, 2, 3, 6, 12, 24, 60, 1200) if len(months) / k <= _MOST_TICKS)
        for month in months[::every] if every < 12 else [m for m in months if m.month == 1][:: every // 12]:
            place = self.at(month.isoformat())
            text = str(month.year) if month.month == 1 else said(_MONTHS[month.month - 1])
            yield Shape("line", "grid", place, 16, 0, height - 16)
            yield Shape("text", "tick", place, 11, text=text, anchor="end" if place > 94 else "middle" if place > 5 else "start")  # fmt: skip


def _closed(history: History, scale: _Scale, height: int) -> Iterator[Shape]:
    for first, last in history.closed:
        width = scale.length(first, last, 1)
        if width > 0:
            yield Shape("bar", "closed", max(scale.at(first), across(0)), 16, width, height - 16)


def _lane(history: History, rule: str, scale: _Scale, y: float) -> Iterator[Shape]:
    runs = [run for run in history.runs if run.rule == rule]
    yield Shape("line", "hair", across(0), y, wide(1))
    yield Shape("text", "name", across(0), y + 14, text=short(name(rule) or tr("cleanings")))
    running = next((run for run in runs if run.running), None)
    late = sum(_late(run) > 0 for run in runs)
    told = [tr("{n} late", n=late)] if late else []
    told += [_stands(running)] if running else []
    look = "out" if late else "good"
    yield Shape("text", f"said {look}", across(1), y + 14, text="; ".join(told), anchor="end")
    middle = y + 28
    for run in runs:
        until = min(run.ended, run.due) if not run.running else max(run.due, run.ended)
        kept = run.due if run.ended > run.due else until
        yield Shape("line", "track", scale.at(run.begun), middle, scale.length(run.begun, kept))
        if run.ended > run.due:
            yield Shape("bar", "late", scale.at(run.due), middle - 5, max(scale.length(run.due, run.ended), 0.5), 10)
        yield Shape("mark", "due", scale.at(run.due), middle)
    counted = _counted(runs)
    for cleaning in history.cleanings:
        look = look_of(cleaning.status) if cleaning.day in counted or not runs else "uncounted"
        yield Shape("mark", look, scale.at(cleaning.day), middle)


def _counted(runs: Iterable[Run]) -> set[str]:
    """The days of the cleanings that begin or end an interval."""
    return {day for run in runs for day in (run.begun, *(() if run.running else (run.ended,)))}


def _stands(run: Run) -> str:
    return tr("due {day}: overdue", day=run.due) if run.ended > run.due else tr("due {day}", day=run.due)


def _late(run: Run) -> int:
    """Days by which an interval went past its due date and was not let pass."""
    days = (date.fromisoformat(run.ended) - date.fromisoformat(run.due)).days
    return days if days > 0 and run.status is Status.OUT else 0


def _row(run: Run) -> tuple[str, ...]:
    late = _late(run)
    verdict = counted(late, "OUT, {n} day late", "OUT, {n} days late") if late else run.status.shown
    return name(run.rule), run.begun, run.due, tr("not yet") if run.running else run.ended, verdict


def _uncounted(history: History) -> tuple[tuple[str, ...], ...]:
    counted = _counted(history.runs)
    if not history.runs:
        return tuple(("-", "-", "-", c.day, "-") for c in history.cleanings)
    return tuple(
        ("-", "-", "-", f"{c.day} ({words.cycle(c.cycle_id)})", tr("resets no clock"))
        for c in history.cleanings if c.day not in counted
    )  # fmt: skip
