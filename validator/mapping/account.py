"""What did a mapping assume, and what did it leave aside? In the sentences that a report shows beside the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from validator.mapping.apply import Fitted
from validator.mapping.model import Column, Layout
from validator.mapping.values import ORDERS
from validator.quantities import plain_number
from validator.tables import CANONICAL, TIMES

_LISTED = 8


def said(layout: Layout, fitted: Sequence[Fitted]) -> list[str]:
    """One sentence for each thing that the mapping takes as given, and one for the rows that it sets aside."""
    told = [f"{name} is {text!r} in every row, as the mapping says" for name, text in layout.constants.items()]
    if layout.dates:
        year = f", in {layout.year} where no year stands" if layout.year else ""
        told.append(f"dates are read {ORDERS[layout.dates]}{year}")
    if layout.clock:
        told.append(f"the clock has {layout.clock.removesuffix('h')} hours")
    if layout.clock_mark != ":":
        told.append("times of day may have a point between hour and minute")
    if layout.timezone:
        told.append(f"times without an offset are those of {layout.timezone}")
    if layout.decimal != "." or layout.thousands:
        groups = f", thousands are parted by {layout.thousands!r}" if layout.thousands else ""
        told.append(f"the decimal mark is {layout.decimal!r}{groups}")
    units: dict[str, str] = {}
    for plan in layout.plans():
        for name, column in plan.columns.items():
            if column.unit is not None:
                origin = " and ".join(map(repr, column.sources))
                units.setdefault(origin, f"bare numbers in {origin} are {column.unit}, for {name}")
            if column.drops is not None:
                units.setdefault(f"drops {column.from_!r}", f"{column.from_!r} counts drops, {plain_number(column.drops.each)} ppm "
                                 f"each past the first {plain_number(column.drops.blank)}, for {name}")  # fmt: skip
            if column.night_until is not None:
                units.setdefault(f"night {column.time!r}", f"times before {column.night_until} in {column.time!r} belong to the "
                                 f"day after {column.date!r}")  # fmt: skip
            if column.after is not None:
                units.setdefault(
                    f"after {name}",
                    f"{name} is on the next day where it would lie before {column.after}, if that is 12 h or less",
                )
    told += units.values()
    told += [f"blank cells of {name!r} take the value above" for name in layout.fill_down]
    if layout.values:
        case = "told apart" if layout.match_case else "not told apart"
        told.append(f"values are translated for {', '.join(layout.values)}; upper and lower case are {case}")
    if layout.steps:
        rows = sum(one.rows - sum(one.set_aside.values()) for one in fitted)
        told.append(f"{rows} rows of the file gave {sum(one.steps for one in fitted)} steps")
    aside: Counter[str] = Counter()
    for one in fitted:
        aside.update(one.set_aside)
    told += [
        f"{aside[why]} rows set aside, since {why}" if aside[why] > 1 else f"{aside[why]} row set aside, since {why}"
        for why in dict.fromkeys(rule.said for rule in layout.skip) if aside[why]
    ]  # fmt: skip
    return told


def left_open(fitted: Sequence[Fitted]) -> list[str]:
    """What a reader must be told: values that stand in no list of the mapping."""
    found: dict[str, dict[str, None]] = {}
    for one in fitted:
        for name, words in one.unlisted.items():
            found.setdefault(name, {}).update(words)
    notices = []
    for name in sorted(found, key=CANONICAL.index):
        listed = sorted(found[name])
        more = f" and {len(listed) - _LISTED} more" if len(listed) > _LISTED else ""
        shown = ", ".join(repr(w[:60]) for w in listed[:_LISTED])
        notices.append(f"values of {name} that the mapping does not list, kept as they stand: {shown}{more}")
    return notices


def how(name: str, column: Column, layout: Layout) -> str:
    """From which columns a canonical one comes and how its cells are read, in one line."""
    origin = (
        f"{column.date!r} and {column.time!r}" if column.date
        else " and ".join(map(repr, column.sources))
    )  # fmt: skip
    ways = []
    if column.join:
        ways.append(f"joined by {column.with_!r}")
    if name in TIMES and column.unit is None:
        ways.append(f"dates {ORDERS[layout.dates]}" if layout.dates else "dates with the year first only")
    if column.unit is not None:
        ways.append(f"bare numbers are {column.unit}")
    if column.drops is not None:
        ways.append(
            f"drops, {plain_number(column.drops.each)} ppm each past the first {plain_number(column.drops.blank)}"
        )
    if column.part is not None:
        ways.append(f"the {column.part} in the cell")
    if column.night_until is not None:
        ways.append(f"before {column.night_until} the next day")
    if column.after is not None:
        ways.append(f"the next day where it would lie before {column.after}")
    if name in layout.values:
        ways.append(f"{len(layout.values[name])} values translated")
    return origin + (f"  ({'; '.join(ways)})" if ways else "")
