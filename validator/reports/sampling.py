"""How many cycles does a person look at, to hold what was written against what was done?

A record shows what was written down. Whoever wants to know whether it was done draws some cycles at random and compares
them with what else there is: the clock of the till, the stock of sanitizer, the people, the machine.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from pydantic import Field

from validator.documents import load, read
from validator.fields import Document, Text, Whole
from validator.language import tr


class Lot(Document):
    """The sample for lots of some sizes, both ends inclusive."""

    least: Whole = Field(alias="from")
    most: Whole = Field(alias="to")
    letter: Text
    sample: Whole


class Plan(Document):
    """A sampling plan, and where it comes from."""

    source: Text
    lots: tuple[Lot, ...]


@cache
def plan() -> Plan:
    """The plan that comes with the program."""
    return load(Plan, read(Path(__file__).with_suffix(".yaml")))


def of(lot: int) -> Lot | None:
    """The line of the plan for a lot of that size; None for a lot of one, and past the plan its last line."""
    found = [line for line in plan().lots if line.least <= lot]
    return found[-1] if found else None


def advice(cycles: int) -> str:
    """What to look at by hand, in one sentence; '' where there is nothing to draw from."""
    line = of(cycles)
    if line is None or line.sample >= cycles:
        return ""
    return tr("To hold the record against what was done, draw {some} of these {all} cycles at random and look at them by hand "
              "({source}, code letter {letter}).", some=line.sample, all=f"{cycles:,}", source=plan().source,
              letter=line.letter)  # fmt: skip
