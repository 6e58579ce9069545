"""The words for kinds of entry, for their fields and for the values that are chosen from a list."""

from __future__ import annotations

from typing import Any, Final, Literal, Union, get_args, get_origin

from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from pydantic import BaseModel

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.state import CylinderState

Word = str | Promise

KIND_WORDS: Final[dict[str, Word]] = {
    "genesis": _("The book was begun"),
    "site": _("Site"),
    "person": _("Person"),
    "detector": _("Detector"),
    "sensor": _("Sensor"),
    "regulator": _("Regulator"),
    "cylinder": _("Cylinder of test gas"),
    "handed-out": _("Handed out"),
    "handed-back": _("Handed back"),
    "bump-test": _("Bump test"),
    "fresh-air-set": _("Fresh-air set"),
    "calibration": _("Calibration"),
    "happened": _("Something happened"),
    "out-of-service": _("Taken out of service"),
    "repaired": _("Repaired"),
    "returned-to-service": _("Returned to service"),
    "issued-untested": _("Issued untested"),
    "alarm-in-use": _("Alarm in use"),
    "cylinder-received": _("Cylinder received"),
    "cylinder-opened": _("Cylinder put to use"),
    "gauge-read": _("Gauge read"),
    "cylinder-emptied": _("Cylinder emptied"),
    "cylinder-quarantined": _("Cylinder quarantined"),
    "cylinder-released": _("Cylinder released"),
    "training": _("Training"),
    "look-back": _("Look-back decided"),
    "rules-adopted": _("Site rules adopted"),
    "note": _("Note"),
    "correction": _("Correction"),
    "epoch": _("The book was restored"),
    "key-changed": _("The key of the book was changed"),
    "audit-opened": _("A link to read was given"),
    "audit-closed": _("A link to read was taken back"),
    "device": _("Phone registered"),
    "device-ended": _("Phone no longer registered"),
    "erasure": _("Erasure"),
}

