"""YAML as people write it, and as attackers do: every trap is closed, and each refusal names file, line and what may stand."""

from __future__ import annotations

import pytest

from validator.documents import read_bytes
from validator.errors import WrongInput
from validator.packs.loading import load_pack
from validator.register import load_register

HEAD = "pack: p\nversion: 1.0.0\nprocedure: cip\n"
RULE = "rules:\n  - id: T-A\n    title: t\n    kind: flush\n    params: {min: PT15M}\n"


def refused(tmp_path, text: str | bytes) -> str:
    path = tmp_path / "pack.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(WrongInput) as fault:
        load_pack(path)
    return str(fault.value).replace(str(path), "pack.yaml")


def test_words_that_yaml_1_1_takes_for_truth_values_stay_words(tmp_path) -> None:
    """NO, on, off and y are text in YAML 1.2's core schema (Norway stays a country)."""
    path = tmp_path / "pack.yaml"
    path.write_text(HEAD.replace("cip", "NO") + "title: on\ncautions: [off, y, No]\n" + RULE, "utf-8")
    pack = load_pack(path)

    assert (pack.procedure, pack.title, pack.cautions) == ("NO", "on", ("off", "y", "No"))


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        (HEAD + RULE.replace("PT15M", "15:00"), 8, "could be minutes or hours"),
        (HEAD + RULE.replace("PT15M", "P1M"), 8, "no fixed number of days"),
        (HEAD + RULE.replace("PT15M", "P1D"), 8, "elapsed time is due here"),
        (HEAD.replace("pack: p", "pack: 0123") + RULE, 1, "in quotes"),
        (HEAD.replace("1.0.0", "1.10") + RULE, 2, "in quotes"),
        (HEAD.replace("1.0.0", "1e3") + RULE, 2, "in quotes"),
        (HEAD.replace("1.0.0", "1_000") + RULE, 2, "in quotes"),
        (HEAD.replace("1.0.0", "yes").replace("yes", "true") + RULE, 2, "truth value"),
        (HEAD + "pack: q\n" + RULE, 4, "'pack' stands twice"),
        (HEAD + RULE.replace("{min: PT15M}", "{min: PT15M, min: PT1M}"), 8, "'min' stands twice"),
        (HEAD + RULE.replace("{min: PT15M}", "{1: a, true: b}"), 8, "'true' is not a word"),
        (HEAD + "title: !!python/object/apply:os.system [ls]\n" + RULE, 4, "tag"),
        (HEAD + "title: &a x\n" + RULE, 4, "anchors and aliases"),
        (HEAD + "cautions: [*a]\n" + RULE, 4, "anchors and aliases"),
        (HEAD + "profiles:\n  <<: {lines: []}\n" + RULE, 5, "merge keys"),
        (HEAD + "cautions: " + "[" * 40 + "]" * 40 + "\n" + RULE, 4, "nested deeper"),
        (HEAD + RULE + "    maxx: 200\n", 9, "unknown key 'maxx'"),
        (HEAD + RULE.replace("min: PT15M", "min: PT15M, targts: lines"), 8, "did you mean 'targets'?"),
        (HEAD + RULE + RULE.removeprefix("rules:\n"), 9, "stands twice"),
        (HEAD + "extends: [../../../etc/passwd]\n" + RULE, 4, "not the id of a pack"),
        (HEAD + "extends: ['https://example.com/p']\n" + RULE, 4, "not the id of a pack"),
        (HEAD + "extends: [no-such-pack]\n" + RULE, 4, "there is no pack"),
        (HEAD + "\ttitle: x\n" + RULE, 4, "is not YAML"),
        (HEAD + RULE + "---\npack: q\n", 9, "second document"),
        (HEAD + RULE.replace("kind: flush", "kind: flsh"), 7, "did you mean 'flush'?"),
    ],
)  # fmt: skip
def test_a_trap_is_refused_at_its_line(tmp_path, text: str, line: int, word: str) -> None:
    """One sentence with the file, the line and what may stand there."""
    message = refused(tmp_path, text)

    assert word in message
    assert any(part.startswith(f"pack.yaml line {line}: ") for part in message.splitlines()), message


@pytest.mark.parametrize(
    ("params", "word"),
    [
        ("{agent: chlorine, min: .nan}", "finite"), ("{agent: chlorine, max: .inf}", "finite"),
        ("{agent: chlorine, min: -5 ppm}", "no less than 0"), ("{agent: chlorine, min: 120 %}", "at most 1,000,000"),
        ("{agent: chlorine, table: [{min: 50, ph: {max: 15}}]}", "a pH lies between 0 and 14"),
        ("{agent: chlorine, min: 200, max: 50}", "no value fits"), ("{agent: chlorine}", "needs min or max"),
        ("{agent: chlorine, max: 49, table: [{min: 50}]}", "leaves no line"), ("{agent: chlorine, table: []}", "at least one"),
        ("{agent: chlorine, min: '100'}", "without quotes"), ("{agent: chlorine, min: 1_000}", "finite decimal"),
        ("{agent: chlorine, table: [{min: 50, ph: {min: 9, max: 8}}]}", "no value fits"),
    ],
)  # fmt: skip
def test_limits_that_cannot_hold_are_refused(tmp_path, params: str, word: str) -> None:
    """A limit that is no number, that no value can meet, or that is said twice, is a fault when the pack is read."""
    text = HEAD + f"rules:\n  - id: T-A\n    title: t\n    kind: concentration\n    params: {params}\n"

    assert word in refused(tmp_path, text)


