"""The page: its structure, its safety, and what a reader with other eyes needs."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from validator.findings import Report
from validator.reports import html

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
HOSTILE = (
    "</p></style></title><script>alert(1)</script><img src=x onerror=alert(1)>"
    "\" onload='x' {{ 7*7 }}{% raw %}&#60;\x1b\x00\u202e"
)
VOID = {"meta", "rect"}


class Page(HTMLParser):
    """The elements of a page with their attributes and text; an element that is not closed in turn fails."""

    def __init__(self, written: bytes) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[str] = []
        self.feed(written.decode())
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert tag == self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.texts.append(data)

    def tags(self) -> list[str]:
        return [tag for tag, _ in self.elements]

    def values(self, attribute: str) -> list[str]:
        return [attributes[attribute] or "" for _, attributes in self.elements if attribute in attributes]


REPORTS = ["full", "drawn", "clean", "empty", "unread", "unobserved", "fleet"]


@pytest.mark.parametrize("report", REPORTS)
def test_headings_go_down_one_level_at_a_time_under_one_h1(made: Made, report: str) -> None:
    """A reader who moves by headings misses no level."""
    levels = [int(tag[1]) for tag in Page(html.render(made(report))).tags() if re.fullmatch("h[1-6]", tag)]

    assert (levels[0], levels.count(1)) == (1, 1)
    assert [pair for pair in pairwise(levels) if pair[1] > pair[0] + 1] == []


@pytest.mark.parametrize("report", REPORTS)
def test_every_table_has_a_caption_and_every_heading_cell_a_scope(made: Made, report: str) -> None:
    """A table can be read cell by cell."""
    page = Page(html.render(made(report)))

    assert page.tags().count("table") == page.tags().count("caption")
    assert [attributes for tag, attributes in page.elements if tag == "th" and "scope" not in attributes] == []


@pytest.mark.parametrize("report", REPORTS)
def test_every_link_and_label_leads_to_one_place_on_the_page(made: Made, report: str) -> None:
    """Ids are unique, and whatever points to an id finds it."""
    page = Page(html.render(made(report)))
    ids = page.values("id")
    pointed = [link.removeprefix("#") for link in page.values("href")] + " ".join(page.values("aria-labelledby")).split()

    assert len(ids) == len(set(ids))
    assert set() == set(pointed) - set(ids)


def test_every_finding_has_its_anchor(made: Made) -> None:
    """A finding can be linked to by its id."""
    ids = Page(html.render(made("full"))).values("id")

    assert [f.id for f in made("full").findings if f"finding-{f.id}" not in ids] == []


@pytest.mark.parametrize("report", REPORTS)
def test_the_page_loads_nothing_and_runs_nothing(made: Made, report: str) -> None:
    """No script, no address, no style outside the one sheet that the policy names by its hash."""
    written = html.render(made(report))
    page = Page(written)
    sheet = written.split(b"<style>")[1].split(b"</style>")[0]
    digest = base64.b64encode(hashlib.sha256(sheet).digest()).decode()

    assert f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'" in page.values(
        "content"
    )
    assert None is re.search(rb"https?:|url\((?!#)|@import|<script|<link|<img|javascript:", written, re.IGNORECASE)
    assert [
        key for _, attributes in page.elements for key in attributes if key in {"style", "src"} or key[:2] == "on"
    ] == []


def test_hostile_text_in_every_field_changes_no_element_of_the_page(made: Made, every_text: EveryText) -> None:
    """Markup in data is text: the page has the elements it has with a harmless letter in its place."""
    hostile = Page(html.render(every_text(made("drawn"), lambda text: text + HOSTILE)))
    harmless = Page(html.render(every_text(made("drawn"), lambda text: text + "x")))

    assert harmless.tags() == hostile.tags()
    assert [set(attributes) for _, attributes in harmless.elements] == [set(a) for _, a in hostile.elements]
    assert [text for text in hostile.texts if re.search("[\x00-\x09\x0b-\x1f\u202e]|^49$", text)] == []


@pytest.mark.parametrize("suffix", ["x" * 10_000, "漢 " * 5_000, "\x1b" * 10_000])
def test_ten_thousand_characters_in_every_field_are_cut_and_counted(
    made: Made, every_text: EveryText, suffix: str
) -> None:
    """The page stays a page, and says how much of a text is missing."""
    page = Page(html.render(every_text(made("drawn"), lambda text: text + suffix)))

    assert any("more characters)" in text for text in page.texts)
    assert max(len(text) for text in page.texts) < 40_000


def test_a_long_list_of_one_machine_is_folded_and_a_short_one_is_not(made: Made) -> None:
    """Twelve findings of one cycle are folded (the page holds 500, so 42 cycles), five are not; the reasoning of each always is."""
    def folded(report: str) -> int:
        page = html.render(made(report)).decode()
        return page.count("<details") - page.count('<details class="reasoning">')

    assert [folded(report) for report in ("fleet", "full")] == [42, 0]


def test_the_reasoning_of_every_finding_stands_folded_beneath_it(made: Made) -> None:
    """Rows with their values, the arithmetic and the decision rule, once a finding."""
    report = made("full")
    page = html.render(report).decode()

    assert page.count('<details class="reasoning">') == len(report.findings)
    assert "<dt>Rows, times by the store&#39;s clock</dt>" in page
    assert "<dd>decision rule simple, looked from " in page


def test_more_findings_than_a_page_holds_are_counted_on_it(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """The cap announces itself."""
    monkeypatch.setattr(html, "FINDINGS_SHOWN", 5)

    assert "<li>2 more findings, none graver than these.</li>" in html.render(made("full")).decode()


def luminance(colour: str) -> float:
    """Relative luminance of `#rgb` or `#rrggbb` as WCAG 2.2 defines it."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(("name", "least"), [("ink", 7), ("quiet", 4.5), ("rubric", 4.5), ("link", 4.5), ("edge", 3)])
def test_contrast_is_enough_in_light_dark_and_print(made: Made, name: str, least: float) -> None:
    """Text has a contrast of 4.5 to 1 with the paper in every palette (WCAG 1.4.3), lines that matter 3 to 1."""
    palettes = re.findall(r":root \{([^}]*--ink: #[^}]*)\}", html.render(made("clean")).decode())
    ratios = []
    for palette in palettes:
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]+);", palette))
        light, dark = sorted((luminance(colours[name]), luminance(colours["paper"])), reverse=True)
        ratios.append((light + 0.05) / (dark + 0.05))

    assert (len(ratios), [ratio for ratio in ratios if ratio < least]) == (3, [])
