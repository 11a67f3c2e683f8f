"""The report by place: what was found by rule, stores by month, and every store and machine with its pictures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from validator.findings import Finding, Grade, History, Month, Pictures, Readings, Report, Status, StoreResult, Timeline
from validator.reports import Grouping, words
from validator.reports.drawing import history, readings, timeline
from validator.reports.finding import cycle_heading, finding_shown, subject
from validator.reports.grouping import by_gravity, grouped
from validator.reports.layout import CONTROLS, place_in_plan
from validator.reports.standing import store_shown
from validator.reports.view import (
    CycleDrawn,
    IndexGroup,
    IndexLine,
    MachineDrawn,
    MonthCell,
    Overview,
    Placed,
    Standing,
    StoreDrawn,
)
from validator.reports.visible import heading, name

NO_STORE = "No store named"
STORES_DRAWN = 50
"""Stores without a finding that a page shows one by one, beside those with one."""
PICTURES_SHOWN = 100
"""Timelines on one page, and as many machines with their cleanings and readings."""
MONTHS_SHOWN = 12
_EMPTY = Pictures((), (), (), (), 0, 0)
_Machine = tuple[str, str]
_Cycle = tuple[str, str, str, str]


def place(report: Report, findings_shown: int, group: Grouping) -> Placed:
    """The report by place, with at most that many findings, the gravest, and a bounded number of pictures."""
    chosen = by_gravity(report.findings)[:findings_shown]
    drawn = _Drawn(report, chosen)
    stores = _stores(report, chosen, drawn)
    return Placed(
        index=_index(report.findings, group),
        overview=_overview(report),
        stores=stores,
        left_out=tuple(_left_out(report, chosen, stores, drawn)),
    )


def _index(findings: Sequence[Finding], group: Grouping) -> tuple[IndexGroup, ...]:
    totals = grouped(by_gravity(findings), lambda f: (place_in_plan(f, group), f.grade))
    return tuple(
        IndexGroup(
            CONTROLS[control] if group == "plan" else "",
            grade.value,
            words.count(len(totals[control, grade]), "finding"),
            tuple(
                _line(same) for same in grouped(totals[control, grade], lambda f: (f.status, f.pack, f.rule)).values()
            ),
        )
        for control in CONTROLS
        for grade in Grade
        if (control, grade) in totals
    )


def _line(same: Sequence[Finding]) -> IndexLine:
    first = same[0]
    places = Counter((f.store_id, f.equipment_id) for f in same if f.equipment_id)
    said = [name(equipment) for _, equipment in list(places)[:3]]
    more = f" and {words.count(len(places) - 3, 'other machine')}" if len(places) > 3 else ""
    return IndexLine(
        heading(first.title), name(first.rule), first.status.shown, len(same), ", ".join(said) + more, name(first.id),
        first.store_id,
    )  # fmt: skip


def _overview(report: Report) -> Overview | None:
    """Stores by month; none for a single store, whose machines show the same in more detail."""
    found = report.pictures.months if report.pictures else ()
    if len(report.stores) < 2 or not found:
        return None
    months = sorted({month.month for month in found})
    shown = months[-MONTHS_SHOWN:]
    of = {(month.store_id, month.month): month for month in found}
    totals = Counter[str]()
    for month in found:
        totals[month.store_id] += month.out * 1_000_000 + month.not_observed
    stores = sorted(report.stores, key=lambda store: (-totals[store.store_id], store.store_id))
    return Overview(
        tuple(name(month) for month in shown),
        tuple(
            (store.store_id, subject(store.store_id, store.name), tuple(_cell(of.get((store.store_id, m))) for m in shown))
            for store in stores
        ),
        len(months) - len(shown),
    )  # fmt: skip


def _cell(month: Month | None) -> MonthCell:
    if month is None:
        return MonthCell("none", "-")
    if month.out:
        return MonthCell("out", f"{month.out:,} OUT")
    if month.not_observed:
        return MonthCell("unsure", f"{month.not_observed:,} N/O")
    return MonthCell("good", "IN")


class _Drawn:
    """The pictures by what they show, and which timelines this page has room for."""

    def __init__(self, report: Report, chosen: Sequence[Finding]) -> None:
        pictures = report.pictures or _EMPTY
        self.timelines = {(t.store_id, t.equipment_id, t.started, t.cycle_id): t for t in pictures.timelines}
        faulty = [_cycle_of(finding) for finding in chosen if not _between(finding)]
        calm = sorted(self.timelines.keys() - set(faulty), key=lambda key: (key[2], key), reverse=True)
        wanted = [key for key in dict.fromkeys([*faulty, *calm]) if key in self.timelines]
        self.room = frozenset(wanted[:PICTURES_SHOWN])
        self.histories = {(h.store_id, h.equipment_id): h for h in pictures.histories}
        self.readings = grouped(pictures.readings, lambda r: (r.store_id, r.equipment_id))
        self.machines: dict[_Machine, bool] = {}
        self.calm = grouped(calm, lambda key: key[:2])

    def timeline(self, key: _Cycle) -> Timeline | None:
        return self.timelines.get(key) if key in self.room else None

    def of_machine(self, key: _Machine) -> tuple[History | None, Sequence[Readings]]:
        """The machine's cleanings and readings, as long as the page has room."""
        if key not in self.histories and key not in self.readings:
            return None, ()
        self.machines[key] = len(self.machines) < PICTURES_SHOWN
        return (self.histories.get(key), self.readings.get(key, ())) if self.machines[key] else (None, ())


