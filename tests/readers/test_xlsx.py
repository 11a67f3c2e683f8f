"""Workbooks: what a sheet's cells are read as, and what is refused before anything is laid out by it."""

from __future__ import annotations

import io
import struct
import zipfile
from datetime import datetime

import openpyxl
import pytest

from validator.readers.workbook import how_shown
from validator.tables import Budget

NAMES = ["store_id", "equipment_id", "step", "started_at", "concentration_ppm", "performed_by"]
ROW = ["TL-01", "TL-01-SYR-A", "flush", "2026-03-01T21:40:00", 100, "Ana"]
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def cell(ref, value, kind="inlineStr", style=""):
    at = f' r="{ref}"' if ref else ""
    style = f' s="{style}"' if style else ""
    if kind == "inlineStr":
        return f'<c{at}{style} t="inlineStr"><is><t>{value}</t></is></c>'
    return f'<c{at}{style} t="{kind}">{value}</c>'


def row(number, values=ROW, refs=True, **replaced):
    cells = []
    for letter, value in zip("ABCDEF", values, strict=True):
        if letter in replaced:
            cells.append(replaced[letter])
        elif value is not None:
            ref = f"{letter}{number}" if refs else ""
            cells.append(cell(ref, f"<v>{value}</v>", "n") if isinstance(value, int) else cell(ref, value))
    return f'<row r="{number}">{"".join(cells)}</row>' if refs else f"<row>{''.join(cells)}</row>"


def sheet(*rows, after="", before=""):
    return f'<worksheet xmlns="{MAIN}">{before}<sheetData>{"".join(rows)}</sheetData>{after}</worksheet>'


