"""On which scale does a reader see temperatures, and in which units the amounts of a mixing?

Nothing that was recorded or written is replaced. Of a published pair (`24 °C/75 °F`) the reader's side is shown as printed. Any
other figure that is not in the reader's units stands as it is, with the reader's beside it: `74 °F (23.3 °C)`. Where a finding
speaks of a reading on the other scale, its pairs are shown whole, since it was held against the other side.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Literal

from validator.findings import Citation, Finding, Quantity, Report, Required
from validator.language import Said
from validator.quantities import LITRES, plain_number

Units = Literal["si", "us"]
UNITS: tuple[Units, ...] = ("si", "us")
_SCALE = {"si": "C", "us": "F"}
_OTHER_COLUMN = {"si": "temperature_f", "us": "temperature_c"}
_FIGURE = r"\d+(?:\.\d+)?"
_PAIR = rf"(?P<one>{_FIGURE}) °(?P<of_one>[CF])(?P<sign>/| \()(?P<two>{_FIGURE}) °(?!(?P=of_one))[CF](?(sign)\)?)"
_SINGLE = (
    rf"(?P<plus>± ?)?(?:(?P<from>{_FIGURE})(?P<to>-| to | and | or ))?(?P<value>(?<!\d)-?{_FIGURE}) °(?P<scale>[CF])"
)
_TEMPERATURE = re.compile(rf"(?<![\d.])(?:{_PAIR}|{_SINGLE})")
_MIXED = re.compile(r"(?P<dose>\S+) (?P<dose_unit>\w+) in (?P<water>\S+) (?P<water_unit>\w+) of water")
_US = ("us_gal", "us_fl_oz")
_METRIC = ("l", "ml")
_SHOWN = {"us_gal": "US gal", "us_fl_oz": "US fl oz", "l": "L", "ml": "mL"}


def for_reader(report: Report, units: Units) -> Report:
    """The report as a reader of these units sees it; values, ids and rows stay what they are."""
    said: Callable[[str], str] = cache(lambda text: in_units(text, units))
    cited: Callable[[Citation], Citation] = cache(lambda citation: replace(citation, says=said(citation.says)))
    return replace(
        report,
        findings=tuple(_finding(finding, units, cited) for finding in report.findings),
        actions=tuple(replace(a, action=said(a.action), title=said(a.title)) for a in report.actions),
        checked=tuple(
            replace(
                rule,
                title=said(rule.title),
                corrective_action=said(rule.corrective_action),
                citations=tuple(cited(citation) for citation in rule.citations),
            )
            for rule in report.checked
        ),
        notices=tuple(replace(notice, message=said(notice.message)) for notice in report.notices),
        cautions=tuple(said(caution) for caution in report.cautions),
    )


def in_units(text: str, units: Units, *, whole: bool = False) -> str:
    """A text with its temperatures and mixed amounts as the reader sees them; `whole` leaves pairs as they are."""
    if isinstance(text, Said):
        return text.each(lambda word: in_units(word, units, whole=whole))
    if "°" in text:
        text = _TEMPERATURE.sub(lambda found: _temperature(found, _SCALE[units], whole), text)
    if " of water" in text:
        text = _MIXED.sub(lambda found: _amounts(found, units), text)
    return text


def _finding(finding: Finding, units: Units, cited: Callable[[Citation], Citation]) -> Finding:
    recorded = (pair for row in finding.evidence for pair in zip(row.columns, row.values, strict=False))
    whole = any(column == _OTHER_COLUMN[units] and value for column, value in recorded)

    def said(text: str) -> str:
        return in_units(text, units, whole=whole)

    asked = finding.required
    return replace(
        finding,
        title=said(finding.title), message=said(finding.message), corrective_action=said(finding.corrective_action),
        deviation=None if finding.deviation is None else said(finding.deviation),
        required=None if asked is None else _required(replace(asked, text=said(asked.text)), units),
        observed=_quantity(finding.observed, units), margin=_quantity(finding.margin, units, difference=True),
        citations=tuple(cited(citation) for citation in finding.citations),
    )  # fmt: skip


def _temperature(found: re.Match[str], scale: str, whole: bool) -> str:
    if found["one"] is not None:
        if whole:
            return found[0]
        return f"{found['one'] if found['of_one'] == scale else found['two']} °{scale}"
    if found["scale"] == scale:
        return found[0]
    plus = found["plus"] or ""
    ends = [_on_scale(found[name], scale, bool(plus)) for name in ("from", "value") if found[name] is not None]
    return f"{found[0]} ({plus}{(found['to'] or '').join(ends)} °{scale})"


def _on_scale(figure: str, scale: str, difference: bool) -> str:
    """A figure of the other scale on this one, to a tenth of a degree."""
    exact, melting = Fraction(figure), 0 if difference else 32
    there = exact * 9 / 5 + melting if scale == "F" else (exact - melting) * 5 / 9
    return plain_number(float(round(there, 1)))


def _quantity(quantity: Quantity | None, units: Units, *, difference: bool = False) -> Quantity | None:
    if quantity is None or units == "si" or quantity.unit != "Cel" or isinstance(quantity.value, str):
        return quantity
    return Quantity(float(_on_scale(str(quantity.value), "F", difference)), "[degF]")


def _required(asked: Required, units: Units) -> Required:
    if units == "si" or asked.unit != "Cel":
        return asked
    low, high = (None if end is None else float(_on_scale(str(end), "F", False)) for end in (asked.min, asked.max))
    return replace(asked, min=low, max=high, unit="[degF]")


def _amounts(found: re.Match[str], units: Units) -> str:
    dose, water = (
        found[name] + " " + found[f"{name}_unit"] + _beside(found[name], found[f"{name}_unit"].casefold(), units)
        for name in ("dose", "water")
    )
    return f"{dose} in {water} of water"


def _beside(amount: str, unit: str, units: Units) -> str:
    """A volume of other units in the reader's, to three digits, as an addition in brackets."""
    large, small = _US if units == "us" else _METRIC
    if unit not in LITRES or unit in (large, small) or not re.fullmatch(_FIGURE, amount):
        return ""
    litres = float(amount) * LITRES[unit]
    shown = large if litres >= LITRES[large] else small
    return f" ({litres / LITRES[shown]:.3g} {_SHOWN[shown]})"
