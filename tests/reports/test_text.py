"""The text report in a terminal: its width, its colours, and hostile text."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

import pytest
from rich.cells import cell_len

from validator.findings import Report
from validator.reports import text

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
HOSTILE = "<b>[red]{{ 7 }}[/red] :bomb: \x1b[2J\x1b]0;met\x07\r\u202e\u200b\x9b1A 漢字"


def test_a_hostile_text_in_every_field_sends_no_control_character(made: Made, every_text: EveryText) -> None:
    """Whatever the records hold, the terminal receives letters and line ends alone."""
    written = text.render(every_text(made("full"), lambda said: said + HOSTILE)).decode()

    assert {"\n"} == {char for char in written if unicodedata.category(char) in {"Cc", "Cf", "Zl", "Zp"}}


def test_markup_in_data_is_shown_and_not_obeyed(made: Made, every_text: EveryText) -> None:
    """Square brackets and colons of data stand in the report as they are."""
    written = text.render(every_text(made("clean"), lambda said: "[red]x[/red] :bomb:")).decode()

    assert "[red]x[/red] :bomb:" in written


@pytest.mark.parametrize("report", ["full", "clean", "empty", "unobserved", "fleet"])
def test_colour_adds_to_the_words_and_replaces_none(made: Made, report: str) -> None:
    """Without its colour codes the coloured text is the plain one."""
    coloured = re.sub(r"\x1b\[[0-9;]*m", "", text.render(made(report), color=True).decode())
    plain = text.render(made(report)).decode()

    assert plain.split("\n") == [line.rstrip(" ") for line in coloured.split("\n")]


def test_colour_is_there_when_asked_for_whatever_the_environment_says(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The caller decides on colour and width; the renderer reads no environment."""
    before = [text.render(made("full"), color=color) for color in (False, True)]
    for name, value in (("NO_COLOR", "1"), ("FORCE_COLOR", "1"), ("COLUMNS", "40"), ("TERM", "dumb")):
        monkeypatch.setenv(name, value)

    assert before == [text.render(made("full"), color=color) for color in (False, True)]
    assert [b"\x1b[" in written for written in before] == [False, True]


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("suffix", ["", HOSTILE, "x" * 10_000, " 漢" * 5_000])
def test_no_line_is_wider_than_the_terminal(made: Made, every_text: EveryText, width: int, suffix: str) -> None:
    """Long words are folded, and wide characters count double."""
    report = every_text(made("full"), lambda said: said + suffix)

    assert width >= max(cell_len(line) for line in text.render(report, width=width).decode().split("\n"))


def test_a_fleet_is_cut_short_with_the_number_left_out(made: Made) -> None:
    """The cap announces itself and says where the rest is."""
    written = text.render(made("fleet"), width=120).decode()

    assert "... and 680 more findings, none graver; see --output html=PATH or json=PATH" in written
    assert len(re.findall("(?m)^  OUT  ", written)) == text.FINDINGS_SHOWN
