"""The table of questions: one page for each kind of entry that a person writes by hand."""

from __future__ import annotations

from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from pitbird.fleet.state import CylinderState, DetectorState, PersonState, SiteState
from pitbird.web.forms.base import NOTE, Ask, Question, Setting


def _holder(setting: Setting) -> str:
    state = setting.state
    return state.custody.holder or "" if isinstance(state, DetectorState) and state.custody else ""


def _site(setting: Setting) -> str:
    return setting.actor.site or ""


def _person(field: str) -> Any:
    def initial(setting: Setting) -> Any:
        state = setting.state
        if not isinstance(state, PersonState):
            return None
        if field == "name":
            name = setting.names(state.subject)
            return "" if state.name is None else name
        return getattr(state, field)

    return initial


def _of_site(field: str) -> Any:
    def initial(setting: Setting) -> Any:
        state = setting.state
        if not isinstance(state, SiteState):
            return None
        value = getattr(state, field)
        return ", ".join(value) if isinstance(value, tuple) else value

    return initial


def _me(setting: Setting) -> str:
    return setting.actor.person


def _regulator(setting: Setting) -> str:
    return setting.state.regulator or "" if isinstance(setting.state, CylinderState) else ""


_DETECTOR: Final = (
    Question(
        "handed-out",
        "detector",
        _("Who takes it?"),
        _("Hand over a detector only while its stamp says that it may go out."),
        _("Hand it out"),
        (
            Ask("to", "person", _("Who takes it"), required=True),
            Ask("from_store", "from_store", _("Where it comes from"), required=True),
            Ask("permit", "text", _("Permit or job")),
            Ask("due_back", "time", _("When it is due back")),
            NOTE,
        ),
        form="handed-out",
    ),
    Question(
        "handed-back",
        "detector",
        _("Who brings it back?"),
        _("Ask whether anything happened to it, and write that down too: a drop, water, an alarm."),
        _("Take it back"),
        (
            Ask("back_from", "person", _("Who brings it back"), initial=_holder),
            Ask("to_site", "site", _("It stays at another site from now on")),
            NOTE,
        ),
    ),
    Question(
        "happened",
        "detector",
        _("What happened to it?"),
        _("What happened may have harmed it. Until it has been shown gas again, it may not be what it was."),
        _("Write it down"),
        (
            Ask("what", "choice", required=True),
            Ask("channels", "channels", _("Channels it concerns")),
            NOTE,
        ),
        caution=_("Do not use it until its page says that it may go out again."),
    ),
    Question(
        "out-of-service",
        "detector",
        _("Why is it taken out of service?"),
        _("It stays in until a competent person has answered this reason, whatever tests say in between."),
        _("Take it out of service"),
        (Ask("because", "choice", required=True), NOTE),
        caution=_("Label it and put it where nobody takes it by mistake."),
        grave=True,
    ),
    Question(
        "repaired",
        "detector",
        _("What was repaired?"),
        _("Say what was found. A repair is no test: gas comes afterwards, then the return to service."),
        _("Write the repair"),
        (
            Ask("cause", "choice", _("Cause as found"), required=True),
            Ask("replaced", "channels", _("Channels whose sensor was replaced")),
            NOTE,
        ),
    ),
    Question(
        "calibration",
        "detector",
        _("What did the calibration show?"),
        _("For each channel: the gas applied, what it read before adjusting (as found) and after (as left)."),
        _("Write the calibration"),
        (),
        caution=_("Follow the instrument's manual. Calibrate with gas that is in date and traceable."),
        form="calibration",
    ),
    Question(
        "returned-to-service",
        "detector",
        _("Which reasons are answered?"),
        _("Tick only what you have looked into. A reason that is not ticked stays open."),
        _("Return it to service"),
        (),
        caution=_(
            "You say with your name that the cause was found and put right. Returning it is no test: "
            "the gate still asks for gas."
        ),
        form="returned-to-service",
    ),
    Question(
        "issued-untested",
        "detector",
        _("On whose authority does it go out untested?"),
        _("For one job, until a time, on somebody's authority. The gate does not turn to yes by it."),
        _("Issue it untested"),
        (
            Ask("to", "person", _("Who takes it"), required=True),
            Ask("authority", "person", _("On whose authority"), required=True, roles=("keeper", "competent")),
            Ask("until", "time", _("Until when"), required=True),
            Ask("reason", "note", _("For which job, and why it cannot be tested"), required=True,
                help=_("Kept apart from the book's leaves.")),
        ),
        caution=_(
            "An untested detector may be dead and look exactly like a good one. Entering a confined space or "
            "a place where gas may be on an untested detector can kill. Local codes may forbid it altogether."
        ),
        grave=True,
        form="issued-untested",
    ),
    Question(
        "fresh-air-set",
        "detector",
        _("In what air was it set?"),
        _("A fresh-air set tells the detector that the air around it is clean."),
        _("Write it down"),
        (Ask("air", "choice", required=True), NOTE),
        caution=_("Set in air that is not clean, it hides gas from then on. Outdoors, away from exhausts."),
    ),
    Question(
        "alarm-in-use",
        "detector",
        _("Which alarm came?"),
        _("It alarmed while it was worn. Leave first, write afterwards."),
        _("Write the alarm"),
        (
            Ask("channel", "channel", required=True),
            Ask("alarm", "text", _("Which of its alarms, such as low or high")),
            Ask("peak", "number", _("Highest reading, in the channel's unit")),
            NOTE,
        ),
    ),
)  # fmt: skip

