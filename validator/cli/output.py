"""Where a report goes: one document to standard output, files beside it, never half a file."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from validator.errors import WrongInput
from validator.findings import Report
from validator.reports import Grouping
from validator.reports.measures import Units


def parse_outputs(outputs: Sequence[str], formats: Sequence[str], inputs: Sequence[str] = ()) -> list[tuple[str, Path]]:
    """`FORMAT=PATH` pairs; raise `WrongInput` naming what may stand there. No input is ever written over."""
    found: list[tuple[str, Path]] = []
    taken = {Path(path).resolve(): f"is {path}, which is read here" for path in inputs if path != "-"}
    for text in outputs:
        name, sign, path = text.partition("=")
        if not sign or not path or path == "-" or name not in formats:
            raise WrongInput(f"--output {text}: write it as FORMAT=PATH with FORMAT one of {', '.join(formats)}; "
                             f"--format is for standard output")  # fmt: skip
        place = Path(path).resolve()
        if place in taken:
            raise WrongInput(f"--output {text}: {taken[place]}; name another file")
        taken[place] = "is named twice"
        found.append((name, Path(path)))
    return found


def draws(shown: str, outputs: Sequence[tuple[str, Path]]) -> bool:
    """Whether any of the formats asked for shows pictures."""
    from validator.reports import RENDERERS

    return any(RENDERERS[name].draws for name in (shown, *(name for name, _ in outputs)))


def write_report(
    report: Report, shown: str, outputs: Sequence[tuple[str, Path]], units: Units = "si", group: Grouping = "grade"
) -> None:
    """The report in the format `shown` to standard output, and in each named format to its file, in the reader's units."""
    from validator.reports import RENDERERS

    if sys.stdout is None:
        raise WrongInput("standard output is closed, and the report has nowhere to go")
    if RENDERERS[shown].binary and sys.stdout.isatty():
        raise WrongInput(f"--format {shown}: is no text for a terminal; write it as --output {shown}=PATH")
    for name, path in outputs:
        write_file(path, RENDERERS[name].render(report, units, group))
    on_screen = shown == "text" and sys.stdout.isatty()
    document = _for_terminal(report, units, group) if on_screen else RENDERERS[shown].render(report, units, group)
    sys.stdout.buffer.write(document)
    sys.stdout.buffer.flush()


def _for_terminal(report: Report, units: Units, group: Grouping) -> bytes:
    """The text report in the terminal's own width and colours."""
    from validator.reports.measures import for_reader
    from validator.reports.text import render

    width, colour = terminal()
    return render(for_reader(report, units), width=width, color=colour, group=group)


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
