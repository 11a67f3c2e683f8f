"""Reads a small file by a mapping in this process, so that a test sees the rows and their defects."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from validator import documents
from validator.mapping.model import Layout, MappingFile
from validator.readers import READERS, formats
from validator.readers.fitting import fit
from validator.tables import NAT, Budget, CellDefect, ParsedTable


@dataclass
class Read:
    """What a mapping made of a file."""

    tables: list[ParsedTable]
    assumptions: list[str]
    notices: list[str]
    set_aside: list

    def column(self, name: str) -> list:
        """A canonical column over all tables: text, RFC 3339 without its zone, or a number; None for a blank."""
        found: list = []
        for table in self.tables:
            if name in table.texts:
                words = table.texts[name].vocabulary
                found += [None if code < 0 else words[code] for code in table.texts[name].codes.tolist()]
            elif name in table.times:
                found += [None if at == NAT else str(np.datetime64(at, "us"))[:19] for at in table.times[name].tolist()]
            elif name in table.numbers:
                found += [None if v != v else v for v in table.numbers[name].tolist()]
            else:
                found += [None] * len(table.rows)
        return found

    @property
    def rows(self) -> list[int]:
        return [row for table in self.tables for row in table.rows.tolist()]

    @property
    def defects(self) -> list[CellDefect]:
        return [d for table in self.tables for d in table.defects]

    @property
    def faults(self) -> set[tuple[int, str, str]]:
        return {(d.row, d.column, d.code) for d in self.defects}


def layout(text: str) -> Layout:
    """The one layout of a mapping, its first keys left out."""
    indented = "".join(f"    {line}\n" for line in text.splitlines())
    source = documents.read_bytes(f"mapping: m\nfiles:\n  -\n{indented}".encode(), "m.yaml")
    return documents.load(MappingFile, source).files[0]


@pytest.fixture
def reading(tmp_path: Path) -> Callable[..., Read]:
    """`reading(content, mapping, name)`: what a mapping makes of a file."""

    def read(content: bytes | str, mapping: str, name: str = "log.csv") -> Read:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        data = path.read_bytes()
        format_ = formats.decide(name, data[: formats.HEAD], len(data), lambda start, n: data[start : start + n])
        reader = importlib.import_module(READERS[format_])
        chosen = layout(mapping).model_dump(mode="json", by_alias=True, exclude_defaults=True)
        tables, told = fit(reader, path, {"layouts": [chosen], "mapping": "m", "name": str(path)}, Budget())
        return Read(tables, told["assumptions"], told["notices"], told["set_aside"])

    return read
