"""Whether a cylinder serves a detector: which alarms it sets off, how soon, and what such a test can miss."""

from __future__ import annotations

from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState
from pitbird.papers.charts.calculations import rising
from pitbird.papers.charts.drawing import NARROW, WIDE
from pitbird.rules.delivering import Delivered
from pitbird.rules.predicates.reaching import label_bases
from pitbird.rules.serving import Served, problems
from pitbird.science.challenge.delivery import FIRST_TEST, Delivery
from pitbird.science.challenge.judging import AlarmFound, SensorFound
from pitbird.services import clock
from pitbird.services.balancing import Balanced
from pitbird.services.gas_left import GasLeft
from pitbird.services.knowing import Now
from pitbird.services.serving import GAS_ON_S, TypeServed, against, detector_served, types_served
from pitbird.web import names as naming
from pitbird.web.calc_words import number_shown
from pitbird.web.vocabulary import mixture, unit
from pitbird.web.who import zone_of

SERVES_WORDS: Final = {
    "serves": gettext_lazy("serves"),
    "in-part": gettext_lazy("in part"),
    "not": gettext_lazy("does not serve"),
    "cannot-tell": gettext_lazy("cannot tell"),
}
LONGEST_S: Final = 600.0


def lines(state: CylinderState) -> list[dict[str, Any]]:
    """Every type of detector of the cylinder's site, and whether it serves it."""
    return [_line(each, state) for each in types_served(state, site=state.site)]


def _line(each: TypeServed, state: CylinderState) -> dict[str, Any]:
    return {
        "type": f"{each.make} {each.model}".strip(),
        "number": len(each.detectors),
        "detector": naming.code(each.detectors[0]),
        "mark": each.serves,
        "words": SERVES_WORDS[each.serves],
        "not_by": [one.channel.name for one in each.served if one.serves is False],
        "unknown": [one.channel.name for one in each.served if one.serves is None],
        "slowest": "" if each.slowest_s is None else f"{each.slowest_s:.0f} s",
        "loss": "" if each.worst_loss is None else f"{100 * each.worst_loss:.0f} %",
        "thinned": f"{100 * each.delivered.delivery.share:.3g} %" if each.delivered.finding else "",
        "label": any(label_words(one.channel, state) for one in each.served),
    }


def left_words(left: GasLeft) -> dict[str, Any]:
    """What is left in a cylinder, in words, and the level for its picture."""
    if left.tests is None:
        return {"why": "; ".join(left.why)}
    level = None if left.full is None else round(100 * left.full)
    return {
        "tests": left.tests,
        "band": f"{left.tests_low}–{left.tests_high}",
        "litres": number_shown(float(f"{left.usable_l:.3g}")) if left.usable_l is not None else "",
        "days": None if left.days is None else round(left.days),
        "level": level,
        "height": None if level is None else round(2.2 * level),
        "top": None if level is None else 250 - round(2.2 * level),
        "gauge_at": left.gauge_at,
        "since": left.since_gauge,
        "seconds": f"{left.seconds_per_test:.0f}",
        "flow": f"{left.flow_l_min:g}",
        "assumed": left.assumed,
        "cautions": left.cautions,
    }


def balance_words(balance: Balanced | None) -> dict[str, Any] | None:
    """What the balance of gas and tests says; None where there is none."""
    if balance is None:
        return None
    found = balance.found
    return {
        "outcome": found.outcome,
        "since": balance.since,
        "until": balance.until,
        "from_bar": f"{balance.from_bar:g}",
        "to_bar": f"{balance.to_bar:g}",
        "tests": balance.tests,
        "written": _litres(found.written_low_l, found.written_high_l),
        "used": _litres(found.used_low_l, found.used_high_l),
    }


def _litres(low: float, high: float) -> str:
    return f"{low:.1f}–{high:.1f}"


@require_safe
def serves(request: HttpRequest, code: str, detector: str) -> HttpResponse:
    """One detector in the gas of one cylinder: every channel with its alarms, drawn and in words."""
    gas, state = Now().state(f"cylinder:{code}"), Now().state(f"detector:{detector}")
    if not isinstance(gas, CylinderState) or not isinstance(state, DetectorState):
        raise Http404(f"{code}, {detector}")
    seconds, fault = _seconds(request.GET.get("seconds", ""))
    found = detector_served(state, gas, seconds)
    context = {
        "here": "gas",
        "code": code,
        "detector": detector,
        "gas": gas,
        "against": against(gas, clock.now(), zone_of(gas.site)),
        "type": f"{state.make} {state.model}".strip(),
        "mixture": mixture(gas) if gas.components else "",
        "seconds": f"{seconds:g}",
        "fault": fault,
        "mark": found.serves,
        "words": SERVES_WORDS[found.serves],
        "way": way_words(found.delivered, state),
        "channels": [_channel(served, gas, seconds, found.delivered.delivery) for served in found.served],
    }
    return render(request, "pitbird/serves.html", context, status=422 if fault else 200)


