"""What a reader must be told beside the findings: what was assumed, not used, not known, not exercised."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from validator.documents import suggest
from validator.engine.apply import Applied
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


def about_records(records: RecordSet, packs: Sequence[Pack]) -> Iterable[Notice]:
    """Words that no pack knows, and procedures that no pack speaks of."""
    yield from _unknown(records, "step", STEPS.union(*(p.steps for p in packs)))
    yield from _unknown(records, "agent", AGENTS.union(*(p.agents for p in packs)))
    procedures = {p.procedure for p in packs}
    if None not in procedures:
        coded = records.texts["procedure"]
        counts = np.bincount(coded.codes[coded.codes >= 0], minlength=len(coded.vocabulary))
        for name, count in sorted(zip(coded.vocabulary, counts.tolist(), strict=True)):
            if count and name not in procedures:
                near = suggest(name, sorted(p for p in procedures if p))
                yield Notice("other_procedure", f"{count} row{'s name' if count > 1 else ' names'} the procedure {name!r}, which "
                             f"no pack used here speaks of{near}; {'they were' if count > 1 else 'it was'} not judged",
                             count=count)  # fmt: skip


def _unknown(records: RecordSet, column: str, known: frozenset[str]) -> Iterable[Notice]:
    coded = records.texts[column]
    counts = np.bincount(coded.codes[coded.codes >= 0], minlength=len(coded.vocabulary))
    for name, count in sorted(zip(coded.vocabulary, counts.tolist(), strict=True)):
        if count and name not in known:
            places = _places(records, np.flatnonzero(coded.codes == coded.vocabulary.index(name))[:3])
            used = "rows were used as they stand" if count > 1 else "row was used as it stands"
            yield Notice(f"unknown_{column}", f"the {column} {name!r} is not one that the rules know"
                         f"{suggest(name.casefold(), sorted(known))}; {count} {used} ({places}{', ...' * (count > 3)})",
                         count=count)  # fmt: skip


def _places(records: RecordSet, rows: Sequence[int] | npt.NDArray[np.intp]) -> str:
    return ", ".join(f"{records.sources[records.source[r]][0]} row {records.rows[r]}" for r in rows)


def about_machines(machines: Sequence[Machine], steps: Steps | None, has_register: bool) -> Iterable[Notice]:
    """Machines that the register does not know, stores without a row, and cycles dated after the audit."""
    strangers = [m for m in machines if not m.registered]
    if strangers and not has_register:
        yield Notice("no_register", "there is no equipment register, so what was expected of each machine is what its own "
                     "records name; a line that was never recorded cannot be missed")  # fmt: skip
    elif strangers:
        for m in strangers:
            yield Notice("not_in_register", f"{m.equipment_id} of store {m.store_id} is not in the register; what was "
                         f"expected of it is what its own records name", "", m.store_id, m.equipment_id)  # fmt: skip
    if steps is None:
        return
    judged = {machines[i].store_id for i in np.unique(steps.machine).tolist()}
    named = set(steps.records.texts["store_id"].vocabulary)
    for store in sorted({m.store_id for m in machines} - judged):
        about = (
            "no row about it is of the procedure judged here" if store in named else "no row of these files is about it"
        )
        yield Notice("no_records_of_store", f"store {store} is in the register, and {about}", store_id=store)
    yield from _long_cycles(machines, steps)
    as_of = np.array([m.as_of for m in machines], dtype=np.int64)[steps.machine]
    late = np.flatnonzero((steps.completed != NAT) & (steps.completed > as_of))
    for cycle in late.tolist():
        m = machines[int(steps.machine[cycle])]
        yield Notice("after_as_of", f"{m.equipment_id}: cycle {steps.cycle_ids[cycle]} is dated after the moment of this "
                     f"audit and resets no clock", "", m.store_id, m.equipment_id)  # fmt: skip
    if len(steps.duplicates):
        many = len(steps.duplicates) > 1
        yield Notice("duplicate_rows", f"{len(steps.duplicates)} row{'s say' if many else ' says'} the same as another row "
                     f"in every column; each was used once", count=len(steps.duplicates))  # fmt: skip
    yield from about_versions(steps)


def about_versions(steps: Steps) -> Iterable[Notice]:
    """Rows that a later export tells otherwise, by machine."""
    rows = steps.superseded
    named: dict[tuple[str, str], list[int]] = {}
    for row in rows.tolist():
        key = steps.records.text("store_id", row), steps.records.text("equipment_id", row)
        named.setdefault(key, []).append(row)
    for (store, equipment), mine in sorted(named.items()):
        one = len(mine) == 1
        yield Notice("superseded_rows", f"{equipment}: {len(mine)} row{' is' if one else 's are'} told otherwise by a later "
                     f"export of the same cycle, which stands; {'it was' if one else 'they were'} not used "
                     f"({_places(steps.records, mine[:3])}{', ...' * (len(mine) > 3)})", "", store, equipment,
                     len(mine))  # fmt: skip


def about_limits(machines: Sequence[Machine], packs: Sequence[Pack]) -> Iterable[Notice]:
    """Limits in the register for rules that no pack used here has."""
    known = {bound.rule.id for pack in packs for bound in pack.rules}
    for m in machines:
        for rule in sorted(set(m.limits) - known):
            yield Notice("unknown_rule", f"{m.equipment_id}: the register sets a limit for the rule {rule}, which no pack "
                         f"used here has", rule, m.store_id, m.equipment_id)  # fmt: skip


def about_layers(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Limits that were loosened, by a pack or by the register, each with the reason that was given."""
    for bound in {b.rule.id: b for a in applied for b in (a.rule,)}.values():
        what = loosened(bound)
        if what and bound.beneath is not None:
            yield Notice("loosened_limit", f"{bound.rule.id}: the pack {bound.pack} loosens {what} of {bound.beneath.pack}: "
                         f"{bound.rule.justification}", bound.rule.id)  # fmt: skip
    for a in applied:
        rule = a.rule.rule.id
        for at in np.flatnonzero(a.machine_in).tolist():
            why = a.machines[at].limits.get(rule, {}).get("why")
            if why:
                m = a.machines[at]
                yield Notice("own_limit", f"{m.equipment_id}: the register sets a limit of its own for {rule}: {why}", rule,
                             m.store_id, m.equipment_id)  # fmt: skip


