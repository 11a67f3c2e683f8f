"""The page in a browser: what people with other eyes, other hands, a phone or a printer meet."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from validator.findings import Report
from validator.reports import html

Made = Callable[[str], Report]
Found = Callable[[str], Path]
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
NAMES = ["drawn", "empty", "hostile", "index", "store"]
VIEWS = {
    "phone": {"viewport": {"width": 320, "height": 800}},
    "desktop": {"viewport": {"width": 1280, "height": 900}},
    "phone, dark": {"viewport": {"width": 320, "height": 800}, "color_scheme": "dark"},
    "desktop, dark": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
}
"""WCAG 2.2 SC 1.4.10 asks for 320 px, which is 1280 px at 400 %."""


@pytest.fixture(scope="module")
def pages(made: Made, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The page of a report by its name, as a file."""
    folder = tmp_path_factory.mktemp("pages")

    def written(name: str) -> Path:
        path = folder / ("index.html" if name == "index" else f"{name}.html")
        if name in ("index", "store"):
            for relative, document in html.render_folder(made("drawn")):
                path = folder / relative
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(document)
                if (name == "index") == (relative == "index.html"):
                    return path
        group = "plan" if name.endswith("-plan") else "grade"
        path.write_bytes(html.render(made(name.removesuffix("-plan")), group=group))
        return path

    return written


def opened(browser: Any, path: Path, **view: Any) -> Any:
    page = browser.new_context(**view).new_page()
    page.goto(path.as_uri())
    return page