def _seconds(text: str) -> tuple[float, str]:
    if not text.strip():
        return GAS_ON_S, ""
    try:
        seconds = float(text.replace(",", "."))
    except ValueError:
        seconds = 0.0
    if 1 <= seconds <= LONGEST_S:
        return seconds, ""
    problem = _("“%(text)s” is no time for which gas is on; write seconds, from 1 to %(most)d.")
    return GAS_ON_S, problem % {"text": text[:20], "most": LONGEST_S}


def way_words(way: Delivered, detector: DetectorState) -> dict[str, Any]:
    """How the gas comes to a detector: what the flows and the hose do, and what the book does not say."""
    missing = []
    if way.regulator_unknown:
        missing.append(_("which regulator is on the cylinder, or its flow"))
    if way.pump_unknown:
        missing.append(_("what the pump of the detector draws"))
    hose = way.delivery
    return {
        "finding": way.finding,
        "share": f"{100 * hose.share:.3g} %",
        "thinned": hose.share < 1,
        "given": "" if way.regulator_l_min is None else f"{way.regulator_l_min:g}",
        "drawn": "" if way.pump_l_min is None else f"{way.pump_l_min:g}",
        "pump": detector.draws == "pump",
        "hose": f"{hose.hose_m:g}" if hose.hose_m else "",
        "pace": f"{hose.hose_s_per_m:g}",
        "delay": f"{hose.delay_s:.3g}",
        "first_test": FIRST_TEST if hose.hose_m else "",
        "missing": missing,
    }


def label_words(channel: ChannelFact, gas: CylinderState) -> list[str]:
    """Where the label takes another concentration for 100 %LFL than a channel does, in sentences."""
    said = _(
        "The label says %(label)s %%LFL %(gas)s and takes %(theirs)s %% vol for 100 %%LFL; the detector "
        "takes %(own)s %% vol, so a healthy one reads %(reads)s %%LFL."
    )
    return [
        said
        % {
            "label": f"{float(basis.on_label):.3g}",
            "gas": basis.gas,
            "theirs": f"{float(basis.label_vol_pct):.3g}",
            "own": f"{float(basis.own_vol_pct):.3g}",
            "reads": f"{float(basis.reads):.3g}",
        }
        for basis in label_bases(channel, gas.components)
        if basis.differs
    ]


def _channel(served: Served, gas: CylinderState, seconds: float, delivery: Delivery) -> dict[str, Any]:
    channel, found = served.channel, served.found
    shown: dict[str, Any] = {
        "name": channel.name,
        "gas": channel.gas,
        "unit": unit(channel.unit),
        "serves": served.serves,
        "must": channel.must_show is not None,
        "problems": [
            *label_words(channel, gas),
            *problems(served, gas.components, gas.balance, seconds, delivery),
        ],
    }
    if found is None:
        return shown
    picture = rising(found.sensor, found.reading.own, seconds)
    return {
        **shown,
        "reads": number_shown(float(f"{found.reading.own:.3g}")),
        "alarms": [_alarm(found, alarm) for alarm in found.alarms if alarm.shown_by == "gas"],
        "label": picture.label,
        "wide": mark_safe(picture.svg(WIDE)),  # noqa: S308 (drawn here)
        "narrow": mark_safe(picture.svg(NARROW)),  # noqa: S308
    }


def _alarm(found: SensorFound, alarm: AlarmFound) -> dict[str, Any]:
    return {
        "name": alarm.name,
        "at": f"{alarm.at:g}",
        "trips": alarm.trips,
        "time": _("never") if alarm.time_s is None else f"{alarm.time_s:.1f} s",
        "lean": _("never") if alarm.time_lean_s is None else f"{alarm.time_lean_s:.1f} s",
        "probability": f"{100 * alarm.probability:.1f} %" if alarm.probability < 0.9995 else "> 99.9 %",
        "loss": loss_words(found, alarm),
    }


def loss_words(found: SensorFound, alarm: AlarmFound) -> str:
    """The loss that this test can miss, with what it means at the alarm: a true 10 ppm may show 6."""
    if alarm.undetected_loss is None:
        return ""
    clean = found.sensor.clean_air_reading
    shows = clean + (alarm.at - clean) * (1 - alarm.undetected_loss)
    return _("could miss %(loss)s %%: a true %(true)s %(unit)s may show %(shows)s") % {
        "loss": f"{100 * alarm.undetected_loss:.0f}",
        "true": f"{alarm.at:g}",
        "unit": unit(found.sensor.unit),
        "shows": f"{shows:.3g}",
    }
