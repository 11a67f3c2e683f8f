"""`cip-audit sheet`: a sheet filled in keeps every rule of its pack, a fault typed into it is found, and it is safe to open."""

from __future__ import annotations

import os
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pypdf
import pytest

from tests.sheet.conftest import fill, judged, make, sheets
from validator.cli import run
from validator.packs.loading import bundled_packs

NO_STEPS = ("cleaning-records", "cleaning-records-rhode-island")
"""Packs that judge a record and name no step: their sheet has blank rows."""
CASES = [(p, ()) for p in bundled_packs() if p not in NO_STEPS] + [("draught-line-cleaning", ("--now-and-then",))]


def silent(report: dict) -> None:
    assert report["findings"] == []
    assert report["record_defects"] == []
    assert report["summary"]["counts"]["not_observed"] == report["summary"]["counts"]["out"] == 0
    assert report["summary"]["counts"]["in"] > 0


@pytest.mark.parametrize(("pack", "more"), CASES, ids=lambda v: "".join(v) or "plain")
def test_a_sheet_filled_in_keeps_every_rule(pack, more, tmp_path, register, capfdbinary) -> None:
    """Every asked cell of the sheet of each bundled pack filled in: no OUT, no N/O, no defect."""
    path = make(pack, register(pack), tmp_path / "sheet.xlsx", *more)
    fill(path, agent="caustic" if pack.startswith("draught") else "chlorine")

    silent(judged(capfdbinary, pack, tmp_path / "register.yaml", path))


@pytest.mark.parametrize("pack", NO_STEPS)
def test_a_sheet_without_steps_can_be_written_into(pack, tmp_path, register, capfdbinary) -> None:
    """Where the rules name no step the rows are blank; two cleanings, two years apart, written into them keep every rule."""
    path = make(pack, register(pack, since=None), tmp_path / "sheet.xlsx")
    book = openpyxl.load_workbook(path)
    (sheet,) = sheets(book)
    assert sheet.rows() == []
    for row, (begin, step) in enumerate(
        [(datetime(2024, 4, 10, 20), "flush"), (datetime(2024, 4, 10, 21), "rinse"), (datetime(2026, 3, 30, 8), "flush")],
        sheet.head + 1,
    ):  # fmt: skip
        words = {
            "store_id": "BK-01", "equipment_id": "BK-01-TAP-A", "step": step, "target": "line-1", "started_at": begin,
            "ended_at": begin + timedelta(minutes=15), "performed_by": "Ida R.", "verified_by": "Noor T.",
            "verified_at": begin + timedelta(hours=2), "recorded_at": begin + timedelta(minutes=20),
        }  # fmt: skip
        for name in sheet.columns.keys() & words.keys():
            sheet.cell(row, name).value = words[name]
    book.save(path)

    silent(judged(capfdbinary, pack, tmp_path / "register.yaml", path))


def test_several_packs_stand_on_one_sheet(tmp_path, register, capfdbinary) -> None:
    """What a pack for any procedure asks is asked on the sheets of the others: strength beside a strip-down, and signatures."""
    text = register("frozen-dessert-machine").read_text("utf-8")
    (tmp_path / "register.yaml").write_text(text.replace("2026-03-30}", "2026-03-30, limits: {SAN-CHLORINE-MIXED: {product_percent: 5.25}}}"))
    path = tmp_path / "sheet.xlsx"
    rules = ["--rules", "frozen-dessert-machine", "--rules", "sanitizer-solutions"]
    assert run(["sheet", *rules, "--register", str(tmp_path / "register.yaml"), "--output", str(path)]) == 0
    fill(path)

    silent(judged(capfdbinary, "frozen-dessert-machine", tmp_path / "register.yaml", path, more=tuple(rules[2:])))


