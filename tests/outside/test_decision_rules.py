"""Conformity decisions under uncertainty: simple acceptance and guarded acceptance.

ISO/IEC Guide 98-4 (JCGM 106:2012) and ISO 14253-1, as ILAC-G8:09/2019 4.2.1 and 4.2.2 sum them up: simple acceptance
takes the value as it stands; guarded, conformity is proved only where the whole range lies inside the limits, and
non-conformity only where it lies outside; between the two nothing is proved. A reading of a test strip stands for a
cell of values, never for a point with a normal error.
"""

from __future__ import annotations

import pytest
from scipy.integrate import quad
from scipy.stats import norm

from validator.quantities import conformance_probability

HEADER = "store_id,equipment_id,cycle_id,step,target,started_at,ended_at,agent,concentration_ppm\n"


def strip_pack(limits: str, cells: str) -> str:
    return (
        "pack: t\nprocedure: p\nrules:\n  - id: T\n    title: t\n    kind: concentration\n    params:\n"
        f"      agent: chlorine\n      {limits}\n      strip: {{blocks: [0, 10, 50, 100, 200], cells: {cells}}}\n"
    )


def reading(ppm: float) -> str:
    return HEADER + f"S,E,c,sanitize,,2026-01-05T20:00:00Z,2026-01-05T20:10:00Z,chlorine,{ppm}\n"


def only(found) -> str:
    (status,) = {c[4] for c in found}
    return status


BAND_50_100, BAND_50_200, FROM_100 = "min: 50\n      max: 100", "min: 50\n      max: 200", "min: 100"
CANNOT = "not_observed within_uncertainty"


@pytest.mark.parametrize(
    ("limits", "cells", "expected"),
    [
        # blocks 0, 10, 50, 100, 200: the cells of 50, 100, 200 are [30, 75), [75, 150), [150, inf) by nearest block and
        # (10, 100), (50, 200), (100, inf) by adjacent block (interval censoring; recomputed by hand)
        (BAND_50_100, "nearest", {50: CANNOT, 100: CANNOT, 200: "out outside"}),
        (BAND_50_200, "nearest", {50: CANNOT, 100: "in", 200: CANNOT}),
        (FROM_100, "nearest", {50: "out outside", 100: CANNOT, 200: "in"}),
        (BAND_50_200, "adjacent", {50: CANNOT, 100: "in", 200: CANNOT}),
    ],
)
def test_strip_cells(judge, limits, cells, expected) -> None:
    """Read 100 with 50 to 100 asked is no pass under a strict reading; under the simple rule it is."""
    pack = strip_pack(limits, cells)

    assert expected == {ppm: only(judge(pack, reading(ppm), decision="guarded", reasons=True)) for ppm in expected}
    assert only(judge(strip_pack(BAND_50_100, "nearest"), reading(100))) == "in"


@pytest.mark.parametrize(
    ("ppm", "expected"), [(94, "out"), (95, "not_observed"), (104, "not_observed"), (105, "in"), (195, "in"), (196, "not_observed")]
)
def test_an_instruments_stated_uncertainty(judge, ppm, expected) -> None:
    """100 to 200 asked, +/- 5 known: proved inside from 105 to 195, outside up to 95 (not at it), between neither."""
    pack = strip_pack("min: 100\n      max: 200", "nearest").replace(
        "strip: {blocks: [0, 10, 50, 100, 200], cells: nearest}", "uncertainty: {concentration_ppm: 5}"
    )

    assert only(judge(pack, reading(ppm), decision="guarded")) == expected


# JCGM 106:2012, 7.2 to 7.5 and Table 1: inputs and published figures as remembered, each worked out anew with scipy's
# normal distribution below
EXAMPLES = [
    ("breakdown of a diode, at most -5.40 V", -5.47, 0.05, None, -5.40, 0.92, 0.005),
    ("burst pressure of a container, at least 490 kPa", 507, 10, 490, None, 0.96, 0.005),
    ("viscosity of an oil, 12.5 to 16.3 mm2/s", 13.6, 1.8, 12.5, 16.3, 0.66, 0.005),
]


@pytest.mark.parametrize(("what", "value", "u", "low", "high", "published", "within"), EXAMPLES)
def test_conformance_probability_of_the_guides_examples(what, value, u, low, high, published, within) -> None:
    """The guide's figure to its two digits, and scipy's to twelve."""
    found = conformance_probability(value, u, low, high)
    between = (norm.cdf(high, value, u) if high is not None else 1) - (norm.cdf(low, value, u) if low is not None else 0)

    assert found == pytest.approx(published, abs=within), what
    assert found == pytest.approx(between, abs=1e-12)


