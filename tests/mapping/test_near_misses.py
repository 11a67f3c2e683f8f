"""What a mapping does not read: a cell that is not written as it says is a defect of its row, never a guess."""

from __future__ import annotations

import pytest

from validator.errors import Unreadable

BASE = """\
columns:
  equipment_id: Machine
  step: What
  started_at: At
  {}
constants: {{store_id: S}}
"""


def one(reading, column: str, mapping: str, cell: str, more: str = ""):
    """One row whose column `X` holds a cell."""
    quoted = '"' + cell.replace('"', '""') + '"'
    text = BASE.format(f"{column}: {mapping}") + more
    return reading(f"Machine,What,At,X\nA,flush,2026-06-01T20:00,{quoted}\n", text)


@pytest.mark.parametrize(("cell", "more", "said"), [
    ("2026-06-01 20:15", "", "2026-06-01T20:15:00"),
    ("01.06.2026 20:15", "dates: dmy", "2026-06-01T20:15:00"),
    ("06/01/2026 8:15 pm", "dates: mdy", "2026-06-01T20:15:00"),
    ("26/06/01 20:15:59", "dates: ymd", "2026-06-01T20:15:59"),
    ("1 Jun 2026, 8:15 PM", "", "2026-06-01T20:15:00"),
    ("June 1, 2026 12:05 am", "", "2026-06-01T00:05:00"),
    ("01.06.26 12:00 pm", "dates: dmy", "2026-06-01T12:00:00"),
    ("01.06.2026 24:00", "dates: dmy", "2026-06-02T00:00:00"),
    ("29.02.2028 20:00", "dates: dmy", "2028-02-29T20:00:00"),
    ("31.12.2026 23:59:59", "dates: dmy", "2026-12-31T23:59:59"),
    ("12/13/2026 20:00", "dates: mdy", "2026-12-13T20:00:00"),
    ("01.06. 20:15", "dates: dmy\nyear: 2026", "2026-06-01T20:15:00"),
])  # fmt: skip
def test_moments_that_are_read(reading, cell: str, more: str, said: str) -> None:
    """Each way of writing a moment that a mapping can state."""
    read = one(reading, "ended_at", "X", cell, more)

    assert (read.column("ended_at"), read.faults) == ([said], set())


@pytest.mark.parametrize(("cell", "more", "code", "why"), [
    ("31.02.2026 20:00", "dates: dmy", "bad_datetime", "no day of the calendar"),
    ("29.02.2026 20:00", "dates: dmy", "bad_datetime", "no day of the calendar"),
    ("01.13.2026 20:00", "dates: dmy", "bad_datetime", "13 in the place of the month"),
    ("13/01/2026 20:00", "dates: mdy", "bad_datetime", "13 in the place of the month"),
    ("03/04/2026 20:00", "", "ambiguous_datetime", "more than one date"),
    ("13/04/2026 20:00", "", "ambiguous_datetime", "more than one date"),
    ("01.06-2026 20:00", "dates: dmy", "bad_datetime", "no date"),
    ("01.06. 20:00", "dates: dmy", "bad_datetime", "has no year"),
    ("01.06.2026 13:05 pm", "dates: dmy", "bad_datetime", "12-hour"),
    ("01.06.2026 0:05 am", "dates: dmy", "bad_datetime", "12-hour"),
    ("01.06.2026 8:05", "dates: dmy\nclock: 12h", "ambiguous_datetime", "neither am nor pm"),
    ("01.06.2026 8:05 pm", "dates: dmy\nclock: 24h", "bad_datetime", "24 hours"),
    ("01.06.2026 24:01", "dates: dmy", "bad_datetime", "no time of day"),
    ("01.06.2026 20:60", "dates: dmy", "bad_datetime", ""),
    ("01.06.2026", "dates: dmy", "bad_datetime", "no time of day"),
    ("01.06.1989 20:00", "dates: dmy", "implausible_datetime", "1990 to 2099"),
    ("01.06.026 20:00", "dates: dmy", "bad_datetime", "day first"),
    ("45000", "dates: dmy", "bad_datetime", ""),
    ("1 Juni 2026 20:00", "", "bad_datetime", "no month"),
])  # fmt: skip
def test_moments_that_are_not(reading, cell: str, more: str, code: str, why: str) -> None:
    """The row stays, its end is unknown, and the sentence names the column of the export and the cell."""
    read = one(reading, "ended_at", "X", cell, more)

    assert read.column("ended_at") == [None]
    assert read.column("started_at") == ["2026-06-01T20:00:00"]
    assert read.faults == {(2, "ended_at", code)}
    assert why in read.defects[0].message
    assert read.defects[0].message.startswith(f"ended_at, read from 'X': {cell!r} ")


