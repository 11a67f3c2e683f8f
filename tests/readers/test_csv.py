"""The strict reading of CSV: what is accepted, what costs one row, what is refused."""

from __future__ import annotations

import pytest

from validator.readers.csv_ import read_bytes
from validator.tables import Budget


def lines(header, *rows, end="\n"):
    return end.join([header, *rows]) + end


def test_places_are_physical_lines(reading, header, line):
    """Blank lines and lines of delimiters alone are counted as blank, and later rows keep their line numbers."""
    seen = reading(lines(header, line(), "", line(), ",,,,,", "   ", line()))
    assert seen.rows == [2, 4, 7]
    assert seen.tables[0].blank_rows == 3
    assert not seen.defects


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_line_end_is_read(reading, header, line, end):
    """LF, CRLF and CR alike end a line."""
    assert reading(lines(header, line(), line(), end=end)).rows == [2, 3]


def test_mixed_line_ends_and_no_last_one(reading, header, line):
    """One file may mix line ends; the last line needs none."""
    seen = reading(f"{header}\r\n{line()}\r{line()}\n{line()}")
    assert seen.rows == [2, 3, 4]
    assert not seen.defects


def test_only_cr_and_lf_end_a_line(reading, header, line):
    """Other characters that a text library takes for line ends stay inside their cell."""
    seen = reading(lines(header, line(performed_by="A\u2028B\x85C\u2029D")))
    assert seen.rows == [2]
    assert seen.cells("performed_by") == ["A\u2028B\x85C\u2029D"]


def test_a_row_of_another_width_is_set_aside_whole(reading, header, line):
    """Too few or too many fields are never padded or cut: the row is lost, with its line, and the others stay."""
    seen = reading(lines(header, line(), line() + ",x", line().rpartition(",")[0], "x", line()))
    assert seen.rows == [2, 6]
    assert [(d.row, d.code, d.whole, d.index) for d in seen.defects] == [
        (3, "field_count", True, -1), (4, "field_count", True, -1), (5, "field_count", True, -1)
    ]  # fmt: skip
    assert seen.defects[0].message == "has 7 fields where the header has 6"


def test_typographic_quotes_do_not_quote(reading, header, line):
    """A comma between curly quotes splits the cell, so the row has a field too many."""
    seen = reading(lines(header, line(performed_by="“Ana, B”"), line()))
    assert (seen.rows, seen.lost) == ([3], [2])


def test_legal_quoting(reading, header, line):
    """A quoted delimiter, a doubled quote and a line end in a cell are RFC 4180; a row is named by its first line."""
    seen = reading(lines(header, line(performed_by='"Ana, B"'), line(performed_by='"a ""b"" c"'),
                         line(performed_by='"a\r\nb"'), line()))  # fmt: skip
    assert seen.rows == [2, 3, 4, 6]
    assert seen.cells("performed_by")[:3] == ["Ana, B", 'a "b" c', "a\r\nb"]
    assert not seen.defects


def test_an_unclosed_quote_costs_its_own_row(reading, header, line):
    """A quote that never closes does not swallow the lines after it."""
    seen = reading(lines(header, line(), line(step='"flush'), line(), line(), line()))
    assert seen.rows == [2, 4, 5, 6]
    assert [(d.row, d.column, d.code) for d in seen.defects] == [(3, "step", "unbalanced_quote")]


def test_an_unclosed_quote_before_quoted_rows(reading, header, line):
    """The next opening quote does not close an earlier one that was left open."""
    seen = reading(lines(header, line(step='"flush'), line(performed_by='"Ana, B"'), line()))
    assert seen.rows == [3, 4]
    assert seen.faults == {(2, "step", "unbalanced_quote")}


def test_two_stray_quotes_around_whole_records(reading, header, line):
    """Two stray quotes could be one long cell; as whole records stand between them, no line is believed."""
    seen = reading(lines(header, line(), line(performed_by='"Ana'), line(), line(performed_by='Ben"'), line()))
    assert seen.rows == [2, 6]
    assert seen.faults == {(row, "", "unbalanced_quote") for row in (3, 4, 5)}


