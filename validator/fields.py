"""What may a value be in a file that a person wrote? Text, numbers, dates, durations and measures, each with its own sentence.

Scalars reach a field as the text that stands in the file; the field decides what they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, WithJsonSchema

from validator import units
from validator.quantities import Duration, parse_number

_SHOWN = 80  # characters of a wrong value in a sentence
CANONICAL_INTEGER = re.compile(r"0|-?[1-9]\d{0,17}", re.ASCII)
_NUMBER_LIKE = re.compile(
    r"[-+]?(\d[\d_]*(\.[\d_]*)?([eE][-+]?\d+)?|\.\d[\d_]*([eE][-+]?\d+)?|0[xob][\da-fA-F_]+|\d+(:[0-5]?\d)+(\.\d*)?"
    r"|\.(inf|Inf|INF))|\.(nan|NaN|NAN)"
)


class Plain(str):
    """A scalar that stood in the file without quotes, so a YAML reader could take it for a number or a truth value."""

    __slots__ = ()


def _text(value: Any) -> Any:
    if isinstance(value, Plain):
        if _NUMBER_LIKE.fullmatch(value) and not _one_number_one_text(value):
            raise ValueError(f'{value} can be read as a number in more than one way; put it in quotes: "{value}"')
        if value in ("true", "false", "True", "False", "TRUE", "FALSE"):
            raise ValueError(f'{value} is a truth value; put it in quotes if the word is meant: "{value}"')
    if not isinstance(value, str):
        raise ValueError(f"expected text, found {said_value(value)}")
    if not value.strip():
        raise ValueError("expected text, found an empty text")
    acting = _ACTING.search(value)
    if acting is not None:
        raise ValueError(f"holds the character U+{ord(acting[0]):04X}, which acts on a screen and is no text")
    return str(value)


# controls and marks of direction: what a pack or a register says is shown as it stands
_ACTING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def _one_number_one_text(text: str) -> bool:
    """Whether a number-like text comes back from every reader as it was: 101 and 117.305 do, 1.10 and 0123 do not."""
    if CANONICAL_INTEGER.fullmatch(text):
        return True
    return re.fullmatch(r"-?\d+\.\d+", text) is not None and repr(float(text)) == text


def _number(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, (int, float, Plain)):
        raise ValueError(f"expected a number without quotes, found {said_value(value)}")
    try:
        return parse_number(str(value))
    except ValueError:
        raise ValueError(f"expected a finite decimal number, found {said_value(value)}") from None


def _whole(value: Any) -> Any:
    if isinstance(value, bool) or not CANONICAL_INTEGER.fullmatch(str(value)) or type(value) is str:
        raise ValueError(f"expected a whole number without quotes, found {said_value(value)}")
    return int(value)


def _flag(value: Any) -> Any:
    if isinstance(value, bool):
        return value
    if isinstance(value, Plain) and value in ("true", "false"):
        return value == "true"
    raise ValueError(f"expected true or false, found {said_value(value)}")


def _day(value: Any) -> Any:
    if isinstance(value, date):
        return value
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise ValueError(f"expected a calendar date as 2026-01-31, found {said_value(value)}")


def _duration(value: Any) -> Any:
    if isinstance(value, Duration):
        return value
    if not isinstance(value, str):
        raise ValueError(f"expected a duration as P30D or PT15M, found {said_value(value)}")
    return Duration.parse(value)


def _measure(read: Callable[[str], float], allowed: str, most: float = float("inf")) -> Callable[[Any], Any]:
    """A reading of a number in its column's own unit, or of one with a unit beside it, from 0 to `most`."""

    def measure(value: Any) -> Any:
        found = one(value)
        if not 0 <= found <= most:
            up_to = f" and at most {most:,.0f}" if most < float("inf") else ""
            raise ValueError(f"found {value}; no less than 0{up_to} can be measured")
        return found

    def one(value: Any) -> Any:
        if isinstance(value, str) and units.has_unit(value):
            return read(str(value))
        if isinstance(value, bool) or not isinstance(value, (int, float, Plain)):
            raise ValueError(
                f"expected a number without quotes or one with its unit, as {allowed}; found {said_value(value)}"
            )
        return _number(value)

    return measure


