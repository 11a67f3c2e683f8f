"""What a reader must be told beside the findings: what was assumed, not used, not known, not exercised.

A log may be judged in pieces, so each function says what one piece tells; `in_words` adds up what belongs together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from validator.documents import suggest
from validator.engine.apply import Applied, in_order
from validator.engine.wording import sentence
from validator.findings import Notice
from validator.kinds import consistency
from validator.kinds.outcome import IN, OUT, Scope
from validator.machines import Machine
from validator.packs.layering import loosened
from validator.packs.model import Pack, documents_in
from validator.records import RecordSet
from validator.steps import Steps
from validator.tables import AGENTS, NAT, STEPS

Place = tuple[int, int, str]
"""A row: its source, its number there, and both in words."""
NAMED = 3
"""Rows that a notice names."""
RECORDS, REGISTER, PACKS, MACHINES, STORES, LONG_CYCLES, LATE, DUPLICATES, VERSIONS, LAYERS, LIMITS, UNCREDITED, SAMPLES, CLOSE, CLAIMS, CONTRADICTIONS, TARGETS = range(17)  # fmt: skip
"""The order in which a report tells of these."""


@dataclass(frozen=True)
class Told:
    """What one piece of the records adds to a notice. All of one `order` are one notice: counts add up, rows join.

    `order` begins with one of the subjects above. `say` puts it into words, from the whole count and where the first rows
    stand (`log.csv row 7, ...`); a notice that stands as it is needs neither.
    """

    order: tuple[object, ...]
    say: Notice | Callable[[int, str], Notice]
    count: int = 1
    places: tuple[Place, ...] = ()


def in_words(told: Iterable[Told]) -> list[Notice]:
    """The notices that all pieces together make, in their order."""
    groups: dict[tuple[object, ...], list[Told]] = {}
    for one in told:
        groups.setdefault(one.order, []).append(one)
    found = []
    for order in sorted(groups):
        parts = groups[order]
        say, count = parts[0].say, sum(t.count for t in parts)
        places = [said for _, _, said in sorted(place for t in parts for place in t.places)[:NAMED]]
        rows = ", ".join(places) + ", ..." * (count > NAMED)
        found.append(say if isinstance(say, Notice) else say(count, rows))
    return found


def about_records(records: RecordSet, packs: Sequence[Pack]) -> Iterable[Told]:
    """Words that no pack knows, and procedures that no pack speaks of."""
    yield from _unknown(records, "step", STEPS.union(*(p.steps for p in packs)))
    yield from _unknown(records, "agent", AGENTS.union(*(p.agents for p in packs)))
    procedures = {p.procedure for p in packs}
    if None in procedures:
        return
    for name, count in _counted(records, "procedure"):
        if name not in procedures:
            near = suggest(name, sorted(p for p in procedures if p))

            def say(many: int, _: str, name: str = name, near: str = near) -> Notice:
                one = f"{many} row names the procedure {name!r}, which no pack used here speaks of{near}; it was not judged"
                more = f"{many} rows name the procedure {name!r}, which no pack used here speaks of{near}; they were not judged"
                return Notice("other_procedure", more if many > 1 else one, count=many)

            yield Told((RECORDS, 2, name), say, count)


def _counted(records: RecordSet, column: str) -> list[tuple[str, int]]:
    """The words of a column with the number of rows that hold each."""
    coded = records.texts[column]
    counts = np.bincount(coded.codes[coded.codes >= 0], minlength=len(coded.vocabulary)).tolist()
    return [(name, count) for name, count in zip(coded.vocabulary, counts, strict=True) if count]


def _unknown(records: RecordSet, column: str, known: frozenset[str]) -> Iterable[Told]:
    for name, total in _counted(records, column):
        if name not in known:
            near = suggest(name.casefold(), sorted(known))

            def say(count: int, rows: str, name: str = name, near: str = near) -> Notice:
                used = "rows were used as they stand" if count > 1 else "row was used as it stands"
                return Notice(f"unknown_{column}", f"the {column} {name!r} is not one that the rules know{near}; {count} {used} "
                              f"({rows})", count=count)  # fmt: skip

            rows = np.flatnonzero(records.texts[column].codes == records.code(column, name))
            yield Told((RECORDS, ("step", "agent").index(column), name), say, total, _places(records, rows))


def _places(records: RecordSet, rows: Sequence[int] | npt.NDArray[np.intp]) -> tuple[Place, ...]:
    """The first of some rows, which are in order."""
    found = []
    for r in rows[:NAMED]:
        source, number = int(records.source[r]), int(records.rows[r])
        found.append((source, number, f"{records.sources[source][0]} row {number}"))
    return tuple(found)


def about_pack(number: int, told: Iterable[Notice]) -> Iterable[Told]:
    """What the application of one pack told of the machines it met; rules left out for want of a profile come last."""
    for n, notice in enumerate(told):
        yield Told((PACKS, number, notice.code == "no_profile", notice.store_id, notice.equipment_id, n), notice)


def about_fleet(machines: Sequence[Machine], has_register: bool) -> Iterable[Told]:
    """Machines that the register does not know."""
    strangers = [m for m in machines if not m.registered]
    if strangers and not has_register:
        yield Told((MACHINES,), Notice(
            "no_register", "there is no equipment register, so what was expected of each machine is what its own "
            "records name; a line that was never recorded cannot be missed"))  # fmt: skip
    elif strangers:
        for m in strangers:
            yield Told((MACHINES, *place_of(m)), Notice(
                "not_in_register", f"{m.equipment_id} of store {m.store_id} is not in the register; what was "
                f"expected of it is what its own records name", "", m.store_id, m.equipment_id))  # fmt: skip


def about_stores(machines: Sequence[Machine], judged: set[str], named: set[str]) -> Iterable[Told]:
    """Stores without a row: `judged` are those with one, `named` those that any row names."""
    for store in sorted({m.store_id for m in machines} - judged):
        about = (
            "no row about it is of the procedure judged here" if store in named else "no row of these files is about it"
        )
        yield Told(
            (STORES, store),
            Notice("no_records_of_store", f"store {store} is in the register, and {about}", store_id=store),
        )


def place_of(machine: Machine) -> tuple[str, str]:
    """Where a machine stands among all."""
    return machine.store_id, machine.equipment_id


def about_cycles(machines: Sequence[Machine], steps: Steps) -> Iterable[Told]:
    """Cycles that are odd or dated after the audit, and rows that were not used."""
    yield from _long_cycles(machines, steps)
    as_of = np.array([m.as_of for m in machines], dtype=np.int64)[steps.machine]
    late = np.flatnonzero((steps.completed != NAT) & (steps.completed > as_of))
    for cycle in late.tolist():
        m = machines[int(steps.machine[cycle])]
        yield Told((LATE, *place_of(m), cycle), Notice(
            "after_as_of", f"{m.equipment_id}: cycle {steps.cycle_ids[cycle]} is dated after the moment of this "
            f"audit and resets no clock", "", m.store_id, m.equipment_id))  # fmt: skip
    if len(steps.duplicates):
        yield Told((DUPLICATES,), _said_again, len(steps.duplicates))
    yield from about_versions(steps)


def _said_again(count: int, _: str) -> Notice:
    one = f"{count} row says the same as another row in every column; each was used once"
    many = f"{count} rows say the same as another row in every column; each was used once"
    return Notice("duplicate_rows", many if count > 1 else one, count=count)


def about_versions(steps: Steps) -> Iterable[Told]:
    """Rows that a later export tells otherwise, by machine."""
    rows = steps.superseded
    named: dict[tuple[str, str], list[int]] = {}
    for row in rows.tolist():
        key = steps.records.text("store_id", row), steps.records.text("equipment_id", row)
        named.setdefault(key, []).append(row)
    for (store, equipment), mine in named.items():

        def say(count: int, places: str, store: str = store, equipment: str = equipment) -> Notice:
            one = f"{equipment}: {count} row is told otherwise by a later export of the same cycle, which stands; it was not used ({places})"
            many = f"{equipment}: {count} rows are told otherwise by a later export of the same cycle, which stands; they were not used ({places})"
            return Notice("superseded_rows", many if count > 1 else one, "", store, equipment, count)

        yield Told((VERSIONS, store, equipment), say, len(mine), _places(steps.records, mine))


def about_limits(machines: Sequence[Machine], packs: Sequence[Pack]) -> Iterable[Told]:
    """Limits in the register for rules that no pack used here has."""
    known = {bound.rule.id for pack in packs for bound in pack.rules}
    for m in machines:
        for rule in sorted(set(m.limits) - known):
            yield Told((REGISTER, *place_of(m), rule), Notice(
                "unknown_rule", f"{m.equipment_id}: the register sets a limit for the rule {rule}, which no pack "
                f"used here has", rule, m.store_id, m.equipment_id))  # fmt: skip


def about_layers(packs: Sequence[Pack]) -> Iterable[Told]:
    """Limits and times for correction that a pack loosened, each with the reason that was given."""
    bounds = {b.rule.id: b for p in packs for b in in_order(p)}
    for n, bound in enumerate(bounds.values()):
        what = loosened(bound)
        if what and bound.beneath is not None:
            yield Told((LAYERS, n), Notice(
                "loosened_limit", f"{bound.rule.id}: the pack {bound.pack} loosens {what} of {bound.beneath.pack}: "
                f"{bound.rule.justification}", bound.rule.id))  # fmt: skip
    for n, times in enumerate((p.times for p in packs if p.times), len(bounds)):
        what = loosened(times)
        if what and times.beneath is not None:
            yield Told(
                (LAYERS, n),
                Notice(
                    "loosened_limit",
                    f"the pack {times.pack} loosens {what} of {times.beneath.pack}: {times.grading.justification}",
                ),
            )


def about_own_limits(applied: Sequence[Applied]) -> Iterable[Told]:
    """Limits of the register's own, each with the reason that was given."""
    for a in applied:
        rule = a.rule.rule.id
        for at in np.flatnonzero(a.machine_in).tolist():
            why = a.machines[at].limits.get(rule, {}).get("why")
            if why:
                m = a.machines[at]
                yield Told((LIMITS, *a.order, *place_of(m)), Notice(
                    "own_limit", f"{m.equipment_id}: the register sets a limit of its own for {rule}: {why}", rule,
                    m.store_id, m.equipment_id))  # fmt: skip


