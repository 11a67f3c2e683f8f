"""What is drawn in a picture, and where? Shapes with places in percent of the width, so that a phone sees them whole.

A picture is drawn by `templates/picture.svg.j2` in every format that shows pictures. Text in it is cut short; the table that
stands beside it says the same in full.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from validator.findings import Status

LABEL_LIMIT = 22
"""Characters of a name in a picture: more would run into what stands at the other end of the line on a phone."""
_LEFT, _WIDTH = 1.2, 97.6


@dataclass(frozen=True, slots=True)
class Shape:
    """A bar (`x` to `x` + `width`), a line (to `x` + `width`, `y` + `height`), a mark, or a text at its baseline.

    `x` and `width` are percent of the picture's width, `y` and `height` px. `look` names a class of the style sheet.
    """

    what: Literal["bar", "line", "mark", "text"]
    look: str
    x: float
    y: float
    width: float = 0.0
    height: float = 0.0
    text: str = ""
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with its title, what it shows in a sentence, and the same as a table."""

    title: str
    says: str
    height: int
    shapes: tuple[Shape, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def across(share: float) -> float:
    """A place between 0 and 1 as percent of a picture's width, a little apart from both edges."""
    return round(_LEFT + _WIDTH * min(max(share, 0.0), 1.0), 2)


def wide(share: float) -> float:
    """A length between 0 and 1 as percent of a picture's width."""
    return round(_WIDTH * min(max(share, 0.0), 1.0), 2)


def short(text: str) -> str:
    """A name cut to what a picture has room for."""
    return text if len(text) <= LABEL_LIMIT else f"{text[: LABEL_LIMIT - 1]}…"


def look_of(status: Status) -> str:
    """The class of what is drawn for a status."""
    return {Status.OUT: "out", Status.NOT_OBSERVED: "unsure"}.get(status, "good")
