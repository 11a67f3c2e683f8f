"""How does a report read in another language? What it says is said anew; ids, figures, rows and recorded values stay.

Texts by which a page decides what to show (where a limit comes from, what was assumed of a file) are said by the page itself.

It is a step between report and renderer, as the reader's units are: JSON and the archive stay English.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

from validator.findings import Action, Change, Citation, Finding, InputFile, Report, Required, Verdict
from validator.language import Language

Say = Callable[[str], str]


def in_language(report: Report, language: Language) -> Report:
    """The report as a reader of the language sees it."""
    say: Say = cache(language.say)
    cited: Callable[[Citation], Citation] = cache(lambda citation: replace(citation, says=say(citation.says)))
    return replace(
        report,
        title=say(report.title),
        inputs=tuple(_file(file, say) for file in report.inputs),
        packs=tuple(replace(pack, title=say(pack.title)) for pack in report.packs),
        summary=_verdict(report.summary, say),
        stores=tuple(
            replace(
                store,
                verdict=_verdict(store.verdict, say),
                equipment=tuple(replace(one, verdict=_verdict(one.verdict, say)) for one in store.equipment),
            )
            for store in report.stores
        ),
        checked=tuple(replace(rule, title=say(rule.title)) for rule in report.checked),
        findings=tuple(_finding(finding, say, cited) for finding in report.findings),
        actions=tuple(_action(action, say, cited) for action in report.actions),
        change=None if report.change is None else _change(report.change, say),
        notices=tuple(replace(notice, message=say(notice.message)) for notice in report.notices),
        record_defects=tuple(replace(defect, message=say(defect.message)) for defect in report.record_defects),
        cautions=tuple(map(say, report.cautions)),
    )


def _finding(finding: Finding, say: Say, cited: Callable[[Citation], Citation]) -> Finding:
    asked = finding.required
    return replace(
        finding,
        title=say(finding.title), message=say(finding.message), corrective_action=say(finding.corrective_action),
        grade_reason=_list(finding.grade_reason, "; ", say), hazard=say(finding.hazard),
        deviation=None if finding.deviation is None else say(finding.deviation),
        required=None if asked is None else _required(asked, say),
        citations=tuple(map(cited, finding.citations)),
    )  # fmt: skip


def _action(action: Action, say: Say, cited: Callable[[Citation], Citation]) -> Action:
    source = action.due_citation
    return replace(
        action, action=say(action.action), title=say(action.title), due_reason=say(action.due_reason),
        due_citation=None if source is None else cited(source),
    )  # fmt: skip


def _change(change: Change, say: Say) -> Change:
    resolved, not_judged = (
        tuple(replace(gone, title=say(gone.title)) for gone in some) for some in (change.resolved, change.not_judged)
    )
    return replace(change, resolved=resolved, not_judged=not_judged)


def _file(file: InputFile, say: Say) -> InputFile:
    return replace(file, reason=say(file.reason))


def _verdict(verdict: Verdict, say: Say) -> Verdict:
    return replace(verdict, result=say(verdict.result), result_reason=_list(verdict.result_reason, ", ", say))


def _required(asked: Required, say: Say) -> Required:
    return replace(asked, text=say(asked.text))


def _list(text: str, sign: str, say: Say) -> str:
    """Several texts that were joined by a sign, each said by itself."""
    return sign.join(map(say, text.split(sign)))
