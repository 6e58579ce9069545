"""What differs between an entry and what stands instead of it, field by field. Values only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

#: What names a part of a list, so that parts are told apart by it and not by their place.
_NAMES: Final = ("channel", "name", "gas")
#: Fields that a replacement cannot change, or that only repeat the others.
_BESIDE: Final = frozenset({"v", "id", "kind", "about"})


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that differs: its path, and both values as they stand; None where there is none."""

    path: tuple[str, ...]
    old: Any
    new: Any


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Difference, ...]:
    """Every field in which two bodies of one kind differ, in the order of the old one, what is new last.

    Parts of a list (channels, alarms, gases) are compared by their name wherever every part has one of its
    own, other parts by their place, counted from 1. What stands on one side only is told whole.
    """
    plain = [{key: value for key, value in body.items() if key not in _BESIDE} for body in (old, new)]
    return tuple(_of_fields((), plain[0], plain[1]))


def _of_fields(path: tuple[str, ...], old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Difference]:
    for key in dict.fromkeys((*old, *new)):
        yield from _of_values((*path, key), old.get(key), new.get(key))


def _of_values(path: tuple[str, ...], old: Any, new: Any) -> Iterator[Difference]:
    if old == new:
        return
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        yield from _of_fields(path, old, new)
    elif _parts(old) and _parts(new):
        yield from _of_fields(path, *_named(old, new))
    else:
        yield Difference(path, old, new)


def _parts(value: Any) -> bool:
    """Whether a value is a list of parts with fields of their own."""
    listed = isinstance(value, Sequence) and not isinstance(value, str)
    return listed and bool(value) and all(isinstance(part, Mapping) for part in value)


def _named(
    old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The parts of both lists by the name that tells them apart, or by their place."""
    for key in _NAMES:
        if all(_told_apart(parts, key) for parts in (old, new)):
            return {str(part[key]): part for part in old}, {str(part[key]): part for part in new}
    return (
        {str(place): part for place, part in enumerate(old, start=1)},
        {str(place): part for place, part in enumerate(new, start=1)},
    )


def _told_apart(parts: Sequence[Mapping[str, Any]], key: str) -> bool:
    values = [part.get(key) for part in parts]
    return all(isinstance(value, str) for value in values) and len(set(values)) == len(values)