@pytest.mark.parametrize("view", VIEWS)
def test_no_rule_of_accessibility_is_broken(browser: Any, module: Found, pages: Callable[[str], Path], view: str) -> None:
    """axe-core finds nothing against WCAG 2.2 A and AA or its best practice, with everything unfolded."""
    axe = module("axe-core/axe.min.js").read_text("utf-8")
    found = []
    context = browser.new_context(bypass_csp=True, **VIEWS[view])
    page = context.new_page()
    for name in NAMES if view == "phone" else NAMES[:1]:
        page.goto(pages(name).as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.evaluate(axe)
        result = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
        found += [(name, v["id"], n["html"][:200], n["failureSummary"]) for v in result["violations"] for n in v["nodes"]]
    context.close()

    assert found == []


@pytest.mark.parametrize("width", [320, 640, 1280])
def test_only_tables_scroll_sideways_and_each_can_be_reached(
    browser: Any, pages: Callable[[str], Path], width: int
) -> None:
    """At 320 px, and at 200 % zoom, the page itself never scrolls sideways; what does is a focusable region with a name."""
    found = []
    for name in ("drawn", "hostile", "index"):
        page = opened(browser, pages(name), viewport={"width": width, "height": 800})
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        found.append(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
        found += page.evaluate(
            """[...document.querySelectorAll('body *')].filter(e => e.scrollWidth > e.clientWidth + 1
            && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX)
            && !(e.tabIndex === 0 && e.getAttribute('role') === 'region'
                 && document.getElementById(e.getAttribute('aria-labelledby'))?.textContent)).map(e => e.outerHTML.slice(0, 99))"""
        )
        page.context.close()

    assert found == [0] * 3


def test_the_tab_key_goes_through_the_page_in_its_order_and_the_focus_is_seen(
    browser: Any, pages: Callable[[str], Path]
) -> None:
    """First the link that skips to the report, then everything that can be used in the order of the page, each on screen."""
    page = opened(browser, pages("drawn"), viewport={"width": 320, "height": 800})
    page.evaluate(
        "window.order = [...document.querySelectorAll('a[href], summary, [tabindex]')]"
        ".filter(e => e.checkVisibility())"
    )
    expected = page.evaluate("window.order.length")
    seen = []
    for _ in range(expected):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => { const e = document.activeElement, r = e.getBoundingClientRect(), s = getComputedStyle(e);
                return [window.order.indexOf(e), r.bottom > 0 && r.top < innerHeight, parseFloat(s.outlineWidth) >= 2]; }"""
            )
        )

    assert page.evaluate("window.order[0].className") == "skip"
    assert seen == [[n, True, True] for n in range(expected)]


def test_what_can_be_pressed_is_large_enough(browser: Any, pages: Callable[[str], Path]) -> None:
    """At least 24 by 24 px (WCAG 2.2 SC 2.5.8), links within a sentence aside."""
    page = opened(browser, pages("drawn"), viewport={"width": 320, "height": 800})
    page.evaluate("document.querySelectorAll('.machine').forEach(m => m.style.contentVisibility = 'visible')")
    small = page.evaluate(
        """[...document.querySelectorAll('nav a, summary, .jump, .matrix a')].filter(e => e.checkVisibility())
        .map(e => [e.textContent, e.getBoundingClientRect().height]).filter(([, h]) => h < 24)"""
    )

    assert small == []


def test_forced_colours_leave_every_shape_and_word_to_be_seen(browser: Any, pages: Callable[[str], Path]) -> None:
    """Where the reader's own colours hold, no text or bar of a picture has the colour of the ground."""
    page = opened(browser, pages("drawn"), viewport={"width": 1280, "height": 900}, forced_colors="active")
    hidden = page.evaluate(
        """(() => { const ground = getComputedStyle(document.body).backgroundColor;
        const seen = e => { const s = getComputedStyle(e); return [s.fill, s.stroke].some(c => c !== 'none' && c !== ground); };
        return [...document.querySelectorAll('.drawing text, .drawing rect, .drawing line')].filter(e => !seen(e)
          && !e.matches('.closed, .band')).map(e => e.outerHTML); })()"""
    )

    assert hidden == []


def test_the_policy_of_the_page_stops_nothing_of_its_own(browser: Any, pages: Callable[[str], Path]) -> None:
    """With the policy in force the style holds, nothing is reported against it, and nothing is asked of any address."""
    told: list[str] = []
    asked: list[str] = []
    page = browser.new_context().new_page()
    page.on("console", lambda message: told.append(message.text))
    page.on("request", lambda request: asked.append(request.url))
    path = pages("hostile")
    page.goto(path.as_uri())

    assert (told, asked) == ([], [path.as_uri()])
    assert page.evaluate("getComputedStyle(document.querySelector('nav ul')).listStyleType") == "none"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_printed_pages_hold_everything_that_is_folded_on_the_screen(
    browser: Any, program: Callable[[str], str], pages: Callable[[str], Path], tmp_path: Path, paper: str
) -> None:
    """A printed page has no way to unfold: cycles, findings and cautions stand on it, and the contents do not."""
    reader = program("pdftotext")
    page = opened(browser, pages("drawn"))
    out = tmp_path / f"{paper}.pdf"
    page.pdf(path=out, format=paper)
    said = " ".join(subprocess.run([reader, "-layout", out, "-"], capture_output=True, text=True, check=True).stdout.split())

    for expected in ("Cycle C-0017, started 2026-03-27", "line-2 was flushed for 14 min 59 s", "the gas is poisonous"):
        assert expected in said
    assert "Skip to the report" not in said


def test_the_pages_are_valid_html(module: Found, program: Callable[[str], str], pages: Callable[[str], Path]) -> None:
    """The checker of the HTML standard finds no error on any page."""
    checker = module("vnu-jar/build/dist/vnu.jar")
    java = program("java")
    paths = [str(pages(name)) for name in ("drawn", "drawn-plan", "empty", "hostile", "index", "store")]
    done = subprocess.run(
        [java, "-Xmx512m", "-jar", str(checker), "--errors-only", "--format", "json", *paths],
        capture_output=True, text=True,
    )  # fmt: skip
    told = [f"{m['url']}: {m['message']}" for m in json.loads(done.stderr)["messages"]]
    # the checker's list of CSS properties lacks `paint-order` (SVG 2, 13.8)
    told = [message for message in told if "paint-order" not in message]

    assert told == []
