"""Which parameters does a kind have? Each in a line that a person reads, from the kind's own model."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from validator import kinds
from validator.quantities import Duration

Schema = Mapping[str, Any]


def listed(kind: str) -> list[str]:
    """A line a parameter: its name, whether it is needed or what holds without it, and what may stand there."""
    schema = kinds.load(kind).params.model_json_schema(by_alias=True)
    return list(_lines(schema, schema.get("$defs", {}), "")) or ["none: nothing is set here"]


def _lines(schema: Schema, definitions: Schema, indent: str) -> Iterator[str]:
    needed = schema.get("required", ())
    for name, part in schema.get("properties", {}).items():
        inner = _inner(part, definitions)
        told = "needed" if name in needed else _without(part.get("default"))
        yield f"{indent}{name:<{18 - len(indent)}} {_kind(part, definitions)}; {told}"
        if inner is not None:
            yield from _lines(inner, definitions, indent + "  ")


def _without(default: Any) -> str:
    if default is None or default in ([], ()):
        return "may be left out"
    if isinstance(default, dict) and set(default) == {"calendar", "amount"}:
        return f"{Duration(**default)} if left out"
    if isinstance(default, (list, tuple)):
        return f"[{', '.join(map(str, default))}] if left out"
    return f"{str(default).lower() if isinstance(default, bool) else default} if left out"


def _choices(part: Schema) -> list[Schema]:
    """What may stand in a place, one schema each, `null` aside."""
    found = part.get("anyOf") or part.get("oneOf") or [part]
    return [choice for choice in found if choice.get("type") != "null"]


def _inner(part: Schema, definitions: Schema) -> Schema | None:
    """The mapping that stands in a place, or in each entry of its list."""
    for choice in _choices(part):
        item = choice.get("items", choice)
        if "$ref" in item:
            found: Schema = definitions[item["$ref"].rsplit("/", 1)[1]]
            return found
    return None


def _kind(part: Schema, definitions: Schema) -> str:
    return " or ".join(dict.fromkeys(_one(choice, definitions) for choice in _choices(part)))


def _one(choice: Schema, definitions: Schema) -> str:
    if "enum" in choice:
        *most, last = map(str, choice["enum"])
        return f"{', '.join(most)} or {last}" if most else last
    if choice.get("type") == "array":
        item = choice.get("items", {})
        if "$ref" in item or item.get("type") == "object":
            asked = item.get("required", ())
            return "a list of mappings" + (f" with {', '.join(asked)}" if asked else "")
        return "a list of numbers" if item.get("type") == "number" else "a list of words"
    if "$ref" in choice:
        return "a mapping"
    if "pattern" in choice:
        return "elapsed time (PT15M)" if "D|" not in choice["pattern"] else "a duration (P30D or PT15M)"
    names = {"number": "a number", "integer": "a whole number", "boolean": "true or false"}
    return names.get(choice.get("type", ""), "a word") if isinstance(choice.get("type"), str) else "a word"
