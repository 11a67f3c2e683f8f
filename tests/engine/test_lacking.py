"""What an action asks to be recorded is said in plain words, whatever the reason is called in the program."""

from __future__ import annotations

import pytest

from validator.engine.lacking import in_words


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("contradiction", "entries that agree with each other"), ("not_measured", "a reading"), ("missing_agent", "what was used"),
        ("no_such_reason", "no such reason"),
    ],
)  # fmt: skip
def test_what_is_lacking_is_said_in_plain_words(reason: str, said: str) -> None:
    """As what stands after `record what is lacking`; a kind from elsewhere is said by its reason's own words."""
    assert in_words(reason) == said
