"""`cip-audit due`: what must be cleaned by when, as a table, for a program, or as a file for a calendar."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from validator.cli import options
from validator.cli.check import judge_files, must_exist
from validator.cli.output import Output, parse_outputs, tell_missing, terminal, write_file
from validator.cli.waiting import Waiting
from validator.language import Language, speaking

if TYPE_CHECKING:
    from validator.findings import Report
    from validator.schedule import Schedule

FORMATS = ("text", "json", "csv", "ics")
_EPILOG = """\b
Examples:
  cip-audit due log.csv --rules syrup-line-cip --register register.yaml
  cip-audit due logs/*.csv --register register.yaml --output ics=cleaning.ics

\b
A calendar takes a file made later as news of the same events and moves them.
Exit status: 0 nothing is overdue; 1 something is, or was never cleaned; 2 wrong usage; 3 no
row or no date; 4 some input could not be read."""


@click.command(epilog=_EPILOG)
@click.argument("records", nargs=-1, required=True, metavar="RECORDS...")
@options.rules()
@options.register()
@options.mapping()
@options.as_of()
@options.since("An earlier report (JSON) of check: its cleanings count where these records no longer hold them.")
@click.option("--format", "shown", type=click.Choice(FORMATS), default="text", show_default=True,
              help="What goes to standard output; ics is a calendar file (iCalendar).")  # fmt: skip
@click.option(
    "--output", "outputs", multiple=True, metavar="FORMAT=PATH", help="Write a file beside it; may be repeated."
)
@options.lang("The language of text and calendar; forms for programs stay English.")
def command(
    records: tuple[str, ...], rules: tuple[str, ...], register_path: str | None, mapping_path: str | None,
    as_of: str | None, since_path: str | None, shown: str, outputs: tuple[str, ...], lang: str,
) -> int:  # fmt: skip
    """Say from RECORDS what must be cleaned by when: by machine and rule, the longest overdue first, with the reason."""
    from validator.schedule import schedule

    records = tuple(dict.fromkeys(records))
    inputs = [*records, *rules, *(p for p in (register_path, mapping_path, since_path) if p)]
    files = parse_outputs(outputs, FORMATS, inputs)
    must_exist(records)
    with Waiting("reading the records") as waiting:
        judged = judge_files(records, rules, register_path, as_of, "", waiting, mapping_path=mapping_path,
                             since_path=since_path)  # fmt: skip
    made = schedule(judged.report, judged.packs)
    language = judged.language(lang)
    _write(made, shown, files, language)
    tell_missing(language)
    return _exit_status(judged.report, made)


def _write(made: Schedule, shown: str, files: Sequence[Output], language: Language | None) -> None:
    if not made.cleanings and "ics" in (shown, *(output.format for output in files)):
        # a calendar without an event is none (RFC 5545, 3.6)
        click.echo("cip-audit: there is no date, so no calendar was written", err=True)
        files = [output for output in files if output.format != "ics"]
    for output in files:
        write_file(output.path, _document(made, output.format, language))
    if not made.cleanings and shown == "ics":
        return
    on_screen = shown == "text" and sys.stdout.isatty()
    sys.stdout.buffer.write(_document(made, shown, language, *(terminal() if on_screen else ())))
    sys.stdout.buffer.flush()


def _document(made: Schedule, format_: str, language: Language | None, width: int = 100, colour: bool = False) -> bytes:
    from validator.schedule import calendar, in_language, table, text

    if format_ in ("json", "csv"):
        return (table.as_json if format_ == "json" else table.as_csv)(made)
    with speaking(language):
        shown = in_language(made, language)
        return calendar.render(shown) if format_ == "ics" else text.render(shown, width=width, color=colour)


def _exit_status(report: Report, made: Schedule) -> int:
    if not report.records or not made.cleanings:
        return 3
    if any(f.status != "read" for f in report.inputs):
        return 4
    return int(any(c.days_left is None or c.days_left < 0 for c in made.cleanings))
