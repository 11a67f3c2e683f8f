"""By which names and words are columns, steps and agents met in logs that people keep? The table, and how a name is looked up.

A draft proposes by them; `check` without a mapping takes a column by one only where it can mean one thing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

UNIT_WORDS = {
    "°f": "F", "f": "F", "°c": "C", "c": "C", "ppm": "ppm", "mg/l": "ppm", "%": "%", "min": "min", "mins": "min",
    "minutes": "min", "s": "s", "sec": "s", "secs": "s", "seconds": "s", "h": "h", "hrs": "h", "hours": "h",
    "celsius": "C", "fahrenheit": "F",
}  # fmt: skip
"""Words for units in the names of columns."""
_NOT_NAME = re.compile(r"[^\w°%#-]+")
_UNIT = re.compile(r"mg/l|°?[^\W\d_]+|%")
_HUMP = re.compile(r"(?<=[a-zß-ÿ]{2})(?=[A-Z])")
"""Where one word ends and the next begins in `tempF` or `startedAt`, but not in `pH`."""


def fold(text: str) -> str:
    """A name or word as it is compared: blanks at the ends taken off, runs of them joined, case left aside."""
    return " ".join(text.split()).casefold()


@cache
def aliases() -> Mapping[str, Any]:
    """The table of names and words, as data; every scalar is text."""
    loader: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
    raw = files("validator.mapping").joinpath("aliases.yaml").read_bytes()
    found: Mapping[str, Any] = yaml.load(raw, Loader=loader)  # noqa: S506  # a file of our own, read as plain text
    return found


def tokens(name: str) -> list[str]:
    """The words of a column's name, without case, brackets and stops."""
    return [
        t
        for t in _NOT_NAME.split(
            _HUMP.sub(" ", name).casefold().replace("#", " no ").replace("_", " ").replace("mg/l", "ppm")
        )
        if t
    ]


def bare(words: Sequence[str]) -> list[str]:
    """A name's words without units, or the words themselves where nothing else is left."""
    return [t for t in words if t not in UNIT_WORDS] or list(words)


def unit_of(name: str) -> str:
    """The unit that a column's name bears; empty where it bears none."""
    return next((UNIT_WORDS[t] for t in _UNIT.findall(_HUMP.sub(" ", name).casefold()) if t in UNIT_WORDS), "")


@cache
def _columns() -> Mapping[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for column, names in aliases()["columns"].items():
        for name in map(" ".join, map(tokens, names)):
            found[name] = (*found.get(name, ()), column)
    return found


def could_be(name: str) -> tuple[str, ...]:
    """The canonical columns (and `date`) that a name is in use for; none where it is in no list."""
    words = tokens(name)
    for key in (" ".join(words), " ".join(bare(words))):
        meant = aliases()["unclear"].get(key) or _columns().get(key)
        if meant:
            return tuple(meant)
    return ()
