"""Which small logs, packs and registers stand on the edge of a rule?

Every case comes from a seed and is the same on every machine. Edges dominate: a length is its limit or a second beside
it, a pause is the longest that joins or a second beside it, a completion falls on local midnight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

COLUMNS = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "started_at", "ended_at", "duration_s", "agent",
    "solution_id", "concentration_ppm", "temperature_c", "temperature_f", "ph", "hardness_ppm", "product_amount", "product_unit",
    "water_amount", "water_unit", "performed_by", "verified_by", "verified_at", "recorded_at",
)  # fmt: skip
# a zone, and days on which its clocks jump
ZONES = {
    "America/New_York": ("2026-03-08", "2026-11-01"),
    "Europe/Berlin": ("2026-03-29", "2026-10-25"),
    "Australia/Lord_Howe": ("2026-04-05", "2026-10-04"),
}
LINES = ("line-1", "line-2", "line-3")
PARTS = ("nozzle", "manifold")
# the contract leaves open what is expected of a machine without a register, so these cases have one
UNREGISTERED_ABOVE = 1.0
Row = dict[str, str]


@dataclass(frozen=True)
class Case:
    """Rows in canonical columns, one pack, one register or none, and the moment to look from."""

    name: str
    rows: list[Row]
    pack: dict[str, Any]
    register: dict[str, Any] | None
    as_of: str


def pack_of(rules: Sequence[dict[str, Any]]) -> dict[str, Any]:
    return {
        "pack": "invented", "version": "1.0.0", "title": "Invented limits", "procedure": "periodic-cip",
        "sources": {"practice": {"title": "Common practice", "published": False}},
        "profiles": {"dispenser": {"lines": ["line-1", "line-2"], "parts": ["nozzle"], "capacities": {"flush": 1}}},
        "rules": list(rules),
    }  # fmt: skip


def rule(rule_id: str, kind: str, params: dict[str, Any], grade: str = "major") -> dict[str, Any]:
    return {"id": rule_id, "title": f"Limit of {kind} broken", "kind": kind, "grade": grade, "params": params,
            "cites": [{"source": "practice", "says": "Keep the limit."}]}  # fmt: skip


def period(seconds: int) -> str:
    return f"PT{seconds // 60}M{seconds % 60}S" if seconds >= 60 and seconds % 60 else f"PT{seconds}S"


def stamp(at: int, zone: str | None = None) -> str:
    """A moment in UTC, or as the store's clock shows it, without an offset."""
    if zone is None:
        return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return datetime.fromtimestamp(at, ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M:%S")


def beside(r: Random, limit: int) -> int:
    """The limit, a second beside it, or something far from it."""
    return max(0, r.choice([limit, limit, limit - 1, limit + 1, limit // 2, limit * 2, 0]))


# ---------------------------------------------------------------- one machine's rows


@dataclass
class Pen:
    """Writes the rows of one machine."""

    r: Random
    store: str
    equipment: str
    zone: str | None
    rows: list[Row]

    def write(self, cycle: str, step: str, target: str, start: int | None, end: int | None, **more: str) -> Row:
        zone = self.zone if self.r.random() < 0.5 else None
        row = dict.fromkeys(COLUMNS, "")
        row.update(store_id=self.store, equipment_id=self.equipment, cycle_id=cycle, step=step, target=target)
        row["started_at"] = "" if start is None else stamp(start, zone)
        row["ended_at"] = "" if end is None else stamp(end, zone)
        row.update(more)
        self.rows.append(row)
        return row


def machine(r: Random, equipment: str) -> dict[str, Any]:
    """A machine of the register."""
    entry: dict[str, Any] = {"equipment_id": equipment}
    if r.random() < 0.4:
        entry["profile"] = "dispenser"
    if "profile" not in entry or r.random() < 0.5:
        entry["lines"] = list(LINES[: r.randint(1, 3)])
        entry["parts"] = list(PARTS[: r.randint(0, 2)])
    if r.random() < 0.4:
        entry["capacities"] = {"flush": r.randint(1, 2)}
    if r.random() < 0.25:
        entry["lines_out_of_use"] = ["line-1"]
    return entry


def fleet(r: Random, stores: int, machines: int) -> tuple[dict[str, Any] | None, list[tuple[str, str, str | None]]]:
    """A register and its machines with their zones; the same equipment names stand in every store."""
    with_register = r.random() < UNREGISTERED_ABOVE
    zones = [r.choice(list(ZONES)) for _ in range(stores)]
    names = [
        (f"S-{s + 1}", f"EQ-{m + 1}", zones[s] if with_register else None)
        for s in range(stores)
        for m in range(machines)
    ]
    if not with_register:
        return None, names
    entries = [
        {
            "store_id": f"S-{s + 1}",
            "timezone": zones[s],
            "equipment": [machine(r, f"EQ-{m + 1}") for m in range(machines)],
        }
        for s in range(stores)
    ]
    return {"stores": entries}, names


def targets(r: Random) -> Any:
    return r.choice(["lines", "parts", "all", None, ["line-1", "line-9"], ["nozzle"]])


def optional(**params: Any) -> dict[str, Any]:
    return {k: v for k, v in params.items() if v is not None}


def begin(r: Random, zone: str | None) -> int:
    """A start, often within the hour before clocks jump."""
    zone = zone or "UTC"
    day = date.fromisoformat(r.choice((*ZONES.get(zone, ("2026-05-04",)), "2026-06-10")))
    return round(datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)).timestamp()) + r.choice(
        [0, 3600, 5400, 6000, 36000]
    )


# ---------------------------------------------------------------- families


def flushes(r: Random) -> Case:
    """Flushes cancelled and resumed, touching, overlapping, too short by a second; across a change of clocks."""
    least, gap = r.choice([60, 900]), r.choice([0, 1, 30, 120])
    rules = [
        rule(
            "F-LONGEST", "flush", optional(min=period(least), targets=targets(r), join_gap=period(gap) if gap else None)
        ),
        rule("F-TOTAL", "flush", optional(min=period(least), targets=targets(r), accumulate="total")),
        rule("F-OTHER", "flush", optional(step="rinse", min=period(gap), targets=targets(r), accumulate="longest")),
    ]
    register, names = fleet(r, 1, r.randint(1, 2))
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        for cycle in ("c1", "c2")[: r.randint(1, 2)]:
            at = begin(r, zone)
            for target in (*LINES, "", "line-9", "nozzle"):
                if r.random() < 0.3:
                    continue
                for _ in range(r.randint(1, 3)):
                    length = r.choice([beside(r, least), beside(r, least // 2), beside(r, max(least - gap, 0) // 2)])
                    pen.write(cycle, r.choice(["flush", "flush", "flush", "rinse"]), target, at, at + length)
                    last = max(last, at + length)
                    at += length + r.choice([gap, gap + 1, max(gap - 1, 0), 0, -min(length, 5), -length])
                at += 3600
    return Case("flushes", rows, pack_of(rules), register, stamp(last + 9000))


def contacts(r: Random) -> Case:
    """Contacts by table: the agent, the strength, warmth and pH decide how long is long enough."""
    table = [
        {"agent": "chlorine", "at_least": "PT60S", "concentration_ppm": {"min": 50, "max": 99.5}},
        {"agent": "chlorine", "at_least": "PT10S", "concentration_ppm": {"min": 100}, "temperature_c": {"min": 13}},
        {"agent": "chlorine", "at_least": "PT30S", "concentration_ppm": {"min": 100}, "ph": {"max": 8}},
        {"agent": "chlorine", "at_least": "PT20S", "ph": {"max": 8.05, "unrecorded": "met"}},
        {"agent": "quat", "at_least": "PT30S", "temperature_c": {"min": "24 °C/75 °F", "max": 60}},
        {"agent": "quat", "at_least": "PT10S", "hardness_ppm": {"max": 500}},
        {"at_least": "PT30M"},
    ]
    r.shuffle(table)
    # the contract does not say what holds for a contact that no line is for; the last line is for any
    table = table[: r.randint(1, 7)]
    table += [{"at_least": "PT30M"}] * ({"at_least": "PT30M"} not in table)
    rules = [
        rule("C-ONE", "contact", optional(min="PT60S", targets=targets(r))),
        rule("C-TABLE", "contact", optional(steps=["sanitize", "soak"], min=table, targets=targets(r))),
    ]
    register, names = fleet(r, 1, 1)
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        at = begin(r, zone)
        for target in (*LINES, "", "nozzle"):
            for _ in range(r.randint(0, 2)):
                length = beside(r, r.choice([10, 30, 60, 1800]))
                pen.write(
                    "c1", r.choice(["sanitize", "sanitize", "soak", "wash"]), target, at, at + length, **measured(r)
                )
                last = max(last, at + length)
                at += r.choice([0, 1, length, length + 600])
    return Case("contacts", rows or [ghost()], pack_of(rules), register, stamp(last + 9000 if last else 1781000000))


def ghost() -> Row:
    row = dict.fromkeys(COLUMNS, "")
    row.update(
        store_id="S-1",
        equipment_id="EQ-1",
        cycle_id="c1",
        step="empty_tank",
        started_at="2026-06-01T00:00:00Z",
        ended_at="2026-06-01T00:00:00Z",
    )
    return row


def measured(r: Random, solutions: Sequence[str] = ("",)) -> dict[str, str]:
    return {
        "agent": r.choice(["chlorine", "chlorine", "chlorine", "quat", "water", ""]),
        "solution_id": r.choice(solutions),
        "concentration_ppm": r.choice(["", "50", "49.9", "99.5", "99.6", "100", "200", "200.1"]),
        **warmth(r),
        "ph": r.choice(["", "8", "8.1", "7.0"]),
        "hardness_ppm": r.choice(["", "500", "500.1"]),
    }


def warmth(r: Random) -> dict[str, str]:
    """A temperature on one scale, on both as they agree, or on none; 75 °F is 23.9 °C and printed as 24."""
    both = r.choice(["", "13,", "12.9,", "24,", "60.1,", ",55", ",54.9", ",75", ",74.9", ",140", ",140.1", "24,74.9", "13,55"])
    celsius, fahrenheit = both.split(",") if both else ("", "")
    return {"temperature_c": celsius, "temperature_f": fahrenheit}


AMOUNTS = ("product_amount", "product_unit", "water_amount", "water_unit")
# of a product of 10 %: 100 and 200 mg/L by water and dose, a powder, then what says no strength
DOSES = (
    "10,ml,9.99,l", "0.02,l,9980,ml", "5,g,5,l", "1,us_fl_oz,1,us_gal", "1,imp_fl_oz,10,imp_gal", "1,oz_av,5,us_gal",
    "1,oz,5,us_gal", "10,ml,,l", ",,,", "10,ml,0,l",
)  # fmt: skip


def solutions(r: Random) -> Case:
    """Readings at the edge, of several solutions, corrected before use or after, with conditions or amounts lacking."""
    table = [
        {"min": 50, "max": 200, "temperature_c": {"min": ["13 °C", "55 °F"]}, "ph": {"max": 8, "unrecorded": "met"}},
        {"min": 100, "max": 200, "temperature_c": {"min": 12.9}},
        {"min": 50, "max": 200, "hardness_ppm": {"max": 500}},
        {"min": "25 ppm", "max": "49.9 mg/L", "temperature_c": {"min": "75 °F", "max": "60 °C"}},
        {"min": 200},
    ]
    r.shuffle(table)
    rules = [
        rule(
            "S-MIN",
            "concentration",
            optional(agent=r.choice(["chlorine", "quat"]), min=r.choice([50, 100, None]), max=200),
        ),
        rule("S-TABLE", "concentration", optional(agent="chlorine", table=table[: r.randint(1, 5)])),
        rule("S-MIXED", "mixed_strength", optional(
            agent="chlorine", product_percent=r.choice([10, 10, 10, None]), within=r.choice([0, 0.1, 20]))),
    ]
    register, names = fleet(r, 1, 1)
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        for cycle in ("c1", "c2", "c3"):
            at = begin(r, zone)
            agents = r.choice([["chlorine"], ["chlorine", "quat"], ["quat", "water"], [""], ["chlorine", ""]])
            ids = r.choice([("",), ("B1",), ("B1", "B2"), ("B1", "")])
            # many cycles write their amounts as they should, and read what these make
            doses = r.choice((DOSES, DOSES[:3], DOSES[:1]))
            # whether a reading may borrow its warmth and pH from another row is open: all rows of a cycle have them or none
            lacking = r.choice([[], ["temperature_c"], ["ph"], ["hardness_ppm"], ["temperature_c", "ph"]])
            lacking += ["temperature_f"] * ("temperature_c" in lacking)
            fixed = {**warmth(r), "ph": r.choice(["8", "8.1"]),
                     "hardness_ppm": r.choice(["500", "500.1"])}  # fmt: skip
            for step in ("mix_solution", "test_solution", "mix_solution", "test_solution", "sanitize", "test_solution"):
                if r.random() < 0.7:
                    row = measured(r, ids)
                    row["agent"] = r.choice(agents)
                    row.update(fixed, **dict.fromkeys(lacking, ""))
                    if row["concentration_ppm"] and len(doses) < 4:
                        row["concentration_ppm"] = r.choice(["100", "100", row["concentration_ppm"]])
                    if r.random() < 0.4 and step != "test_solution":
                        row["concentration_ppm"] = ""
                    if step == "mix_solution" or r.random() < 0.1:
                        row.update(zip(AMOUNTS, r.choice(doses).split(","), strict=True))
                    pen.write(cycle, step, r.choice(["", "line-1"]), at, at + 60, **row)
                    last = max(last, at + 60)
                    at += r.choice([60, 0, 600])
    return Case("solutions", rows or [ghost()], pack_of(rules), register, stamp(last + 9000 if last else 1781000000))


def orders(r: Random) -> Case:
    """Links of every sort with lags at their edges, and steps that are forbidden between two others."""
    steps = ["wash", "rinse", "sanitize", "reassemble", "prime"]
    relations = []
    for _ in range(r.randint(1, 3)):
        first, then = r.sample(steps, 2)
        low = r.choice([None, 0, 10, 60])
        high = r.choice([None, 0, 60, 120])
        if low and high is not None and high < low:
            high = None
        relations.append(optional(
            first=first, then=then, link=r.choice(["FS", "SS", "FF", "SF", None]), per=r.choice(["target", "cycle", None]),
            min_lag=None if low is None else period(low), max_lag=None if high is None else period(high),
        ))  # fmt: skip
    banned = []
    for _ in range(r.randint(1, 2)):
        step, after, until = r.sample(steps, 3)
        banned.append(
            optional(step=step, after=after, until=r.choice([until, None]), per=r.choice(["target", "cycle", None]))
        )
    rules = [rule("O-LINK", "order", {"relations": [x]}) | {"id": f"O-LINK-{i}"} for i, x in enumerate(relations)]
    rules += [rule("O-BAN", "order", {"forbidden": [x]}) | {"id": f"O-BAN-{i}"} for i, x in enumerate(banned)]
    register, names = fleet(r, 1, 1)
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        at = begin(r, zone)
        for _ in range(r.randint(2, 7)):
            length = r.choice([0, 10, 60, 61])
            pen.write("c1", r.choice(steps), r.choice(["line-1", "line-1", "line-2", "", "line-9"]), at, at + length)
            last = max(last, at + length)
            at += r.choice([0, length, length, length + 10, length + 60, length + 61, length + 59, length + 120])
    return Case("orders", rows, pack_of(rules), register, stamp(last + 9000))


def capacities(r: Random) -> Case:
    """Rows that touch, overlap by a second or start together; one person at two stores."""
    steps = r.choice([["flush"], ["flush", "rinse"]])
    rules = [
        rule("K-GIVEN", "concurrency", {"steps": steps, "capacity": r.randint(1, 3)}),
        rule("K-OWN", "concurrency", {"steps": ["flush"], "resource": "equipment"}),
        rule("K-PERSON", "concurrency", {"steps": steps, "resource": "performed_by"}),
    ]
    register, names = fleet(r, r.randint(1, 2), 1)
    rows: list[Row] = []
    last = 0
    start = begin(r, names[0][2])
    for store, equipment, _ in names:
        pen = Pen(r, store, equipment, None, rows)
        for cycle in ("c1", "c2")[: r.randint(1, 2)]:
            at = start + r.choice([0, 60, 120])
            for _ in range(r.randint(0, 4)):
                length = r.choice([1, 60, 60, 120])
                pen.write(
                    cycle,
                    r.choice(["flush", "flush", "rinse"]),
                    r.choice(LINES),
                    at,
                    at + length,
                    performed_by=r.choice(["Ada", "Ada", "Bo", ""]),
                )
                last = max(last, at + length)
                at += r.choice([0, length, length - 1, length + 1, 30])
    return Case("capacities", rows or [ghost()], pack_of(rules), register, stamp(last + 9000 if last else 1781000000))


def notes(r: Random) -> Case:
    """Fields that rows lack, notes made a second too late, people who verify themselves, times to come."""
    fields = ["performed_by", "verified_by", "verified_at", "recorded_at", "temperature_c", "started_at", "ended_at"]
    rules = [
        rule("R-FIELDS", "record", {"required_fields": r.sample(fields, r.randint(1, 3))}),
        rule("R-SOON", "record", {"recorded_within": "PT1H"}),
        rule("R-SEEN", "record", {"verified_within": "PT24H"}),
        rule("R-TWO", "record", {"distinct": ["performed_by", "verified_by"]}),
        rule("R-NOW", "record", {"not_future": True}),
    ]
    register, names = fleet(r, 1, 1)
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        for cycle in ("c1", "c2", "c3"):
            at = begin(r, zone)
            for step in ("flush", "rinse")[: r.randint(1, 2)]:
                row = pen.write(cycle, step, "line-1", at, at + 60)
                row["performed_by"] = r.choice(["Ada", "Bo", ""])
                row["verified_by"] = r.choice(["Ada", "Cy", ""])
                row["recorded_at"] = r.choice(["", stamp(at + 60 + 3600), stamp(at + 60 + 3601), stamp(at + 60)])
                row["verified_at"] = r.choice(["", stamp(at + 60 + 86400), stamp(at + 60 + 86401), stamp(at + 70)])
                row["temperature_c"] = r.choice(["", "20"])
                last = max(last, at + 60)
    return Case("notes", rows, pack_of(rules), register, stamp(last + r.choice([0, 100000, 3600, 3599])))


def schedules(r: Random) -> Case:
    """Completions on local midnight and a second before, on the last day allowed and the next; days out of service."""
    most = r.choice([1, 3, 7])
    params: dict[str, Any] = {"max": f"P{most}D"}
    if r.random() < 0.3:
        params["grace"] = "P1D"
    if r.random() < 0.3:
        params["warn_before"] = "P1D"
    allowed = most + (1 if "grace" in params else 0)
    by_hours = r.random() < 0.25
    if by_hours:
        params = {"max": f"PT{most * 24}H"} | ({"grace": "PT24H"} if "grace" in params else {})
    counting = r.choice(["any", "complete", "conforming", None])
    rules = [
        rule("I-MAX", "interval", params | optional(counts=counting)),
        rule("I-COVER", "coverage", {"required": [{"step": "flush", "targets": r.choice(["lines", ["line-1"]])}]}),
        rule("I-FLUSH", "flush", {"min": "PT15M", "targets": ["line-1"]}, r.choice(["critical", "major", "minor"])),
    ]
    register, names = fleet(r, 1, r.randint(1, 2))
    rows: list[Row] = []
    latest = 0
    for store, equipment, zone in names:
        pen = Pen(r, store, equipment, zone, rows)
        place = ZoneInfo(zone or "UTC")
        day = date.fromisoformat(r.choice(ZONES.get(zone or "", ("2026-05-04",)))) - timedelta(days=r.randint(0, 9))
        if register is not None:
            entry = next(e for s in register["stores"] for e in s["equipment"] if e["equipment_id"] == equipment)
            if r.random() < 0.5:
                entry["in_service_on"] = (day - timedelta(days=r.choice([0, allowed, allowed + 1, 1, -2]))).isoformat()
            if r.random() < 0.5:
                start = day + timedelta(days=r.randint(-1, 3))
                entry["out_of_service"] = [
                    {"from": start.isoformat(), "to": (start + timedelta(days=r.randint(0, 3))).isoformat()}
                ]
            if r.random() < 0.2 and not by_hours:
                entry["limits"] = {"I-MAX": {"max": f"P{max(1, most - 1)}D"}}
        if r.random() < 0.1:
            continue
        for number in range(r.randint(1, 4)):
            noon = round(datetime(day.year, day.month, day.day, tzinfo=place).timestamp())
            end = noon + r.choice([0, -1, 1, 43200, 86399, 7200, 5400])
            whole = r.random() < 0.75
            for at, line in enumerate(("line-1", "line-2", "line-3")):
                if whole or at == 0:
                    length = r.choice([900, 900, 899])
                    pen.write(f"c{number}", "flush", line, end - length, end)
            if not whole and r.random() < 0.5:
                pen.write(f"c{number}", "verify", "", end, end)
            latest = max(latest, end)
            day += timedelta(days=r.choice([allowed, allowed, allowed + 1, 1, allowed + 2, allowed + 3]))
    latest = latest or 1781000000
    as_of = latest + r.choice([0, 1, most * 86400, (allowed + 1) * 86400, allowed * 86400 - 3600])
    return Case("schedules", rows or [ghost()], pack_of(rules), register, stamp(max(as_of, latest)))


def loose(r: Random) -> Case:
    """Rows without a cycle: six hours apart, or a second less; and a cycle name that two machines share."""
    rules = [
        rule("L-COVER", "coverage", {"required": [{"step": "flush", "targets": "lines"}, {"step": "verify"}]}),
        rule("L-ORDER", "order", {"relations": [{"first": "flush", "then": "rinse", "per": "cycle"}]}),
    ]
    register, names = fleet(r, 1, 2)
    rows: list[Row] = []
    last = 0
    for store, equipment, zone in names:
        # in UTC, since a row with neither a cycle nor a readable time belongs nowhere
        pen = Pen(r, store, equipment, None, rows)
        at = begin(r, zone)
        for _ in range(r.randint(1, 6)):
            length = r.choice([0, 60, 3600, 7200])
            name = "c1" if r.random() < 0.2 else ""
            row = pen.write(
                name, r.choice(["flush", "rinse", "verify"]), r.choice(["line-1", "line-2", ""]), at, at + length
            )
            row["procedure"] = r.choice(["", "", "periodic-cip", "daily-wipe"])
            last = max(last, at + length)
            at += length + r.choice([21600, 21599, 21601, 0, 60])
    return Case("loose", rows, pack_of(rules), register, stamp(last + 9000))


TINY_LACKS = ["ended_at", "ended_at", "started_at"]


def tiny(r: Random) -> Case:
    """Seconds in place of minutes, with times that are missing: every completion can be tried."""
    least = r.randint(1, 4)
    gap = r.choice([0, 0, 1, 2])
    kinds = r.choice(["flush", "contact", "order", "concurrency"])
    steps = ["flush", "rinse", "wash"]
    first, then, third = r.sample(steps, 3)
    rules = {
        "flush": [rule("T-LONGEST", "flush", optional(min=period(least), targets="lines", join_gap=period(gap) if gap else None)),
                  rule("T-TOTAL", "flush", {"min": period(least), "targets": "lines", "accumulate": "total"})],
        "contact": [rule("T-CONTACT", "contact", {"steps": ["flush", "rinse"], "min": period(least), "targets": "lines"})],
        "order": [rule("T-LINK", "order", {"relations": [optional(
                      first=first, then=then, link=r.choice(["FS", "SS", "FF", "SF"]), per=r.choice(["target", "cycle"]),
                      min_lag=r.choice([None, period(least)]), max_lag=r.choice([None, period(least + 1)]))]}),
                  rule("T-BAN", "order", {"forbidden": [optional(
                      step=first, after=then, until=r.choice([third, None]), per=r.choice(["target", "cycle"]))]})],
        "concurrency": [rule("T-OWN", "concurrency", {"steps": ["flush"]}),
                        rule("T-GIVEN", "concurrency", {"steps": ["flush", "rinse"], "capacity": r.randint(1, 2)})],
    }[kinds]  # fmt: skip
    entry: dict[str, Any] = {"equipment_id": "EQ-1", "lines": ["line-1", "line-2"], "parts": []}
    if r.random() < 0.7:
        entry["capacities"] = {"flush": r.choice([1, 1, 2])}
    register = {"stores": [{"store_id": "S-1", "timezone": "Europe/Berlin", "equipment": [entry]}]}
    rows: list[Row] = []
    pen = Pen(r, "S-1", "EQ-1", None, rows)
    base = 1780000000
    at, lacking = base, 0
    for _ in range(r.randint(1, 4)):
        length = max(1, r.choice([least, least - 1, least + 1]))
        row = pen.write(
            "c1",
            r.choice(steps if kinds == "order" else ["flush", "flush", "flush", "rinse"]),
            r.choice(["line-1", "line-1", "line-2"]),
            at,
            at + length,
        )
        if lacking < 2 and r.random() < 0.5:
            lacking += 1
            lack = r.choice(TINY_LACKS)
            for column in {"both": ["started_at", "ended_at"], "duration": ["started_at", "ended_at"]}.get(
                lack, [lack]
            ):
                row[column] = ""
            if lack == "duration":
                row["duration_s"] = str(length)
            if lack == "both":
                row["duration_s"] = ""
                row["recorded_at"] = stamp(at + length)
        if not row["recorded_at"] and r.random() < 0.3:
            row["recorded_at"] = stamp(at + length + r.choice([0, 1, 3]))
        at += length + r.choice([0, 0, 1, gap, gap + 1, -1 if length else 0])
    return Case("tiny", rows, pack_of(rules), register, stamp(at + r.choice([1, 3, 6])))


FAMILIES: dict[str, Callable[[Random], Case]] = {
    f.__name__: f for f in (flushes, contacts, solutions, orders, capacities, notes, schedules, loose, tiny)
}


def case(family: str, seed: int) -> Case:
    """The case of a family and a seed; rows are shuffled, since the order of a file means nothing."""
    r = Random(f"{family} {seed}")
    made = FAMILIES[family](r)
    # a row that stands twice word for word is one the contract says nothing of
    rows = [dict(pairs) for pairs in dict.fromkeys(tuple(row.items()) for row in made.rows)]
    r.shuffle(rows)
    return replace(made, rows=rows)