def _temperature(value: Any) -> Any:
    if isinstance(value, units.Temperature):
        return value
    if isinstance(value, (list, tuple)) and all(isinstance(side, str) for side in value):
        return units.temperature([str(side) for side in value])
    if isinstance(value, str) and (units.has_unit(value) or "/" in value):
        return units.temperature(str(value))
    if isinstance(value, bool) or not isinstance(value, (int, float, Plain)):
        raise ValueError(f"expected a temperature as {units.TEMPERATURE}, found {said_value(value)}")
    return units.celsius(_number(value))


def said_value(value: Any) -> str:
    """A wrong value as a sentence shows it."""
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, (list, tuple)):
        return "a list"
    if value is None:
        return "nothing"
    shown = str(value) if isinstance(value, str) else repr(value)
    shown = shown if len(shown) <= _SHOWN else shown[:_SHOWN] + "..."
    return repr(shown) if isinstance(value, str) else shown


def _at_least_one(value: Mapping[str, int]) -> Mapping[str, int]:
    for step, rows in value.items():
        if rows < 1:
            raise ValueError(f"{step} is {rows}; at least 1 row of a step can run at once")
    return value


Text = Annotated[str, BeforeValidator(_text), WithJsonSchema({"type": ["string", "number"]})]
Number = Annotated[float, BeforeValidator(_number), WithJsonSchema({"type": "number"})]
Strength = Annotated[
    float,
    BeforeValidator(_measure(units.strength, units.STRENGTH, 1_000_000)),
    WithJsonSchema({"oneOf": [{"type": "number"}, {"type": "string", "pattern": units.STRENGTH_PATTERN}]}),
]
"""A strength or a hardness in mg/L: a plain number, or one with its unit."""
Percent = Annotated[
    float,
    BeforeValidator(_measure(units.percent, units.PERCENT)),
    WithJsonSchema({"oneOf": [{"type": "number"}, {"type": "string", "pattern": units.PERCENT_PATTERN}]}),
]
"""A product's own strength in percent."""
Degrees = Annotated[
    float,
    BeforeValidator(_measure(units.difference, units.DIFFERENCE)),
    WithJsonSchema({"oneOf": [{"type": "number"}, {"type": "string", "pattern": units.ONE_TEMPERATURE_PATTERN}]}),
]
"""A difference between temperatures, in degrees Celsius."""
TemperatureLimit = Annotated[
    units.Temperature,
    BeforeValidator(_temperature),
    WithJsonSchema(
        {
            "oneOf": [
                {"type": "number"},
                {"type": "string", "pattern": units.TEMPERATURE_PATTERN},
                {
                    "type": "array", "minItems": 1, "maxItems": 2,
                    "items": {"type": "string", "pattern": units.ONE_TEMPERATURE_PATTERN},
                },
            ]
        }
    ),
]  # fmt: skip
"""A temperature: a plain number in degrees Celsius, one with its unit, or a published pair."""
Whole = Annotated[int, BeforeValidator(_whole), WithJsonSchema({"type": "integer"})]
Capacities = Annotated[Mapping[Text, Whole], AfterValidator(_at_least_one)]
"""How many rows of a step can run at once on a machine, by step."""
Flag = Annotated[bool, BeforeValidator(_flag), WithJsonSchema({"type": "boolean"})]
Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]
DurationText = Annotated[
    Duration,
    BeforeValidator(_duration),
    WithJsonSchema({"type": "string", "pattern": r"^P(\d{1,6}D|T(?=\d)(\d{1,6}H)?(\d{1,6}M)?(\d{1,9}S)?)$"}),
]


class Document(BaseModel):
    """A model of something a person writes: unknown keys are faults, values do not change afterwards."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, populate_by_name=True, defer_build=True
    )
    aliases_shown: ClassVar[Mapping[str, str]] = {}
