"""What a rule pack, a rule, a clause and a case are: the models behind the YAML files in `rules/`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, Field, field_validator

from validator.fields import Capacities, Document, DurationText, Flag, Number, Text, Whole
from validator.statuses import Grade, Status

Authority = Literal["manufacturer", "regulation", "company", "practice"]
Confidence = Literal["A", "B", "C", "M"]


class SourceCited(Document):
    """A document that rules come from. Unpublished stands for common practice in the trade."""

    title: Text
    publisher: Text | None = None
    edition: Text | None = None
    published: Flag = True
    note: Text | None = None


class Cite(Document):
    """The place in a source that a rule rests on, and what it asks in our own words."""

    source: Text
    section: Text | None = None
    says: Text | None = None


class Correction(Cite):
    """How soon a breach must be put right, from the moment of the audit on, and where that time comes from."""

    within: DurationText


class Profile(Document):
    """A type of equipment: the lines and parts it has unless the register says otherwise."""

    title: Text | None = None
    lines: tuple[Text, ...] = ()
    parts: tuple[Text, ...] = ()
    capacities: Capacities = Field(default_factory=dict)


class ResultStep(Document):
    """A result and the least number of checks that bring it about, by grade; without conditions it always holds."""

    result: Text
    out: Mapping[Grade, Whole] = Field(default_factory=dict)
    not_observed: Mapping[Grade, Whole] = Field(default_factory=dict)


def _default_weights() -> dict[Grade, float]:
    return {Grade.CRITICAL: 10.0, Grade.MAJOR: 5.0, Grade.MINOR: 2.0, Grade.OBSERVATION: 0.0}


def _default_results() -> tuple[ResultStep, ...]:
    return (
        ResultStep(result="not met", out={Grade.CRITICAL: 1}),
        ResultStep(result="not met", out={Grade.MAJOR: 1}),
        ResultStep(result="not shown", not_observed={Grade.CRITICAL: 1}),
        ResultStep(result="not shown", not_observed={Grade.MAJOR: 1}),
        ResultStep(result="met, with remarks", out={Grade.MINOR: 1}),
        ResultStep(result="met, with remarks", not_observed={Grade.MINOR: 1}),
        ResultStep(result="met"),
    )


class Grading(Document):
    """How grades weigh in the score, how a mark moves a grade, and which result follows; the first that holds wins.

    `correct_within` says by grade how soon a breach must be put right; a grade that it leaves out has no time. A part that a
    pack does not write is that of the pack beneath. `authority` and `justification` are those of the times: what allows more
    than the pack beneath says why, as a rule does.
    """

    weights: Mapping[Grade, Number] = Field(default_factory=_default_weights)
    cos: Literal["keep", "lower"] = "keep"
    repeat: Literal["keep", "raise"] = "keep"
    results: tuple[ResultStep, ...] = Field(default_factory=_default_results)
    correct_within: Mapping[Grade, Correction] = Field(default_factory=dict)
    authority: Authority = "practice"
    justification: Text | None = None

    @field_validator("weights")
    @classmethod
    def _complete(cls, value: Mapping[Grade, float]) -> Mapping[Grade, float]:
        for grade, weight in value.items():
            if weight < 0:
                raise ValueError(f"the weight of {grade.value} is {weight}; a weight is 0 or more")
        return {**_default_weights(), **value}


class PlanPlace(Document):
    """The place of a rule in a HACCP plan (Codex CXC 1): what it guards against, where, and how that is watched.

    The hazard's kind and the corrective action are the rule's own; together with them a critical control point has
    seven parts. `control` says whether the rule is one or belongs to the prerequisite programme.
    """

    control: Literal["critical_control_point", "prerequisite"]
    hazard: Text | None = None
    critical_limit: Text | None = None
    monitoring: Text | None = None
    verification: Text | None = None
    record: Text | None = None


class Rule(Document):
    """One rule: what it computes (kind and params), how grave a breach is, where it comes from, what to do.

    With `profiles` it is for machines of these profiles alone; a machine of another profile, or of none, gets no check.
    `settled_by` says what ends a fault: the next `cleaning` in which the same check is met, or nothing but the `correction`
    of the entry that is at fault.
    """

    id: Text
    title: Text
    kind: Text
    grade: Grade = Grade.MAJOR
    profiles: tuple[Text, ...] = ()
    params: Mapping[Text, Any] = Field(default_factory=dict)
    cites: tuple[Cite, ...] = ()
    hazard: Text | None = None
    why: Text | None = None
    corrective_action: Text | None = None
    settled_by: Literal["cleaning", "correction"] = "cleaning"
    plan: PlanPlace | None = None
    authority: Authority = "practice"
    justification: Text | None = None


class PackFile(Document):
    """`pack.yaml`, or a pack in one file with its rules inline."""

    pack: Text
    version: Text = "0"
    title: Text | None = None
    procedure: Text | None = None
    extends: tuple[Text, ...] = ()
    decision: Literal["simple", "guarded"] = "simple"
    steps: tuple[Text, ...] = ()
    agents: tuple[Text, ...] = ()
    cautions: tuple[Text, ...] = ()
    sources: Mapping[Text, SourceCited] = Field(default_factory=dict)
    profiles: Mapping[Text, Profile] = Field(default_factory=dict)
    grading: Grading | None = None
    rules: tuple[Rule, ...] = ()


class Clause(Document):
    """One clause of a source that matters here, with where it was seen, how sure that is, and who checks it."""

    source: Text
    section: Text
    says: Text
    edition: Text | None = None
    seen: Text | None = None
    confidence: Confidence
    status: Literal["checked", "partly", "by_hand", "not_applicable"]
    rules: tuple[Text, ...] = ()
    note: Text | None = None


class ClauseFile(Document):
    """`clauses.yaml`."""

    clauses: tuple[Clause, ...]


class Expected(Document):
    """One check that a case must give; `cycle_id` may be left out where the case has one cycle only."""

    status: Status
    target: str = ""
    cycle_id: str | None = None
    equipment_id: str | None = None
    reason: str | None = None
    marks: tuple[str, ...] = ()


class Case(Document):
    """A small table of records and the exact checks that the rule must give for it."""

    name: Text
    boundary: Flag = False
    as_of: Text
    register_: Mapping[str, Any] | None = Field(default=None, alias="register")
    records: Text
    expect: tuple[Expected, ...]


class CaseFile(Document):
    """`cases.yaml`: the cases of one rule, and which statuses cannot be reached, with the reason."""

    register_: Mapping[str, Any] | None = Field(default=None, alias="register")
    cannot: Mapping[Literal["in", "out", "not_observed", "not_applicable", "boundary"], Text] = Field(
        default_factory=dict
    )
    cases: tuple[Case, ...]


def documents_in(params: Any) -> Iterable[Any]:
    """A rule's parameters and every document inside them: all that can name steps and targets."""
    if isinstance(params, BaseModel):
        yield params
        for name in type(params).model_fields:
            yield from documents_in(getattr(params, name))
    elif isinstance(params, tuple):
        for item in params:
            yield from documents_in(item)


