"""What does every rule of some packs say, on one page, and which clause of each source does which rule check?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from validator.catalogue import CONFIDENCE, explain
from validator.handbook import markdown
from validator.packs.model import Clause, Pack
from validator.reports.html import anchor, page
from validator.reports.visible import heading, name, sentence

TITLE = "Rules of cip-audit"
CLAUSE_HEADINGS = ("Clause", "Source", "What it asks", "Checked", "By", "How sure", "Note")
_CHECKED = {
    "checked": "by rule", "partly": "partly, by rule", "by_hand": "by hand: no record can show it",
    "not_applicable": "not applicable",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class RuleText:
    """One rule: its id and title, and the text of `rules explain`."""

    id: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class ClauseLine:
    """One clause of a source, who checks it, and how sure its wording is."""

    source: str
    section: str
    says: str
    checked: str
    rules: tuple[str, ...]
    sure: str
    note: str


@dataclass(frozen=True, slots=True)
class PackPart:
    """A pack's part of the page: the rules and clauses that no pack before it on the page has shown."""

    id: str
    title: str
    about: tuple[str, ...]
    rules: tuple[RuleText, ...]
    clauses: tuple[ClauseLine, ...]


def parts(packs: Sequence[Pack]) -> list[PackPart]:
    """The page's parts, a pack after those it lies on; what several packs share is shown once."""
    rules_seen: set[tuple[str, str]] = set()
    clauses_seen: set[tuple[str, str, str]] = set()
    found = []
    for pack in sorted(packs, key=lambda p: len(p.layers)):
        rules = [b for b in pack.rules if (b.pack, b.rule.id) not in rules_seen]
        clauses = [c for c in pack.clauses if (c.source, c.section, c.says) not in clauses_seen]
        rules_seen.update((b.pack, b.rule.id) for b in rules)
        clauses_seen.update((c.source, c.section, c.says) for c in clauses)
        texts = tuple(RuleText(name(b.rule.id), heading(b.rule.title), explain(b, pack)) for b in rules)
        found.append(PackPart(name(pack.id), heading(pack.title), tuple(_about(pack)), texts, _clauses(pack, clauses)))
    return found


def _about(pack: Pack) -> Iterable[str]:
    yield f"Pack {name(pack.id)} {name(pack.version)}, for {f'the procedure {name(pack.procedure)}' if pack.procedure else 'any procedure'}."
    if len(pack.layers) > 1:
        yield f"It lies on {', '.join(name(p) for p in pack.layers[:-1])}, and what it asks holds here too."


def _clauses(pack: Pack, clauses: Iterable[Clause]) -> tuple[ClauseLine, ...]:
    lines = []
    for clause in clauses:
        source = pack.sources.get(clause.source)
        edition = f", {clause.edition}" if clause.edition else ""
        sure = CONFIDENCE[clause.confidence] + (f": {clause.seen}" if clause.seen else "")
        lines.append(ClauseLine(
            heading((source.title if source else clause.source) + edition), name(clause.section), sentence(clause.says),
            _CHECKED[clause.status], tuple(name(r) for r in clause.rules), sentence(sure), sentence(clause.note or ""),
        ))  # fmt: skip
    return tuple(lines)


def as_markdown(packs: Sequence[Pack]) -> str:
    """The page in Markdown: contents, and a part a pack."""
    found = parts(packs)
    lines = [f"# {TITLE}", ""]
    for part in found:
        lines.append(f"- [{markdown.plain(part.title)}](#{anchor(part.id, 'pack')})")
        lines += [f"  - [{markdown.plain(f'{r.id}: {r.title}')}](#{anchor(r.id, part.id)})" for r in part.rules]
    for part in found:
        lines += ["", f'<a id="{anchor(part.id, "pack")}"></a>', "", f"## {markdown.plain(part.title)}", ""]
        lines += [markdown.plain(line) for line in part.about]
        for rule in part.rules:
            lines += ["", f'<a id="{anchor(rule.id, part.id)}"></a>', "", f"### {markdown.plain(rule.id)}", ""]
            lines += markdown.fenced(rule.text)
        if part.clauses:
            lines += ["", "### Clauses and who checks them", ""]
            cells = [(c.section, c.source, c.says, c.checked, ", ".join(c.rules), c.sure, c.note) for c in part.clauses]
            lines += markdown.table(CLAUSE_HEADINGS, cells)
    return "\n".join(lines) + "\n"


def as_html(packs: Sequence[Pack]) -> str:
    """The page as one file that loads nothing."""
    found = parts(packs)
    places = {rule.id: anchor(rule.id, part.id) for part in found for rule in part.rules}
    return page(
        "rules.html.j2", more_style="handbook.css", title=TITLE, parts=found, headings=CLAUSE_HEADINGS, places=places
    ).decode()
