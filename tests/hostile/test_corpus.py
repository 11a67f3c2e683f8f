"""Every hostile file comes out as the manifest says: accepted, with defects, or refused; nothing lost, nothing hidden."""

from __future__ import annotations

import json
import re

import pytest

from validator.cli import run
from validator.packs.loading import load_pack
from validator.readers import read_files
from validator.readers.cells import as_text

from . import corpus, packs
from .csv_files import NUMBER_LIKE
from .plausible import COLUMNS

RECORDS = [pytest.param(e, id=e.file) for e in corpus.EXPECTED if not e.is_pack]
PACKS = [pytest.param(e, id=e.file) for e in corpus.EXPECTED if e.is_pack]
MOST_MIB, MOST_SECONDS = 600, 10


def test_the_manifest_names_every_file():
    """A file without an expectation proves nothing, and an expectation without a file neither."""
    assert sorted(e.file for e in corpus.EXPECTED) == sorted(corpus.BUILDERS)


def place(text: str) -> tuple[int, str]:
    """A place of the manifest as the report's row and column."""
    listed = re.fullmatch(r"\[(\d+)\]\.(\w+)", text)
    if listed:
        return int(listed[1]) + 1, listed[2]
    cell = re.fullmatch(r"([A-N])(\d+)", text)
    if cell:
        return int(cell[2]), COLUMNS[ord(cell[1]) - ord("A")]
    row, _, column = text.partition(":")
    return int(row), column.replace("*", "")


@pytest.mark.parametrize("expected", RECORDS)
def test_a_record_file(whole, expected):
    """Class, ledger, every damaged place with its code, and the words of the sentence."""
    line = next(i for i in whole.report["inputs"] if i["file"] == expected.file)
    mine = [d for d in whole.report["record_defects"] if d["file"] == expected.file]
    told = " | ".join([line["reason"], *line["assumptions"], *(d["message"] for d in mine),
                       *(n["message"] for n in whole.report["notices"] if expected.file in n["message"])])  # fmt: skip
    assert [word for word in expected.says if word not in told] == []
    if expected.outcome == "refused":
        assert (line["status"], line["reason"].partition(":")[0]) == ("refused", *expected.codes)
        assert line["rows"] == line["rows_used"] == line["rows_defective"] == 0
        assert [p for p in expected.places if p not in line["reason"]] == []
        assert "\n" not in line["reason"]
        return
    found = {(d["row"], d["column"]) for d in mine}
    wanted = [place(p) for p in expected.places]
    assert found == set(wanted)
    codes = expected.codes if len(expected.codes) == len(wanted) else expected.codes * len(wanted)
    at = {(d["row"], d["column"], d["code"]) for d in mine}
    assert [(*p, code) for p, code in zip(wanted, codes, strict=True) if (*p, code) not in at] == []
    bad = len({row for row, _ in wanted})
    assert (line["status"], line["rows"], line["rows_used"], line["rows_defective"], line["rows_blank"]) == (
        "read", expected.rows, expected.rows - bad, bad, expected.blank
    )  # fmt: skip
    assert (bad > 0) == (expected.outcome == "defects")


def test_the_run_as_a_whole(whole):
    """Some files were refused, so it ends in 4, without a word on standard error, within the memory of one file."""
    assert (whole.status, whole.err) == (4, "")
    assert max(whole.own_mib, whole.reader_mib) <= MOST_MIB
    assert whole.reader_seconds <= 3 * MOST_SECONDS  # over a hundred files together


def test_duplicates_are_counted_apart(audit):
    """A record sent three times is read three times and judged once."""
    line = audit("row_exact_duplicates.csv").report["inputs"][0]
    assert (line["rows"], line["rows_used"], line["rows_duplicate"]) == (5, 5, 2)


def test_no_records_is_no_pass(audit):
    """A header alone: nothing could be judged, and the report says so."""
    ran = audit("header_only.csv")
    assert ran.status == 3
    assert ran.report["summary"]["result"] != "met"
    assert ran.report["findings"]


