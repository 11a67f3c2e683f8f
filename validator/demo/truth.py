"""What must an audit of the demo find? It follows from the planted faults and the dates, never from an audit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from validator.demo.scenario import MachinePlan, Scenario, StorePlan, cycle_name
from validator.findings import Status
from validator.quantities import Duration
from validator.register import days_in

INTERVAL_RULE = "SYR-INTERVAL"
INCOMPLETE = frozenset(
    {"SYR-LINE-MISSED", "SYR-WASH-MISSED", "SYR-SANITIZE-MISSED", "SYR-TANK-MISSED", "SYR-PRIME-MISSED"}
)
"""A cycle that breaks one of these rules does not restart the interval."""


@dataclass(frozen=True, order=True)
class Planted:
    """One finding that must come out; `status` is `out` or `not_observed`."""

    store_id: str
    equipment_id: str
    cycle_id: str
    rule: str
    target: str
    status: str


def truth(plan: Scenario) -> list[Planted]:
    """Every finding that the faults and the dates must cause, in order."""
    found: set[Planted] = set()
    home = {m.equipment.equipment_id: s.store_id for s in plan.stores for m in s.machines}
    for store in plan.stores:
        for fault in store.faults:
            for cause in fault.causes:
                machine = cause.machine or fault.machine
                cycle = cycle_name(cause.cycle or fault.cycle)
                found.add(Planted(home[machine], machine, cycle, cause.rule, cause.target, cause.status.value))
        for machine_plan in store.machines:
            found.update(_late(plan, store, machine_plan))
    return sorted(found)


def _late(plan: Scenario, store: StorePlan, machine: MachinePlan) -> Iterator[Planted]:
    """The intervals that are too long: from going into service over every complete cycle to the day of the audit."""
    own = machine.equipment
    incomplete = {f.cycle for f in store.faults if f.machine == own.equipment_id
                  and any(c.rule in INCOMPLETE for c in f.causes)}  # fmt: skip
    limit = own.limits.get(INTERVAL_RULE, {}).get("max")
    allowed = Duration.parse(str(limit)).amount if limit else plan.interval_days
    today = date.fromisoformat(plan.as_of[:10])
    closed = [day for a, b in days_in(own.out_of_service, today) for day in range(a, b + 1)]
    assert own.in_service_on is not None, "a machine of the demo says when it went into service"
    begun, last = own.in_service_on, ""
    complete = [(n, day) for n, day in enumerate(machine.cleaned_on, 1) if n not in incomplete]
    for name, day, target in [*((cycle_name(n), day, "") for n, day in complete), ("", today, "open")]:
        days = sum(d not in closed for d in range(begun.toordinal() + 1, day.toordinal() + 1))
        if days > allowed:
            yield Planted(store.store_id, own.equipment_id, name or last, INTERVAL_RULE, target, Status.OUT.value)
        begun, last = day, name


def truth_text(found: Sequence[Planted]) -> str:
    """The truth as the YAML that stands in `fixtures/demo/truth.yaml`."""
    lines = ["# What the planted faults and the dates must cause. Made from scenario.yaml, never from an audit."]
    for p in found:
        parts = [f"{k}: {v}" for k, v in vars(p).items() if v]
        lines.append(f"- {{{', '.join(parts)}}}")
    return "\n".join(lines) + "\n"
