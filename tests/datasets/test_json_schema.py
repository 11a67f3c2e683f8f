"""The JSON Schema test suite (2020-12): the validator behind our schemas keeps to it, for every keyword that they use."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from jsonschema_specifications import REGISTRY
from referencing.jsonschema import DRAFT202012

ROOT = Path(__file__).resolve().parents[2]
NAMED = {"properties", "$defs"}
"""Keywords whose values hold schemas by name."""
SPOKEN = {"title", "description", "$schema", "default"}
"""Keywords that tell and judge nothing."""
FILES = {"$ref": "ref", "$defs": "defs", "if": "if-then-else", "then": "if-then-else"}


def keywords(schema: Any) -> Iterator[tuple[str, Any]]:
    """Every keyword of a schema and those within it, with its value."""
    if isinstance(schema, dict):
        for key, value in schema.items():
            yield key, value
            if key in NAMED:
                for inner in value.values():
                    yield from keywords(inner)
            elif key not in ("enum", "const", "default", "examples", "required"):
                yield from keywords(value)
    elif isinstance(schema, list):
        for inner in schema:
            yield from keywords(inner)


USED = [pair for path in sorted((ROOT / "schemas").glob("*.json")) for pair in keywords(json.loads(path.read_text("utf-8")))]
TESTED = sorted({FILES.get(key, key) for key, _ in USED if key not in SPOKEN})
FORMATS = sorted({value for key, value in USED if key == "format"})


@pytest.fixture
def outcomes(published):
    """`outcomes(file)`: the tests of a file of the suite whose outcome is not the published one, and how many there are."""

    def run(file: str, formats: bool = False) -> tuple[list[str], int]:
        folder = published("json/remotes")
        registry = REGISTRY.with_resources(
            (f"http://localhost:1234/{path.relative_to(folder).as_posix()}", DRAFT202012.create_resource(json.loads(path.read_text("utf-8"))))
            for path in (folder / "draft2020-12").rglob("*.json")
        )
        checker = jsonschema.Draft202012Validator.FORMAT_CHECKER if formats else None
        wrong, number = [], 0
        for group in json.loads(published(f"json/tests/draft2020-12/{file}.json").read_text("utf-8")):
            validator = jsonschema.Draft202012Validator(group["schema"], registry=registry, format_checker=checker)
            for test in group["tests"]:
                number += 1
                if validator.is_valid(test["data"]) != test["valid"]:
                    wrong.append(f"{group['description']}: {test['description']}")
        return wrong, number

    return run


@pytest.mark.parametrize("keyword", TESTED)
def test_a_keyword_judges_as_published(outcomes, keyword) -> None:
    """Every published test of a keyword that our schemas use has the published outcome."""
    wrong, number = outcomes(keyword)

    assert wrong == []
    assert number > 0


@pytest.mark.parametrize("format_", FORMATS)
def test_a_format_judges_as_published(outcomes, format_) -> None:
    """So has every published test of a format."""
    wrong, number = outcomes(f"optional/format/{format_}", formats=True)

    assert wrong == []
    assert number > 0
