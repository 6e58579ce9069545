"""Folded states from their stored form (JSON), where what many of them repeat is read once.

Sixteen tests of a detector have the same checks, a fleet has the same channels. The JSON of such a part is
looked up by its bytes, and decoded only if it was not met before. Equal parts are then one value, so that a
detector's state takes some 10 kB of memory instead of 85. What comes out equals what decoding it whole gives.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import msgspec

from pitbird.fleet.folding import state_type
from pitbird.fleet.state import DetectorState, State, TestFact

#: So many different parts are remembered of each sort.
PARTS_KEPT: Final = 8192
_OF_TEST: Final = ("shown", "cylinders", "signals", "checks", "clean_air", "cleared")
_OF_DETECTOR: Final = ("channels", "signals")


class _Part:
    """Decodes one sort of part, each different one once."""

    def __init__(self, sort: Any) -> None:
        self._decode = msgspec.json.Decoder(sort).decode
        self._met: dict[bytes, Any] = {}

    def __call__(self, raw: msgspec.Raw) -> Any:
        text = bytes(raw)
        found = self._met.get(text)
        if found is None:
            if len(self._met) >= PARTS_KEPT:
                self._met.clear()
            found = self._met[text] = self._decode(text)
        return found


def _with_parts_raw(whole: type[msgspec.Struct], name: str, parts: dict[str, Any]) -> Any:
    """The struct with the same fields, of which some are left as they stand in the JSON."""
    fields: list[Any] = []
    for field in msgspec.structs.fields(whole):
        sort = parts.get(field.name, field.type)
        if field.required:
            fields.append((field.name, sort))
        elif sort is msgspec.Raw:
            fields.append((field.name, sort, msgspec.Raw(msgspec.json.encode(field.default))))
        else:
            fields.append((field.name, sort, field.default))
    return msgspec.defstruct(name, fields, gc=False)


def _parts_of(whole: type[msgspec.Struct], names: tuple[str, ...]) -> list[tuple[int, _Part]]:
    return [
        (place, _Part(field.type))
        for place, field in enumerate(msgspec.structs.fields(whole))
        if field.name in names
    ]


_Test: Final = _with_parts_raw(TestFact, "_Test", dict.fromkeys(_OF_TEST, msgspec.Raw))
_Detector: Final = _with_parts_raw(
    DetectorState,
    "_Detector",
    {**dict.fromkeys(_OF_DETECTOR, msgspec.Raw), "tests": tuple[_Test, ...]},  # type: ignore[valid-type]
)
_TEST_PARTS: Final = _parts_of(TestFact, _OF_TEST)
_DETECTOR_PARTS: Final = _parts_of(DetectorState, _OF_DETECTOR)
_TESTS_AT: Final = DetectorState.__struct_fields__.index("tests")
_astuple: Final = msgspec.structs.astuple
_read_detector: Final[Callable[[str], Any]] = msgspec.json.Decoder(_Detector).decode


def decode_state(subject: str, text: str) -> State:
    """A folded state from its stored form. Raises ``msgspec.DecodeError`` for what is none."""
    sort = state_type(subject)
    return decode_detector(text) if sort is DetectorState else msgspec.json.decode(text, type=sort)


def encode_state(state: State) -> str:
    """A folded state in the form it is stored in."""
    return msgspec.json.encode(state).decode()


def decode_detector(text: str) -> DetectorState:
    """A detector's state from its stored form."""
    values = list(_astuple(_read_detector(text)))
    for place, part in _DETECTOR_PARTS:
        values[place] = part(values[place])
    tests = []
    for raw in values[_TESTS_AT]:
        test = list(_astuple(raw))
        for place, part in _TEST_PARTS:
            test[place] = part(test[place])
        tests.append(TestFact(*test))
    values[_TESTS_AT] = tuple(tests)
    return DetectorState(*values)
