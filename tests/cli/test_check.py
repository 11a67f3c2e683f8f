"""`cip-audit check` as its users meet it: exit statuses, streams, sentences, and the same bytes every time."""

from __future__ import annotations

import json
import random
import re
import sys
from pathlib import Path

import pytest

from validator.cli import run
from validator.reports import RENDERERS

PACK = """\
pack: two-rules
version: 1.0.0
title: Two rules
procedure: cip
rules:
  - {id: T-FLUSH, title: Flush too short, kind: flush, grade: major, params: {targets: lines, min: PT15M}}
  - {id: T-WHO, title: Nobody named, kind: record, grade: minor, params: {required_fields: [performed_by]}}
"""
REGISTER = """\
stores:
  - store_id: S1
    timezone: America/Chicago
    equipment: [{equipment_id: E1, lines: [line-1, line-2]}]
"""
HEADER = "store_id,equipment_id,cycle_id,procedure,step,target,started_at,ended_at,performed_by\n"


def rows(minutes: int = 15, who: str = "AB", store: str = "S1", cycle: str = "c1") -> str:
    return "".join(
        f"{store},E1,{cycle},cip,flush,line-{n},2026-01-05T2{n}:00,2026-01-05T2{n}:{minutes:02d},{who}\n"
        for n in (1, 2)
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
    (tmp_path / "register.yaml").write_text(REGISTER, "utf-8")
    return tmp_path


def check(folder: Path, capfdbinary, *arguments: str, log: str | None = None) -> tuple[int, bytes, str]:
    """Exit status, standard output, standard error."""
    if log is not None:
        (folder / "log.csv").write_text(log, "utf-8")
        arguments = (str(folder / "log.csv"), *arguments)
    status = run(["check", *arguments, "--rules", str(folder / "pack.yaml"), "--as-of", "2026-01-31"])
    out, err = capfdbinary.readouterr()
    return status, out, err.decode()


def register(folder: Path) -> tuple[str, str]:
    return "--register", str(folder / "register.yaml")


def test_a_clean_log_ends_in_0(folder, capfdbinary) -> None:
    """Judged, nothing at or above --fail-on."""
    assert check(folder, capfdbinary, *register(folder), log=HEADER + rows())[0] == 0


def test_a_major_finding_ends_in_1(folder, capfdbinary) -> None:
    """A flush a minute short is OUT at major, the default of --fail-on."""
    assert check(folder, capfdbinary, *register(folder), log=HEADER + rows(14))[0] == 1


@pytest.mark.parametrize(
    ("fail_on", "status"), [("critical", 0), ("major", 0), ("minor", 1), ("observation", 1), ("never", 0)]
)
def test_fail_on_says_which_grade_fails(folder, capfdbinary, fail_on, status) -> None:
    """A minor finding fails a run that is told to fail on minor ones or lesser."""
    assert check(folder, capfdbinary, *register(folder), "--fail-on", fail_on, log=HEADER + rows(who=""))[0] == status


def test_an_empty_export_is_never_clean(folder, capfdbinary) -> None:
    """No row: nothing could be judged, and the report holds a finding that says so."""
    status, out, _ = check(folder, capfdbinary, *register(folder), "--format", "json", log=HEADER)
    report = json.loads(out)

    assert status == 3
    assert report["summary"]["result"] != "met"
    assert [f["rule"] for f in report["findings"]] == ["empty-export"]


def test_rows_of_another_procedure_are_not_judged(folder, capfdbinary) -> None:
    """No applicable rule ends in 3, with a notice about the rows."""
    status, out, _ = check(folder, capfdbinary, "--format", "json", log=HEADER + rows().replace(",cip,", ",other,"))

    assert status == 3
    assert "other_procedure" in {n["code"] for n in json.loads(out)["notices"]}


def test_a_file_that_cannot_be_read_leaves_the_others_audited(folder, capfdbinary) -> None:
    """Judged in part wins over clean: exit 4, and the report names the file and why."""
    (folder / "broken.csv").write_bytes(b"\x00\x01\x02")
    status, out, _ = check(folder, capfdbinary, str(folder / "broken.csv"), *register(folder), "--format", "json",
                           log=HEADER + rows())  # fmt: skip
    inputs = {Path(i["file"]).name: i for i in json.loads(out)["inputs"]}

    assert status == 4
    assert inputs["broken.csv"]["status"] == "refused"
    assert inputs["broken.csv"]["reason"]
    assert inputs["log.csv"]["rows_used"] == 2


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["nothing-here.csv"], "nothing-here.csv: there is no such file"),
        (["log.csv", "--as-of", "03/04/2026"], "--as-of 03/04/2026: could be more than one date"),
        (["log.csv", "--output", "report.html"], "--output report.html: write it as FORMAT=PATH"),
        (["log.csv", "--rules", "syrup-line-cpi"], "did you mean 'syrup-line-cip'?"),
        (["log.csv", "--register", "absent.yaml"], "absent.yaml: cannot be read: no such file or directory"),
        (["log.csv", "--format", "docx"], "docx"),
        (["log.csv", "--regster", "x"], "--regster"),
    ],
)
def test_wrong_usage_ends_in_2_with_a_sentence(folder, capfdbinary, monkeypatch, arguments, sentence) -> None:
    """The sentence names what was found and what is allowed; nothing is on standard output."""
    monkeypatch.chdir(folder)
    (folder / "log.csv").write_text(HEADER + rows(), "utf-8")
    rules = [] if "--rules" in arguments else ["--rules", "pack.yaml"]
    status = run(["check", *arguments, *rules])
    out, err = capfdbinary.readouterr()

    assert (status, out) == (2, b"")
    assert sentence in err.decode()
    assert "Traceback" not in err.decode()


