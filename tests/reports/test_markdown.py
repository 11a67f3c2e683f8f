"""Markdown: what a reader of CommonMark with GFM tables makes of it, whatever the data holds."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from validator.findings import Notice, Report
from validator.reports import markdown
from validator.reports.layout import GOVERNS

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
READER = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
COMMENT = "<!-- -->"


def shape(document: str) -> list[str]:
    """The kinds of block and inline element of a document; runs of text, and our own comments in them, count as one."""
    found: list[str] = []
    for token in READER.parse(document):
        found.append(token.type)
        for child in token.children or []:
            if child.type in ("text", "text_special") or _ours(child):
                if found[-1] != "text":
                    found.append("text")
            else:
                found.append(child.type)
    return found


def text(document: str) -> str:
    """What a reader sees."""
    return "".join(
        child.content for token in READER.parse(document) for child in token.children or [] if not _ours(child)
    )


def _ours(child: Token) -> bool:
    """Whether it is the comment that parts an address; the same signs in data are text."""
    return child.type == "html_inline" and child.content == COMMENT


def written(report: Report) -> str:
    return markdown.render(report).decode()


@pytest.mark.parametrize("name", ["full", "clean", "empty", "unobserved"])
def test_no_text_of_data_becomes_markup(made: Made, every_text: EveryText, hostile: str, name: str) -> None:
    """With hostile text in every field the document has the same elements as with plain text in its place."""
    report = made(name)

    assert shape(written(every_text(report, lambda t: hostile + t))) == shape(written(every_text(report, lambda t: "plain " + t)))


@example("<!-- -->")
@given(st.text(alphabet=st.sampled_from("\\`*_{}[]()<>#|~&$^=+!-.:@/ 1a"), min_size=1, max_size=40))
def test_escaped_text_is_shown_as_it_is(said: str) -> None:
    """In a paragraph, in an item of a list and in a cell of a table, a reader sees the very text and nothing acts."""
    said = " ".join(said.split()) or "x"
    one = markdown.escaped(said)

    assert (shape(one), text(one)) == (["paragraph_open", "inline", "text", "paragraph_close"], said)
    assert text(f"- {one}") == said
    assert shape(f"- {one}").count("list_item_open") == 1
    table = f"| a |\n| --- |\n| {one} |\n"
    assert text(table) == f"a{said}"
    assert shape(table).count("td_open") == 1


@pytest.mark.parametrize("said", ["www.example.org", "http://example.org", "see HTTPS://example.org", "a@example.org", "@someone"])
def test_no_address_or_name_is_left_whole(said: str) -> None:
    """GFM looks for addresses, and services for names, in running text; each is parted by a comment that shows nothing."""
    assert COMMENT in markdown.escaped(said)
    assert text(markdown.escaped(said)) == said


@pytest.mark.parametrize("name", ["full", "clean", "empty", "unobserved", "fleet"])
def test_cautions_and_who_governs_stand_near_the_top(made: Made, name: str) -> None:
    """Before the findings, so that no cut takes them away."""
    document = written(made(name))

    assert GOVERNS in document
    assert document.index(GOVERNS) < document.index("## Findings")
    assert all(caution in document for caution in made(name).cautions)


def test_every_finding_is_shown_or_counted(made: Made) -> None:
    """Of 720 findings 500 are shown, and the rest is a number."""
    document = written(made("fleet"))

    assert document.count("\n- **OUT**") == markdown.FINDINGS_SHOWN
    assert "... and 220 more findings, none graver; the JSON report has all" in document
    assert written(made("full")).count("\n- **OUT**") + written(made("full")).count("\n- **N/O**") == 7


def test_it_stays_below_the_size_that_a_summary_may_have(made: Made) -> None:
    """1 MiB is the most; findings are left out, counted, until the document fits."""
    fleet = made("fleet")
    long = dataclasses.replace(
        fleet, findings=tuple(dataclasses.replace(f, message="*" * 1_900, corrective_action="c") for f in fleet.findings)
    )
    document = markdown.render(long)

    assert len(document) <= markdown.LIMIT < 2**20
    shown = document.count(b"\n- **OUT**")
    assert f"... and {720 - shown} more findings, none graver".encode() in document


def test_what_no_leaving_out_makes_fit_is_cut_at_a_line_and_counted(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """The cautions are above the cut."""
    monkeypatch.setattr(markdown, "LIMIT", 3_000)
    notices = tuple(Notice("n", f"{n} " + "x" * 500) for n in range(100))
    document = markdown.render(dataclasses.replace(made("full"), notices=notices)).decode()

    assert len(document.encode()) <= 3_000
    assert document.rstrip().endswith("more lines; the JSON report has all")
    assert GOVERNS in document


def test_a_due_date_stands_beside_what_is_to_be_done(made: Made) -> None:
    """By when, and by which source, in the first things and by rule."""
    document = written(made("full"))

    assert document.count("At the latest 2026-05-07 06:00 at the store (critical: within 72 h, food-code 8-405.11)") == 2
