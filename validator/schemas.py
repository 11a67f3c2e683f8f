"""JSON Schemas (2020-12) of every file that a user writes or reads, generated from the models."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from validator import documents, kinds
from validator.places import bundled

NAMES = ("pack", "rule", "clauses", "cases", "register", "mapping", "deviations", "record", "report", "due")
_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema(name: str) -> dict[str, Any]:
    """The schema of that name, generated now; raise `KeyError` if there is none."""
    from pydantic import TypeAdapter

    from validator.deviations import Deviations
    from validator.findings import Report
    from validator.mapping.model import MappingFile
    from validator.packs.model import CaseFile, ClauseFile, PackFile, Rule
    from validator.register import Register
    from validator.schedule import Schedule

    models: dict[str, Any] = {
        "pack": PackFile, "rule": Rule, "clauses": ClauseFile, "cases": CaseFile, "register": Register,
        "deviations": Deviations, "mapping": MappingFile,
    }  # fmt: skip
    if name == "record":
        found = _record()
    elif name == "report":
        found = TypeAdapter(Report).json_schema(mode="serialization")
        found["$defs"]["Counts"] = _renamed(found["$defs"]["Counts"], "in_", "in")
    elif name == "due":
        found = TypeAdapter(Schedule).json_schema(mode="serialization")
    else:
        found = models[name].model_json_schema(by_alias=True)
    if name in ("pack", "rule"):
        _bind_params(found)
    if name == "mapping":
        column = found["$defs"]["Column"]
        found["$defs"]["Column"] = {"anyOf": [{"type": ["string", "number"]}, column]}
    title = f"cip-audit {name}"
    return {"$schema": _DIALECT, "title": title, **{k: v for k, v in found.items() if k != "title"}}


def _renamed(part: dict[str, Any], old: str, new: str) -> dict[str, Any]:
    text = json.dumps(part).replace(f'"{old}"', f'"{new}"')
    renamed: dict[str, Any] = json.loads(text)
    return renamed


def _bind_params(found: dict[str, Any]) -> None:
    """A rule's params follow from its kind: one branch a kind."""
    rule = found["$defs"]["Rule"] if "Rule" in found.get("$defs", {}) else found
    definitions = found.setdefault("$defs", {})
    branches = []
    for name in kinds.MODULES:
        params = kinds.load(name).params.model_json_schema(by_alias=True, ref_template=f"#/$defs/{name}_{{model}}")
        for key, value in params.pop("$defs", {}).items():
            definitions[f"{name}_{key}"] = value
        definitions[f"{name}_params"] = params
        branches.append({
            "if": {"properties": {"kind": {"const": name}}},
            "then": {"properties": {"params": {"$ref": f"#/$defs/{name}_params"}}},
        })  # fmt: skip
    rule["allOf"] = branches
    rule["properties"]["kind"] = {"enum": list(kinds.MODULES)}


def _record() -> dict[str, Any]:
    from validator.tables import CANONICAL, DOMAIN, REQUIRED, TIMES

    text, number = {"type": ["string", "null"]}, {"type": ["number", "string", "null"]}
    properties: dict[str, Any] = {}
    for name in CANONICAL:
        if name in DOMAIN:
            low, high = DOMAIN[name]
            properties[name] = {**number, "minimum": low, "maximum": high}
        else:
            properties[name] = {"type": "string", "minLength": 1} if name in REQUIRED else dict(text)
        if name in TIMES:
            properties[name]["description"] = "RFC 3339; without an offset it is local to the store"
    return {
        "type": "object", "description": "one performed step", "properties": properties, "required": list(REQUIRED),
        "anyOf": [{"required": [name]} for name in ("started_at", "ended_at", "duration_s")],
    }  # fmt: skip


def text_of(name: str) -> str:
    """The schema as it stands in `schemas/`."""
    return json.dumps(schema(name), indent=2, ensure_ascii=False) + "\n"


@cache
def _validator(name: str) -> Any:
    import jsonschema

    stored = json.loads((bundled("schemas") / f"{name}.schema.json").read_text("utf-8"))
    return jsonschema.Draft202012Validator(stored, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER)


def faults_by_schema(name: str, data: Any) -> list[str]:
    """What the stored schema says against the data, one sentence each, with the path."""
    return [
        f"{documents.say_path(tuple(error.absolute_path))}{error.message}"
        for error in sorted(_validator(name).iter_errors(data), key=lambda e: list(map(str, e.absolute_path)))
    ]


def shape_faults(pack: Path) -> list[str]:
    """What the schemas say against the files of a pack."""
    if pack.is_file():
        files = [("pack", pack)]
    else:
        files = [("pack", pack / "pack.yaml"), ("clauses", pack / "clauses.yaml")]
        files += [(name, p) for name in ("rule", "cases") for p in sorted(pack.glob(f"*/{name}.yaml"))]
    return [
        f"{path}: {fault}" for name, path in files if path.is_file()
        for fault in faults_by_schema(name, documents.as_json(documents.read(path).data))
    ]  # fmt: skip