_CYLINDER: Final = (
    Question(
        "cylinder-received",
        "cylinder",
        _("Where did it arrive?"),
        _("It stands in stock there from now on."),
        _("Write it down"),
        (Ask("at_site", "site", required=True, initial=_site), NOTE),
    ),
    Question(
        "cylinder-opened",
        "cylinder",
        _("Where is it put to use?"),
        _("With the regulator fitted, ready for tests."),
        _("Put it to use"),
        (
            Ask("at_site", "site", required=True, initial=_site),
            Ask("regulator", "regulator", initial=_regulator),
            Ask("gauge_bar", "number"),
            NOTE,
        ),
        caution=_("Test gas can be toxic or can smother. Look at the label and the certificate first."),
    ),
    Question(
        "gauge-read",
        "cylinder",
        _("What does the gauge show?"),
        _("The pressure on the regulator's gauge, in bar."),
        _("Write the reading"),
        (Ask("gauge_bar", "number", required=True), NOTE),
    ),
    Question(
        "cylinder-emptied",
        "cylinder",
        _("Is it used up?"),
        _("From now on it serves no test."),
        _("Write it off as empty"),
        (NOTE,),
        grave=True,
    ),
    Question(
        "cylinder-quarantined",
        "cylinder",
        _("Why is it in doubt?"),
        _("It serves no test until the question is answered. Tests made with it since then do not count."),
        _("Quarantine it"),
        (
            Ask("because", "choice", required=True),
            Ask("since", "time", _("In doubt since"),
                help=_("Leave it empty for now. An earlier time withdraws the passes made from then on.")),
            NOTE,
        ),
        grave=True,
    ),
    Question(
        "cylinder-released",
        "cylinder",
        _("Which doubts are answered?"),
        _("Tick what was looked into; the rest stays open."),
        _("Release it"),
        (NOTE,),
        caution=_(
            "You say with your name that the gas was asked about: regulator, hose, certificate and gauge. A "
            "detector that failed on it stays out until its own failure is answered too."
        ),
        form="cylinder-released",
    ),
)  # fmt: skip

_PEOPLE: Final = (
    Question(
        "training",
        "person",
        _("What was the training in?"),
        _("Tests by somebody who is not trained do not count where the site rules say so."),
        _("Write the training"),
        (
            Ask("topic", "choice", required=True),
            Ask("trainer", "person", roles=("trainer", "keeper", "competent")),
            Ask("valid_until", "day"),
            Ask("result", "choice", required=True, initial=lambda setting: "passed"),
            NOTE,
        ),
    ),
    Question(
        "person",
        "",
        _("Who is this?"),
        _("The name is kept apart from the book's leaves, where only the short code stands."),
        _("Write it down"),
        (
            Ask("name", "text", required=True, initial=_person("name")),
            Ask("roles", "several", initial=_person("roles")),
            Ask("home", "site", initial=_person("home")),
            Ask("left", "day", initial=_person("left")),
            NOTE,
        ),
        form="thing",
    ),
)

