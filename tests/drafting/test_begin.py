"""A rule, or a pack, that is begun: it runs at once, lint says what is left, and nothing is ever written over."""

from __future__ import annotations

from pathlib import Path

import pytest

from validator import kinds
from validator.cli import run
from validator.documents import as_json, read
from validator.drafting.params import listed
from validator.schemas import faults_by_schema, text_of


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize("kind", kinds.MODULES)
def test_a_rule_of_every_kind_runs_at_once(kind: str, here: Path, capfd) -> None:
    """Its case gives what it gives, its files fit their schemas, and lint names only what is still to be written."""
    assert run(["rules", "new", "new/ice-machine", "ICE-ONE", "--kind", kind]) == 0
    assert run(["rules", "test", "--rules", "new/ice-machine"]) == 0
    assert capfd.readouterr().out.endswith("1 cases, none failed\n")

    assert run(["rules", "lint", "--rules", "new/ice-machine"]) == 2
    faults = capfd.readouterr().out.splitlines()[:-1]
    assert [f for f in faults if not f.endswith("is still to be written") and ": no case shows " not in f] == []
    pack = here / "new" / "ice-machine"
    for name, path in (("pack", "pack.yaml"), ("clauses", "clauses.yaml"), ("rule", "ICE-ONE/rule.yaml"),
                       ("cases", "ICE-ONE/cases.yaml")):  # fmt: skip
        assert faults_by_schema(name, as_json(read(pack / path).data)) == []


@pytest.mark.parametrize("kind", kinds.MODULES)
def test_parameters_are_those_of_the_model(kind: str) -> None:
    """Each parameter of the kind has its line, and what is needed is called so."""
    fields = {f.alias or name: f for name, f in kinds.load(kind).params.model_fields.items()}
    lines = {line.split()[0]: line for line in listed(kind) if line[0] != " "}

    assert set(lines) == set(fields) or (not fields and list(lines) == ["none:"])
    assert {n for n, line in lines.items() if line.endswith("; needed")} == {n for n, f in fields.items() if f.is_required()}


def test_every_file_points_to_a_schema_that_is_there(here: Path) -> None:
    """The first line leads an editor to the schema of that file, with no address of a network in it."""
    run(["rules", "new", "ice-machine", "ICE-ONE"])

    for path in (here / "ice-machine").rglob("*.yaml"):
        first = path.read_text("utf-8").splitlines()[0]
        schema = path.parent / first.removeprefix("# yaml-language-server: $schema=")
        assert schema.read_text("utf-8") == text_of(path.stem)


def test_a_second_rule_leaves_the_pack_alone(here: Path, capfd) -> None:
    """What stands there stays as it is, byte for byte."""
    run(["rules", "new", "ice-machine", "ICE-ONE"])
    before = files(here)

    assert run(["rules", "new", "ice-machine", "ICE-TWO", "--kind", "flush"]) == 0
    after = files(here)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"ice-machine/ICE-TWO/rule.yaml", "ice-machine/ICE-TWO/cases.yaml"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["ice", "ICE-ONE"], "ice/ICE-ONE: is there already"),
        (["ice", "ice_two"], "is no rule's id; write it as MILK-RINSE: capitals and digits, two parts or more joined by "
         "hyphens, perhaps ICE-TWO"),
        (["ice", "../ICE-TWO"], "is no rule's id"),
        (["ice", "ICE-TWO", "--kind", "flsh"], "there is no such kind, did you mean 'flush'?; kinds: interval, "),
        (["note.txt", "ICE-TWO"], "note.txt: is a file; a pack that gets rules of its own is a folder"),
        (["other", "ICE-TWO"], "other: is a folder with other files and no pack.yaml"),
        (["Ice Machine", "ICE-TWO"], "in small letters and digits joined by hyphens, as milk-line"),
        (["syrup-line-cip", "ICE-TWO"], "there is a bundled pack of that name"),
        (["ice/ICE-ONE", "ICE-TWO"], "ice/ICE-ONE: is the folder of a rule; name the pack's, ice"),
        (["loose", "ICE-TWO"], "loose/pack.yaml line 3: rules[0].params.min: "),
        (["wrong", "ICE-TWO"], "wrong/pack.yaml line 2: titel: unknown key 'titel', did you mean 'title'?"),
    ],
)  # fmt: skip
def test_what_cannot_be_begun_is_said_and_nothing_is_written(here: Path, capfd, arguments: list[str], words: str) -> None:
    """One plain sentence, exit status 2, and every file as it was."""
    run(["rules", "new", "ice", "ICE-ONE"])
    (here / "note.txt").write_text("n", "utf-8")
    (here / "other").mkdir()
    (here / "other" / "a.txt").write_text("a", "utf-8")
    (here / "wrong").mkdir()
    (here / "wrong" / "pack.yaml").write_text("pack: wrong\ntitel: t\nrules: []\n", "utf-8")
    (here / "loose").mkdir()
    loose = "pack: loose\nrules:\n  - {id: L-ONE, title: t, kind: flush, params: {min: fast}}\n"
    (here / "loose" / "pack.yaml").write_text(loose, "utf-8")
    before, folders = files(here), set(here.rglob("*"))
    capfd.readouterr()

    assert run(["rules", "new", *arguments]) == 2
    assert words in capfd.readouterr().err
    assert files(here) == before
    assert set(here.rglob("*")) == folders


