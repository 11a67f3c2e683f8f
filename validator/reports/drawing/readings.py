"""Readings of a solution against the band that its rules leave open; a test strip's reading is as tall as its step."""

from __future__ import annotations

import math
from collections.abc import Iterator

from validator.findings import Reading, Readings, Required
from validator.language import said, tr
from validator.quantities import plain_number
from validator.reports import words
from validator.reports.drawing import Picture, Shape, across, look_of, wide
from validator.reports.visible import name

HEAD = ("When", "Solution", "Reading", "Can stand for", "Result", "Row")
_TOP, _PLOT, _FOOT = 22, 110, 20
_LABELLED = 12
"""Readings up to which each bears its figure."""


def draw(series: Readings) -> Picture:
    """The picture of the readings of one agent at one machine, in order of time."""
    highest = max([*(r.value for r in series.readings), *(r.high for r in series.readings if r.high is not None),
                   series.min or 0, series.max or 0, 1e-9])  # fmt: skip
    scale = _Scale(highest * 1.12)
    shapes = [*_band(series, scale)]
    for n, reading in enumerate(series.readings):
        shapes += _reading(reading, series, _x(n, len(series.readings)), scale)
    shapes += _days(series)
    out = sum(r.status.value == "out" for r in series.readings)
    limits = _limits(series)
    says = f"{words.count(len(series.readings), 'reading')}, {out} OUT" + (f"; {limits}." if limits else ".")
    return Picture(
        tr("Strength of {agent} at {machine}, in ppm", agent=words.plain(series.agent), machine=name(series.equipment_id)),
        says, _TOP + _PLOT + _FOOT, tuple(shapes), tuple(map(said, HEAD)), tuple(_row(r) for r in series.readings),
    )  # fmt: skip


class _Scale:
    def __init__(self, top: float) -> None:
        self.top = top if math.isfinite(top) and top > 0 else 1.0

    def y(self, value: float) -> float:
        return round(_TOP + _PLOT * (1 - min(max(value / self.top, 0.0), 1.0)), 1)


def _x(n: int, of: int) -> float:
    """Where reading n of so many stands: in order, right of the figures of the limits."""
    return across(0.12 + 0.88 * (n + 0.5) / of)


def _limits(series: Readings) -> str:
    asked = Required(series.min, series.max, "ppm", "")
    return words.required(asked)


def _band(series: Readings, scale: _Scale) -> Iterator[Shape]:
    top = scale.y(series.max) if series.max is not None else _TOP
    bottom = scale.y(series.min or 0)
    if series.min is not None or series.max is not None:
        yield Shape("bar", "band", across(0), top, wide(1), max(bottom - top, 0))
    yield Shape("line", "hair", across(0), scale.y(0), wide(1))
    for value, word, dy in ((series.max, "max", -4), (series.min, "min", 12)):
        if value is not None:
            y = scale.y(value)
            yield Shape("line", "limit", across(0), y, wide(1))
            yield Shape("text", "tick", across(0), max(y + dy, 10), text=f"{word} {plain_number(value)}")


def _reading(reading: Reading, series: Readings, x: float, scale: _Scale) -> Iterator[Shape]:
    y = scale.y(reading.value)
    low = scale.y(reading.low if reading.low is not None else 0)
    high = scale.y(reading.high if reading.high is not None else scale.top)
    if low != high:
        yield Shape("bar", "cell", round(x - 0.9, 2), high, 1.8, low - high)
    yield Shape("mark", look_of(reading.status), x, y)
    dy = 17 if series.min is not None and reading.value < series.min else -9
    if len(series.readings) <= _LABELLED or reading.status.value != "in":
        yield Shape("text", f"figure {look_of(reading.status)}", x, y + dy, text=plain_number(reading.value), anchor="middle")  # fmt: skip


def _days(series: Readings) -> Iterator[Shape]:
    """The days of at most five readings, as month and day."""
    many = len(series.readings)
    every = max(1, -(-many // 5))
    for n in range(0, many, every):
        if series.readings[n].at:
            yield Shape("text", "tick", _x(n, many), _TOP + _PLOT + 14, text=name(series.readings[n].at[5:10]), anchor="middle")  # fmt: skip


def _row(reading: Reading) -> tuple[str, ...]:
    low = "0" if reading.low is None else plain_number(round(reading.low, 3))
    high = tr("any") if reading.high is None else plain_number(round(reading.high, 3))
    cell = "-" if reading.low == reading.high else tr("{low} to {high} ppm", low=low, high=high)
    where = words.place(reading.file, reading.sheet, [reading.row])
    when = f"{reading.at[:10]} {reading.at[11:16]}" if reading.at else tr("no time")
    return name(when), name(reading.solution), f"{plain_number(reading.value)} ppm", cell, reading.status.shown, where
