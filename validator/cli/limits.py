"""`--limit NAME=VALUE` and `--memory SIZE`: how much one file may ask for, and the whole audit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from validator.budget import AUDIT_MEMORY, LIMITS, Budget, Limit
from validator.errors import WrongInput

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
        values[at] = _value(f"--limit {text}", value, limit)
    return Budget(**values)


def audit_memory(given: str | None) -> int | None:
    """What `--memory` gives in bytes; raise `WrongInput` naming what may stand there."""
    return None if given is None else _value(f"--memory {given}", given, AUDIT_MEMORY)


def _value(given: str, value: str, limit: Limit) -> int:
    try:
        return limit.value(value)
    except ValueError as error:
        raise WrongInput(f"{given}: {error}") from None