@pytest.mark.parametrize(("cell", "unit", "seconds"), [
    ("15 min", None, 900), ("15min", None, 900), ("0:15:00", None, 900), ("PT15M", None, 900), ("15", "min", 900),
    ("900", "s", 900), ("0.25", "h", 900), ("1 h 5 min", None, 3900), ("1h05m", None, 3900), ("14 min 59 s", None, 899),
    ("15 min", "h", 900), ("0:14:59", "min", 899), ("PT1H30M", None, 5400), ("90 seconds", None, 90), ("0", "min", 0),
])  # fmt: skip
def test_lengths_that_are_read(reading, cell: str, unit: str | None, seconds: float) -> None:
    """A length with its own unit, or a bare number in the mapping's."""
    read = one(reading, "duration_s", f"{{from: X, unit: {unit}}}" if unit else "X", cell)

    assert (read.column("duration_s"), read.faults) == ([seconds], set())


@pytest.mark.parametrize(("cell", "unit", "code"), [
    ("15", None, "unit_missing"), ("15:00", None, "ambiguous_duration"), ("0:15", "min", "ambiguous_duration"),
    ("15 mn", "min", "unit_in_cell"), ("PT1.5H", None, "bad_number"), ("P1M", None, "bad_number"),
    ("ca. 15 min", None, "bad_number"), ("15-20 min", None, "bad_number"), ("-15", "min", "out_of_domain"),
    ("0:75:00", None, "bad_number"), ("min", "min", "bad_number"), ("1 day", "min", "unit_in_cell"),
])  # fmt: skip
def test_lengths_that_are_not(reading, cell: str, unit: str | None, code: str) -> None:
    """Fifteen without a unit is neither seconds nor minutes; 15:00 neither minutes nor hours."""
    read = one(reading, "duration_s", f"{{from: X, unit: {unit}}}" if unit else "X", cell)

    assert read.column("duration_s") == [None]
    assert read.faults == {(2, "duration_s", code)}


@pytest.mark.parametrize(("column", "mapping", "cell", "value"), [
    ("temperature_f", "{from: X, unit: F}", "149", 149), ("temperature_f", "X", "149.5 °F", 149.5),
    ("temperature_c", "{from: X, unit: F}", "149", 65), ("temperature_c", "X", "149 °F", 65), ("temperature_c", "X", "65 °C", 65),
    ("temperature_c", "{from: X, unit: F}", "65°C", 65), ("temperature_c", "{from: X, unit: F}", "-40", -40),
    ("temperature_c", "{from: X, unit: F}", "212", 100), ("temperature_c", "{from: X, unit: C}", "23.9", 23.9),
    ("concentration_ppm", '{from: X, unit: "%"}', "0.02", 200), ("concentration_ppm", "X", "0.02 %", 200),
    # a quat kit's own sheet, of a sample of 25 mL: (drops - 3) x 2 ppm, so that 103 drops are 200; of 10 mL 5 ppm a drop
    ("concentration_ppm", "{from: X, drops: {each: 2, blank: 3}}", "103", 200),
    ("concentration_ppm", "{from: X, drops: {each: 2, blank: 3}}", "2", 0),
    ("concentration_ppm", "{from: X, drops: {each: 5}}", "40", 200),
    ("concentration_ppm", "X", "200 ppm", 200), ("concentration_ppm", "X", "200 mg/L", 200),
    ("concentration_ppm", "{from: X, unit: ppm}", "200", 200), ("ph", "X", "7.2", 7.2),
    ("product_amount", "{from: X, part: number}", "2.5 gal", 2.5),
])  # fmt: skip
def test_amounts_that_are_read(reading, column: str, mapping: str, cell: str, value: float) -> None:
    """The defining points of the two scales (32 and 212, -40 the same), and one percent being 10,000 mg/L."""
    read = one(reading, column, mapping, cell)

    assert (read.column(column), read.faults) == ([value], set())


