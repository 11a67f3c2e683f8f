"""The house itself: layers, entries at the top, schemas that are not stale, a package that works away from its tree."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from validator import kinds
from validator.documents import as_json, read
from validator.readers import READERS
from validator.reports import RENDERERS
from validator.schemas import NAMES, faults_by_schema, schema, text_of

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "validator"
LAYERS = [
    {"budget", "errors", "places", "statuses"},
    {"language"},
    {"findings", "quantities", "tables", "units"},
    {"timing", "fields"},
    {"documents"},
    {"register", "deviations", "mapping"},
    {"records", "frame", "machines"},
    {"assembly"},
    {"steps", "presence"},
    {"versions"},
    {"cycles"},
    {"kinds"},
    {"packs", "readers"},
    {"grading"},
    {"engine"},
    {"reports", "catalogue", "schemas", "handbook", "drafting", "schedule", "sheet", "translating"},
    {"demo"},
    {"cli"},
]
"""Each stop imports only what stands before it, or within its own line."""
# a case of a rule is tried the way a user's file goes, so that one module of `packs` reaches for reader and engine
ALLOWED = {("packs.cases", "engine")}


def modules() -> dict[str, set[str]]:
    """Each module of the package with the modules of the package that it imports."""
    found: dict[str, set[str]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        imported: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("validator"):
                inner = node.module.removeprefix("validator").lstrip(".")
                imported |= {f"{inner}.{a.name}".lstrip(".") for a in node.names} if not inner else {inner}
            if isinstance(node, ast.Import):
                imported |= {a.name.removeprefix("validator.") for a in node.names if a.name.startswith("validator.")}
        found[name.removesuffix(".__init__")] = imported
    return found


def layer(module: str) -> int:
    top = module.split(".")[0]
    return next(n for n, line in enumerate(LAYERS) if top in line)


def test_every_module_has_its_layer() -> None:
    """A new room is added to a floor on purpose."""
    tops = {m.split(".")[0] for m in modules()} - {"__init__"}

    assert tops == set().union(*LAYERS)


def test_imports_go_one_way() -> None:
    """Data flows one way; nothing imports what stands after it."""
    upward = [
        (module, other) for module, imported in modules().items() if module != "__init__" for other in imported
        if other and other != "__version__" and layer(other) > layer(module)
        and (module, other.split(".")[0]) not in ALLOWED
    ]  # fmt: skip

    assert upward == []


def test_nothing_else_stands_at_the_top() -> None:
    """The design card's entries, and hidden ones."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode != 0:
        pytest.skip("not in a git checkout")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}

    assert {t for t in tops if not t.startswith(".")} <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "validator", "rules", "schemas", "tests", "fixtures",
    }  # fmt: skip


@pytest.mark.parametrize("folder", ["kinds", "readers", "reports"])
def test_registries_miss_nothing(folder: str) -> None:
    """Every kind, reader and renderer in its folder is registered under its own name."""
    registered = {
        "kinds": {m.rsplit(".", 1)[1] for m in kinds.MODULES.values()},
        "readers": {m.rsplit(".", 1)[1] for m in READERS.values()},
        "reports": {r.module.rsplit(".", 1)[1] for r in RENDERERS.values()},
    }[folder]
    needed = {"kinds": "TIGHTER", "readers": "def read(", "reports": "def render("}[folder]
    found = {
        p.stem for p in (PACKAGE / folder).glob("*.py")
        if (re.search(rf"^{re.escape(needed)}", p.read_text("utf-8"), re.M) and "budget: Budget" in p.read_text("utf-8") * 1)
        or (folder != "readers" and re.search(rf"^{re.escape(needed)}", p.read_text("utf-8"), re.M))
    }  # fmt: skip

    assert registered <= found
    assert {n for n in found - registered if folder == "kinds"} == set()


@pytest.mark.parametrize("name", NAMES)
def test_stored_schemas_are_not_stale(name: str) -> None:
    """`cip-audit schema NAME` prints what stands in schemas/, which is a valid schema of its dialect."""
    stored = (ROOT / "schemas" / f"{name}.schema.json").read_text("utf-8")

    assert stored == text_of(name), f"run: cip-audit schema {name} > schemas/{name}.schema.json"
    jsonschema.Draft202012Validator.check_schema(json.loads(stored))


