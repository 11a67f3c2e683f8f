"""`cip-audit sheet`: an empty record sheet that, filled in, satisfies a pack."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from validator.cli import options
from validator.cli.check import load_packs
from validator.cli.output import tell_missing, write_file
from validator.errors import WrongInput
from validator.language import load, speaking
from validator.reports.measures import Units

FORMATS = (".xlsx", ".pdf")
_EPILOG = """\b
Examples:
  cip-audit sheet --rules syrup-line-cip --register register.yaml --output sheet.xlsx
  cip-audit sheet --rules draught-line-cleaning --register register.yaml --equipment TAP-A --output sheet.pdf --paper letter

\b
A filled-in workbook is read as it stands:  cip-audit check sheet.xlsx --rules ... --register ..."""


@click.command(epilog=_EPILOG)
@options.rules(required=True)
@options.register(required=True)
@click.option("--store", metavar="ID", help="The machines of this store alone.")
@click.option("--equipment", metavar="ID", help="This machine alone.")
@click.option(
    "--output", "path", required=True, metavar="FILE", help="A workbook to fill in (.xlsx), or a page to print (.pdf)."
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The size to print on."
)
@options.units("The scale on which temperatures are written: °C, or °F with us.")
@options.lang("The language of the sheet; the columns that are read, and the words that stand in them, stay.")
@click.option("--now-and-then", is_flag=True,
              help="Also rows for what a rule asks for once in a while, such as acid every three months.")  # fmt: skip
def command(
    rules: tuple[str, ...], register_path: str, store: str | None, equipment: str | None, path: str, paper: str, units: Units,
    lang: str, now_and_then: bool,
) -> int:  # fmt: skip
    """Write an empty record sheet for the machines of the register, with all that the rules ask to be done and written down."""
    from validator.register import load_register
    from validator.sheet import forms

    target = Path(path)
    if target.suffix.casefold() not in FORMATS:
        raise WrongInput(f"--output {path}: name a file that ends in {' or '.join(FORMATS)}")
    if target.resolve() in {Path(p).resolve() for p in (register_path, *rules)}:
        raise WrongInput(f"--output {path}: is read here; name another file")
    packs = load_packs(rules)
    if target.suffix.casefold() == ".xlsx":
        from validator.sheet.workbook import render
    else:
        from validator.sheet.paper import render
    language = load(lang, [place for pack in packs for place in pack.places])
    register = load_register(Path(register_path))
    with speaking(language):
        made = forms(packs, register, store=store, equipment=equipment, now_and_then=now_and_then, units=units)
        write_file(target, render(made, paper))
    print(f"wrote {path}: {len(made)} sheet{'s' * (len(made) != 1)}", file=sys.stderr)
    tell_missing(language)
    return 0
