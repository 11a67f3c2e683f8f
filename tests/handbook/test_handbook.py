"""The documents made of packs: the page of rules says what `rules explain` says, and the plan has all its parts."""

from __future__ import annotations

import html
from html.parser import HTMLParser

import pytest

from validator.catalogue import explain
from validator.cli import run
from validator.handbook import plan, rules
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import Pack

PACKS = [load_pack(name, bind=False) for name in bundled_packs()]
HOSTILE = """\
pack: p
title: "<b>bold</b> | pipe"
rules:
  - id: T-ONE
    title: "Short <script>alert(1)</script> ``` | *x*"
    kind: flush
    params: {min: PT1M}
    hazard: physical
    corrective_action: "Do | it <again>."
    plan: {control: critical_control_point, hazard: "a | b <i>", critical_limit: l, monitoring: m, verification: v, record: r}
"""


class Seen(HTMLParser):
    """Elements, ids and links of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.ids += [v for k, v in attrs if k == "id" and v]
        self.links += [v for k, v in attrs if k in ("href", "src") and v]


@pytest.fixture
def hostile(tmp_path) -> Pack:
    (tmp_path / "p.yaml").write_text(HOSTILE, "utf-8")
    return load_pack(tmp_path / "p.yaml", bind=False)


def test_the_page_holds_the_text_of_explain() -> None:
    """Every rule of every pack stands there in the words of `rules explain`, in both forms."""
    page, marked = html.unescape(rules.as_html(PACKS)), rules.as_markdown(PACKS)

    for pack in PACKS:
        for bound in pack.rules:
            if bound.pack == pack.id:
                assert explain(bound, pack) in page
                assert explain(bound, pack) in marked


def test_a_rule_and_a_clause_shared_by_packs_stand_there_once() -> None:
    """A pack that lies on another adds its own rules and clauses alone, below those it lies on."""
    parts = rules.parts(PACKS)
    shown = [rule.id for part in parts for rule in part.rules]
    places = [part.id for part in parts]

    assert len(shown) == sum(b.pack == p.id for p in PACKS for b in p.rules)
    assert places.index("sanitizer-solutions") < places.index("syrup-line-cip")
    clauses = [(c.source, c.section, c.says) for part in parts for c in part.clauses]
    assert len(clauses) == len(set(clauses)) > 50


def test_the_matrix_says_who_checks_a_clause_and_how_sure_it_is() -> None:
    """The clause on how often beverage lines are cleaned is partly checked, by the rule on the interval."""
    (line,) = (c for p in rules.parts(PACKS) if p.id == "syrup-line-cip" for c in p.clauses if c.section == "4-602.11(E)(4)")

    assert (line.checked, line.rules) == ("partly, by rule", ("SYR-INTERVAL",))
    assert line.sure.startswith("seen in an adoption, an abstract or a mirror of the text: ")


@pytest.mark.parametrize("pack", PACKS, ids=lambda p: p.id)
def test_the_plan_is_read_at_80_columns(pack: Pack) -> None:
    """No line of the cards is longer than the usual terminal, and every critical control point has its parts."""
    text = plan.as_text(pack)
    critical = [b.rule.id for b in pack.rules if b.rule.plan and b.rule.plan.control == "critical_control_point"]

    assert max(map(len, text.splitlines())) <= 80
    groups = {g.control: g.lines for g in plan.plan(pack)}
    assert [line.rule for line in groups.get("Critical control points", ())] == critical
    assert all(all(line.parts) for line in groups.get("Critical control points", ()))


def test_pages_load_nothing_and_their_links_lead_somewhere() -> None:
    """No script, no address: every link is to an id of the page, and every id is used once."""
    for page in (rules.as_html(PACKS), *map(plan.as_html, PACKS)):
        seen = Seen(page)

        assert not seen.tags & {"script", "img", "link", "iframe", "object", "form"}
        assert len(seen.ids) == len(set(seen.ids))
        assert {link.removeprefix("#") for link in seen.links} <= set(seen.ids)
        assert all(link.startswith("#") for link in seen.links)


def test_signs_in_a_pack_are_text(hostile: Pack) -> None:
    """What a pack says is neither an element of the page nor a column of a table."""
    assert "script" not in Seen(rules.as_html([hostile])).tags | Seen(plan.as_html(hostile)).tags
    row = next(line for line in plan.as_markdown(hostile).splitlines() if "T-ONE" in line)
    assert row.replace("\\|", "").count("|") == 8
    assert "<" not in row.replace("\\<", "")
    assert "````text" in rules.as_markdown([hostile])


def test_commands_print_both(capfd) -> None:
    """`rules plan` and `rules page` write their document to standard output and end well."""
    assert run(["rules", "plan", "sanitizer-solutions"]) == 0
    assert capfd.readouterr().out.startswith("HACCP plan: ")
    assert run(["rules", "page", "--rules", "cleaning-records", "--format", "html"]) == 0
    assert capfd.readouterr().out.startswith("<!DOCTYPE html>")
    assert run(["rules", "plan", "syrup-line"]) == 2
    assert "did you mean 'syrup-line-cip'" in capfd.readouterr().err