def test_a_failing_case_shows_what_came_and_where_it_belongs(here: Path, capfd) -> None:
    """What `rules test` prints under `expect` can be pasted as it stands, and then the case holds."""
    run(["rules", "new", "ice", "ICE-ONE"])
    cases = here / "ice" / "ICE-ONE" / "cases.yaml"
    text = cases.read_text("utf-8")
    head = text[: text.index("    expect:")]
    cases.write_text(head + "    expect:\n      - {status: not_applicable}\n", "utf-8")
    capfd.readouterr()

    assert run(["rules", "test", "--rules", "ice"]) == 1
    out = capfd.readouterr().out
    assert "expected, did not come: not_applicable\n" in out
    assert "came, was not expected: out for line-2 in cycle c1 (missing)\n" in out
    assert "if what came is right, put it in place of the case's expect in ice/ICE-ONE/cases.yaml:\n    expect:\n" in out
    cases.write_text(head + out[out.index("    expect:") : out.rindex("\n1 cases")], "utf-8")
    assert run(["rules", "test", "--rules", "ice"]) == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("target,started_at", "taget,started_at", "records: 'taget' is no column of a record, did you mean 'target'?"),
        ("records: |", "records:", "begin with `records: |`, so that each row keeps its line"),
        (",line-1,2026", ",2026", "records line 2: 6 cells, the header has 7"),
        ("lines: [", "lnes: [", "register: stores[0].equipment[0].lnes: unknown key 'lnes', did you mean 'lines'?"),
        ("America/Chicago", "Chicago", "'Chicago' is no IANA time zone, did you mean 'America/Chicago'?"),
        ("as_of: 2026-03-10T12:00", "as_of: 10 March", "as_of: is no date and time"),
        ("lines: [line-1, line-2], parts: [nozzle]", "profile: ic", "register: M-1: profile: found 'ic', did you mean 'ice'?"),
    ],
)
def test_a_slip_in_a_case_is_named_with_its_rule_and_case(here: Path, capfd, old: str, new: str, words: str) -> None:
    """The sentence says which rule, which case, where in it, and what may stand there."""
    run(["rules", "new", "ice", "ICE-ONE"])
    cases = here / "ice" / "ICE-ONE" / "cases.yaml"
    cases.write_text(cases.read_text("utf-8").replace(old, new), "utf-8")
    capfd.readouterr()

    assert run(["rules", "test", "--rules", "ice"]) == 2
    told = capfd.readouterr().err
    assert told.startswith("cip-audit: ICE-ONE: case 'to be written': ")
    assert words in told


def test_a_value_that_cannot_be_read_is_shown_with_the_case(here: Path, capfd) -> None:
    """A case that fails because a time was misspelt says so."""
    run(["rules", "new", "ice", "ICE-ONE", "--kind", "flush"])
    cases = here / "ice" / "ICE-ONE" / "cases.yaml"
    cases.write_text(cases.read_text("utf-8").replace("2026-03-09T21:15:00", "9 pm"), "utf-8")
    capfd.readouterr()

    assert run(["rules", "test", "--rules", "ice"]) == 1
    assert "could not be read: records line 2: " in capfd.readouterr().out
