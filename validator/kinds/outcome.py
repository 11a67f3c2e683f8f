"""What a kind hands back: one line a check, in columns, with the rows that show it looked up only when asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, overload

import numpy as np
import numpy.typing as npt

from validator.findings import Evidence, Quantity, Required
from validator.machines import Machine
from validator.presence import Presence
from validator.steps import Steps
from validator.tables import AGENTS

Ints = npt.NDArray[np.int64]
Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]

Stricter = Literal["lower", "higher", "none", "free"]
"""Which way a parameter gets stricter: lower, higher, lower and best not there at all (an allowance), or it is no limit."""
IN, OUT, NOT_OBSERVED, NOT_APPLICABLE = 0, 1, 2, 3
STATUS_WORDS = ("in", "out", "not_observed", "not_applicable")


@dataclass(frozen=True)
class Shown:
    """The facts of one check for its finding: what was seen, what was asked, by how much it differs, which rows.

    `rows` are positions in the steps' own order. `facts` fill the sentence of the kind and reason.
    `beside` are rows of other machines in words, each with its source and number.
    """

    observed: Quantity | None = None
    required: Required | None = None
    margin: Quantity | None = None
    rows: Sequence[int] = ()
    columns: tuple[str, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)
    beside: tuple[tuple[int, int, Evidence], ...] = ()


@dataclass
class Outcomes:
    """The checks of one rule. All arrays have one entry a check; `cycle` -1 stands for no cycle.

    `reason` names why a check is OUT or N/O ('' otherwise); `corrected` marks what a later step put right; `part`
    tells apart several relations of one rule. `close` marks what lies within the clock's resolution of its limit, `claimed`
    what is IN only because a value that is not on record was taken as kept. `allowance` is how long each interval may
    last before it is due.
    `before` is for each machine the day from which only an earlier report knew its first interval to run, -1 for none.
    `show(i)` gives the facts of check i.
    """

    machine: Ints
    cycle: Ints
    target: Sequence[str]
    status: npt.NDArray[np.int8]
    reason: Sequence[str]
    show: Callable[[int], Shown]
    corrected: Mask | None = None
    part: str = ""
    close: Mask | None = None
    allowance: Ints | None = None
    claimed: Mask | None = None
    before: Ints | None = None

    def __len__(self) -> int:
        return len(self.status)


@dataclass(frozen=True)
class Lost:
    """What an earlier report knew of cleanings, in local days (-1: nothing), one entry a machine.

    `on` is the day of the last cleaning where these records do not hold it, and `cycle` its id; `reach` that day whether they
    do or not. `first` is the cycle of these records that was the first of the earlier ones, -1 where it is not there and
    -2 where none was, and `known` the day of the one before it. `told` marks the cycles at whose end an interval was a finding.
    """

    on: Ints
    cycle: Sequence[str]
    reach: Ints
    first: Ints
    known: Ints
    told: Mask


@dataclass(frozen=True)
class Scope:
    """What a kind looks at: the steps, and the machines and cycles to be judged with one set of parameters.

    `counting` (interval only) marks cycles that count. `families` are the steps that the pack's rules ask for on lines
    and on parts: they tell the two apart where no register does. `rules` are the pack's rules, as kind and parameters.
    `unread` says that some file could not be read, so that a machine without a row may only seem to have none; `agents`
    are the words that the contract and the pack know. `lost` are cleanings that only an earlier report knew. `fleet` are all machines of the audit, where those judged here are only some of
    them, and `people` the rows of people at several stores, with those of the others. `guarded` asks for a verdict only where the whole range that the record allows lies on one side of the limit.
    """

    steps: Steps
    machines: Sequence[Machine]
    machine_in: Mask
    counting: Mask | None = None
    families: Mapping[str, frozenset[str]] = field(default_factory=dict)
    rules: Sequence[tuple[str, Any]] = ()
    guarded: bool = False
    unread: bool = False
    agents: frozenset[str] = AGENTS
    fleet: Sequence[Machine] = ()
    people: Presence | None = None
    lost: Lost | None = None

    @property
    def now(self) -> int:
        """The latest moment of the audit by the clock of any store."""
        return max((m.as_of for m in self.fleet), default=0)

    @property
    def slack(self) -> int:
        """How far a time between two stamps can be from what they say, in microseconds: the clock's resolution."""
        return self.steps.slack()

    @property
    def guard(self) -> int:
        """The slack that a verdict must allow for: none under the decision rule `simple`."""
        return self.slack if self.guarded else 0

    def cycle_in(self) -> Index:
        """The cycles of the machines to be judged."""
        return np.flatnonzero(self.machine_in[self.steps.machine]) if self.steps.cycles else np.empty(0, np.intp)


class _Coded(Sequence[str]):
    """Words as codes into a short list, so that a million checks share a handful of words; -1 is the empty word."""

    def __init__(self, words: Sequence[str], codes: npt.NDArray[Any]) -> None:
        self.words, self.codes = tuple(words), codes

    def __len__(self) -> int:
        return len(self.codes)

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[str]: ...
    def __getitem__(self, at: int | slice) -> str | Sequence[str]:
        if isinstance(at, slice):
            return _Coded(self.words, self.codes[at])
        code = int(self.codes[at])
        return self.words[code] if code >= 0 else ""


class Reasons(_Coded):
    """Why checks are OUT or N/O; the first word is the empty one."""


class Names(_Coded):
    """Names of targets; -1 is the whole equipment."""
