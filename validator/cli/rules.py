"""`cip-audit rules`: what packs there are and say, whether a pack is sound, whether its cases hold, how one is begun."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from validator.errors import WrongInput

if TYPE_CHECKING:
    from validator.packs.model import BoundRule, Pack

_OPTION = click.option(
    "--rules", multiple=True, metavar="PACK", help="A pack's id or path; without it, every bundled pack."
)


@click.group(name="rules", short_help="list, explain, write, lint and test rule packs")
def command() -> None:
    """List, explain, write, lint and test rule packs."""


def _packs(rules: tuple[str, ...], *, bind: bool = True, cases: bool = False) -> list[Pack]:
    from validator.packs.loading import bundled_packs, load_pack

    return [load_pack(name, bind=bind, cases=cases) for name in rules or bundled_packs()]


def _cases_file(bound: BoundRule) -> Path:
    """The file with the cases of a rule, beside the one that the rule stands in."""
    return Path(bound.place.rsplit(" line ", 1)[0]).with_name("cases.yaml")


@command.command(name="list", short_help="name every pack and its rules", epilog="Example:  cip-audit rules list")
@_OPTION
def list_(rules: tuple[str, ...]) -> None:
    """Name every pack and its rules, one line a rule."""
    for pack in _packs(rules, bind=False):
        click.echo(f"{pack.id} {pack.version}  {pack.title}")
        click.echo(f"  procedure {pack.procedure or '(any)'}, {len(pack.rules)} rules")
        width = max(len(b.rule.id) for b in pack.rules)
        for bound in pack.rules:
            click.echo(
                f"  {bound.rule.id:<{width}}  {bound.rule.grade.value:<11}  {bound.rule.kind:<13}  {bound.rule.title}"
            )


@command.command(
    short_help="say all of one rule: limits, why, what to do, sources, plan",
    epilog="Example:  cip-audit rules explain SYR-FLUSH-TIME",
)
@click.argument("rule_id", metavar="ID")
@_OPTION
def explain(rule_id: str, rules: tuple[str, ...]) -> None:
    """Say what the rule ID finds, its limits, why, what to do, and where it comes from."""
    from validator.catalogue import explain as told
    from validator.documents import suggest

    packs = _packs(rules, bind=False)
    for pack in packs:
        for bound in pack.rules:
            if bound.rule.id.casefold() == rule_id.casefold():
                click.echo(told(bound, pack), nl=False)
                return
    known = [b.rule.id for p in packs for b in p.rules]
    raise WrongInput(
        f"there is no rule {rule_id!r}{suggest(rule_id.upper(), known)}; `cip-audit rules list` names them all"
    )


@command.command(
    short_help="print all rules and the clauses they check as one page",
    epilog="Example:  cip-audit rules page --format html > rules.html",
)
@_OPTION
@click.option("--format", "shown", type=click.Choice(["markdown", "html"]), default="markdown", show_default=True)
def page(rules: tuple[str, ...], shown: str) -> None:
    """Print every rule as `explain` tells it, and which clause of which source is checked, as one page."""
    from validator.handbook import rules as written

    packs = _packs(rules, bind=False)
    click.echo(written.as_html(packs) if shown == "html" else written.as_markdown(packs), nl=False)


@command.command(
    short_help="print the HACCP plan of a pack",
    epilog="Example:  cip-audit rules plan syrup-line-cip --format html > plan.html",
)
@click.argument("pack", metavar="PACK")
@click.option("--format", "shown", type=click.Choice(["text", "markdown", "html"]), default="text", show_default=True)
def plan(pack: str, shown: str) -> None:
    """Print the HACCP plan that PACK amounts to: every control, its limit, how it is watched, proved and put right."""
    from validator.handbook import plan as written
    from validator.packs.loading import load_pack

    write = {"text": written.as_text, "markdown": written.as_markdown, "html": written.as_html}[shown]
    click.echo(write(load_pack(pack, bind=False)), nl=False)


@command.command(
    short_help="list a pack's texts for translation",
    epilog="Example:  cip-audit rules words ./my-pack --lang es > my-pack/es.po",
)
@click.argument("pack", metavar="PACK")
@click.option("--lang", "code", default="es", show_default=True, help="The language to translate to.")
def words(pack: str, code: str) -> None:
    """List the texts of PACK that a store reads as a gettext catalogue, with what was translated before."""
    from validator.language import catalogue_of, entries
    from validator.packs.loading import find_pack
    from validator.translating import catalogue, of_pack

    root = find_pack(pack)
    before = catalogue_of(root, code)
    click.echo(catalogue(of_pack(root), code, entries(before) if before.is_file() else {}), nl=False)


@command.command(
    short_help="begin a rule, or a pack with its first rule",
    epilog="Example:  cip-audit rules new ./ice-machine ICE-DESCALE --kind interval",
)
@click.argument("pack", metavar="PACK", type=click.Path(path_type=Path))
@click.argument("rule_id", metavar="ID")
@click.option("--kind", default="coverage", show_default=True, help="What the rule computes.")
def new(pack: Path, rule_id: str, kind: str) -> None:
    """Begin the rule ID in the folder PACK, with a case that runs; where there is no such folder, begin the pack too."""
    from validator.drafting import begin

    for path in begin(pack, rule_id, kind):
        click.echo(f"wrote {path}")
    click.echo(f"""
