"""Rules that mean a step only where a certain agent was used, and leave open what the record leaves open."""

from __future__ import annotations

import pytest

HEADER = "store_id,equipment_id,cycle_id,step,target,agent,solution_id,started_at,ended_at\n"
REGISTER = """\
stores:
  - store_id: S
    timezone: UTC
    equipment: [{equipment_id: E, lines: [line-1, line-2], parts: []}]
"""


def pack(kind: str, params: str) -> str:
    return f"pack: t\nprocedure: p\nrules:\n  - {{id: T, title: t, kind: {kind}, params: {params}}}\n"


def row(step: str, target: str, agent: str, start: str, end: str, solution: str = "", cycle: str = "c",
        day: str = "2026-01-05") -> str:  # fmt: skip
    return f"S,E,{cycle},{step},{target},{agent},{solution},{day}T20:{start}:00,{day}T20:{end}:00\n"


def statuses(found, target: str = "line-1") -> set[str]:
    return {c[4] for c in found if c[3] == target}


CAUSTIC = "{required: [{step: [circulate, soak], agent: [caustic, detergent], targets: lines}]}"


@pytest.mark.parametrize(
    ("step", "agent", "expected"),
    [
        ("circulate", "caustic", "in"), ("soak", "detergent", "in"), ("circulate", "water", "out missing"),
        ("flush", "caustic", "out missing"), ("soak", "", "not_observed missing_agent"),
        ("soak", "lye", "not_observed missing_agent"),
    ],
)  # fmt: skip
def test_any_of_the_steps_with_any_of_the_agents_will_do(judge, step: str, agent: str, expected: str) -> None:
    """What was used decides; a row that does not say, or says it in a word nobody knows, shows nothing either way."""
    found = judge(pack("coverage", CAUSTIC), HEADER + row(step, "line-1", agent, "00", "15"), REGISTER, reasons=True)

    assert statuses(found) == {expected}


@pytest.mark.parametrize(
    ("mixed", "expected"),
    [(["caustic"], "in"), (["acid"], "out"), (["caustic", "acid"], "not_observed"), ([], "not_observed")],
)
def test_a_row_takes_its_agent_from_its_solution(judge, mixed: list[str], expected: str) -> None:
    """Where the rows of a solution agree on what it is; two agents for one solution tell nothing."""
    log = HEADER + row("circulate", "line-1", "", "10", "25", "A")
    log += "".join(row("mix_solution", "", agent, "00", "05", "A") for agent in mixed)
    log += row("mix_solution", "", "caustic", "00", "05", "B")

    assert statuses(judge(pack("coverage", CAUSTIC), log, REGISTER)) == {expected}


BAN = "{forbidden: [{step: {step: [circulate, soak], agent: acid}, after: {step: circulate, agent: caustic}, until: rinse}]}"


@pytest.mark.parametrize(
    ("middle", "expected"),
    [
        (row("rinse", "line-1", "water", "15", "20"), "in"), ("", "out"),
        (row("rinse", "line-2", "water", "15", "20"), "out"), (row("rinse", "line-1", "water", "35", "40"), "out"),
    ],
)  # fmt: skip
def test_a_ban_on_one_agent_after_another(judge, middle: str, expected: str) -> None:
    """Acid after caustic on the same line, without water between the two; the circulating of caustic itself is free."""
    log = HEADER + row("circulate", "line-1", "caustic", "00", "15") + middle + row("soak", "line-1", "acid", "20", "30")

    assert statuses(judge(pack("order", BAN), log, REGISTER)) == {expected}


@pytest.mark.parametrize(("rinsed", "end", "start"), [("20", "in", "in"), ("21", "in", "out"), ("30", "in", "out"), ("31", "out", "out")])
def test_a_ban_on_a_start_is_not_lifted_by_what_follows(judge, rinsed: str, end: str, start: str) -> None:
    """Acid from 20:20 to 20:30: water at 20:30 comes before its end, and too late for its start."""
    log = HEADER + row("circulate", "line-1", "caustic", "00", "15") + row("soak", "line-1", "acid", "20", "30")
    log += row("rinse", "line-1", "water", rinsed, "40")

    assert statuses(judge(pack("order", BAN), log, REGISTER)) == {end}
    assert statuses(judge(pack("order", BAN.replace("until: rinse", "until: rinse, point: start")), log, REGISTER)) == {start}


def test_a_ban_does_not_speak_of_other_agents(judge) -> None:
    """Caustic twice is no acid after caustic."""
    log = HEADER + row("circulate", "line-1", "caustic", "00", "15") + row("soak", "line-1", "caustic", "20", "40")

    assert {c[4] for c in judge(pack("order", BAN), log, REGISTER)} == {"not_applicable"}


RELATION = "{relations: [{first: {step: circulate, agent: caustic}, then: {step: soak, agent: acid}}]}"


@pytest.mark.parametrize(("agent", "expected"), [("caustic", "in"), ("water", "out missing_first")])
def test_a_relation_asks_for_the_agent(judge, agent: str, expected: str) -> None:
    """Acid after circulated caustic; circulated water is none."""
    log = HEADER + row("circulate", "line-1", agent, "00", "15") + row("soak", "line-1", "acid", "20", "30")

    assert statuses(judge(pack("order", RELATION), log, REGISTER, reasons=True)) == {expected}


ACID = "{max: P90D, counts: any, having: {step: [circulate, soak], agent: acid, targets: lines}}"


