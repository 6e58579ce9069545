"""Types of fields that several calculations share."""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field

from pitbird.record.faults import near
from pitbird.science.gases import GASES, gas_of

T = TypeVar("T")

#: A list as JSON has it; kept as a tuple.
Many = Annotated[tuple[T, ...], Field(strict=False)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
#: A probability that is neither impossible nor certain, such as a confidence.
Confidence = Annotated[float, Field(gt=0, lt=1)]


def _whole(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


#: A whole number; 5.0 is one too.
Whole = Annotated[int, BeforeValidator(_whole)]
#: Standard whose table of lower flammable limits is used.
Basis = Literal["iec-60079-20-1", "nfpa-497"]


def _known(text: str) -> str:
    if gas_of(text) is None:
        names = [name for gas in GASES for name in (gas.name, *gas.other_names)]
        raise ValueError(f"not a gas that is known here{near(text, names)}; use its name or its CAS number")
    return text


#: A gas by its name in words, a usual other name or its CAS number; kept as it was written.
GasName = Annotated[str, AfterValidator(_known), Field(json_schema_extra={"format": "gas"})]
