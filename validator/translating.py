"""What is there to translate: the texts of a pack, and the sentences in the program's own code.

    python -m validator.translating es                # the program's own catalogue, brought up to date
    cip-audit rules words PACK --lang es              # a pack's

A text with names in braces is a phrase (see `validator.language`). What was translated before is kept; what is gone is
dropped; what is new stands there empty.
"""

from __future__ import annotations

import ast
import io
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from validator import documents
from validator.engine.due import LATER, OVERDUE, SOON
from validator.engine.wording import SENTENCES
from validator.findings import NEW, PERSISTING, Grade
from validator.language import FOLDER, entries
from validator.sheet.asks import own_step

PACKAGE = FOLDER.parent
_SPEAK = (
    "engine/*.py", "kinds/*.py", "readers/*.py", "steps.py", "timing/instants.py", "mapping/account.py", "mapping/apply.py",
    "mapping/values.py", "assembly.py", "quantities.py", "grading.py", "deviations.py", "packs/layering.py", "documents.py:suggest",
)  # fmt: skip
"""Modules, or functions in them, whose sentences end up in a report."""
_QUIET = {"kinds/relation_network.py", "readers/transport.py"}
"""Modules among them that only name things to the program itself."""

_PAGES = ("reports/**/*.py", "schedule/*.py", "sheet/*.py")
"""Modules that write what a store reads, and say their own sentences through the catalogue."""
_HEADED = {"ACTIONS", "KEPT", "BEHIND", "STATES", "_READ_FIRST"}
"""Tables whose headings and words a store reads."""
_ENGLISH = ("__init__", "annotations", "csv_", "json_", "junit", "measures", "sarif", "workbook", "xlsx")
"""Formats for programs, which stay English, the list of formats, and what handles figures and cells alone."""

_USAGE = {"WrongInput", "ValueError", "TypeError", "KeyError", "AssertionError", "compile", "Tag"}
"""What is said to whoever calls the program, patterns and tags: no part of a report."""

_ID = "part"
"""Under this name stands what a finding's id is made of."""
_SPOKEN = {"_LABELS", "_SAID"}
"""Mappings to single words that sentences use."""
_LISTED = {"LABELS", "_NAMES", "_CONDITIONS"}
"""Those of the pages."""

_OF_PACK = ("title", "cautions")
_OF_RULE = ("title", "why", "corrective_action", "justification")
_OF_PLAN = ("hazard", "critical_limit", "monitoring", "verification", "record")

_NAME = re.compile(r"\{\w+\}")

Texts = dict[str, list[str]]
"""Each text with the places where it stands."""


def of_program() -> Texts:
    """The sentences that the program's modules and page templates make for a report."""
    found: Texts = {}
    for spoken in _SPEAK:
        pattern, _, function = spoken.partition(":")
        for path in sorted(PACKAGE.glob(pattern)):
            name = path.relative_to(PACKAGE).as_posix()
            if name not in _QUIET:
                for text in _in_module(ast.parse(path.read_text("utf-8")), function):
                    _add(found, text, name)
    pages = (path for pattern in _PAGES for path in PACKAGE.glob(pattern))
    for path in sorted(set(pages) - {PACKAGE / "reports" / f"{name}.py" for name in _ENGLISH}):
        for text in _on_pages(ast.parse(path.read_text("utf-8"))):
            _add(found, text, path.relative_to(PACKAGE).as_posix())
    for path in sorted(PACKAGE.glob("reports/templates/*.j2")):
        for text in _in_template(path.read_text("utf-8")):
            _add(found, text, path.relative_to(PACKAGE).as_posix())
    for grade in Grade:
        _add(found, grade.value, "findings.py")
    for word in (NEW, PERSISTING, OVERDUE, SOON, LATER):
        _add(found, word, "findings.py")
    for reason in dict.fromkeys(reason for _, reason in SENTENCES):
        _add(found, reason.replace("_", " "), "engine/wording.py")
    return found


