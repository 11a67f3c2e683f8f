"""A cycle as a timeline: a row a line and part, what was recorded, how long it had to last, and what is missing."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from validator.findings import Asked, Span, Status, Timeline
from validator.language import said, tr
from validator.quantities import say_seconds
from validator.reports import words
from validator.reports.drawing import Picture, Shape, across, look_of, short, wide
from validator.reports.visible import name

HEAD = ("Line or part", "Recorded, by the store's clock", "Lasted", "At least", "Result")
WHOLE = "whole machine"
NOTHING = "nothing recorded"
OUT_OF_USE = "out of use"
UNKNOWN = "time unknown"
_TOP, _LANE, _BAR = 22, 34, 10
_TICKS = (5, 10, 15, 30, 60, 120, 240, 480, 720, 1440)
_GRAVITY = (Status.OUT, Status.NOT_OBSERVED, Status.IN, Status.NOT_APPLICABLE)


def draw(timeline: Timeline) -> Picture:
    """The picture of a cycle."""
    lanes = [_Lane(target, timeline) for target in timeline.targets]
    reach = max(
        [60.0, timeline.seconds, *(lane.start + a.least_s for lane in lanes for a in lane.asked if a.least_s and lane.start >= 0)]
    )  # fmt: skip
    height = _TOP + _LANE * (len(lanes) + len(timeline.at_once)) + 4
    shapes = [*_axis(timeline, reach, height)]
    for n, lane in enumerate(lanes):
        shapes += lane.shapes(_TOP + n * _LANE, reach)
    together = [_AtOnce(step, most, timeline.spans) for step, most in timeline.at_once]
    for n, use in enumerate(together, len(lanes)):
        shapes += use.shapes(_TOP + n * _LANE, reach)
    rows = [row for lane in lanes for row in lane.rows()] + [use.row() for use in together]
    out = sum(lane.worst is Status.OUT for lane in lanes)
    verdict = tr("something is OUT on {n} of them", n=out) if out else tr("nothing on them is OUT")
    lines = words.count(len(lanes), "line or part", "lines and parts")
    says = tr(
        "{lines} in {time}; {verdict}.", lines=lines, time=said(say_seconds(round(timeline.seconds))), verdict=verdict
    )
    by_time = words.by_its_time(timeline.cycle_id)
    title = (
        tr("Timeline of {cleaning}", cleaning=said(by_time)) if by_time
        else tr("Timeline of cycle {cycle}", cycle=name(timeline.cycle_id))
    )  # fmt: skip
    return Picture(title, says, height, tuple(shapes), tuple(map(said, HEAD)), tuple(rows))


class _Lane:
    """One row of the picture: the rows of a target, and what was asked of it."""

    def __init__(self, target: str, timeline: Timeline) -> None:
        self.timeline = timeline
        self.name = name(target) if target else said(WHOLE)
        self.spans = [span for span in timeline.spans if span.target == target]
        self.asked = _gravest(a for a in timeline.asked if a.target == target)
        self.idle = target in timeline.out_of_use
        longest = max((s for a in self.asked for s in self._of(a) if s.start is not None), key=_length, default=None)
        self.start = longest.start if longest is not None and longest.start is not None else -1.0
        self.worst = self.asked[0].status if self.asked else Status.NOT_APPLICABLE

    def _of(self, asked: Asked) -> list[Span]:
        """The rows that speak of what is asked; a step `a or b` is either."""
        steps = asked.step.split(" or ")
        return [span for span in self.spans if span.step in steps]

    def shapes(self, y: float, reach: float) -> Iterator[Shape]:
        yield Shape("line", "hair", across(0), y, wide(1))
        yield Shape("text", "name", across(0), y + 14, text=short(self.name))
        yield Shape("text", f"said {look_of(self.worst)}", across(1), y + 14, text=self._said(), anchor="end")
        top = y + 20
        # what is only bounded lies behind what is known
        for span in sorted(self.spans, key=lambda span: not span.unknown):
            yield _bar(span, self._look(span), top, reach)
        for a in self.asked:
            mine = self._of(a)
            if a.least_s and mine:
                longest = max(mine, key=_length)
                if longest.start is not None:
                    yield Shape("bar", f"least {look_of(a.status)}", across(longest.start / reach), top - 2.5,
                                wide(a.least_s / reach), _BAR + 5)  # fmt: skip
            elif not mine and a.status is Status.OUT:
                yield Shape("line", "absent", across(0), top + _BAR / 2, wide(1))

    def _look(self, span: Span) -> str:
        if span.unknown:
            return "bounded"
        asked = [a for a in self.asked if a.least_s and span.step in a.step.split(" or ")]
        return f"asked {look_of(asked[0].status)}" if asked else "other"

    def _said(self) -> str:
        if self.idle:
            return said(OUT_OF_USE)
        if not self.asked:
            return said(NOTHING) if not self.spans else ""
        a = self.asked[0]
        if not self._of(a):
            return tr("{step} not recorded: {status}", step=name(a.step), status=a.status.shown)[:44]
        if a.least_s is None:
            return f"{name(a.step)}: {a.status.shown}"[:44]
        lasted = _brief(words.amount(a.observed) or said(UNKNOWN))
        return tr(
            "{lasted} of {least}: {status}", lasted=lasted, least=_brief(say_seconds(a.least_s)), status=a.status.shown
        )

    def rows(self) -> Iterator[tuple[str, ...]]:
        """The same as lines of a table: one for each thing asked, and one for all other rows."""
        told: list[Span] = []
        for a in self.asked:
            mine = self._of(a)
            told += mine
            lasted = words.amount(a.observed) or "-"
            least = "-" if a.least_s is None else say_seconds(a.least_s)
            result = f"{a.status.shown} ({name(a.rule)})"
            yield self.name, self._recorded(mine) or f"{name(a.step)}: {said(NOTHING)}", lasted, least, result
        rest = [span for span in self.spans if span not in told]
        if rest or not self.asked:
            yield self.name, self._recorded(rest) or said(OUT_OF_USE if self.idle else NOTHING), "-", "-", "-"

    def _recorded(self, spans: Sequence[Span]) -> str:
        return "; ".join(
            tr("{step} {when} (row {row})", step=name(s.step), when=_when(self.timeline, s), row=s.row) for s in spans[:12]
        ) + (tr("; and {rows}", rows=words.count(len(spans) - 12, "more row")) if len(spans) > 12 else "")  # fmt: skip


class _AtOnce:
    """How many rows of a step ran at once, of which the machine can run only so many: the one adapter's use."""

    def __init__(self, step: str, most: int, spans: Sequence[Span]) -> None:
        self.step, self.most = step, most
        known = [s for s in spans if s.step == step and not s.unknown]
        turns = sorted([(s.start or 0.0, 1) for s in known] + [(s.end or 0.0, -1) for s in known])
        self.runs: list[tuple[float, float, int]] = []
        running, since = 0, 0.0
        for at, turn in turns:
            if running and at > since:
                self.runs.append((since, at, running))
            running, since = running + turn, at
        self.peak = max((n for _, _, n in self.runs), default=0)

    @property
    def title(self) -> str:
        return tr("{step} at once", step=name(self.step))

    @property
    def said(self) -> str:
        return tr("at most {n} at once, room for {most}", n=self.peak, most=self.most)

    def shapes(self, y: float, reach: float) -> Iterator[Shape]:
        over = self.peak > self.most
        yield Shape("line", "hair", across(0), y, wide(1))
        yield Shape("text", "name", across(0), y + 14, text=short(self.title))
        room = "{n} with room for {most}: too many" if over else "{n} with room for {most}"
        yield Shape(
            "text",
            "said out" if over else "said",
            across(1),
            y + 14,
            text=tr(room, n=self.peak, most=self.most),
            anchor="end",
        )
        for start, end, n in self.runs:
            look, top, tall = ("asked out", y + 18, 14) if n > self.most else ("use", y + 23, 5)
            yield Shape("bar", look, across(start / reach), top, max(wide((end - start) / reach), 0.4), tall)

    def row(self) -> tuple[str, ...]:
        return self.title, self.said, "-", "-", tr("too many") if self.peak > self.most else "-"


