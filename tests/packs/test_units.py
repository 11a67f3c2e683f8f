"""Limits with their units in packs and registers: what is read, what is refused in which words, and what editors accept."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from validator.documents import as_json, load, read_bytes
from validator.errors import WrongInput
from validator.kinds import concentration, contact
from validator.packs.model import PackFile
from validator.schemas import faults_by_schema

PACK = "pack: p\nversion: 1.0.0\nprocedure: cip\nrules:\n  - id: T-A\n    title: t\n    kind: {kind}\n    params: {params}\n"


def refused(tmp_path, kind: str, params: str) -> str:
    from validator.packs.loading import load_pack

    path = tmp_path / "pack.yaml"
    path.write_text(PACK.format(kind=kind, params=params), "utf-8")
    with pytest.raises(WrongInput) as wrong:
        load_pack(path)
    (only,) = wrong.value.faults
    return only.removeprefix(f"{path} ")


@pytest.mark.parametrize(
    ("params", "said"),
    [
        ("{agent: a, min: 24 °C}", "line 8: rules[0].params.min: found '24 °C'; a strength is due, as 100 ppm, 500 mg/L or 2 %"),
        ("{agent: a, min: 5 gal}", "line 8: rules[0].params.min: found '5 gal'; gal has no one size in all countries, "
                                   "write us_gal, imp_gal, us_fl_oz, imp_fl_oz or oz_av"),
        ("{agent: a, min: 1 oz/us_gal}", "line 8: rules[0].params.min: found '1 oz/us_gal'; oz has no one size in all countries, "
                                         "write us_gal, imp_gal, us_fl_oz, imp_fl_oz or oz_av"),
        ("{agent: a, min: 5 us_gal}", "line 8: rules[0].params.min: found '5 us_gal'; a strength is due, as 100 ppm, 500 mg/L or 2 %"),
        ("{agent: a, min: 5 drops}", "line 8: rules[0].params.min: found '5 drops'; drops is no unit of a strength, "
                                     "write 100 ppm, 500 mg/L or 2 %"),
        ("{agent: a, min: 1e999 %}", "line 8: rules[0].params.min: found '1e999 %'; expected a finite number"),
        ("{agent: a, table: [{temperature_c: {min: 100 ppm}}]}",
         "line 8: rules[0].params.table[0].temperature_c.min: found '100 ppm'; a temperature is due, as 24 °C, 75 °F or the "
         "published pair 24 °C/75 °F"),
        ("{agent: a, table: [{temperature_c: {min: 24 °C/57 °F}}]}",
         "line 8: rules[0].params.table[0].temperature_c.min: found '24 °C/57 °F'; 24 °C is 75.2 °F, and a pair is one "
         "temperature on both scales"),
        ("{agent: a, table: [{temperature_c: {min: 24 °C/75 °C}}]}",
         "line 8: rules[0].params.table[0].temperature_c.min: found '24 °C/75 °C', two temperatures on one scale; write 24 °C, "
         "75 °F or the published pair 24 °C/75 °F"),
        ("{agent: a, table: [{temperature_c: {min: 100 °F, max: 24 °C}}]}",
         "line 8: rules[0].params.table[0].temperature_c: min 100 °F is above max 24 °C; no value fits"),
        ("{agent: a, max: 5, product_percent: 5 ppm}",
         "line 8: rules[0].params.product_percent: found '5 ppm'; a product's strength is in percent, as 5.25 %"),
    ],
)  # fmt: skip
def test_a_wrong_unit_is_one_plain_sentence(tmp_path, params: str, said: str) -> None:
    """File, line, key, what was found, what may stand there."""
    assert refused(tmp_path, "concentration", params) == said


def test_a_wrong_unit_deep_in_a_contact_table_names_its_own_key(tmp_path) -> None:
    """The key is that of the value, not of the table around it."""
    params = "{min: [{at_least: PT10S}, {at_least: PT7S, temperature_c: {min: 7 ppm}}]}"

    assert refused(tmp_path, "contact", params).startswith(
        "line 8: rules[0].params.min[1].temperature_c.min: found '7 ppm'; a temperature is due"
    )


def test_limits_are_read_in_every_form() -> None:
    """Plain, with a unit, as a pair or a list; a plain number is in the column's own unit."""
    table = [{"min": "2 %", "temperature_c": {"min": form}} for form in ("24 °C/75 °F", ["75 °F", "24 °C"], "24°C / 75°F")]
    lines = concentration.Params.model_validate({"agent": "a", "table": table}).table
    rows = contact.Params.model_validate({"min": [{"at_least": "PT7S", "concentration_ppm": {"min": "50 mg/L"}}]}).min

    assert {line.min for line in lines} == {20_000}
    assert {(line.temperature_c.min.celsius, line.temperature_c.min.fahrenheit) for line in lines} == {(24, 75)}
    assert rows[0].concentration_ppm.min == 50