def of_pack(root: Path) -> Texts:
    """The texts of a pack that a store reads; those of the packs beneath it stand in their own catalogues."""
    found: Texts = {}
    files = [root / "pack.yaml", *sorted(root.glob("*/rule.yaml"))] if root.is_dir() else [root]
    for file in files:
        data = documents.read(file).data
        name = file.relative_to(root).as_posix() if root.is_dir() else root.name
        pack = data if "pack" in data else {}
        for key in _OF_PACK:
            _add_all(found, pack.get(key), name)
        for profile in pack.get("profiles", {}).values():
            _add_all(found, profile.get("title"), name)
        for step in pack.get("steps", ()):
            _add_all(found, own_step(step), name)
        for step in pack.get("grading", {}).get("results", ()):
            _add_all(found, step.get("result"), name)
        _add_all(found, pack.get("grading", {}).get("justification"), name)
        for time in pack.get("grading", {}).get("correct_within", {}).values():
            _add_all(found, time.get("says"), name)
        for rule in pack.get("rules", ()) if pack else (data,):
            for key in _OF_RULE:
                _add_all(found, rule.get(key), name)
            for cite in rule.get("cites", ()):
                _add_all(found, cite.get("says"), name)
            for key in _OF_PLAN:
                _add_all(found, rule.get("plan", {}).get(key), name)
    return found


def catalogue(texts: Texts, code: str, before: Mapping[str, str]) -> bytes:
    """The texts as a catalogue in the `.po` form, with what was said of them before, also where only a name was changed."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import write_po

    shapes = {_NAME.sub("{}", text): (text, said) for text, said in before.items()}
    made = Catalog(locale=code, fuzzy=False)
    for text in sorted(texts, key=lambda text: (texts[text][0], text)):
        made.add(
            text,
            before.get(text) or _renamed(text, shapes),
            locations=[(place, 0) for place in dict.fromkeys(texts[text])],
        )
    written = io.BytesIO()
    write_po(written, made, width=100, omit_header=True, include_lineno=False)
    return _HEADER.format(code=code).encode() + written.getvalue()


def _renamed(text: str, shapes: Mapping[str, tuple[str, str]]) -> str:
    """What was said of a phrase whose names were others."""
    source, said = shapes.get(_NAME.sub("{}", text), ("", ""))
    names = dict(zip(_NAME.findall(source), _NAME.findall(text), strict=False))
    return _NAME.sub(lambda name: names[name[0]], said) if names.keys() >= set(_NAME.findall(said)) else ""


_HEADER = """\
msgid ""
msgstr ""
"Language: {code}\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def _add(found: Texts, text: str, place: str) -> None:
    if any(letter.islower() for letter in text):
        found.setdefault(text, []).append(place)


def _add_all(found: Texts, texts: Any, place: str) -> None:
    for text in (texts,) if isinstance(texts, str) else texts or ():
        _add(found, text, place)


