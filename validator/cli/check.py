"""`cip-audit check`: from exported records to a report."""

from __future__ import annotations

import gc
import hashlib
import os
import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from validator import __version__
from validator.cli import options
from validator.cli.limits import EPILOG as LIMITS
from validator.cli.limits import audit_memory, limit_option
from validator.cli.output import drawn, parse_outputs, tell_missing, write_report
from validator.cli.waiting import Waiting
from validator.errors import WrongInput
from validator.findings import NEW
from validator.language import Language, speaking
from validator.language import load as load_language
from validator.reports import RENDERERS, Grouping, seen
from validator.reports.measures import Units

if TYPE_CHECKING:
    from validator.budget import Budget
    from validator.deviations import Deviations
    from validator.engine.change import Before
    from validator.findings import Report
    from validator.machines import AsOf
    from validator.mapping.model import Chosen
    from validator.packs.model import Pack
    from validator.readers.spill import Pieces
    from validator.register import Register

GRADES = ("critical", "major", "minor", "observation")
FRESH = "new:"
"""Before a grade of --fail-on: only findings that are new since an earlier report."""
_EPILOG = """\b
Examples:
  cip-audit check log.csv --rules syrup-line-cip --register register.yaml
  cip-audit check may.xlsx june.xlsx --rules syrup-line-cip --as-of 2026-07-01
  cip-audit check log.csv --rules ./my-pack --format json > report.json
  cip-audit check log.csv --rules syrup-line-cip --output html=report.html --output json=report.json
  cip-audit check log.csv --rules syrup-line-cip --since yesterday.json --fail-on new:major
  cip-audit check log.csv --rules syrup-line-cip --output actions-xlsx=actions.xlsx
  zcat log.csv.gz | cip-audit check - --rules syrup-line-cip --fail-on critical

"""


@click.command(epilog=_EPILOG + LIMITS)
@click.argument("records", nargs=-1, required=True, metavar="RECORDS...")
@options.rules()
@options.register()
@options.mapping()
@click.option(
    "--accept",
    "accept_path",
    metavar="FILE",
    help="Deviations that were accepted (YAML): marked, and no longer counted.",
)
@options.as_of()
@click.option("--decision", type=click.Choice(["simple", "guarded"]),
              help="How the limit and the record's resolution are weighed.")  # fmt: skip
@click.option("--format", "shown", type=click.Choice(list(RENDERERS)), default="text", show_default=True,
              help="What goes to standard output.")  # fmt: skip
@click.option(
    "--output",
    "outputs",
    multiple=True,
    metavar="FORMAT=PATH",
    help="Write a file beside it; may be repeated. html=FOLDER/ writes a page a store.",
)
@options.units()
@options.lang()
@options.since("An earlier report (JSON): say which findings are new, persist or were resolved.")
@click.option("--fail-on", type=click.Choice([*GRADES, *(f"{FRESH}{g}" for g in GRADES), "never"]), default="major",
              show_default=True, metavar="GRADE", help="Exit with 1 on findings of this grade or graver: critical, "
              "major, minor, observation or never; new:GRADE counts only what is new since --since.")  # fmt: skip
@click.option(
    "--group",
    type=click.Choice(["grade", "plan"]),
    default="grade",
    show_default=True,
    help="Findings by grade, or by their place in the HACCP plan: critical control points first.",
)
@click.option("--memory", metavar="SIZE", help="Audit in pieces what would take more memory than this, such as 2GiB; half of the "
              "machine's, unless given.")  # fmt: skip
@click.option(
    "--explain", metavar="FINDING", help="Show the whole reasoning of one finding, by its id, instead of the report."
)
@limit_option
def command(
    records: tuple[str, ...], rules: tuple[str, ...], register_path: str | None, mapping_path: str | None,
    accept_path: str | None, as_of: str | None, decision: str | None, shown: str, outputs: tuple[str, ...],
    units: Units, lang: str, since_path: str | None, fail_on: str, group: Grouping, memory: str | None,
    explain: str | None,
    budget: Budget,
) -> int:  # fmt: skip
    """Audit RECORDS (CSV, XLSX, JSON, JSON Lines or Parquet; - is standard input) and say what is IN, OUT, N/O and N/A."""
    records = tuple(dict.fromkeys(records))
    beside = [p for p in (register_path, mapping_path, accept_path, since_path) if p]
    files = parse_outputs(outputs, list(RENDERERS), [*records, *rules, *beside])
    must_exist(records)
    if fail_on.startswith(FRESH) and since_path is None:
        raise WrongInput(f"--fail-on {fail_on}: what is new is told by an earlier report; name one with --since")
    with Waiting("reading the records") as waiting:
        judged = judge_files(records, rules, register_path, as_of, decision or "", waiting, accept_path,
                             mapping_path, since_path, budget, audit_memory(memory), drawn=drawn(shown, files))  # fmt: skip
        report, language = judged.report, judged.language(lang)
        waiting.say("writing the report")
        if explain is not None:
            click.echo(_reasoning(judged, explain, units, language), nl=False)
            return exit_status(report, fail_on)
        # a bar would draw into a report on the same terminal
        if shown != "text" or not sys.stdout.isatty():
            write_report(report, shown, files, units, group, language)
            tell_missing(language)
            return exit_status(report, fail_on)
    write_report(report, shown, files, units, group, language)
    tell_missing(language)
    return exit_status(report, fail_on)


