"""What a reader gets who asks for another language: all that is ours in it, what is for programs as it was, gaps told."""

from __future__ import annotations

from pathlib import Path

import pytest

import validator.language
from tests.sheet.conftest import CLEAN, fill, judged
from validator.cli import run
from validator.cli.check import Judged, judge_files
from validator.cli.waiting import Waiting
from validator.demo import PACK, write_demo
from validator.language import speaking
from validator.reports import RENDERERS, pdf, seen
from validator.reports.layout import SECTIONS

FORMATS = ("text", "html", "markdown", "actions-csv", "pdf")
HEADINGS = [title for title in SECTIONS.values() if " " in title]
RULES = ["--rules", "syrup-line-cip", "--register", str(CLEAN / "syrup-line-cip.yaml")]
LOG = [str(CLEAN / "syrup-line-cip.csv"), *RULES, "--as-of", "2026-06-01"]
NOT_SAID = "not in the catalogues"


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Judged:
    """The demo's report with its pictures."""
    made = write_demo(tmp_path_factory.mktemp("demo"))
    with Waiting("") as waiting:
        return judge_files(
            [str(p) for p in made.logs], [PACK], str(made.register), made.as_of, "simple", waiting, drawn=5
        )


@pytest.mark.parametrize("format_", FORMATS)
def test_nothing_of_ours_is_left_in_english(demo, format_) -> None:
    """No sentence of the demo's report lacks its Spanish, and no English heading stands there."""
    language = demo.language("es")
    if format_ == "pdf":
        with speaking(language):
            document = pdf.data_of(seen(demo.report, "si", language))
    else:
        document = RENDERERS[format_].render(demo.report, language=language)

    assert language.missing == {}
    assert [title for title in HEADINGS if title in document.decode()] == []


@pytest.mark.parametrize("format_", [n for n, r in RENDERERS.items() if r.canonical and not r.binary])
def test_forms_for_programs_are_the_same_in_every_language(demo, format_) -> None:
    """What a program reads does not change with the language of a person."""
    renderer = RENDERERS[format_]

    assert renderer.render(demo.report, language=demo.language("es")) == renderer.render(demo.report)


def without(monkeypatch, *texts: str) -> None:
    """Take texts out of every catalogue."""
    known = validator.language.entries
    monkeypatch.setattr(
        validator.language, "entries", lambda path: {s: said for s, said in known(path).items() if s not in texts}
    )


def test_due_is_said(capfdbinary, monkeypatch) -> None:
    """Text and calendar are Spanish to the last sentence; JSON and CSV, and the events' names and days, stay."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780272000")
    found = {}
    for format_ in ("text", "ics", "json", "csv"):
        for lang in ("en", "es"):
            assert run(["due", *LOG, "--format", format_, "--lang", lang]) == 1
            out, err = capfdbinary.readouterr()
            assert NOT_SAID not in err.decode()
            found[format_, lang] = out.decode()
    kept = ("UID:", "DTSTART", "DTEND", "SEQUENCE:", "TRIGGER")
    days = [[line for line in found["ics", lang].splitlines() if line.startswith(kept)] for lang in ("en", "es")]

    assert "Limpiezas pendientes" in found["text", "es"]
    assert "como máximo 30 días después de la última limpieza que" in " ".join(found["text", "es"].split())
    assert "BK-04-SYR-B: limpiar\\, vencida desde 2026-04-23 (SYR-INTERVAL)" in found["ics", "es"].replace("\r\n ", "")
    assert days[0] == days[1]
    assert len(days[0]) >= 8
    assert (found["json", "es"], found["csv", "es"]) == (found["json", "en"], found["csv", "en"])


def test_a_filled_in_spanish_sheet_keeps_every_rule(tmp_path, capfdbinary) -> None:
    """The sheet is Spanish, its canonical columns are not: filled in, it is read with no OUT, no N/O, no defect."""
    path = tmp_path / "sheet.xlsx"
    register = tmp_path / "register.yaml"
    register.write_text((CLEAN / "syrup-line-cip.yaml").read_text("utf-8"), "utf-8")
    assert run(["sheet", *RULES, "--lang", "es", "--output", str(path)]) == 0
    assert NOT_SAID not in capfdbinary.readouterr()[1].decode()
    fill(path)
    report = judged(capfdbinary, "syrup-line-cip", register, path)

    assert report["record_defects"] == []
    assert report["summary"]["counts"]["not_observed"] == 0
    assert report["summary"]["counts"]["in"] > 0


def test_a_sheet_to_print_is_said(tmp_path, capfdbinary) -> None:
    """The page to print is Spanish, and tells a machine that reads it aloud so."""
    pypdf = pytest.importorskip("pypdf")
    path = tmp_path / "sheet.pdf"
    assert run(["sheet", *RULES, "--lang", "es", "--output", str(path)]) == 0
    assert NOT_SAID not in capfdbinary.readouterr()[1].decode()
    read = pypdf.PdfReader(path)
    text = " ".join(read.pages[0].extract_text().split())

    assert read.root_object["/Lang"] == "es"
    assert [word for word in ("Registro de limpieza", "Purgue line-1", "página 1") if word not in text] == []
    assert [word for word in ("Cleaning record", "Flush", "Take care", "Write") if word in text] == []


@pytest.mark.parametrize(
    ("command", "gone"),
    [
        (["check", *LOG], "Not cleaned in place for more than 30 days"),
        (["due", *LOG], "Cleaning due, as of {moment}"),
        (["sheet", *RULES, "--output", "sheet.xlsx"], "Flush {target}"),
    ],
    ids=["check", "due", "sheet"],
)  # fmt: skip
def test_what_no_catalogue_has_is_told(command, gone, tmp_path: Path, monkeypatch, capfdbinary) -> None:
    """A sentence without a translation stays English and is listed on standard error."""
    monkeypatch.chdir(tmp_path)
    without(monkeypatch, gone)
    assert run([*command, "--lang", "es"]) in (0, 1)

    assert f"not in the catalogues of 'es', so in English: {gone!r}" in capfdbinary.readouterr()[1].decode()
