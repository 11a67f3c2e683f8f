"""Reports made by hand: the stores, machines and records in them are invented."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from validator.findings import (
    Action,
    Asked,
    Change,
    Citation,
    Cleaning,
    Counts,
    Due,
    EquipmentResult,
    Evidence,
    Finding,
    Gone,
    Grade,
    History,
    InputFile,
    Month,
    Notice,
    PackUsed,
    Pictures,
    Quantity,
    Reading,
    Readings,
    RecordDefect,
    Report,
    Required,
    RuleChecked,
    Run,
    Score,
    Span,
    Status,
    StoreResult,
    Timeline,
    Verdict,
)

PACK = PackUsed("syrup-line-cip", "1.0.0", "Clean-in-place of multi-line syrup dispensers", "5d" * 32)
NOBODY = Verdict("not judged", "", Score(None, None, None), Counts(0, 0, 0, 0), {}, None)
FOOD_CODE = Citation(
    "food-code", "Food Code", "4-602.11(E)(4)", "2022", "clean at the frequency that the maker names", True
)
PRACTICE = Citation("practice", "Common practice in the trade", "", "", "flush each line for 15 minutes", False)


def finding(number: int, **changes: Any) -> Finding:
    """A flush that was one second short; any field can be set otherwise."""
    usual = Finding(
        id=f"F{number:08d}",
        rule="SYR-FLUSH",
        title="Line flushed for less than 15 minutes",
        kind="flush",
        pack="syrup-line-cip",
        grade=Grade.MAJOR,
        status=Status.OUT,
        reason="",
        marks=(),
        grade_reason="",
        store_id="TL-01",
        equipment_id="TL-01-SYR-A",
        cycle_id="C-0042",
        cycle_started="2026-05-01T07:00:00-05:00",
        target="line-2",
        observed=Quantity(899, "s"),
        required=Required(900, None, "s", "at least 15 min"),
        margin=Quantity(-1, "s"),
        message="line-2 was flushed for 14 min 59 s at a time",
        evidence=(Evidence("monday.csv", "", 12, ("started_at", "ended_at")),),
        citations=(PRACTICE,),
        hazard="chemical",
        corrective_action="Flush the line again for 15 minutes without a break, and record start and end",
        deviation=None,
        control="critical_control_point",
        limit_from="pack syrup-line-cip (practice)",
    )
    return dataclasses.replace(usual, **changes)


def findings() -> tuple[Finding, ...]:
    """One of each sort: short, missing, corrected, repeated, over a maximum, not observed, and accepted."""
    chlorine = {
        "rule": "SAN-CHLORINE",
        "title": "Chlorine solution outside 50 to 100 ppm",
        "kind": "concentration",
        "target": "S-7",
        "required": Required(50, 100, "ppm", "50 to 100 ppm"),
        "citations": (FOOD_CODE, PRACTICE),
        "corrective_action": "Mix a new batch by the label, test it, and record the reading before it is used",
    }
    return (
        finding(1, evidence=tuple(Evidence("monday.csv", "", row, ("started_at",)) for row in (16, 12, 14, 15))),
        finding(2, target="line-3", reason="missing", observed=None, margin=None, marks=("repeat",), evidence=(),
                message="no flush of line-3 is recorded", grade=Grade.CRITICAL,
                grade_reason="raised from major: the same finding stood in cycle C-0041"),
        finding(3, **chlorine, grade=Grade.MAJOR, observed=Quantity(120.5, "ppm"), margin=Quantity(-20.5, "ppm"),
                marks=("cos",), message="S-7 was measured at 120.5 ppm, and at 80 ppm before its first use",
                evidence=(Evidence("tuesday.xlsx", "Log 5", 9, ("concentration_ppm",)),)),
        finding(4, **chlorine, status=Status.NOT_OBSERVED, reason="not_measured", observed=None, margin=None,
                cycle_id="C-0043", cycle_started="2026-05-02T07:10:00-05:00", message="no reading of S-7 is recorded",
                evidence=(Evidence("tuesday.xlsx", "Log 5", 21, ("concentration_ppm",)),)),
        finding(5, rule="SYR-INTERVAL", title="Not cleaned in place for more than 30 days", kind="interval",
                store_id="TL-02", equipment_id="TL-02-SYR-A", cycle_id="C-0017", target="open",
                cycle_started="2026-03-27T06:00:00-05:00", observed=Quantity(38, "d"), margin=Quantity(-8, "d"),
                required=Required(None, 30, "d", "at most 30 days"), citations=(FOOD_CODE,), hazard="biological",
                message="38 days have passed since cycle C-0017", evidence=(Evidence("monday.csv", "", 88, ()),),
                corrective_action="Clean the machine in place today; take it out of service until that is done"),
        finding(6, rule="REC-VERIFIED", title="Not verified by a second person", kind="record", grade=Grade.MINOR,
                target="verified_by", observed=Quantity("same person", ""), required=Required(None, None, "", ""),
                margin=None, control="prerequisite", message="performed and verified by the same person", citations=(PRACTICE,), hazard="",
                corrective_action="Have a second person verify the next cycle",
                deviation="accepted until 2026-06-30: one person on the early shift"),
        finding(7, rule="REC-REGULAR", title="Durations too regular to be measured", kind="pattern", cycle_id="",
                cycle_started="", target="duration_s", grade=Grade.OBSERVATION, observed=Quantity(1.0, "1"),
                required=Required(None, 0.9, "1", ""), margin=Quantity(-0.1, "1"), citations=(), hazard="", control="",
                message="24 of 24 durations are whole quarters of an hour; this is a reason to look, and no proof",
                corrective_action="Ask how the durations are taken"),
    )  # fmt: skip


IN_72_HOURS = Citation("food-code", "Food Code", "8-405.11", "2022", "at once, at the latest within 72 hours", True)
IN_90_DAYS = Citation("food-code", "Food Code", "8-406.11", "2022", "by an agreed date, within 90 days", True)
_TIMES = {
    Grade.CRITICAL: ("2026-05-07T06:00:00-05:00", "critical: within 72 h", IN_72_HOURS),
    Grade.MAJOR: ("2026-05-14T23:59:59-05:00", "major: within 10 days", IN_72_HOURS),
    Grade.MINOR: ("2026-08-02T23:59:59-05:00", "minor: within 90 days", IN_90_DAYS),
}


def action(number: int, *of: Finding, **changes: Any) -> Action:
    """What some findings of one rule at one machine ask for; any field can be set otherwise."""
    worst = of[0]
    out = worst.status is Status.OUT
    due, why, source = _TIMES.get(worst.grade, ("", "no time is set for this grade", None)) if out else ("", "", None)
    usual = Action(
        id=f"A{number:08d}", action=worst.corrective_action if out else "Record what is lacking", title=worst.title,
        rule=worst.rule, grade=worst.grade, status=worst.status, store_id=worst.store_id,
        equipment_id=worst.equipment_id, cycle_ids=tuple(dict.fromkeys(f.cycle_id for f in of if f.cycle_id)),
        targets=tuple(sorted({f.target for f in of if f.target})), due=due, due_reason=why, due_citation=source,
        findings=tuple(f.id for f in of), cautions=(1, 2) if out else (),
    )  # fmt: skip
    return dataclasses.replace(usual, **changes)


def actions(found: tuple[Finding, ...]) -> tuple[Action, ...]:
    """Those of `findings()`: the overdue machine first, both lines in one, nothing for what was corrected or accepted."""
    short, missing, _, unread, late, _, regular = found
    return (
        action(5, late, due="2026-04-26T23:59:59-05:00", due_reason="the cleaning was due then", due_citation=None, overdue=True),
        action(2, missing, short), action(7, regular), action(4, unread),
    )  # fmt: skip


def _stores() -> tuple[StoreResult, ...]:
    late = Due(
        "TL-02", "TL-02-SYR-A", "SYR-INTERVAL", "2026-04-26", -8, "overdue", "C-0017", "2026-03-27T06:52:00-05:00"
    )
    soon = Due("TL-01", "TL-01-SYR-A", "SYR-INTERVAL", "2026-06-01", 28, "later", "C-0043", "2026-05-02T08:05-05:00")
    first = Verdict(
        "not met", "1 critical check is OUT", Score(87.4, 81.0, 94.2), Counts(150, 5, 1, 4),
        {"critical": 1, "major": 2, "minor": 1, "observation": 1}, 0.99,
    )  # fmt: skip
    second = Verdict("not met", "1 major check is OUT", Score(99.7, 99.7, 99.7), Counts(55, 1, 0, 0), {"major": 1}, 1.0)
    return (
        StoreResult("TL-01", "Harbour Lane", "America/Chicago", first,
                    (EquipmentResult("TL-01-SYR-A", "syrup-line-dispenser", 12, first, soon),
                     EquipmentResult("TL-01-SYR-B", "syrup-line-dispenser", 0, NOBODY, None)), ("SAN-IODINE",)),
        StoreResult("TL-02", "Mill Street", "America/Chicago", second,
                    (EquipmentResult("TL-02-SYR-A", "syrup-line-dispenser", 6, second, late),),
                    ("SAN-CHLORINE", "SAN-IODINE")),
    )  # fmt: skip


def _checked() -> tuple[RuleChecked, ...]:
    share = (0.0125, 0.0034, 0.0443)
    return (
        RuleChecked("SYR-FLUSH", "Line flushed for less than 15 minutes", "flush", Grade.MAJOR, PACK.id, "judged",
                    Counts(158, 2, 0, 4), *share, (PRACTICE,), "Flush the line again for 15 minutes without a break"),
        RuleChecked("SAN-CHLORINE", "Chlorine solution outside 50 to 100 ppm", "concentration", Grade.MAJOR, PACK.id,
                    "judged", Counts(17, 1, 1, 0), 1 / 18, 0.0099, 0.2576, (FOOD_CODE, PRACTICE), "Mix a new batch"),
        RuleChecked("SYR-INTERVAL", "Not cleaned in place for more than 30 days", "interval", Grade.MAJOR, PACK.id,
                    "judged", Counts(17, 1, 0, 0), 1 / 18, 0.0099, 0.2576),
        RuleChecked("REC-VERIFIED", "Not verified by a second person", "record", Grade.MINOR, PACK.id, "judged",
                    Counts(13, 1, 0, 0), 1 / 14, 0.0127, 0.3147),
        RuleChecked("REC-REGULAR", "Durations too regular to be measured", "pattern", Grade.OBSERVATION, PACK.id,
                    "judged", Counts(0, 1, 0, 0), 1.0, 0.2065, 1.0),
        RuleChecked("SAN-IODINE", "Iodine solution outside 12.5 to 25 ppm", "concentration", Grade.MAJOR, PACK.id,
                    "not exercised", Counts(0, 0, 0, 18), None, None, None),
    )  # fmt: skip


def _defects() -> tuple[RecordDefect, ...]:
    late = [
        RecordDefect("monday.csv", "", row, "ended_at", "unreadable_time", f"ended_at is '{said}', which is no time")
        for row, said in ((31, "7.5.26"), (32, "later"), (33, "later"), (40, "?"))
    ]
    blank = RecordDefect("tuesday.xlsx", "Log 5", 5, "equipment_id", "missing", "equipment_id is blank")
    return (*late, blank, RecordDefect("old.csv", "", 0, "", "unreadable_file", "the file is not UTF-8 text"))


def full_report() -> Report:
    """Two stores with every sort of finding, defect, notice, date and file."""
    stores = _stores()
    return Report(
        report_version="1",
        tool="cip-audit 0.1.0",
        generated_at="2026-05-04T11:00:03Z",
        as_of="2026-05-04T06:00:00-05:00",
        decision="simple",
        title="Clean-in-place of multi-line syrup dispensers",
        inputs=(
            InputFile("monday.csv", "ab" * 32, 96, 92, 4, 2, 1, "read", "", "csv",
                      ("times without an offset are local to the store",)),
            InputFile("tuesday.xlsx", "cd" * 32, 120, 119, 1, 0, 0, "read", "", "xlsx", ()),
            InputFile("old.csv", "ef" * 32, 0, 0, 0, 0, 0, "refused", "the file is not UTF-8 text", "csv", ()),
        ),
        packs=(PACK,),
        summary=Verdict("not met", "1 critical check is OUT at store TL-01", Score(91.2, 87.0, 95.6),
                        Counts(205, 6, 1, 22), {"critical": 1, "major": 4, "minor": 1, "observation": 1}, 0.995),
        stores=stores,
        checked=_checked(),
        findings=findings(),
        notices=(
            Notice("unknown_step", "the step 'flsh' is not a step of the pack; it was kept as it stands", count=3),
            Notice("no_cycles", "no cycle is recorded for this machine", store_id="TL-01", equipment_id="TL-01-SYR-B"),
        ),
        record_defects=_defects(),
        upcoming=tuple(machine.next_due for store in stores for machine in store.equipment if machine.next_due),
        cautions=(
            "Never mix a chlorine product with an acid: the gas is poisonous",
            "Shut off gas and let the pressure out of a line before it is opened",
        ),
        records=216,
        actions=actions(findings()),
    )  # fmt: skip


def since_report() -> Report:
    """The full report held against an earlier one: two findings persist, one since the report before that; one was resolved, one
    was not judged again, and one is settled by a later cleaning.
    """
    full = full_report()

    def gone(number: int, now: str) -> Gone:
        f = finding(number, cycle_id="C-0039", cycle_started="2026-04-24T07:00:00-05:00")
        return Gone(f.id, f.rule, f.title, f.grade, f.status, f.store_id, f.equipment_id, f.cycle_id, f.cycle_started,
                    f.target, now)  # fmt: skip

    old = {"F00000001", "F00000005"}
    marked = tuple(dataclasses.replace(f, since="persisting" if f.id in old else "new") for f in full.findings)
    later = {"F00000001": {"first_reported": "2026-04-20"},
             "F00000004": {"settled_by": "C-0044", "settled_on": "2026-05-03T07:00:00-05:00"}}  # fmt: skip
    marked = tuple(dataclasses.replace(f, **later.get(f.id, {})) for f in marked)
    asked = tuple(a for a in full.actions if "F00000004" not in a.findings)
    change = Change("april.json", "12" * 32, "2026-04-27", "2026-04-27T11:00:00Z", 5, 2, (gone(91, "met"),), (gone(92, ""),))
    return dataclasses.replace(full, findings=marked, actions=asked, change=change)


def _span(step: str, target: str, start: float | None, end: float | None, row: int, **changes: Any) -> Span:
    return dataclasses.replace(Span(step, target, start, end, "", 0, row), **changes)


def _timelines() -> tuple[Timeline, ...]:
    """A cycle with a flush that was one second short, one that is missing, one without an end, and two at once; and a calm one."""
    spans = (
        _span("empty_tank", "tank", 0, 180, 10), _span("disconnect", "", 180, 300, 11),
        _span("flush", "line-1", 600, 1560, 13), _span("flush", "line-2", 1500, 2399, 12),
        _span("flush", "line-4", 2500, 3000, 14, unknown="end"), _span("sanitize", "nozzles", 700, 1000, 15),
        _span("prime", "line-1", None, 3600, 16, unknown="start"),
    )  # fmt: skip
    asked = (
        Asked("SYR-FLUSH", "flush", "line-1", Status.IN, "", 900, Quantity(960, "s")),
        Asked("SYR-FLUSH", "flush", "line-2", Status.OUT, "too_short", 900, Quantity(899, "s")),
        Asked("SYR-FLUSH", "flush", "line-3", Status.OUT, "missing", 900, None),
        Asked("SYR-FLUSH", "flush", "line-4", Status.NOT_OBSERVED, "missing_time", 900, Quantity("at most 8 min 20 s", "")),
        Asked("SYR-SANITIZE", "sanitize", "nozzles", Status.IN, "", 300, Quantity(300, "s")),
    )  # fmt: skip
    targets = ("line-1", "line-2", "line-3", "line-4", "line-5", "nozzles", "tank", "")
    bad = Timeline("TL-01", "TL-01-SYR-A", "C-0042", "2026-05-01T07:00:00-05:00", 3600, targets, ("line-5",),
                   (("flush", 1),), (("monday.csv", ""),), spans, asked)  # fmt: skip
    calm = Timeline("TL-02", "TL-02-SYR-A", "C-0017", "2026-03-27T06:00:00-05:00", 1500, ("line-1",), (), (), (("monday.csv", ""),),
                    (_span("flush", "line-1", 0, 900, 80),), asked[:1])  # fmt: skip
    return bad, calm


def _pictures() -> Pictures:
    usual = (Cleaning("2026-04-01", "C-0041", Status.IN), Cleaning("2026-05-01", "C-0042", Status.OUT))
    odd = Cleaning("2026-04-20", "C-0041b", Status.NOT_OBSERVED)
    runs = (
        Run("SYR-INTERVAL", "2026-02-20", "2026-03-27", "2026-04-01", False, Status.OUT),
        Run("SYR-INTERVAL", "2026-04-01", "2026-05-01", "2026-05-01", False, Status.IN),
        Run("SYR-INTERVAL", "2026-05-01", "2026-05-31", "2026-05-04", True, Status.IN),
    )
    late = (Run("SYR-INTERVAL", "2026-03-27", "2026-04-26", "2026-05-04", True, Status.OUT),)
    readings = (
        Reading("2026-04-01T07:20:00-05:00", "C-0041", "S-6", 50, 25, 75, Status.IN, "monday.csv", "", 4),
        Reading("2026-05-01T07:20:00-05:00", "C-0042", "S-7", 120.5, 75, None, Status.OUT, "tuesday.xlsx", "Log 5", 9),
        Reading("", "C-0042", "S-7", 80, 80, 80, Status.NOT_OBSERVED, "tuesday.xlsx", "Log 5", 10),
    )
    return Pictures(
        timelines=_timelines(),
        histories=(
            History("TL-01", "TL-01-SYR-A", "2026-05-04", (usual[0], odd, usual[1]), runs, (("2026-03-02", "2026-03-06"),)),
            History("TL-02", "TL-02-SYR-A", "2026-05-04", (Cleaning("2026-03-27", "C-0017", Status.IN),), late, ()),
        ),
        readings=(Readings("TL-01", "TL-01-SYR-A", "chlorine", ("SAN-CHLORINE",), 50, 100, readings),),
        months=(
            Month("TL-01", "2026-04", 1, 0, 0), Month("TL-01", "2026-05", 2, 5, 1), Month("TL-02", "2026-03", 1, 0, 0),
            Month("TL-02", "2026-05", 0, 0, 1),
        ),
        cycles_left_out=14,
        machines_left_out=0,
    )  # fmt: skip


def drawn_report() -> Report:
    """The full report with its pictures: timelines, cleanings, readings and months."""
    return dataclasses.replace(full_report(), pictures=_pictures())


def unread_report() -> Report:
    """A file of which no row could be used."""
    empty = empty_report()
    file = dataclasses.replace(empty.inputs[0], rows=3, rows_defective=3)
    defects = tuple(
        RecordDefect(file.file, "", row, "equipment_id", "missing", "equipment_id is blank") for row in (2, 3, 4)
    )
    return dataclasses.replace(empty, inputs=(file,), record_defects=defects, notices=())


HOSTILE_MARKUP = (
    "</p></style></title><script>alert(1)</script><img src=x onerror=alert(1)>"
    "\" onload='x' {{ 7*7 }}{% raw %}&#60;#panic()$x$*b*\x1b\x00\u202e"
)


def hostile_report() -> Report:
    """Markup of every sort and control characters in every field."""
    return with_every_text(drawn_report(), lambda text: text + HOSTILE_MARKUP)


def huge_report() -> Report:
    """Ten thousand characters in every field."""
    return with_every_text(drawn_report(), lambda text: text + "x" * 10_000)


def clean_report() -> Report:
    """Every check IN, nothing to say beside it."""
    full = full_report()
    verdict = Verdict("met", "", Score(100.0, 100.0, 100.0), Counts(40, 0, 0, 0), {}, 1.0)
    machine = EquipmentResult("TL-01-SYR-A", "syrup-line-dispenser", 10, verdict, full.upcoming[0])
    rule = RuleChecked("SYR-FLUSH", "Line flushed for less than 15 minutes", "flush", Grade.MAJOR, PACK.id, "judged",
                       Counts(40, 0, 0, 0), 0.0, 0.0, 0.0876)  # fmt: skip
    return dataclasses.replace(
        full,
        inputs=(dataclasses.replace(full.inputs[1], rows_used=120, rows_defective=0),),
        summary=verdict,
        stores=(StoreResult("TL-01", "Harbour Lane", "America/Chicago", verdict, (machine,)),),
        checked=(rule,),
        findings=(),
        notices=(),
        record_defects=(),
        upcoming=full.upcoming[:1],
        records=120,
        actions=(),
    )


def empty_report() -> Report:
    """An export with a header and no row."""
    file = InputFile("empty.csv", "0f" * 32, 0, 0, 0, 0, 0, "read", "", "csv", ())
    idle = RuleChecked("SYR-FLUSH", "Line flushed for less than 15 minutes", "flush", Grade.MAJOR, PACK.id,
                       "not exercised", Counts(0, 0, 0, 0), None, None, None)  # fmt: skip
    return dataclasses.replace(
        clean_report(),
        inputs=(file,),
        summary=dataclasses.replace(NOBODY, result_reason="the records hold no row"),
        stores=(),
        checked=(idle,),
        notices=(Notice("no_rows", "the records hold no row; nothing was judged"),),
        upcoming=(),
        records=0,
    )


def unobserved_report() -> Report:
    """Findings of N/O alone."""
    gaps = tuple(
        finding(n, status=Status.NOT_OBSERVED, reason="missing_time", observed=None, margin=None) for n in range(1, 4)
    )
    verdict = Verdict("not shown", "", Score(None, 0.0, 100.0), Counts(0, 0, 3, 0), {"major": 3}, 0.0)
    rule = dataclasses.replace(empty_report().checked[0], counts=Counts(0, 0, 3, 0))
    return dataclasses.replace(clean_report(), summary=verdict, stores=(), findings=gaps, checked=(rule,),
                               actions=(action(1, *gaps),))  # fmt: skip


def fleet_report(stores: int = 60, per_store: int = 12) -> Report:
    """Many stores with equal machines."""
    many = []
    found = []
    for number in range(1, stores + 1):
        store_id = f"TL-{number:02d}"
        verdict = Verdict(
            "not met", "", Score(80.0, 78.0, 82.0), Counts(50, per_store, 2, 0), {"major": per_store}, 0.97
        )
        machine = EquipmentResult(f"{store_id}-SYR-A", "syrup-line-dispenser", 10, verdict, None)
        many.append(StoreResult(store_id, f"Street {number}", "America/Chicago", verdict, (machine,)))
        found += [
            finding(number * 100 + n, store_id=store_id, equipment_id=f"{store_id}-SYR-A", target=f"line-{n}")
            for n in range(per_store)
        ]
    counts = Counts(50 * stores, per_store * stores, 2 * stores, 0)
    summary = Verdict("not met", "", Score(80.0, 78.0, 82.0), counts, {"major": per_store * stores}, 0.97)
    return dataclasses.replace(full_report(), stores=tuple(many), findings=tuple(found), summary=summary,
                               actions=tuple(action(n, f) for n, f in enumerate(found)))  # fmt: skip


ACTING = (
    "=cmd|'/C calc'!A0 \"><script>alert(1)</script> [x](javascript:1) ![i](//e.example/i) `c` **b** | # {0} @who "
    "www.e.example http://e.example %0A::error::x\r\n::warning::y\n- _x0041_ <!-- ]]> \x00\x1b[31m\u202e\ufffe\ud800 "
)
"""Markup of every format, formulas, commands, controls and what no file can hold."""


@pytest.fixture(scope="session")
def hostile() -> str:
    """Text that tries to act in every format."""
    return ACTING


def few_hostile_report() -> Report:
    """Two findings in one file, and one of no row, with hostile text in every field."""
    full = full_report()
    short, missing = full.findings[0], full.findings[1]
    small = dataclasses.replace(
        full, findings=(missing, short, finding(9, store_id="", equipment_id="", evidence=())), stores=full.stores[:1],
        inputs=(full.inputs[0],), checked=full.checked[:1], notices=full.notices[:1], upcoming=full.upcoming[:1],
        record_defects=full.record_defects[:1], actions=(action(1, missing, short),), cautions=full.cautions[:1],
    )  # fmt: skip
    return with_every_text(small, lambda text: "=<i>[x](y)|`%\n::\x1b\ud800" + text)


def with_every_text(value: Any, said: Callable[[str], str]) -> Any:
    """The same values with every free text in them passed through `said`; statuses and grades stay."""
    if isinstance(value, Status | Grade):
        return value
    if isinstance(value, str):
        return said(value)
    if isinstance(value, tuple):
        return tuple(with_every_text(item, said) for item in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: with_every_text(getattr(value, f.name), said) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **fields)
    return value


@pytest.fixture(scope="session")
def every_text() -> Callable[[Report, Callable[[str], str]], Report]:
    """A function that passes every free text of a report through another."""
    return with_every_text


MADE: dict[str, Callable[[], Report]] = {
    "full": full_report,
    "since": since_report,
    "drawn": drawn_report,
    "unread": unread_report,
    "hostile": hostile_report,
    "huge": huge_report,
    "clean": clean_report,
    "empty": empty_report,
    "unobserved": unobserved_report,
    "fleet": fleet_report,
    "few-hostile": few_hostile_report,
}


@pytest.fixture(scope="session")
def made() -> Callable[[str], Report]:
    """A report made by hand, by its name in `MADE`."""
    return lambda name: MADE[name]()
