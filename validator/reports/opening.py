"""What does the report say first: how it stands in one sentence, and the few things to do before all others?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from validator.findings import Action, Finding, InputFile, Report, Status
from validator.reports import words
from validator.reports.grouping import by_date, by_gravity, grouped, machines
from validator.reports.view import ToDo
from validator.reports.visible import heading, name
from validator.statuses import OPEN
from validator.tables import COMMON_NAMES

FIRST = 3
"""Things to do first; a longer list would not be read as first things."""

NOT_EXERCISED = "not exercised"
_Ranked = tuple[tuple[int, int, str], ToDo]
_NO_ROWS = ToDo(
    "Export the records again and check that they cover the period.", "An empty export shows neither good nor bad.", ""
)


def headline(report: Report) -> str:
    """What is known in one sentence; what could not be shown is said as plainly as what was not met."""
    result = words.capital(heading(report.summary.result)) or "Result not stated"
    return f"{result}: {_known(report)}"


def _known(report: Report) -> str:
    counts = report.summary.counts
    total = counts.in_ + counts.out + counts.not_observed
    checks = words.count(total, "check")
    tail = f"; {counts.not_observed:,} could not be shown from the records." if counts.not_observed else "."
    if total and not report.records:
        return "no row could be read; what is judged here follows from the register alone."
    if not total:
        return "no check could be made." if report.records else "no check could be made; there is no row to judge."
    if total == counts.not_observed:
        return f"not one of {checks} could be shown from the records, met or not met."
    if counts.out:
        found = machines(finding for finding in report.findings if finding.status is Status.OUT)
        where = f" at {words.count(found, 'machine')}" if found else ""
        return f"{counts.out:,} of {checks}{where} {_was(counts.out)} not met{tail}"
    if counts.not_observed:
        return f"{counts.in_:,} of {checks} {_was(counts.in_)} met{tail}"
    return "the one check was met." if total == 1 else f"all {total:,} checks were met."


def _was(number: int) -> str:
    return "was" if number == 1 else "were"


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


def standing(report: Report) -> tuple[str, ...]:
    """The sentences under the headline: why this result, and what it does not cover."""
    lines = [words.capital(words.stopped(report.summary.result_reason))] if report.summary.result_reason else []
    lines += _common_names(report)
    unread = sum(not_read(file) for file in report.inputs)
    if unread:
        files = words.count(len(report.inputs), "file")
        lines.append(f"{unread:,} of {files} {_was(unread)} not read in full; the result does not cover the rest.")
    told = [notice for notice in report.notices if notice.code in ("no_register", "unknown_profile", "other_procedure")]
    lines += [words.capital(words.stopped(notice.message)) for notice in told[:FIRST]]
    ahead = sum(notice.code == "after_as_of" for notice in report.notices)
    if ahead:
        lines.append(f"{words.count(ahead, 'cycle')} {_is(ahead)} dated after the moment of this audit; see Notices.")
    defective = sum(file.rows_defective for file in report.inputs)
    if defective:
        lines.append(f"{words.count(defective, 'row')} could not be used in full; see Record defects.")
    accepted = sum(finding.deviation is not None for finding in report.findings)
    if accepted:
        lines.append(
            f"{words.count(accepted, 'finding')} {_was(accepted)} accepted for a time; each is marked and says by whom."
        )
    idle = sum(rule.state == NOT_EXERCISED for rule in report.checked)
    if idle:
        rules = words.count(len(report.checked), "rule")
        lines.append(f"{idle:,} of {rules} {_was(idle)} not exercised; see What was checked.")
    return tuple(lines)


def _common_names(report: Report) -> list[str]:
    """Which columns were taken for ours without anybody saying so: all else that the report says rests on it."""
    said = dict.fromkeys(
        text[text.index(COMMON_NAMES) :] for file in report.inputs for text in file.assumptions if COMMON_NAMES in text
    )
    lines = [f"{words.capital(text)}; a mapping can say otherwise." for text in list(said)[:FIRST]]
    more = [f"{words.count(len(said) - FIRST, 'more set')} of columns {_was(len(said) - FIRST)} read so; see Files."]
    return lines + (more if len(said) > FIRST else [])


def not_read(file: InputFile) -> bool:
    """Whether a file was refused, or read only in part."""
    return file.status not in ("", "read")


def first_things(report: Report) -> tuple[ToDo, ...]:
    """At most three things to do, the most pressing first; one of them stands for all findings of a rule.

    First what is overdue now by a rule; critical findings; then files that must come again; major findings; what is overdue; lesser findings; and last
    what could not be shown.
    """
    ranked = [*_from_findings(report), *_from_files(report), *_from_due(report)]
    if not ranked and not report.records:
        return (_NO_ROWS,)
    return tuple(todo for _, todo in sorted(ranked, key=lambda pair: pair[0])[:FIRST])


def _from_findings(report: Report) -> Iterator[_Ranked]:
    # What was put right on the spot, or accepted for a time, is told below and asks for nothing now.
    open_ones = [finding for finding in report.findings if "cos" not in finding.marks and not finding.deviation]
    asked = {finding: action for action in report.actions for finding in action.findings}
    for (status, _, rule), same in grouped(open_ones, lambda f: (f.status, f.pack, f.rule)).items():
        worst = by_gravity(same)[0]
        band = 0 if status is Status.OUT else 60
        if any(finding.target == OPEN and finding.status is Status.OUT for finding in same):
            band = -100  # what is overdue now comes before what was wrong then
            worst = next(finding for finding in same if finding.target == OPEN)
        yield (band + worst.grade.rank * 10, -len(same), rule), _about(worst, same, asked)


def _about(worst: Finding, same: list[Finding], asked: Mapping[str, Action]) -> ToDo:
    place = ", ".join(name(part) for part in (worst.store_id, worst.equipment_id, worst.target) if part)
    often = words.count(len(same), "time")
    if machines(same) > 1:
        often += f" at {words.count(machines(same), 'machine')}"
    where = "" if not place else f", first {place}" if len(same) > 1 else f", {place}"
    why = f"{heading(worst.title)} ({worst.status.shown}, {worst.grade.value}): {often}{where}."
    wanted = asked[worst.id].action if worst.id in asked else worst.corrective_action
    due = words.deadline(asked[finding.id] for finding in same if finding.id in asked)
    return ToDo(words.stopped(wanted) or "Put this right.", why, name(worst.id), due)


def _from_files(report: Report) -> Iterator[_Ranked]:
    unread = [file for file in report.inputs if not_read(file)]
    if unread:
        more = f" and {words.count(len(unread) - 1, 'other file')}" if len(unread) > 1 else ""
        why = words.stopped(unread[0].reason) or "It was not read in full."
        unclear = unread[0].reason.startswith(("ambiguous_column", "missing_column"))
        do = "Write a mapping for" if unclear else "Send"
        yield (
            (5, 0, ""),
            ToDo(f"{do} {name(unread[0].file)}{more}{'' if unclear else ' again'}.", words.capital(why), ""),
        )


def _from_due(report: Report) -> Iterator[_Ranked]:
    # An interval that is already a finding is told there, and not a second time as a date.
    told = {(f.rule, f.store_id, f.equipment_id) for f in report.findings if f.status is Status.OUT}
    late = [due for due in by_date(report.upcoming) if due.days_left < 0]
    late = [due for due in late if (due.rule, due.store_id, due.equipment_id) not in told]
    if late:
        worst = late[0]
        more = f" and {words.count(len(late) - 1, 'other machine')}" if len(late) > 1 else ""
        why = f"{name(worst.rule)}: it was due on {name(worst.due_on)}, {words.due(worst)}."
        yield (15, 0, worst.rule), ToDo(f"Clean {name(worst.equipment_id)} at {name(worst.store_id)}{more}.", why, "")