def test_a_machine_has_a_sheet_a_procedure(tmp_path, register, capfdbinary) -> None:
    """Packs for several procedures: each machine has a sheet of its own for each that concerns it, all read as one file."""
    packs = ("frozen-dessert-machine", "frozen-dessert-heat-treatment", "frozen-dessert-counts")
    rules = [part for pack in packs for part in ("--rules", pack)]
    path = tmp_path / "sheet.xlsx"
    assert run(["sheet", *rules, "--register", str(register(packs[0])), "--output", str(path)]) == 0
    assert openpyxl.load_workbook(path).sheetnames == [
        "BK-02-FRZ-A", "BK-02-FRZ-A laboratory-samp", "BK-02-FRZ-B", "BK-02-FRZ-B heat-treatment", "BK-02-FRZ-B laboratory-samp",
        "words",
    ]  # fmt: skip
    fill(path)

    silent(judged(capfdbinary, packs[0], tmp_path / "register.yaml", path, more=tuple(rules[2:])))


def test_temperatures_can_be_written_in_fahrenheit(tmp_path, register, capfdbinary) -> None:
    """With `--units us` the sheet asks for °F, and what is written there is judged as such."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx", "--units", "us")
    assert "temperature_c" not in sheets(openpyxl.load_workbook(path))[0].columns
    fill(path)

    silent(judged(capfdbinary, "syrup-line-cip", tmp_path / "register.yaml", path))


@pytest.mark.parametrize(
    ("do", "name", "value", "rule", "target"),
    [
        ("Flush line-2", "ended_at", "one minute short", "SYR-FLUSH-TIME", "line-2"),
        ("Test the solution", "concentration_ppm", 99, "SYR-CHLORINE-WEAK", "solution-1"),
        ("Test the solution", "ph", 10.1, "SAN-CHLORINE-CONDITIONS", "solution-1"),
        ("Prime", "verified_by", "Ida R.", "SYR-SELF-VERIFIED", "verified_by"),
        ("Wash nozzles", "performed_by", None, "SYR-WHO", "performed_by"),
        ("Rinse nozzles", "step", None, "SYR-RINSE-BETWEEN", "nozzles"),
    ],
)  # fmt: skip
def test_a_fault_typed_in_is_found(do, name, value, rule, target, tmp_path, register, capfdbinary) -> None:
    """One cell a little beyond its limit, or left blank, gives its own OUT, and a good sheet beside it none."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx", "--equipment", "BK-04-SYR-A")
    fill(path)
    book = openpyxl.load_workbook(path)
    (sheet,) = sheets(book)
    (row,) = [r for r in sheet.rows() if sheet.cell(r, "what_to_do").value == do]
    if value == "one minute short":
        value = sheet.cell(row, "started_at").value + timedelta(minutes=14)
    sheet.cell(row, name).value = value
    book.save(path)
    report = judged(capfdbinary, "syrup-line-cip", tmp_path / "register.yaml", path)
    out = [(f["rule"], f["target"]) for f in report["findings"] if f["status"] == "out" and f["equipment_id"] == "BK-04-SYR-A"]

    assert (rule, target) in out


def test_the_way_it_was_done_is_not_printed_beforehand(tmp_path, register, capfdbinary) -> None:
    """Pumping takes 15 minutes and standing 20: which it was is for the person to say, and 16 minutes of soaking are too short."""
    path = make("draught-line-cleaning", register("draught-line-cleaning"), tmp_path / "sheet.xlsx")
    fill(path, agent="caustic")
    book = openpyxl.load_workbook(path)
    (sheet,) = sheets(book)
    row = next(r for r in sheet.rows() if "soak line-1" in sheet.cell(r, "what_to_do").value)
    assert "step" in sheet.asked(row)
    sheet.cell(row, "ended_at").value = sheet.cell(row, "started_at").value + timedelta(minutes=16)
    found = []
    for step in ("circulate", "soak"):
        sheet.cell(row, "step").value = step
        book.save(path)
        report = judged(capfdbinary, "draught-line-cleaning", tmp_path / "register.yaml", path)
        found.append([(f["rule"], f["target"]) for f in report["findings"] if f["kind"] == "contact"])

    assert found == [[], [("DRA-CONTACT-TIME", "line-1")]]