_THINGS: Final = (
    Question(
        "site",
        "",
        _("Which place is this?"),
        _("A site has its own clock, stock of gas and site rules."),
        _("Write it down"),
        (
            Ask("name", "text", required=True, initial=_of_site("name")),
            Ask("site_zone", "zone", required=True, initial=_of_site("zone"),
                help=_("An IANA name such as Europe/Lisbon.")),
            Ask("change_overs", "clocks", initial=_of_site("change_overs"),
                help=_("The working day or shift ends then, on the site's clock: 04:00; or 06:00, 18:00.")),
            NOTE,
        ),
        form="thing",
    ),
    Question(
        "regulator",
        "",
        _("Which regulator is this?"),
        _(
            "The flow it gives says how much gas a test takes, and whether a pump draws air in beside it; "
            "the hose, how much later the gas comes."
        ),
        _("Write it down"),
        (
            Ask("flow", "choice", required=True),
            Ask("flow_l_min", "number"),
            Ask("hose_m", "number"),
            Ask("hose_s_per_m", "number"),
            Ask("serial", "keyed"),
            NOTE,
        ),
        form="thing",
    ),
    Question(
        "detector",
        "",
        _("Which detector is this?"),
        _("Copy the alarm set-points from the detector: the gate asks for gas up to what stands here."),
        _("Write the detector"),
        (),
        caution=_(
            "A channel or an alarm that is left out, or written other than it is set, makes tests pass that "
            "show less than they should. Hold the detector next to the screen."
        ),
        form="detector",
    ),
    Question(
        "cylinder",
        "",
        _("What does the certificate say?"),
        _("Copy it from the certificate and the label: amounts, uncertainty, the last day of use."),
        _("Write the cylinder"),
        (),
        form="cylinder",
    ),
    Question(
        "note",
        "any",
        _("What should be remembered?"),
        _("A note changes nothing that the gate decides."),
        _("Write the note"),
        (
            Ask("text", "note", required=True,
                help=_("Kept apart from the book's leaves, and can be erased.")),
        ),
    ),
    Question(
        "correction",
        "",
        _("What is wrong with this entry?"),
        _("Nothing is rubbed out: the entry stays, and this one says what it is worth now."),
        _("Write the correction"),
        (),
        caution=_("The gate decides anew by what stands after it, for the past as well."),
        grave=True,
        form="correction",
    ),
    Question(
        "rules-adopted",
        "",
        _("Which rules shall hold?"),
        _("Tests made before keep the rules of their own time."),
        _("Adopt these rules"),
        (),
        caution=_(
            "The site rules decide what may go out. Local codes, the instrument's manual and a competent "
            "person come first."
        ),
        form="rules-adopted",
    ),
)  # fmt: skip

QUESTIONS: Final[dict[str, Question]] = {
    question.kind: question for question in (*_DETECTOR, *_CYLINDER, *_PEOPLE, *_THINGS)
}

#: What can be done from a page, in the order in which it is offered.
ACTIONS: Final[dict[str, tuple[str, ...]]] = {
    "detector": (
        "handed-out", "handed-back", "happened", "out-of-service", "fresh-air-set", "calibration", "repaired",
        "returned-to-service", "alarm-in-use", "issued-untested", "note",
    ),
    "cylinder": (
        "cylinder-received", "cylinder-opened", "gauge-read", "cylinder-emptied", "cylinder-quarantined",
        "cylinder-released", "note",
    ),
    "person": ("training", "note"),
}  # fmt: skip

ACTION_WORDS: Final = {
    "handed-out": _("Hand it out"),
    "handed-back": _("Take it back"),
    "happened": _("Something happened to it"),
    "out-of-service": _("Take it out of service"),
    "fresh-air-set": _("Fresh-air set"),
    "calibration": _("Calibration"),
    "repaired": _("Repair"),
    "returned-to-service": _("Return it to service"),
    "alarm-in-use": _("It alarmed in use"),
    "issued-untested": _("Issue it untested"),
    "note": _("Note"),
    "cylinder-received": _("It arrived"),
    "cylinder-opened": _("Put it to use"),
    "gauge-read": _("Read the gauge"),
    "cylinder-emptied": _("It is empty"),
    "cylinder-quarantined": _("Quarantine it"),
    "cylinder-released": _("Release it"),
    "training": _("Training"),
}