FIELD_WORDS: Final[dict[str, Word]] = {
    "site": _("Site"), "name": _("Name"), "site_zone": _("Time zone"),
    "change_overs": _("Working day ends at"),
    "note": _("Note"), "person": _("Person"), "roles": _("May act as"), "home": _("Belongs to"),
    "left": _("Left on"), "detector": _("Detector"), "make": _("Make"), "model": _("Model"),
    "serial": _("Serial number"), "firmware": _("Firmware"), "draws": _("Air reaches it by"),
    "signals": _("Signals"), "channels": _("Channels"), "activated": _("Switched on first"),
    "life_ends": _("Last day of its life"), "calibrated_by_maker_only": _("Calibrated by its maker only"),
    "gas": _("Gas"), "principle": _("Principle"), "unit": _("Unit"), "range_high": _("Range up to"),
    "clean_air": _("Reads in clean air"), "clean_air_tolerance": _("Tolerance in clean air, ±"),
    "lfl_basis": _("LFL taken from"), "alarms": _("Alarms"), "at": _("At"), "direction": _("Direction"),
    "shown_by": _("Shown by"), "sensor_serial": _("Sensor's serial number"),
    "sensor_fitted": _("Sensor fitted on"), "sensor_ends": _("Sensor's last day"), "t90_s": _("t90, s"),
    "t90_fast_s": _("Fastest t90 of a new sensor, s"), "other_gases": _("Reads in other gases"),
    "reads": _("Reads"),
    "sensor": _("Sensor"), "made": _("Made on"), "fitted_in": _("Fitted in"), "channel": _("Channel"),
    "regulator": _("Regulator"), "flow": _("Flow"), "flow_l_min": _("Flow, l/min"),
    "hose_m": _("Hose to the detector, m"), "hose_s_per_m": _("Time in the hose, s a metre, if measured"),
    "pump_l_min": _("Its pump draws, l/min (from the manual)"),
    "label_pct_lfl": _("%LFL on the label, if any"),
    "label_lfl_vol_pct": _("100 %LFL by the label, % vol, if any"),
    "cylinder": _("Cylinder"), "lot": _("Lot"), "certificate": _("Certificate"),
    "traceable_to": _("Traceable to"), "components": _("Contains"), "amount": _("Amount"),
    "expanded_uncertainty_pct": _("Expanded uncertainty, % of the amount (k = 2)"), "balance": _("Rest"),
    "expires": _("Last day of use"), "water_capacity_l": _("Water capacity, l"),
    "free_gas_l": _("Gas when full, l"), "full_pressure_bar": _("Pressure when full, bar"),
    "minimum_pressure_bar": _("Use down to, bar"), "minimum_temperature_c": _("Use down to, °C"),
    "to": _("To"), "from_store": _("Straight from the store"), "permit": _("Permit or job"),
    "due_back": _("Due back"), "back_from": _("Back from"), "to_site": _("Now at"),
    "footing": _("Footing"), "checks": _("Looked at before gas"), "applications": _("Gas"),
    "cleared": _("After gas"), "temperature_c": _("Temperature, °C"), "outcome": _("Outcome"),
    "spoiled_because": _("Spoiled because"), "gauge_bar": _("Gauge, bar"), "gas_on": _("Gas on"),
    "gas_off": _("Gas off"), "reached": _("Alarm came"), "after_s": _("After, s"),
    "peak": _("Highest reading"),
    "reading": _("Reading"), "right": _("Right for clean air"),
    "whole_and_clean": _("Whole and clean"), "inlets_clear": _("Inlets clear"), "warmed_up": _("Warmed up"),
    "battery": _("Battery"), "hose_tight": _("Hose tight"), "gauge_shows_pressure": _("Gauge shows pressure"),
    "cylinder_in_date": _("Cylinder in date"), "sound": _("Sound"), "light": _("Light"),
    "vibration": _("Vibration"), "readings": _("Readings back to clean air"),
    "peaks": _("Peaks and averages cleared"), "air": _("Air"), "cylinders": _("Cylinders"),
    "zeroed": _("Zeroed first"), "applied": _("Applied"), "as_found": _("As found"), "as_left": _("As left"),
    "adjusted": _("Adjusted"), "result": _("Result"), "tolerance_pct": _("Tolerance, %"),
    "what": _("What happened"), "photo": _("Photo"), "because": _("Because"), "cause": _("Cause"),
    "replaced": _("Sensors replaced"), "answers": _("Answers"), "tested": _("Tested afterwards"),
    "authority": _("On the authority of"), "until": _("Until"), "reason": _("Reason"), "alarm": _("Alarm"),
    "at_site": _("Site"), "since": _("Since"), "topic": _("Trained in"), "trainer": _("Trained by"),
    "valid_until": _("Holds until"), "rules": _("Site rules"), "sites": _("Sites"),
    "effective": _("In force from"), "document": _("The rules"), "subject": _("About"), "text": _("Text"),
    "corrects": _("Corrects"), "of_about": _("Which was about"), "how": _("How"),
    "replacement": _("What stands instead"), "commitments": _("Erased"), "book": _("Book"),
    "title": _("Title"), "format": _("Form of the book"), "begun": _("Begun on"),
    "number": _("Number"), "old_key": _("Fingerprint of the old key"),
    "new_key": _("Fingerprint of the new key"), "reader": _("Who may read"), "people": _("People"),
    "detectors": _("Detectors"),
    "slip": _("Paper slip"), "countersigned_by": _("Countersigned by"),
    "entered_by": _("Entered by"),
    "first": _("From"), "last": _("To"), "token": _("SHA-256 of the secret in the link"),
    "names": _("With names and texts"), "opened": _("The link"),
    "device": _("Phone"), "alg": _("Signs by"), "key": _("Public key"), "label": _("Called"),
    "phone": _("Written on"), "known_by": _("Known there by"), "contact": _("Last spoke with the server"),
    "ahead_s": _("Its clock was ahead by, s"), "entered": _("Written after what a phone sent"),
    "waiting": _("What had come from the phone (SHA-256)"),
    "known_size": _("Entries that others hold proof of"), "known_root": _("Root that others hold"),
    "of": _("Looked back from"), "failed": _("After the failed test"), "looked_from": _("Looked at from"),
    "looked_to": _("Looked at until"), "book_size": _("Entries in the book then"),
    "assessed_by": _("Assessed by"), "done": _("What was done"),
    "kind": _("Kind"),
    "by": _("By"), "where": _("Where"), "about": _("About"), "id": _("Id"), "zone": _("Clock"),
}  # fmt: skip

