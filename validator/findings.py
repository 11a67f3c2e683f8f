"""The values a report is made of: frozen, complete in themselves, and the only input of the renderers."""

from __future__ import annotations

from dataclasses import dataclass, field

from validator.statuses import Grade as Grade
from validator.statuses import Status as Status

REPORT_VERSION = "1"
NEW = "new"
PERSISTING = "persisting"
"""How a finding stands to an earlier report."""


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
    `limit_from` says which layer set the limit: a pack and its authority, or the register. `since` is `new` or `persisting`
    where the audit was held against an earlier report, else blank; `first_reported` is the moment that the first report of
    it looked from, blank where this is the first. `settled_by` and `settled_on` are the later cleaning that met the same check, or in which an N/O one could
    be judged, and when it began: nothing is left to do. `same_as` is the finding that tells of the same omission.
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
    since: str = ""
    first_reported: str = ""
    settled_by: str = ""
    settled_on: str = ""
    same_as: str = ""


@dataclass(frozen=True, slots=True)
class Gone:
    """A finding of an earlier report that is none now. `now` is `met`, `not_applicable`, or blank where it was not judged again."""

    id: str
    rule: str
    title: str
    grade: Grade
    status: Status
    store_id: str
    equipment_id: str
    cycle_id: str
    cycle_started: str
    target: str
    now: str


