"""Files divided by machine in memory, in a way of its own: what `engine.pieces` takes, without a file or a process."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate
from typing import Any

import numpy as np

from validator.tables import CellDefect, FileRead, FileRefused, ParsedTable, TextColumn


class Divided:
    """`count` pieces; a machine's piece hangs on the letters of its name and on `salt`."""

    def __init__(self, files: Sequence[FileRead | FileRefused], count: int, salt: int = 0) -> None:
        self.files, self.count, self.salt = files, count, salt

    def __len__(self) -> int:
        return self.count

    def piece_of(self, store_id: str, equipment_id: str) -> int:
        return sum(n * ord(c) for n, c in enumerate(f"{store_id}/{equipment_id}", self.salt + 3)) % self.count

    def load(self, piece: int) -> list[FileRead | FileRefused]:
        return [f if isinstance(f, FileRefused) else self._part(f, piece) for f in self.files]

    def _part(self, file: FileRead, piece: int) -> FileRead:
        tables = [self._rows(t, piece) for t in file.tables]
        return replace(file, tables=tables, notices=[] if piece else file.notices)

    def _rows(self, table: ParsedTable, piece: int) -> ParsedTable:
        def word(name: str, row: int) -> str:
            column = table.texts.get(name)
            return column.vocabulary[column.codes[row]] if column is not None and column.codes[row] >= 0 else ""

        mine = np.array(
            [self.piece_of(word("store_id", r), word("equipment_id", r)) == piece for r in range(len(table.rows))], bool
        )
        place = list(accumulate(mine.tolist(), initial=0))
        defects: list[CellDefect] = [
            d if d.index < 0 else replace(d, index=place[d.index]) for d in table.defects
            if (d.index < 0 and piece == 0) or (d.index >= 0 and mine[d.index])
        ]  # fmt: skip
        cut: dict[str, Any] = {
            name: {n: a[mine] for n, a in getattr(table, name).items()} for name in ("times", "absolute", "numbers", "entries")
        }
        cut["origin"] = table.origin[mine] if table.origins else table.origin
        texts = {n: TextColumn(c.codes[mine], c.vocabulary) for n, c in table.texts.items()}
        if "cycle_id" in texts:  # names of cycles are many: each piece has its own alone
            codes, words = texts["cycle_id"].codes, texts["cycle_id"].vocabulary
            here = [c for c in dict.fromkeys(codes.tolist()) if c >= 0]
            again = np.array([here.index(c) if c >= 0 else -1 for c in codes.tolist()], dtype=np.int32)
            texts["cycle_id"] = TextColumn(again, [words[c] for c in here])
        return replace(
            table, rows=table.rows[mine], whole=table.whole[mine], texts=texts, defects=defects,
            blank_rows=0 if piece else table.blank_rows, **cut,
        )  # fmt: skip