@pytest.mark.parametrize(("column", "mapping", "cell", "code"), [
    ("concentration_ppm", "{from: X, drops: {each: 2}}", "10.5", "bad_number"),
    ("concentration_ppm", "{from: X, drops: {each: 2}}", "-1", "bad_number"),
    ("concentration_ppm", "{from: X, drops: {each: 2}}", "10 drops", "bad_number"),
    ("temperature_f", "X", "149", "unit_missing"), ("temperature_f", "X", "65 °C", "unit_in_cell"),
    ("temperature_c", "X", "65", "unit_missing"), ("temperature_c", "X", "65 K", "unit_in_cell"),
    ("temperature_c", "{from: X, unit: C}", "65,5", "bad_number"), ("concentration_ppm", "X", "200", "unit_missing"),
    ("concentration_ppm", "{from: X, unit: ppm}", "150-200", "bad_number"),
    ("concentration_ppm", "{from: X, unit: ppm}", "<50", "bad_number"),
    ("concentration_ppm", "{from: X, unit: ppm}", "1,200", "bad_number"),
    ("concentration_ppm", "{from: X, unit: ppm}", "200 oz", "unit_in_cell"), ("ph", "X", "7.2 pH", "unit_in_cell"),
    ("hardness_ppm", "X", "2 %", "unit_in_cell"), ("ph", "X", "nan", "bad_number"), ("ph", "X", "15", "out_of_domain"),
])  # fmt: skip
def test_amounts_that_are_not(reading, column: str, mapping: str, cell: str, code: str) -> None:
    """No unit, another unit, a range, another decimal mark, a value that cannot be."""
    read = one(reading, column, mapping, cell)

    assert read.column(column) == [None]
    assert read.faults == {(2, column, code)}


@pytest.mark.parametrize(("cell", "more", "value"), [
    ("1.234,5", 'decimal: ","\nthousands: "."', 1234.5), ("1234,5", 'decimal: ","\nthousands: "."', 1234.5),
    ("1,234.5", 'thousands: ","', 1234.5), ("12 345,5", 'decimal: ","\nthousands: " "', 12345.5),
    ("1'234", "thousands: \"'\"", 1234), ("1.234", 'decimal: ","', None), ("1.23,5", 'decimal: ","\nthousands: "."', None),
    ("12,34,567", 'thousands: ","', None), ("1234.5", 'decimal: ","', None), (",5", 'decimal: ","', None),
])  # fmt: skip
def test_marks_of_numbers(reading, cell: str, more: str, value: float | None) -> None:
    """Thousands stand in whole groups of three, and no mark is taken for the other."""
    read = one(reading, "hardness_ppm", "{from: X, unit: ppm}", cell, more)

    assert read.column("hardness_ppm") == [value]
    assert bool(read.faults) == (value is None)


def test_a_time_without_its_day_is_a_defect(reading) -> None:
    """A blank time is an unknown one; a time beside a blank day cannot be placed."""
    mapping = "columns: {equipment_id: M, step: S, started_at: {date: D, time: A}, ended_at: {date: D, time: B}}\n" \
              "constants: {store_id: S, cycle_id: c}\ndates: dmy\n"  # fmt: skip
    read = reading("M,S,D,A,B\nA,flush,01.06.2026,20:00,\nA,flush,,20:00,20:15\n", mapping)

    assert read.column("started_at") == ["2026-06-01T20:00:00", None]
    assert read.faults == {(3, "started_at", "missing_part"), (3, "ended_at", "missing_part")}


def test_an_end_after_midnight_is_on_the_next_day_only_where_the_mapping_says_so(reading) -> None:
    """23:50 to 00:10 of one date; equal times are no night."""
    mapping = "columns: {{equipment_id: M, step: S, started_at: {{date: D, time: A}}, ended_at: {{date: D, time: B{}}}}}\n" \
              "constants: {{store_id: S}}\ndates: dmy\n"  # fmt: skip
    log = "M,S,D,A,B\nA,flush,31.12.2026,23:50,00:10\nA,flush,01.06.2026,20:00,20:00\n"

    assert reading(log, mapping.format(", after: started_at")).column("ended_at") == ["2027-01-01T00:10:00", "2026-06-01T20:00:00"]
    assert reading(log, mapping.format("")).column("ended_at") == ["2026-12-31T00:10:00", "2026-06-01T20:00:00"]


