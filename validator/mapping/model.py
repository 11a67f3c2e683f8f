"""What may a mapping say? For each kind of file: where its columns are, and how their cells are to be read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from itertools import pairwise
from pathlib import Path, PurePath
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, Field, WithJsonSchema, field_validator, model_validator

from validator.documents import Source, load, read, suggest
from validator.errors import WrongInput
from validator.fields import Document, Flag, Number, Text, Whole
from validator.mapping.aliases import fold
from validator.tables import CANONICAL, FREE_TEXT, ONE_TIME, REQUIRED, TEXTS, TIMES, UNITS

SHEET, FILE = "@sheet", "@file"
"""Stand for the name of the sheet or of the file, as a column that has it in every row."""
MOST_HEADER_ROWS = 4
EPOCHS = ("epoch_s", "epoch_ms")
SERIALS = ("serial_1900", "serial_1904")
"""What a count can be that stands for a time: of seconds since 1970, or of a spreadsheet's days in either of its systems."""
Encoding = Literal[
    "windows-1250", "windows-1251", "windows-1252", "windows-1253", "windows-1254", "windows-1257",
    "iso-8859-1", "iso-8859-2", "iso-8859-5", "iso-8859-7", "iso-8859-9", "iso-8859-15", "ibm437", "ibm850", "macintosh",
    "shift_jis", "gb18030", "big5", "euc-kr", "utf-16le", "utf-16be",
]  # fmt: skip
"""Code pages by the names that IANA gives them; UTF-8, and UTF-16 or UTF-32 with their mark, need none."""


def _word(value: Any) -> Any:
    return "" if value is None or value == "" else str(value) if isinstance(value, str) else value


Word = Annotated[str, BeforeValidator(_word), WithJsonSchema({"type": ["string", "number", "null"]})]
"""A canonical word; nothing stands for a blank cell."""


class Drops(Document):
    """A cell that holds the drops of a titration kit: what one drop past those of the blank stands for, in the column's unit."""

    each: Number
    blank: Number = 0.0

    @model_validator(mode="after")
    def _some(self) -> Drops:
        if self.each <= 0 or self.blank < 0:
            raise ValueError("each is above 0, and blank is 0 or more")
        return self


class Column(Document):
    """Where a canonical column comes from. Of `from`, `date` with `time`, and `join`, one is given.

    `unit` is that of numbers without one; of a time what they count: `epoch_s`, `epoch_ms`, or the days of a spreadsheet,
    `serial_1900` or `serial_1904`, which may stand in `date` and `time` as well. `night_until`: a time of day before it belongs to the day after the date.
    `after`: an end that would lie before the time in that column is on the next day, if that is at most 12 h later. `part` takes the number or the
    unit out of a cell that holds both. `drops`: the cell counts the drops of a titration kit.
    """

    from_: Text | None = Field(None, alias="from")
    date: Text | None = None
    time: Text | None = None
    join: tuple[Text, ...] = ()
    with_: str = Field(" ", alias="with")
    unit: Text | None = None
    part: Literal["number", "unit"] | None = None
    drops: Drops | None = None
    night_until: Text | None = None
    after: Literal["started_at"] | None = None

    @model_validator(mode="before")
    @classmethod
    def _short(cls, value: Any) -> Any:
        return {"from": value} if isinstance(value, str) else value

    @model_validator(mode="after")
    def _one_origin(self) -> Column:
        given = [bool(self.from_), bool(self.date or self.time), bool(self.join)]
        if sum(given) != 1:
            raise ValueError("needs one of: from; date and time; join")
        if bool(self.date) != bool(self.time):
            raise ValueError("needs both date and time, the columns that hold them")
        if self.night_until is not None and not re.fullmatch(r"[01]\d:[0-5]\d", self.night_until):
            raise ValueError(f'night_until: expected a time of day as "06:00", found {self.night_until!r}')
        if self.night_until is not None and not self.date:
            raise ValueError("night_until is for a date and a time in columns of their own")
        return self

    @property
    def sources(self) -> tuple[str, ...]:
        """The export's columns that it draws on."""
        return tuple(name for name in (self.from_, self.date, self.time, *self.join) if name)