def about_rules(judged: dict[str, int]) -> Iterable[Notice]:
    """Rules that judged nothing, so that nobody takes their silence for a pass."""
    idle = [rule for rule, count in judged.items() if count == 0]
    if idle:
        yield Notice("not_exercised", f"not exercised, since no check could be judged: {', '.join(sorted(idle))}",
                     count=len(idle))  # fmt: skip


def about_uncredited(applied: Sequence[Applied]) -> Iterable[Told]:
    """Rows of a step that is asked for line by line, but that name no line: they are credited to none."""
    seen: set[tuple[int, str]] = set()
    for a in applied:
        step = getattr(a.params, "step", "")
        if a.rule.rule.kind != "flush" or a.params.targets is None or (a.order[0], step) in seen:
            continue
        seen.add((a.order[0], step))
        blank = int((a.steps.target[a.steps.of_steps((step,))] < 0).sum())
        if blank:

            def say(count: int, _: str, step: str = step, rule: str = a.rule.rule.id) -> Notice:
                one = f"{count} row of {step} names no target and was credited to none"
                many = f"{count} rows of {step} name no target and were credited to none"
                return Notice("no_target", many if count > 1 else one, rule, count=count)

            yield Told((UNCREDITED, *a.order), say, blank)


def about_samples(applied: Sequence[Applied]) -> Iterable[Told]:
    """Laboratory samples of a test that no rule asks for, or of no target where every rule on the test names some."""
    rules = [a for a in applied if a.rule.rule.kind == "samples"]
    for pack, steps in {a.order[0]: a.steps for a in rules}.items():
        mine = [a.params for a in rules if a.steps is steps]
        asked = sorted({p.test for p in mine})
        rows = steps.of_steps(sorted({p.step for p in mine}))
        test = steps.column("test")[rows]
        for code in np.unique(test).tolist():
            name = steps.records.texts["test"].vocabulary[code] if code >= 0 else ""
            of_test = test == code
            count = int(of_test.sum())
            if name not in asked:
                what = f"of {name!r}{suggest(name, asked)}" if name else "of no test"

                def unknown(many: int, _: str, what: str = what, asked: list[str] = asked) -> Notice:
                    listed = ", ".join(asked)
                    one = f"{many} sample {what}: not judged, the rules ask for {listed}"
                    more = f"{many} samples {what}: not judged, the rules ask for {listed}"
                    return Notice("unknown_test", more if many > 1 else one, count=many)

                yield Told((SAMPLES, pack, name, ""), unknown, count)
            elif all(p.targets for p in mine if p.test == name):
                blank = int((steps.target[rows[of_test]] < 0).sum())

                def blanks(many: int, _: str, name: str = name) -> Notice:
                    one = f"{many} sample of {name} names no target and was credited to none"
                    more = f"{many} samples of {name} name no target and were credited to none"
                    return Notice("no_target", more if many > 1 else one, count=many)

                if blank:
                    yield Told((SAMPLES, pack, name, "no target"), blanks, blank)


