"""At most so many of the last samples above their limit: windows, blanks, samples without a time, and a plain loop."""

from __future__ import annotations

import random

import pytest

from validator.engine import audit
from validator.errors import WrongInput
from validator.machines import AsOf
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.records import Intake

HEADER = "store_id,equipment_id,cycle_id,step,target,test,count_per_g,started_at\n"


def pack(more: str = "over_allowed: 2, of: 5", test: str = "coliform") -> str:
    return f"pack: t\nprocedure: p\nrules: [{{id: T-S, title: t, kind: samples, params: {{test: {test}, max: 10, {more}}}}}]\n"


def samples(*counts: object, target: str = "", test: str = "coliform", first: int = 1) -> str:
    """One sample a day, each a cycle of its own."""
    return "".join(
        f"S,E,c{day},sample,{target},{test},{count},2026-03-{day:02d}T08:00\n" for day, count in enumerate(counts, first)
    )


def statuses(found, target: str | None = None) -> list[str]:
    """By cycle, in order of their number."""
    mine = [c for c in found if c[2] and target in (None, c[3])]
    return [c[4] for c in sorted(mine, key=lambda c: int(c[2][1:]))]


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((10, 10, 10, 10, 10), "in in in in in"),  # exactly at the limit is not above
        ((11, 10, 11, 10, 10), "in in in in in"),
        ((11, 10, 11, 10, 10.1), "in in in in out"),
        ((11, 11, 11), "in in out"),  # three of five, whatever the other two will be
        ((11, 11, 11, 0, 0), "in in out out out"),
        ((11, 11, 11, 0, 0, 0), "in in out out out in"),  # the first has left the last five
        ((11, 0, 0, 0, 0, 11, 11), "in in in in in in in"),
    ],
)
def test_three_of_the_last_five(judge, counts, expected) -> None:
    """The condition is judged anew at every sample."""
    assert statuses(judge(pack(), HEADER + samples(*counts))) == expected.split()


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        (("", "", 0, 0, 0), "in in in in in"),  # both may have exceeded, and two may
        (("", "", 11, 0, 0), "in in not_observed not_measured not_observed not_measured not_observed not_measured"),
        ((11, 11, "", 11), "in in not_observed not_measured out too_many"),
    ],
)
def test_a_sample_without_a_count(judge, counts, expected) -> None:
    """A blank count is N/O only where it decides."""
    found = judge(pack(), HEADER + samples(*counts), reasons=True)

    assert " ".join(statuses(found)) == expected


def test_each_target_and_test_by_itself(judge) -> None:
    """Two barrels and two tests make four series; the other test is not judged."""
    log = HEADER + samples(11, 11, target="left") + samples(11, 11, target="right", first=3)
    log += samples(99, 99, 99, target="left", test="total_count", first=5)

    assert judge(pack(), log) == {("T-S", "E", f"c{n}", "left" if n < 3 else "right", "in") for n in range(1, 5)}


def test_a_rule_on_some_targets_judges_no_other(judge) -> None:
    """What was sampled decides which limit holds; a sample that does not say is judged by neither."""
    log = HEADER + samples(11, 11, 11, target="plain") + samples(11, 11, 11, target="bulky", first=4) + samples(11, first=7)
    found = judge(pack("over_allowed: 2, of: 5, targets: [plain]"), log)

    assert statuses(found) == ["in", "in", "out"]


def test_several_samples_of_a_cycle_are_one_check(judge) -> None:
    """A cycle in which the condition was broken is OUT although it held again at its end."""
    log = HEADER + samples(11, 11, 11, 0, 0, 0).replace(",c6,", ",c3,")

    assert statuses(judge(pack(), log)) == ["in", "in", "out", "out", "out"]


def test_a_sample_without_a_time_may_stand_anywhere(judge) -> None:
    """Three known ones exceed; the fourth, of an unknown day, could have pushed one of them out of the last three."""
    drifting = "S,E,c9,sample,,coliform,{},\n"
    head = HEADER.replace("started_at", "started_at,duration_s")

    def found(count: int, *counts: int) -> list[str]:
        rows = samples(*counts).replace("T08:00", "T08:00,60") + drifting.format(count).replace(",\n", ",,60\n")
        return statuses(judge(pack("over_allowed: 1, of: 3"), head + rows, reasons=True))

    assert found(0, 0, 0, 0) == ["in", "in", "in", "not_observed missing_time"]
    assert found(11, 0, 0, 0) == ["in", "in", "in", "not_observed missing_time"]
    assert found(11, 0, 11, 0) == ["in", *["not_observed missing_time"] * 3]
    assert found(0, 11, 11, 0) == ["in", *["not_observed missing_time"] * 3]
    assert found(0, 11, 11, 11) == ["in", "not_observed missing_time", "out too_many", "not_observed missing_time"]


