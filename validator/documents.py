"""Read a YAML file that a person wrote: as text with a place for every value, and into a model with plain errors.

Scalars stay the text that stands in the file; the model decides what they are. So `NO` is text, `15:00` is never
900, and 0123 is never 83. Anchors, aliases, tags, merge keys, duplicate keys and further documents are refused.
"""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from validator.errors import WrongInput
from validator.fields import CANONICAL_INTEGER, Plain, said_value

MAX_BYTES = 64 * 1024 * 1024
MAX_DEPTH = 32
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
Path_ = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class Source:
    """A file as read: its data with every scalar as text, and where each value stands."""

    name: str
    data: Any
    places: Mapping[Path_, tuple[int, int]]
    sha256: str

    def place(self, path: Path_) -> str:
        """`name line 12` for the nearest value on the way to `path` whose place is known."""
        for end in range(len(path), -1, -1):
            if path[:end] in self.places:
                return f"{self.name} line {self.places[path[:end]][0]}"
        return self.name


def read(path: Path) -> Source:
    """Read one YAML document; raise `WrongInput` with file, line and what may stand there."""
    try:
        raw = path.read_bytes() if path.stat().st_size <= MAX_BYTES else None
    except OSError as error:
        raise WrongInput(f"{path}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    if raw is None:
        raise WrongInput(f"{path}: is larger than {MAX_BYTES // 2**20} MiB, the most that is read of a YAML file")
    return read_bytes(raw, str(path))


def read_bytes(raw: bytes, name: str) -> Source:
    """Read one YAML document from its bytes, `name` standing for the file in every message."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise WrongInput(f"{name} line {line}: is not UTF-8 text; save the file as UTF-8") from None
    builder = _Builder(name)
    try:
        data = builder.build(yaml.parse(text, Loader=_LOADER))
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = f" line {mark.line + 1}" if mark else ""
        raise WrongInput(f"{name}{where}: is not YAML: {error.problem or error.context}") from None
    except yaml.YAMLError as error:
        raise WrongInput(f"{name}: is not YAML: {str(error).splitlines()[0]}") from None
    return Source(name, data, builder.places, hashlib.sha256(raw).hexdigest())


class _Builder:
    """Builds plain data out of parser events, refusing what would hide a meaning from the file's reader."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.places: dict[Path_, tuple[int, int]] = {}

    def fault(self, event: Any, sentence: str) -> WrongInput:
        return WrongInput(f"{self.name} line {event.start_mark.line + 1}: {sentence}")

    def build(self, events: Iterator[Any]) -> Any:
        data: Any = None
        seen = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                seen += 1
                if seen > 1:
                    raise self.fault(event, "a second document begins here; a file holds one")
                data = self.node(next(events), events, ())
        if data is None:
            raise WrongInput(f"{self.name}: is empty")
        return data

    def node(self, event: Any, events: Iterator[Any], path: Path_) -> Any:
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise self.fault(event, "anchors and aliases (& and *) are not used here; write the value out")
        tag = getattr(event, "tag", None)
        if tag is not None and tag != "!":
            raise self.fault(event, f"the tag {tag} is not allowed; tags are not used here")
        if len(path) > MAX_DEPTH:
            raise self.fault(event, f"is nested deeper than {MAX_DEPTH} levels")
        mark: Any = event.start_mark
        self.places[path] = (mark.line + 1, mark.column + 1)
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event)
        if isinstance(event, yaml.SequenceStartEvent):
            return self.sequence(events, path)
        return self.mapping(events, path)

    def scalar(self, event: Any) -> Any:
        if event.style:  # quoted or a block; the C parser gives a plain scalar the style ''
            return event.value
        return None if event.value in ("", "~", "null", "Null", "NULL") else Plain(event.value)

    def sequence(self, events: Iterator[Any], path: Path_) -> list[Any]:
        items: list[Any] = []
        for event in events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            items.append(self.node(event, events, (*path, len(items))))
        return items

    def mapping(self, events: Iterator[Any], path: Path_) -> dict[str, Any]:
        items: dict[str, Any] = {}
        for event in events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            if not isinstance(event, yaml.ScalarEvent) or event.anchor or event.tag:
                raise self.fault(event, "a key must be a plain word")
            key = str(event.value)
            if key == "<<":
                raise self.fault(event, "merge keys (<<) are not used here; write the values out")
            if key in items:
                raise self.fault(event, f"the key {key!r} stands twice in one mapping")
            if not event.style and key in ("true", "false", "null", "~", ""):
                raise self.fault(event, f"the key {key!r} is not a word; put it in quotes if it is meant")
            here = (*path, key)
            items[key] = self.node(next(events), events, here)
            mark: Any = event.start_mark
            self.places.setdefault(here, (mark.line + 1, mark.column + 1))
        return items


