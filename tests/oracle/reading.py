"""What does the contract say of a log, read as slowly and plainly as it can be?

An independent reading of the rule kinds: no code of the product is used, every missing time is tried out value by
value, and nothing is fast. `findings` gives every check that is OUT or N/O. Where the contract leaves a choice, a
comment that begins with CHOICE says which one is read here.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

Row = Mapping[str, str]
Finding = tuple[str, str, str, str, str, str]
Span = tuple[int, int]
OUT, IN, NO = "out", "in", "not_observed"
FULL_GRID = 60
SIX_HOURS = 6 * 3600
MOST_TRIED = 20_000


class TooMany(Exception):
    """The missing times of a case allow more completions than can be tried one by one."""


@dataclass
class Step:
    """One row with its times in seconds; None is a time that the row does not give."""

    row: Row
    step: str
    target: str
    start: int | None
    end: int | None
    duration: int | None
    upper: int
    starts: tuple[int, ...] = ()
    ends: tuple[int, ...] = ()

    @property
    def known(self) -> bool:
        return self.start is not None and self.end is not None

    @property
    def broken(self) -> bool:
        """No completion of this row alone fits the facts."""
        return not any(
            True for _ in spans_of(self, [self.upper, *(t for t in (self.start, self.end, *self.starts, *self.ends) if t is not None)])
        )


@dataclass
class Machine:
    """What the register says of one machine; `lines` is None where no register speaks of it."""

    store: str
    equipment: str
    zone: ZoneInfo
    lines: list[str] | None = None
    parts: list[str] | None = None
    idle_lines: list[str] = field(default_factory=list)
    capacities: dict[str, int] = field(default_factory=dict)
    in_service: date | None = None
    windows: list[tuple[date, date]] = field(default_factory=list)
    limits: dict[str, dict[str, Any]] = field(default_factory=dict)
    own_targets: list[str] = field(default_factory=list)


@dataclass
class Cycle:
    machine: Machine
    cycle_id: str
    steps: list[Step]


@dataclass
class World:
    pack: Mapping[str, Any]
    machines: list[Machine]
    cycles: list[Cycle]
    as_of: int


def findings(
    rows: Sequence[Row], pack: Mapping[str, Any], register: Mapping[str, Any] | None, as_of: str
) -> set[Finding]:
    """Every check that is OUT or N/O: (rule, store_id, equipment_id, cycle_id, target, status)."""
    return {c for c in checks(rows, pack, register, as_of) if c[5] in (OUT, NO)}


def checks(
    rows: Sequence[Row], pack: Mapping[str, Any], register: Mapping[str, Any] | None, as_of: str
) -> set[Finding]:
    """Every check that has a subject, whatever its status."""
    world = build(rows, pack, register, as_of)
    found: set[Finding] = set()
    for rule in pack["rules"]:
        if rule["kind"] != "interval":
            found |= PER_KIND[rule["kind"]](world, rule)
    # an interval may ask how the other rules fared, and another interval is another rule
    for rule in sorted(
        (r for r in pack["rules"] if r["kind"] == "interval"), key=lambda r: params(r).get("counts", "") == "conforming"
    ):
        found |= interval(world, rule, found)
    return found


# ---------------------------------------------------------------- reading values


def seconds(text: str) -> int:
    """Elapsed seconds of PTnHnMnS."""
    match = re.fullmatch(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?", text)
    assert match, text
    hours, minutes, secs = (int(g or 0) for g in match.groups())
    return hours * 3600 + minutes * 60 + secs


def instants(text: str, zone: ZoneInfo) -> tuple[int, ...]:
    """Seconds since 1970: none for a blank and for a local time that never came, two for one that came twice."""
    if not text:
        return ()
    read = datetime.fromisoformat(text.replace("Z", "+00:00"))
    if read.tzinfo is not None:
        return (round(read.timestamp()),)
    both = [read.replace(tzinfo=zone, fold=f) for f in (0, 1)]
    # a wall time that a zone never showed does not come back from UTC as it was
    real = [b for b in both if b.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == read]
    return tuple(sorted({round(b.timestamp()) for b in real}))


def instant(text: str, zone: ZoneInfo) -> int | None:
    """The one instant that a text names, else None."""
    found = instants(text, zone)
    return found[0] if len(found) == 1 else None


def local_date(at: int, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(at, zone).date()


def midnight(day: date, zone: ZoneInfo) -> int:
    return round(datetime.combine(day, time(), zone).timestamp())


def number(text: str | None) -> Decimal | None:
    return Decimal(text) if text else None


def params(rule: Mapping[str, Any]) -> dict[str, Any]:
    return dict(rule.get("params") or {})


def params_for(rule: Mapping[str, Any], machine: Machine) -> dict[str, Any]:
    """The rule's parameters, with the maker's own figures for this machine."""
    return {**params(rule), **machine.limits.get(rule["id"], {})}


# ---------------------------------------------------------------- machines, cycles


def build(rows: Sequence[Row], pack: Mapping[str, Any], register: Mapping[str, Any] | None, as_of: str) -> World:
    now = instant(as_of, ZoneInfo("UTC"))
    assert now is not None
    machines = {(m.store, m.equipment): m for m in registered(pack, register)}
    zones = {s["store_id"]: ZoneInfo(s["timezone"]) for s in (register or {}).get("stores", []) if s.get("timezone")}
    for row in rows:
        key = (row["store_id"], row["equipment_id"])
        if key not in machines:
            machines[key] = Machine(*key, zones.get(key[0], ZoneInfo("UTC")))
        # CHOICE: "the targets that occur in that equipment's own records": all its records, of any step and procedure
        if row.get("target") and row["target"] not in machines[key].own_targets:
            machines[key].own_targets.append(row["target"])
    cycles = []
    for machine in machines.values():
        own = [r for r in rows if (r["store_id"], r["equipment_id"]) == (machine.store, machine.equipment)]
        own = [r for r in own if r.get("procedure", "") in ("", pack["procedure"])]
        cycles += cycles_of(machine, own, now)
    return World(pack, list(machines.values()), cycles, now)


def registered(pack: Mapping[str, Any], register: Mapping[str, Any] | None) -> Iterator[Machine]:
    for store in (register or {}).get("stores", []):
        for e in store.get("equipment", []):
            profile = pack.get("profiles", {}).get(e.get("profile"), {})
            yield Machine(
                store["store_id"], e["equipment_id"], ZoneInfo(store.get("timezone") or "UTC"),
                list(e["lines"] if e.get("lines") is not None else profile.get("lines", [])),
                list(e["parts"] if e.get("parts") is not None else profile.get("parts", [])),
                list(e.get("lines_out_of_use", [])),
                # CHOICE: the machine's own capacities replace the profile's one step at a time
                {**profile.get("capacities", {}), **e.get("capacities", {})},
                date.fromisoformat(e["in_service_on"]) if e.get("in_service_on") else None,
                [(date.fromisoformat(w["from"]), date.fromisoformat(w["to"]) if w.get("to") else date.max)
                 for w in e.get("out_of_service", [])],
                dict(e.get("limits", {})),
            )  # fmt: skip


def step_of(row: Row, machine: Machine, now: int) -> Step:
    start, end = (instant(row.get(c, ""), machine.zone) for c in ("started_at", "ended_at"))
    length = int(row["duration_s"]) if row.get("duration_s") else None
    starts, ends = (instants(row.get(c, ""), machine.zone) for c in ("started_at", "ended_at"))
    if length is not None and start is not None and not ends:
        end = start + length
    elif length is not None and end is not None and not starts:
        start = end - length
    recorded = instant(row.get("recorded_at", ""), machine.zone)
    return Step(row, row["step"], row.get("target", ""), start, end, length, now if recorded is None else recorded,
                starts if len(starts) > 1 else (), ends if len(ends) > 1 else ())


def cycles_of(machine: Machine, rows: Sequence[Row], now: int) -> list[Cycle]:
    named: dict[str, list[Step]] = {}
    loose: list[Step] = []
    for row in rows:
        step = step_of(row, machine, now)
        if row.get("cycle_id"):
            named.setdefault(row["cycle_id"], []).append(step)
        else:
            loose.append(step)
    cycles = [Cycle(machine, name, steps) for name, steps in named.items()]
    # CHOICE: rows are apart by the time from the latest end so far to the next start, and nearness passes on from row to row
    loose.sort(key=lambda s: first_time(s))
    group: list[Step] = []
    for step in loose:
        if group and first_time(step) - max(last_time(s) for s in group) >= SIX_HOURS:
            cycles.append(Cycle(machine, blank_name(machine, group), group))
            group = []
        group.append(step)
    if group:
        cycles.append(Cycle(machine, blank_name(machine, group), group))
    return cycles


def first_time(step: Step) -> int:
    at = step.start if step.start is not None else (step.starts or (step.end,))[0]
    assert at is not None, "a row without cycle and times belongs nowhere"
    return at


def last_time(step: Step) -> int:
    at = step.end if step.end is not None else (step.ends or (step.start,) if step.start is not None else step.starts)[0]
    assert at is not None
    return at


def blank_name(machine: Machine, group: Sequence[Step]) -> str:
    """The contract gives no name to a cycle without one; the one that the product gives is a matter of wording."""
    return datetime.fromtimestamp(min(first_time(s) for s in group), machine.zone).strftime("%Y-%m-%dT%H:%M:%S")


def expected(machine: Machine, wanted: str | Sequence[str] | None) -> list[str]:
    """The targets to be checked; a line out of use is N/A and so not among them."""
    if wanted is None:
        return [""]
    if not isinstance(wanted, str):
        names = list(wanted)
    elif machine.lines is None or machine.parts is None:
        names = machine.own_targets
    else:
        names = {"lines": machine.lines, "parts": machine.parts, "all": machine.lines + machine.parts}[wanted]
    return [n for n in dict.fromkeys(names) if n not in machine.idle_lines]


def acts_on(step: Step, target: str) -> bool:
    # CHOICE: a row acts on the target that it names, and whatever acts on a part of the equipment acts on the equipment
    return target in ("", step.target)


# ---------------------------------------------------------------- missing times


def spans_of(step: Step, candidates: Sequence[int]) -> Iterator[Span]:
    """Every start and end that the row allows, of the candidates."""
    starts = [step.start] if step.start is not None else step.starts or candidates
    for start in starts:
        if step.end is not None:
            ends: Sequence[int] = [step.end]
        elif step.duration is not None:
            ends = list(step.ends or (start + step.duration,))
        elif step.ends:
            ends = step.ends
        else:
            ends = candidates
        for end in ends:
            if start <= end <= step.upper and step.duration in (None, end - start):
                yield start, end


def candidates_for(steps: Sequence[Step], shifts: Sequence[int], now: int) -> list[int]:
    """Moments worth trying: all seconds where they are few, else whatever lies a limit or a second from a known time."""
    known = {t for s in steps for t in (s.start, s.end, *s.starts, *s.ends) if t is not None}
    known |= {s.upper for s in steps} | {now}
    reach = sum(shifts) + sum(s.duration or 0 for s in steps) + 5
    low, high = min(known) - reach, max(known)
    if high - low <= FULL_GRID:
        return list(range(low, high + 1))
    moves = {0, *shifts, *(s.duration for s in steps if s.duration is not None)}
    near = {t + sign * m + e for t in known for m in moves for sign in (-1, 1) for e in (-1, 0, 1)}
    return sorted({low, low - 400 * 86400} | {t for t in near if low <= t <= high})


def overlap(a: Span, b: Span) -> bool:
    # CHOICE: a row that takes no time is never at once with another
    return a[0] < a[1] and b[0] < b[1] and a[0] < b[1] and b[0] < a[1]


def too_many(spans: Sequence[Span], capacity: int) -> bool:
    """More than `capacity` at once."""
    return any(
        all(overlap(a, b) for a, b in itertools.combinations(some, 2))
        for some in itertools.combinations(spans, capacity + 1)
    )


def fits_capacity(chosen: Sequence[tuple[Step, Span]], capacities: Mapping[str, int]) -> bool:
    for name, capacity in capacities.items():
        rows = [(s, span) for s, span in chosen if s.step == name]
        for some in itertools.combinations(rows, capacity + 1):
            # CHOICE: a capacity bounds missing times; rows whose times are all recorded stand as they are
            if all(s.known for s, _ in some):
                continue
            if too_many([span for _, span in some], capacity):
                return False
    return True


def completions(
    cycle: Cycle, read: Sequence[Step], shifts: Sequence[int], now: int, capacities: bool = True
) -> Iterator[dict[int, Span]]:
    """Every completion of the rows that a check reads (and of those that share a capacity with them), by id of the row."""
    rows = list(read)
    limits = cycle.machine.capacities if capacities else {}
    if any(not s.known for s in read):
        shared = {s.step for s in read if s.step in limits}
        rows += [s for s in cycle.steps if s.step in shared and not any(s is r for r in read)]
    tried = candidates_for(rows, shifts, now) if rows else []
    choices = [list(spans_of(s, tried)) for s in rows]
    if math.prod(len(c) for c in choices) > MOST_TRIED:
        raise TooMany
    for spans in itertools.product(*choices):
        if fits_capacity(list(zip(rows, spans, strict=True)), limits):
            yield {id(s): span for s, span in zip(rows, spans, strict=True)}


def judge(
    cycle: Cycle,
    read: Sequence[Step],
    shifts: Sequence[int],
    now: int,
    verdict: Callable[[dict[int, Span]], str],
    capacities: bool = True,
) -> str:
    """OUT when every completion breaks the limit, IN when none does, else N/O (also when none fits)."""
    seen = {verdict(c) for c in completions(cycle, read, shifts, now, capacities)}
    return seen.pop() if len(seen) == 1 else NO


# ---------------------------------------------------------------- kinds


def check(rule: Mapping[str, Any], cycle: Cycle, target: str, status: str) -> Finding:
    return (rule["id"], cycle.machine.store, cycle.machine.equipment, cycle.cycle_id, target, status)


def flush(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        least, gap = seconds(p["min"]), seconds(p.get("join_gap", "PT0S"))
        for line in expected(cycle.machine, p.get("targets")):
            rows = [s for s in cycle.steps if s.step == p.get("step", "flush") and acts_on(s, line)]
            if not rows:
                found.add(check(rule, cycle, line, OUT))
                continue

            def verdict(
                times: dict[int, Span],
                rows: list[Step] = rows,
                p: dict[str, Any] = p,
                least: int = least,
                gap: int = gap,
            ) -> str:
                spans = [times[id(s)] for s in rows]
                total = p.get("accumulate", "longest") == "total"
                return IN if (covered(spans) if total else longest(spans, gap)) >= least else OUT

            found.add(check(rule, cycle, line, judge(cycle, rows, [least, gap], world.as_of, verdict)))
    return found


def longest(spans: Sequence[Span], gap: int) -> int:
    """The longest flush, rows at most `gap` apart being one, from its first start to its last end."""
    # CHOICE: the gap between two rows that count as one belongs to the one
    runs: list[list[int]] = []
    for start, end in sorted(spans):
        if runs and start - runs[-1][1] <= gap:
            runs[-1][1] = max(runs[-1][1], end)
        else:
            runs.append([start, end])
    return max(end - start for start, end in runs)


def covered(spans: Sequence[Span]) -> int:
    edges = sorted({t for span in spans for t in span})
    return sum(b - a for a, b in itertools.pairwise(edges) if any(s <= a and b <= e for s, e in spans))


def contact(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        table = p["min"] if isinstance(p["min"], list) else [{"at_least": p["min"]}]
        shifts = [seconds(line["at_least"]) for line in table]
        for target in expected(cycle.machine, p.get("targets")):
            rows = [s for s in cycle.steps if s.step in p.get("steps", ["sanitize"]) and acts_on(s, target)]
            if not rows:
                found.add(check(rule, cycle, target, OUT))
                continue

            # CHOICE: of several contacts one that is long enough under its own conditions is enough
            def verdict(times: dict[int, Span], rows: list[Step] = rows, table: list[dict[str, Any]] = table) -> str:
                seen = [
                    met(line, s.row) for s in rows for line in table
                    if times[id(s)][1] - times[id(s)][0] >= seconds(line["at_least"])
                ]  # fmt: skip
                return IN if "yes" in seen else NO if "unknown" in seen else OUT

            found.add(check(rule, cycle, target, judge(cycle, rows, shifts, world.as_of, verdict)))
    return found


def met(line: Mapping[str, Any], row: Row) -> str:
    """Whether a row meets the conditions of a table's line: yes, no, or unknown where the row lacks one."""
    answers = []
    if line.get("agent") is not None:
        answers.append("unknown" if not row.get("agent") else "yes" if row["agent"] == line["agent"] else "no")
    for name in ("concentration_ppm", "temperature_c", "ph", "hardness_ppm"):
        if line.get(name) is not None:
            scale = "F" if name == "temperature_c" and row.get("temperature_f") else "C"
            value = number(row.get("temperature_f" if scale == "F" else name))
            unrecorded = "yes" if line[name].get("unrecorded") == "met" else "unknown"
            answers.append(unrecorded if value is None else "yes" if within(value, line[name], scale) else "no")
    return "no" if "no" in answers else "unknown" if "unknown" in answers else "yes"