def test_a_row_left_blank_was_not_done(tmp_path, register, capfdbinary) -> None:
    """A line whose row nobody filled in is a defect of the record and a line left out; its printed step counts for nothing."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx", "--equipment", "BK-04-SYR-A")
    fill(path)
    book = openpyxl.load_workbook(path)
    (sheet,) = sheets(book)
    (row,) = [r for r in sheet.rows() if sheet.cell(r, "what_to_do").value == "Flush line-3"]
    for name in sheet.asked(row):
        sheet.cell(row, name).value = None
    book.save(path)
    report = judged(capfdbinary, "syrup-line-cip", tmp_path / "register.yaml", path)

    assert [(d["row"], d["code"]) for d in report["record_defects"]] == [(row, "missing_required")]
    out = {(f["rule"], f["target"]) for f in report["findings"] if f["equipment_id"] == "BK-04-SYR-A" and f["status"] == "out"}
    assert ("SYR-LINE-MISSED", "line-3") in out


def test_an_empty_sheet_is_never_clean(tmp_path, register, capfdbinary) -> None:
    """A sheet in which nothing was written gives no check that is IN."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx")
    report = judged(capfdbinary, "syrup-line-cip", tmp_path / "register.yaml", path)

    assert report["records"] == 0
    assert report["summary"]["result"] != "met"


@pytest.mark.parametrize(
    ("targets", "most", "said"),
    [("lines", 1, "one line at a time"), ("lines", 2, "no more than 2 lines at a time"), ("parts", 1, "one part at a time"),
     ("[tank]", 1, "one at a time"), ("[tank]", 3, "no more than 3 at a time")],
)  # fmt: skip
def test_how_many_at_once_is_said_in_words(tmp_path, targets: str, most: int, said: str) -> None:
    """One is said as one, and lines and parts by their name."""
    (tmp_path / "pack.yaml").write_text(
        "pack: own\nprocedure: own\nrules:\n"
        f"  - {{id: T-A, title: t, kind: flush, params: {{targets: {targets}, min: PT15M}}}}\n"
        f"  - {{id: T-B, title: t, kind: concurrency, params: {{steps: [flush], resource: equipment, capacity: {most}}}}}\n", "utf-8",
    )  # fmt: skip
    (tmp_path / "register.yaml").write_text(
        "stores: [{store_id: S, timezone: UTC, equipment: [{equipment_id: E, lines: [line-1], parts: [nozzle]}]}]\n", "utf-8"
    )
    book = openpyxl.load_workbook(make(str(tmp_path / "pack.yaml"), tmp_path / "register.yaml", tmp_path / "sheet.xlsx"))
    cells = [str(c.value) for sheet in book for row in sheet for c in row if c.value is not None]

    assert [c for c in cells if said in c] != []
    assert [c for c in cells if "at once" in c] == []


# --- the workbook --------------------------------------------------------------------------------------------------------

HOSTILE = """\
stores:
  - store_id: "=1+1"
    name: "@SUM(A1) #panic() <b>"
    timezone: America/Chicago
    equipment:
      - {equipment_id: "-2+3", lines: ["=cmd|' /C calc'!A0", "+1", "a, b"], parts: []}
"""
PACK = """\
pack: own
title: "=HYPERLINK(1) *bold*"
procedure: own
cautions: ["=NOW() is not computed, $x$ no formula"]
rules:
  - {id: T-A, title: "t", kind: flush, params: {targets: lines, min: PT15M}}
"""


@pytest.fixture
def hostile(tmp_path: Path) -> list[str]:
    (tmp_path / "register.yaml").write_text(HOSTILE, "utf-8")
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
    return ["sheet", "--rules", str(tmp_path / "pack.yaml"), "--register", str(tmp_path / "register.yaml")]