def test_without_rules_the_procedure_chooses_the_pack(folder, capfdbinary) -> None:
    """Records that name the procedure of a bundled pack need no --rules; others are told what there is."""
    (folder / "log.csv").write_text(HEADER + rows().replace(",cip,", ",periodic-cip,"), "utf-8")
    assert run(["check", str(folder / "log.csv"), "--format", "json"]) in (0, 1)
    assert json.loads(capfdbinary.readouterr()[0])["packs"][0]["id"] == "syrup-line-cip"

    (folder / "log.csv").write_text(HEADER + rows(), "utf-8")
    assert run(["check", str(folder / "log.csv")]) == 2
    told = capfdbinary.readouterr()[1].decode().split("choose one with --rules: ")[1]
    assert "syrup-line-cip (procedure periodic-cip)" in told
    assert "cleaning-records" not in told  # for any procedure, so no procedure chooses it


def test_a_pack_for_any_procedure_counts_no_cycle_twice(folder, capfdbinary) -> None:
    """Beside the pack of the procedure it judges the same cycles, and those of other procedures too."""
    other = rows(cycle="c2").replace(",cip,", ",other,")
    _, out, _ = check(folder, capfdbinary, *register(folder), "--rules", "cleaning-records", "--format", "json",
                      log=HEADER + rows() + other)  # fmt: skip
    report = json.loads(out)

    assert [e["cycles"] for s in report["stores"] for e in s["equipment"]] == [2]
    assert {c["rule"]: c["counts"]["in"] for c in report["checked"]}["REC-WHO"] == 2


def test_standard_input_is_read(folder, capfdbinary, monkeypatch) -> None:
    """`-` stands for standard input."""
    import io
    import sys

    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO((HEADER + rows()).encode())))
    status, out, _ = check(folder, capfdbinary, "-", *register(folder), "--format", "json")

    assert status == 0
    assert json.loads(out)["inputs"][0]["rows_used"] == 2


def stable(out: bytes) -> dict:
    report = json.loads(out)
    report.pop("generated_at")
    return report


def test_the_order_of_the_files_changes_no_byte(folder, capfdbinary) -> None:
    """Two logs named in either order give the same report, `generated_at` aside."""
    (folder / "a.csv").write_text(HEADER + rows(14), "utf-8")
    (folder / "b.csv").write_text(HEADER + rows(13, cycle="c2"), "utf-8")
    both = [str(folder / "a.csv"), str(folder / "b.csv")]
    first = check(folder, capfdbinary, *both, "--format", "json")[1]
    second = check(folder, capfdbinary, *both[::-1], "--format", "json")[1]

    assert stable(first) == stable(second)
    assert json.dumps(stable(first)) == json.dumps(stable(second))


def test_shuffling_rows_and_columns_changes_no_finding(folder, capfdbinary) -> None:
    """Only row numbers and the file's hash differ."""
    lines = (HEADER + rows(14) + rows(12, cycle="c2") + rows(15, who="", cycle="c3")).splitlines()
    body = [line.split(",") for line in lines]
    shuffled = body[1:]
    random.Random(3).shuffle(shuffled)
    order = random.Random(4).sample(range(9), 9)
    mixed = "\n".join(",".join(row[k] for k in order) for row in [body[0], *shuffled]) + "\n"
    plain = stable(check(folder, capfdbinary, "--format", "json", log="\n".join(lines) + "\n")[1])
    other = stable(check(folder, capfdbinary, "--format", "json", log=mixed)[1])
    for report in (plain, other):
        report["inputs"][0].pop("sha256")
        for finding in report["findings"]:
            finding.pop("evidence")
        for notice in report["notices"]:
            notice["message"] = re.sub(r"row \d+", "row", notice["message"])
        for timeline in report["pictures"]["timelines"]:
            for span in timeline["spans"]:
                span.pop("row")

    assert plain == other


