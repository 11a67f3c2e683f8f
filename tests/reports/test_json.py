"""The JSON report: its keys, its bytes, and the way back."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from validator.errors import WrongInput
from validator.findings import Quantity, Report
from validator.reports import html, json_

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]


def declared_keys(value: Any) -> Any:
    """What the keys must be by the dataclasses alone: nested lists of names in the order of declaration."""
    if isinstance(value, tuple):
        return [declared_keys(item) for item in value]
    if dataclasses.is_dataclass(value):
        return [(f.name.rstrip("_"), declared_keys(getattr(value, f.name))) for f in dataclasses.fields(value)]
    return None


def found_keys(value: Any) -> Any:
    if isinstance(value, list):
        return [found_keys(item) for item in value]
    if isinstance(value, dict) and not set(value) <= {"critical", "major", "minor", "observation"}:
        return [(key, found_keys(item)) for key, item in value.items()]
    return None


def test_keys_stand_in_declared_order_and_in_has_no_underscore(made: Made) -> None:
    """The JSON has the fields of the dataclasses, in their order, with `in` for the count of IN."""
    report = made("full")

    assert declared_keys(report) == found_keys(json.loads(json_.render(report)))


def test_a_text_that_looks_like_the_renamed_key_is_left_alone(made: Made, every_text: EveryText) -> None:
    """Only the key is renamed, never a text of the same spelling."""
    spelled = ' "in_": 1,\n  "in_": 2'
    report = every_text(made("full"), lambda text: spelled)

    assert spelled == json.loads(json_.render(report))["title"]


def test_the_document_ends_with_one_line_end_and_is_indented_by_two(made: Made) -> None:
    """The bytes are those of a text file that a person can open."""
    written = json_.render(made("clean"))

    assert (written[:26], written[-3:]) == (b'{\n  "report_version": "1",', b"\n}\n")


@settings(max_examples=30, deadline=None)
@given(suffix=st.text(max_size=30), value=st.floats(allow_nan=False, allow_infinity=False))
def test_an_archived_report_reads_back_equal_and_renders_the_same(
    made: Made, every_text: EveryText, suffix: str, value: float
) -> None:
    """load(render(r)) is r, and its page has the same bytes."""
    report = every_text(made("full"), lambda text: text + suffix if text != "1" else text)
    first = dataclasses.replace(report.findings[0], observed=Quantity(value, "ppm"))
    report = dataclasses.replace(report, findings=(first, *report.findings[1:]))

    again = json_.load(json_.render(report))

    assert (report, html.render(report)) == (again, html.render(again))


def test_a_lone_surrogate_is_spelled_out(made: Made) -> None:
    """A text that UTF-8 cannot hold does not stop the report."""
    report = dataclasses.replace(made("full"), title="a\ud800b")

    assert json.loads(json_.render(report))["title"] == "aU+D800b"


@pytest.mark.parametrize(
    ("document", "said"),
    [
        (b"", "not readable JSON"),
        (b"[]", "report_version is None"),
        (b'{"report_version": "2"}', "report_version is '2'"),
        (b'{"report_version": "1"}', "Field required"),
    ],
)
def test_what_is_no_report_of_this_version_is_refused_in_a_sentence(document: bytes, said: str) -> None:
    """`load` raises the error that the command line shows, and says what is wrong."""
    with pytest.raises(WrongInput, match=said):
        json_.load(document)


def test_an_unknown_status_is_refused_with_its_place(made: Made) -> None:
    """A report that was changed by hand is not taken for one of ours."""
    changed = json_.render(made("full")).replace(b'"status": "out"', b'"status": "fine"', 1)

    with pytest.raises(WrongInput, match=r"findings\.0\.status"):
        json_.load(changed)