def package(sheets, *, shared=None, styles=None, flags="", states=(), extra=(), main=MAIN):
    """A workbook's bytes from its sheets' XML; `extra` are (name, content) of further members."""
    names = [f"xl/worksheets/sheet{n + 1}.xml" for n in range(len(sheets))]
    states = [*states, *["visible"] * len(sheets)]
    listed = "".join(
        f'<sheet name="S{n + 1}" sheetId="{n + 1}" r:id="r{n}" state="{states[n]}"/>' for n in range(len(sheets))
    )
    related = "".join(
        f'<Relationship Id="r{n}" Type="{REL}/worksheet" Target="worksheets/sheet{n + 1}.xml"/>'
        for n in range(len(sheets))
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
        packed.writestr(
            "_rels/.rels",
            f'<Relationships><Relationship Id="b" Type="{REL}/officeDocument" Target="xl/workbook.xml"/>'
            "</Relationships>",
        )
        packed.writestr(
            "xl/workbook.xml", f'<workbook xmlns="{main}" xmlns:r="{REL}">{flags}<sheets>{listed}</sheets></workbook>'
        )
        if shared is not None:
            packed.writestr("xl/sharedStrings.xml", shared)
            related += f'<Relationship Id="t" Type="{REL}/sharedStrings" Target="/xl/sharedStrings.xml"/>'
        if styles is not None:
            packed.writestr("xl/styles.xml", styles)
            related += f'<Relationship Id="y" Type="{REL}/styles" Target="styles.xml"/>'
        packed.writestr("xl/_rels/workbook.xml.rels", f"<Relationships>{related}</Relationships>")
        for name, content in zip(names, sheets, strict=True):
            if content is not None:
                packed.writestr(name, content)
        for name, content in extra:
            packed.writestr(name, content)
    return buffer.getvalue()


STYLES = (
    f'<styleSheet xmlns="{MAIN}"><numFmts count="1">'
    '<numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd\\ hh:mm"/></numFmts>'
    '<cellXfs><xf numFmtId="0"/><xf numFmtId="164"/><xf numFmtId="10"/><xf numFmtId="46"/></cellXfs></styleSheet>'
)
HEAD = row(1, NAMES)


@pytest.fixture
def workbook(reading):
    return lambda *args, budget=None, **kwargs: reading(package(*args, **kwargs), "log.xlsx", budget)


@pytest.fixture
def refused(refusing):
    return lambda *args, budget=None, **kwargs: refusing(package(*args, **kwargs), "log.xlsx", budget)


def test_what_openpyxl_writes(reading, tmp_path):
    """Text, whole and broken numbers, dates and blanks come out as the text a user sees, with sheet rows as places."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(NAMES)
    page.append(ROW)
    page.append(["TL-01", 7, "flush", datetime(2026, 3, 1, 21, 40, 30, 500_000), 0.1, None])
    page.append([None] * 6)
    page.append(["TL-01", "00123", "=1+1".lstrip("="), datetime(2026, 3, 1), 1e21, "Zoë 工"])
    book.save(tmp_path / "a.xlsx")
    seen = reading((tmp_path / "a.xlsx").read_bytes(), "b.xlsx")
    assert seen.rows == [2, 3, 5]
    assert seen.cells("equipment_id") == ["TL-01-SYR-A", "7", "00123"]
    assert seen.cells("started_at") == ["2026-03-01T21:40:00", "2026-03-01T21:40:30.500", "2026-03-01T00:00:00"]
    assert seen.cells("concentration_ppm") == ["100", "0.1", "1e+21"]
    assert seen.cells("performed_by") == ["Ana", "", "Zoë 工"]
    assert seen.tables[0].blank_rows == 1
    assert {code for _, _, code in seen.faults} == {"out_of_domain"}


def test_dates_count_from_the_declared_year(workbook):
    """The same number is another day when the workbook counts from 1904."""
    page = sheet(HEAD, row(2, D=cell("D2", "<v>46082.902777777781</v>", "n", "1")))
    assert workbook([page], styles=STYLES).cells("started_at") == ["2026-03-01T21:40:00"]
    assert workbook([page], styles=STYLES, flags='<workbookPr date1904="1"/>').cells("started_at") == [
        "2030-03-02T21:40:00"
    ]


def test_a_date_a_hair_short_of_the_minute(workbook):
    """A date's number is rounded to the millisecond, so that 21:39:59.9999 is 21:40."""
    seen = workbook([sheet(HEAD, row(2, D=cell("D2", "<v>46082.9027777766</v>", "n", "1")))], styles=STYLES)
    assert seen.cells("started_at") == ["2026-03-01T21:40:00"]


@pytest.mark.parametrize("serial", ["60", "0", "-1", "2958466", "1e10", "60.999"])
def test_numbers_that_are_no_day(workbook, serial):
    """29 February 1900, which never was, and numbers before or beyond the calendar are defects of their cells."""
    seen = workbook([sheet(HEAD, row(2), row(3, D=cell("D3", f"<v>{serial}</v>", "n", "1")))], styles=STYLES)
    assert seen.rows == [2, 3]
    assert [(d.row, d.code) for d in seen.defects] == [(3, "implausible_datetime")]
    assert "date number" in seen.defects[0].message


def test_a_bare_number_as_a_time_is_not_guessed(workbook):
    """Without a date format a serial number may be anything."""
    seen = workbook([sheet(HEAD, row(2, D=cell("D2", "<v>46082.9</v>", "n")))], styles=STYLES)
    assert seen.faults == {(2, "started_at", "ambiguous_datetime")}


@pytest.mark.parametrize("style", ["1", "2", "3"])
def test_a_reading_shown_as_something_else(workbook, style):
    """A reading formatted as a percentage, a date or a length of time is not the number that stands in the file."""
    seen = workbook([sheet(HEAD, row(2, E=cell("E2", "<v>0.02</v>", "n", style)))], styles=STYLES)
    assert seen.faults == {(2, "concentration_ppm", "unit_in_cell")}
    assert seen.cells("concentration_ppm") == [""]


def test_a_number_written_as_text(workbook):
    """A reading typed as text is the reading."""
    assert workbook([sheet(HEAD, row(2, E=cell("E2", "200")))]).parsed[0].numbers["concentration_ppm"].tolist() == [200]


def test_a_formula_without_its_value(workbook):
    """A formula never calculated is a defect; one with its value, even an empty text, is that value."""
    page = sheet(
        HEAD, row(2, E=cell("E2", "<f>A1*2</f>", "n")), row(3, E=cell("E3", "<f>A1*2</f><v></v>", "n")),
        row(4, E=cell("E4", "<f>A1*2</f><v>90</v>", "n")), row(5, F=cell("F5", '<f>""</f><v></v>', "str")),
    )  # fmt: skip
    seen = workbook([page])
    assert seen.faults == {(n, "concentration_ppm", "formula_without_value") for n in (2, 3)}
    assert seen.cells("concentration_ppm") == ["", "", "90", "100"]
    assert "E2" in seen.defects[0].message


@pytest.mark.parametrize("error", ["#REF!", "#N/A", "#DIV/0!"])
def test_error_cells(workbook, error):
    """A typed error is a defect, and no text."""
    seen = workbook([sheet(HEAD, row(2, E=cell("E2", f"<v>{error}</v>", "e")))])
    assert seen.faults == {(2, "concentration_ppm", "cell_error")}


def test_truth_values(workbook):
    """TRUE in a cell is not the number 1."""
    seen = workbook([sheet(HEAD, row(2, F=cell("F2", "<v>1</v>", "b")))])
    assert seen.cells("performed_by") == ["TRUE"]
    assert seen.faults == {(2, "performed_by", "bad_type")}


def test_blank_by_merging(workbook):
    """Only the first cell of a merged block has a value; the others are not filled down."""
    page = sheet(
        HEAD, row(2), row(3, [None, *ROW[1:]]), row(4, [None, *ROW[1:]]), row(5),
        after='<mergeCells><mergeCell ref="A2:A4"/><mergeCell ref="H1:XFD1048576"/></mergeCells>',
    )  # fmt: skip
    seen = workbook([page])
    assert seen.cells("store_id") == ["TL-01", "", "", "TL-01"]
    assert seen.faults == {(3, "store_id", "merged_blank"), (4, "store_id", "merged_blank")}


def test_a_merged_title_is_no_defect(workbook):
    """A title merged over the table's width stands above the header."""
    title = f'<row r="1">{cell("A1", "Log")}</row>'
    page = sheet(title, row(2, NAMES), row(3), after='<mergeCells><mergeCell ref="A1:F1"/></mergeCells>')
    seen = workbook([page])
    assert seen.rows == [3]
    assert not seen.defects


def test_hidden_rows_are_data_and_hidden_sheets_are_named(workbook):
    """A filter hides rows from the eye, not from an audit; a hidden sheet is left aside with its row count."""
    hidden = row(3).replace("<row ", '<row hidden="1" ')
    seen = workbook([sheet(HEAD, row(2), hidden), sheet(HEAD, row(2), row(3))], states=["visible", "veryHidden"])
    assert len(seen.tables) == 1
    assert seen.rows == [2, 3]
    assert any("'S2'" in notice and "3 rows" in notice for notice in seen.notices)


def test_a_damaged_hidden_sheet(workbook):
    """A hidden sheet is not read, so its damage refuses nothing; the notice tells of it."""
    far = f'<row r="1048576">{cell("XFD1048576", "x")}</row>'
    seen = workbook([sheet(HEAD, row(2)), sheet(far)], states=["visible", "hidden"])
    assert seen.rows == [2]
    assert any("XFD1048576" in notice for notice in seen.notices)


def test_several_sheets(workbook):
    """Every visible sheet with the header is read, with its name; one without is listed."""
    other = sheet(f'<row r="1">{cell("A1", "nothing here")}</row>')
    seen = workbook([sheet(HEAD, row(2), row(3)), sheet(row(1, NAMES), row(2)), other])
    assert [(table.sheet, table.rows.tolist()) for table in seen.tables] == [("S1", [2, 3]), ("S2", [2])]
    assert any("'S3'" in notice for notice in seen.notices)


@pytest.mark.parametrize("ref", ["A1:F2", "A1:XFD1048576"])
def test_a_false_dimension_is_ignored(workbook, ref):
    """The sheet's own hint at its size is often wrong; all rows are read."""
    page = sheet(HEAD, *(row(n) for n in range(2, 8)), before=f'<dimension ref="{ref}"/>')
    assert workbook([page]).rows == list(range(2, 8))


def test_formatted_rows_below_the_data(workbook):
    """Rows that have a format and no value are neither records nor blanks."""
    empty = "".join(f'<row r="{n}"><c r="A{n}" s="1"/></row>' for n in range(4, 5004))
    seen = workbook([sheet(HEAD, row(2), row(3), empty)])
    assert seen.rows == [2, 3]
    assert seen.tables[0].blank_rows == 0


def test_cells_without_references(workbook):
    """Positions are inferred where they are not written, and columns do not shift."""
    seen = workbook([sheet(row(1, NAMES, refs=False), row(2, refs=False), row(3), row(0, refs=False))])
    assert seen.rows == [2, 3, 4]
    assert seen.cells("performed_by") == ["Ana"] * 3


def test_shared_and_rich_text(workbook):
    """Runs are joined, reading aids left out, escapes undone, and text that begins like a formula is text."""
    shared = (
        f'<sst xmlns="{MAIN}"><si><r><t>A</t></r><r><t xml:space="preserve"> B</t></r></si>'
        "<si><t>工</t><rPh><t>gong</t></rPh></si><si><t>=1+1</t></si><si><t>a_x005F_x0041_b</t></si></sst>"
    )
    rows = [row(n + 2, F=cell(f"F{n + 2}", f"<v>{n}</v>", "s")) for n in range(4)]
    seen = workbook([sheet(HEAD, *rows)], shared=shared)
    assert seen.cells("performed_by") == ["A B", "工", "=1+1", "a_x0041_b"]


def test_rich_text_inside_a_cell(workbook):
    """Runs that stand in the cell itself are joined, and its reading aids left out."""
    inside = '<c r="F2" t="inlineStr"><is><r><t>A</t></r><r><t> B</t></r><rPh><t>gong</t></rPh></is></c>'
    assert workbook([sheet(HEAD, row(2, F=inside))]).cells("performed_by") == ["A B"]


def test_a_repeated_header_is_set_aside(workbook):
    """Tables pasted under each other repeat the header."""
    seen = workbook([sheet(HEAD, row(2), row(3, NAMES), row(4))])
    assert (seen.rows, seen.faults) == ([2, 4], {(3, "", "repeated_header")})


def test_the_stricter_edition_of_the_format(workbook):
    """Strict workbooks differ in their namespaces and are read alike."""
    strict = "http://purl.oclc.org/ooxml/spreadsheetml/main"
    assert workbook([sheet(HEAD, row(2)).replace(MAIN, strict)], main=strict).rows == [2]


# --- refusals -------------------------------------------------------------------------------------------------------


def test_a_far_cell(refused, workbook):
    """One cell in the last corner would make a sheet of 17 thousand million; a blank one in a far column would not."""
    far = f'<row r="1048576">{cell("XFD1048576", "x")}</row>'
    refusal = refused([sheet(HEAD, row(2), far)])
    assert (refusal.code, refusal.place) == ("too_many_cells", "XFD1048576")
    assert workbook([sheet(HEAD, row(2, F=cell("F2", "Ana") + '<c r="XFD2" s="1"/>'))]).rows == [2]


def test_rows_both_sides_of_the_limit(workbook, refused):
    """The last row of the budget is read; a cell below it is refused by name."""
    page = sheet(HEAD, row(2), row(3))
    assert workbook([page], budget=Budget(sheet_rows=3)).rows == [2, 3]
    assert refused([page], budget=Budget(sheet_rows=2)).place == "A3"


def test_columns_both_sides_of_the_limit(workbook, refused):
    """The last column of the budget is read; a filled cell beyond it is refused by name."""
    page = sheet(HEAD, row(2))
    assert workbook([page], budget=Budget(columns=6)).rows == [2]
    assert refused([page], budget=Budget(columns=5)).place == "F1"


def test_cells_both_sides_of_the_limit(workbook, refused):
    """As many cells as the budget allows are read; one more is refused."""
    page = sheet(HEAD, row(2))
    assert workbook([page], budget=Budget(cells=12)).rows == [2]
    assert refused([page], budget=Budget(cells=11)).code == "too_many_cells"


def test_expansion_is_bounded_by_ratio_and_size(workbook, refused):
    """Blanks that inflate a thousandfold are refused by the ratio, but only from a size on; then by the size itself."""
    page = sheet(HEAD, row(2)) + " " * 300_000
    assert workbook([page]).rows == [2]
    refusal = refused([page], budget=Budget(ratio_from_bytes=100_000))
    assert (refusal.code, refusal.place) == ("expands_too_much", "xl/worksheets/sheet1.xml")
    assert refused([page], budget=Budget(member_bytes=100_000)).place == "xl/worksheets/sheet1.xml"
    assert refused([page], budget=Budget(expanded_bytes=100_000)).code == "expands_too_much"


def test_members_both_sides_of_the_limit(workbook, refused):
    """As many parts as the budget allows are read; one more is refused."""
    assert workbook([sheet(HEAD, row(2))], budget=Budget(members=5)).rows == [2]
    assert refused([sheet(HEAD, row(2))], budget=Budget(members=4)).code == "too_many_entries"


@pytest.mark.parametrize("name", ["../../out.txt", "/tmp/out.txt", "..\\out.txt", "C:/out.txt"])
def test_names_that_lead_out(refused, name):
    """A part whose name is a path out of the package is refused, though nothing is ever unpacked."""
    assert refused([sheet(HEAD, row(2))], extra=[(name, "x")]).code == "unsafe_member_name"


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("name", ["xl/worksheets/sheet1.xml", "XL/Worksheets/Sheet1.xml"])
def test_two_parts_of_one_name(refused, name):
    """Two readers would see two different sheets."""
    refusal = refused([sheet(HEAD, row(2))], extra=[(name, sheet(HEAD))])
    assert (refusal.code, refusal.place) == ("corrupt_container", name)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/theme/theme1.xml"])
def test_document_types_are_refused(refused, part, encoding):
    """No workbook declares entities; one that does is after something."""
    dtd = f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>'
    page = (dtd + sheet(HEAD, row(2))).encode(encoding) if part.endswith("sheet1.xml") else sheet(HEAD, row(2))
    shared = (dtd + "<sst/>").encode(encoding) if part.endswith("Strings.xml") else None
    extra = [(part, (dtd + "<theme/>").encode(encoding))] if "theme" in part else []
    refusal = refused([page], shared=shared, extra=extra)
    assert (refusal.code, refusal.place) == ("dtd_forbidden", part)


def test_an_encoding_that_hides_a_document_type(refused):
    """A part in an encoding other than Unicode's could hide what the search looks for."""
    text = '<?xml version="1.0" encoding="cp037"?>' + sheet(HEAD, row(2))
    for hidden, why in ((text.encode("cp037"), "not XML"), (text.encode(), "in the encoding 'cp037'")):
        refusal = refused([hidden])
        assert (refusal.code, why in refusal.sentence) == ("corrupt_container", True)


def test_an_index_beyond_the_shared_texts(refused):
    """A cell that points at no text is damage, named by the cell."""
    shared = f'<sst xmlns="{MAIN}"><si><t>Ana</t></si></sst>'
    refusal = refused([sheet(HEAD, row(2, F=cell("F2", "<v>99</v>", "s")))], shared=shared)
    assert (refusal.code, refusal.place) == ("corrupt_container", "F2")


def test_a_sheet_whose_part_is_missing(refused):
    """A workbook that names a sheet it does not hold is damaged."""
    refusal = refused([None])
    assert (refusal.code, refusal.place) == ("corrupt_container", "xl/worksheets/sheet1.xml")


@pytest.mark.parametrize("spoil", ["</sheetData>", 'r="2"', "<v>"])
def test_xml_that_is_broken(refused, spoil):
    """A sheet that is no XML, or counts its rows backwards, is damaged."""
    page = sheet(HEAD, row(2), row(3)).replace(spoil, {'r="2"': 'r="1"'}.get(spoil, ""), 1)
    assert refused([page]).code == "corrupt_container"


def test_cells_out_of_order(refused):
    """Two cells that claim one place, or step back, are damage."""
    assert refused([sheet(HEAD, row(2, F=cell("E2", "again")))]).place == "E2"


def test_a_cut_package(refusing):
    """An upload cut at two thirds has no directory."""
    data = package([sheet(HEAD, row(2))])
    assert refusing(data[: len(data) * 2 // 3], "log.xlsx").code == "corrupt_container"


def test_a_flipped_bit(refusing):
    """A part that does not match its checksum is not audited."""
    data = bytearray(package([sheet(HEAD, row(2))]))
    name = b"xl/worksheets/sheet1.xml"
    data[data.index(name) + len(name) + 60] ^= 1
    refusal = refusing(bytes(data), "log.xlsx")
    assert (refusal.code, refusal.place) == ("corrupt_container", name.decode())


def test_a_size_that_lies(refusing):
    """Both headers declare fewer bytes than the part has: the running count is the guard."""
    page = sheet(HEAD, row(2)) + " " * 200_000
    data = bytearray(package([page]))
    data = data.replace(struct.pack("<I", len(page)), struct.pack("<I", 1000))
    assert refusing(bytes(data), "log.xlsx").code == "corrupt_container"


def test_an_encrypted_member(refusing):
    """The flag of encryption is told as what it is."""
    data = bytearray(package([sheet(HEAD, row(2))]))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + offset] |= 1
    assert refusing(bytes(data), "log.xlsx").code == "password_protected"


def test_no_sheet_has_the_header(refused):
    """The refusal names the column that is missing from the sheet that came nearest."""
    refusal = refused([sheet(row(1, ["store_id", "equipment_id", "stepp", *NAMES[3:]]), row(2))])
    assert (refusal.code, refusal.place) == ("missing_column", "S1!1:step")


@pytest.mark.parametrize(
    ("code", "shown"),
    [("General", "number"), ("0.00", "number"), ("0.0%", "percent"), ("yyyy-mm-dd", "date"), ("[h]:mm:ss", "length"),
     ('0.0" ppm day"', "number"), ("#,##0.00_);[Red](#,##0.00)", "number"), ("[$-409]d-mmm-yy;@", "date"),
     ("[Red]0.00", "number"), ("@", "number"),     ("0\\d", "number"), ("hh:mm", "date")],
)  # fmt: skip
def test_how_a_format_shows_a_number(code, shown):
    """Letters in quotes, escapes and brackets are no part of a date."""
    assert how_shown(code) == shown
