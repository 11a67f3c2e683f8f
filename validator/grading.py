"""How does it stand in all: a score with its range, a result in words, and how sure a share of faults is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from validator.findings import Counts, Grade, Score, Verdict
from validator.packs.model import Grading

NOT_JUDGED = "not judged"
_COUNTED = {
    (Grade.CRITICAL, "OUT"): "{count} critical OUT", (Grade.CRITICAL, "N/O"): "{count} critical N/O",
    (Grade.MAJOR, "OUT"): "{count} major OUT", (Grade.MAJOR, "N/O"): "{count} major N/O",
    (Grade.MINOR, "OUT"): "{count} minor OUT", (Grade.MINOR, "N/O"): "{count} minor N/O",
    (Grade.OBSERVATION, "OUT"): "{count} observation OUT", (Grade.OBSERVATION, "N/O"): "{count} observation N/O",
}  # fmt: skip
"""Whole phrases, so that each can be said in another language."""
_NAMES = tuple((grade, grade.value) for grade in Grade)
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Tally = tuple[float, int, int, int]
"""Of one rule: its weight, and how many of its checks are IN, OUT and N/O."""


def score(tallies: Sequence[Tally]) -> Score:
    """The flat scoring model of NIST IR 7275 r4, section 7.3.2: the weighted share of what passed, in percent.

    A rule with several checks scores the share of them that is IN; N/A and, in `value`, N/O are left out. `low` and
    `high` count every N/O as OUT and as IN. All three are None where there is nothing to score.
    """
    weights = np.array([t[0] for t in tallies], dtype=np.float64)
    counts = np.array([t[1:] for t in tallies], dtype=np.int64).reshape(len(tallies), 1, 3)
    return scores(weights, counts)[0]


def scores(weights: Floats, counts: Ints) -> list[Score]:
    """The score of many subjects at once: `counts[rule, subject]` are its checks IN, OUT and N/O."""
    in_, out, not_observed = (counts[:, :, k].astype(np.float64) for k in range(3))
    judged, known = in_ + out, in_ + out + not_observed
    weight = weights[:, None]

    def percent(part: Floats, of: Floats) -> list[float | None]:
        share = np.divide(part, of, out=np.zeros_like(part), where=of > 0)
        whole = (weight * (of > 0)).sum(axis=0)
        total = np.divide(100 * (weight * share).sum(axis=0), whole, out=np.zeros_like(whole), where=whole > 0)
        return [round(t, 2) if w > 0 else None for t, w in zip(total.tolist(), whole.tolist(), strict=True)]

    columns = percent(in_, judged), percent(in_, known), percent(in_ + not_observed, known)
    return [Score(*three) for three in zip(*columns, strict=True)]


def wilson(count: int, of: int) -> tuple[float | None, float | None]:
    """Wilson's 95 % score interval for a share (Newcombe, Statistics in Medicine 17 (1998), method 3); None of none."""
    if of == 0:
        return None, None
    z = 1.959963984540054  # the 97.5 % point of the standard normal distribution
    middle = (count + z * z / 2) / (of + z * z)
    half = z / (of + z * z) * math.sqrt(count * (of - count) / of + z * z / 4)
    return max(0.0, middle - half), min(1.0, middle + half)


def verdict(
    grading: Grading, score: Score, counts: Counts, out: Mapping[Grade, int], not_observed: Mapping[Grade, int]
) -> Verdict:
    """Result and completeness of a store, a machine or a run; `out` and `not_observed` count findings by grade."""
    shown = counts.in_ + counts.out
    asked = shown + counts.not_observed
    result, reason = _result(grading, shown, out, not_observed)
    return Verdict(
        result, reason, score, counts, {name: out.get(g, 0) for g, name in _NAMES},
        round(shown / asked, 4) if asked else None,
    )  # fmt: skip


def withheld(verdict: Verdict, reason: str) -> Verdict:
    """The same verdict without a result that what could not be read might undo: only a grave OUT stands whatever it holds."""
    if verdict.grades[Grade.CRITICAL.value] or verdict.grades[Grade.MAJOR.value]:
        return verdict
    return replace(verdict, result=NOT_JUDGED, result_reason=reason)


def _result(
    grading: Grading, judged: int, out: Mapping[Grade, int], not_observed: Mapping[Grade, int]
) -> tuple[str, str]:
    """The first result of the pack's ladder whose conditions hold, and the counts that brought it about."""
    if judged == 0:
        return NOT_JUDGED, "no check could be judged IN or OUT"
    for step in grading.results:
        sides = (out, step.out, "OUT"), (not_observed, step.not_observed, "N/O")
        if all(found.get(grade, 0) >= least for found, needs, _ in sides for grade, least in needs.items()):
            reason = ", ".join(
                _COUNTED[g, word].format(count=found.get(g, 0)) for found, needs, word in sides for g in needs
            )
            return step.result, reason or "nothing that weighs against it"
    return NOT_JUDGED, "the pack's grading has no result for this"


def moved(grading: Grading, grade: Grade, marks: Sequence[str]) -> tuple[Grade, str]:
    """The grade after its marks, and why it moved ('' where it did not)."""
    if not marks:
        return grade, ""
    ladder = list(Grade)
    at, reasons = ladder.index(grade), []
    if "cos" in marks and grading.cos == "lower" and at < len(ladder) - 1:
        at += 1
        reasons.append("one grade lower because it was put right on site")
    if "repeat" in marks and grading.repeat == "raise" and at > 0:
        at -= 1
        reasons.append("one grade higher because it has happened before")
    return ladder[at], "; ".join(reasons)