def test_two_stray_quotes_that_leave_too_few_cells(reading, header, line):
    """Where the cell between two stray quotes leaves the wrong number of cells, each line answers for itself."""
    seen = reading(lines(header, line(step='"flush'), line(performed_by='Ana"'), line()))
    assert seen.rows == [4]
    assert seen.faults == {(2, "step", "unbalanced_quote"), (3, "performed_by", "bad_quoting")}


def test_a_multi_line_note_that_looks_a_little_like_a_record(reading, line):
    """A quoted note of several lines with commas is one cell as long as no line in it is a whole record."""
    note = '"first, second\n,,,,,,\nlast"'
    seen = reading(f"store_id,equipment_id,step,started_at,ended_at,performed_by,note\n{line()},{note}\n{line()},\n")
    assert seen.rows == [2, 5]
    assert not seen.defects


@pytest.mark.parametrize("cell", [r'"say \"yes\""', 'A"B', '"A"B', ' "A"'])
def test_quotes_that_rfc_4180_does_not_know(reading, header, line, cell):
    """A quote inside a bare cell, after a closing one, or escaped by a backslash is a defect of its row."""
    seen = reading(lines(header, line(performed_by=cell), line()))
    assert seen.rows == [3]
    assert seen.faults == {(2, "performed_by", "bad_quoting")}


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_the_delimiter_is_the_one_that_names_the_columns(reading, header, line, delimiter):
    """Commas in the data never outvote the header."""
    text = header.replace(",", delimiter) + "\n" + line(delimiter, performed_by="a,b,c,d,e,f,g") + "\n"
    seen = reading(text)
    assert seen.cells("performed_by") == ["a,b,c,d,e,f,g"]
    assert len(seen.assumptions) == 1


def test_a_sep_line_is_a_directive(reading, header, line):
    """`sep=;` names the delimiter, is no record, and counts as a line."""
    seen = reading("sep=;\n" + header.replace(",", ";") + "\n" + line(";") + "\n")
    assert seen.rows == [3]
    assert not seen.defects


def test_titles_above_the_header(reading, header, line):
    """Lines above the header are no records; the rows keep their places."""
    seen = reading(f"Cleaning log\n,,\nprinted,2026-03-02\n{header}\n{line()}\n")
    assert seen.rows == [5]
    assert not seen.defects


@pytest.mark.parametrize(("titles", "found"), [(19, True), (20, False)])
def test_the_header_is_looked_for_in_twenty_lines(tmp_path, header, line, titles, found):
    """The header may be the twentieth line and no later."""
    data = ("title\n" * titles + f"{header}\n{line()}\n").encode()
    if found:
        assert len(read_bytes(data, Budget())[0][0].rows) == 1
    else:
        with pytest.raises(Exception, match="within the first 20"):
            read_bytes(data, Budget())


def test_a_repeated_header_is_set_aside(reading, header, line):
    """Exports pasted together repeat the header; a step that only begins like it is a record."""
    seen = reading(lines(header, line(), header.upper(), line(step="step")))
    assert seen.rows == [2, 4]
    assert seen.faults == {(3, "", "repeated_header")}


def test_a_bad_byte_costs_its_cell(reading, header, line):
    """A byte of another code page is a defect of that cell; rows around it are clean."""
    text = lines(header, line(performed_by="José"), line(), line(performed_by="José")).encode()
    spoiled = text.replace("José".encode(), b"Jos\xe9", 1)
    seen = reading(spoiled)
    assert seen.rows == [2, 3, 4]
    assert seen.cells("performed_by") == ["", "Ana", "José"]
    assert seen.faults == {(2, "performed_by", "bad_encoding")}
    assert "\\xe9" in seen.defects[0].message


