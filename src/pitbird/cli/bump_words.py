"""Words for a bump test on the command line: its checks, what came of it, and the cylinders in use."""

from __future__ import annotations

from typing import Final

from pitbird.cli.naming import code

CHECK_WORDS: Final = {
    "whole_and_clean": "whole and clean",
    "inlets_clear": "inlets and filters clear",
    "warmed_up": "warmed up",
    "battery": "battery enough",
    "cylinder_in_date": "cylinder in date",
    "gauge_shows_pressure": "gauge shows pressure",
    "hose_tight": "hose and hood tight",
}
_REASONS: Final = {
    "check-failed": "{} not right before gas",
    "clean-air-wrong": "{} read wrong in clean air",
    "not-reached": "{} did not reach the alarm that gas must bring",
    "signal-silent": "no {}",
    "not-cleared": "{} did not clear after gas",
    "spoiled": "broken off ({})",
    "nothing-to-show": "no alarm of it is shown by gas",
    "no-signal-fitted": "no sound, light or vibration is described",
    "check-missing": "{} not looked at",
    "gas-check-failed": "{} not right, so the gas proves nothing",
    "clean-air-missing": "{} not read in clean air",
    "not-exposed": "{} was not shown gas",
    "not-counted": "{} did not reach its alarm, and the gas may not have arrived",
    "unknown-channel": "{} is no channel of it",
    "signal-missing": "{} not looked at",
    "cleared-missing": "{} after gas not looked at",
}


def reason_words(reason: str) -> str:
    """A reason of the outcome in plain words."""
    name, _, what = reason.partition(":")
    return _REASONS[name].format(CHECK_WORDS.get(what, what))


def in_use(site: str | None) -> list[str]:
    """The cylinders opened at a site that are neither used up, nor in doubt, nor in question."""
    from pitbird.fleet.state import CylinderState
    from pitbird.rules.predicates.gas_question import MAY_BE_GAS, question_at
    from pitbird.services import clock
    from pitbird.services.knowing import Now

    now = clock.now()
    return [
        state.subject
        for state in Now().all_of(CylinderState)
        if site is not None
        and (state.opened_site or state.site) == site
        and state.opened_at is not None
        and state.emptied_at is None
        and state.withdrawn_at(now) is None
        and question_at(state, now, in_a_row=MAY_BE_GAS, detectors=MAY_BE_GAS) is None
    ]


def in_use_words(site: str | None) -> str:
    """`` (in use at north-works: C-112)``, or nothing."""
    names = in_use(site)
    return f" (in use at {code(site)}: {', '.join(code(name) for name in names)})" if names else ""