@dataclass(frozen=True)
class BoundRule:
    """A rule with its parameters read by its kind, the pack it stands in, and the place for messages.

    `beneath` is the rule of a pack beneath that it stands in place of.
    """

    rule: Rule
    params: Any
    pack: str
    place: str
    beneath: BoundRule | None = None


@dataclass(frozen=True)
class BoundTimes:
    """The grading whose times for correction hold, the pack it stands in, and the place for messages.

    `beneath` are the times of a pack beneath that they stand in place of.
    """

    grading: Grading
    pack: str
    place: str
    beneath: BoundTimes | None = None


@dataclass(frozen=True)
class Pack:
    """A pack ready to be applied: packs beneath it merged in, every rule bound to its kind."""

    id: str
    version: str
    title: str
    procedure: str | None
    sha256: str
    decision: str
    steps: frozenset[str]
    agents: frozenset[str]
    cautions: tuple[str, ...]
    sources: Mapping[str, SourceCited]
    profiles: Mapping[str, Profile]
    grading: Grading
    rules: tuple[BoundRule, ...]
    clauses: tuple[Clause, ...]
    cases: Mapping[str, CaseFile]
    layers: tuple[str, ...]
    places: tuple[Path, ...] = ()
    """Where its files lie, and those of the packs beneath it, the topmost first."""
    times: BoundTimes | None = None
    """Where its times for correction come from; None where no layer has any."""
    any_procedure: bool = False
    """Whether it judges cycles of every procedure on purpose (`procedure: any`)."""