def test_a_bad_byte_in_a_time(reading, header, line):
    """A time that is not UTF-8 is one defect, and blank."""
    seen = reading(lines(header, line(), line()).encode().replace(b"2026-03-01T21:55:00", b"2026-03-01\xa021:55:00", 1))
    assert seen.cells("ended_at") == ["", "2026-03-01T21:55:00"]
    assert seen.faults == {(2, "ended_at", "bad_encoding")}


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be", "utf-32"])
def test_a_declared_encoding_is_read(reading, header, line, encoding):
    """A byte order mark declares UTF-8, UTF-16 or UTF-32, and is no part of the first name."""
    text = lines(header, line(performed_by="Zoë 工"))
    data = b"\xfe\xff" + text.encode(encoding) if encoding == "utf-16-be" else text.encode(encoding)
    seen = reading(data)
    assert seen.cells("performed_by") == ["Zoë 工"]
    assert not seen.defects


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_undeclared_utf_16_is_named(refusing, header, line, encoding):
    """UTF-16 without its mark is called that, not a file without columns."""
    assert refusing(lines(header, line()).encode(encoding)).code == "encoding_undeclared_utf16"


def test_a_nul_in_a_cell(reading, header, line):
    """A NUL spoils the cell it stands in."""
    seen = reading(lines(header, line(performed_by="A\0B"), line()))
    assert seen.rows == [2, 3]
    assert seen.faults == {(2, "performed_by", "control_character")}


def test_a_block_of_nuls_costs_one_row(reading, header, line):
    """A lost page of a file system is one damaged row between two good ones."""
    seen = reading(lines(header, line(), "\0" * 4096, line()))
    assert seen.rows == [2, 4]
    assert seen.faults == {(3, "", "control_character")}


def test_a_cut_file_keeps_all_but_its_last_row(reading, header, line):
    """A file that ends inside a character loses that record, with a reason of its own."""
    data = lines(header, line(), line(performed_by="Zo工")).encode()[:-2]
    seen = reading(data)
    assert seen.rows == [2]
    assert seen.faults == {(3, "performed_by", "truncated_record")}


def test_a_cut_file_with_too_few_fields(reading, header, line):
    """A last line without a line end and with fields missing was cut off."""
    seen = reading(lines(header, line()) + "TL-01,TL-01-SYR-A,fl")
    assert (seen.rows, seen.faults) == ([2], {(3, "", "truncated_record")})


def test_cell_length_both_sides_of_the_limit(reading, header, line):
    """A cell of exactly the limit is read; one character more is a defect of that cell, and an excerpt is shown."""
    budget = Budget(cell_characters=50)
    seen = reading(lines(header, line(performed_by="é" * 50), line(performed_by="é" * 51)), budget=budget)
    assert seen.cells("performed_by") == ["é" * 50, ""]
    assert seen.faults == {(3, "performed_by", "cell_too_long")}
    assert len(seen.defects[0].message) < 150


def test_line_length_both_sides_of_the_limit(reading, header, line):
    """A line beyond the budget is lost; one of exactly the budget is read."""
    full = line()
    seen = reading(lines(header, full, full + "x"), budget=Budget(line_bytes=len(full)))
    assert (seen.rows, seen.faults) == ([2], {(3, "", "line_too_long")})


def test_columns_both_sides_of_the_limit(reading, refusing, header, line):
    """As many columns as the budget allows are read; one more is refused."""
    wide = [f"x{n}" for n in range(4)]
    text = ",".join([header, *wide]) + "\n" + ",".join([line(), *wide]) + "\n"
    assert reading(text, budget=Budget(columns=10)).rows == [2]
    refusal = refusing(text, budget=Budget(columns=9))
    assert (refusal.code, refusal.place) == ("too_many_columns", "1:*")


def test_rows_both_sides_of_the_limit(reading, refusing, header, line):
    """As many rows as the budget allows are read; one more is refused."""
    text = lines(header, line(), line())
    assert reading(text, budget=Budget(rows=2)).rows == [2, 3]
    assert refusing(text, budget=Budget(rows=1)).code == "too_many_rows"


def test_a_header_alone_is_an_empty_table(reading, header):
    """No record is not a fault of the file."""
    seen = reading(header + "\n")
    assert seen.rows == []
    assert seen.tables[0].columns.keys() == set(header.split(","))


def test_a_misspelt_header_is_told_from_the_nearest_line(refusing, header, line):
    """The line that came nearest to a header says what is missing from it, below any titles."""
    refusal = refusing(lines("Log", header.replace("step", "stepp"), line()))
    assert (refusal.code, refusal.place) == ("missing_column", "2:step")
    assert "'stepp'" in refusal.sentence


