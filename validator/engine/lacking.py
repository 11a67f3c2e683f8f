"""What does the record lack where a check could not be shown? By the check's reason, in plain words."""

from __future__ import annotations

_LACKING = {
    "missing_time": "a time that can be read in one way",
    "contradiction": "entries that agree with each other",
    "missing_agent": "what was used",
    "missing_condition": "a condition that decides, such as temperature or pH",
    "not_measured": "a reading",
    "not_recorded": "an entry",
    "missing_amounts": "how much product and water was mixed",
    "unknown_unit": "a unit of known size",
    "several_mixings": "which mixing was measured",
    "no_limit": "an agent and a strength that a limit is known for",
    "missing_first": "the step before it",
    "before_the_work": "a time after the work",
    "undated": "a date",
    "within_uncertainty": "a time or a reading that is fine enough",
}


def in_words(reason: str) -> str:
    """`a reading`; of a kind from elsewhere the reason's own words."""
    return _LACKING.get(reason) or reason.replace("_", " ")