def cleaning(day: str, cycle: str, agents: str) -> str:
    """A cleaning of both lines, each with its agents."""
    return "".join(
        row("circulate", f"line-{n}", agent, "00", "15", cycle=cycle, day=day)
        for n, agent in enumerate(agents.split(), 1)
    ).replace("none", "")


@pytest.mark.parametrize(
    ("between", "expected"),
    [
        ("", {"c1": "out too_late"}),  # 91 days from 1 January to 2 April 2026: 30 + 28 + 31 + 2
        (cleaning("2026-02-01", "x", "acid acid"), {"x": "in", "c1": "in"}),
        (cleaning("2026-02-01", "x", "caustic caustic"), {"c1": "out too_late"}),
        (cleaning("2026-02-01", "x", "acid caustic"), {"c1": "out too_late"}),  # a line without resets no clock
        (cleaning("2026-02-01", "x", "acid none"), {"c1": "not_observed missing_agent"}),
        (cleaning("2026-02-01", "x", "caustic none"), {"c1": "out too_late"}),
        (cleaning("2025-12-01", "x", "none none"), {"c1": "out too_late"}),  # before the interval it tells nothing
        (cleaning("2026-04-03", "x", "none none"), {"c1": "out too_late"}),
    ],
)
def test_a_quarterly_act_within_more_frequent_cleanings(judge, between: str, expected: dict[str, str]) -> None:
    """Only cleanings with acid on every line count, and one that may have had it takes the blame away."""
    log = HEADER + cleaning("2026-01-01", "c0", "acid acid") + between + cleaning("2026-04-02", "c1", "acid acid")
    found = judge(pack("interval", ACID), log, REGISTER, as_of="2026-04-03T23:00:00Z", reasons=True)

    assert {c[2]: c[4] for c in found if c[3] == ""} == expected


def test_a_cleaning_of_unknown_date_that_may_count_leaves_all_open(judge) -> None:
    """Neither when it was done nor with what: it may lie in the interval."""
    log = HEADER + cleaning("2026-01-01", "c0", "acid acid") + cleaning("2026-04-02", "c1", "acid acid")
    lost = "".join(f"S,E,x,circulate,line-{n},,,,\n" for n in (1, 2))
    found = judge(pack("interval", ACID), log + lost, REGISTER, as_of="2026-04-03T23:00:00Z", reasons=True)

    assert {c[4] for c in found if c[2] == "c1" and c[3] == ""} == {"not_observed missing_agent"}


def test_the_doubt_of_one_machine_is_not_that_of_another(judge) -> None:
    """The cleaning that does not say what was used lies on the machine beside it."""
    log = HEADER + cleaning("2026-01-01", "c0", "acid acid") + cleaning("2026-04-02", "c1", "acid acid")
    log += cleaning("2026-02-01", "x", "none none").replace("S,E,", "S,F,")
    log += cleaning("2026-06-01", "y", "none none").replace("S,E,", "S,F,")
    found = judge(pack("interval", ACID), log, None, as_of="2026-12-03T23:00:00Z", reasons=True)

    assert {(c[3], c[4]) for c in found if c[1] == "E"} == {("", "out too_late"), ("open", "out too_late")}


TABLE = (
    "{steps: [circulate, soak], targets: lines, having: {step: [circulate, soak], agent: acid}, min: ["
    "{step: circulate, agent: acid, at_least: PT15M}, {step: soak, agent: acid, at_least: PT20M}]}"
)


@pytest.mark.parametrize(
    ("step", "agent", "end", "expected"),
    [
        ("circulate", "acid", "15", "in"), ("circulate", "acid", "14", "out too_short"),
        ("soak", "acid", "20", "in"), ("soak", "acid", "19", "out too_short"),
        ("soak", "acid", "15", "out too_short"),  # what is enough in motion is not enough at rest
        ("circulate", "caustic", "15", "not_applicable"), ("circulate", "", "15", "not_observed missing_condition"),
        ("circulate", "", "14", "out too_short"),
    ],
)  # fmt: skip
def test_a_line_of_a_contact_table_names_its_step(judge, step: str, agent: str, end: str, expected: str) -> None:
    """15 min circulated or 20 min standing, judged only where acid was used or may have been."""
    log = HEADER + row(step, "line-1", agent, "00", end)

    assert statuses(judge(pack("contact", TABLE), log, REGISTER, reasons=True)) == {expected}


def test_one_contact_that_is_long_enough_will_do(judge) -> None:
    """A line circulated too briefly and left to stand for the full time after it."""
    log = HEADER + row("circulate", "line-1", "acid", "00", "05") + row("soak", "line-1", "acid", "05", "25")

    assert statuses(judge(pack("contact", TABLE), log, REGISTER)) == {"in"}


@pytest.mark.parametrize(
    ("log", "expected"),
    [
        (row("circulate", "line-1", "caustic", "00", "15") + row("disconnect", "", "", "20", "21"), "in"),
        (row("circulate", "line-1", "", "00", "15") + row("disconnect", "", "water", "20", "21"), "out blank"),
        (row("disconnect", "", "", "20", "21"), "not_applicable"),
    ],
)
def test_a_field_is_asked_of_certain_steps(judge, log: str, expected: str) -> None:
    """Rows of other steps need not say what was used, and a cycle without such a step has no subject."""
    rule = pack("record", "{required_fields: [agent, verified_by], steps: [circulate, soak]}")
    found = judge(rule, HEADER + log, REGISTER, reasons=True)

    assert statuses(found, "agent") == {expected}
    assert statuses(found, "verified_by") == {"not_applicable" if expected == "not_applicable" else "out blank"}
