"""Slips for bump tests where phones are barred, as a paper."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

from pitbird.fleet.state import ChannelFact, DetectorState, SiteState
from pitbird.fleet.times import local
from pitbird.papers.reading import code
from pitbird.papers.slips import Channel, Slip, print_slips
from pitbird.services.knowing import Now
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, Order, PaperRefused

_UNITS = {"ppm": "ppm", "vol_pct": "% vol", "pct_lfl": "% LFL"}


def slips(detectors: Sequence[str], order: Order) -> Made:
    """A slip for each detector, numbered by the minute and its code. Raises PaperRefused with every fault."""
    order = order.checked()
    states = Now().some(detectors)
    found = [state for name in detectors if isinstance(state := states.get(name), DetectorState)]
    unknown = [code(name) for name in detectors if not isinstance(states.get(name), DetectorState)]
    if unknown:
        raise PaperRefused(f"detectors: the book does not know {', '.join(unknown[:20])}")
    if not found:
        raise PaperRefused("detectors: there is nothing to print; name at least one")
    if bare := [code(state.subject) for state in found if not state.channels]:
        raise PaperRefused(f"detectors: the channels of {', '.join(bare)} are not in the book; describe them")
    homes = {state.site for state in found}
    site = Now().state(next(iter(homes)) or "") if len(homes) == 1 else None
    zone = making.zone_of(found[0].site) or "UTC"
    day = local(order.made_at, zone)
    name = site.name or code(site.subject) if isinstance(site, SiteState) else "several sites"
    pdf = print_slips(
        [_slip(state, number) for state, number in zip(found, _numbers(found, day), strict=True)],
        site=name,
        made_at=datetime.fromtimestamp(order.made_at / 1000, UTC),
        paper="us-letter" if order.paper == "us-letter" else "a4",
    )
    return Made("slips.pdf", pdf)


def _numbers(states: Sequence[DetectorState], day: datetime) -> list[str]:
    """A number for each slip, none twice on one paper, that an entry takes: the minute and the code."""
    found: list[str] = []
    for state in states:
        plain = re.sub(r"[^A-Za-z0-9-]", "-", code(state.subject))[:17]
        number, again = f"{day:%y%m%d-%H%M}-{plain}", 1
        while number in found:
            again += 1
            number = f"{day:%y%m%d-%H%M}-{plain[: 16 - len(str(again))]}-{again}"
        found.append(number)
    return found


def _slip(state: DetectorState, number: str) -> Slip:
    what = ", ".join(filter(None, (f"{state.make} {state.model}".strip(), state.serial)))
    channels = tuple(_channel(channel) for channel in state.channels)
    return Slip(number, state.subject, code(state.subject), what, channels, tuple(state.signals))


def _channel(channel: ChannelFact) -> Channel:
    unit = _UNITS.get(channel.unit, channel.unit)
    must = channel.must_show
    alarm = f"{must.name} alarm, {must.at} {unit}" if must is not None else "nothing"
    return Channel(f"{channel.name}, {channel.gas}", f"{channel.clean_air} {unit}", alarm)