def test_nothing_is_computed(hostile, tmp_path) -> None:
    """What looks like a formula in pack or register is text in every cell, and reads back as it stood."""
    assert run([*hostile, "--output", str(tmp_path / "sheet.xlsx")]) == 0
    book = openpyxl.load_workbook(tmp_path / "sheet.xlsx")
    cells = [c for sheet in book for row in sheet for c in row if c.value is not None]

    assert {c.data_type for c in cells} == {"s"}
    assert {"=1+1", "-2+3", "+1", "a, b", "=cmd|' /C calc'!A0"} <= {c.value for c in cells}
    assert all(c.quotePrefix for c in cells if c.value.startswith(("=", "+", "-", "@")))


def test_checks_never_refuse_a_bad_reading(tmp_path, register) -> None:
    """A number is refused only where nothing can have it (a pH is 0 to 14), words and times are only warned of."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx")
    sheet = sheets(openpyxl.load_workbook(path))[0]
    checks = {(c.type, c.errorStyle, c.formula1, c.formula2): c for c in sheet.sheet.data_validations.dataValidation}
    letter = sheet.cell(sheet.head, "ph").column_letter

    (ph,) = [key for key, c in checks.items() if letter in str(c.sqref) and key[0] == "decimal"]
    assert ph == ("decimal", "stop", "0", "14")
    assert {style for kind, style, *_ in checks if kind != "decimal"} == {"warning"}


def test_words_are_offered(tmp_path, register) -> None:
    """Every step cell has a list to choose from, and the list holds the pack's own steps and the machine's targets."""
    path = make("frozen-dessert-machine", register("frozen-dessert-machine"), tmp_path / "sheet.xlsx")
    book = openpyxl.load_workbook(path)
    words = {c.value for row in book["words"] for c in row}
    sheet = sheets(book)[0]
    lists = [c for c in sheet.sheet.data_validations.dataValidation if c.type == "list"]

    assert {"hand_wash", "sanitize_assembled", "wash", "freezing-cylinder", "chlorine"} <= words
    for row in range(sheet.head + 1, sheet.head + len(sheet.rows()) + 6):
        assert any(sheet.cell(row, "step").coordinate in c.sqref for c in lists), row


def test_other_readers_find_the_same_table(tmp_path, register) -> None:
    """calamine, through pandas, finds the header where the program does, with the same rows below it."""
    path = make("syrup-line-cip", register("syrup-line-cip"), tmp_path / "sheet.xlsx")
    sheet = sheets(openpyxl.load_workbook(path))[0]
    frame = pd.read_excel(path, sheet_name=0, header=sheet.head - 1, engine="calamine", dtype=str)

    assert list(frame.columns) == list(sheet.columns)
    assert frame["step"].dropna().tolist() == [sheet.cell(r, "step").value for r in sheet.rows()]


def test_the_same_sheet_is_the_same_bytes(tmp_path, register, hostile) -> None:
    """Workbook and page do not tell when they were made."""
    for name in ("sheet.xlsx", "sheet.pdf"):
        paths = [tmp_path / str(n) / name for n in (1, 2)]
        for path in paths:
            path.parent.mkdir(exist_ok=True)
            assert run([*hostile, "--output", str(path)]) == 0

        assert paths[0].read_bytes() == paths[1].read_bytes()
    with zipfile.ZipFile(tmp_path / "1" / "sheet.xlsx") as package:
        assert {member.date_time for member in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert package.read("docProps/core.xml").count(b">1980-01-01T00:00:00Z<") == 2


@pytest.mark.parametrize("pack", ["syrup-line-cip", "draught-line-cleaning", "frozen-dessert-machine"])
def test_the_rows_are_those_they_were(pack, tmp_path, register) -> None:
    """Order, words, hints and asked cells of a sheet, line by line, as in `golden/`."""
    path = make(pack, register(pack), tmp_path / "sheet.xlsx", "--now-and-then")
    sheet = sheets(openpyxl.load_workbook(path))[0]
    lines = [str(sheet.sheet.cell(r, 1).value) for r in range(1, sheet.head - 1)]
    for row in sheet.rows():
        own = {n: sheet.cell(row, n).value for n in sheet.columns if sheet.cell(row, n).value}
        given = [f"{n}={v}" for n, v in own.items() if n not in ("what_to_do", "what_is_asked", "store_id", "equipment_id", "procedure")]
        lines += ["", own["what_to_do"], f"    given  {', '.join(given)}", f"    asked  {', '.join(sheet.asked(row))}"]
        lines += [f"    {hint}" for hint in own.get("what_is_asked", "").split("\n") if hint]
    golden = Path(__file__).parent / "golden" / f"{pack}.txt"
    if os.environ.get("CIP_AUDIT_UPDATE_GOLDEN") == "1":
        golden.write_text("\n".join(lines) + "\n", "utf-8")

    assert golden.read_text("utf-8") == "\n".join(lines) + "\n"


# --- the page ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", (842, 595)), ("letter", (792, 612))])
def test_the_page_has_the_same_rows(paper, size, tmp_path, register) -> None:
    """The printed sheet has every row of the workbook in the same order, the cautions, and the size that was asked for."""
    text = register("syrup-line-cip")
    path = make("syrup-line-cip", text, tmp_path / "sheet.pdf", "--paper", paper, "--equipment", "BK-04-SYR-A")
    book = make("syrup-line-cip", text, tmp_path / "sheet.xlsx", "--equipment", "BK-04-SYR-A")
    (sheet,) = sheets(openpyxl.load_workbook(book))
    document = pypdf.PdfReader(path)
    said = " ".join(" ".join(page.extract_text() for page in document.pages).split())
    at = [said.index(f"{n} {sheet.cell(row, 'what_to_do').value}") for n, row in enumerate(sheet.rows(), 1)]

    assert at == sorted(at)
    assert "Never mix chlorine with an acid" in said
    assert tuple(round(float(v)) for v in document.pages[0].mediabox[2:]) == size


def test_a_letter_that_no_font_has_does_not_stop_the_page(hostile, tmp_path) -> None:
    """A name in letters that are not at hand still gives a page, with all that can be set."""
    register = tmp_path / "register.yaml"
    register.write_text(HOSTILE.replace("@SUM(A1)", "\U00010330\U00012000"), "utf-8")

    assert run([*hostile, "--output", str(tmp_path / "sheet.pdf")]) == 0
    assert "#panic() <b>" in pypdf.PdfReader(tmp_path / "sheet.pdf").pages[0].extract_text()


def test_texts_on_the_page_are_no_markup(hostile, tmp_path) -> None:
    """Names with signs of the page's own language stand on it as they are."""
    assert run([*hostile, "--output", str(tmp_path / "sheet.pdf")]) == 0
    said = " ".join(pypdf.PdfReader(tmp_path / "sheet.pdf").pages[0].extract_text().split())

    for text in ("=HYPERLINK(1) *bold*", "@SUM(A1) #panic() <b>", "$x$ no formula", "Flush =cmd|' /C calc'!A0"):
        assert text in said


# --- wrong usage ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (["--output", "sheet.txt"], "ends in .xlsx or .pdf"),
        (["--output", "s.xlsx", "--store", "XX"], "--store XX: the register has =1+1"),
        (["--output", "s.xlsx", "--equipment", "XX"], "--equipment XX: the register has -2+3"),
        (["--output", "s.xlsx", "--rules", "syrup-line-cip-x"], "is neither a bundled pack"),
    ],
)  # fmt: skip
def test_wrong_usage_is_told_in_a_sentence(more, sentence, hostile, tmp_path, capfd, monkeypatch) -> None:
    """Exit status 2 with what was found and what is there."""
    monkeypatch.chdir(tmp_path)

    assert run([*hostile, *more]) == 2
    assert sentence in capfd.readouterr().err


def test_a_register_without_a_machine_of_the_pack_is_told(tmp_path, capfd, register) -> None:
    """Machines of other profiles only: there is no sheet to write."""
    status = run(["sheet", "--rules", "syrup-line-cip", "--register", str(register("frozen-dessert-machine")), "--output",
                  str(tmp_path / "s.xlsx")])  # fmt: skip

    assert status == 2
    assert "no machine of the register" in capfd.readouterr().err