def about_claims(applied: Sequence[Applied]) -> Iterable[Told]:
    """Checks that are IN by a value that is not on record and that the rule takes as kept."""
    for a in applied:
        count = sum(int((o.claimed & (o.status == IN)).sum()) for o in a.outcomes if o.claimed is not None)
        if count:

            def say(count: int, _: str, rule: str = a.rule.rule.id) -> Notice:
                why = "although a value that the limits ask for is not on record; the rule takes it as kept, which is a claim and no measurement"
                one, many = f"{rule}: {count} check is IN {why}", f"{rule}: {count} checks are IN {why}"
                return Notice("claimed", many if count > 1 else one, rule, count=count)

            yield Told((CLAIMS, *a.order), say, count)


def about_close(applied: Sequence[Applied]) -> Iterable[Told]:
    """Checks that are IN by less than the clock is read: as recorded they keep the limit, and they may not have."""
    for a in applied:
        count = sum(int((o.close & (o.status == IN)).sum()) for o in a.outcomes if o.close is not None)
        if count:

            def say(count: int, _: str, rule: str = a.rule.rule.id) -> Notice:
                why = "by less than the clock was read; the decision rule guarded would not call that shown"
                one, many = f"{rule}: {count} check is IN {why}", f"{rule}: {count} checks are IN {why}"
                return Notice("within_resolution", many if count > 1 else one, rule)

            yield Told((CLOSE, *a.order), say, count)