@pytest.mark.parametrize(("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_distance_from_a_limit_that_a_probability_asks_for(probability, z) -> None:
    """JCGM 106 Table 1 (from memory): so many standard uncertainties below an upper limit conform so probably."""
    assert conformance_probability(-z, 1, None, 0) == pytest.approx(probability, abs=0.002)


def test_guarded_rejection_of_a_speed() -> None:
    """JCGM 106, speed limit of 100 km/h, u = 2 %, 99.9 % asked (from memory: 107 km/h): above 106.6 it is proved."""
    def keeps(speed: float) -> float:
        return conformance_probability(speed, 0.02 * speed, None, 100)

    assert keeps(106.5) > 0.001 > keeps(106.6)


def test_global_risks_of_the_guides_resistors() -> None:
    """JCGM 106, 9.5 (from memory: about 2 % and 4 %; worked out anew by two other ways: 0.018942 and 0.037208).

    1500 ohm, +/- 0.2, made with a deviation of 0.12 and measured with 0.04: what a buyer gets that does not conform, and what a
    maker throws away that does.
    """
    def accepted(true: float) -> float:
        return conformance_probability(true, 0.04, 1499.8, 1500.2)

    def made(true: float) -> float:
        return float(norm.pdf(true, 1500, 0.12))

    buyer = sum(quad(lambda t: made(t) * accepted(t), *ends)[0] for ends in ((1499, 1499.8), (1500.2, 1501)))
    maker = quad(lambda t: made(t) * (1 - accepted(t)), 1499.8, 1500.2)[0]

    assert (buyer, maker) == (pytest.approx(0.018942, abs=1e-6), pytest.approx(0.037208, abs=1e-6))


def test_a_reading_that_cannot_be_decided_says_how_likely_it_is(judge_report) -> None:
    """99 ppm, +/- 2 (95 %), at least 100 asked: one standard uncertainty short, 16 % (1 - Phi(1))."""
    pack = strip_pack("min: 100", "nearest").replace(
        "strip: {blocks: [0, 10, 50, 100, 200], cells: nearest}", "uncertainty: {concentration_ppm: 2}"
    )
    (message,) = judge_report(pack, reading(99), "guarded")

    assert message.endswith("it lies inside with a probability of 16 %")


FLUSH = "pack: t\nprocedure: p\nrules:\n  - {id: T, title: t, kind: flush, params: {targets: [a], min: PT15M}}\n"


@pytest.mark.parametrize(
    ("end", "simple", "guarded"),
    [
        ("20:16", "in", "in"), ("20:15", "in", CANNOT), ("20:14", "out too_short", CANNOT),
        ("20:13", "out too_short", "out too_short"),
        ("20:15:02", "in", "in"), ("20:15:00.5", "in", CANNOT), ("20:14:58.5", "out too_short", "out too_short"),
    ],
)  # fmt: skip
def test_a_duration_between_two_stamps_is_known_to_their_resolution(judge, end, simple, guarded) -> None:
    """Stamps on whole minutes: 15 minutes may be 14 or 16; with seconds: a second either way."""
    log = HEADER + f"S,E,c,flush,a,2026-01-05T20:00Z,2026-01-05T{end}Z,,\n"
    if end.count(":") == 2:  # a column is read to the second once any of its stamps is
        log += "S,E,c,flush,b,2026-01-05T19:00:01Z,2026-01-05T19:00:02Z,,\n"

    assert only(judge(FLUSH, log, reasons=True)) == simple
    assert only(judge(FLUSH, log, decision="guarded", reasons=True)) == guarded


def test_rows_that_seem_to_touch_may_lie_apart(judge) -> None:
    """Two rows of ten minutes that meet on a whole minute are twenty in one piece only if they really met."""
    log = HEADER + ("S,E,c,flush,a,2026-01-05T20:00Z,2026-01-05T20:10Z,,\nS,E,c,flush,a,2026-01-05T20:10Z,2026-01-05T20:20Z,,\n")

    assert only(judge(FLUSH, log)) == "in"
    assert only(judge(FLUSH, log, decision="guarded", reasons=True)) == CANNOT


ORDER = (
    "pack: t\nprocedure: p\nrules:\n"
    "  - {id: T, title: t, kind: order, params: {relations: [{first: wash, then: sanitize, per: cycle}]}}\n"
)


@pytest.mark.parametrize(
    ("start", "expected"), [("20:11", "in"), ("20:10", CANNOT), ("20:09", CANNOT), ("20:08", "out wrong_order")]
)
def test_order_on_whole_minutes(judge, start, expected) -> None:
    """Sanitizing that begins within a minute of the end of the washing proves neither order."""
    log = HEADER + f"S,E,c,wash,,2026-01-05T20:00Z,2026-01-05T20:10Z,,\nS,E,c,sanitize,,2026-01-05T{start}Z,2026-01-05T20:30Z,,\n"

    assert only(judge(ORDER, log, decision="guarded", reasons=True)) == expected
