"""Every format of every report made by hand, byte for byte.

Set `CIP_AUDIT_UPDATE_GOLDEN=1` to write the files in `golden/` anew, and read the changes before keeping them.
"""

from __future__ import annotations

import hashlib
import io
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from validator.findings import Report
from validator.reports import RENDERERS, html, json_, pdf, text

GOLDEN = Path(__file__).parent / "golden"
Made = Callable[[str], Report]


def same_as(path: Path, written: bytes) -> None:
    if written.startswith(b"PK"):  # how a file is packed differs between builds of zlib; its parts do not
        path, written = path.with_name(f"{path.name}.parts"), parts(written)
    if os.environ.get("CIP_AUDIT_UPDATE_GOLDEN") == "1":
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(written)

    assert path.read_bytes() == written


def parts(workbook: bytes) -> bytes:
    """The parts of a workbook that tell of its report, as text."""
    with zipfile.ZipFile(io.BytesIO(workbook)) as package:
        names = [name for name in package.namelist() if "sheet" in name or name == "xl/workbook.xml"]
        told = [f"== {name}\n".encode() + package.read(name).replace(b"</row>", b"</row>\n") for name in names]
    return b"\n".join(told) + b"\n"


@pytest.mark.parametrize("report", ["full", "since", "clean", "empty", "unobserved"])
@pytest.mark.parametrize("format_", [name for name in RENDERERS if name != "pdf"])
def test_every_format_writes_the_bytes_it_wrote_before(made: Made, report: str, format_: str) -> None:
    """A renderer shows the same report in the same bytes."""
    renderer = RENDERERS[format_]

    same_as(GOLDEN / f"{report}.{renderer.extension}", renderer.render(made(report)))


@pytest.mark.parametrize("format_", sorted(set(RENDERERS) - {"pdf"}))
def test_hostile_text_in_every_field_is_written_as_before(made: Made, format_: str) -> None:
    """Two findings in one file, one of no row, and in every field what could act on its reader."""
    renderer = RENDERERS[format_]

    same_as(GOLDEN / f"few-hostile.{renderer.extension}", renderer.render(made("few-hostile")))


@pytest.mark.parametrize("format_", list(RENDERERS))
def test_the_same_report_gives_the_same_bytes(made: Made, format_: str) -> None:
    """No clock, no order of a set, no name of this machine goes into a file."""
    assert RENDERERS[format_].render(made("full")) == RENDERERS[format_].render(made("full"))


@pytest.mark.parametrize("report", ["drawn", "unread", "hostile"])
@pytest.mark.parametrize("format_", ["html", "json"])
def test_pictures_and_odd_reports_keep_their_bytes(made: Made, report: str, format_: str) -> None:
    """A report with pictures, one without a usable row, and one with markup and controls in every field."""
    renderer = RENDERERS[format_]

    same_as(GOLDEN / f"{report}.{renderer.extension}", renderer.render(made(report)))


@pytest.mark.parametrize("format_", sorted(set(RENDERERS) - {"pdf"}))
def test_ten_thousand_letters_in_every_field_keep_their_bytes(made: Made, format_: str) -> None:
    """What is kept is their hash: the files themselves would be the largest of the tree."""
    renderer = RENDERERS[format_]
    written = renderer.render(made("huge"))
    told = parts(written) if renderer.binary else written

    same_as(GOLDEN / f"huge.{renderer.extension}.sha256", f"{hashlib.sha256(told).hexdigest()} {len(told)}\n".encode())


def test_a_folder_of_pages_keeps_its_bytes_and_names(made: Made) -> None:
    """The page of all stores and a page a store, by their relative paths."""
    for path, written in html.render_folder(made("drawn")):
        same_as(GOLDEN / "folder" / path.replace("/", "-"), written)


@pytest.mark.parametrize("report", ["drawn", "clean", "empty"])
def test_what_is_set_on_paper_keeps_its_bytes(made: Made, report: str) -> None:
    """What the pages of a PDF are set from; the file itself hangs on the version of the typesetter."""
    same_as(GOLDEN / f"{report}.paper.json", pdf.data_of(made(report)))


@pytest.mark.parametrize("width", [80, 120])
def test_text_keeps_its_layout_at_the_usual_widths(made: Made, width: int) -> None:
    """The text is laid out for the width it is given."""
    same_as(GOLDEN / f"full-{width}.txt", text.render(made("full"), width=width))


@pytest.mark.parametrize(
    "format_", [n for n, r in RENDERERS.items() if r.grouped and not r.canonical and n != "pdf"]
)
def test_findings_can_be_grouped_by_the_plan(made: Made, format_: str) -> None:
    """By the plan, what is critical to control comes first, then the prerequisites; an archived report does the same."""
    archived = json_.load(RENDERERS["json"].render(made("full")))
    renderer = RENDERERS[format_]

    same_as(GOLDEN / f"full-plan.{renderer.extension}", renderer.render(archived, group="plan"))


def test_every_renderer_is_named_as_its_key_and_described() -> None:
    """The registry can be listed as it stands."""
    listed = [(key, bool(renderer.extension and renderer.description)) for key, renderer in RENDERERS.items()]

    assert [(renderer.name, True) for renderer in RENDERERS.values()] == listed


def test_every_module_that_renders_is_registered() -> None:
    """No module with a `render` of its own is missing from the registry."""
    folder = Path(text.__file__).parent
    found = {path.stem for path in folder.glob("*.py") if "\ndef render(" in path.read_text(encoding="utf-8")}

    assert {renderer.module.rpartition(".")[2] for renderer in RENDERERS.values()} == found
