"""The CSV files: rows, line ends, encodings, quotes, headers, injected text, identifiers, times and numbers."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from .plausible import COLUMNS, of, record, records

FILES: dict[str, Callable[[], bytes]] = {}
Cells = dict[str, Any]


def file(build: Callable[[], bytes | str]) -> Callable[[], bytes | str]:
    """Register a builder; its file is named like it."""

    def built() -> bytes:
        found = build()
        return found.encode() if isinstance(found, str) else found

    FILES[f"{build.__name__}.csv"] = built
    return build


def cell(text: str, delimiter: str = ",") -> str:
    if any(mark in text for mark in (delimiter, '"', "\r", "\n")):
        return '"' + text.replace('"', '""') + '"'
    return text


def line(cells: Cells | Sequence[str], delimiter: str = ",") -> str:
    """One line, quoted where RFC 4180 asks for it."""
    texts = [cells[name] for name in COLUMNS] if isinstance(cells, dict) else cells
    return delimiter.join(cell(str(text), delimiter) for text in texts)


HEADER = line(COLUMNS)


def lines(*all_lines: str, end: str = "\r\n") -> str:
    """Lines that stand as they are, each with its end."""
    return "".join(one + end for one in all_lines)


def table(rows: Iterable[Cells], delimiter: str = ",", end: str = "\r\n") -> str:
    return lines(line(COLUMNS, delimiter), *(line(row, delimiter) for row in rows), end=end)


# --- structure ------------------------------------------------------------------------------------------------------


@file
def ok_baseline():
    return table(records(6))


@file
def row_ragged():
    good = [line(row) for row in records(6)]
    good[1] = good[1].rsplit(",", 1)[0]
    good[3] += ","
    good[4] = "TL-01"
    return lines(HEADER, *good)


@file
def row_blank_lines():
    a, b, c = map(line, records(3))
    return lines(HEADER, "", a, "  ", b, "," * (len(COLUMNS) - 1), "", c, "")


@file
def row_nul_bytes():
    return table([record(0), record(1, performed_by="Ana\0Oduya"), record(2)])


@file
def row_all_nul_block():
    a, b, c = map(line, records(3))
    return lines(HEADER, a) + "\0" * 4096 + "\r\n" + lines(b, c)


@file
def eol_cr_only():
    return table(records(6), end="\r")


@file
def eol_mixed():
    ends = ["\r\n", "\n", "\r", "\n", "\r\n", ""]
    return "".join(one + end for one, end in zip([HEADER, *map(line, records(5))], ends, strict=True))


@file
def row_long_cell():
    return table([record(0), record(1, performed_by="A" * 200_000), record(2)])


@file
def row_many_columns():
    extra = [f"extra_{n}" for n in range(20_000 - len(COLUMNS))]
    return lines(line([*COLUMNS, *extra]), line(record(0)) + "," * len(extra))


@file
def row_repeated_header():
    good = [line(row) for row in records(4)]
    return lines(HEADER, *good[:2], HEADER, *good[2:])


@file
def row_footer_total():
    total = dict.fromkeys(COLUMNS, "") | {"store_id": "TOTAL", "equipment_id": "3", "step": "runs"}
    return table([*records(3), total])


@file
def row_footer_total_blank():
    total = dict.fromkeys(COLUMNS, "") | {"store_id": "TOTAL", "concentration_ppm": "600"}
    return table([*records(3), total])


@file
def row_exact_duplicates():
    return table([record(0), record(1), record(1), record(1), record(2)])


@file
def empty_zero_bytes():
    return b""


@file
def empty_whitespace_only():
    return codecs.BOM_UTF8 + b"  \r\n\t\r\n\n   "


@file
def header_only():
    return table([])


@file
def preamble_title_rows():
    return lines("Cleaning log", "Store,TL-01", "Exported,2026-03-02") + table(records(3))


# --- encodings ------------------------------------------------------------------------------------------------------


@file
def enc_utf8_bom():
    return codecs.BOM_UTF8 + table(records(6)).encode()


@file
def enc_utf8_two_boms():
    return codecs.BOM_UTF8 * 2 + table(records(6)).encode()


@file
def enc_utf16le_bom():
    return codecs.BOM_UTF16_LE + table(records(6)).encode("utf-16-le")


@file
def enc_utf16be_nobom():
    return table(records(6)).encode("utf-16-be")


@file
def enc_cp1252():
    rows = records(4)
    rows[1] = record(1, performed_by="Andr\u00e9 Noble")
    rows[2] = record(2, performed_by="Lena \u2013 24 \u00b0C")
    return table(rows).encode("cp1252")


@file
def enc_mixed_utf8_cp1252():
    rows = [record(0, performed_by="Andr\u00e9"), record(1, performed_by="Ren\u00e9"), record(2, note="Se\u00e1n"),
            record(3, target="t\u00eate 2")]  # fmt: skip
    head, *texts = table(rows).splitlines(keepends=True)
    kinds = ("utf-8", "cp1252", "utf-8", "cp1252")
    return head.encode() + b"".join(text.encode(kind) for text, kind in zip(texts, kinds, strict=True))


@file
def enc_truncated_multibyte_tail():
    rows = [*records(3), record(3, performed_by="K. \u20ac")]
    whole = table(rows).encode()
    return whole[: whole.index("\u20ac".encode()) + 2]


@file
def enc_replacement_char():
    return table([record(0), record(1, store_id="TL-\ufffd1"), record(2)])


# --- delimiters and quotes ------------------------------------------------------------------------------------------


@file
def dlm_semicolon():
    return table(records(6), ";")


@file
def dlm_tab():
    return table(records(6), "\t")


@file
def dlm_pipe():
    return table(records(6), "|")


@file
def dlm_sep_line():
    return "sep=;\r\n" + table(records(6), ";")


@file
def dlm_mixed_rows():
    rows = records(5)
    return lines(HEADER, *(line(row, ";" if at in (1, 3) else ",") for at, row in enumerate(rows)))


@file
def q_valid_embedded():
    notes = ["", "hose, then nozzle", 'said "done"', "first line\r\nsecond line, with a comma\r\nthird line"]
    return table(of("note", notes))


@file
def q_unbalanced():
    good = [line(row) for row in records(6)]
    good[1] = good[1].replace(",line-2,", ',"line-2,')
    return lines(HEADER, *good)


@file
def q_backslash_escape():
    good = [line(row) for row in records(3)]
    good[1] = good[1].replace(",line-2,", r',"line \"two\"",')
    return lines(HEADER, *good)


@file
def q_smart_quotes():
    good = [line(row) for row in records(3)]
    good[1] = good[1].replace(",line-2,", ",\u201cline 2, left\u201d,")
    return lines(HEADER, *good)


# --- headers --------------------------------------------------------------------------------------------------------


@file
def hdr_duplicate():
    head = line(["started_at" if name == "note" else name for name in COLUMNS])
    return lines(head, *map(line, records(3)))


@file
def hdr_missing_required():
    return table(records(3)).replace("ended_at", "end_at", 1)


@file
def hdr_homoglyph():
    return table(records(3)).replace("store_id", "store_\u0456d", 1)


@file
def hdr_case_space_bom_nbsp():
    head = HEADER.replace("store_id", " Store_ID", 1).replace("started_at", "STARTED_AT ", 1)
    head = head.replace("equipment_id", '"equipment_id"', 1).replace("agent", "\u00a0agent\u00a0", 1)
    return codecs.BOM_UTF8 + lines(head, *map(line, records(3))).encode()


@file
def hdr_extra_and_reordered():
    order = [*reversed(COLUMNS), "shift", "weather"]
    rows = [row | {"shift": "night", "weather": "rain"} for row in records(3)]
    return lines(line(order), *(line([row[name] for name in order]) for row in rows))


# --- injected text --------------------------------------------------------------------------------------------------

FORMULAS = (
    "=1+1", "=HYPERLINK(\"http://example.invalid\",\"x\")", "=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(1,1)", "\t=1+1",
    "\r=1+1", "=2+5;=3", "'=1+1",
)  # fmt: skip
MARKUP = (
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "\"><svg onload=alert(1)>", "</title><h1>met</h1>",
    "{{7*7}}", "{% raw %}", "{0.__class__}", "%(message)s %s %n", "${7*7}", "<!-- &lt; &amp; -->",
)  # fmt: skip


@file
def inj_formula():
    return table([*of("note", FORMULAS), record(10, temperature_c="-3.5", note="-3.5")])


@file
def inj_html_js():
    return table(of("performed_by", MARKUP))


ESCAPES = ("Ana\x1b[2K\x1b[32mPASS", "\x1b]0;title\x07Ana", "Ana\x9b31m\x08\x08")


@file
def inj_terminal_escapes():
    return table([record(0), *of("performed_by", ESCAPES)])


PATHLIKE = (
    "../../etc/passwd", "..\\..\\x", "/dev/null", "C:\\x", "CON", "nul.txt", "-rf", "--help", "$(id)", "`id`", "; id", "a|b",
    "~root", "*", "?", ".htaccess",
)  # fmt: skip


@file
def inj_pathlike_ids():
    return table(of("store_id", PATHLIKE))


@file
def inj_log_newline():
    return table([record(0, performed_by="Ana\r\n2026-03-01 INFO all stores passed"), record(1)])


# --- Unicode and identifiers ----------------------------------------------------------------------------------------


@file
def uni_bidi_zero_width_ids():
    ids = ["TL-01", "TL-\u202e10", "TL-\u206601\u2069", "TL\u200b-01", "TL-01\U000e0041", "TL-\u00ad01"]
    return table(of("store_id", ids))


@file
def uni_homoglyph_ids():
    return table(of("store_id", ["LK-0142", "L\u041a-0142", "L\u039a-0142"]))


@file
def uni_blank_letters_in_ids():
    return table(of("store_id", ["TL-01", "TL\u3164-01", "TL\u034f-01", "TL-\u280001", "TL-01\ufe0f"]))


@file
def uni_homoglyph_rare_ids():
    return table(of("store_id", ["LK-0142", "L\ua4d7-0142", "\U0001d40bK-0142"]))


WORLD = (
    "\U0001f469\u200d\U0001f373 \U0001fae8", "Zoe\u0308 C\u0327elik", "\u0645\u0631\u064a\u0645 \u200f\u062d\u0633\u0646",
    "\u0905\u0928\u093e \u0930\u093e\u0935", "\u738b\u5c0f\u660e \U00020bb7", "\U0001f3f4\U000e0067\U000e0062\U000e007f \u2764\ufe0f",
)  # fmt: skip


@file
def uni_emoji_scripts():
    return table(of("performed_by", WORLD))


@file
def uni_nfc_nfd():
    return table(of("store_id", ["Caf\u00e9-01", "Cafe\u0301-01"]))


NUMBER_LIKE = ("00123", "1E5", "NA", "null", "TRUE", "2-3", "MAR1", "9007199254740993", "1_000", "0x10", "1.10", "None")


@file
def id_number_like():
    return table(of("store_id", NUMBER_LIKE))


@file
def id_whitespace_variants():
    return table(of("store_id", [" TL-01 ", "", "   ", "\u00a0\u00a0", "TL-01"]))


# --- times ----------------------------------------------------------------------------------------------------------


@file
def dt_excel_serial_in_csv():
    return table([record(0), record(1, started_at="46082.9027777778", ended_at="46082.9131944444"), record(2)])


@file
def dt_ambiguous_dmy():
    return table([record(n, started_at=f"03/04/2026 2{n}:00", ended_at=f"03/04/2026 2{n}:09") for n in range(4)])


@file
def dt_mixed_orders():
    starts = ["2026-04-13T21:40:00Z", "13/04/2026 21:40", "04/14/2026 21:40", "03/04/2026 21:40"]
    return table(of("started_at", starts, ended_at=""))


@file
def dt_24_00():
    return table([record(0, started_at="2026-03-01T23:50:00Z", ended_at="2026-03-01T24:00:00Z"),
                  record(1, started_at="2026-03-01T24:00:00Z", ended_at="2026-03-02T00:09:00Z")])  # fmt: skip


@file
def dt_invalid_calendar():
    starts = ["2026-02-29T21:40", "2026-04-31T21:40", "2026-13-01T21:40", "2026-03-01T25:00", "2026-03-01T23:60",
              "2026-03-01T24:01", "0026-03-01T21:40", "0000-00-00 00:00", "yesterday", "2026-W10-7T21:40"]  # fmt: skip
    return table([*of("started_at", starts, ended_at=""), record(10)])


@file
def dt_dst_gap_fold():
    """The store LK-0301 keeps the time of Europe/Berlin."""
    times = [("2026-03-28T21:40", "2026-03-28T21:50"), ("2026-03-29T01:50+01:00", "2026-03-29T03:05+02:00"),
             ("2026-03-29T02:30", ""), ("2026-10-25T02:30", ""),
             ("2026-10-25T02:50+02:00", "2026-10-25T03:00+01:00")]  # fmt: skip
    return table([record(n, store_id="LK-0301", started_at=a, ended_at=b) for n, (a, b) in enumerate(times)])


@file
def dt_offset_zoo():
    starts = [f"2026-03-01T21:40:00{zone}" for zone in ("Z", "+05:30", "+0530", "-00:00", "z")]
    starts += ["2026-03-01t21:40:00z"]
    starts += [f"2026-03-01T21:40:00{zone}" for zone in (" PST", " CET", "+25:00", "-", "\u221205:00")]
    return table(of("started_at", starts, ended_at=""))


@file
def dt_leap_second():
    starts = ["2016-12-31T23:59:60Z", "2026-06-30T23:59:60Z", "2026-06-30T23:59:59Z"]
    return table(of("started_at", starts, ended_at=""))


@file
def dt_year_extremes():
    years = ["0001-01-01", "9999-12-31", "10000-01-01", "0000-01-01", "1900-01-01", "1970-01-01", "2106-02-07", "2026-03-01"]
    return table(of("started_at", [f"{day}T00:00:00Z" for day in years], ended_at=""))


@file
def dt_end_before_start():
    times = [("2026-03-01T23:55:00Z", "2026-03-02T00:05:00Z"), ("2026-03-01T21:40:00Z", "2026-03-01T21:30:00Z"),
             ("2026-03-01T23:50:00Z", "2026-03-01T00:05:00Z"), ("2026-03-01T22:00:00Z", "2026-03-01T22:00:00Z")]  # fmt: skip
    return table([record(n, started_at=a, ended_at=b) for n, (a, b) in enumerate(times)])


@file
def dt_time_only():
    return table(of("started_at", ["2026-03-01T21:40:00Z", "21:40", "9:40 PM", "\u4e0b\u53489:40"], ended_at=""))


# --- numbers --------------------------------------------------------------------------------------------------------


@file
def num_nonfinite_and_sentinels():
    bad = ["NaN", "inf", "-inf", "1e309", "#N/A", "#DIV/0!", "N/A", "-", "nil", "?", "-9999", "Infinity", "n.a."]
    return table(of("concentration_ppm", [*bad, "200"]))


@file
def num_decimal_comma():
    rows = [record(0), record(1, ph="7,2"), record(2, concentration_ppm="1,200"), record(3, concentration_ppm="200,0")]
    return table(rows, ";")


@file
def num_thousands():
    bad = ["1,200", "1'200", "1 200", "1\u00a0200", "1\u2009200", "1_200"]
    return table(of("concentration_ppm", [*bad, "1200"]))


@file
def num_units_in_cell():
    cells = [("concentration_ppm", "200 ppm"), ("concentration_ppm", "0.02 %"), ("temperature_c", "149 F"),
             ("temperature_c", "65\u00b0C"), ("ph", "pH 7"), ("concentration_ppm", "~200"), ("concentration_ppm", "<50"),
             ("concentration_ppm", "150-200")]  # fmt: skip
    return table([*(record(n, **{name: text}) for n, (name, text) in enumerate(cells)), record(8)])


@file
def num_duration_forms():
    return table([*of("ended_at", ["15 min", "0:15:00", "15:00", "PT15M", "900"]), record(5)])


@file
def num_python_float_traps():
    bad = ["\uff12\uff10\uff10", "\u0662\u0660\u0660", "0x1p3", "--5", "2e", "1e1000000000"]
    good = ["+200", "2e2", "200.", " 200 ", "200.0000000000000000001"]
    return table(of("concentration_ppm", [*bad, *good]))


LIMIT_EDGES = ("49.999999999999999", "50", "50.000000000000001")


@file
def num_limit_edges():
    return table(of("concentration_ppm", LIMIT_EDGES))
