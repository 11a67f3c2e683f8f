"""Where do rows wait that do not fit into memory together? In a private file, divided by machine into buckets.

A bucket holds whole machines. Of each part of a file that the child process reads, every bucket gets one block, written as
`transport` writes a table; the words of text columns stand once for the file, but for those of `cycle_id`, which are too many.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from validator.errors import WrongInput
from validator.readers import transport
from validator.tables import TEXTS, FileRead, FileRefused, ParsedTable, TextColumn, join_texts

SHARED = tuple(name for name in TEXTS if name != "cycle_id")
"""Text columns whose words stand once for the whole file: their number does not grow with the rows."""
COLUMNS = ("times", "absolute", "numbers", "entries")
"""Fields of a table that hold arrays by name."""
Order = npt.NDArray[np.intp]
Block = tuple[int, int, int, int, int]
"""A sheet's number, a bucket, where the block begins in the file, its length in bytes and in rows."""


def bucket_of(store_id: str, equipment_id: str, buckets: int) -> int:
    """The bucket of a machine, the same in every file and on every day."""
    return zlib.crc32(f"{store_id}\x1f{equipment_id}".encode("utf-8", "surrogatepass")) % buckets


# --- writing, in the child ------------------------------------------------------------------------------------------


class Spill:
    """Takes the parts of one file as they are read."""

    def __init__(self, file: IO[bytes], buckets: int) -> None:
        self._file = file
        self.buckets = buckets
        self.blocks: list[Block] = []
        self.shells: dict[int, ParsedTable] = {}
        self._words: dict[tuple[int, str], dict[str, int]] = {}

    def add(self, sheet: int, part: ParsedTable) -> None:
        """Write the rows of one part of a sheet to their buckets; what belongs to no row is kept for the whole."""
        shell = self.shells.setdefault(sheet, _without_rows(part))
        shell.blank_rows += part.blank_rows
        shell.defects += [d for d in part.defects if d.index < 0]
        bucket = self._bucket_of_rows(part)
        order = np.argsort(bucket, kind="stable")
        ends = np.searchsorted(bucket[order], np.arange(self.buckets + 1))
        sorted_ = _taken(replace(part, texts=self._coded(sheet, part)), order)
        for at in np.flatnonzero(np.diff(ends)).tolist():
            block = _slice(sorted_, int(ends[at]), int(ends[at + 1]))
            block.origins = [{} for _ in block.origins]  # what they say stands once, in the shell
            written = transport.encode([block], {})
            self.blocks.append((sheet, at, self._file.tell(), sum(map(len, written)), len(block.rows)))
            self._file.writelines(written)

    def sheets(self) -> list[ParsedTable]:
        """What is told of the sheets as a whole, with the words of their shared columns and no row."""
        for (sheet, name), words in self._words.items():
            self.shells[sheet].texts[name].vocabulary[:] = list(words)
        return [self.shells[sheet] for sheet in sorted(self.shells)]

    def _bucket_of_rows(self, part: ParsedTable) -> npt.NDArray[np.int16]:
        stores, equipment = part.texts["store_id"], part.texts["equipment_id"]
        width = len(equipment.vocabulary) + 1
        pair = (stores.codes.astype(np.int64) + 1) * width + equipment.codes + 1
        heads = np.flatnonzero(np.diff(pair, prepend=-1))
        present, inverse = np.unique(pair[heads], return_inverse=True)
        named = [
            (["", *stores.vocabulary][p // width], ["", *equipment.vocabulary][p % width]) for p in present.tolist()
        ]
        of_pair = np.array([bucket_of(s, e, self.buckets) for s, e in named], dtype=np.int16)
        return np.repeat(of_pair[inverse], np.diff(np.append(heads, len(pair))))

    def _coded(self, sheet: int, part: ParsedTable) -> dict[str, TextColumn]:
        """The text columns, the shared ones by the words of the whole file."""
        texts = dict(part.texts)
        for name in SHARED:
            if name in texts:
                known = self._words.setdefault((sheet, name), {})
                words = texts[name].vocabulary
                mapped = np.array([known.setdefault(w, len(known)) for w in words] + [-1], dtype=np.int32)
                texts[name] = TextColumn(mapped[texts[name].codes], [])
        return texts


def _without_rows(part: ParsedTable) -> ParsedTable:
    shell = _slice(replace(part, defects=[]), 0, 0)
    return replace(shell, texts={n: TextColumn(c.codes, []) for n, c in shell.texts.items()}, blank_rows=0)


def _taken(part: ParsedTable, order: Order) -> ParsedTable:
    """The rows in another order."""
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    defects = [replace(d, index=int(place[d.index])) for d in part.defects if d.index >= 0]
    texts = {n: TextColumn(c.codes[order], c.vocabulary) for n, c in part.texts.items()}
    return replace(part, texts=texts, defects=defects, **_cut(part, order))


def _slice(part: ParsedTable, start: int, stop: int) -> ParsedTable:
    texts = {n: _cut_text(c, start, stop) for n, c in part.texts.items()}
    defects = [replace(d, index=d.index - start) for d in part.defects if start <= d.index < stop]
    return replace(part, texts=texts, defects=defects, **_cut(part, slice(start, stop)))


def _cut(part: ParsedTable, at: Order | slice) -> dict[str, Any]:
    """Some rows of every column but those of text."""
    cut: dict[str, Any] = {name: {n: a[at] for n, a in getattr(part, name).items()} for name in COLUMNS}
    origin = part.origin[at] if part.origins else part.origin
    return cut | {"rows": part.rows[at], "whole": part.whole[at], "origin": origin}


def _cut_text(column: TextColumn, start: int, stop: int) -> TextColumn:
    """Some cells with the words that they hold, if the column has words of its own."""
    codes = column.codes[start:stop]
    if not column.vocabulary:
        return TextColumn(codes, [])
    present, again = np.unique(codes, return_inverse=True)
    blank = int(len(present) > 0 and present[0] < 0)
    return TextColumn((again - blank).astype(np.int32), [column.vocabulary[c] for c in present[blank:].tolist()])


# --- reading, in the parent -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Spilled:
    """A file whose rows wait at `path`; the tables of `file` have none."""

    file: FileRead
    path: Path
    blocks: Sequence[Block]


class Pieces:
    """Spilled files as pieces (`engine.pieces`): each piece is some buckets, with about as many rows as are asked for."""

    def __init__(self, files: Sequence[Spilled | FileRefused], buckets: int, rows: int) -> None:
        self._files = files
        self._buckets = buckets
        blocks = [np.array(f.blocks if isinstance(f, Spilled) else (), dtype=np.int64).reshape(-1, 5) for f in files]
        counts = np.zeros(buckets, dtype=np.int64)
        for mine in blocks:
            np.add.at(counts, mine[:, 1], mine[:, 4])
        self._piece = _together(counts.tolist(), rows)
        piece = [np.array(self._piece)[mine[:, 1]] for mine in blocks]
        order = [np.argsort(p, kind="stable") for p in piece]
        ends = np.arange(len(self) + 1)
        self._blocks = [mine[o] for mine, o in zip(blocks, order, strict=True)]
        self._ends = [np.searchsorted(p[o], ends) for p, o in zip(piece, order, strict=True)]

    def __len__(self) -> int:
        return self._piece[-1] + 1

    def piece_of(self, store_id: str, equipment_id: str) -> int:
        """The piece that holds the rows of a machine, or would."""
        return self._piece[bucket_of(store_id, equipment_id, self._buckets)]

    def load(self, piece: int) -> list[FileRead | FileRefused]:
        """The files with the rows of one piece; what is told of a file as a whole stands in the first."""
        return [f if isinstance(f, FileRefused) else self._part(at, f, piece) for at, f in enumerate(self._files)]

    def _part(self, at: int, spilled: Spilled, piece: int) -> FileRead:
        mine = self._blocks[at][self._ends[at][piece] : self._ends[at][piece + 1]]
        shells = spilled.file.tables
        shared = [{n: c.vocabulary for n, c in shell.texts.items() if n in SHARED} for shell in shells]
        parts: dict[int, list[ParsedTable]] = {}
        try:
            with spilled.path.open("rb") as file:
                for sheet, _, start, length, _ in mine.tolist():
                    file.seek(start)
                    parts.setdefault(sheet, []).extend(transport.decode(file.read(length), shared[sheet])[0])
        except (transport.Damaged, OSError) as error:
            raise WrongInput(
                f"{spilled.file.name}: its rows in {spilled.path.parent} cannot be read again: {error}"
            ) from None
        several = len(np.unique(mine[:, 1])) > 1
        tables = [
            _joined(shell if piece == 0 else replace(shell, defects=[], blank_rows=0), parts.pop(sheet, []), several)
            for sheet, shell in enumerate(shells)
        ]
        return replace(spilled.file, tables=tables, notices=[] if piece else spilled.file.notices)


def _together(counts: Sequence[int], rows: int) -> list[int]:
    """For each bucket its piece: buckets that follow each other, as many as have no more rows than asked for."""
    pieces, piece, held = [], 0, 0
    for count in counts:
        if held and held + count > rows:
            piece, held = piece + 1, 0
        held += count
        pieces.append(piece)
    return pieces


def _joined(shell: ParsedTable, parts: list[ParsedTable], several: bool) -> ParsedTable:
    """The rows of one sheet, in the order in which they stand in the file."""
    if not parts:
        return shell
    starts = np.cumsum([0, *(len(p.rows) for p in parts)]).tolist()
    defects = [replace(d, index=d.index + start) for p, start in zip(parts, starts, strict=False) for d in p.defects]
    columns: dict[str, Any] = {
        name: {n: np.concatenate([getattr(p, name)[n] for p in parts]) for n in getattr(shell, name)}
        for name in COLUMNS
    }
    texts = {
        n: TextColumn(np.concatenate([p.texts[n].codes for p in parts]), c.vocabulary) if n in SHARED
        else join_texts([p.texts[n] for p in parts], [len(p.rows) for p in parts])
        for n, c in shell.texts.items()
    }  # fmt: skip
    rows = np.concatenate([p.rows for p in parts])
    whole = np.concatenate([p.whole for p in parts])
    origin = np.concatenate([p.origin for p in parts])
    joined = replace(shell, rows=rows, whole=whole, texts=texts, defects=defects, origin=origin, **columns)
    if several:
        joined = _taken(joined, np.argsort(rows, kind="stable"))
    return replace(joined, defects=[*shell.defects, *joined.defects])