def test_every_stored_schema_has_its_name() -> None:
    """No schema lies there that nothing makes."""
    assert {p.name for p in (ROOT / "schemas").iterdir()} == {f"{n}.schema.json" for n in NAMES}


@pytest.mark.parametrize("path", sorted((ROOT / "rules").rglob("*.yaml")), ids=lambda p: f"{p.parent.name}/{p.name}")
def test_schemas_accept_what_the_models_accept(path: Path) -> None:
    """Every bundled YAML file is valid by its schema as well."""
    assert faults_by_schema({"pack": "pack", "rule": "rule", "clauses": "clauses", "cases": "cases"}[path.stem],
                            as_json(read(path).data)) == []  # fmt: skip


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("register", {"stores": [{"store_id": "S", "equipmnt": []}]}),
        (
            "register",
            {"stores": [{"store_id": "S", "equipment": [{"equipment_id": "E", "in_service_on": "2026-02-30"}]}]},
        ),
        ("rule", {"id": "T-A", "title": "t", "kind": "flush", "params": {"min": "15:00"}}),
        ("rule", {"id": "T-A", "title": "t", "kind": "flush", "params": {"min": "P1M"}}),
        ("rule", {"id": "T-A", "title": "t", "kind": "flush", "params": {"min": "PT15M", "maxx": 3}}),
        ("rule", {"id": "T-A", "title": "t", "kind": "rinse", "params": {}}),
        ("record", {"store_id": "S", "equipment_id": "E", "step": "flush"}),
        ("record", {"store_id": "S", "equipment_id": "E", "step": "flush", "started_at": "x", "ph": 15}),
    ],
)
def test_schemas_refuse_what_the_models_refuse(name: str, data: dict) -> None:
    """A wrong key, date, duration, kind or value is a fault by the schema too."""
    assert faults_by_schema(name, data)


def test_modules_say_what_they_answer() -> None:
    """Every module has a docstring, and no module a name that says nothing."""
    for path in PACKAGE.rglob("*.py"):
        assert ast.get_docstring(ast.parse(path.read_text("utf-8"))), path
        assert path.stem not in {"utils", "helpers", "manager", "common"}, path


def test_a_schema_is_printed_for_each_name() -> None:
    """Nothing but the names offered is a schema."""
    assert all(schema(name)["$schema"].endswith("2020-12/schema") for name in NAMES)
    with pytest.raises(KeyError):
        schema("nothing")


def test_the_wheel_works_away_from_its_tree(tmp_path: Path) -> None:
    """A built wheel carries rules and schemas: unpacked elsewhere, with no source tree about, it lists and explains."""
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)], cwd=ROOT, capture_output=True,
        text=True,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    site = tmp_path / "site"
    subprocess.run([sys.executable, "-m", "zipfile", "-e", str(wheel), str(site)], check=True)
    environment = {**os.environ, "PYTHONPATH": str(site), "PYTHONSAFEPATH": "1"}
    where = subprocess.run([sys.executable, "-P", "-c", "import validator; print(validator.__file__)"], cwd=tmp_path,
                           env=environment, capture_output=True, text=True, check=True)  # fmt: skip
    assert str(site) in where.stdout
    (tmp_path / "log.csv").write_text("Machine,What,Started\nA,Flushed,2026-06-01 20:00\n", "utf-8")
    for arguments in (["rules", "list"], ["schema", "register"], ["mapping", "draft", str(tmp_path / "log.csv")],
                      ["rules", "explain", "SYR-INTERVAL"],
                      ["rules", "new", str(tmp_path / "ice-machine"), "ICE-ONE"], ["rules", "page", "--format", "html"],
                      ["demo", "--folder", str(tmp_path / "demo"), "--format", "json"]):  # fmt: skip
        done = subprocess.run([sys.executable, "-P", "-m", "validator.cli", *arguments], cwd=tmp_path, env=environment,
                              capture_output=True, text=True)  # fmt: skip
        assert done.returncode in (0, 1), done.stderr
        assert done.stdout