@pytest.mark.parametrize(("start", "end", "said"), [
    ("20:00", "08:00", "2026-06-02T08:00:00"), ("20:00", "08:01", "2026-06-01T08:01:00"),
    ("01:30", "01:10", "2026-06-01T01:10:00"), ("20:00", "19:59", "2026-06-01T19:59:00"),
])  # fmt: skip
def test_no_step_becomes_longer_than_half_a_day_by_it(reading, start: str, end: str, said: str) -> None:
    """Twelve hours are a night; a minute more, or an end just before its start, stays the contradiction that it is."""
    mapping = "columns: {equipment_id: M, step: S, started_at: {date: D, time: A}, ended_at: {date: D, time: B, after: started_at}}\n" \
              "constants: {store_id: S}\n"  # fmt: skip

    assert reading(f"M,S,D,A,B\nA,flush,2026-06-01,{start},{end}\n", mapping).column("ended_at") == [said]


def test_nothing_is_filled_down_past_a_cell_that_could_not_be_read(reading) -> None:
    """The rows below it may be of another machine than the rows above; blank cells take what stands above otherwise."""
    mapping = "columns: {equipment_id: M, step: S, started_at: A}\nconstants: {store_id: S}\nfill_down: [M]\n"
    rest = b",flush,2026-06-01T20:00\n"
    read = reading(b"M,S,A\nA" + rest + rest + b"\xff" + rest + rest + b"B" + rest + rest, mapping)

    assert read.column("equipment_id") == ["A", "A", None, None, "B", "B"]
    assert read.faults == {(4, "equipment_id", "bad_encoding")}


def test_words_are_matched_after_trimming_and_by_case_only_where_it_is_asked_for(reading) -> None:
    """Case is left aside unless the mapping says otherwise; what is in no list stays and is told."""
    mapping = "columns: {equipment_id: M, step: S, started_at: A}\nconstants: {store_id: S}\nvalues: {step: {Flushed: flush}}\n"
    log = 'M,S,A\nA," FLUSHED ",2026-06-01T20:00\nA,Flushd,2026-06-01T20:00\nA,soak,2026-06-01T20:00\n'

    read = reading(log, mapping)
    assert read.column("step") == ["flush", "Flushd", "soak"]
    assert any("'Flushd'" in text and "'soak'" not in text for text in read.notices)
    assert reading(log, mapping + "match_case: true\n").column("step")[0] == "FLUSHED"
    strict = reading(log, mapping + "unlisted: defect\n")
    assert strict.column("step") == ["flush", None, "soak"]
    assert strict.faults == {(3, "step", "unmapped_value")}


def test_rows_that_are_no_records_are_counted_by_their_reason(reading) -> None:
    """A total and a blank machine are set aside, and every other row is there."""
    mapping = "columns: {equipment_id: M, step: S, started_at: A}\nconstants: {store_id: S}\n" \
              "skip: [{column: M, equals: [Total], begins: [Sum]}, {column: M, blank: true}]\n"  # fmt: skip
    read = reading("M,S,A\nA,flush,2026-06-01T20:00\ntotal,,9\nSummary of May,,\n,x,\nB,flush,2026-06-01T20:00\n", mapping)

    assert read.rows == [2, 6]
    assert read.set_aside == [[5, {"'M' is 'Total' or begins with 'Sum'": 2, "'M' is blank": 1}]]
    assert any(text.startswith("2 rows set aside, since") for text in read.assumptions)


def test_a_wide_row_gives_a_row_for_each_step_and_says_which_column_is_wrong(reading) -> None:
    """Blank cells are no steps; a row without any is set aside; a cell that cannot be read is a step of unknown length."""
    mapping = "columns: {equipment_id: M, cycle_id: C}\nconstants: {store_id: S}\n" \
              "steps: [{targets: {line-1: L1, line-2: L2}, constants: {step: flush}, columns: {duration_s: {from: '* (min)', unit: min}}}," \
              " {constants: {step: empty_tank}, columns: {started_at: At}, when: {column: Tank, yes: [x], no: ['-']}}]\n"  # fmt: skip
    read = reading("M,C,L1 (min),L2 (min),Tank,At\nA,1,15,,x,2026-06-01T20:00\nA,2,15:00,14,-,\nA,3,,,,\nA,4,1,1,?,\n", mapping)

    assert list(zip(read.rows, read.column("step"), read.column("target"), read.column("duration_s"), strict=True)) == [
        (2, "flush", "line-1", 900), (2, "empty_tank", None, None), (3, "flush", "line-1", None), (3, "flush", "line-2", 840),
        (5, "flush", "line-1", 60), (5, "flush", "line-2", 60),
    ]  # fmt: skip
    assert read.faults == {(3, "duration_s", "ambiguous_duration"), (4, "step", "no_step"), (5, "step", "unmapped_value")}
    assert next(d.message for d in read.defects if d.row == 3).startswith("duration_s, read from 'L1 (min)': '15:00' ")


