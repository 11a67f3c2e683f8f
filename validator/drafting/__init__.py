"""How is a rule begun, or a whole pack? Files that run at once, and say in their comments what a person has still to write."""

from __future__ import annotations

import os
import re
import shutil
import textwrap
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from validator import documents, kinds
from validator.documents import suggest
from validator.drafting.params import listed
from validator.errors import WrongInput
from validator.packs.cases import as_yaml, try_cases
from validator.packs.lint import RULE_ID, TO_WRITE
from validator.packs.loading import bundled_packs, load_pack
from validator.packs.model import Pack
from validator.schemas import text_of
from validator.tables import AGENTS, STEPS

SCHEMAS = ".schemas"
"""The folder in a pack that holds the schemas its files point to, so that an editor knows them without a network."""

_TEMPLATES = Path(__file__).resolve().parent / "templates"
_NO_RECORDS = "store_id,equipment_id,cycle_id,step,started_at,ended_at"
_PACK_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def begin(pack: Path, rule: str, kind: str) -> list[Path]:
    """Write a rule of that kind with a case into a pack, and the pack first where there is none; give the files written.

    Nothing is written over, and where the pack turns out to be wrong nothing stays behind; raise `WrongInput`.
    """
    _named_well(pack, rule, kind)
    new = not (pack / "pack.yaml").is_file()
    source = "practice" if new else _source(_as_it_stands(pack))
    schemas = _schemas(pack)
    folders = [p for p in (_outermost_missing(pack), pack / rule, pack / SCHEMAS) if not p.exists()]
    written: list[Path] = []
    try:
        if schemas.parent == pack:
            _write_schemas(schemas, written)
        if new:
            values = {"schemas": os.path.relpath(schemas, pack), "pack": pack.resolve().name}
            _write(pack / "pack.yaml", written, **values, steps=_words(STEPS), agents=_words(AGENTS))
            _write(pack / "clauses.yaml", written, **values)
        _write_rule(pack, rule, kind, source, os.path.relpath(schemas, pack / rule), written)
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        for folder in folders:
            shutil.rmtree(folder, ignore_errors=True)
        raise
    return list(dict.fromkeys(written))


def _named_well(pack: Path, rule: str, kind: str) -> None:
    if pack.is_file():
        raise WrongInput(f"{pack}: is a file; a pack that gets rules of its own is a folder, so name a folder")
    if (pack / "rule.yaml").is_file():
        raise WrongInput(f"{pack}: is the folder of a rule; name the pack's, {pack.parent}")
    if pack.is_dir() and not (pack / "pack.yaml").is_file() and any(pack.iterdir()):
        raise WrongInput(f"{pack}: is a folder with other files and no pack.yaml; name an empty folder, or a new one")
    if not (pack / "pack.yaml").is_file() and not _PACK_ID.fullmatch(pack.resolve().name):
        raise WrongInput(
            f"{pack}: a pack is called as its folder, in small letters and digits joined by hyphens, as milk-line"
        )
    if not pack.is_dir() and pack.name in bundled_packs():
        raise WrongInput(f"{pack}: there is a bundled pack of that name; choose another, and name it under 'extends' in "
                         "pack.yaml if its rules are to hold too")  # fmt: skip
    if not RULE_ID.fullmatch(rule):
        near = re.sub(r"[^A-Z0-9]+", "-", rule.upper()).strip("-")
        hint = f", perhaps {near}" if RULE_ID.fullmatch(near) else ""
        raise WrongInput(f"{rule}: is no rule's id; write it as MILK-RINSE: capitals and digits, two parts or more joined by "
                         f"hyphens{hint}")  # fmt: skip
    known = kinds.names()
    if kind not in known:
        raise WrongInput(f"--kind {kind}: there is no such kind{suggest(kind, known)}; kinds: {', '.join(known)}")
    if (pack / rule).exists():
        raise WrongInput(f"{pack / rule}: is there already; nothing was written")


def _outermost_missing(pack: Path) -> Path:
    """The folder whose making brings the pack about: the pack's own, or the first above it that is not there."""
    missing = pack
    while not missing.parent.exists():
        missing = missing.parent
    return missing


def _as_it_stands(pack: Path) -> Pack | None:
    """The pack before the rule; None where it has no rule yet. One with faults is refused with them."""
    folders = [p for p in pack.iterdir() if (p / "rule.yaml").is_file()]
    own = documents.read(pack / "pack.yaml").data
    if not folders and not (isinstance(own, dict) and (own.get("rules") or own.get("extends"))):
        return None
    return load_pack(pack, bind=False)


def _schemas(pack: Path) -> Path:
    """Where the schemas lie: those of a source tree that the pack is part of, else a folder in the pack."""
    shared = pack.resolve().parent.parent / "schemas"
    return shared if (shared / "rule.schema.json").is_file() else pack / SCHEMAS


def _write_schemas(folder: Path, written: list[Path]) -> None:
    """Each schema that is not there as this program prints it now; they are printed, never written by hand."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("pack", "clauses", "rule", "cases"):
        path, text = folder / f"{name}.schema.json", text_of(name)
        if not path.is_file():
            written.append(path)
        if not path.is_file() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")


def _source(pack: Pack | None) -> str:
    """A source that a new rule can cite: common practice where the pack has it, else the first there is."""
    sources = pack.sources if pack is not None else {}
    return next((name for name, source in sources.items() if not source.published), next(iter(sources), "practice"))


def _write_rule(pack: Path, rule: str, kind: str, source: str, schemas: str, written: list[Path]) -> None:
    """The rule and its cases; what its first case expects is what comes out."""
    example = _examples().get(kind)
    values = {
        "schemas": schemas, "rule": rule, "kind": kind, "source": source, "doc": _paragraphs(kinds.load(kind).doc.strip()),
        "params": listed(kind), "example": example,
        "register": textwrap.indent((example["register"] if example else "stores: []").strip(), "  "),
        "records": textwrap.indent((example["records"] if example else _NO_RECORDS).strip(), "      "),
    }  # fmt: skip
    _write(pack / rule / "rule.yaml", written, **values)
    cases = pack / rule / "cases.yaml"
    _write(cases, written, **values, expect="      []")
    if example:
        (tried,) = try_cases(load_pack(pack, cases=True), rule)
        _write(cases, written, **values, expect=as_yaml(tried.found))


def _paragraphs(text: str) -> list[str]:
    """Text as lines for a comment."""
    lines: list[str] = []
    for paragraph in text.split("\n\n"):
        lines += [*textwrap.wrap(" ".join(paragraph.split()), 100), ""]
    return lines[:-1]


def _write(path: Path, written: list[Path], **values: Any) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    written.append(path)
    path.write_text(_environment().get_template(f"{path.name}.j2").render(to_write=TO_WRITE, **values), "utf-8")


def _words(known: frozenset[str]) -> str:
    return ", ".join(sorted(known))


@cache
def _environment() -> Environment:
    return Environment(loader=FileSystemLoader(_TEMPLATES), undefined=StrictUndefined, trim_blocks=True,  # noqa: S701 - YAML
                       lstrip_blocks=True, keep_trailing_newline=True)  # fmt: skip


@cache
def _examples() -> dict[str, Any]:
    """Parameters, register and records that a first case of each kind can begin with."""
    data: dict[str, Any] = documents.read(_TEMPLATES / "examples.yaml").data
    return data
