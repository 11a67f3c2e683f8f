"""What of a report is about one store? The same report with nothing of the others in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from validator.findings import NEW, PERSISTING, Change, Finding, Pictures, Report
from validator.reports.grouping import grouped


def by_store(report: Report) -> Iterator[Report]:
    """A report for every store in turn; findings that name no store, defects and what each rule judged are of none."""
    findings = grouped(report.findings, lambda finding: finding.store_id)
    actions = grouped(report.actions, lambda action: action.store_id)
    due = grouped(report.upcoming, lambda due: due.store_id)
    notices = grouped(report.notices, lambda notice: notice.store_id)
    pictures = report.pictures or Pictures((), (), (), (), 0, 0)
    timelines = grouped(pictures.timelines, lambda timeline: timeline.store_id)
    histories = grouped(pictures.histories, lambda history: history.store_id)
    readings = grouped(pictures.readings, lambda series: series.store_id)
    for store in report.stores:
        own = store.store_id
        drawn = Pictures(
            tuple(timelines.get(own, ())), tuple(histories.get(own, ())), tuple(readings.get(own, ())), (), 0, 0
        )
        yield replace(
            report,
            summary=store.verdict,
            stores=(store,),
            checked=(),
            findings=tuple(findings.get(own, ())),
            actions=tuple(actions.get(own, ())),
            upcoming=tuple(due.get(own, ())),
            notices=tuple(notices.get(own, ())),
            record_defects=(),
            change=report.change and _change(report.change, own, findings.get(own, ())),
            pictures=drawn if report.pictures else None,
        )


def _change(change: Change, store: str, findings: Sequence[Finding]) -> Change:
    """What has changed at one store."""
    count = Counter(finding.since for finding in findings)
    return replace(
        change, new=count[NEW], persisting=count[PERSISTING],
        resolved=tuple(gone for gone in change.resolved if gone.store_id == store),
        not_judged=tuple(gone for gone in change.not_judged if gone.store_id == store),
    )  # fmt: skip
