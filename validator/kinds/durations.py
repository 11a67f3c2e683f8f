"""The durations that limits are written in: elapsed time, or calendar days as well."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, WithJsonSchema

from validator.fields import DurationText
from validator.quantities import Duration


def _elapsed(value: Duration) -> Any:
    if value.calendar:
        raise ValueError(f"{value} counts calendar days; elapsed time is due here, as PT15M or PT{value.amount * 24}H")
    return value


Elapsed = Annotated[
    DurationText,
    AfterValidator(_elapsed),
    WithJsonSchema({"type": "string", "pattern": r"^PT(?=\d)(\d{1,6}H)?(\d{1,6}M)?(\d{1,9}S)?$"}),
]
Either = DurationText