@pytest.mark.parametrize(
    ("params", "fits"),
    [
        ("{agent: a, min: 100}", True), ("{agent: a, min: 100 ppm}", True), ("{agent: a, min: 2 %}", True),
        ("{agent: a, min: 0.5 g/us_gal}", True), ("{agent: a, min: 24 °C}", False), ("{agent: a, min: much}", False),
        ("{agent: a, table: [{temperature_c: {min: 24 °C/75 °F}}]}", True),
        ("{agent: a, table: [{temperature_c: {min: [24 °C, 75 °F]}}]}", True),
        ("{agent: a, table: [{temperature_c: {min: 75 °F}}]}", True),
        ("{agent: a, table: [{temperature_c: {min: 24}}]}", True),
        ("{agent: a, table: [{temperature_c: {min: 100 ppm}}]}", False),
        ("{agent: a, table: [{ph: {max: 10, unrecorded: met}}]}", True),
        ("{agent: a, table: [{ph: {max: 10, unrecorded: maybe}}]}", False),
    ],
)  # fmt: skip
def test_editors_accept_what_is_read(tmp_path, params: str, fits: bool) -> None:
    """The stored schema and the model agree on units."""
    source = read_bytes(PACK.format(kind="concentration", params=params).encode(), "pack.yaml")
    load(PackFile, source)

    assert (faults_by_schema("pack", as_json(source.data)) == []) is fits
    if not fits:
        assert refused(tmp_path, "concentration", params)


def test_a_register_may_give_a_limit_with_its_unit(judge) -> None:
    """0.01 % is 100 ppm: it tightens 50 ppm, and 0.004 % does not."""
    pack = "pack: p\nprocedure: cip\nrules: [{id: R, title: t, kind: concentration, params: {agent: quat, min: 50 ppm}}]"
    row = "store_id,equipment_id,cycle_id,step,started_at,agent,concentration_ppm\nS,E,c,test_solution,2026-01-05T20:00Z,quat,"
    register = "stores: [{{store_id: S, timezone: UTC, equipment: [{{equipment_id: E, limits: {{R: {{min: {}}}}}}}]}}]"

    assert {c[4] for c in judge(pack, row + "100", register.format("0.01 %"))} == {"in"}
    assert {c[4] for c in judge(pack, row + "99.9", register.format("0.01 %"))} == {"out"}
    with pytest.raises(WrongInput, match=r"limits\.R\.min: found 0\.004 %, which does not tighten"):
        judge(pack, row + "99.9", register.format("0.004 %"))
    with pytest.raises(WrongInput, match=r"limits\.R\.min: found '24 °C'; a strength is due"):
        judge(pack, row + "99.9", register.format("24 °C"))


def test_no_bundled_pack_needs_the_library_of_units() -> None:
    """What is written in the column's own unit, in % or as a pair is read without loading it: that takes half a second."""
    code = (
        "import sys; from validator.packs.loading import bundled_packs, load_pack; [load_pack(p) for p in bundled_packs()];"
        "from validator import units; units.strength('2 %'), units.temperature('75 °F'); print('pint' in sys.modules);"
        "units.strength('1 g/L'); print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=dict(os.environ), check=True)

    assert done.stdout.split() == ["False", "True"]
