"""The fixed predicates, by theme. Importing this package registers them all."""

from __future__ import annotations

from typing import Final

from pitbird.rules.predicates import (
    calibration,
    currency,
    cylinder,
    gas_challenge,
    gas_question,
    gas_window,
    people,
    reaching,
    service,
    set_points,
    shown,
)
from pitbird.rules.predicates.base import PREDICATES, Code, Predicate, Scope

MODULES: Final = (
    service,
    currency,
    shown,
    cylinder,
    gas_question,
    gas_window,
    gas_challenge,
    reaching,
    people,
    calibration,
    set_points,
)

__all__ = ["MODULES", "PREDICATES", "Code", "Predicate", "Scope"]
