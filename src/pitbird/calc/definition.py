"""What a calculation is: a typed request, a typed result, and the function between them.

A module of this room is one calculation::

    class HalfLifeRequest(Request):
        rate_per_day: Positive
        'Failure rate.'

    class HalfLifeResult(Result):
        half_life_days: float

    def check(request: HalfLifeRequest) -> Iterator[Fault]:   # what no single field can tell
        yield Fault("rate_per_day", shown(request.rate_per_day), "what is wrong; what to write")

    def solve(request: HalfLifeRequest) -> HalfLifeResult: ...

    CALCULATION = Calculation("half-life", HalfLifeRequest, HalfLifeResult, solve, check, examples=(...))

and stands in ``registry.LISTED`` with the question it answers. The name of a field ends with its unit, the
text below it says what it is; ``pitbird.calc.fields`` has the types that they share (``GasName``,
``Positive``, ``Many[...]`` for lists). ``check`` and ``solve`` name fields by their path alone
(``sensors[0].t90_s``).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Generic, NoReturn, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pitbird.record.faults import Fault, near, shown


class Part(BaseModel):
    """A part of a request or result: no unknown field, no text for a number, no NaN, never changed."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Request(Part):
    """What a calculation is asked."""


class Result(Part):
    """What a calculation answers; it always says what it stands on."""

    footing: tuple[str, ...] = Field(
        description="What the numbers stand on: standard and edition, model, assumptions"
    )
    cautions: tuple[str, ...] = Field(description="What must be heeded when using them; empty if nothing")


Q = TypeVar("Q", bound=Request)
R = TypeVar("R", bound=Result)


class Refused(ValueError):
    """A request was refused; ``faults`` holds every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def _no_more(_: Request) -> Iterable[Fault]:
    return ()


@dataclass(frozen=True, slots=True)
class Example:
    """A request that shows what a calculation is for; the page offers it filled in."""

    title: str
    request: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Calculation(Generic[Q, R]):
    """One calculation under its name.

    ``check`` yields what is wrong between fields; ``solve`` answers what passed, and raises ``Refused`` for
    what only calculating shows. Neither reads a clock, a file or a random number.
    """

    name: str
    request: type[Q]
    result: type[R]
    solve: Callable[[Q], R]
    check: Callable[[Q], Iterable[Fault]] = _no_more
    examples: tuple[Example, ...] = ()

    def read(self, raw: object) -> Q:
        """A request from plain values (as JSON gives them).

        Raises ``Refused`` with every fault: those of single fields together, then those between fields.
        """
        try:
            request = read_part(self.request, raw)
        except Refused as refused:
            raise Refused(self._here(fault) for fault in refused.faults) from None
        faults = [self._here(fault) for fault in self.check(request)]
        if faults:
            raise Refused(faults)
        return request

    def answer(self, raw: object) -> R:
        """Read a request and answer it; raises ``Refused`` with every fault."""
        request = self.read(raw)
        try:
            return self.solve(request)
        except Refused as refused:
            raise Refused(self._here(fault) for fault in refused.faults) from None

    def schema(self) -> dict[str, Any]:
        """JSON Schema (draft 2020-12) of the request and of the result."""
        return {
            "request": self.request.model_json_schema(),
            "result": self.result.model_json_schema(mode="serialization"),
        }

    def _here(self, fault: Fault) -> Fault:
        return Fault(f"{self.name}.{fault.where}" if fault.where else self.name, fault.value, fault.problem)


P = TypeVar("P", bound=Part)


def read_part(sort: type[P], raw: object) -> P:
    """A request, or a part of one by itself, from plain values; raises ``Refused`` with every single field's
    fault, named by its path."""
    try:
        return sort.model_validate(raw)
    except ValidationError as refused:
        raise Refused(_told(error, sort) for error in refused.errors()) from None


def _told(error: Any, model: type[BaseModel]) -> Fault:
    missing = error["type"] == "missing"
    value = "" if missing or error["type"] == "extra_forbidden" else shown(error["input"])
    return Fault(_path(error["loc"], model), value, _problem(error, model))


def parsed(text: str | bytes) -> Any:
    """JSON whose keys stand once and whose numbers are numbers; raises ``Refused`` with one fault."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise Refused([Fault("request", "", f"the key {twice!a} stands twice; keep one of the two")])
        return found

    def no_number(word: str) -> NoReturn:
        raise Refused([Fault("request", "", f"{word} is no number in JSON")])

    try:
        return json.loads(text, object_pairs_hook=once, parse_constant=no_number)
    except UnicodeDecodeError:
        raise Refused([Fault("request", "", "not UTF-8; save it as UTF-8 and try again")]) from None
    except json.JSONDecodeError as broken:
        place = f"line {broken.lineno}, column {broken.colno}"
        raise Refused([Fault("request", "", f"not JSON ({broken.msg} at {place})")]) from None
    except RecursionError:
        raise Refused([Fault("request", "", "not a request: nested too deep")]) from None


