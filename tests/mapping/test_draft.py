"""What a draft proposes, and what it leaves open because a file cannot tell it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from validator.cli import run

from .exports import EXPORTS, canonical, story
from .test_same_story import judged, placed  # noqa: F401  # a fixture

STORE = {"store_id: ?": "store_id: TL-07", "procedure: ?": "procedure: periodic-cip"}
MACHINE = {'equipment_id: {join: [Site, Unit], with: "-"}': 'equipment_id: {join: [Site, Unit], with: "-"}'}
COMPLETED: dict[str, list[tuple[str, str]]] = {
    "titled_workbook": [*STORE.items(), ("after: started_at", "after: started_at")],
    "wide_log": [*STORE.items(), ("night_until: ?", 'night_until: "06:00"')],
    "decimal_commas": [*STORE.items(), ("temperature_c: {from: Temperatur, unit: ?}", "temperature_c: {from: Temperatur, unit: C}"),
                       ("Düsen: ?", "Düsen: nozzles"), ("timezone: ?", "timezone: America/Chicago")],
    "twelve_hours": STORE.items(),
    "sheet_a_month": [*STORE.items(), ("year: ?", "year: 2026")],
    "nested_json": [('strength", unit: ?}', 'strength", unit: "%"}'), ('temperature", unit: ?}', 'temperature", unit: F}')],
}  # fmt: skip


def complete(draft: str, answers) -> str:
    """The draft with its open lines answered: `# key: ?` becomes `key: answer`; nothing else is touched."""
    lines = []
    for line in draft.splitlines():
        found = re.match(r"( *)# (.*?)  # open: ", line)
        text = found and next((found[2].replace(old, new) for old, new in answers if old in found[2]), None)
        lines.append(found[1] + text if found and text is not None else line)
    return "\n".join(lines) + "\n"


@pytest.fixture
def draft(tmp_path: Path, capfdbinary):
    """`draft(name, data)`: the proposal for a file."""

    def go(name: str, data: bytes | str) -> str:
        (tmp_path / name).write_bytes(data if isinstance(data, bytes) else data.encode())
        status = run(["mapping", "draft", str(tmp_path / name)])
        out, err = capfdbinary.readouterr()
        assert status == 0, err.decode()
        return out.decode()

    return go


@pytest.mark.parametrize("name", EXPORTS)
def test_a_draft_completed_where_it_is_open_reads_the_same(judged, draft, name: str) -> None:  # noqa: F811
    """Only lines with a question mark are answered, and the findings are those of the canonical file."""
    rows = story()
    export = EXPORTS[name](rows)
    answers = list(COMPLETED[name])
    if name == "wide_log":  # which step and agent of three open ones is told by where they stand
        text = complete(draft(export.name, export.data), answers)
        for step, agent in (("", "chlorine"), ("flush", "chlorine"), ("sanitize", "chlorine")):
            if step:
                text = text.replace("# step: ?", f"step: {step}", 1)
            text = text.replace("# agent: ?", f"agent: {agent}", 1)
    else:
        text = complete(draft(export.name, export.data), answers)
    if name == "twelve_hours":  # the open line stands in place of the guess above it
        text = text.replace("      equipment_id: Unit", "      # equipment_id: Unit").replace("      # equipment_id: {join", "      equipment_id: {join")

    # a draft keeps degrees Fahrenheit as they are; here they are converted, since the canonical file has the other scale
    text = text.replace("temperature_f: {", "temperature_c: {")
    expected = judged("canonical.csv", canonical(rows, export.lengths))
    report = judged(export.name, export.data, text)

    assert report["record_defects"] == []
    assert placed(report) == placed(expected, export.places)


def test_days_that_are_all_low_leave_the_order_open(draft) -> None:
    """03/04 and 12/11 can be either; 13/04 on one more line cannot."""
    log = "Machine,Date,Start,What\nA,03/04/2026,20:00,Flushed\nA,12/11/2026,20:00,Flushed\n"

    assert re.search(r"^ +# dates: \?", draft("a.csv", log), re.M)
    assert re.search(r"^ +dates: dmy  # likely: 3 of 3", draft("b.csv", log + "A,13/04/2026,20:00,Flushed\n"), re.M)
    assert re.search(r"^ +dates: mdy  # likely: 3 of 3", draft("c.csv", log + "A,04/13/2026,20:00,Flushed\n"), re.M)


def test_the_zone_is_never_guessed(draft) -> None:
    """No draft has a line with a time zone that is not open."""
    text = draft("a.csv", "Machine,Started,What\nA,2026-04-03 20:00,Flushed\n")

    assert re.findall(r"^ *(#?) *timezone: (\S+)", text, re.M) == [("#", "?")]


def test_a_gallon_has_no_country(draft) -> None:
    """Its size is asked for, not taken."""
    text = draft("a.csv", "Machine,Started,What,Water (gal)\nA,2026-04-03 20:00,Mixed,2.5\n")

    assert "# product_unit or water_unit for 'Water (gal)': ?" in text


@pytest.mark.parametrize(("cells", "said"), [
    (("1,5", "12"), 'decimal: ","'), (("1,500", "2,250"), "# decimal: ?"), (("1.5", "12"), None),
])  # fmt: skip
def test_a_comma_is_read_only_where_it_can_mean_one_thing(draft, cells, said) -> None:
    """1,5 has a decimal comma; 1,500 may have a thousand or three decimals."""
    text = draft("a.csv", "Machine;Started;What;Reading\n" + "".join(f"A;2026-04-03 20:00;Mixed;{c}\n" for c in cells))

    assert (said in text) if said else ("decimal" not in text)


def test_a_bare_temperature_has_no_scale(draft) -> None:
    """65 may be °C or °F, so that the line is open; the name 'Temp F' tells."""
    log = "Machine,Started,What,{}\nA,2026-04-03 20:00,Mixed,65\n"

    assert re.search(r"# temperature_c: \{from: Temp, unit: \?\}", draft("a.csv", log.format("Temp")))
    assert re.search(r"^ +temperature_f: \{from: Temp F, unit: F\}", draft("b.csv", log.format("Temp F")), re.M)


def test_of_two_columns_that_could_be_the_machine_none_is_chosen(draft) -> None:
    """`Machine` and `Equipment` both bear usual names, and `check` refuses to choose as well."""
    text = draft("a.csv", "Store,Machine,Equipment,Step,Began\nS,Tower,E-1,flush,2026-05-04T20:00\n")

    assert "# equipment_id: ?  # open: which of them is it: 'Machine' or 'Equipment'?\n" in text
    assert not re.search(r"^ *equipment_id:", text, re.MULTILINE)


def test_a_column_with_a_scale_of_temperature_is_no_solution(draft) -> None:
    """`Solution °C` begins like the name of a solution; its cells are temperatures."""
    text = draft("a.csv", "Machine,Step,Began,Solution °C\nA,flush,2026-05-04T20:00,24\n")

    assert "temperature_c: {from: Solution °C, unit: C}" in text
    assert "solution_id" not in text


def test_no_column_of_a_row_of_minutes_is_passed_over(draft) -> None:
    """Machine and day tell the cleaning of lines that have minutes alone; the time of the row is named as not used."""
    text = draft("a.csv", "Machine,Date,Time,Line 1 (min),Line 2 (min)\nA,2026-05-04,20:00,16,15\n")

    assert 'cycle_id: {join: [Machine, Date], with: " "}' in text
    assert "not used: 'Time'" in text
    assert "a tick shows" not in text


def test_a_draft_is_the_same_every_time(draft) -> None:
    """The same file, the same bytes."""
    export = EXPORTS["titled_workbook"](story())

    assert draft(export.name, export.data) == draft(export.name, export.data)


def test_names_from_the_file_cannot_write_lines_of_their_own(draft) -> None:
    """A header with a line end, a quote and a comment sign stays one scalar, and the draft stays YAML."""
    from validator.documents import read_bytes

    hostile = '"x"": 1\n  timezone: UTC # \x1b[2J"'
    text = draft("a.csv", f"Machine,Started,What,{hostile}\nA,2026-04-03 20:00,Flushed,z\n".replace("\n  time", " time"))

    assert "\x1b" not in text
    assert set(read_bytes(text.encode(), "draft").data["files"][0]) <= {"match", "columns", "constants", "values"}


def test_a_number_with_a_fraction_is_no_line(draft) -> None:
    """`On` is in use for lines and for starts; 22.40 can be neither as it stands, and the mark of the clock is left open."""
    text = draft("a.csv", "Machine,Day,On,Step\nA,2026-05-04,22.40,flush\nB,2026-05-05,21.05,flush\n")

    assert not re.search(r"^ +target:", text, re.M)
    assert re.search(r"# not used: 'On': .*22\.40", text)
    assert "# clock_mark: \".\"  # open: ? if 'On' holds times of day" in text
