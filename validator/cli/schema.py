"""`cip-audit schema`: the JSON Schema of a file that a user writes or reads."""

from __future__ import annotations

import click

from validator.schemas import NAMES


@click.command(name="schema", epilog="Example:  cip-audit schema register > register.schema.json")
@click.argument("name", type=click.Choice(NAMES))
def command(name: str) -> None:
    """Print the JSON Schema (2020-12) of NAME."""
    from validator.schemas import text_of

    click.echo(text_of(name), nl=False)