def test_a_number_that_comes_back_as_it_was_may_stand_for_text(tmp_path) -> None:
    """117.305 names a section and 2017 an edition; no YAML reader changes a character of either."""
    path = tmp_path / "pack.yaml"
    cites = "    cites: [{source: cfr, section: 117.305, says: s}]\n"
    path.write_text(HEAD + "sources: {cfr: {title: t, edition: 2017}}\n" + RULE + cites, "utf-8")
    pack = load_pack(path)

    assert (pack.rules[0].rule.cites[0].section, pack.sources["cfr"].edition) == ("117.305", "2017")


def test_a_pack_without_rules_is_refused(tmp_path) -> None:
    """No rules must not mean that everything passes."""
    assert "has no rule" in refused(tmp_path, HEAD)
    assert "is empty" in refused(tmp_path, "")
    assert "is empty" in refused(tmp_path, "# only a comment\n")


def test_text_that_is_not_utf8_is_refused(tmp_path) -> None:
    """The line is named."""
    assert "pack.yaml line 4: is not UTF-8" in refused(
        tmp_path, (HEAD + "title: caf").encode() + b"\xe9\n" + RULE.encode()
    )


def test_packs_that_extend_each_other_are_refused(tmp_path) -> None:
    """The circle is shown."""
    for name, other in (("a", "b"), ("b", "a")):
        (tmp_path / f"{name}.yaml").write_text(f"pack: {name}\nextends: [{other}]\n" + RULE, "utf-8")
    with pytest.raises(WrongInput, match="a -> b -> a is a circle"):
        load_pack(tmp_path / "a.yaml")


def test_a_rule_of_the_same_id_replaces_the_one_beneath(tmp_path) -> None:
    """The layer above wins, rule by rule; profiles and sources add up."""
    (tmp_path / "base.yaml").write_text(
        "pack: base\nprocedure: cip\nprofiles: {m: {lines: [a]}}\n" + RULE
        + "  - {id: T-B, title: b, kind: coverage, params: {required: [{step: wash}]}}\n", "utf-8"
    )  # fmt: skip
    (tmp_path / "site.yaml").write_text("pack: site\nextends: [base]\n" + RULE.replace("PT15M", "PT20M"), "utf-8")
    pack = load_pack(tmp_path / "site.yaml")

    assert {b.rule.id: b.pack for b in pack.rules} == {"T-A": "site", "T-B": "base"}
    assert {b.rule.id: b.params for b in pack.rules}["T-A"].min.amount == 1200
    assert (pack.procedure, pack.layers, list(pack.profiles)) == ("cip", ("base", "site"), ["m"])


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("stores:\n  - store_id: S\n    timezone: America/Chicgo\n", "line 3: stores[0].timezone: 'America/Chicgo'"),
        ("stores:\n  - store_id: S\n    equipment:\n      - {equipment_id: E, lines: [a, a]}\n", "'a' stands twice"),
        ("stores:\n  - {store_id: S}\n  - {store_id: S}\n", "the store 'S' stands twice"),
        ("stores:\n  - store_id: S\n    equipment: [{equipment_id: E}, {equipment_id: E}]\n", "'E' stands twice"),
        ("stores:\n  - store_id: S\n    equipment: [{equipment_id: E, out_of_service: [{from: 2026-02-02, to: 2026-02-01}]}]\n",
         "before it begins"),
        ("stores:\n  - store_id: S\n    equipment: [{equipment_id: E, in_service_on: 2026-02-30}]\n", "calendar date"),
        ("stores:\n  - store_id: S\n    equipment: [{equipment_id: E, capacities: {flush: 0}}]\n", "at least 1"),
        ("stores:\n  - store_id: S\n    equipment: [{equipment_id: E, capacities: {flush: '1'}}]\n", "whole number"),
        ("stores: S\n", "expected a list"), ("- S\n", "expected a mapping"),
        ("stores:\n  - name: x\n", "store_id: is missing"), ("store: []\n", "did you mean 'stores'?"),
    ],
)  # fmt: skip
def test_a_faulty_register_says_where(tmp_path, text: str, word: str) -> None:
    """File, line, key, what stood there and what may."""
    path = tmp_path / "register.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(WrongInput) as fault:
        load_register(path)

    assert word in str(fault.value)
    assert str(path) in str(fault.value)


def test_every_fault_is_said_at_once(tmp_path) -> None:
    """Three faults, three sentences, one run."""
    path = tmp_path / "register.yaml"
    path.write_text("stores:\n  - store_id: 010\n    timezone: Mars/Base\n    equipment: [{id: E}]\n", "utf-8")
    with pytest.raises(WrongInput) as fault:
        load_register(path)

    assert len(fault.value.faults) == 4


def test_an_alias_bomb_costs_nothing() -> None:
    """Ten levels of aliases would unfold to a billion words; the first anchor ends it."""
    bomb = "a: &a [x, x]\n" + "".join(f"{c}: &{c} [*{p}, *{p}]\n" for p, c in zip("abcdefghi", "bcdefghij"))
    with pytest.raises(WrongInput, match="line 1: anchors and aliases"):
        read_bytes(bomb.encode(), "bomb.yaml")