class When(Document):
    """Whether a step of a wide row was done: what the cell holds where it was, and where it was not. Blank: not done."""

    column: Text
    yes: tuple[Text, ...]
    no: tuple[Text, ...] = ()


class _Sparse(Document):
    """A part of a mapping in which a key may stand with nothing under it, as in a draft that is not complete."""

    @model_validator(mode="before")
    @classmethod
    def _without_nothing(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        kept = {key: inner for key, inner in value.items() if inner is not None}
        if isinstance(kept.get("values"), dict):
            kept["values"] = {name: words for name, words in kept["values"].items() if words is not None}
        return kept


class Step(_Sparse):
    """One step that a wide row can hold, with its own columns and constants; with `targets` one step for each.

    A `*` in the name of a column stands for the text that `targets` gives the target.
    """

    targets: Mapping[Text, Text] = {}
    columns: Mapping[Text, Column] = {}
    constants: Mapping[Text, Text] = {}
    when: When | None = None

    @field_validator("columns", "constants")
    @classmethod
    def _known(cls, value: Mapping[str, Any]) -> Mapping[str, Any]:
        return _canonical(value)

    @model_validator(mode="after")
    def _told(self) -> Step:
        if not self.columns and self.when is None:
            raise ValueError("needs columns, or when, to tell whether it was done")
        starred = any("*" in name for column in self.columns.values() for name in column.sources)
        if self.targets and not (starred or (self.when and "*" in self.when.column)):
            raise ValueError("names targets, but no column with a * in its name tells them apart")
        return self

    def each(self) -> Iterator[Step]:
        """The steps of one target each, every `*` filled in."""
        if not self.targets:
            yield self
            return
        for target, text in self.targets.items():
            columns = {name: _filled(column, text) for name, column in self.columns.items()}
            when = self.when and self.when.model_copy(update={"column": self.when.column.replace("*", text)})
            constants = {**self.constants, "target": target}
            yield Step.model_construct(targets={}, columns=columns, constants=constants, when=when)


class Skip(Document):
    """Rows that are no records: a column equals one of these texts, begins with one, or is blank."""

    column: Text
    equals: tuple[Text, ...] = ()
    begins: tuple[Text, ...] = ()
    blank: Flag = False

    @model_validator(mode="after")
    def _some(self) -> Skip:
        if not (self.equals or self.begins or self.blank):
            raise ValueError("needs one of: equals, begins, blank: true")
        return self

    @property
    def said(self) -> str:
        ways = [f"is {' or '.join(map(repr, self.equals))}"] * bool(self.equals)
        ways += [f"begins with {' or '.join(map(repr, self.begins))}"] * bool(self.begins)
        ways += ["is blank"] * self.blank
        return f"{self.column!r} {' or '.join(ways)}"


class Layout(_Sparse):
    """How the files whose name fits `match` are laid out; `*` stands for any text. Absent keys assume nothing.

    A header over several `header_rows` begins in `header_row`; a title above a name goes before it, `Line 1 start`.
    With the `clock_mark` of a point, a time of day may be written 22.40 as well.
    """

    match: Text = "*"
    sheets: tuple[Text, ...] = ()
    header_row: Whole | None = None
    header_rows: Whole = 1
    delimiter: Literal[",", ";", "\t", "|"] | None = None
    encoding: Encoding | None = None
    records: Text | None = None
    columns: Mapping[Text, Column] = {}
    constants: Mapping[Text, Text] = {}
    values: Mapping[Text, Mapping[Text, Word]] = {}
    match_case: Flag = False
    unlisted: Literal["keep", "defect"] = "keep"
    blanks: tuple[Text, ...] = ()
    fill_down: tuple[Text, ...] = ()
    optional: tuple[Text, ...] = ()
    skip: tuple[Skip, ...] = ()
    dates: Literal["dmy", "mdy", "ymd"] | None = None
    year: Whole | None = None
    clock: Literal["12h", "24h"] | None = None
    clock_mark: Literal[":", "."] = ":"
    timezone: Text | None = None
    decimal: Literal[".", ","] = "."
    thousands: Literal[",", ".", " ", "'"] | None = None
    steps: tuple[Step, ...] = ()

    @field_validator("columns", "constants", "values")
    @classmethod
    def _known(cls, value: Mapping[str, Any]) -> Mapping[str, Any]:
        return _canonical(value)

    @field_validator("timezone")
    @classmethod
    def _zone(cls, value: str | None) -> str | None:
        if value is not None:
            try:
                ZoneInfo(value)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError(f"found {value!r}, which is no IANA time zone; write it as America/Chicago") from None
        return value

    @field_validator("header_row")
    @classmethod
    def _from_one(cls, value: int | None) -> int | None:
        if value is not None and not 1 <= value <= 1000:
            raise ValueError(f"found {value}; rows are counted from 1, and a header stands within the first 1000")
        return value

    @field_validator("header_rows")
    @classmethod
    def _few(cls, value: int) -> int:
        if not 1 <= value <= MOST_HEADER_ROWS:
            raise ValueError(f"found {value}; a header takes 1 to {MOST_HEADER_ROWS} rows, and header_row is its first")
        return value

    @field_validator("year")
    @classmethod
    def _likely(cls, value: int | None) -> int | None:
        if value is not None and not 1990 <= value <= 2099:
            raise ValueError(f"found {value}; allowed: 1990 to 2099")
        return value

    @model_validator(mode="after")
    def _whole(self) -> Layout:
        if self.thousands == self.decimal:
            raise ValueError(f"thousands and decimal are both {self.decimal!r}")
        for where, columns, constants in self._places():
            for name, column in columns.items():
                _fitting(f"{where}columns.{name}", name, column)
            twice = sorted(set(columns) & set(constants))
            if twice:
                raise ValueError(f"{where}{twice[0]} stands in columns and in constants; keep one of them")
        self._enough()
        lists_of(self.sources())
        self._folded_once()
        return self

    def _places(self) -> Iterator[tuple[str, Mapping[str, Column], Mapping[str, str]]]:
        yield "", self.columns, self.constants
        for at, step in enumerate(self.steps):
            yield f"steps[{at}].", step.columns, step.constants

    def _enough(self) -> None:
        for plan in self.plans():
            given = {*plan.columns, *plan.constants}
            which = f" for the step {plan.constants.get('step', '?')!r}" if self.steps else ""
            for name in REQUIRED:
                if name not in given:
                    raise ValueError(f"no column or constant gives {name}{which}, which every row needs")
            ticked = self.steps and (plan.when is not None or "performed_by" in plan.columns)
            if not given.intersection(ONE_TIME) and not (ticked and "cycle_id" in given):
                raise ValueError(
                    f"none of {', '.join(ONE_TIME)} is given{which}; a row needs one of them"
                    + (", or a cycle_id where a tick alone shows that it was done" if ticked else "")
                )

    def _folded_once(self) -> None:
        if self.match_case:
            return
        for name, words in self.values.items():
            seen: dict[str, str] = {}
            for text in words:
                other = seen.setdefault(fold(text), text)
                if other != text:
                    raise ValueError(
                        f"values.{name}: {other!r} and {text!r} differ in case alone; say match_case: true"
                    )

    def plans(self) -> list[Step]:
        """What one row of the file can become: the columns and constants of each step, those of all rows included."""
        steps = [one for step in self.steps for one in step.each()] or [Step.model_construct()]
        return [
            Step.model_construct(
                targets={}, columns={**_without(self.columns, step.constants), **step.columns},
                constants={**_without(self.constants, step.columns), **step.constants}, when=step.when,
            ) for step in steps
        ]  # fmt: skip

    def own_columns(self) -> list[tuple[str, ...]]:
        """For each of `plans`, the columns that show that its step was done when one of them is filled.

        These are all that the step itself names, but for the days of its times and what every row's columns draw on.
        """
        shared = {source for column in self.columns.values() for source in column.sources}
        return [
            tuple(dict.fromkeys(
                source for column in one.columns.values() for source in column.sources
                if source != column.date and source not in shared
            )) for step in self.steps for one in step.each()
        ]  # fmt: skip

    def sources(self) -> dict[str, tuple[str, ...]]:
        """Every column of the export that is drawn on, with the canonical columns it is for."""
        found: dict[str, dict[str, None]] = {}
        for plan in self.plans():
            for name, column in plan.columns.items():
                for source in column.sources:
                    found.setdefault(source, {})[name] = None
            if plan.when is not None:
                found.setdefault(plan.when.column, {})["step"] = None
        for name in (*(s.column for s in self.skip), *self.fill_down):
            found.setdefault(name, {})
        return {source: tuple(names) for source, names in found.items()}


class MappingFile(Document):
    """The whole file: its id, and one layout for each kind of file; the first that fits a file's name is used.

    Of a workbook, each sheet is read by the first layout that fits the file's name and takes the sheet.
    """

    mapping: Text
    files: tuple[Layout, ...]

    def layouts(self, name: str) -> tuple[Layout, ...]:
        """The layouts for a file, by the last part of its name, up to the first that takes every sheet; none may fit."""
        last = PurePath(name.replace("\\", "/")).name
        fitting = [one for one in self.files if fnmatchcase(last.casefold(), one.match.casefold())]
        whole = next((at for at, one in enumerate(fitting) if not one.sheets), len(fitting) - 1)
        return tuple(fitting[: whole + 1])


def lists_of(names: Iterable[str]) -> tuple[str, ...]:
    """The lists that paths go through, the outer first: `steps[].parts[].name` goes through two.

    Raise `ValueError` where two paths go through lists that do not lie in each other: their entries could be paired
    in any way.
    """
    lists: dict[str, None] = {}
    for name in names:
        at = name.find("[]")
        while at >= 0:
            lists[fold(name[: at + 2])] = None
            at = name.find("[]", at + 2)
    ordered = sorted(lists, key=len)
    for outer, inner in pairwise(ordered):
        if not inner.startswith(outer):
            raise ValueError(f"columns go through two lists, {outer} and {inner}; a row can come from one of them")
    return tuple(ordered)


@dataclass(frozen=True)
class Chosen:
    """A mapping as a user chose it, with the sum of its file, so that a report can name what was applied."""

    file: MappingFile
    source: Source

    @property
    def said(self) -> str:
        return f"{self.file.mapping} (sha256 {self.source.sha256[:16]})"


def load_mapping(path: Path) -> Chosen:
    """Read and check a mapping; raise `WrongInput` with file, line, key, what stood there and what may."""
    source = read(path)
    if not isinstance(source.data, dict):
        raise WrongInput(f"{path}: expected a mapping with the keys 'mapping' and 'files', found something else")
    found = load(MappingFile, source)
    if not found.files:
        raise WrongInput(f"{path}: files: is empty; name at least one kind of file")
    return Chosen(found, source)


def _canonical(value: Mapping[str, Any]) -> Mapping[str, Any]:
    for name in value:
        if name not in CANONICAL:
            raise ValueError(f"{name!r} is no column of the canonical table{suggest(name, list(CANONICAL))}; allowed: "
                             + ", ".join(CANONICAL))  # fmt: skip
    return value


def _fitting(place: str, name: str, column: Column) -> None:
    """Refuse what the kind of a column has no use for."""
    allowed = (SERIALS if column.date else (*EPOCHS, *SERIALS)) if name in TIMES else UNITS.get(name, ())
    if column.unit is not None and column.unit not in allowed:
        known = f"allowed: {', '.join(allowed)}" if allowed else "this column has no unit"
        raise ValueError(f"{place}.unit: found {column.unit!r}; {known}")
    if column.date and name not in TIMES:
        raise ValueError(f"{place}: date and time are for the columns {', '.join(TIMES)}")
    if column.join and name not in (*TEXTS, *FREE_TEXT):
        raise ValueError(f"{place}: join is for columns of text; a time is given by date and time")
    if column.drops is not None and (name not in ("concentration_ppm", "hardness_ppm") or column.unit or column.part):
        raise ValueError(f"{place}.drops: is for concentration_ppm and hardness_ppm, without a unit or part beside it")
    if column.after and name != "ended_at":
        raise ValueError(f"{place}.after: is for ended_at alone")


def _filled(column: Column, text: str) -> Column:
    fresh = {key: value.replace("*", text) for key in ("from_", "date", "time") if (value := getattr(column, key))}
    return column.model_copy(update={**fresh, "join": tuple(name.replace("*", text) for name in column.join)})


def _without(given: Mapping[str, Any], others: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in given.items() if name not in others}
