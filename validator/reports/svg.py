"""How is a picture written as a drawing that stands alone, outside a page that brings its style?"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from markupsafe import Markup

from validator.reports.drawing import Picture
from validator.reports.html import environment

WIDTH = 800
"""px: as wide as a picture is drawn on a page of A4."""
_PAPER = {
    "ink": "#000", "quiet": "#444", "rubric": "#7a2210", "hair": "#bbb", "edge": "#777", "wash": "#e8e8e8", "paper": "#fff",
    "serif": "Libertinus Serif",
}  # fmt: skip


def whole(picture: Picture) -> str:
    """The picture as an SVG file in the colours of paper."""
    return environment().get_template("alone.svg.j2").render(picture=picture, width=WIDTH, drawing_style=_style())


@cache
def _style() -> Markup:
    """The sheet of the pictures with its variables filled in, for readers of SVG that know none."""
    sheet = (Path(__file__).resolve().parent / "templates" / "drawing.css").read_text(encoding="utf-8")
    return Markup(re.sub(r"var\(--(\w+)\)", lambda found: _PAPER[found[1]], sheet))  # noqa: S704 - ours, and not from data
