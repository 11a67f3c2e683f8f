"""How is text from data written into Markdown so that it reads as text there, whatever signs it holds?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from validator.reports.visible import sentence

_ACTIVE = re.compile(r"([\\`*_\[\]<>|#~&])")


def plain(text: str) -> str:
    """A sentence on one line in which no sign is taken for markup."""
    return _ACTIVE.sub(r"\\\1", sentence(text))


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table as lines; the cells are text, a blank one is a dash."""
    lines = [f"| {' | '.join(headings)} |", f"|{' --- |' * len(headings)}"]
    return lines + [f"| {' | '.join(plain(cell) or '-' for cell in row)} |" for row in rows]


def fenced(text: str) -> list[str]:
    """Text as it stands, line by line, behind a fence longer than any within it."""
    longest = max((len(run) for run in re.findall("`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    return [f"{fence}text", *text.rstrip("\n").split("\n"), fence]