def test_no_sample_is_nothing_to_judge(judge) -> None:
    """A machine without a sample of the test has one N/A: the rule does not say how often to sample."""
    assert judge(pack(), HEADER + samples(11, test="total_count")) == {("T-S", "E", "", "", "not_applicable")}


def test_a_slow_reading_gives_the_same(judge) -> None:
    """Against a loop that tries every value that a blank count can have, on random series in any order of rows."""
    chance = random.Random(7)
    for _ in range(60):
        counts = [chance.choice([0, 10, 11, 500, ""]) for _ in range(chance.randint(1, 9))]
        allowed = chance.randint(0, 3)
        of = chance.randint(allowed + 1, 6)
        expected = []
        for n in range(1, len(counts) + 1):
            last = counts[max(0, n - of) : n]
            ways = {sum(c != "" and c > 10 for c in last) + extra for extra in range(last.count("") + 1)}
            broken = {w > allowed for w in ways}
            expected.append("not_observed" if len(broken) == 2 else "out" if broken == {True} else "in")
        rows = samples(*counts).splitlines(keepends=True)
        chance.shuffle(rows)

        assert statuses(judge(pack(f"over_allowed: {allowed}, of: {of}"), HEADER + "".join(rows))) == expected


def test_two_samples_of_one_moment_in_either_order(judge) -> None:
    """Of a pair at the edge of the window the higher is taken, whichever row comes first."""
    pair = ["S,E,c1,sample,,coliform,11,2026-03-01T08:00\n", "S,E,c2,sample,,coliform,0,2026-03-01T08:00\n"]
    for rows in (pair, pair[::-1]):
        log = HEADER + "".join(rows) + samples(0, first=3)

        assert statuses(judge(pack("over_allowed: 0, of: 2"), log)) == ["out", "out", "out"]


@pytest.mark.parametrize(
    ("more", "words"),
    [("over_allowed: 5, of: 5", "0 or more and less than of"), ("over_allowed: -1, of: 5", "0 or more"), ("of: 5", "over_allowed")],
)
def test_a_condition_that_nothing_breaks_is_refused(judge, more: str, words: str) -> None:
    """Five of five allowed would judge nothing."""
    with pytest.raises(WrongInput, match=words):
        judge(pack(more), HEADER + samples(1))


def report(tmp_path, text: str, log: str):
    path = tmp_path / "pack.yaml"
    path.write_text(text, "utf-8")
    as_of = AsOf.parse("2026-03-31T00:00:00Z")
    return audit(Intake(read_text(log, {}), (), (), ()), [load_pack(path)], None, as_of, generated_at="", tool="")


def test_a_finding_says_the_counts(tmp_path) -> None:
    """How many of how many, of which test, above what, and every count in order of time."""
    log = HEADER + samples(12, 8, 11, 9, 14, target="plain")
    (finding,) = report(tmp_path, pack(), log).findings

    assert finding.message == (
        "plain: 3 of the last 5 samples of coliform are above 10 per gram (12, 8, 11, 9, 14), "
        "at most 2 of the last 5 samples above 10 per gram"
    )
    assert [e.row for e in finding.evidence] == [2, 3, 4, 5, 6]
    assert (finding.observed.value, finding.required.max, finding.margin.value) == (3, 2, 1)


def test_the_next_sample_leaves_the_ids_as_they_were(tmp_path) -> None:
    """A finding of last night is the same finding tonight."""
    before = report(tmp_path, pack(), HEADER + samples(12, 12, 12)).findings
    after = report(tmp_path, pack(), HEADER + samples(12, 12, 12, 0)).findings

    assert {f.id for f in before} < {f.id for f in after}


def test_equal_counts_of_two_tests_are_no_duplicate(judge) -> None:
    """Rows that differ in their test alone are two samples."""
    log = HEADER + "".join(f"S,E,c1,sample,,{t},11,2026-03-01T08:00\n" for t in ("coliform", "total_count"))

    for test in ("coliform", "total_count"):
        assert statuses(judge(pack("over_allowed: 0, of: 1", test), log)) == ["out"]


def test_what_was_not_judged_is_told(tmp_path) -> None:
    """A misspelt test and a sample of nothing in particular do not vanish."""
    log = HEADER + samples(11, test="colliform") + samples(11, first=2) + samples(11, test="", first=3)
    told = {n.code: n.message for n in report(tmp_path, pack("over_allowed: 2, of: 5, targets: [plain]"), log).notices}

    assert "did you mean 'coliform'" in told["unknown_test"] or "of no test" in told["unknown_test"]
    assert "1 sample of coliform names no target" in told["no_target"]
