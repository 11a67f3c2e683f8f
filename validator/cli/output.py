"""Where a report goes: one document to standard output, files beside it, never half a file."""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import click

from validator.errors import WrongInput
from validator.findings import Report
from validator.language import Language, speaking
from validator.reports import Grouping
from validator.reports.measures import Units
from validator.reports.visible import line

_MISSING_SHOWN = 5


class Output(NamedTuple):
    """A format with the file, or the folder of files, that it is written to."""

    format: str
    path: Path
    folder: bool


def parse_outputs(outputs: Sequence[str], formats: Sequence[str], inputs: Sequence[str] = ()) -> list[Output]:
    """`FORMAT=PATH` pairs; raise `WrongInput` naming what may stand there. No input is ever written over.

    A path that ends with a slash, or is a folder, asks for a folder of files.
    """
    from validator.reports import RENDERERS

    found: list[Output] = []
    taken = {Path(path).resolve(): f"is {path}, which is read here" for path in inputs if path != "-"}
    for text in outputs:
        name, sign, path = text.partition("=")
        if not sign or not path or path == "-" or name not in formats:
            raise WrongInput(f"--output {text}: write it as FORMAT=PATH with FORMAT one of {', '.join(formats)}; "
                             f"--format is for standard output")  # fmt: skip
        place = Path(path).resolve()
        if place in taken:
            raise WrongInput(f"--output {text}: {taken[place]}; name another file")
        folder = path.endswith(("/", os.sep)) or place.is_dir()
        able = [n for n, r in RENDERERS.items() if r.folder and n in formats]
        if folder and name not in able:
            only = f", which only {', '.join(able)} can be written to" if able else ""
            raise WrongInput(f"--output {text}: {path} is a folder{only}; name a file")
        taken[place] = "is named twice"
        if not folder:
            _writable(Path(path))
        found.append(Output(name, Path(path), folder))
    return found


def drawn(shown: str, outputs: Sequence[Output]) -> int:
    """How many cycles and machines the formats asked for draw at most."""
    from validator.reports import RENDERERS
    from validator.reports.narrow import EVERYWHERE, USUAL

    if any(output.folder for output in outputs):
        return EVERYWHERE
    return USUAL if any(RENDERERS[n].draws for n in (shown, *(output.format for output in outputs))) else 0


def _writable(path: Path) -> None:
    """Whether a file can be written there is asked before any work is done."""
    folder = path.resolve().parent
    straight = path.exists() and not path.is_file()  # a device or a pipe
    if not straight and not folder.is_dir():
        raise WrongInput(f"{path}: cannot be written: there is no folder {folder}")
    asked = path if straight else folder
    if not os.access(asked, os.W_OK):
        raise WrongInput(f"{path}: cannot be written: no permission to write to {asked}")


def write_report(
    report: Report, shown: str, outputs: Sequence[Output], units: Units = "si", group: Grouping = "grade",
    language: Language | None = None,
) -> None:  # fmt: skip
    """The report in the format `shown` to standard output, and in each named format to its file, in the reader's units."""
    from validator.reports import RENDERERS
    from validator.reports.narrow import USUAL, bounded

    if RENDERERS[shown].binary and sys.stdout.isatty():
        raise WrongInput(f"--format {shown}: is no text for a terminal; write it as --output {shown}=PATH")
    usual = bounded(report, USUAL)
    for output in outputs:
        renderer = RENDERERS[output.format]
        if not output.folder:
            write_file(output.path, renderer.render(usual, units, group, language))
            continue
        _write_folder(output.path, renderer.render_folder(report, units, group, language))
    on_screen = shown == "text" and sys.stdout.isatty()
    document = (
        _for_terminal(usual, units, group, language)
        if on_screen
        else RENDERERS[shown].render(usual, units, group, language)
    )
    sys.stdout.buffer.write(document)
    sys.stdout.buffer.flush()


def _write_folder(folder: Path, documents: Iterable[tuple[str, bytes]]) -> None:
    """Write the files of a folder, and remove the pages that an earlier run left there."""
    from validator.cli import pages

    before = pages.recorded(folder)
    written: dict[str, str] = {}
    for relative, document in documents:
        path = folder / relative
        _make_folder(path.parent)
        write_file(path, document)
        written[relative] = hashlib.sha256(document).hexdigest()
    gone = pages.remove(folder, {page: sha256 for page, sha256 in before.items() if page not in written})
    write_file(folder / pages.LIST, pages.listed(written))
    if gone:
        left = "a page of an earlier run was" if gone == 1 else f"{gone:,} pages of an earlier run were"
        click.echo(f"cip-audit: {folder}: {left} removed", err=True)


def _make_folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WrongInput(f"{path}: cannot be made: {(error.strerror or str(error)).lower()}") from None


def _for_terminal(report: Report, units: Units, group: Grouping, language: Language | None) -> bytes:
    """The text report in the terminal's own width and colours."""
    from validator.reports import seen
    from validator.reports.text import render

    width, colour = terminal()
    with speaking(language):
        return render(seen(report, units, language), width=width, color=colour, group=group)


def tell_missing(language: Language | None) -> None:
    """Say on standard error what was not said in the language that was asked for, and so stands in English."""
    if language is None or not language.missing:
        return
    missing = list(language.missing)
    some = "; ".join(repr(line(text)[:80]) for text in missing[:_MISSING_SHOWN])
    more = f"; and {len(missing) - _MISSING_SHOWN} more" if len(missing) > _MISSING_SHOWN else ""
    click.echo(f"cip-audit: not in the catalogues of {language.code!r}, so in English: {some}{more}", err=True)


def terminal() -> tuple[int, bool]:
    """How many columns a text for the terminal may have, and whether colours are wanted there."""
    import shutil

    colour = not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return max(60, min(shutil.get_terminal_size().columns, 120)), colour


def write_file(path: Path, document: bytes) -> None:
    """Write a file as a whole: its old content stands until the new one is complete. A device is written straight to."""
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(document)
            return
        real = path.resolve()
        with tempfile.NamedTemporaryFile(dir=real.parent, prefix=f".{real.name[:64]}.", delete=False) as kept:
            try:
                kept.write(document)
                kept.flush()
                os.fsync(kept.fileno())
                Path(kept.name).chmod(real.stat().st_mode & 0o777 if real.exists() else 0o666 & ~_umask())
                Path(kept.name).replace(real)
            except BaseException:
                Path(kept.name).unlink()
                raise
    except OSError as error:
        raise WrongInput(f"{path}: cannot be written: {(error.strerror or str(error)).lower()}") from None


def _umask() -> int:
    """What this process takes off the permissions of new files; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