@dataclass(frozen=True, slots=True)
class Change:
    """What has changed since an earlier report: its file and moment, findings counted, and those that are gone."""

    file: str
    sha256: str
    as_of: str
    generated_at: str
    new: int
    persisting: int
    resolved: tuple[Gone, ...]
    not_judged: tuple[Gone, ...]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do at one machine, for all findings of a rule that ask for the same.

    `id` is stable from night to night, so that a kept list can be followed up. `title` is what is wrong; `status` and `grade`
    are those of the gravest finding. `due` is the latest moment by the store's clock (RFC 3339), blank where no time is set;
    `due_reason` says why, and `due_citation` where that time comes from; `overdue` says that it had passed at the moment of the
    audit. `cautions` are numbers in the report's list, from 1.
    """

    id: str
    action: str
    title: str
    rule: str
    grade: Grade
    status: Status
    store_id: str
    equipment_id: str
    cycle_ids: tuple[str, ...]
    targets: tuple[str, ...]
    due: str
    due_reason: str
    due_citation: Citation | None
    findings: tuple[str, ...]
    cautions: tuple[int, ...]
    overdue: bool = False


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
    """The next cleaning that an interval rule asks for. `days_left` below zero is overdue; `due_on` is a local date.

    `limit` says how long the interval may last and `limit_from` which layer set it. It is counted from `counted_from`, the day
    of the last cleaning that counts, else the day of going into service; `days_closed` days out of service are left out.
    `warn_days` before the due date it is due soon. `first_cycle_id` is the first cleaning that counts in these records, and
    `known_before` the day of the one before it, or of itself where that was judged, by an earlier report.
    """

    store_id: str
    equipment_id: str
    rule: str
    due_on: str
    days_left: int
    state: str
    last_cycle_id: str
    last_completed: str
    limit: str = ""
    limit_from: str = ""
    counted_from: str = ""
    days_closed: int = 0
    warn_days: int = 0
    first_cycle_id: str = ""
    known_before: str = ""


@dataclass(frozen=True, slots=True)
class EquipmentResult:
    equipment_id: str
    profile: str
    cycles: int
    verdict: Verdict
    next_due: Due | None


@dataclass(frozen=True, slots=True)
class StoreResult:
    """How a store stands; `not_judged` are the rules of which no check there came out IN or OUT."""

    store_id: str
    name: str
    timezone: str
    verdict: Verdict
    equipment: tuple[EquipmentResult, ...]
    not_judged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleChecked:
    """What one rule judged. `state` is `judged`, or `not exercised` where no check came out IN or OUT.

    `out_low` and `out_high` bound the share of OUT among the judged checks (Wilson's 95 % interval). `citations` and
    `corrective_action` are the rule's own, so that a rule without a finding is told in full as well.
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
    citations: tuple[Citation, ...] = ()
    corrective_action: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """One recorded row of a cycle, in seconds since the cycle began: the longest stretch that it can have taken up.

    `unknown` names the times that are not known: blank, `start`, `end` or `both`; there the stretch ends at a bound, null where
    nothing bounds it. `source` is the position in the timeline's list of files and sheets.
    """

    step: str
    target: str
    start: float | None
    end: float | None
    unknown: str
    source: int
    row: int


@dataclass(frozen=True, slots=True)
class Asked:
    """What a rule asks of a step on a target of a cycle, and how the check came out.

    `least_s` is in seconds, null where no time is asked; `observed` is what was seen of it, null where nothing is known.
    """

    rule: str
    step: str
    target: str
    status: Status
    reason: str
    least_s: float | None
    observed: Quantity | None


@dataclass(frozen=True, slots=True)
class Timeline:
    """A cycle to be drawn: its targets in order (blank: the whole machine), its rows, and what was asked of them.

    `seconds` is how long the known times reach. `at_once` says how many rows of a step the machine can run at once.
    """

    store_id: str
    equipment_id: str
    cycle_id: str
    started: str
    seconds: float
    targets: tuple[str, ...]
    out_of_use: tuple[str, ...]
    at_once: tuple[tuple[str, int], ...]
    sources: tuple[tuple[str, str], ...]
    spans: tuple[Span, ...]
    asked: tuple[Asked, ...]


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One cycle in a machine's history: the local date of its completion, and the worst that its checks came out."""

    day: str
    cycle_id: str
    status: Status


@dataclass(frozen=True, slots=True)
class Run:
    """One interval: from a cleaning that counts to its due date, and to the next one that counts (or the audit).

    All are local dates. `running`: no cleaning has ended it yet, and `ended` is the day of the audit.
    """

    rule: str
    begun: str
    due: str
    ended: str
    running: bool
    status: Status


@dataclass(frozen=True, slots=True)
class History:
    """A machine's cleanings over the months, with the seasons in which it was closed (both ends inclusive)."""

    store_id: str
    equipment_id: str
    until: str
    cleanings: tuple[Cleaning, ...]
    runs: tuple[Run, ...]
    closed: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a solution: `low` and `high` are the true values that it can stand for (null: no end).

    `at` is local, blank where the row has no time. `status` is how the reading itself lies to the limits.
    """

    at: str
    cycle_id: str
    solution: str
    value: float
    low: float | None
    high: float | None
    status: Status
    file: str
    sheet: str
    row: int


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of an agent at a machine, in mg/L, and the widest band that its rules leave open (null: no end)."""

    store_id: str
    equipment_id: str
    agent: str
    rules: tuple[str, ...]
    min: float | None
    max: float | None
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Month:
    """How the checks of a store's cycles that began in one month (`2026-05`) came out."""

    store_id: str
    month: str
    cycles: int
    out: int
    not_observed: int


@dataclass(frozen=True, slots=True)
class Pictures:
    """What a report can draw beside its findings, clean cycles too; what is left out of a large fleet is counted."""

    timelines: tuple[Timeline, ...]
    histories: tuple[History, ...]
    readings: tuple[Readings, ...]
    months: tuple[Month, ...]
    cycles_left_out: int
    machines_left_out: int


@dataclass(frozen=True, slots=True)
class Report:
    """The whole answer of one audit, in one declared order. Every format shows the same.

    `actions` are all that the findings ask for, the most urgent first; what was put right on site, met by a later cleaning or
    accepted asks for none.
    """

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
    actions: tuple[Action, ...] = ()
    change: Change | None = None
    pictures: Pictures | None = None
