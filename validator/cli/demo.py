"""`cip-audit demo`: an invented chain of stores to look at, written to a folder and audited."""

from __future__ import annotations

from pathlib import Path

import click

from validator.cli import options
from validator.cli.waiting import Waiting
from validator.reports.measures import Units


@click.command(name="demo", epilog="Example:  cip-audit demo --folder /tmp/demo --output html=demo.html")
@click.option("--folder", default="cip-audit-demo", show_default=True, metavar="DIR", help="Where to write the demo.")
@click.option(
    "--format", "shown", default="text", show_default=True, metavar="FORMAT", help="What goes to standard output."
)
@click.option(
    "--output", "outputs", multiple=True, metavar="FORMAT=PATH", help="Write a file beside it; may be repeated."
)
@options.units()
@options.lang()
def command(folder: str, shown: str, outputs: tuple[str, ...], units: Units, lang: str) -> None:
    """Write an invented chain's register and six months of cleaning logs to a folder, and audit them."""
    from validator.cli.check import judge_files
    from validator.cli.output import drawn, parse_outputs, tell_missing, write_report
    from validator.demo import PACK, write_demo
    from validator.errors import WrongInput
    from validator.reports import RENDERERS

    if shown not in RENDERERS:
        raise WrongInput(f"--format {shown}: allowed: {', '.join(RENDERERS)}")
    files = parse_outputs(outputs, list(RENDERERS))
    demo = write_demo(Path(folder))
    with Waiting("auditing the demo") as waiting:
        judged = judge_files([str(p) for p in demo.logs], [PACK], str(demo.register), demo.as_of, "simple", waiting,
                             drawn=drawn(shown, files))  # fmt: skip
    language = judged.language(lang)
    write_report(judged.report, shown, files, units, language=language)
    tell_missing(language)
    logs = " ".join(str(p) for p in demo.logs)
    click.echo(f"The files are in {folder}. The same audit by hand:\n  cip-audit check {logs} "
               f"--rules {PACK} --register {demo.register} --as-of {demo.as_of}", err=True)  # fmt: skip
