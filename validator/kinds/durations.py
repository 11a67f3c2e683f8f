"""The durations that limits are written in: elapsed time, or calendar days as well."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator

from validator.documents import DurationText
from validator.quantities import Duration


def _elapsed(value: Duration) -> Any:
    if value.calendar:
        raise ValueError(f"{value} counts calendar days; elapsed time is due here, as PT15M or PT{value.amount * 24}H")
    return value


Elapsed = Annotated[DurationText, AfterValidator(_elapsed)]
Either = DurationText