def test_an_empty_cell_is_blank(reading, header, line):
    """An empty cell has the code of a blank, from the first row on, and is no word of the vocabulary."""
    column = reading(lines(header, line(performed_by=""), line())).tables[0].columns["performed_by"]
    assert (column.codes.tolist(), column.vocabulary) == ([-1, 0], ["Ana"])


def test_ids_stay_text(reading, header, line):
    """Nothing that looks like a number, a date or a missing value is changed."""
    ids = ["00123", "1E5", "NA", "null", "TRUE", "2-3", "MAR1", "9007199254740993", "1_000", "0x10", "1.10", "nan"]
    seen = reading(lines(header, *(line(store_id=i) for i in ids)))
    assert seen.cells("store_id") == ids


def test_other_columns_are_named(reading, header, line):
    """A column that is not canonical is not read, and the notice names it."""
    seen = reading(f"colour,{header}\nred,{line()}\n")
    assert "colour" not in seen.tables[0].columns
    assert seen.notices == ["columns not used: 'colour'"]


def test_a_stray_quote_in_the_header(reading, header, line):
    """A header with a quotation mark too many still names its columns, and the report says so."""
    seen = reading(lines(header.replace("step", '"step'), line(), line()))
    assert seen.rows == [2, 3]
    assert "the header has a quotation mark too many, which is left out of the names" in seen.assumptions


def test_a_header_that_goes_on_in_the_next_line_is_not_taken_in_half(refusing, header, line):
    """A quoted name of two lines is no stray quote: half a header would shift its columns."""
    code = refusing(lines(f'{header},"remarks', 'of the day"', line() + ",x", line() + ",y")).code
    assert code == "missing_column"


@pytest.mark.parametrize(("rows", "taken"), [(3, True), (2, False)])
def test_a_cell_too_many_in_the_header(reading, header, line, rows, taken):
    """A cell without a name is no column where all of three lines or more have one cell less; two may be damaged themselves."""
    seen = reading(lines(header.replace("step", ",step"), *[line()] * rows))
    assert seen.rows == ([2, 3, 4] if taken else [])
    assert len(seen.lost) == (0 if taken else rows)
    assert any("is taken for no column" in said for said in seen.assumptions) == taken


def test_a_column_without_a_name_stays_a_column(reading, header, line):
    """An export's row numbers stand below an empty name: every row has as many cells as the header."""
    seen = reading(lines(f",{header}", *(f"{n},{line()}" for n in range(4))))
    assert seen.rows == [2, 3, 4, 5]
    assert seen.cells("store_id") == ["TL-01"] * 4


def test_blanks_after_every_delimiter(reading, header, line):
    """Where the header has a blank after every delimiter, a quoted cell may have one before it."""
    spaced = [text.replace(",", ", ") for text in (header, line(performed_by='"Ana"'), line())]
    seen = reading(lines(*spaced, line(performed_by=' "Ana, B"').replace(",", ", ", 5)))
    assert seen.rows == [2, 3, 4]
    assert not seen.defects
    assert [cell.strip() for cell in seen.cells("performed_by")] == ["Ana", "Ana", "Ana, B"]


@pytest.mark.parametrize("fast", [False, True])
def test_a_second_table_is_set_aside(header, line, fast):
    """Rows below another header stand in other columns: none is read until the first header comes again."""
    swapped = header.replace("step,started_at", "started_at,step")
    text = lines(header, line(), swapped, line(step="2026-03-01T21:40:00", started_at="flush"), "", '"', line(), header, line())
    table = read_bytes(text.encode(), Budget(), fast)[0][0]
    assert table.rows.tolist() == [2, 9]
    assert [(d.row, d.code) for d in table.defects] == [
        (3, "second_table"), (4, "second_table"), (6, "second_table"), (7, "second_table"), (8, "repeated_header")
    ]  # fmt: skip
    assert table.blank_rows == 1


def test_a_second_table_of_another_width(reading, header, line):
    """More columns or fewer under a header of their own: the lines are named as another table's, not as damaged."""
    seen = reading(lines(header, line(), f"{header},note", line() + ",x", line()))
    assert seen.rows == [2]
    assert [(d.row, d.code) for d in seen.defects] == [(3, "second_table"), (4, "second_table"), (5, "second_table")]
