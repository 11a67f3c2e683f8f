"""Whatever text a cell holds, every report shows it as text and only as text."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from validator.cli import run
from validator.findings import Report
from validator.reports import RENDERERS
from validator.reports.visible import SENTENCE_LIMIT, sentence, without_surrogates

from .csv_files import ESCAPES, FORMULAS, HEADER, MARKUP, line, lines
from .plausible import record

ACTING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""What acts on a terminal, or turns the text around it: never raw in any format."""
TEXTS = st.one_of(
    st.text(max_size=60),
    st.text(st.characters(categories=["Cc", "Cf", "Zl", "Zp", "Cs", "Co"]), max_size=12),
    st.text("<>&\"'/=!-{}[]%$#`\\|*_~@+\r\n\t ;:,.abc01", max_size=40),
)
_LOG = lines(HEADER, line(record(0, target="line-1"))).encode()


def hostile(test: Callable) -> Callable:
    """Any text, and those that the corpus brings in files."""
    for text in (*FORMULAS, *MARKUP, *ESCAPES, "\u202eabc", "\u2028x", "\ud800", "]]>", "</script>", "\x85\x90\x9b31m"):
        test = example(text)(test)
    quick = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
    return quick(given(TEXTS)(test))


@pytest.fixture(scope="session")
def plain(tmp_path_factory) -> Report:
    """The report on one short flush, whose evidence holds cells of the log."""
    from validator.cli.check import judge_files
    from validator.cli.waiting import Waiting

    folder: Path = tmp_path_factory.mktemp("escaping")
    (folder / "log.csv").write_bytes(_LOG)
    (folder / "pack.yaml").write_text(
        "pack: p\nversion: 1.0.0\nprocedure: periodic-cip\nrules:\n"
        "  - {id: P-TOO-SHORT, title: Too short, kind: contact, params: {steps: [mix_solution], min: PT60M}}\n"
    )
    report = judge_files(
        [str(folder / "log.csv")], [str(folder / "pack.yaml")], None, "2026-12-31", "", Waiting("reading")
    ).report
    assert report.findings
    return report


MARK = "Mark"


def holding(report: Report, text: str) -> Report:
    """The report with the text in a finding's message, in the value of a row that it shows, in a defect and as a store."""
    from validator.findings import RecordDefect

    told = f"{MARK}{text}{MARK}"
    finding = report.findings[0]
    rows = tuple(replace(row, values=tuple(told for _ in row.values)) for row in finding.evidence)
    finding = replace(finding, message=told, evidence=rows, target=told, equipment_id=told)
    defect = RecordDefect("log.csv", "", 2, "note", "bad_number", told)
    return replace(report, findings=(finding,), record_defects=(defect,))


class Structure(HTMLParser):
    """The tags of a page with their attributes' names, and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, ...]] = []
        self.text: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, *(name for name, _ in attrs)))

    def handle_endtag(self, tag):
        self.tags.append((f"/{tag}",))

    def handle_data(self, data):
        self.text.append(data)

    def handle_comment(self, data):
        self.tags.append(("!",))


def strings(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from (key, *strings(item))
    elif isinstance(value, list):
        for item in value:
            yield from strings(item)


def packed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("name", RENDERERS)
@hostile
def test_a_cell_is_text_in_every_format(plain, name, text):
    """No format lets a character through that acts on a screen, and none fails over what a cell holds."""
    written = RENDERERS[name].render(holding(plain, text))
    if written[:4] in (b"PK\x03\x04", b"%PDF"):
        return  # not shown by a terminal
    found = ACTING.search(written.decode("utf-8"))
    assert found is None, f"U+{ord(found[0]):04X}"


@hostile
def test_json_holds_the_text_itself(plain, text):
    """Programs get what the cell holds, half characters alone spelled out."""
    found = set(strings(json.loads(RENDERERS["json"].render(holding(plain, text)))))
    assert without_surrogates(f"{MARK}{text}{MARK}") in found


@hostile
def test_html_shows_the_text_and_obeys_none_of_it(plain, text):
    """The page has the tags and attributes that it has with a harmless text, and says what the cell holds."""
    page = Structure(RENDERERS["html"].render(holding(plain, text)).decode())
    assert page.tags == Structure(RENDERERS["html"].render(holding(plain, "")).decode()).tags
    assert packed(sentence(f"{MARK}{text}{MARK}", SENTENCE_LIMIT)) in packed("".join(page.text))


@hostile
def test_text_says_it(plain, text):
    """The text report says what the cell holds, what cannot be seen spelled out."""
    written = RENDERERS["text"].render(holding(plain, text)).decode()
    assert packed(sentence(f"{MARK}{text}{MARK}")) in packed(written)


# --- the ways to a terminal beside the report ----------------------------------------------------------------------

ESCAPE = "\x1b[2J\x1b]0;met\x07\x9b31m\u202e"


@pytest.mark.skipif(sys.platform == "darwin", reason="its file names are Unicode only")
@pytest.mark.parametrize(
    "arguments",
    [["check", f"none{ESCAPE}.csv"], ["check", f"-{ESCAPE}"], [f"chekc{ESCAPE}"], ["check", "x.csv", "--rules", f"p{ESCAPE}"],
     ["check", "x.csv", "--limit", f"rows{ESCAPE}=1"], ["check", f"two\nlines{ESCAPE}.csv"], ["rules", "explain", f"X{ESCAPE}"],
     ["mapping", "draft", f"none{ESCAPE}.csv"]],
)  # fmt: skip
def test_an_error_shows_a_name_as_text(tmp_path, monkeypatch, capfd, arguments):
    """A name from the command line or a folder's listing is spelled out in the one line that speaks of it."""
    monkeypatch.chdir(tmp_path)
    Path("x.csv").write_bytes(_LOG)
    assert run(arguments) == 2
    out, err = capfd.readouterr()
    assert ACTING.search((out + err).replace("\n", "")) is None
    assert "\\x1b" in err


@pytest.mark.parametrize("command", ["draft", "check"])
def test_a_mapping_shows_cells_as_text(tmp_path, monkeypatch, capfd, command):
    """Headers and cells that a look at a file prints are spelled out."""
    monkeypatch.chdir(tmp_path)
    Path("x.csv").write_text(f'store_id,equipment_id,step,started_at,"odd{ESCAPE}"\nS1,E1,flush,"9{ESCAPE}","<{ESCAPE}>"\n')
    Path("m.yaml").write_text("mapping: m\nfiles:\n  - match: '*'\n    columns: {store_id: store_id, equipment_id: equipment_id, "
                              "step: step, started_at: started_at}\n")  # fmt: skip
    run(["mapping", command, "x.csv", *(["--mapping", "m.yaml"] if command == "check" else [])])
    out, err = capfd.readouterr()
    assert ACTING.search((out + err).replace("\n", "")) is None
    assert "odd" in out


@pytest.mark.parametrize("escape", [r"\x1b[2J", r"\u009b", r"\u202e", r"\x07"])
def test_a_pack_cannot_hold_them(tmp_path, capfd, escape):
    """A title that would act on the screen is refused, with its line and the character."""
    (tmp_path / "p.yaml").write_text(
        f'pack: p\ntitle: "x{escape}"\nrules:\n  - {{id: P-A, title: x, kind: contact, params: {{min: PT1M}}}}\n'
    )
    assert run(["rules", "list", "--rules", str(tmp_path / "p.yaml")]) == 2
    err = capfd.readouterr().err
    assert "line 2: title: holds the character U+" in err
    assert ACTING.search(err.replace("\n", "")) is None