@dataclass(frozen=True)
class Judged:
    """A report with the packs that it was made of."""

    report: Report
    packs: list[Pack]

    def language(self, code: str) -> Language | None:
        """A language with the catalogues of these packs."""
        return load_language(code, [place for pack in self.packs for place in pack.places])


def _reasoning(judged: Judged, finding_id: str, units: Units, language: Language | None) -> str:
    """Everything behind one finding."""
    from validator.catalogue import explain
    from validator.reports.reasoning import explain as reason
    from validator.reports.reasoning import find

    report = seen(judged.report, units, language)
    finding = find(report, finding_id)
    if finding is None or not finding_id:
        raise WrongInput(f"--explain {finding_id}: no finding, or more than one, has an id that begins so")
    bound = [(p, b) for p in judged.packs for b in p.rules if b.rule.id == finding.rule]
    rule = explain(bound[0][1], bound[0][0]) if bound else f"{finding.rule} is no rule of a pack: {finding.title}\n"
    with speaking(language):
        return reason(finding, report, rule)


def judge_files(
    records: Sequence[str], rules: Sequence[str], register_path: str | None, as_of: str | None, decision: str,
    waiting: Waiting, accept_path: str | None = None, mapping_path: str | None = None, since_path: str | None = None,
    budget: Budget | None = None, memory: int | None = None, *, drawn: int = 0,
) -> Judged:  # fmt: skip
    """Read, judge, report; the records are read in a process of their own while the packs are loaded here.

    What would take more than `memory` bytes (None: half of what the machine has) is judged in pieces.
    """
    from validator.readers import start_reading
    from validator.readers.memory import at_hand

    mapping = _mapping(mapping_path)
    with start_reading(records, budget, mapping, memory=memory or at_hand()) as reading:
        moment, now = read_as_of(as_of)
        packs = load_packs(rules)
        register = _register(register_path)
        said: dict[str, Any] = {
            "generated_at": now, "tool": f"cip-audit {__version__}", "decision": decision, "drawn": drawn,
            "accepted": _accepted(accept_path), "before": _before(since_path, moment),
        }  # fmt: skip
        zones = {s.store_id: s.timezone for s in register.stores} if register else {}
        if reading.division is not None:
            return _in_pieces(reading.pieces(waiting.progress), packs, register, zones, moment, said, waiting)
        read = reading.result(waiting.progress)
    from validator.assembly import assemble
    from validator.engine import audit

    waiting.say("judging the records")
    intake = assemble(read, zones)
    used = packs or _pack_of(intake.records.texts["procedure"].vocabulary, len(intake.records))
    return Judged(audit(intake, used, register, moment, **said), used)


def _in_pieces(
    pieces: Pieces, packs: list[Pack], register: Register | None, zones: dict[str, str | None], moment: AsOf,
    said: dict[str, Any], waiting: Waiting,
) -> Judged:  # fmt: skip
    """Judge piece by piece what is too large to be judged at once."""
    from validator.engine.pieces import audit_pieces, survey_pieces

    def after_piece(done: int, all_: int) -> None:
        gc.collect()  # it is switched off, and what each piece leaves behind would add up
        gc.freeze()  # findings stay to the end and need not be looked at again
        waiting.progress(done, all_)

    waiting.say("judging the records")
    known = survey_pieces(pieces, zones)
    used = packs or _pack_of(known.procedures, known.rows)
    report = audit_pieces(pieces, known.clocks, zones, used, register, moment, on_progress=after_piece, **said)
    return Judged(report, used)


