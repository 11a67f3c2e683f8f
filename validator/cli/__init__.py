"""The command line: what each command reads and writes, and the exit status it ends in."""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
import tempfile
import threading
import traceback
from typing import NoReturn

import click

from validator import __version__
from validator.errors import CipAuditError, WrongInput

_COMMANDS = {
    "demo": ("validator.cli.demo", "write the demo scenario to a folder and audit it"),
    "check": ("validator.cli.check", "audit exported cleaning records"),
    "rules": ("validator.cli.rules", "list, explain, lint and test rule packs"),
    "mapping": ("validator.cli.mapping", "fit an export's own columns to the canonical table"),
    "due": ("validator.cli.due", "say what must be cleaned by when, as a table or a calendar file"),
    "sheet": ("validator.cli.sheet", "write an empty record sheet that, filled in, satisfies a pack"),
    "schema": ("validator.cli.schema", "print a JSON Schema"),
}

_LOST = 141
"""Whoever read the output has had enough; what was lost is not reported as success."""

_EPILOG = """\b
Examples:
  cip-audit demo
  cip-audit check log.csv --rules syrup-line-cip --register register.yaml
  cip-audit check logs/*.csv --format json --output html=report.html
  cip-audit due logs/*.csv --register register.yaml --output ics=cleaning.ics
  cip-audit sheet --rules syrup-line-cip --register register.yaml --output sheet.xlsx
  cip-audit rules explain SYR-FLUSH-TIME

\b
Exit status: 0 judged, nothing at or above --fail-on; 1 findings at or above it;
2 wrong usage, pack, register or mapping; 3 nothing could be judged; 4 judged in part, some
input could not be read; 70 internal error; 130 interrupted."""


class _Lazy(click.Group):
    """Loads a command's module when it is called, so that --help answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        from importlib import import_module

        command: click.Command = import_module(_COMMANDS[cmd_name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, short) for name, (_, short) in _COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in _COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], _COMMANDS, n=1)
            hint = f", did you mean {near[0]!r}?" if near else ""
            raise click.UsageError(f"there is no command {args[0]!r}{hint}; commands: {', '.join(_COMMANDS)}", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=_Lazy, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="cip-audit", message="%(prog)s %(version)s")
def cli() -> None:
    """Hold exported cleaning records of dispensing equipment against rules, and say what to do about what is found."""


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit status; no traceback is ever shown."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run the command line; the exit status, with every error said in plain sentences on standard error."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _stop)
    _fill_closed_streams()
    stdout = sys.stdout
    gc.disable()  # a run makes many values and no rings of them, and ends soon
    try:
        if sys.stdout is None:
            raise WrongInput("standard output is closed, and what is asked for has nowhere to go")
        status = cli.main(args=arguments, prog_name="cip-audit", standalone_mode=False)
        sys.stdout.flush()
        return int(status or 0)
    except click.exceptions.Abort:
        click.echo("interrupted", err=True)
        return 130
    except KeyboardInterrupt:
        click.echo("interrupted", err=True)
        return 130
    except click.ClickException as error:
        from validator.reports.visible import line

        said = io.StringIO()
        error.show(file=said)
        click.echo("\n".join(map(line, said.getvalue().split("\n"))), err=True, nl=False)
        return error.exit_code
    except CipAuditError as error:
        for fault in error.faults if isinstance(error, WrongInput) else (str(error),):
            _say(fault)
        return error.exit_status
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _LOST
    except SystemExit:
        if sys.stdout is not stdout:  # click has seen a broken pipe and put another in its place; it would say 1
            return _LOST
        raise
    except OSError as error:
        what = f"{error.filename}: " if error.filename else ""
        _say(f"{what}{(error.strerror or str(error)).lower()}")
        return 70
    except Exception as error:
        return _internal(error)


def _fill_closed_streams() -> None:
    """Where a stream was closed before the start, keep its number from a file that is opened later."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free, so this one


def _stop(number: int, frame: object) -> NoReturn:
    """End in order, so that what was begun is cleaned away."""
    raise SystemExit(128 + number)


def _internal(error: Exception) -> int:
    """An error of this program's own: its traceback goes to a file, a sentence to the user."""
    with tempfile.NamedTemporaryFile("w", prefix="cip-audit-", suffix=".txt", delete=False, encoding="utf-8") as kept:
        traceback.print_exception(error, file=kept)
    _say(f"internal error: {type(error).__name__}; the details are in {kept.name}")
    return 70


def _say(sentence: str) -> None:
    """One line on standard error, whatever stands in the name of a file or in the file itself."""
    from validator.reports.visible import line

    click.echo(f"cip-audit: {line(sentence)}", err=True)