# --- from data to a model -------------------------------------------------------------------------------------------


def load(model: type[Model], source: Source) -> Model:
    """The file as a model; raise `WrongInput` with one sentence for every fault: file, line, key, found, allowed."""
    faults: list[str] = []
    value = convert(model, source.data, source, (), faults)
    if value is None:
        raise WrongInput(faults)
    return value


def convert(model: type[Model], data: Any, source: Source, at: Path_, faults: list[str]) -> Model | None:
    """Part of a file as a model, its faults added to `faults` with their places; `at` is the part's own path."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for item in error.errors(include_url=False):
            path = (*at, *existing(data, item["loc"]))
            key = item["loc"][-1] if item["loc"] else ""
            faults.append(f"{source.place(path)}: {say_path(path, item['loc'])}{sentence_of(model, item, key)}")
        return None


def existing(data: Any, loc: Sequence[str | int]) -> Path_:
    """The part of a validation path that stands in the data: pydantic puts names of union members into it."""
    path: list[str | int] = []
    for step in loc:
        here: Any = data
        named = isinstance(here, Mapping) and step in here
        counted = isinstance(here, (list, tuple)) and isinstance(step, int) and step < len(here)
        if named or counted:
            data = here[step]
        else:
            continue
        path.append(step)
    return tuple(path)


def say_path(path: Path_, loc: Sequence[str | int] = ()) -> str:
    """`stores[0].timezone: ` for a path; a key that is missing in the file is named as well."""
    shown = ""
    for step in path:
        shown += f"[{step}]" if isinstance(step, int) else f".{step}" if shown else str(step)
    if loc and isinstance(loc[-1], str) and (not path or path[-1] != loc[-1]) and loc[-1].isidentifier():
        shown += f".{loc[-1]}" if shown else loc[-1]
    return f"{shown}: " if shown else ""


def sentence_of(model: type[BaseModel], item: Any, key: str | int) -> str:
    """What is wrong with one value, of a fault that pydantic names."""
    kind = item["type"]
    if kind == "extra_forbidden":
        known = _keys_near(model, item["loc"])
        return f"unknown key {key!r}{suggest(str(key), known)}; allowed: {', '.join(known)}"
    if kind == "missing":
        return "is missing"
    if kind == "value_error":
        return str(item["ctx"]["error"])
    if kind in ("literal_error", "enum"):
        return f"found {said_value(item['input'])}; allowed: {item['ctx']['expected'].replace(' or ', ', ')}"
    expected = {
        "model_type": "a mapping", "dict_type": "a mapping", "list_type": "a list", "tuple_type": "a list",
        "model_attributes_type": "a mapping", "string_type": "text", "frozen_set_type": "a list",
    }.get(kind)  # fmt: skip
    if expected:
        return f"expected {expected}, found {said_value(item['input'])}"
    return f"{item['msg'][0].lower()}{item['msg'][1:]}, found {said_value(item['input'])}"


def _keys_near(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    """The keys allowed where an unknown one stood: follow the fields from the model towards it."""
    here: Any = model
    for step in loc[:-1]:
        fields = getattr(here, "model_fields", None)
        if fields is None or not isinstance(step, str):
            continue
        found = fields.get(step) or next((f for f in fields.values() if f.alias == step), None)
        here = _model_within(found.annotation) if found is not None else here
    fields = getattr(here, "model_fields", {})
    return [f.alias or name for name, f in fields.items()]


def _model_within(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_within(part)
        if found is not None:
            return found
    return None


def suggest(word: str, known: Sequence[str]) -> str:
    """`, did you mean 'max'?` where a known word is close, else nothing."""
    close = difflib.get_close_matches(word, known, n=1)
    return f", did you mean {close[0]!r}?" if close else ""


def as_json(data: Any) -> Any:
    """The data with every plain scalar resolved by YAML's core schema, as a JSON Schema validator expects it."""
    if isinstance(data, Mapping):
        return {str(key): as_json(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [as_json(value) for value in data]
    if isinstance(data, Plain):
        if data in ("true", "false"):
            return data == "true"
        if CANONICAL_INTEGER.fullmatch(data):
            return int(data)
        if re.fullmatch(r"[-+]?\d+(\.\d*([eE][-+]?\d+)?)?", data, re.ASCII):
            return float(data)
    return data
