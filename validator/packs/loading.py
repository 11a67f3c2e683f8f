"""Read a rule pack from its folder or file, with the packs beneath it, and bind every rule to its kind."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from validator import documents
from validator.documents import Source, convert, read, suggest
from validator.errors import WrongInput
from validator.packs.model import (
    BoundRule,
    BoundTimes,
    CaseFile,
    Clause,
    ClauseFile,
    Grading,
    Pack,
    PackFile,
    Profile,
    Rule,
)
from validator.packs.model import SourceCited as Cited
from validator.places import bundled

MAX_PACK_BYTES = 2**20
ANY = "any"
"""A pack's procedure that stands for every one."""


@dataclass
class _Files:
    """A pack's files as read: the pack itself, its rules with their sources, clauses and cases."""

    root: Path
    pack: PackFile
    source: Source
    rules: list[tuple[Rule, Source, documents.Path_]] = field(default_factory=list)
    clauses: tuple[Clause, ...] = ()
    cases: dict[str, CaseFile] = field(default_factory=dict)
    sha256: str = ""


def bundled_packs() -> list[str]:
    """The ids of the packs that come with the program, in order."""
    root = bundled("rules")
    return sorted(p.name for p in root.iterdir() if (p / "pack.yaml").is_file()) if root.is_dir() else []


def find_pack(name: str) -> Path:
    """The place of a pack: a bundled pack's id, or the path of a folder or file."""
    path = Path(name)
    if name in bundled_packs():
        return bundled("rules") / name
    if path.is_dir() or path.is_file():
        return path
    known = bundled_packs()
    raise WrongInput(
        f"--rules {name}: is neither a bundled pack{suggest(name, known)} nor the path of one; "
        f"bundled: {', '.join(known)}"
    )


def load_pack(name: str | Path, *, bind: bool = True, cases: bool = False) -> Pack:
    """A pack with the packs it extends merged in; raise `WrongInput` with every fault at once.

    Without `bind` the rules' parameters are not read by their kinds (they are None): enough to list and explain them,
    and quick, since no kind is loaded. The cases beside the rules are read only where `cases` asks for them.
    """
    path = name if isinstance(name, Path) else find_pack(name)
    layers = _layers(path, (), cases)
    faults: list[str] = []
    pack = _merge(layers, faults, bind)
    if faults:
        raise WrongInput(faults)
    return pack


def _layers(path: Path, above: tuple[str, ...], cases: bool) -> list[_Files]:
    """The pack's files and those of every pack beneath it, the lowest first."""
    files = _read_files(path, cases)
    name = files.pack.pack
    if name in above:
        raise WrongInput(f"{files.source.place(('extends',))}: extends: {' -> '.join((*above, name))} is a circle")
    found: list[_Files] = []
    for index, beneath in enumerate(files.pack.extends):
        place = files.source.place(("extends", index))
        for layer in _layers(_beneath(files, beneath, place), (*above, name), cases):
            if layer.pack.pack not in {f.pack.pack for f in found}:
                found.append(layer)
    return [*found, files]


def _beneath(files: _Files, name: str, place: str) -> Path:
    """The place of a pack to extend: beside this one, or bundled. Nothing else: no path, no address."""
    if "/" in name or "\\" in name or ":" in name or name.startswith("."):
        raise WrongInput(f"{place}: extends: {name!r} is not the id of a pack; name a bundled pack or one beside this")
    beside = files.root.parent
    for candidate in (beside / name, beside / f"{name}.yaml", beside / f"{name}.yml", bundled("rules") / name):
        if (candidate.is_dir() and (candidate / "pack.yaml").is_file()) or candidate.is_file():
            if candidate.resolve().parent != candidate.parent.resolve():
                raise WrongInput(f"{place}: extends: {name!r} leads out of its folder")
            return candidate
    raise WrongInput(f"{place}: extends: there is no pack {name!r}{suggest(name, bundled_packs())}")


def _read_files(path: Path, cases: bool) -> _Files:
    if path.is_dir():
        return _read_folder(path, cases)
    source = _read_limited(path)
    pack = _pack(source)
    files = _Files(path, pack, source, sha256=source.sha256)
    files.rules = [(rule, source, ("rules", i)) for i, rule in enumerate(pack.rules)]
    return files


def _pack(source: Source) -> PackFile:
    if not isinstance(source.data, dict):
        raise WrongInput(f"{source.name}: expected a mapping with the keys of a pack, found {_kind(source.data)}")
    return documents.load(PackFile, source)


def _kind(data: Any) -> str:
    return "a list" if isinstance(data, list) else "one value"


def _read_limited(path: Path) -> Source:
    if path.is_file() and path.stat().st_size > MAX_PACK_BYTES:
        raise WrongInput(f"{path}: is larger than {MAX_PACK_BYTES // 1024} KiB, the most that a pack's file may hold")
    return read(path)


