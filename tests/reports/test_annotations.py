"""Workflow commands: the worst beside their lines, never more than are shown, and nothing that data could command."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable

from validator.findings import Report
from validator.reports.annotations import render

Made = Callable[[str], Report]
EveryText = Callable[[Report, Callable[[str], str]], Report]
# `::error file=a,line=1::text`, as the runner of workflows reads it: properties up to the next `::`
COMMAND = re.compile(r"::(?P<level>notice|warning|error)(?: (?P<properties>[^:]*))?::(?P<message>.*)")


def read(report: Report) -> list[tuple[str, dict[str, str], str]]:
    found = []
    for line in render(report).decode().removesuffix("\n").split("\n"):
        command = COMMAND.fullmatch(line)
        assert command, line
        given = dict(part.split("=", 1) for part in command["properties"].split(","))
        found.append((command["level"], {key: unescaped(value) for key, value in given.items()}, unescaped(command["message"])))
    return found


def unescaped(text: str) -> str:
    for sign, code in ((":", "%3A"), (",", "%2C"), ("\n", "%0A"), ("\r", "%0D"), ("%", "%25")):
        text = text.replace(code, sign)
    return text


def test_the_worst_ten_of_each_level_and_the_rest_is_counted(made: Made) -> None:
    """A service shows ten of a step; 720 findings are ten lines and a count."""
    said = read(made("fleet"))

    assert [level for level, _, _ in said] == ["notice", *["error"] * 10, "notice"]
    assert said[-1][2] == "and 710 more errors, none graver; the other formats have all"


def test_grave_breaches_are_errors_and_the_rest_warnings(made: Made) -> None:
    """What could not be shown is a warning, with the row of its file."""
    said = read(made("full"))
    not_shown = next(given for level, given, _ in said if "N/O" in given["title"])

    assert [level for level, _, _ in said] == ["notice", *["error"] * 4, *["warning"] * 3]
    assert (not_shown["file"], not_shown["line"]) == ("tuesday.xlsx", "21")


def test_a_clean_run_says_so(made: Made) -> None:
    """One notice; silence could be a step that never ran."""
    assert [(level, message) for level, _, message in read(made("clean"))] == [("notice", "Met: all 40 checks were met.")]


def test_no_text_of_data_becomes_a_command(made: Made, every_text: EveryText, hostile: str) -> None:
    """With hostile text in every field there are as many lines, of the same levels, and the text comes back whole."""
    full = made("full")
    said = read(every_text(full, lambda text: hostile + text))
    percent = read(dataclasses.replace(full, findings=(dataclasses.replace(full.findings[0], message="5 % %0A, a:b"),)))

    assert [level for level, _, _ in said] == [level for level, _, _ in read(full)]
    assert "5 % %0A, a:b" in percent[1][2]
