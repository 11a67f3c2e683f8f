"""`cip-audit mapping`: what a mapping makes of an export, and a first draft of one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from validator.cli.limits import limit_option
from validator.errors import Unreadable, WrongInput
from validator.reports.visible import line

if TYPE_CHECKING:
    from validator.budget import Budget
    from validator.findings import RecordDefect
    from validator.mapping.model import Chosen, Layout
    from validator.tables import FileRead, ParsedTable

_FIRST = 5
_LISTED = 20


@click.group(name="mapping", short_help="fit an export's own columns to the canonical table")
def command() -> None:
    """Fit an export's own columns to the canonical table."""


@command.command(epilog="Example:  cip-audit mapping check june.xlsx --mapping store.yaml")
@click.argument("records", metavar="FILE")
@click.option("--mapping", "mapping_path", metavar="FILE",
              help="The mapping (YAML); without it, what the names of the columns tell.")  # fmt: skip
@click.option(
    "--rows", default=_FIRST, show_default=True, type=click.IntRange(0), help="How many rows to show of each sheet."
)
@limit_option
def check(records: str, mapping_path: str | None, rows: int, budget: Budget) -> int:
    """Show what would be read of FILE: column by column, the first rows before and after, and what is left over."""
    from validator.mapping.model import load_mapping

    if mapping_path is None:
        return _check_by_names(records, rows, budget)
    chosen = load_mapping(Path(mapping_path))
    read = _read(records, chosen, budget, look=True)
    layouts = chosen.file.layouts(records)
    if not layouts:
        known = ", ".join(repr(one.match) for one in chosen.file.files)
        raise WrongInput(f"{records}: the mapping {chosen.file.mapping} names no file like this one; it has {known}")
    shown = -1
    for at, (raw, table) in enumerate(zip(read.raw, read.tables, strict=True)):
        layout = layouts[read.told["layouts"][at]]
        if read.told["layouts"][at] != shown:
            shown = read.told["layouts"][at]
            _show_columns(layout)
        sources = list(layout.sources())
        _show_rows(sources, raw, table, rows)
        _show_left_over(sources, raw, table, read.told["set_aside"][at])
    return _show_assumed(read)


def _check_by_names(records: str, rows: int, budget: Budget) -> int:
    """The same without a mapping: what the canonical and the common names of the columns tell."""
    read = _read(records, None, budget, look=False)
    raws = {raw.sheet: raw for raw in _read(records, None, budget, look=True).raw}
    for table in read.tables:
        raw = raws.get(table.sheet, table)
        headings = {name: of[0][0] for origin in table.origins for name, of in origin.items()}
        names = [*table.texts, *table.times, *table.numbers]
        click.echo("Columns" + (f", sheet {table.sheet!r}" if table.sheet else ""))
        for name in names:
            click.echo(f"  {name:<18} from {headings.get(name, name)!r}")
        sources = [name for name in raw.texts if name in headings.values() or name.strip().casefold() in names]
        _show_rows(sources, raw, table, rows)
        _show_left_over(sources, raw, table, [len(table.rows), {}])
    return _show_assumed(read)


def _show_assumed(read: FileRead) -> int:
    from validator.assembly import assemble

    intake = assemble([read], {})
    _show_lacking(intake.defects)
    click.echo("\nAssumed")
    for text in (*read.assumptions, *read.notices):
        click.echo(f"  {line(text)}")
    return 0 if len(intake.records) else 3


def _show_lacking(defects: Iterable[RecordDefect]) -> None:
    """What every row needs, and some have from no column: a fault that no cell shows."""
    from validator.reports.words import rows

    lacking: dict[tuple[str, str], list[int]] = {}
    for defect in defects:
        if defect.code == "missing_required":
            lacking.setdefault((defect.sheet, defect.message), []).append(defect.row)
    if lacking:
        click.echo("\nLacking: these rows cannot be used in full")
    for (sheet, message), found in lacking.items():
        click.echo("  " + (f"sheet {sheet!r}, " if sheet else "") + f"{rows(found)}: {line(message)}")


@command.command(epilog="Example:  cip-audit mapping draft june.xlsx > store.yaml")
@click.argument("records", metavar="FILE")
@limit_option
def draft(records: str, budget: Budget) -> int:
    """Propose a mapping for FILE, every guess with its reason; what cannot be known from the file is left open."""
    from validator.mapping.draft import propose

    click.echo(propose(_read(records, None, budget, look=True)), nl=False)
    return 0


