"""A folder of pages that is written again: what the program left there goes, and nothing that is somebody's own."""

from __future__ import annotations

import hashlib
import json
import re
from html import unescape
from pathlib import Path

import pytest

from validator.cli import pages, run
from validator.reports import html

PACK = """\
pack: one-rule
procedure: cip
rules:
  - {id: T-FLUSH, title: Flush too short, kind: flush, grade: major, params: {targets: lines, min: PT15M}}
"""
HEADER = "store_id,equipment_id,cycle_id,procedure,step,target,started_at,ended_at\n"


@pytest.fixture
def write(tmp_path: Path, capfdbinary):
    """Write the pages of some stores to `pages/`, and say how it went: exit status and standard error."""
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")

    def written(*stores: str) -> tuple[int, str]:
        rows = (f"{s},E,c,cip,flush,line-1,2026-01-05T20:00,2026-01-05T20:15\n" for s in stores)
        (tmp_path / "log.csv").write_text(HEADER + "".join(rows), "utf-8")
        machines = "".join(f"  - {{store_id: {s}, timezone: UTC, equipment: [{{equipment_id: E, lines: [line-1]}}]}}\n" for s in stores)
        (tmp_path / "register.yaml").write_text("stores:\n" + machines, "utf-8")
        status = run(["check", str(tmp_path / "log.csv"), "--rules", str(tmp_path / "pack.yaml"), "--register",
                      str(tmp_path / "register.yaml"), "--as-of", "2026-01-31", "--output", f"html={tmp_path / 'pages'}/"])  # fmt: skip
        return status, capfdbinary.readouterr()[1].decode()

    return written


@pytest.fixture
def stores(tmp_path: Path, capfdbinary):
    """Write the pages of A and B by these logs, and give the text of the page of a store."""
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
    (tmp_path / "register.yaml").write_text("stores:\n" + "".join(
        f"  - {{store_id: {s}, name: Street of {s}, timezone: UTC, equipment: [{{equipment_id: E, lines: [line-1]}}]}}\n" for s in "AB"
    ), "utf-8")  # fmt: skip

    def written(**logs: str) -> dict[str, str]:
        for name, rows in logs.items():
            (tmp_path / f"{name}.csv").write_text(HEADER + rows if rows != BROKEN else rows, "utf-8")
        run(["check", *(str(tmp_path / f"{name}.csv") for name in logs), "--rules", str(tmp_path / "pack.yaml"), "--register",
             str(tmp_path / "register.yaml"), "--as-of", "2026-01-31", "--output", f"html={tmp_path / 'pages'}/"])  # fmt: skip
        capfdbinary.readouterr()
        return {store: " ".join(unescape(re.sub(r"<[^>]*>", " ", page(tmp_path, store).read_text("utf-8"))).split()) for store in "AB"}

    return written


GOOD = "{},E,c,cip,flush,line-1,2026-01-05T20:00,2026-01-05T20:15\n"
BAD = "B,E,d,cip,flush,line-1,noon,2026-01-05T20:15\n"
BROKEN = "\x00\x01"
NOT_READ = "1 row could not be used in full"


def test_a_page_says_nothing_of_files_of_other_stores(stores) -> None:
    """What could not be read in the file of B stands on the page of B, and the page of A counts what A has."""
    a, b = stores(a=GOOD.format("A"), b=GOOD.format("B") + BAD).values()

    assert NOT_READ not in a
    assert "Record defects" not in a
    assert f"In the files with rows of this store, other stores' rows included: {NOT_READ}; see Record defects." in b
    assert "Records 1 cycle at 1 machine The whole run 3 rows in 2 files: 1 not used in full" in a
    assert "a.csv" in a
    assert "b.csv" not in a


def test_a_file_of_several_stores_is_told_of_as_a_whole(stores) -> None:
    """Whose a row was that could not be read nobody knows; both pages say that they speak of the whole file."""
    for said in stores(both=GOOD.format("A") + GOOD.format("B") + BAD).values():
        assert f"other stores' rows included: {NOT_READ}" in said
        assert "Record defects This is about whole files, which may hold rows of other stores as well." in said
        assert "How the files were read This is about whole files, which may hold rows of other stores as well." in said


def test_a_file_that_could_not_be_read_is_told_of_as_of_the_whole_run(stores) -> None:
    """It may hold rows of any store."""
    a, _ = stores(a=GOOD.format("A"), b=GOOD.format("B"), c=BROKEN).values()

    assert "Of the whole run: 1 of 3 files was not read in full; the result does not cover the rest." in a


def test_a_store_without_a_row_shows_no_evidence(stores) -> None:
    """No cycle of B is in the records, so nothing is said of what they can show; its page bears its name."""
    a, b = stores(a=GOOD.format("A")).values()

    assert "Evidence 100 %" in a
    assert "Evidence" not in b
    assert "Records 0 cycles at 1 machine" in b
    assert "All stores B, Street of B" in b