def as_values(model: BaseModel) -> dict[str, Any]:
    """A request or result as JSON values."""
    return model.model_dump(mode="json")


def _path(loc: Iterable[str | int], model: type[BaseModel]) -> str:
    """``("sensors", 0, "alarms", 1, "at")`` as ``sensors[0].alarms[1].at``."""
    path = ""
    for step in _steps(loc, model):
        path += f"[{step}]" if isinstance(step, int) else f".{step}" if path else step
    return path


def _steps(loc: Iterable[str | int], model: type[BaseModel]) -> Iterable[str | int]:
    # The labels that pydantic puts in for the branches of a union are no part of what was handed in.
    return [step for step in loc if isinstance(step, int) or not step.startswith(_BRANCHES)]


_BRANCHES: Final = (
    "function-",
    "constrained-",
    "tuple[",
    "list[",
    "lax-or-strict",
    "float",
    "str",
    "literal[",
)

_WORDS: Final[dict[str, str]] = {
    "missing": "missing",
    "float_type": "not a number; write it without quotes, as 20.9",
    "float_parsing": "not a number; write it without quotes, as 20.9",
    "finite_number": "not a finite number",
    "int_type": "not a whole number",
    "int_from_float": "not a whole number",
    "bool_type": "neither true nor false; write it without quotes",
    "string_type": "not a text; write it in quotes",
    "dict_type": "not an object; write {{…}} with names and values",
    "tuple_type": "not a list; write […]",
    "list_type": "not a list; write […]",
    "model_type": "not an object; write {{…}} with its fields",
    "model_attributes_type": "not an object; write {{…}} with its fields",
    "greater_than": "must be more than {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be {le:g} or less",
    "too_short": "must have at least {min_length}",
    "too_long": "must have at most {max_length}",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} signs",
    "literal_error": "must be {expected}",
}


def _problem(error: Any, model: type[BaseModel]) -> str:
    kind, context = error["type"], error.get("ctx") or {}
    if kind == "extra_forbidden":
        fields = _fields_at(error["loc"][:-1], model)
        problem = f"no field of that name{near(str(error['loc'][-1]), fields)}"
        return f"{problem}; there are {', '.join(fields)}" if fields else problem
    if kind == "value_error":
        return str(context["error"])
    words = _WORDS.get(kind)
    return words.format(**context) if words else str(error["msg"])


def _fields_at(loc: Iterable[str | int], model: type[BaseModel]) -> list[str]:
    """The names of the fields of the object at a place of a request."""
    schema = model.model_json_schema()
    here: Any = schema
    for step in _steps(loc, model):
        here = _resolved(here, schema)
        here = here.get("items", {}) if isinstance(step, int) else here.get("properties", {}).get(step, {})
    return list(_resolved(here, schema).get("properties", {}))


def _resolved(here: Any, schema: Any) -> Any:
    for option in (here, *here.get("anyOf", ())):
        if "$ref" in option:
            return schema["$defs"][option["$ref"].rpartition("/")[2]]
    return next((option for option in here.get("anyOf", ()) if "items" in option), here)
