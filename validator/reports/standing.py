"""How does a store or a machine stand, in words?"""

from __future__ import annotations

from validator.findings import Counts, Due, StoreResult, Verdict
from validator.reports import words
from validator.reports.finding import subject
from validator.reports.grouping import by_date
from validator.reports.view import Standing, StoreShown, Tally
from validator.reports.visible import heading, name


def store_shown(store: StoreResult) -> StoreShown:
    machines = tuple(
        standing(
            name(machine.equipment_id),
            ", ".join(part for part in (name(machine.profile), words.count(machine.cycles, "cycle")) if part),
            machine.verdict,
            machine.next_due,
        )
        for machine in store.equipment
    )
    dates = [machine.next_due for machine in store.equipment if machine.next_due]
    about = words.count(len(store.equipment), "machine")
    whole = standing(subject(store.store_id, store.name), about, store.verdict, by_date(dates)[0] if dates else None)
    return StoreShown(store.store_id, whole, name(store.timezone), machines)


def standing(subject: str, about: str, verdict: Verdict, due: Due | None) -> Standing:
    return Standing(
        subject=subject,
        about=about,
        result=heading(verdict.result) or "not stated",
        reason=words.capital(words.stopped(verdict.result_reason)),
        score=words.score(verdict.score),
        grades=words.grades(verdict.grades) or "none",
        tally=tally(verdict.counts),
        due=f"{name(due.due_on)}, {words.due(due)}" if due else "no date",
    )


def in_a_line(standing: Standing) -> str:
    """Result, score and next date as running text; blank where nothing is known but the name."""
    if not standing.result:
        return ""
    reason = f": {standing.reason}" if standing.reason else "."
    return (
        f"{words.capital(standing.result)}{reason} Score {standing.score}; OUT: {standing.grades}. "
        f"Next due: {standing.due}."
    )


def tally(counts: Counts) -> Tally:
    return f"{counts.in_:,}", f"{counts.out:,}", f"{counts.not_observed:,}", f"{counts.not_applicable:,}"
