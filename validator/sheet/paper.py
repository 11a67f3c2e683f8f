"""How does a record sheet become a page to print and write on by hand?

The same rows as the workbook has: what to do with what is asked of it, and a box for every cell; a box that no rule asks for is grey.
What is written once a cleaning stands at the end. Texts reach the page as data and are never read as markup.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from importlib.resources import files
from typing import Any

from validator.errors import WrongInput
from validator.language import parts, said, spoken, tr
from validator.reports.visible import sentence
from validator.sheet import Form, Row
from validator.sheet.asks import LABELS
from validator.tables import DOMAIN, TIMES

_ONCE = ("verified_by", "verified_at")
"""Signatures, for which the end of the sheet has room."""
_BOXES = ("started_at", "ended_at", "duration_s", "recorded_at", "performed_by", "note")
"""What nearly every row asks for, and so has a box of its own; all else is written behind its name."""
_UNITS = {
    "concentration_ppm": "ppm",
    "temperature_c": "°C",
    "temperature_f": "°F",
    "hardness_ppm": "ppm",
    "count_per_g": "per g",
}
_NAMES = {"concentration_ppm": "Strength", "temperature_c": "Temperature", "temperature_f": "Temperature", "hardness_ppm": "Hardness",
          "count_per_g": "Count"}  # fmt: skip
"""How a reading is called where its unit stands behind the blank."""
_SAYS = {
    "head": "Cleaning record: {title}", "page": "page {now}", "date": "Date", "care": "Take care",
    "do": "What to do, and what is asked", "readings": "Write down",
    "how": "Write while you work: start and end of each step, the readings as you see them, good or bad, and who did it. "
    "White boxes are asked for; where words stand side by side, circle the one that is true. Leave a step blank that was not done.",
}  # fmt: skip
"""What the page itself says; its names in braces are filled in on the page."""
_PAPER = {"a4": "a4", "letter": "us-letter"}


def render(forms: Sequence[Form], paper: str = "a4") -> bytes:
    """The forms as a PDF, each on pages of its own, `a4` or `letter`; the same bytes for the same forms.

    It is tagged for readers who listen (PDF/UA-1), unless a name has a letter that no font here has. Raises `WrongInput` where
    typst is not installed.
    """
    try:
        import typst
    except ImportError:
        raise WrongInput("a page to print needs the package typst; install it with: pip install typst") from None
    says = {part: tr(text, **{name: f"{{{name}}}" for _, name in parts(text) if name}) for part, text in _SAYS.items()}
    data = {
        "says": says,
        "lang": spoken(),
        "paper": _PAPER[paper],
        "title": forms[0].title if forms else "",
        "forms": [_form(f) for f in forms],
    }
    asked: dict[str, Any] = {"format": "pdf", "timestamp": 0, "sys_inputs": {"data": json.dumps(data)}}
    template = files("validator.sheet").joinpath("templates", "sheet.typ").read_bytes()
    try:
        written = typst.compile(template, pdf_standards=["ua-1"], **asked)
    except typst.TypstError:
        written = typst.compile(template, **asked)
    assert isinstance(written, bytes)
    return written


def _form(form: Form) -> dict[str, Any]:
    boxes = [c for c in form.columns if (c in _BOXES if form.rows else True)]
    return {
        "title": sentence(form.title),
        "machine": sentence(" > ".join(filter(None, (form.store_id, form.store_name, form.equipment_id)))),
        "intervals": [sentence(i) for i in form.intervals], "cautions": [sentence(c) for c in form.cautions],
        "boxes": [{"label": said(LABELS[c]), "width": "time" if c in TIMES else "number" if c in DOMAIN else "word"} for c in boxes],
        "rows": [
            {
                "do": sentence(r.do), "hints": [sentence(h) for h in r.hints], "blanks": list(_blanks(form, r)),
                "asked": [c in r.asked or c == "note" for c in boxes],
            }
            for r in form.rows
        ],
        "free": 3 if form.rows else 20, "once": [said(LABELS[c]) for c in form.columns if c in _ONCE and form.rows],
    }  # fmt: skip


def _blanks(form: Form, row: Row) -> Iterable[dict[str, str]]:
    """What a row asks for behind its name: a blank with its unit, words to choose from, or what is given."""
    for column in form.columns:
        words = row.choices.get(column, ())
        if column in (*_BOXES, *_ONCE) or (column in ("step", "target") and column not in row.asked):
            continue
        name = said(_NAMES.get(column, LABELS[column]))
        if words:
            yield {"name": name, "said": sentence(" / ".join(words).replace("_", " ")), "unit": "", "blank": ""}
        elif column in row.given:
            yield {"name": name, "said": sentence(row.given[column]), "unit": "", "blank": ""}
        elif column in row.asked:
            yield {
                "name": name,
                "said": "",
                "unit": said(_UNITS.get(column, "")),
                "blank": "short" if column in DOMAIN or column.endswith("unit") else "long",
            }