def test_files_beside_the_document(folder, capfdbinary) -> None:
    """--output writes further formats; standard output holds one document only."""
    status, out, err = check(folder, capfdbinary, *register(folder), "--format", "json", "--output",
                             f"html={folder / 'r.html'}", "--output", f"json={folder / 'r.json'}", log=HEADER + rows())  # fmt: skip

    assert status == 0
    assert (folder / "r.json").read_bytes() == out
    assert (folder / "r.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert err == ""
    assert sorted(p.name for p in folder.iterdir()) == ["log.csv", "pack.yaml", "r.html", "r.json", "register.yaml"]


def test_two_packs_must_not_share_a_rule(folder, capfdbinary) -> None:
    """The same rule id in two packs would make findings ambiguous."""
    (folder / "second.yaml").write_text(PACK.replace("two-rules", "second"), "utf-8")
    (folder / "log.csv").write_text(HEADER + rows(), "utf-8")
    status = run(
        ["check", str(folder / "log.csv"), "--rules", str(folder / "pack.yaml"), "--rules", str(folder / "second.yaml")]
    )

    assert status == 2
    assert "T-FLUSH stands in both" in capfdbinary.readouterr()[1].decode()


def test_explain_shows_rows_numbers_and_source(folder, capfdbinary) -> None:
    """--explain gives one finding's rows with their values, its arithmetic and its rule; a wrong id is refused."""
    log = HEADER + "S1,E1,c1,cip,flush,line-1,2026-01-05T20:10,,AB\nS1,E1,c1,cip,flush,line-2,2026-01-05T20:22,2026-01-05T20:40,AB\n"
    (folder / "register.yaml").write_text(REGISTER.replace("lines:", "capacities: {flush: 1}, lines:"), "utf-8")
    findings = json.loads(check(folder, capfdbinary, *register(folder), "--format", "json", log=log)[1])["findings"]
    short = next(f for f in findings if f["target"] == "line-1")
    status, out, _ = check(folder, capfdbinary, *register(folder), "--explain", short["id"][:8], log=log)
    text = out.decode()

    assert status == 1
    assert "flush of line-2 ran from 20:22:00, and only one can run at once" in text
    assert "row 3: step flush, target line-2, started_at 2026-01-05T20:22:00-06:00" in text
    assert "margin: 3 min short" in text
    assert "T-FLUSH  Flush too short" in text
    assert check(folder, capfdbinary, *register(folder), "--explain", "nothing", log=log)[0] == 2


def test_what_is_in_by_less_than_the_clock_is_read_is_said(folder, capfdbinary) -> None:
    """15 minutes and 30 seconds between stamps, one column of which is on whole minutes: IN, with a notice."""
    log = HEADER + "S1,E1,c1,cip,flush,line-1,2026-01-05T20:10:00,2026-01-05T20:25:30,AB\n"
    log += "S1,E1,c1,cip,flush,line-2,2026-01-05T20:30:00,2026-01-05T20:50:00,AB\n"
    out = json.loads(check(folder, capfdbinary, *register(folder), "--format", "json", log=log)[1])

    assert "1 check is IN by less than" in {n["code"]: n["message"] for n in out["notices"]}["within_resolution"]
    guarded = json.loads(check(folder, capfdbinary, *register(folder), "--decision", "guarded", "--format", "json", log=log)[1])
    assert [(f["target"], f["reason"]) for f in guarded["findings"]] == [("line-1", "within_uncertainty")]
    assert guarded["decision"] == "guarded"


def test_findings_are_grouped_by_the_plan_on_request(folder, capfdbinary) -> None:
    """Each finding bears its rule's place in the plan; --group plan shows the critical ones first, whatever their grade."""
    plan = (PACK.replace("grade: major,", "grade: major, plan: {control: prerequisite},")
            .replace("grade: minor,", "grade: minor, plan: {control: critical_control_point},"))  # fmt: skip
    (folder / "pack.yaml").write_text(plan, "utf-8")
    log = HEADER + rows(14, who="")
    findings = json.loads(check(folder, capfdbinary, *register(folder), "--format", "json", log=log)[1])["findings"]
    text = check(folder, capfdbinary, *register(folder), "--group", "plan", log=log)[1].decode()
    usual = check(folder, capfdbinary, *register(folder), log=log)[1].decode()

    assert {(f["rule"], f["control"]) for f in findings} == {
        ("T-FLUSH", "prerequisite"), ("T-WHO", "critical_control_point"),
    }  # fmt: skip
    assert text.index("Critical control points, minor: 1 finding") < text.index("Prerequisites, major: 2 findings")
    assert usual.index("Major: 2 findings") < usual.index("Minor: 1 finding")


def test_units_are_the_readers_and_json_stays(folder, capfdbinary) -> None:
    """The same audit in US units: a printed pair shows its other side, a recorded value stands, JSON is the same bytes."""
    text = PACK.replace("params: {required_fields: [performed_by]}", "cites: [{source: s, says: At least 24 °C/75 °F}]")
    text = text.replace("kind: record", "kind: concentration, params: {agent: quat, table: [{temperature_c: {min: 24 °C/75 °F}}]}")
    (folder / "pack.yaml").write_text(text + "sources: {s: {title: Code}}\n", "utf-8")
    log = HEADER.strip() + ",agent,concentration_ppm,temperature_f\n" + "".join(f"{r},,,\n" for r in rows().split()[:1])
    log += "S1,E1,c1,cip,test_solution,,2026-01-05T20:00,2026-01-05T20:01,AB,quat,200,74\n"
    arguments = ("--fail-on", "never", *register(folder))

    shown = {u: check(folder, capfdbinary, *arguments, "--units", u, log=log)[1].decode() for u in ("si", "us")}
    machine = [
        json.loads(check(folder, capfdbinary, *arguments, "--format", "json", "--units", u, log=log)[1]) for u in ("si", "us")
    ]

    assert "200 ppm at 74 °F (23.3 °C)" in shown["si"]
    assert "At least 24 °C." in shown["si"]
    assert re.search(r"200 ppm at 74 °F fits", shown["us"])
    assert "At least 75 °F." in shown["us"]
    assert machine[0]["findings"] == machine[1]["findings"]
    assert check(folder, capfdbinary, *arguments, "--units", "imperial", log=log)[0] == 2


def test_every_format_is_written_beside_the_report(folder, capfdbinary) -> None:
    """One run, a file for each form, and nothing but the report on standard output."""
    paths = {name: folder / f"report.{renderer.extension}" for name, renderer in RENDERERS.items()}
    outputs = [part for name, path in paths.items() for part in ("--output", f"{name}={path}")]
    status, out, _ = check(folder, capfdbinary, *register(folder), *outputs, log=HEADER + rows(10))

    assert status == 1
    assert out == paths["text"].read_bytes()
    assert all(path.stat().st_size for path in paths.values())


@pytest.mark.parametrize("name", [name for name, renderer in RENDERERS.items() if renderer.binary])
def test_what_is_no_text_is_not_printed_into_a_terminal(folder, capfdbinary, monkeypatch, name: str) -> None:
    """Into a pipe it goes as it is; on a screen it would be noise, so that a sentence says where it belongs."""
    status, out, _ = check(folder, capfdbinary, "--format", name, *register(folder), log=HEADER + rows())
    assert (status, out[:2]) == (0, b"%P" if name == "pdf" else b"PK")

    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    status, out, said = check(folder, capfdbinary, "--format", name, *register(folder), log=HEADER + rows())
    assert (status, out) == (2, b"")
    assert f"write it as --output {name}=PATH" in said


def test_a_folder_holds_a_page_of_all_stores_and_one_of_each(folder, capfdbinary) -> None:
    """html=FOLDER/ makes the folder; its first page links to the others by relative paths that are there."""
    pages = folder / "new" / "pages"
    status, _, err = check(folder, capfdbinary, *register(folder), "--output", f"html={pages}/", log=HEADER + rows())
    index = (pages / "index.html").read_text("utf-8")
    links = re.findall(r'href="(stores/[^"#]+)', index)

    assert (status, err) == (0, "")
    assert links
    assert {pages / link for link in links} == set(pages.glob("stores/*.html"))
    assert 'href="../index.html"' in (pages / links[0]).read_text("utf-8")


@pytest.mark.parametrize("format_", ["json", "pdf"])
def test_a_folder_is_refused_where_one_file_is_written(folder, capfdbinary, format_) -> None:
    """The sentence says which format can be a folder, before anything is read."""
    status, out, err = check(folder, capfdbinary, "--output", f"{format_}={folder}/", log=HEADER + rows())

    assert (status, out) == (2, b"")
    assert "is a folder, which only html can be written to; name a file" in err


def test_a_json_report_beside_a_folder_is_the_json_report_alone(folder, capfdbinary) -> None:
    """What else is written changes no byte of a format."""
    once = check(folder, capfdbinary, *register(folder), "--format", "json", log=HEADER + rows())[1]
    again = check(folder, capfdbinary, *register(folder), "--format", "json", "--output", f"html={folder}/p/", log=HEADER + rows())[1]

    def without_time(document):
        return re.sub(r'"generated_at": "[^"]*"', "", document if isinstance(document, str) else document.decode())

    assert without_time(once) == without_time(again)