LONG = 24 * 3600 * 1_000_000
"""A pause within one cycle from which on its id may stand for two cleanings."""


def _long_cycles(machines: Sequence[Machine], steps: Steps) -> Iterable[Told]:
    """Cycles whose rows lie more than a day apart: an id used again, or a date gone wrong."""
    span = np.where((steps.began == NAT) | (steps.completed == NAT), 0, steps.completed - steps.began)
    for cycle in np.flatnonzero(span > LONG).tolist():
        rows = slice(int(steps.first[cycle]), int(steps.first[cycle + 1]))
        known = np.sort(np.where(steps.start[rows] == NAT, steps.end[rows], steps.start[rows]))
        known = known[known != NAT]
        pause = int(np.diff(known).max()) if len(known) > 1 else 0
        if pause > LONG:
            m = machines[int(steps.machine[cycle])]
            yield Told((LONG_CYCLES, *place_of(m), cycle), Notice(
                "long_cycle", f"{m.equipment_id}: the rows of cycle {steps.cycle_ids[cycle]} lie {pause // (LONG)} days "
                f"apart; if its id was used for two cleanings or a date is wrong, its checks mean little",
                "", m.store_id, m.equipment_id))  # fmt: skip


def about_contradictions(applied: Sequence[Applied]) -> Iterable[Told]:
    """What contradicts itself in the records where no rule asks for it; torn times are record defects already."""
    asked = {a.order[0] for a in applied if a.rule.rule.kind == consistency.NAME}
    for pack, a in {a.order[0]: a for a in applied if a.order[0] not in asked}.items():
        everywhere = Scope(a.steps, a.machines, np.ones(len(a.machines), dtype=bool))
        fields = tuple(f for f in consistency.CLAIMS if f not in ("ended_at", "duration_s"))
        for n, found in enumerate(consistency.check(consistency.Params(fields=fields), everywhere)):
            for i in np.flatnonzero(found.status == OUT).tolist():
                m, cycle = a.machines[int(found.machine[i])], a.steps.cycle_ids[int(found.cycle[i])]
                shown = found.show(i)
                said = sentence(consistency.NAME, found.reason[i], found.target[i], "", shown.facts)
                where = ", ".join(p for _, _, p in _places(a.steps.records, a.steps.row[list(shown.rows[:NAMED])]))
                yield Told((CONTRADICTIONS, pack, n, *place_of(m), i), Notice(
                    "contradiction", f"{m.equipment_id}: cycle {cycle}: {said} ({where})", "", m.store_id,
                    m.equipment_id))  # fmt: skip


def about_targets(applied: Sequence[Applied]) -> Iterable[Told]:
    """Targets in the records that are none of the machine's lines and parts, nor named by any rule."""
    for pack, a in {a.order[0]: a for a in applied}.items():
        steps, words = a.steps, a.steps.records.texts["target"].vocabulary
        named = {t for b in a.pack.rules for p in documents_in(b.params)
                 for t in (p.targets if isinstance(getattr(p, "targets", None), tuple) else ())}  # fmt: skip
        width = len(words) + 1
        pairs, counts = np.unique(steps.machine[steps.cycle] * width + steps.target + 1, return_counts=True)
        for pair, count in zip(pairs.tolist(), counts.tolist(), strict=True):
            m, target = a.machines[pair // width], pair % width - 1
            if target < 0 or m.lines is None or m.parts is None:
                continue
            known = {*m.lines, *m.parts, *named}
            if words[target] in known:
                continue
            near = suggest(words[target].casefold(), sorted(known))
            if near or not m.parts:
                name = words[target]
                one = f"{m.equipment_id}: the target {name!r} is none of its lines and parts{near}; {count} row"
                many = f"{m.equipment_id}: the target {name!r} is none of its lines and parts{near}; {count} rows"
                yield Told((TARGETS, pack, *place_of(m), name), Notice(
                    "unknown_target", many if count > 1 else one, "", m.store_id, m.equipment_id, count))  # fmt: skip
