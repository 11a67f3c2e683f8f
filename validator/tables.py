"""The table that every reader hands on: columns by their canonical names, with the row its user sees.

A reader's whole duty is to get cells out of a container without changing or losing one. What a cell means is read
once, in `validator.readers.cells`, for every format alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from validator.budget import Budget as Budget

IntArray = npt.NDArray[np.int32]
NAT = np.iinfo(np.int64).min
"""The instant that is not there."""


@dataclass
class TextColumn:
    """Text cells coded by a vocabulary: `vocabulary[codes[i]]` is cell i as it stands in the file; -1 is blank."""

    codes: IntArray
    vocabulary: list[str]


@dataclass
class StringsColumn:
    """Text cells one after the other, for columns where nearly every cell differs: cell i is
    `data[offsets[i]:offsets[i + 1]]`, UTF-8; an empty cell is blank.
    """

    offsets: npt.NDArray[np.int64]
    data: npt.NDArray[np.uint8]


@dataclass
class TimeColumn:
    """Instants in microseconds since 1970: UTC where `absolute`, else the wall clock of the store. `NAT` is blank."""

    microseconds: npt.NDArray[np.int64]
    absolute: bool


@dataclass
class NumberColumn:
    """Numbers as the container holds them; NaN is blank."""

    values: npt.NDArray[np.float64]


Column = TextColumn | StringsColumn | TimeColumn | NumberColumn


@dataclass(frozen=True)
class CellDefect:
    """A fault that the reader itself saw. `index` is the position in the table, or -1 where the row is not in it.

    `whole` sets the row aside altogether: its values may stand in the wrong columns. `cell` is the beginning of what stands
    there, where something does that could not be read.
    """

    index: int
    row: int
    column: str
    code: str
    message: str
    whole: bool = False
    sheet: str = ""
    cell: str = ""


@dataclass
class RawTable:
    """One sheet (or one file without sheets) as read: `rows[i]` is the number its user sees for row i of the columns.

    Rows that cannot be laid out in columns at all are in `lost` (with index -1) and not in the columns.
    """

    sheet: str
    rows: IntArray
    columns: dict[str, Column]
    defects: list[CellDefect] = field(default_factory=list)
    blank_rows: int = 0
    headings: dict[str, Heading] = field(default_factory=dict)


Heading = tuple[str, str]
"""The name of a column in the file where it is not the canonical one, and in a workbook its letters."""
Origin = Mapping[str, Sequence[Heading]]
"""For canonical columns the columns of the file that they were read from."""


@dataclass
class ParsedTable:
    """A table whose cells have been read: what `validator.readers.cells.parse` makes of a `RawTable`.

    `times` hold microseconds since 1970 (`NAT` where blank or unreadable); `absolute` says cell by cell whether that
    is UTC or the wall clock of the store. `whole` marks rows set aside altogether. Text vocabularies are trimmed, NFC.
    `zone` is an IANA time zone that a mapping states for wall-clock times; without it they are the store's.
    `origins` are the ways in which rows came from columns of the file, and `origin` says which was that of each row; both are
    empty where every column bears its canonical name. `entries` tell of each list that a path goes through, `steps[]`, which
    of its entries a row is, from 1.
    """

    sheet: str
    rows: IntArray
    texts: dict[str, TextColumn]
    times: dict[str, npt.NDArray[np.int64]]
    absolute: dict[str, npt.NDArray[np.bool_]]
    numbers: dict[str, npt.NDArray[np.float64]]
    whole: npt.NDArray[np.bool_]
    defects: list[CellDefect]
    blank_rows: int = 0
    zone: str = ""
    origins: list[Origin] = field(default_factory=list)
    origin: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int32))
    entries: dict[str, IntArray] = field(default_factory=dict)


@dataclass
class FileRead:
    """A file as read: its sheets, what was assumed to read it, and notices about what was left aside.

    `raw` are the sheets as they stand in the file and `told` what was found out, where a look at them was asked for.
    """

    name: str
    sha256: str
    format: str
    tables: list[ParsedTable]
    assumptions: list[str] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    raw: list[ParsedTable] = field(default_factory=list)
    told: dict[str, Any] = field(default_factory=dict)


@dataclass
class FileRefused:
    """A file that could not be read at all: why, as a code, a sentence and a place."""

    name: str
    sha256: str
    code: str
    sentence: str
    place: str = ""


REQUIRED = ("store_id", "equipment_id", "step")
TIMES = ("started_at", "ended_at", "verified_at", "recorded_at")
NUMBERS = (
    "duration_s", "concentration_ppm", "temperature_c", "temperature_f", "ph", "hardness_ppm", "count_per_g", "product_amount",
    "water_amount",
)  # fmt: skip
TEXTS = (
    "store_id", "equipment_id", "cycle_id", "procedure", "step", "target", "agent", "solution_id", "test",
    "product_unit", "water_unit", "performed_by", "verified_by",
)  # fmt: skip
FREE_TEXT = ("note",)
ONE_TIME = ("started_at", "ended_at", "duration_s")
"""A record needs one of these to say when, or how long."""
UNITS: dict[str, tuple[str, ...]] = {
    "duration_s": ("s", "min", "h"),
    "temperature_c": ("C", "F"),
    "temperature_f": ("F",),
    "concentration_ppm": ("ppm", "mg/L", "%"),
    "hardness_ppm": ("ppm", "mg/L"),
}
"""The units in which a bare number of a column can be, its own first; other numbers have none."""
CANONICAL = (*TEXTS, *TIMES, *NUMBERS, *FREE_TEXT)
"""Every column of the contract's canonical table."""


