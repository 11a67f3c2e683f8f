"""What of a report is about one store? The same report with nothing of the others in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from validator.findings import NEW, PERSISTING, Change, Finding, Pictures, Report, Timeline
from validator.reports.grouping import grouped

USUAL = 500
"""Cycles that a report draws, and machines: an archived report stays light, and a page has room for a hundred."""
EVERYWHERE = 20_000
"""The same for a folder with a page a store."""


def bounded(report: Report, most: int) -> Report:
    """The report with at most so many cycles and machines drawn: what an audit asked for no more gives."""
    pictures = report.pictures
    if pictures is None or max(len(pictures.timelines), len(pictures.histories), len(pictures.readings)) <= most:
        return report
    faulty = {(f.store_id, f.equipment_id) for f in report.findings}
    fleet = [(s.store_id, m.equipment_id, m.cycles) for s in report.stores for m in s.equipment]
    shown = {key[:2] for key in sorted(fleet, key=lambda key: (key[:2] not in faulty, key[2] == 0))[:most]}
    timelines = _latest(pictures.timelines, most)
    return replace(
        report,
        pictures=replace(
            pictures,
            timelines=timelines,
            histories=tuple(h for h in pictures.histories if (h.store_id, h.equipment_id) in shown),
            readings=tuple(r for r in pictures.readings if (r.store_id, r.equipment_id) in shown),
            cycles_left_out=pictures.cycles_left_out + len(pictures.timelines) - len(timelines),
            machines_left_out=max(0, len(fleet) - most),
        ),
    )


def _latest(timelines: tuple[Timeline, ...], most: int) -> tuple[Timeline, ...]:
    """At most so many: the latest of every machine first, then the one before of each, and so on."""
    turns: list[tuple[int, int]] = []
    for same in grouped(enumerate(timelines), lambda pair: (pair[1].store_id, pair[1].equipment_id)).values():
        turns += [(turn, at) for turn, (at, _) in enumerate(reversed(same))]
    return tuple(timelines[at] for at in sorted(at for _, at in sorted(turns)[:most]))


def by_store(report: Report) -> Iterator[Report]:
    """A report for every store in turn; findings that name no store, and what each rule judged, are of none.

    Files and record defects are those that its rows come from, or all where none of its rows is shown. They stay whole: of a row
    that could not be read nobody knows whose it is.
    """
    findings = grouped(report.findings, lambda finding: finding.store_id)
    actions = grouped(report.actions, lambda action: action.store_id)
    due = grouped(report.upcoming, lambda due: due.store_id)
    notices = grouped(report.notices, lambda notice: notice.store_id)
    pictures = report.pictures or Pictures((), (), (), (), 0, 0)
    timelines = grouped(pictures.timelines, lambda timeline: timeline.store_id)
    histories = grouped(pictures.histories, lambda history: history.store_id)
    readings = grouped(pictures.readings, lambda series: series.store_id)
    drawn = {(timeline.store_id, file) for timeline in pictures.timelines for file, _ in timeline.sources}
    of_any = {file for _, file in drawn}
    for store in report.stores:
        own = store.store_id
        files = {row.file for f in findings.get(own, ()) for row in f.evidence}
        if own in timelines:  # a finding about somebody at two stores names the file of the other one as well
            files = {file for file in files if (own, file) in drawn or file not in of_any}
            files |= {file for file in of_any if (own, file) in drawn}
        inputs = tuple(file for file in report.inputs if file.file in files) or report.inputs
        named = {file.file for file in inputs}
        kept = Pictures(
            tuple(timelines.get(own, ())), tuple(histories.get(own, ())), tuple(readings.get(own, ())), (), 0, 0
        )
        yield replace(
            report,
            inputs=inputs,
            records=sum(file.rows_used for file in inputs),
            summary=store.verdict,
            stores=(store,),
            checked=(),
            findings=tuple(findings.get(own, ())),
            actions=tuple(actions.get(own, ())),
            upcoming=tuple(due.get(own, ())),
            notices=tuple(notices.get(own, ())),
            record_defects=tuple(defect for defect in report.record_defects if defect.file in named),
            change=report.change and _change(report.change, own, findings.get(own, ())),
            pictures=kept if report.pictures else None,
        )


def _change(change: Change, store: str, findings: Sequence[Finding]) -> Change:
    """What has changed at one store."""
    count = Counter(finding.since for finding in findings)
    return replace(
        change, new=count[NEW], persisting=count[PERSISTING],
        resolved=tuple(gone for gone in change.resolved if gone.store_id == store),
        not_judged=tuple(gone for gone in change.not_judged if gone.store_id == store),
    )  # fmt: skip