def read_as_of(text: str | None) -> tuple[AsOf, str]:
    """The moment to look from, and the time that the report bears; the only place that asks the clock."""
    from validator.machines import AsOf

    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = datetime.fromtimestamp(int(epoch), UTC) if epoch.isdigit() else datetime.now(UTC)
    stamp = now.strftime("%Y-%m-%dT%H:%M:%SZ")
    try:
        return AsOf.parse(text if text is not None else stamp), stamp
    except ValueError as error:
        raise WrongInput(f"--as-of {text}: {error}") from None


def exit_status(report: Report, fail_on: str) -> int:
    """The exit status that the contract gives a report."""
    refused = sum(f.status != "read" for f in report.inputs)
    counts = report.summary.counts
    nothing = report.records == 0 or counts.in_ + counts.out + counts.not_observed == 0
    if nothing:
        return 3
    if refused:
        return 4
    if fail_on == "never":
        return 0
    worst = GRADES.index(fail_on.removeprefix(FRESH))
    counted = [f for f in report.findings if f.since == NEW or not fail_on.startswith(FRESH)]
    return int(any(f.grade.rank <= worst for f in counted))


def must_exist(records: Sequence[str]) -> None:
    """Raise `WrongInput` where a file of records is not there, or standard input is named twice."""
    missing = [f"{path}: there is no such file" for path in records if path != "-" and not Path(path).exists()]
    if missing:
        raise WrongInput(missing)
    if records.count("-") > 1:
        raise WrongInput("- stands for standard input and can be named once only")


def load_packs(rules: Sequence[str]) -> list[Pack]:
    """The packs that `--rules` names; raise `WrongInput` where one loosens another or a rule stands in two."""
    from validator.packs.layering import faults
    from validator.packs.loading import load_pack

    packs = [load_pack(name) for name in dict.fromkeys(rules)]
    loosened = [f"{b.place}: rule {b.rule.id}: {fault}" for pack in packs for b in pack.rules for fault in faults(b)]
    loosened += [f"{p.times.place}: grading: {fault}" for p in packs if p.times for fault in faults(p.times)]
    if loosened:
        raise WrongInput(loosened)
    seen: dict[str, str] = {}
    for pack in packs:
        for bound in pack.rules:
            other = seen.setdefault(bound.rule.id, pack.id)
            if other != pack.id:
                raise WrongInput(
                    f"--rules: the rule {bound.rule.id} stands in both {other} and {pack.id}; use one of them"
                )
    return packs


def _register(path: str | None) -> Register | None:
    if path is None:
        return None
    from validator.register import load_register

    return load_register(Path(path))


def _mapping(path: str | None) -> Chosen | None:
    if path is None:
        return None
    from validator.mapping.model import load_mapping

    return load_mapping(Path(path))


def _accepted(path: str | None) -> Deviations | None:
    if path is None:
        return None
    from validator.deviations import load_deviations

    return load_deviations(Path(path))


def _before(path: str | None, as_of: AsOf) -> Before | None:
    """The earlier report that this audit is held against."""
    if path is None:
        return None
    from validator.engine.change import Before, is_later
    from validator.reports.json_ import load

    try:
        document = Path(path).read_bytes()
    except OSError as error:
        raise WrongInput(f"--since {path}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    try:
        report = load(document)
    except WrongInput as error:
        raise WrongInput(f"--since {path}: {error}") from None
    if is_later(report.as_of, as_of):
        raise WrongInput(f"--since {path}: that report looks from {report.as_of}, after this audit's {as_of.shown}; "
                         f"name an earlier one")  # fmt: skip
    return Before(report, path, hashlib.sha256(document).hexdigest())


def _pack_of(procedures: Collection[str], rows: int) -> list[Pack]:
    """Without --rules: the bundled packs whose procedure the records name.

    A pack above another for the same procedure is for a place or a company, which no record names: it is chosen by
    --rules only.
    """
    from validator.packs.loading import bundled_packs, load_pack

    packs = [p for p in map(load_pack, bundled_packs()) if p.procedure]  # one for any procedure is asked for by name
    of_pack = {p.id: p.procedure for p in packs}
    packs = [p for p in packs if p.procedure not in {of_pack.get(beneath) for beneath in p.layers[:-1]}]
    if not rows:
        return packs  # there is nothing to choose by, and nothing to judge
    fitting = [p for p in packs if p.procedure in procedures]
    if not fitting:
        told = f"name the procedure {', '.join(sorted(procedures))}" if procedures else "name no procedure"
        known = ", ".join(f"{p.id} (procedure {p.procedure})" for p in packs)
        raise WrongInput(f"the records {told}, which no bundled pack is for; choose one with --rules: {known}")
    return fitting