def _in_module(tree: ast.AST, function: str = "") -> Iterator[str]:
    """Every text in a module that reads as words: constants with a blank in them, and f-strings and joined lists as phrases."""
    if function:
        tree = next(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == function)
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Dict) and _name_of(node.targets[0]) in _SPOKEN:
            yield from map(_text, node.value.values)
    silent = {id(part) for node in ast.walk(tree) for top in _silenced(node) for part in ast.walk(top)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "join":
            between = _text(node.func.value)
            if between.strip() and " " in between and id(node) not in silent:
                yield f"{{x1}}{between}{{x2}}"
            silent.add(id(node.func.value))
    for node in ast.walk(tree):
        if id(node) in silent or not isinstance(node, ast.Constant | ast.JoinedStr):
            continue
        text = _text(node)
        blank = " " in (text if isinstance(node, ast.JoinedStr) else text.strip())
        if blank and _NAME.sub("", text).strip():
            yield text
        if isinstance(node, ast.JoinedStr):
            silent |= {id(part) for part in node.values if isinstance(part, ast.Constant)}


def _on_pages(tree: ast.Module) -> Iterator[str]:
    """Every text that a page says through the catalogue: what it calls for, phrases, and constants that it may say."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called, given = _name_of(node.func), [_text(argument) for argument in node.args]
            if called in ("tr", "said", "_section") and isinstance(node.args[0], ast.Constant):
                yield given[0]
            elif called == "counted":
                yield from filter(None, given[1:3])
            elif called == "count" and len(given) > 1 and given[1]:
                yield from (f"{{n}} {given[1]}", f"{{n}} {given[2] if len(given) > 2 else given[1] + 's'}")
        elif isinstance(node, ast.Constant) and _NAME.search(_text(node)) and _NAME.sub("", _text(node)).strip():
            yield _text(node)
    for top in tree.body:
        if isinstance(top, ast.Assign | ast.AnnAssign) and top.value is not None:
            silent = {id(part) for node in ast.walk(top) for quiet in _silenced(node) for part in ast.walk(quiet)}
            headed = _name_of(_target(top)) in _HEADED
            for node in ast.walk(top.value):
                if isinstance(node, ast.Dict) and _name_of(_target(top)) in _LISTED:
                    yield from map(_text, node.values)
                if headed and isinstance(node, ast.Constant):
                    yield _text(node)
                elif isinstance(node, ast.Constant) and id(node) not in silent and _text(node).strip():
                    yield from [_text(node)] if " " in _text(node).strip() or _text(node)[0].isupper() else []


def _in_template(text: str) -> Iterator[str]:
    """Every text that a template says through the catalogue."""
    from jinja2 import Environment, nodes

    for call in Environment(autoescape=True).parse(text).find_all(nodes.Call):
        if isinstance(call.node, nodes.Name) and call.node.name in ("_", "counted", "more"):
            given = call.args[:1] if call.node.name == "_" else call.args[1:3]
            yield from (argument.value for argument in given if isinstance(argument, nodes.Const))


def _silenced(node: ast.AST) -> Sequence[ast.AST]:
    """What in a node is no text to be said: docstrings, keys, parts of ids, and what is said to whoever calls the program."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return [node]
    if isinstance(node, ast.Dict):
        return [key for key in node.keys if key is not None]
    if isinstance(node, ast.Assign | ast.AugAssign):
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        return [node.value] if _name_of(target) == _ID else []
    if isinstance(node, ast.keyword):
        return [node.value] if node.arg == _ID else []
    if isinstance(node, ast.Call):
        name = _name_of(node.func)
        if name in _USAGE:
            return [node]
        return node.args[: {"_outcomes": None, "setdefault": 1}.get(name, 0)]
    return []


def _target(node: ast.Assign | ast.AnnAssign) -> ast.expr:
    return node.targets[0] if isinstance(node, ast.Assign) else node.target


def _name_of(node: ast.expr) -> str:
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


def _text(node: ast.expr) -> str:
    if not isinstance(node, ast.JoinedStr):
        return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""
    names: dict[str, str] = {}
    return "".join(
        _name(part, names) if isinstance(part, ast.FormattedValue) else _literal(part) for part in node.values
    )


def _literal(part: ast.expr) -> str:
    """The text between the braces; a brace in it is doubled, as in any template."""
    return str(part.value).replace("{", "{{").replace("}", "}}") if isinstance(part, ast.Constant) else ""


def _name(part: ast.FormattedValue, names: dict[str, str]) -> str:
    """A name for what stands in braces: the variable's or attribute's own, else `x` with a number."""
    value = part.value
    key = ast.dump(value)
    if key not in names:
        name = value.id if isinstance(value, ast.Name) else value.attr if isinstance(value, ast.Attribute) else ""
        name = name if name and name not in names.values() and not name.startswith("_") else f"x{len(names) + 1}"
        names[key] = name
    return f"{{{names[key]}}}"


def main(code: str) -> None:
    """Bring the program's own catalogue in a language up to date."""
    path = FOLDER / f"{code}.po"
    before = entries(path) if path.is_file() else {}
    path.write_bytes(catalogue(of_program(), code, before))


if __name__ == "__main__":
    main(sys.argv[1])