def _cycle_of(finding: Finding) -> _Cycle:
    return finding.store_id, finding.equipment_id, finding.cycle_started, finding.cycle_id


def _between(finding: Finding) -> bool:
    """Whether a finding speaks of the time between cleanings and not of a cycle."""
    return not finding.cycle_id or finding.kind == "interval"


def _stores(report: Report, chosen: Sequence[Finding], drawn: _Drawn) -> tuple[StoreDrawn, ...]:
    of_store = grouped(chosen, lambda finding: finding.store_id)
    known = {store.store_id: store for store in report.stores}
    calm = [store.store_id for store in report.stores if store.store_id not in of_store][:STORES_DRAWN]
    wanted = sorted({*of_store, *calm}, key=lambda store: (store == "", store))
    return tuple(_store(store, known.get(store), of_store.get(store, []), report, drawn) for store in wanted)


def _store(
    identity: str, result: StoreResult | None, found: Sequence[Finding], report: Report, drawn: _Drawn
) -> StoreDrawn:
    of_machine = grouped(found, lambda finding: finding.equipment_id)
    told = store_shown(result) if result else None
    shown = dict(zip((m.equipment_id for m in result.equipment), told.machines, strict=True)) if result and told else {}
    whole = told.whole if told else _unknown(name(identity) or NO_STORE)
    machines = [*shown, *(equipment for equipment in of_machine if equipment not in shown)]
    return StoreDrawn(
        identity,
        whole,
        tuple(
            _machine((identity, equipment), shown.get(equipment), of_machine.get(equipment, []), report, drawn)
            for equipment in machines
        ),
    )


def _unknown(named: str) -> Standing:
    """What is known of a store or a machine that the report says nothing of: its name."""
    return Standing(named, "", "", "", "", "", ("", "", "", ""), "")


def _machine(
    key: _Machine, whole: Standing | None, found: Sequence[Finding], report: Report, drawn: _Drawn
) -> MachineDrawn:
    between = [f for f in found if _between(f)]
    cycles = grouped((f for f in found if not _between(f)), _cycle_of)
    kept, series = drawn.of_machine(key)
    latest = sorted(cycles, key=lambda cycle: (cycle[2], cycle[3]), reverse=True)
    calm = [cycle for cycle in drawn.calm.get(key, ()) if cycle in drawn.room and cycle not in cycles]
    return MachineDrawn(
        whole=whole or _unknown(name(key[1]) or "No machine named"),
        history=history.draw(kept) if kept else None,
        between=tuple(finding_shown(f, report) for f in between),
        readings=tuple(readings.draw(r) for r in series if r.readings),
        cycles=tuple(_cycle(cycle, cycles[cycle], report, drawn) for cycle in latest),
        calm=tuple(_cycle(cycle, [], report, drawn) for cycle in calm),
    )


def _cycle(cycle: _Cycle, found: Sequence[Finding], report: Report, drawn: _Drawn) -> CycleDrawn:
    picture = drawn.timeline(cycle)
    counts = Counter(finding.status for finding in found)
    said = [f"{counts[s]:,} {s.shown}" for s in (Status.OUT, Status.NOT_OBSERVED) if counts[s]]
    return CycleDrawn(
        cycle_heading(cycle[3], cycle[2]),
        ", ".join(said) or "nothing found",
        timeline.draw(picture) if picture else None,
        tuple(finding_shown(finding, report) for finding in found),
    )


def _left_out(report: Report, chosen: Sequence[Finding], stores: Sequence[StoreDrawn], drawn: _Drawn) -> Iterable[str]:
    pictures = report.pictures or _EMPTY
    findings = len(report.findings) - len(chosen)
    if findings:
        yield f"{words.count(findings, 'more finding')}, none graver than these."
    rest = len(report.stores) - sum(store.id != "" for store in stores)
    if rest > 0:
        yield f"{words.count(rest, 'more store')} without a finding among these."
    cycles = len(drawn.timelines) - len(drawn.room) + pictures.cycles_left_out
    if cycles:
        yield f"{words.count(cycles, 'more cycle')} without a picture: drawn are those with findings and the latest."
    machines = sum(not shown for shown in drawn.machines.values()) + pictures.machines_left_out
    if machines:
        yield f"The cleanings and readings of {words.count(machines, 'more machine')}."
