"""The report on paper, read with the tools of poppler."""

from __future__ import annotations

import dataclasses
import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from validator.errors import WrongInput
from validator.findings import Report
from validator.reports import pdf

Made = Callable[[str], Report]
Program = Callable[[str], str]
Told = Callable[..., str]


@pytest.fixture
def told(program: Program, tmp_path: Path) -> Told:
    """A function that gives what a tool of poppler says of a PDF."""

    def run(tool: str, written: bytes, *options: str) -> str:
        path = tmp_path / "report.pdf"
        path.write_bytes(written)
        done = subprocess.run([program(tool), *options[:-1], str(path), *options[-1:]], capture_output=True, text=True)
        return done.stdout

    return run


def test_the_pages_are_tagged_and_numbered(made: Made, told: Told) -> None:
    """A reader who listens finds headings and tables, and every page says which of how many it is."""
    written = pdf.render(made("drawn"))
    facts = dict(re.findall(r"^(\w[\w ]*):\s+(.*)$", told("pdfinfo", written), re.M))
    pages = told("pdftotext", written, "-layout", "-").split("\f")[:-1]

    assert (facts["Tagged"], int(facts["Pages"]) > 2, b"pdfuaid:part" in written) == ("yes", True, True)
    assert [f"page {n} of {len(pages)}" in page for n, page in enumerate(pages, 1)] == [True] * len(pages)


def test_every_page_bears_the_packs_and_the_files_by_their_hashes(made: Made, told: Told) -> None:
    """A page that lies alone can be traced to the packs and files that it speaks of."""
    pages = told("pdftotext", pdf.render(made("drawn")), "-layout", "-").split("\f")[:-1]

    for expected in ("syrup-line-cip 1.0.0 5d5d5d5d5d5d", "monday.csv abababababab", "old.csv efefefefefef"):
        assert [page for page in pages if expected not in page] == []


def test_there_is_room_to_sign_and_what_governs_is_said(made: Made, told: Told) -> None:
    """Auditor, store and date; the cautions, and the sentence on code, label and licensed practice."""
    said = " ".join(told("pdftotext", pdf.render(made("drawn")), "-layout", "-").split())

    for expected in (
        "Auditor", "Date", "the gas is poisonous",
        "Local code, the label of each product and licensed practice govern.",
    ):  # fmt: skip
        assert expected in said


def test_markup_in_every_field_is_set_as_it_stands(made: Made, told: Told) -> None:
    """Nothing in the data is read as markup of the typesetter or of a page."""
    said = re.sub(r"\s+", "", told("pdftotext", pdf.render(made("hostile")), "-raw", "-"))

    assert "<script>alert(1)</script>" in said
    assert r"#panic()$x$*b*\x1b\x00U+202E" in said


@pytest.mark.parametrize("text", ["漢字 ひらがな", "\U00010380\U0001f9fc", "\ufdd0\U0003fffe", "עברית العربية"])
def test_a_letter_that_no_font_has_stops_nothing(made: Made, every_text: Callable[..., Report], told: Told, text: str) -> None:
    """Other scripts, signs that hardly any font has, and code points that are no letters."""
    written = pdf.render(every_text(made("full"), lambda said: said + text))

    assert written.startswith(b"%PDF")
    assert int(re.search(r"Pages:\s+(\d+)", told("pdfinfo", written))[1]) > 1


def test_the_same_report_gives_the_same_bytes_at_any_time(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file bears the time of the report, and none of its making."""
    first = pdf.render(made("drawn"))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")

    assert pdf.render(made("drawn")) == first


def test_the_pictures_stand_on_the_pages(made: Made, tmp_path: Path, program: Program) -> None:
    """The page with a timeline has bars: with the pictures away there is less ink on it."""
    def ink(report: Report) -> int:
        path = tmp_path / "report.pdf"
        path.write_bytes(pdf.render(report))
        subprocess.run([program("pdftoppm"), "-gray", "-r", "30", path, tmp_path / "page"], check=True)
        found = sum(sum(byte < 100 for byte in page.read_bytes()) for page in tmp_path.glob("page*.pgm"))
        for page in tmp_path.glob("page*.pgm"):
            page.unlink()
        return found

    drawn = made("drawn")

    assert ink(drawn) > ink(dataclasses.replace(drawn, pictures=None)) + 300


@pytest.mark.parametrize("report", ["clean", "empty", "unread", "unobserved", "huge"])
def test_odd_reports_become_pages(made: Made, report: str) -> None:
    """Nothing found, no row, no usable row, only N/O, ten thousand letters in every field."""
    assert pdf.render(made(report)).startswith(b"%PDF")


def test_without_the_typesetter_the_reason_is_said(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain sentence names the package that is missing."""
    monkeypatch.setitem(__import__("sys").modules, "typst", None)

    with pytest.raises(WrongInput, match="needs the package typst"):
        pdf.render(made("clean"))


def test_what_changed_since_an_earlier_report_is_listed(made) -> None:
    """The pages have what the other forms for people have: the sentence, and each earlier finding that is none now."""
    lists = dict(json.loads(pdf.data_of(made("since")))["lists"])
    said, *gone = lists["Since the earlier report"]

    assert said.startswith("5 new, 2 persisting, 1 resolved, 1 not judged again, since the report as of 2026-04-27")
    assert len(gone) == 2


def test_pages_that_are_held_against_nothing_have_no_such_list(made) -> None:
    """Without an earlier report nothing is said of one."""
    assert "Since the earlier report" not in dict(json.loads(pdf.data_of(made("full")))["lists"])
