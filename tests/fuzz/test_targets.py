"""The targets of a fuzz run take the files that they begin from, so that they do not rot between two runs."""

from __future__ import annotations

import pytest

from .targets import TARGETS


@pytest.mark.parametrize("name", TARGETS)
def test_a_target_takes_its_seeds(name) -> None:
    """Every file to begin from, cut in the middle, and nothing at all."""
    target, seeds = TARGETS[name]
    for data in (b"", *seeds, *(seed[: len(seed) // 2] for seed in seeds)):
        target(data)
