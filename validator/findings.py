"""The values a report is made of: frozen, complete in themselves, and the only input of the renderers."""

from __future__ import annotations

from dataclasses import dataclass, field

from validator.statuses import Grade as Grade
from validator.statuses import Status as Status

REPORT_VERSION = "1"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its unit: `s` (seconds), `d` (days), `ppm` (mg/L), `Cel`, `1` (a plain number) or `` (a word)."""

    value: float | int | str
    unit: str


@dataclass(frozen=True, slots=True)
class Required:
    """What the rule asks for: both ends inclusive, either end open (null); `text` says it in words."""

    min: float | int | None
    max: float | int | None
    unit: str
    text: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One row that shows a finding, by the number its reader sees in the file, and the columns that show it.

    `values` are what stands in those columns, times by the store's clock, and what could not be read as it stands; an empty
    text is a blank. `cells` say for each column where that stands in a file with other names: its own column, in a workbook
    with the cell (`E4 L1 from`); empty where the columns bear these names.
    """

    file: str
    sheet: str
    row: int
    columns: tuple[str, ...]
    values: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Citation:
    """Where a rule comes from. `says` is the requirement in our own words; unpublished means common practice."""

    source: str
    title: str
    section: str
    edition: str
    says: str
    published: bool


@dataclass(frozen=True, slots=True)
class Finding:
    """One check that is OUT or N/O, with all that its reader needs to see why and to act.

    `control` is the rule's place in the HACCP plan, `critical_control_point` or `prerequisite`; blank where it has none.
    `limit_from` says which layer set the limit: a pack and its authority, or the register.
    """

    id: str
    rule: str
    title: str
    kind: str
    pack: str
    grade: Grade
    status: Status
    reason: str
    marks: tuple[str, ...]
    grade_reason: str
    store_id: str
    equipment_id: str
    cycle_id: str
    cycle_started: str
    target: str
    observed: Quantity | None
    required: Required | None
    margin: Quantity | None
    message: str
    evidence: tuple[Evidence, ...]
    citations: tuple[Citation, ...]
    hazard: str
    corrective_action: str
    deviation: str | None
    limit_from: str
    control: str = ""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a reader must know that is no finding: a rule that judged nothing, an assumption, a row not used."""

    code: str
    message: str
    rule: str = ""
    store_id: str = ""
    equipment_id: str = ""
    count: int = 1


@dataclass(frozen=True, slots=True)
class RecordDefect:
    """A row, or a value in it, that could not be read without guessing. `row` 0 stands for the file as a whole."""

    file: str
    sheet: str
    row: int
    column: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file as it was read: `rows` = `rows_used` + `rows_defective`.

    Counted beside: rows told a second time, rows that a later export of their cycle tells otherwise, and blank rows.
    """

    file: str
    sha256: str
    rows: int
    rows_used: int
    rows_defective: int
    rows_duplicate: int
    rows_blank: int
    status: str
    reason: str
    format: str
    assumptions: tuple[str, ...]
    rows_superseded: int = 0


@dataclass(frozen=True, slots=True)
class PackUsed:
    """A pack that the records were held against, with the hash of its files."""

    id: str
    version: str
    title: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Counts:
    """How many checks came out how."""

    in_: int
    out: int
    not_observed: int
    not_applicable: int


@dataclass(frozen=True, slots=True)
class Score:
    """The weighted share of judged checks that are IN, in percent, and its range over all N/O checks.

    `low` counts every N/O as OUT, `high` counts it as IN. `value` is null where nothing was judged.
    """

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a store, an equipment or the whole run stands."""

    result: str
    result_reason: str
    score: Score
    counts: Counts
    grades: dict[str, int]
    evidence_completeness: float | None


@dataclass(frozen=True, slots=True)
class Due:
    """The next cleaning that an interval rule asks for. `days_left` below zero is overdue; `due_on` is a local date."""

    store_id: str
    equipment_id: str
    rule: str
    due_on: str
    days_left: int
    state: str
    last_cycle_id: str
    last_completed: str


@dataclass(frozen=True, slots=True)
class EquipmentResult:
    equipment_id: str
    profile: str
    cycles: int
    verdict: Verdict
    next_due: Due | None


@dataclass(frozen=True, slots=True)
class StoreResult:
    store_id: str
    name: str
    timezone: str
    verdict: Verdict
    equipment: tuple[EquipmentResult, ...]


@dataclass(frozen=True, slots=True)
class RuleChecked:
    """What one rule judged. `state` is `judged`, or `not exercised` where no check came out IN or OUT.

    `out_low` and `out_high` bound the share of OUT among the judged checks (Wilson's 95 % interval).
    """

    rule: str
    title: str
    kind: str
    grade: Grade
    pack: str
    state: str
    counts: Counts
    out_share: float | None
    out_low: float | None
    out_high: float | None


@dataclass(frozen=True, slots=True)
class Report:
    """The whole answer of one audit, in one declared order. Every format shows the same."""

    report_version: str
    tool: str
    generated_at: str
    as_of: str
    decision: str
    title: str
    inputs: tuple[InputFile, ...]
    packs: tuple[PackUsed, ...]
    summary: Verdict
    stores: tuple[StoreResult, ...]
    checked: tuple[RuleChecked, ...]
    findings: tuple[Finding, ...]
    notices: tuple[Notice, ...]
    record_defects: tuple[RecordDefect, ...]
    upcoming: tuple[Due, ...]
    cautions: tuple[str, ...]
    records: int = field(default=0)