def within(value: Decimal, limits: Mapping[str, Any], scale: str = "C") -> bool:
    low, high = (figure(limits.get(end), scale) for end in ("min", "max"))
    return (low is None or Fraction(value) >= low) and (high is None or Fraction(value) <= high)


def figure(limit: Any, scale: str) -> Fraction | None:
    """A limit as a number: of a temperature that of one scale, as it is written or, where it is not, reckoned."""
    if limit is None or isinstance(limit, (int, float)) or "°" not in str(limit):
        plain = None if limit is None else Fraction(str(limit).split(" ")[0])
        return plain if plain is None or scale == "C" else plain * 9 / 5 + 32
    sides = dict(reversed(side.split(" °")) for side in (limit if isinstance(limit, list) else limit.split("/")))
    if scale in sides:
        return Fraction(sides[scale])
    return Fraction(sides["C"]) * 9 / 5 + 32 if scale == "F" else (Fraction(sides["F"]) - 32) * 5 / 9


def concentration(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        table = p.get("table") or [{"min": p.get("min"), "max": p.get("max")}]
        named = {s.row["agent"] for s in cycle.steps if s.row.get("agent")}
        if not named:
            found.add(check(rule, cycle, p["agent"], NO))
            continue
        if p["agent"] not in named:
            continue
        mine = [s for s in cycle.steps if s.row.get("agent") == p["agent"]]
        for solution in {s.row.get("solution_id") or p["agent"] for s in mine}:
            # CHOICE: whatever names the solution is a row of it, whether it names the agent or even another one
            rows = [s for s in cycle.steps if (s.row.get("solution_id") or s.row.get("agent")) == solution]
            seen = [reading(table, s.row) for s in rows if s.row.get("concentration_ppm")]
            found.add(
                check(rule, cycle, solution, OUT if "no" in seen else NO if not seen or "unknown" in seen else IN)
            )
    return found


def reading(table: Sequence[Mapping[str, Any]], row: Row) -> str:
    """Whether one reading lies inside one of the lines; unknown where a condition that is lacking would decide."""
    value = number(row.get("concentration_ppm"))
    assert value is not None
    inside = [line for line in table if within(value, line)]
    answers = [met({n: line.get(n) for n in ("temperature_c", "ph", "hardness_ppm")}, row) for line in inside]
    return "yes" if "yes" in answers else "unknown" if "unknown" in answers else "no"


# the exact sizes of NIST Handbook 44, Appendix C, and of the imperial units
CUBIC_CM = {
    "ml": "1", "l": "1000", "us_gal": "3785.411784", "us_fl_oz": "29.5735295625", "imp_gal": "4546.09",
    "imp_fl_oz": "28.4130625",
}  # fmt: skip
GRAMS = {"g": "1", "kg": "1000", "lb": "453.59237", "oz_av": "28.349523125"}


def mixed_strength(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        named = {s.row["agent"] for s in cycle.steps if s.row.get("agent")}
        if not named:
            found.add(check(rule, cycle, p["agent"], NO))
        if p["agent"] not in named:
            continue
        mine = [s for s in cycle.steps if s.row.get("agent") == p["agent"]]
        for solution in {s.row.get("solution_id") or p["agent"] for s in mine}:
            rows = [s.row for s in cycle.steps if (s.row.get("solution_id") or s.row.get("agent")) == solution]
            seen = [fits_mixings(row, rows, p) for row in rows if row.get("concentration_ppm")]
            found.add(
                check(rule, cycle, solution, OUT if "no" in seen else NO if not seen or "unknown" in seen else IN)
            )
    return found


def fits_mixings(row: Row, rows: Sequence[Row], p: Mapping[str, Any]) -> str:
    """Whether a reading fits its own row's mixing, else all, none or some of those of its solution."""
    mixings = [r for r in rows if r["step"] == "mix_solution" or r.get("product_amount") or r.get("water_amount")]
    if any(row is m for m in mixings) and milligrams(row, Decimal(1)) is not None:
        mixings = [row]
    made = [milligrams(m, Decimal(str(p["product_percent"]))) if p.get("product_percent") else None for m in mixings]
    value, within = number(row["concentration_ppm"]), Decimal(str(p["within"]))
    assert value is not None
    if not made or None in made:
        return "unknown"
    # a billionth is far below any reading, and far above what binary numbers lose
    fits = {pair[0] - within - Decimal("5e-10") <= value <= pair[1] + within + Decimal("5e-10") for pair in made if pair}
    return "unknown" if len(fits) == 2 else "yes" if True in fits else "no"


def milligrams(row: Row, percent: Decimal) -> tuple[Decimal, Decimal] | None:
    """Milligrams in a litre of water and dose, and in a litre of water; None where the amounts do not say."""
    dose, water = number(row.get("product_amount")), number(row.get("water_amount"))
    if dose is None or not water or row.get("water_unit") not in CUBIC_CM:
        return None
    litres = water * Decimal(CUBIC_CM[row["water_unit"]]) / 1000
    unit = row.get("product_unit")
    if unit in GRAMS:
        active = dose * Decimal(GRAMS[unit]) * percent * 10
        return active / litres, active / litres
    if unit not in CUBIC_CM:
        return None
    cubic = dose * Decimal(CUBIC_CM[unit])
    active = cubic * percent * 10  # a hundredth of a gram in each cubic centimetre and percent
    return active / (litres + cubic / 1000), active / litres


def order(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        for relation in p.get("relations", []):
            for target, rows in grouped(cycle, relation, (relation["first"], relation["then"])):
                firsts = [s for s in rows if s.step == relation["first"]]
                thens = [s for s in rows if s.step == relation["then"]]
                if not thens:
                    continue
                shifts = [seconds(relation[k]) for k in ("min_lag", "max_lag") if relation.get(k)]

                def verdict(
                    times: dict[int, Span],
                    r: Mapping[str, Any] = relation,
                    a: list[Step] = firsts,
                    b: list[Step] = thens,
                ) -> str:
                    return IN if all(any(linked(r, times[id(x)], times[id(y)]) for x in a) for y in b) else OUT

                status = judge(cycle, firsts + thens, shifts, world.as_of, verdict) if firsts else OUT
                found.add(check(rule, cycle, target, status))
        for ban in p.get("forbidden", []):
            for target, rows in grouped(cycle, ban, (ban["step"],)):
                rows = [s for s in rows if s.step in (ban["step"], ban["after"], ban.get("until"))]
                if not any(s.step == ban["step"] for s in rows):
                    continue

                def banned(times: dict[int, Span], ban: Mapping[str, Any] = ban, rows: list[Step] = rows) -> str:
                    return OUT if breaks(ban, rows, times) else IN

                found.add(check(rule, cycle, target, judge(cycle, rows, [], world.as_of, banned)))
    return found


def grouped(cycle: Cycle, entry: Mapping[str, Any], steps: Sequence[str]) -> Iterator[tuple[str, list[Step]]]:
    """The rows of a relation, for each target that has some of its steps; or all of the cycle under a blank target."""
    if entry.get("per", "target") == "cycle":
        yield "", cycle.steps
        return
    # CHOICE: the targets are those that the rows name; a line out of use that was worked on is judged like any other
    for target in dict.fromkeys(s.target for s in cycle.steps if s.step in steps):
        yield target, [s for s in cycle.steps if s.target == target]


def linked(relation: Mapping[str, Any], first: Span, then: Span) -> bool:
    link = relation.get("link", "FS")
    lag = then[0 if link[1] == "S" else 1] - first[0 if link[0] == "S" else 1]
    least = seconds(relation["min_lag"]) if relation.get("min_lag") else 0
    return lag >= least and (not relation.get("max_lag") or lag <= seconds(relation["max_lag"]))


def breaks(ban: Mapping[str, Any], rows: Sequence[Step], times: Mapping[int, Span]) -> bool:
    for after in (times[id(s)] for s in rows if s.step == ban["after"]):
        # CHOICE: the next `until` row is the first that begins when the `after` row begins, or later
        untils = [times[id(s)][0] for s in rows if s.step == ban.get("until") and times[id(s)][0] >= after[0]]
        for end in (times[id(s)][1] for s in rows if s.step == ban["step"]):
            if end > after[0] and (not untils or end < min(untils)):
                return True
    return False


def coverage(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        for need in params_for(rule, cycle.machine)["required"]:
            for target in expected(cycle.machine, need.get("targets")):
                done = any(s.step == need["step"] and acts_on(s, target) for s in cycle.steps)
                found.add(check(rule, cycle, target, IN if done else OUT))
    return found


def concurrency(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        mine = [s for s in cycle.steps if s.step in p["steps"]]
        if p.get("resource", "equipment") == "performed_by":
            found |= two_places(world, rule, cycle, mine)
            continue
        capacity = p.get("capacity")
        if capacity is None:
            # CHOICE: with several steps the smallest of their capacities; no capacity known: no subject
            capacity = min(
                (cycle.machine.capacities[s] for s in p["steps"] if s in cycle.machine.capacities), default=None
            )
        if capacity is None or not mine:
            continue

        def verdict(times: dict[int, Span], mine: list[Step] = mine, capacity: int = capacity) -> str:
            return OUT if too_many([times[id(s)] for s in mine], capacity) else IN

        # the capacity is on trial here, so it is no fact
        found.add(check(rule, cycle, "", judge(cycle, mine, [], world.as_of, verdict, capacities=False)))
    return found


def two_places(world: World, rule: Mapping[str, Any], cycle: Cycle, mine: Sequence[Step]) -> set[Finding]:
    # CHOICE: one check a cycle and person, the person being the target
    found = set()
    for person in {s.row["performed_by"] for s in mine if s.row.get("performed_by")}:
        here = [s for s in mine if s.row.get("performed_by") == person]
        there = [
            s for c in world.cycles if c.machine.store != cycle.machine.store for s in c.steps
            if s.step in params(rule)["steps"] and s.row.get("performed_by") == person
        ]  # fmt: skip

        def verdict(times: dict[int, Span], here: list[Step] = here, there: list[Step] = there) -> str:
            return OUT if any(overlap(times[id(a)], times[id(b)]) for a in here for b in there) else IN

        found.add(check(rule, cycle, "", judge(cycle, here + there, [], world.as_of, verdict, capacities=False)))
    return found


def record(world: World, rule: Mapping[str, Any]) -> set[Finding]:
    found = set()
    for cycle in world.cycles:
        p = params_for(rule, cycle.machine)
        for name in p.get("required_fields", []):
            # CHOICE: every row of the cycle must give the field; a cycle is verified once
            given = [bool(s.row.get(name)) for s in cycle.steps]
            enough = any(given) if name in ("verified_by", "verified_at") else all(given)
            found.add(check(rule, cycle, name, IN if enough else OUT))
        for name, key in (("recorded_at", "recorded_within"), ("verified_at", "verified_within")):
            if p.get(key):
                found.add(check(rule, cycle, name, noted_within(cycle, name, seconds(p[key]), world.as_of, coarsest(world))))
        if p.get("distinct"):
            # CHOICE: nobody stands under two of the fields anywhere in the cycle; the target is the last of the fields
            people = [{s.row[f] for s in cycle.steps if s.row.get(f)} for f in p["distinct"]]
            twice = any(one & other for one, other in itertools.combinations(people, 2))
            found.add(check(rule, cycle, p["distinct"][-1], OUT if twice else IN if all(people) else NO))
        if p.get("not_future"):
            for name in ("started_at", "ended_at", "recorded_at", "verified_at"):
                given = [
                    t for s in cycle.steps for t in [instant(s.row.get(name, ""), cycle.machine.zone)] if t is not None
                ]
                if given:
                    found.add(check(rule, cycle, name, OUT if any(t > world.as_of for t in given) else IN))
    return found


def coarsest(world: World) -> int:
    """A column whose times all fall on whole minutes is known to the minute, else to the second; the coarsest counts."""
    found = []
    for column in ("started_at", "ended_at", "verified_at"):
        read = [instant(s.row.get(column, ""), c.machine.zone) for c in world.cycles for s in c.steps]
        found.append(1 if any(t % 60 for t in read if t is not None) else 60)
    return max(found)


def noted_within(cycle: Cycle, name: str, limit: int, now: int, grain: int) -> str:
    """Whether the notes came at most `limit` after the end of what they are about."""
    noted = [(s, instant(s.row.get(name, ""), cycle.machine.zone)) for s in cycle.steps]
    given = [(s, t) for s, t in noted if t is not None]
    if not given:
        return NO

    # CHOICE: a row is recorded, and a row without a note leaves the cycle N/O; a cycle is verified, after its last step
    def verdict(times: dict[int, Span]) -> str:
        if name == "verified_at":
            # CHOICE: the last signature counts; one from before work that is on record, by what the clocks tell, shows nothing
            work = [e for s in cycle.steps if s.step != "verify" for e in (s.end if s.end is not None else s.start,) if e is not None]
            last = max(t for _, t in given)
            if work and last <= max(work) - grain:
                return NO
            return OUT if last - max(e for _, e in times.values()) > limit else IN
        late = any(t - times[id(s)][1] > limit for s, t in given)
        return OUT if late else IN if len(given) == len(cycle.steps) else NO

    return judge(cycle, cycle.steps, [limit], now, verdict)


def interval(world: World, rule: Mapping[str, Any], others: set[Finding]) -> set[Finding]:
    found = set()
    for machine in world.machines:
        p = params_for(rule, machine)
        mine = [c for c in world.cycles if c.machine is machine and counts(world, p, rule, c, others)]
        results: dict[tuple[str, str], set[str]] = {}
        for ends in itertools.product(*(ends_of(world, c, p) for c in mine)):
            for key, status in intervals(
                machine, p, sorted(zip(ends, (c.cycle_id for c in mine), strict=True)), world.as_of
            ):
                results.setdefault(key, set()).add(status)
        for (cycle_id, target), seen in results.items():
            status = seen.pop() if len(seen) == 1 else NO
            found.add((rule["id"], machine.store, machine.equipment, cycle_id, target, status))
    return found


def counts(world: World, p: Mapping[str, Any], rule: Mapping[str, Any], cycle: Cycle, others: set[Finding]) -> bool:
    how = p.get("counts", "complete")
    about = [f for f in others if f[1:4] == (cycle.machine.store, cycle.machine.equipment, cycle.cycle_id)]
    rules = {r["id"]: r for r in world.pack["rules"]}
    if how == "complete":
        return all(f[5] == IN for f in about if rules[f[0]]["kind"] == "coverage")
    if how == "conforming":
        return not any(f[5] == OUT and rules[f[0]].get("grade", "major") in ("critical", "major") for f in about)
    return True


def ends_of(world: World, cycle: Cycle, p: Mapping[str, Any]) -> list[int]:
    """The moments at which the cycle may have been completed."""
    seen = sorted({max(e for _, e in c.values()) for c in completions(cycle, cycle.steps, [], world.as_of)})
    if not seen:
        return []
    low, high = seen[0], seen[-1]
    if all(s.start is None and s.end is None and not s.starts and not s.ends for s in cycle.steps):
        low -= 100 * 86400
    tried = {low, high}
    day = local_date(low, cycle.machine.zone)
    while midnight(day, cycle.machine.zone) <= high and len(tried) < 200:
        tried |= {midnight(day, cycle.machine.zone) + e for e in (-1, 0, 1)}
        day += timedelta(days=1)
    return sorted(t for t in tried if low <= t <= high)


def intervals(
    machine: Machine, p: Mapping[str, Any], done: Sequence[tuple[int, str]], now: int
) -> list[tuple[tuple[str, str], str]]:
    """(cycle, target) and status of every interval, the completions being as given."""
    begun = None if machine.in_service is None else midnight(machine.in_service, machine.zone)
    if not done and begun is None:
        return [(("", "open"), NO)]
    found = []
    last, last_id = begun, ""
    for at, cycle_id in done:
        # CHOICE: the first interval starts at in_service_on, so a completion before it begins no interval and ends none
        if begun is not None and at < begun:
            continue
        if last is not None:
            found.append(((cycle_id, ""), OUT if too_long(machine, p, last, at) else IN))
        last, last_id = at, cycle_id
    assert last is not None
    return [*found, ((last_id, "open"), OUT if too_long(machine, p, last, now) else IN)]


def too_long(machine: Machine, p: Mapping[str, Any], since: int, until: int) -> bool:
    if "T" in p["max"]:
        limit = seconds(p["max"]) + (seconds(p["grace"]) if p.get("grace") else 0)
        idle = 0
        for first, last in machine.windows:
            start, stop = (
                midnight(first, machine.zone),
                midnight(last + timedelta(days=1), machine.zone) if last < date.max else until,
            )
            idle += max(0, min(stop, until) - max(start, since))
        return until - since - idle > limit
    limit = sum(int(p[k][1:-1]) for k in ("max", "grace") if p.get(k))
    # CHOICE: the days between two completions are those after the day of the first, up to the day of the second
    day, days = local_date(since, machine.zone), 0
    last_day = local_date(until, machine.zone)
    while day < last_day:
        day += timedelta(days=1)
        days += not any(a <= day <= b for a, b in machine.windows)
    return days > limit


PER_KIND: dict[str, Callable[[World, Mapping[str, Any]], set[Finding]]] = {
    "flush": flush, "contact": contact, "concentration": concentration, "order": order, "coverage": coverage,
    "concurrency": concurrency, "record": record, "mixed_strength": mixed_strength,
}  # fmt: skip