IN_ORDER = (
    "empty_tank", "mix_solution", "test_solution", "disconnect", "disassemble", "flush", "circulate", "soak", "wash", "rinse",
    "sanitize", "air_dry", "reassemble", "reconnect", "refill_tank", "prime", "sample", "verify",
)  # fmt: skip
"""The steps of the contract, section 3, in the order in which a cycle usually has them."""
STEPS = frozenset(IN_ORDER)
"""The steps of the contract; a pack may add its own."""
AGENTS = frozenset(["water", "detergent", "caustic", "acid", "chlorine", "quat", "iodine", "peracetic_acid"])
"""The agents of the contract, section 3; a pack may add its own."""

DOMAIN: dict[str, tuple[float, float]] = {
    "duration_s": (0, 31 * 86_400),
    "concentration_ppm": (0, 1_000_000),
    "temperature_c": (-60, 300),
    "temperature_f": (-76, 572),
    "ph": (0, 14),
    "hardness_ppm": (0, 1_000_000),
    "count_per_g": (0, 1e12),
    "product_amount": (0, 1e9),
    "water_amount": (0, 1e9),
}
"""What a measured value can be at all, both ends inclusive; outside it the cell is a defect, never a reading."""


COMMON_NAMES = "columns read by common names: "
"""How the assumption begins that tells which columns have been read though they do not bear the canonical name."""


def named_columns(header: Mapping[int, str]) -> dict[int, str]:
    """Which position holds which canonical column: names are trimmed (also of a file's mark that was put twice) and
    case-folded, nothing else is guessed.
    """
    return {
        at: name
        for at, cell in header.items()
        if (name := cell.strip().strip("\ufeff").strip().casefold()) in CANONICAL
    }


def join_texts(parts: Sequence[TextColumn | None], sizes: Sequence[int]) -> TextColumn:
    """Text columns end to end, each word once in one vocabulary; where a part has none, as many blanks as its size says."""
    vocabulary: dict[str, int] = {}
    codes = []
    for part, size in zip(parts, sizes, strict=True):
        if part is None:
            codes.append(np.full(size, -1, dtype=np.int32))
            continue
        mapped = np.array([vocabulary.setdefault(v, len(vocabulary)) for v in part.vocabulary] + [-1], dtype=np.int32)
        codes.append(mapped[part.codes])
    return TextColumn(np.concatenate(codes) if codes else np.empty(0, np.int32), list(vocabulary))