def test_an_entry_of_a_nested_list_that_is_empty_is_not_lost(reading) -> None:
    """A record without steps is set aside with its position; so is an entry that is no object."""
    mapping = "columns: {equipment_id: m, step: 's[].n', started_at: 's[].t'}\nconstants: {store_id: S}\n"
    log = '[{"m":"A","s":[{"n":"flush","t":"2026-06-01T20:00"}]},{"m":"A","s":[]},{"m":"A"},{"m":"A","s":[3]}]'
    read = reading(log, mapping, "log.json")

    assert read.rows == [1, 4]
    assert read.column("step") == ["flush", None]
    assert {(d.row, d.code) for d in read.defects} == {(2, "no_step"), (3, "no_step")}


@pytest.mark.parametrize(("header", "said"), [
    ("Machin,What,At,X", "has no column 'Machine', which the mapping names for equipment_id; the nearest one found is 'Machin'"),
    ("Machine,What,At,X,X", "has the column 'X' 2 times; name it by its position in the mapping, #4 or #5"),
])  # fmt: skip
def test_a_header_that_does_not_fit_is_refused(reading, header: str, said: str) -> None:
    """The refusal names the column of the mapping and what was found."""
    with pytest.raises(Unreadable) as caught:
        reading(header + "\nA,flush,2026-06-01T20:00,1,2\n"[: 30], BASE.format("ph: X"))

    assert caught.value.sentence == said


def test_doubled_names_are_told_apart_by_position(reading) -> None:
    """`#4` is the fourth column, whatever it is called."""
    read = reading("Machine,What,At,X,X\nA,flush,2026-06-01T20:00,7,8\n", BASE.format('ph: "#5"'))

    assert read.column("ph") == [8]


def test_the_name_of_a_sheet_or_file_can_be_a_value(reading) -> None:
    """`@file` and `@sheet` stand for the name without its folder; here a file a machine."""
    mapping = "columns: {equipment_id: '@file', step: What, started_at: At}\nconstants: {store_id: S}\n" \
              "values: {equipment_id: {syr-a.csv: SYR-A}}\n"  # fmt: skip

    assert reading("What,At\nflush,2026-06-01T20:00\n", mapping, "Syr-A.csv").column("equipment_id") == ["SYR-A"]


@pytest.mark.parametrize("cell", ["1" + " " * 30_000 + "x", "9" * 5000, "1e999", "1e-999", "0.1e999", ":" * 500, "1:" * 200, "٣", "１５ min"])
@pytest.mark.parametrize(("column", "mapping"), [
    ("ended_at", "X"), ("duration_s", "{from: X, unit: min}"), ("temperature_c", "{from: X, unit: F}"),
    ("concentration_ppm", '{from: X, unit: "%"}'),
])  # fmt: skip
def test_absurd_cells_cost_their_value_alone(reading, column: str, mapping: str, cell: str) -> None:
    """Long runs, huge exponents, digits of other scripts: a defect or nearly nothing, soon and without a crash."""
    read = one(reading, column, mapping, cell, "dates: dmy")

    assert read.rows == [2]
    assert read.faults or (cell == "1e-999" and column != "ended_at")


@pytest.mark.parametrize(("shift", "read_rows"), [("Shift", [2, 3, 4]), ("Machine", [2, 3, 4])])
def test_a_record_is_no_second_header(reading, shift, read_rows) -> None:
    """A cell that says the same as a column's name does not end the table, where the mapping names one column or two."""
    read = reading(
        f"Machine,Shift\nA,Day\nB,{shift}\nC,Night\n",
        "columns: {equipment_id: Machine}\nconstants: {store_id: S, step: flush, started_at: '2026-03-01T21:40'}\n",
    )

    assert read.rows == read_rows


def test_a_second_header_of_a_mapping_ends_the_table(reading) -> None:
    """All of three names and more in another order are a header: the rows below stand in other columns."""
    read = reading(
        "Machine,Work,At,Who\nA,flush,2026-03-01T21:40,x\nWork,Machine,At,Who\nflush,A,2026-03-02T21:40,x\n",
        "columns: {equipment_id: Machine, step: Work, started_at: At}\nconstants: {store_id: S}\n",
    )

    assert read.rows == [2]
    assert {(d.row, d.code) for d in read.defects} == {(3, "second_table"), (4, "second_table")}