VALUE_WORDS: Final[dict[str, Word]] = {
    "yes": _("yes"), "no": _("no"), "not-fitted": _("not fitted"),
    "passed": _("passed"), "failed": _("failed"), "spoiled": _("spoiled"),
    "shown": _("seen and recorded"), "reported": _("reported from elsewhere"),
    "hood-slipped": _("the hood slipped"), "gas-ran-out": _("the gas ran out"), "broken-off": _("broken off"),
    "wrong-gas": _("the wrong gas"), "not-every-channel": _("not every channel got gas"), "other": _("other"),
    "outdoors": _("outdoors, in clean air"), "zero-air": _("zero air from a cylinder"),
    "indoors": _("indoors"), "not-known": _("not known"),
    "within": _("within tolerance"), "outside": _("outside tolerance"),
    "drop": _("a drop"), "water": _("water"), "over-range": _("over-range"),
    "suspected-poison": _("suspected poisoning of a sensor"), "fault": _("a fault shown"),
    "flat-battery": _("a flat battery"), "sensor-changed": _("a sensor changed"),
    "filter-changed": _("a filter changed"), "firmware-changed": _("the firmware changed"),
    "set-point-changed": _("an alarm set-point changed"),
    "restored": _("restored from a copy"), "planned": _("as planned"),
    "exposed": _("others may have had the old one"), "damaged": _("damaged"),
    "overdue": _("overdue"), "suspect": _("suspect"),
    "life-ended": _("its life has ended"), "lost": _("lost"), "incident": _("an incident"),
    "sensor-worn": _("sensor worn out"), "sensor-poisoned": _("sensor poisoned"),
    "inlet-blocked": _("inlet blocked"), "drifted": _("drifted"), "alarm-dead": _("an alarm did not work"),
    "gas-at-fault": _("the test gas was at fault"), "handling": _("handling of the test"),
    "not-found": _("no cause found"), "battery": _("battery"),
    "keeper": _("keeper"), "tester": _("tester"), "competent": _("competent person"), "wearer": _("wearer"),
    "trainer": _("trainer"), "rising": _("rising"), "falling": _("falling"), "gas": _("gas"),
    "self-check": _("its own self-check"), "none": _("no test"), "pump": _("a pump"),
    "diffusion": _("diffusion"), "sound": _("sound"), "light": _("light"), "vibration": _("vibration"),
    "fixed": _("fixed"), "demand": _("on demand"), "ppm": _("ppm"), "vol_pct": _("% vol"),
    "pct_lfl": _("%LFL"), "iec-60079-20-1": "IEC 60079-20-1", "nfpa-497": "NFPA 497",
    "catalytic": _("catalytic"), "infrared": _("infrared"), "electrochemical": _("electrochemical"),
    "oxygen": _("oxygen (electrochemical or optical)"), "photoionisation": _("photoionisation"),
    "suspect-contents": _("its contents are in doubt"), "leak": _("a leak"),
    "no-certificate": _("no certificate"), "recalled": _("recalled"),
    "bump-test": _("bump test"), "wearing": _("wearing"), "calibration": _("calibration"),
    "train-the-trainer": _("training others"), "void": _("void: it counts for nothing"),
    "replace": _("replaced by what stands below"), "retention-ended": _("it need not be kept any longer"),
    "stolen": _("stolen"), "given-up": _("given up"), "pin": _("PIN"), "account": _("signing in"),
    "ES256": "ECDSA P-256, SHA-256", "Ed25519": "Ed25519",
    "request": _("asked for"), "mistake": _("written by mistake"), "test-failed": _("a test failed"),
    "calibration-failed": _("a calibration failed"), "True": _("yes"), "False": _("no"),
    "pitbird-book/1": "pitbird-book/1",
    "described-anew": _("described anew"), "fresh-air-set": _("a fresh-air set"), "repaired": _("a repair"),
    "no-work-affected": _("no work affected"), "work-affected": _("work affected"),
    "cannot-be-told": _("it cannot be told"),
    "working-day": _("to the end of the working day"), "shift": _("to the end of the shift"),
    "hours": _("for set hours"), "exempt": _("not asked for"), "not-exempt": _("asked for as well"),
    "counts": _("counts"), "does-not-count": _("does not count"), "stops": _("stops"), "warns": _("warns"),
}  # fmt: skip


def word(value: str) -> str:
    """The words for a listed value; the value itself where it has none."""
    return str(VALUE_WORDS.get(value, value))


def field_word(name: str) -> str:
    """The label of a field; its own name where it has none."""
    return str(FIELD_WORDS.get(name, name.replace("_", " ")))


def kind_word(kind: str) -> str:
    """The words for a kind; a kind that is not known is said to be so."""
    known = KIND_WORDS.get(kind)
    return str(known) if known is not None else str(_("Entry of a kind that is not known here: %s")) % kind


def unit(value: str) -> str:
    """``% vol`` for ``vol_pct``."""
    return word(value)


def mixture(state: CylinderState) -> str:
    """A mixture in one line, as certified."""
    parts = [f"{each.gas} {each.amount} {word(each.unit)}" for each in state.components]
    return ", ".join([*parts, gettext("rest %(gas)s") % {"gas": state.balance}])


def choices_of(kind: str, path: str) -> tuple[str, ...]:
    """The values that a field of a kind may take: ``choices_of("happened", "what")``."""
    model: type[BaseModel] = KINDS[kind]
    *parts, last = path.split(".")
    for part in parts:
        model = next(each for each in _flat(model.model_fields[part].annotation) if _is_model(each))
    return tuple(value for value in _flat(model.model_fields[last].annotation) if isinstance(value, str))


def _is_model(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, BaseModel)


def _flat(annotation: Any) -> list[Any]:
    """The values of literals and the classes in an annotation, however nested."""
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    if get_origin(annotation) in (Union, tuple, list) or get_args(annotation):
        return [value for part in get_args(annotation) for value in _flat(part)]
    return [annotation]


def listed_values(model: type[BaseModel], seen: frozenset[type] = frozenset()) -> set[str]:
    """Every value that a kind and its parts choose from a list, to see that each has words."""
    found: set[str] = set()
    for name, info in model.model_fields.items():
        for value in _flat(info.annotation):
            if isinstance(value, str) and name != "kind":
                found.add(value)
            elif _is_model(value) and value not in seen:
                found |= listed_values(value, seen | {model})
    return found