def names(tmp_path: Path) -> list[str]:
    """The stores that have a page."""
    return sorted(p.name.rpartition("-")[0] for p in (tmp_path / "pages" / "stores").iterdir())


def page(tmp_path: Path, store: str) -> Path:
    (found,) = (tmp_path / "pages" / "stores").glob(f"{store}-*.html")
    return found


def test_the_page_of_a_store_that_is_gone_goes(write, tmp_path) -> None:
    """The second run knows two stores of three; what was removed is told, and the others are there."""
    assert write("A", "B", "C") == (0, "")
    assert write("A", "C") == (0, f"cip-audit: {tmp_path / 'pages'}: a page of an earlier run was removed\n")

    assert names(tmp_path) == ["A", "C"]
    assert write("D")[1].endswith(": 2 pages of an earlier run were removed\n")
    assert names(tmp_path) == ["D"]


def test_what_is_not_the_programs_own_stays(write, tmp_path) -> None:
    """A copy of a page under another name, a page that somebody changed, notes, and a file named as a page is."""
    write("A", "B", "C")
    stores = tmp_path / "pages" / "stores"
    page(tmp_path, "C").write_bytes(page(tmp_path, "C").read_bytes() + b"<!-- seen -->")
    own = {stores / "B-2026.html", stores / "notes.txt", stores / "B-0123abcd.html", tmp_path / "pages" / "index-old.html"}
    copied = page(tmp_path, "B").read_bytes()
    for path in own:
        path.write_bytes(copied)
    write("A")

    assert all(path.read_bytes() == copied for path in own)
    assert names(tmp_path) == ["", "A", "B", "B", "C"]


def test_a_link_is_not_followed(write, tmp_path) -> None:
    """A page that was replaced by a link to a file with the same bytes: link and file stay."""
    write("A", "B")
    gone = page(tmp_path, "B")
    kept = tmp_path / "kept.html"
    gone.rename(kept)
    gone.symlink_to(kept)

    assert write("A") == (0, "")
    assert (gone.is_symlink(), kept.is_file()) == (True, True)


def test_a_folder_of_stores_that_is_a_link_is_left_alone(write, tmp_path) -> None:
    """Nothing is removed in another folder."""
    write("A", "B")
    elsewhere = tmp_path / "elsewhere"
    (tmp_path / "pages" / "stores").rename(elsewhere)
    (tmp_path / "pages" / "stores").symlink_to(elsewhere)

    assert write("A") == (0, "")
    assert names(tmp_path) == ["A", "B"]


@pytest.mark.parametrize("store", ["TL-01", "..", "/etc/passwd", "é", "x" * 300, "a b&c", "-", "\ud800"])
def test_every_page_has_a_name_that_is_known_again(store: str) -> None:
    """Whatever a store is called."""
    assert pages.PAGE.fullmatch(f"stores/{html._file_name(store)}")


@pytest.mark.parametrize("path", ["../victim.html", "stores/../../victim.html", "/VICTIM", "stores/notes.html", "index.html", ""])
def test_a_list_that_names_anything_else_removes_nothing(write, tmp_path, path: str) -> None:
    """Whoever wrote the list: only names that the program gives to pages are looked at."""
    write("A", "B")
    victim = tmp_path / "victim.html"
    notes = tmp_path / "pages" / "stores" / "notes.html"
    for file in (victim, notes):
        file.write_bytes(b"mine")
    named = path.replace("/VICTIM", str(victim))
    (tmp_path / "pages" / pages.LIST).write_text(json.dumps({"pages": {named: hashlib.sha256(b"mine").hexdigest()}}), "utf-8")

    assert write("A") == (0, "")
    assert (victim.read_bytes(), notes.read_bytes()) == (b"mine", b"mine")
    assert (tmp_path / "pages" / "index.html").is_file()


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", '{"pages": []}', '{"pages": {"stores/A-00000000.html": 1}}', '{"pages": 7}', "[" * 100_000, "\x00\xff"],
)
def test_a_list_that_is_damaged_is_none(write, tmp_path, text: str) -> None:
    """No page is removed then, and the list is written anew."""
    write("A", "B")
    (tmp_path / "pages" / pages.LIST).write_bytes(text.encode("latin-1"))

    assert write("A") == (0, "")
    assert names(tmp_path) == ["A", "B"]
    assert list(pages.recorded(tmp_path / "pages")) == [f"stores/{page(tmp_path, 'A').name}"]


def test_a_list_that_is_a_link_is_refused(write, tmp_path) -> None:
    """It would be written through to somebody's file."""
    write("A")
    mine = tmp_path / "mine.json"
    (tmp_path / "pages" / pages.LIST).rename(mine)
    (tmp_path / "pages" / pages.LIST).symlink_to(mine)
    before = mine.read_bytes()
    status, said = write("A", "B")

    assert (status, mine.read_bytes()) == (2, before)
    assert f"{pages.LIST}: is a link" in said
