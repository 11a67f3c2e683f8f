"""What a reader of SI or US units sees: pairs as printed, everything recorded as it stands with the other unit beside it.

Printed pairs are those of FDA Food Code 4-501.114 (24 °C/75 °F, 38 °C/100 °F) and 7 Pa. Code 39.54(e) (65.6 °C/150 °F). Sizes are
those of NIST Handbook 44, Appendix C.
"""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile

import pytest

from validator.findings import Evidence, Quantity, Report, Required
from validator.reports import RENDERERS, pdf
from validator.reports.measures import Units, for_reader, in_units


@pytest.mark.parametrize(
    ("text", "si", "us"),
    [
        ("24 °C/75 °F or warmer", "24 °C or warmer", "75 °F or warmer"),
        ("75 °F/24 °C", "24 °C", "75 °F"),
        ("at least 150 °F (65.6 °C) for 30 minutes", "at least 65.6 °C for 30 minutes", "at least 150 °F for 30 minutes"),
        ("from 13 °C/55 °F to 24 °C/75 °F", "from 13 °C to 24 °C", "from 55 °F to 75 °F"),
        ("at 37.8 °C", "at 37.8 °C", "at 37.8 °C (100 °F)"),
        ("at 74 °F, pH 8", "at 74 °F (23.3 °C), pH 8", "at 74 °F, pH 8"),
        ("at -40 °C", "at -40 °C", "at -40 °C (-40 °F)"),
        ("32-43 °C", "32-43 °C", "32-43 °C (89.6-109.4 °F)"),
        ("32 to 43 °C.", "32 to 43 °C.", "32 to 43 °C (89.6 to 109.4 °F)."),
        ("good to ±1.5 °C", "good to ±1.5 °C", "good to ±1.5 °C (±2.7 °F)"),
        ("24 °C/24 °C", "24 °C/24 °C", "24 °C (75.2 °F)/24 °C (75.2 °F)"),
        ("100 ppm", "100 ppm", "100 ppm"),
        ("0.75 us_fl_oz in 2.5 us_gal of water", "0.75 us_fl_oz (22.2 mL) in 2.5 us_gal (9.46 L) of water",
         "0.75 us_fl_oz in 2.5 us_gal of water"),
        ("10 ml in 10 l of water", "10 ml in 10 l of water", "10 ml (0.338 US fl oz) in 10 l (2.64 US gal) of water"),
        ("1 imp_fl_oz in 1 imp_gal of water", "1 imp_fl_oz (28.4 mL) in 1 imp_gal (4.55 L) of water",
         "1 imp_fl_oz (0.961 US fl oz) in 1 imp_gal (1.2 US gal) of water"),
        ("5 g in ? (no unit) of water", "5 g in ? (no unit) of water", "5 g in ? (no unit) of water"),
        ("1 gal in 5 gal of water", "1 gal in 5 gal of water", "1 gal in 5 gal of water"),
    ],
)  # fmt: skip
def test_texts_in_both_units(text: str, si: str, us: str) -> None:
    """A pair shows the reader's side as printed; another figure stands, with the reader's unit beside it."""
    assert (in_units(text, "si"), in_units(text, "us")) == (si, us)


@pytest.fixture
def full(made):
    return made("full")


def with_texts(full, **changed):
    """The report with one finding, changed."""
    finding = dataclasses.replace(full.findings[0], **changed)
    return dataclasses.replace(full, findings=(finding,), cautions=("Water of 77 °C/171 °F scalds.",))


def test_a_finding_on_a_reading_of_the_other_scale_shows_its_pairs_whole(full) -> None:
    """37.9 °C is 100.2 °F and too cold by the printed 38 °C: beside the printed 100 °F alone it would look warm enough."""
    row = Evidence("log.csv", "", 2, ("temperature_c",), ("37.9",))
    asked = Required(None, None, "ppm", "38 °C/100 °F or warmer")
    report = with_texts(full, message="37.9 °C fits no row", required=asked, evidence=(row,))

    (american,) = for_reader(report, "us").findings
    (metric,) = for_reader(report, "si").findings
    assert (american.message, american.required.text) == ("37.9 °C (100.2 °F) fits no row", "38 °C/100 °F or warmer")
    assert (metric.message, metric.required.text) == ("37.9 °C fits no row", "38 °C or warmer")


def said(name: str, report: Report, units: Units) -> str:
    """What a format says; of a PDF, whose text is packed, what its pages are set from."""
    if name == "pdf":
        return pdf.data_of(for_reader(report, units)).decode()
    return shown(RENDERERS[name].render(report, units))


@pytest.mark.parametrize("name", sorted(RENDERERS))
def test_every_format_for_people_follows_and_those_for_programs_do_not(full, name: str) -> None:
    """What is for programs has one shape, whatever its reader likes."""
    report = with_texts(full)
    report = dataclasses.replace(report, actions=tuple(dataclasses.replace(a, cautions=(1,)) for a in full.actions))
    si, us = (said(name, report, units) for units in ("si", "us"))

    if RENDERERS[name].canonical:
        assert si == us
    else:
        assert "77 °C scalds" in si
        assert "171 °F scalds" in us


def test_json_keeps_pairs(full) -> None:
    """The archive holds what the pack says, whole."""
    assert "Water of 77 °C/171 °F scalds." in json.loads(RENDERERS["json"].render(with_texts(full), "us"))["cautions"]


def shown(written: bytes) -> str:
    """A file as text, a workbook by its sheets."""
    if not written.startswith(b"PK"):
        return written.decode("utf-8", "replace")
    with zipfile.ZipFile(io.BytesIO(written)) as package:
        return "".join(package.read(name).decode() for name in package.namelist())


def test_quantities_follow_and_a_margin_is_a_difference(full) -> None:
    """21 °C is 69.8 °F; 3 °C short is 5.4 °F short, not 37.4."""
    report = with_texts(full, observed=Quantity(21, "Cel"), required=Required(24, None, "Cel", ""), margin=Quantity(-3, "Cel"))
    (found,) = for_reader(report, "us").findings

    assert found.observed == Quantity(69.8, "[degF]")
    assert (found.required.min, found.required.unit) == (75.2, "[degF]")
    assert found.margin == Quantity(-5.4, "[degF]")
    assert for_reader(report, "si").findings == report.findings