def _gravest(asked: Iterator[Asked] | Sequence[Asked]) -> list[Asked]:
    """One thing asked a step: the gravest, of those of one gravity the longest time; the gravest first."""
    ranked = sorted(asked, key=lambda a: (_GRAVITY.index(a.status), a.least_s is None, -(a.least_s or 0), a.rule))
    kept: dict[str, Asked] = {}
    for a in ranked:
        kept.setdefault(a.step, a)
    return list(kept.values())


def _length(span: Span) -> float:
    return (span.end or 0) - (span.start or 0) if span.end is not None and span.start is not None else -1.0


def _bar(span: Span, look: str, y: float, reach: float) -> Shape:
    start = span.start if span.start is not None else 0.0
    end = span.end if span.end is not None else reach
    left, right = min(max(start / reach, 0), 1), min(max(end / reach, 0), 1)
    return Shape("bar", look, across(left), y, max(wide(right - left), 0.4), _BAR)


def _brief(said: str) -> str:
    """A time in the fewest letters: `14m 59s`."""
    return short(re.sub(r"(?<=\d) (h|m|s)(in)?\b", r"\1", said))


def _clock(timeline: Timeline, seconds: float) -> str:
    """The clock of the store so long after the cycle began; seconds only where they are not nought."""
    try:
        at = datetime.fromisoformat(timeline.started) + timedelta(seconds=round(seconds))
    except (ValueError, OverflowError):
        return f"+{say_seconds(round(seconds))}"
    return at.strftime("%H:%M:%S" if at.second else "%H:%M")


def _when(timeline: Timeline, span: Span) -> str:
    if span.start is None and span.end is None:
        return tr("at an unknown time")
    start = "?" if span.start is None or span.unknown in ("start", "both") else _clock(timeline, span.start)
    end = "?" if span.end is None or span.unknown in ("end", "both") else _clock(timeline, span.end)
    return tr("{start} to {end}", start=start, end=end)


def _axis(timeline: Timeline, reach: float, height: int) -> Iterator[Shape]:
    """Marks of whole hours or parts of them by the store's clock, at most six."""
    step = next((m * 60 for m in _TICKS if reach / (m * 60) <= 5), int(reach / 5) + 1)
    try:
        began = datetime.fromisoformat(timeline.started)
        first = -((began.hour * 3600 + began.minute * 60 + began.second) % step) % step
    except ValueError:
        first = 0
    for n in range(6):
        at = first + n * step
        if at <= reach:
            yield Shape("line", "grid", across(at / reach), 16, 0, height - 16)
            anchor = "start" if at < reach * 0.06 else "end" if at > reach * 0.94 else "middle"
            yield Shape("text", "tick", across(at / reach), 11, text=_clock(timeline, at), anchor=anchor)
