"""How is text from data shown so that nothing in it stays hidden or acts on the reader's screen?"""

from __future__ import annotations

import re

NAME_LIMIT = 160
"""Characters shown of a name (an id, a file, a column); what is left out is counted in its place."""

SENTENCE_LIMIT = 2_000
"""Characters shown of a sentence."""

# Ranges, not a walk over all of Unicode at import: controls, other spaces than U+0020, format and bidirectional
# marks, fillers that print as nothing, variation selectors, lone surrogates, private use and tag characters.
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00a0\u00ad\u034f\u061c\u115f\u1160\u1680\u17b4\u17b5\u180b-\u180f\u2000-\u200f"
    "\u2028-\u202f\u205f-\u206f\u2800\u3000\u3164\ud800-\udfff\ue000-\uf8ff\ufe00-\ufe0f\ufeff\uffa0"
    "\ufff0-\ufffb\ufffe\uffff\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U0010ffff]"
)
_WHITE = re.compile(r"[ \t\r\n\xa0\u202f]+")
_SURROGATE = re.compile("[\ud800-\udfff]")


def name(text: str) -> str:
    r"""A name from data, every character of it to be seen: `\x1b` for a control, `U+202E` for an invisible one."""
    return _shown(text, NAME_LIMIT)


def whole(text: str) -> str:
    """A name for a table, of any length, so that it can be looked up; every character of it to be seen."""
    return _HIDDEN.sub(_spelled, text)


def sentence(text: str, limit: int = SENTENCE_LIMIT) -> str:
    """A sentence: line ends and runs of blanks become one blank, the rest is shown as in a name."""
    return _shown(_WHITE.sub(" ", text).strip(), limit)


def line(text: str) -> str:
    """A line of any length, every character of it to be seen."""
    return _HIDDEN.sub(_spelled, text)


def heading(text: str) -> str:
    """A sentence that stands large or in a narrow column, and so is no longer than a name."""
    return sentence(text, NAME_LIMIT)


def _shown(text: str, limit: int) -> str:
    left_out = len(text) - limit
    if left_out > 0:
        text = f"{text[:limit]} ... ({left_out:,} more characters)"
    return _HIDDEN.sub(_spelled, text)


def _spelled(match: re.Match[str]) -> str:
    code = ord(match[0])
    return f"\\x{code:02x}" if code < 0xA0 else f"U+{code:04X}"


def without_surrogates(text: str) -> str:
    """The text with every lone surrogate, which no file can hold, spelled out; all else as it is."""
    return _SURROGATE.sub(_spelled, text)