Now replace what says "to be written" and the figures, and add cases at the limit. These two say what is left:
  cip-audit rules lint --rules {pack}
  cip-audit rules test --rules {pack}""")


@command.command(
    short_help="say what is wrong or still to be written", epilog="Example:  cip-audit rules lint --rules ./my-pack"
)
@_OPTION
def lint(rules: tuple[str, ...]) -> int:
    """Look for faults in packs: ids, titles, citations, remedies, cases, and the shape that their schemas give."""
    from validator.packs.lint import lint as faults_of
    from validator.packs.loading import bundled_packs, find_pack
    from validator.schemas import shape_faults

    faults = [fault for name in rules or bundled_packs() for fault in shape_faults(find_pack(name))]
    packs = _packs(rules, cases=True)
    faults += [fault for pack in packs for fault in faults_of(pack)]
    for fault in faults:
        click.echo(fault)
    count = sum(len(p.rules) for p in packs)
    click.echo(
        f"{len(packs)} pack{'s' * (len(packs) != 1)}, {count} rules, {len(faults) or 'no'} fault{'s' * (len(faults) != 1)}"
    )
    return 2 if faults else 0


@command.command(short_help="run the cases beside the rules", epilog="Example:  cip-audit rules test --rules ./my-pack")
@_OPTION
@click.option("--show", is_flag=True, help="Print what every case gave, as YAML to paste.")
def test(rules: tuple[str, ...], show: bool) -> int:
    """Run the cases that stand beside the rules; print what came out wherever it was not what was expected."""
    from validator.packs.cases import as_yaml, say_found, try_cases

    failed = total = 0
    for pack in _packs(rules, cases=True):
        for bound in pack.rules:
            for tried in try_cases(pack, bound.rule.id):
                total += 1
                if tried.passed and not show:
                    continue
                failed += not tried.passed
                click.echo(f"{tried.rule}: {tried.case}: {'as expected' if tried.passed else 'NOT as expected'}")
                for missing in tried.missing:
                    click.echo(f"    expected, did not come: {missing}")
                for check in tried.surplus:
                    click.echo(f"    came, was not expected: {say_found(check)}")
                for unread in tried.unread:
                    click.echo(f"    could not be read: {unread}")
                if not tried.passed:
                    click.echo(
                        f"    if what came is right, put it in place of the case's expect in {_cases_file(bound)}:"
                    )
                click.echo(f"    expect:\n{as_yaml(tried.found)}\n")
    click.echo(f"{total} cases, {failed or 'none'} failed")
    return 1 if failed else 0
