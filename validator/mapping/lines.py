"""How is a draft written down? Its lines, the reason behind each, and which columns of the export stand in it."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field

SURE, LIKELY, GUESS = "sure", "likely", "a guess"
_PLAIN = re.compile(r"[^\W\d_](?:[\w ./()°-]*[\w)])?")
_YAML_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}


@dataclass
class Lines:
    """The lines of the proposal; `used` are the columns that stand in them, `left_out` the others with a reason of their own."""

    lines: list[str] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    left_out: dict[str, str] = field(default_factory=dict)

    def say(self, depth: int, text: str, why: str = "", sure: str = "") -> None:
        """A line, with its confidence and its reason behind it."""
        told = f"  # {sure + ': ' if sure else ''}{why}" if why else ""
        self.lines.append("  " * depth + text + told)

    def open(self, depth: int, text: str, why: str) -> None:
        """A line that its reader completes: `# key: ?`."""
        self.lines.append("  " * depth + f"# {text}  # open: {why}")

    def use(self, name: str) -> str:
        """The name of a column as it stands in the draft."""
        self.used.add(name)
        return scalar(name)


def scalar(text: str) -> str:
    """A text as a YAML scalar that comes back as it is."""
    if _PLAIN.fullmatch(text) and text.casefold() not in _YAML_WORDS and " #" not in text:
        return text
    return json.dumps(text, ensure_ascii=not text.isprintable())


def shown(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:60] + "...")