def _read_folder(path: Path, with_cases: bool) -> _Files:
    main = path / "pack.yaml"
    if not main.is_file():
        raise WrongInput(f"{path}: is no pack: it has no pack.yaml")
    source = _read_limited(main)
    files = _Files(path, _pack(source), source)
    files.rules = [(rule, source, ("rules", i)) for i, rule in enumerate(files.pack.rules)]
    hashes = [("pack.yaml", source.sha256)]
    faults: list[str] = []
    for folder in sorted(p for p in path.iterdir() if p.is_dir() and (p / "rule.yaml").is_file()):
        rule_source = _read_limited(folder / "rule.yaml")
        hashes.append((f"{folder.name}/rule.yaml", rule_source.sha256))
        rule = convert(Rule, rule_source.data, rule_source, (), faults)
        if rule is None:
            continue
        if rule.id != folder.name:
            faults.append(
                f"{rule_source.place(('id',))}: id: {rule.id!r} stands in the folder {folder.name!r}; they must agree"
            )
        files.rules.append((rule, rule_source, ()))
        if with_cases and (folder / "cases.yaml").is_file():
            case_source = _read_limited(folder / "cases.yaml")
            cases = convert(CaseFile, case_source.data, case_source, (), faults)
            if cases is not None:
                files.cases[rule.id] = cases
    if (path / "clauses.yaml").is_file():
        clause_source = _read_limited(path / "clauses.yaml")
        hashes.append(("clauses.yaml", clause_source.sha256))
        clauses = convert(ClauseFile, clause_source.data, clause_source, (), faults)
        files.clauses = clauses.clauses if clauses else ()
    if faults:
        raise WrongInput(faults)
    files.sha256 = hashlib.sha256("\n".join(f"{n} {h}" for n, h in hashes).encode()).hexdigest()
    return files


def _merge(layers: list[_Files], faults: list[str], bind: bool) -> Pack:
    """One pack out of its layers: a rule of the same id, or a part of the grading, replaces the one beneath it."""
    top = layers[-1]
    rules: dict[str, BoundRule] = {}
    sources: dict[str, Cited] = {}
    profiles: dict[str, Profile] = {}
    cases: dict[str, CaseFile] = {}
    times: BoundTimes | None = None
    for layer in layers:
        sources.update(layer.pack.sources)
        profiles.update(layer.pack.profiles)
        for bound in _bind(layer, faults, bind):
            rules[bound.rule.id] = replace(bound, beneath=rules.get(bound.rule.id))
        cases.update(layer.cases)
        if layer.pack.grading is not None and "correct_within" in layer.pack.grading.model_fields_set:
            place = layer.source.place(("grading", "correct_within"))
            times = BoundTimes(layer.pack.grading, layer.pack.pack, place, beneath=times)
    if not rules and not faults:
        faults.append(f"{top.source.name}: the pack {top.pack.pack!r} has no rule; a pack without rules judges nothing")
    graded = [f.pack.grading for f in layers if f.pack.grading is not None]
    grading = Grading().model_copy(update={name: getattr(g, name) for g in graded for name in g.model_fields_set})
    procedure = next((f.pack.procedure for f in reversed(layers) if f.pack.procedure is not None), None)
    return Pack(
        id=top.pack.pack, version=top.pack.version, title=top.pack.title or top.pack.pack,
        procedure=None if procedure == ANY else procedure, any_procedure=procedure == ANY,
        sha256=hashlib.sha256("\n".join(f.sha256 for f in layers).encode()).hexdigest(), decision=top.pack.decision,
        steps=frozenset(s for f in layers for s in f.pack.steps), agents=frozenset(a for f in layers for a in f.pack.agents),
        cautions=tuple(dict.fromkeys(c for f in reversed(layers) for c in f.pack.cautions)), sources=sources,
        profiles=profiles, grading=grading, rules=tuple(rules.values()),
        clauses=tuple(c for f in layers for c in f.clauses), cases=cases, layers=tuple(f.pack.pack for f in layers),
        places=tuple(f.root for f in reversed(layers)), times=times,
    )  # fmt: skip


def _bind(layer: _Files, faults: list[str], bind: bool) -> Iterable[BoundRule]:
    """The layer's own rules, with their parameters read; faults name the place of the value in its file."""
    seen: dict[str, str] = {}
    for rule, source, at in layer.rules:
        place = source.place((*at, "id"))
        if rule.id in seen:
            faults.append(f"{place}: id: the rule {rule.id!r} stands twice, first at {seen[rule.id]}")
            continue
        seen[rule.id] = place
        params = _params(rule, source, at, faults) if bind else None
        if params is not None or not bind:
            yield BoundRule(rule, params, layer.pack.pack, place)


def _params(rule: Rule, source: Source, at: documents.Path_, faults: list[str]) -> Any:
    from validator import kinds

    known = list(kinds.MODULES) if rule.kind in kinds.MODULES else kinds.names()  # looking elsewhere takes a while
    if rule.kind not in known:
        faults.append(f"{source.place((*at, 'kind'))}: kind: found {rule.kind!r}{suggest(rule.kind, known)}; "
                      f"allowed: {', '.join(known)}")  # fmt: skip
        return None
    return convert(kinds.load(rule.kind).params, dict(rule.params), source, (*at, "params"), faults)
