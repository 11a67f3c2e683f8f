"""`--limit NAME=VALUE`: how much one file may ask for."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import click

from validator.budget import BYTE_UNITS, LIMITS, Budget, Limit
from validator.errors import WrongInput

_VALUE = re.compile(r"(\d{1,18})([KMGT]iB)?", re.ASCII)
EPILOG = "\b\nLimits (--limit), each with its default:\n" + "\n".join(
    f"  {name:<16} {limit.said(limit.default):<8} {limit.meaning}" for name, (_, limit) in LIMITS.items()
)
"""The limits with what they bound, for the end of a command's help."""


def limit_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--limit` to a command, which gets a `Budget` as `budget`."""
    return click.option(
        "--limit", "budget", multiple=True, metavar="NAME=VALUE", callback=lambda _context, _option, given: budget(given),
        help="How much one file may ask for, as members=2000 or file-size=8GiB; may be repeated.",
    )(command)  # fmt: skip


def budget(given: Sequence[str]) -> Budget:
    """The budget with some limits set; raise `WrongInput` naming what may stand there."""
    values: dict[str, int] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or name not in LIMITS:
            from validator.documents import suggest

            near = "" if name in LIMITS else suggest(name, list(LIMITS))
            raise WrongInput(f"--limit {text}: write it as NAME=VALUE{near}; allowed names: {', '.join(LIMITS)}")
        at, limit = LIMITS[name]
        if at in values:
            raise WrongInput(f"--limit {text}: {name} is given twice")
        values[at] = _value(text, value, limit)
    return Budget(**values)


def _value(text: str, value: str, limit: Limit) -> int:
    found = _VALUE.fullmatch(value)
    if found is None or (found[2] and not limit.in_bytes):
        written = "bytes or with a unit, as 2GiB, 512MiB or 64KiB" if limit.in_bytes else "a whole number"
        raise WrongInput(f"--limit {text}: found {value!r}; write it as {written}")
    number = int(found[1]) * BYTE_UNITS.get(found[2], 1)
    if not limit.least <= number <= limit.most:
        least, most = limit.said(limit.least), limit.said(limit.most)
        raise WrongInput(f"--limit {text}: {limit.name} can be {least} to {most}")
    return number
