"""Try a rule on its own cases: small tables of records, and the exact checks they must give.

A case goes the whole way that a user's file goes: the same reader of cells, the same cycles, the same engine.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from validator import documents
from validator.assembly import assemble
from validator.cycles import form_cycles
from validator.documents import suggest
from validator.engine.apply import Applied, apply
from validator.errors import WrongInput
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.model import Case, CaseFile, Expected, Pack
from validator.readers import cells
from validator.records import Intake, RecordSet
from validator.register import Register
from validator.tables import CANONICAL, FileRead, RawTable, named_columns


@dataclass(frozen=True, order=True)
class Check:
    """One check of a rule, as a case names it."""

    equipment_id: str
    cycle_id: str
    target: str
    status: str
    reason: str = ""
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tried:
    """What came of one case: the checks that were expected and did not come, and those that came unexpected."""

    rule: str
    case: str
    found: tuple[Check, ...]
    missing: tuple[str, ...] = field(default=())
    surplus: tuple[Check, ...] = field(default=())
    unread: tuple[str, ...] = field(default=())
    """What in the records could not be read as it stands: meant in some cases, a slip in others."""

    @property
    def passed(self) -> bool:
        return not self.missing and not self.surplus


def try_cases(pack: Pack, rule: str) -> list[Tried]:
    """Every case of one rule."""
    file = pack.cases.get(rule)
    return [] if file is None else [try_case(pack, rule, case, file) for case in file.cases]


def try_case(pack: Pack, rule: str, case: Case, file: CaseFile) -> Tried:
    """Run one case and hold what came out against what was expected."""
    about = f"{rule}: case {case.name!r}: "
    try:
        return _tried(pack, rule, case, file, about)
    except WrongInput as error:
        raise WrongInput([fault if fault.startswith(about) else about + fault for fault in error.faults]) from None


def _tried(pack: Pack, rule: str, case: Case, file: CaseFile, about: str) -> Tried:
    register = _register(case.register_ or file.register_, about)
    try:
        as_of = AsOf.parse(case.as_of)
    except ValueError as error:
        raise WrongInput(f"as_of: {error}") from None
    _known_columns(case.records)
    intake = _intake(case.records, {s.store_id: s.timezone for s in register.stores} if register else {})
    fleet = machines(register, sorted(_named(intake.records)), as_of)
    applied, _ = apply(pack, form_cycles(intake.records, fleet, pack.procedure), fleet)
    found = sorted(c for a in applied if a.rule.rule.id == rule for c in _checks(a))
    unread = tuple(f"records line {d.row}: {d.message}" for d in intake.defects)
    return replace(_compare(rule, case, found), unread=unread)


def _register(data: Mapping[str, Any] | None, about: str) -> Register | None:
    if data is None:
        return None
    faults: list[str] = []
    register = documents.convert(Register, data, documents.Source(f"{about}register", data, {}, ""), (), faults)
    if faults:
        raise WrongInput(faults)
    return register


def _known_columns(text: str) -> None:
    """A column that is no column of a record would be passed over in a log; in a case it is a slip."""
    header = next(csv.reader(io.StringIO(text.strip() + "\n"), skipinitialspace=True), [])
    for name in header:
        if name.strip().casefold() not in CANONICAL:
            folded = "; begin with `records: |`, so that each row keeps its line" if " " in name.strip() else ""
            raise WrongInput(f"records: {name!r} is no column of a record{suggest(name, CANONICAL)}{folded}")


def read_text(text: str, zones: Mapping[str, str | None]) -> RecordSet:
    """Records from CSV text in canonical columns, read cell by cell like any file."""
    return _intake(text, zones).records


def _intake(text: str, zones: Mapping[str, str | None]) -> Intake:
    lines = list(csv.reader(io.StringIO(text.strip() + "\n"), skipinitialspace=True))
    names = named_columns(dict(enumerate(lines[0])))
    width = len(lines[0])
    for number, line in enumerate(lines[1:], 2):
        if len(line) != width:
            raise WrongInput(f"records line {number}: {len(line)} cells, the header has {width}")
    columns = {name: cells.code_texts([line[at] for line in lines[1:]]) for at, name in names.items()}
    table = RawTable("", np.arange(2, len(lines) + 1, dtype=np.int32), dict(columns))
    return assemble([FileRead("records", "", "csv", [cells.parse(table)])], zones)


def _named(records: RecordSet) -> set[tuple[str, str]]:
    return {(records.text("store_id", i), records.text("equipment_id", i)) for i in range(len(records))}


def _checks(applied: Applied) -> list[Check]:
    found = []
    for o in applied.outcomes:
        for i in range(len(o)):
            cycle = int(o.cycle[i])
            corrected = o.corrected is not None and bool(o.corrected[i])
            found.append(Check(
                applied.machines[int(o.machine[i])].equipment_id, applied.steps.cycle_ids[cycle] if cycle >= 0 else "",
                o.target[i], STATUS_WORDS[int(o.status[i])], o.reason[i], ("cos",) * corrected,
            ))  # fmt: skip
    return found


def _compare(rule: str, case: Case, found: list[Check]) -> Tried:
    rest = list(found)
    missing = []
    for want in case.expect:
        match = next((c for c in rest if _fits(want, c)), None)
        if match is None:
            missing.append(say_expected(want))
        else:
            rest.remove(match)
    return Tried(rule, case.name, tuple(found), tuple(missing), tuple(rest))


def _fits(want: Expected, check: Check) -> bool:
    return (
        want.status == check.status
        and want.target == check.target
        and want.cycle_id in (None, check.cycle_id)
        and want.equipment_id in (None, check.equipment_id)
        and want.reason in (None, check.reason)
        and (not want.marks or want.marks == check.marks)
    )


def say_expected(want: Expected) -> str:
    """`out for line-2 in cycle c1 (too_short)`."""
    text = want.status.value + (f" for {want.target}" if want.target else "")
    text += f" in cycle {want.cycle_id}" if want.cycle_id else ""
    return text + (f" ({want.reason})" if want.reason else "")


def say_found(check: Check) -> str:
    """`out for line-2 in cycle c1 (too_short)`."""
    text = check.status + (f" for {check.target}" if check.target else "")
    text += f" in cycle {check.cycle_id}" if check.cycle_id else ""
    return text + (f" ({check.reason})" if check.reason else "")


def as_yaml(checks: tuple[Check, ...]) -> str:
    """What came out, as YAML to paste under `expect:` once it is known to be right."""
    lines = []
    several = len({c.equipment_id for c in checks}) > 1
    for c in checks:
        parts = [f"status: {c.status}"] + [f"equipment_id: {_scalar(c.equipment_id)}"] * several
        parts += [f"target: {_scalar(c.target)}"] * bool(c.target)
        parts += [f"cycle_id: {_scalar(c.cycle_id)}"] * bool(c.cycle_id) + [f"reason: {c.reason}"] * bool(c.reason)
        parts += [f"marks: [{', '.join(c.marks)}]"] * bool(c.marks)
        lines.append(f"      - {{{', '.join(parts)}}}")
    return "\n".join(lines) or "      []"


def _scalar(text: str) -> str:
    """Text as YAML reads it back: quoted unless it is a plain word."""
    return text if re.fullmatch(r"[A-Za-z][\w.-]*", text) else json.dumps(text, ensure_ascii=False)