BOMBS = (
    "xlsx_far_cell.xlsx", "xlsx_zip_bomb_text.xlsx", "xlsx_zip_bomb_rows.xlsx", "xlsx_lying_size.xlsx", "xlsx_many_entries.xlsx",
    "xlsx_billion_laughs.xlsx", "json_deep_nesting.json", "csv_1gib_single_line.csv.gz", "parquet_row_count_lie.parquet",
    "parquet_page_size_lie.parquet",
)  # fmt: skip


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_early(audit, name):
    """What asks for gigabytes is refused within two seconds of processor time and 200 MiB."""
    ran = audit(name)
    assert ran.report["inputs"][0]["status"] == "refused"
    assert (ran.reader_seconds < 2, ran.reader_mib < 200) == (True, True), (ran.reader_seconds, ran.reader_mib)


@pytest.mark.parametrize("expected", PACKS)
def test_a_pack(files, capfd, monkeypatch, expected):
    """A refused pack ends the run with sentences that name file and line; a sound one is used, its text as it stands."""
    monkeypatch.chdir(files)
    refused = expected.outcome == "refused"
    status = run(["rules", "lint", "--rules", expected.file] if refused else
                 ["check", "ok_baseline.csv", "--rules", expected.file, "--format", "json", "--as-of", "2026-12-31"])  # fmt: skip
    out, err = capfd.readouterr()
    if refused:
        assert status == 2
        assert all(line.startswith(f"cip-audit: {expected.file}") and len(line) < 1000 for line in err.splitlines())
        assert [word for word in (*expected.places, *expected.says) if word not in err] == []
    else:
        assert (status in (0, 1), err) == (True, "")
        assert json.loads(out)["packs"][0]["id"] == "hostile"


def test_a_refused_pack_ends_a_check_as_well(files, capfd, monkeypatch):
    """`check` says the same sentence as `rules lint`, and writes no report."""
    monkeypatch.chdir(files)
    assert run(["check", "ok_baseline.csv", "--rules", "packs/pack_long_number.yaml"]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert "expected a finite decimal number" in err


def test_words_that_a_loader_takes_for_truth_values(files):
    """NO, on, y, off are texts."""
    pack = load_pack(files / "packs/pack_norway.yaml")
    assert (pack.steps, pack.agents) == (frozenset({"NO", "on", "y"}), frozenset({"off", "N", "Yes"}))


def test_template_probes_stay_text(files):
    """A title that looks like a template of any language is that title."""
    pack = load_pack(files / "packs/pack_template_injection.yaml")
    assert pack.rules[0].rule.title == packs.PROBES


# --- what accepted files say ---------------------------------------------------------------------------------------


def table(path):
    (found,) = read_files([str(path)])
    return found.tables[0]


def texts(found, name):
    column = as_text(found.texts[name], len(found.rows))
    return [column.vocabulary[code] if code >= 0 else "" for code in column.codes]


def test_identifiers_come_out_as_they_stand(files):
    """What type guessing destroys: leading zeros, exponents, NA, null, truth values, dates, big numbers."""
    assert texts(table(files / "id_number_like.csv"), "store_id") == list(NUMBER_LIKE)


def test_three_values_around_a_limit(files):
    """A hair below 50, 50, and a hair above stay three values, each on its own side."""
    below, at, above = table(files / "num_limit_edges.csv").numbers["concentration_ppm"].tolist()
    assert (below < 50, at == 50, above > 50) == (True, True, True)


def test_a_negative_number_is_no_formula(files):
    """-3.5 in a column of numbers is a number."""
    assert table(files / "inj_formula.csv").numbers["temperature_c"].tolist()[-1] == -3.5


def test_the_end_of_a_day(files):
    """24:00 is midnight of the next day."""
    found = table(files / "dt_24_00.csv").times
    assert found["ended_at"][0] == found["started_at"][1]


def test_a_workbook_of_1904(files):
    """The first time is the evening of 1 March 2026."""
    assert table(files / "xlsx_dates_1904.xlsx").times["started_at"][0] == 1_772_401_200 * 1_000_000  # 21:40


def test_dates_a_hair_under_the_minute(files):
    """Both runs last five minutes."""
    found = table(files / "xlsx_date_rounding.xlsx").times
    assert (found["ended_at"] - found["started_at"]).tolist() == [300_000_000] * 2


def test_one_store_written_in_two_ways(files):
    """Composed and decomposed letters are one id."""
    assert len(set(texts(table(files / "uni_nfc_nfd.csv"), "store_id"))) == 1


def test_rich_text(files):
    """Runs are joined, escapes undone, reading aids left out."""
    assert texts(table(files / "xlsx_rich_text_escapes.xlsx"), "performed_by") == ["Ana Oduya", "first\r\nsecond", "=1+1"]
