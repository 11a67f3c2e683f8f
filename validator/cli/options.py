"""The options that several commands share, each declared once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from validator.language import ENGLISH, languages
from validator.reports.measures import UNITS

Option = Callable[[Callable[..., Any]], Callable[..., Any]]
"""What adds an option to a command."""


def rules(*, required: bool = False) -> Option:
    """`--rules`, as `rules`: a tuple of packs."""
    return click.option("--rules", multiple=True, required=required, metavar="PACK",
                        help="A bundled pack's id or the path of a pack; may be repeated.")  # fmt: skip


def register(*, required: bool = False) -> Option:
    """`--register`, as `register_path`."""
    return click.option("--register", "register_path", required=required, metavar="FILE",
                        help="The equipment register (YAML).")  # fmt: skip


def mapping() -> Option:
    """`--mapping`, as `mapping_path`."""
    return click.option("--mapping", "mapping_path", metavar="FILE",
                        help="How the records' own columns are to be read (YAML).")  # fmt: skip


def as_of() -> Option:
    """`--as-of`, as `as_of`: a text that `check.read_as_of` reads."""
    return click.option(
        "--as-of", metavar="TIME", help="Look from this moment (2026-07-01 or RFC 3339) instead of now."
    )


def since(told: str) -> Option:
    """`--since`, as `since_path`: an earlier report, with what it is for."""
    return click.option("--since", "since_path", metavar="REPORT.json", help=told)


def units(
    told: str = "Units in which a reader sees temperatures and mixed amounts; forms for programs stay as they are.",
) -> Option:
    """`--units`, as `units`, with what it means for the command."""
    return click.option("--units", type=click.Choice(UNITS), default="si", show_default=True, help=told)


def lang(told: str = "The language in which a reader sees the report; forms for programs stay English.") -> Option:
    """`--lang`, as `lang`: a code, with what it means for the command."""
    return click.option("--lang", type=click.Choice(languages()), default=ENGLISH, show_default=True, help=told)
