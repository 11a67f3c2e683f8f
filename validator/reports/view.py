"""What does a reader of a report see? The values that every format for people is written from, all in words.

Every text in them is safe to show as it stands: nothing hidden, no control character, no endless line.
"""

from __future__ import annotations

from dataclasses import dataclass

from validator.reports.drawing import Picture

Tally = tuple[str, str, str, str]
"""How many checks are IN, OUT, N/O and N/A."""


@dataclass(frozen=True, slots=True)
class ToDo:
    """One thing to do: the action in the imperative, why in one line, and the id of the first finding behind it.

    `due` says by when it must be done and by which source; blank where no time is set.
    """

    action: str
    why: str
    finding: str
    due: str = ""


@dataclass(frozen=True, slots=True)
class FindingShown:
    """One finding in words; blank where there is nothing to say."""

    id: str
    rule: str
    title: str
    status: str
    grade: str
    reason: str
    marks: tuple[str, ...]
    target: str
    message: str
    measures: tuple[tuple[str, str], ...]
    rows: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]
    cited: tuple[str, ...]
    """Each source in short, and what it asks in our own words."""
    hazard: str
    limit_from: str
    """Which layer set the limit: a pack and its authority, or the register."""
    control: str
    """The rule's place in the HACCP plan, in words."""
    action: str
    action_when: str
    """When the action is called for: now, if the limit was not met after all, or if it occurs again."""
    remarks: tuple[str, ...]
    """Why the grade was moved, and the accepted deviation."""
    reasoning: tuple[tuple[str, tuple[str, ...]], ...]
    """Headings with their lines: the rows with their values, the arithmetic, what it was judged by."""


@dataclass(frozen=True, slots=True)
class CycleShown:
    """The findings of one cycle."""

    heading: str
    findings: tuple[FindingShown, ...]


@dataclass(frozen=True, slots=True)
class MachineShown:
    """The findings of one grade at one machine, by cycle."""

    store: str
    equipment: str
    count: int
    cycles: tuple[CycleShown, ...]


@dataclass(frozen=True, slots=True)
class GradeShown:
    """All findings of one grade: how many there are, and by machine those that are shown.

    `control` is the place in the HACCP plan that they share, in words; blank where they are grouped by grade alone.
    """

    control: str
    grade: str
    count: str
    machines: tuple[MachineShown, ...]


@dataclass(frozen=True, slots=True)
class RuleToDo:
    """What one rule with findings asks to be done, said once for all of them."""

    rule: str
    title: str
    count: str
    action: str
    hazard: str
    sources: tuple[tuple[str, str], ...]
    due: str
    """By when the first of them must be done."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a store or a machine stands."""

    subject: str
    about: str
    result: str
    reason: str
    score: str
    grades: str
    tally: Tally
    due: str


@dataclass(frozen=True, slots=True)
class StoreShown:
    """A store as a whole and its machines."""

    id: str
    whole: Standing
    timezone: str
    machines: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class CycleDrawn:
    """One cycle with its timeline, if it is drawn, and its findings, if it has any."""

    heading: str
    summary: str
    picture: Picture | None
    findings: tuple[FindingShown, ...]


@dataclass(frozen=True, slots=True)
class MachineDrawn:
    """All there is to see of one machine: its cleanings, what was found between them, readings, cycles the latest first.

    `calm` are the drawn cycles without a finding.
    """

    whole: Standing
    history: Picture | None
    between: tuple[FindingShown, ...]
    readings: tuple[Picture, ...]
    cycles: tuple[CycleDrawn, ...]
    calm: tuple[CycleDrawn, ...]


@dataclass(frozen=True, slots=True)
class StoreDrawn:
    """A store with its machines, each with its pictures and findings."""

    id: str
    whole: Standing
    machines: tuple[MachineDrawn, ...]


@dataclass(frozen=True, slots=True)
class IndexLine:
    """All findings of one rule and status: how many, where, and the id and store of the first."""

    title: str
    rule: str
    status: str
    count: int
    machines: str
    first: str
    store: str


@dataclass(frozen=True, slots=True)
class IndexGroup:
    """The findings of one grade, or of one place in the plan and grade, by rule."""

    control: str
    grade: str
    count: str
    lines: tuple[IndexLine, ...]


@dataclass(frozen=True, slots=True)
class MonthCell:
    """A store's month: `look` is out, unsure, good or none, and `said` how many checks that were."""

    look: str
    said: str


@dataclass(frozen=True, slots=True)
class Overview:
    """Stores by month: the months as headings, and a line a store; `left_out` months lie before them."""

    months: tuple[str, ...]
    lines: tuple[tuple[str, str, tuple[MonthCell, ...]], ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class Placed:
    """The report by place, as a page shows it: what was found by rule, stores by month, then every store with its pictures.

    `left_out` are sentences that say what is not on the page, each with its count.
    """

    index: tuple[IndexGroup, ...]
    overview: Overview | None
    stores: tuple[StoreDrawn, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CheckedShown:
    """What one rule judged; `outcome` is the share of OUT with its range, or that the rule was not exercised."""

    rule: str
    title: str
    grade: str
    tally: Tally
    outcome: str


@dataclass(frozen=True, slots=True)
class DefectShown:
    """Equal record defects: how often, what is wrong, and the first places."""

    count: str
    code: str
    column: str
    message: str
    where: str


@dataclass(frozen=True, slots=True)
class DueShown:
    """One date: when in words, the day, what must be cleaned under which rule, and the last cleaning that counted."""

    when: str
    day: str
    store: str
    equipment: str
    rule: str
    last: str
    late: bool


@dataclass(frozen=True, slots=True)
class FileShown:
    """How one file was read; `sha256` is the first twelve digits of the hash, `full_sha256` all of them."""

    file: str
    read: str
    reason: str
    rows: str
    sha256: str
    full_sha256: str
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GoneShown:
    """A finding of an earlier report that is none now: what it was, where, and why it is gone."""

    title: str
    status: str
    grade: str
    place: str
    now: str
    rule: str
    id: str


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """What has changed since an earlier report: in one sentence, and what became of findings that are none now."""

    said: str
    gone: tuple[GoneShown, ...]


@dataclass(frozen=True, slots=True)
class View:
    """The whole report as its reader meets it, top down; `left_out` counts the findings that are not shown."""

    title: str
    headline: str
    standing: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    first: tuple[ToDo, ...]
    grades: tuple[GradeShown, ...]
    left_out: int
    actions: tuple[RuleToDo, ...]
    times: tuple[tuple[str, str], ...]
    """The sources of the times for correction, each with what it asks in our own words."""
    stores: tuple[StoreShown, ...]
    checked: tuple[CheckedShown, ...]
    by_hand: str
    """How many cycles to draw for looking at by hand."""
    defects: tuple[DefectShown, ...]
    notices: tuple[tuple[str, str], ...]
    due: tuple[DueShown, ...]
    cautions: tuple[str, ...]
    files: tuple[FileShown, ...]
    change: ChangeShown | None