def about_rules(applied: Sequence[Applied], judged: dict[str, int]) -> Iterable[Notice]:
    """Rules that judged nothing, so that nobody takes their silence for a pass."""
    idle = [r for r in dict.fromkeys(a.rule.rule.id for a in applied) if judged.get(r, 0) == 0]
    if idle:
        yield Notice("not_exercised", f"not exercised, since no check could be judged: {', '.join(sorted(idle))}",
                     count=len(idle))  # fmt: skip


def about_uncredited(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Rows of a step that is asked for line by line, but that name no line: they are credited to none."""
    seen: set[tuple[int, str]] = set()
    for a in applied:
        if a.rule.rule.kind != "flush" or a.params.targets is None or (id(a.steps), a.params.step) in seen:
            continue
        seen.add((id(a.steps), a.params.step))
        rows = a.steps.of_steps((a.params.step,))
        blank = int((a.steps.target[rows] < 0).sum())
        if blank:
            yield Notice("no_target", f"{blank} row{'s' * (blank > 1)} of {a.params.step} name no target and were credited "
                         f"to none", a.rule.rule.id, count=blank)  # fmt: skip


def about_samples(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Laboratory samples of a test that no rule asks for, or of no target where every rule on the test names some."""
    rules = [a for a in applied if a.rule.rule.kind == "samples"]
    for steps in {id(a.steps): a.steps for a in rules}.values():
        mine = [a.params for a in rules if a.steps is steps]
        asked = sorted({p.test for p in mine})
        rows = steps.of_steps(sorted({p.step for p in mine}))
        test = steps.column("test")[rows]
        for code in np.unique(test).tolist():
            name = steps.records.texts["test"].vocabulary[code] if code >= 0 else ""
            count = int((test == code).sum())
            some = f"{count} sample{'s' * (count > 1)}"
            if name not in asked:
                what = f"of {name!r}{suggest(name, asked)}" if name else "of no test"
                yield Notice("unknown_test", f"{some} {what}: not judged, the rules ask for {', '.join(asked)}",
                             count=count)  # fmt: skip
            elif all(p.targets for p in mine if p.test == name):
                blank = int((steps.target[rows[test == code]] < 0).sum())
                if blank:
                    yield Notice("no_target", f"{blank} of {some} of {name} name no target and were credited to none",
                                 count=blank)  # fmt: skip


def about_claims(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Checks that are IN by a value that is not on record and that the rule takes as kept."""
    for a in applied:
        count = sum(int((o.claimed & (o.status == IN)).sum()) for o in a.outcomes if o.claimed is not None)
        if count:
            rule = a.rule.rule.id
            yield Notice("claimed", f"{rule}: {count} check{'s are' if count > 1 else ' is'} IN although a value that the limits "
                         f"ask for is not on record; the rule takes it as kept, which is a claim and no measurement", rule,
                         count=count)  # fmt: skip


def about_close(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Checks that are IN by less than the clock is read: as recorded they keep the limit, and they may not have."""
    for a in applied:
        count = sum(int((o.close & (o.status == IN)).sum()) for o in a.outcomes if o.close is not None)
        if count:
            rule = a.rule.rule.id
            yield Notice("within_resolution", f"{rule}: {count} check{'s are' if count > 1 else ' is'} IN by less than the "
                         f"clock was read; the decision rule guarded would not call that shown", rule)  # fmt: skip


LONG = 24 * 3600 * 1_000_000
"""A pause within one cycle from which on its id may stand for two cleanings."""


def _long_cycles(machines: Sequence[Machine], steps: Steps) -> Iterable[Notice]:
    """Cycles whose rows lie more than a day apart: an id used again, or a date gone wrong."""
    span = np.where((steps.began == NAT) | (steps.completed == NAT), 0, steps.completed - steps.began)
    for cycle in np.flatnonzero(span > LONG).tolist():
        rows = slice(int(steps.first[cycle]), int(steps.first[cycle + 1]))
        known = np.sort(np.where(steps.start[rows] == NAT, steps.end[rows], steps.start[rows]))
        known = known[known != NAT]
        pause = int(np.diff(known).max()) if len(known) > 1 else 0
        if pause > LONG:
            m = machines[int(steps.machine[cycle])]
            yield Notice("long_cycle", f"{m.equipment_id}: the rows of cycle {steps.cycle_ids[cycle]} lie {pause // (LONG)} days "
                         f"apart; if its id was used for two cleanings or a date is wrong, its checks mean little",
                         "", m.store_id, m.equipment_id)  # fmt: skip


def about_contradictions(applied: Sequence[Applied]) -> Iterable[Notice]:
    """What contradicts itself in the records where no rule asks for it; torn times are record defects already."""
    asked = {id(a.steps) for a in applied if a.rule.rule.kind == consistency.NAME}
    for a in {id(a.steps): a for a in applied if id(a.steps) not in asked}.values():
        everywhere = Scope(a.steps, a.machines, np.ones(len(a.machines), dtype=bool))
        fields = tuple(f for f in consistency.CLAIMS if f not in ("ended_at", "duration_s"))
        for found in consistency.check(consistency.Params(fields=fields), everywhere):
            for i in np.flatnonzero(found.status == OUT).tolist():
                m, cycle = a.machines[int(found.machine[i])], a.steps.cycle_ids[int(found.cycle[i])]
                shown = found.show(i)
                said = sentence(consistency.NAME, found.reason[i], found.target[i], "", shown.facts)
                where = _places(a.steps.records, a.steps.row[list(shown.rows[:3])])
                yield Notice("contradiction", f"{m.equipment_id}: cycle {cycle}: {said} ({where})", "", m.store_id,
                             m.equipment_id)  # fmt: skip


def about_targets(applied: Sequence[Applied]) -> Iterable[Notice]:
    """Targets in the records that are none of the machine's lines and parts, nor named by any rule."""
    for a in {id(a.steps): a for a in applied}.values():
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
                yield Notice("unknown_target", f"{m.equipment_id}: the target {words[target]!r} is none of its lines and parts"
                             f"{near}; {count} row{'s' * (count > 1)}", "", m.store_id, m.equipment_id, count)  # fmt: skip