def _read(records: str, chosen: Chosen | None, budget: Budget, *, look: bool) -> FileRead:
    from validator.readers import read_files
    from validator.tables import FileRead

    if records != "-" and not Path(records).exists():
        raise WrongInput(f"{records}: there is no such file")
    (read,) = read_files([records], budget, mapping=chosen, look=look)
    if isinstance(read, FileRead):
        return read
    raise Unreadable(read.code, f"{records}: {read.code}: {read.sentence}", read.place)


def _show_columns(layout: Layout) -> None:
    from validator.mapping.account import how

    click.echo("Columns" + (f", sheets {', '.join(map(repr, layout.sheets))}" if layout.sheets else ""))
    for name, column in layout.columns.items():
        click.echo(f"  {name:<18} from {how(name, column, layout)}")
    for name, text in layout.constants.items():
        click.echo(f"  {name:<18} always {text!r}")
    for step in layout.steps:
        for one in step.each():
            told = ", ".join(f"{name} {text!r}" for name, text in one.constants.items())
            click.echo(f"  one row for each {told}" if told else "  one row for each filled cell of")
            if one.when is not None:
                click.echo(f"    {'done':<16} where {one.when.column!r} is {' or '.join(map(repr, one.when.yes))}")
            for name, column in one.columns.items():
                click.echo(f"    {name:<16} from {how(name, column, layout)}")


def _show_rows(sources: Sequence[str], raw: ParsedTable, table: ParsedTable, most: int) -> None:
    where = f", sheet {raw.sheet!r}" if raw.sheet else ""
    click.echo(f"\nFirst rows{where}")
    used = [name for name in sources if name in raw.texts]
    shown: list[int] = []
    for row in table.rows.tolist():
        if row not in shown:
            shown.append(row)
        if len(shown) > most:
            break
    for row in shown[:most]:
        before = [i for i, number in enumerate(raw.rows.tolist()) if number == row]
        for i in before[:1]:
            click.echo(f"  row {row} is      " + "; ".join(_pairs(used, [_cell(raw, name, i) for name in used])))
        for i in [i for i, number in enumerate(table.rows.tolist()) if number == row]:
            names = [*table.texts, *table.times, *table.numbers]
            click.echo(f"  row {row} becomes " + "; ".join(_pairs(names, [_value(table, name, i) for name in names])))


def _pairs(names: Sequence[str], values: Sequence[str]) -> list[str]:
    from validator.reports.visible import name as shown

    return [f"{shown(name)}: {shown(value)}" for name, value in zip(names, values, strict=True) if value]


def _cell(table: ParsedTable, name: str, at: int) -> str:
    column = table.texts[name]
    code = int(column.codes[at])
    return column.vocabulary[code] if code >= 0 else ""


def _value(table: ParsedTable, name: str, at: int) -> str:
    import numpy as np

    from validator.quantities import plain_number
    from validator.tables import NAT

    if name in table.texts:
        return _cell(table, name, at)
    if name in table.times:
        micros = int(table.times[name][at])
        said = str(np.datetime64(micros, "us"))
        said = said[:19] + said[19:].rstrip("0").rstrip(".")
        return "" if micros == NAT else said + "Z" * bool(table.absolute[name][at])
    number = float(table.numbers[name][at])
    return "" if number != number else plain_number(number)


def _show_left_over(sources: Sequence[str], raw: ParsedTable, table: ParsedTable, aside: Any) -> None:
    from validator.mapping.aliases import could_be

    unused = [name for name in raw.texts if name not in sources]
    blank = [name for name in unused if could_be(name) and not (raw.texts[name].codes >= 0).any()]
    others = [name for name in unused if name not in blank]
    count, reasons = aside
    click.echo("Left over")
    click.echo(f"  columns not used: {', '.join(map(repr, others)) or 'none'}")
    if blank:
        click.echo(f"  columns known by their names, in which every cell is blank: {', '.join(map(repr, blank))}")
    for why, rows in reasons.items():
        click.echo(f"  {rows} row{'s' * (rows > 1)} set aside, since {why}")
    lost = len({d.row for d in table.defects if d.index < 0})
    faulty = len({d.index for d in table.defects if d.index >= 0})
    kept = len(table.rows)
    click.echo(f"  {count} rows in the file" + (f" and {lost} that could not be laid out" if lost else "")
               + f", {sum(reasons.values())} set aside; {kept} rows read, {faulty} of them with a defect; {table.blank_rows} blank")  # fmt: skip
    for defect in sorted(table.defects, key=lambda d: (d.row, d.column))[:_LISTED]:
        click.echo(f"  row {defect.row}: {defect.code}: {line(defect.message)}")
    if len(table.defects) > _LISTED:
        click.echo(f"  and {len(table.defects) - _LISTED} more defects")
