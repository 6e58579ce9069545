"""The words of the field page, for its script: ``{name}`` stands where the script puts something in."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_lazy as _

from pitbird.web.vocabulary import Word

WORDS: Final[dict[str, Word]] = {
    # Beginnings
    "insecure": _(
        "This page did not come by https. Without it the browser gives no "
        "keys, no camera and nothing without signal."
    ),
    "starting": _("One moment"),
    "not_paired": _("This phone is not registered."),
    "not_paired_how": _("The keeper makes a link for it on the page Phones. Open that link on this phone."),
    "pair_ask": _("Register this phone?"),
    "pair_how": _(
        "It makes a key of its own, which never leaves it. What is written here is signed with that key."
    ),
    "pair_do": _("Register this phone"),
    "pair_done": _("Registered as {code}"),
    "pair_compare": _("The keeper's page of phones must show the same figures:"),
    "pair_gone": _("This link is unknown, was used, or is over. Ask the keeper for another."),
    "pair_failed": _("It could not be registered: the server did not answer as it should. Try again."),
    "pair_offline": _("There is no network. Registering needs it."),
    "go_on": _("Go on"),
    "nothing_carried": _("Nothing is carried on this phone yet."),
    "need_network": _("Find network once: the page then works without it until the site's change-over."),
    "sign_in": _("Sign in"),
    "ask_again": _("Ask the server again"),
    "no_rights": _("You are signed in, but not registered as one who writes tests. Ask the keeper."),
    "ended": _("This phone's registration was ended. What is written on it waits for the keeper."),
    "other_book": _(
        "The server now keeps another book. What was carried is gone; what was not sent stays on this phone."
    ),
    # Who
    "who": _("Who holds this phone?"),
    "nobody": _(
        "Nobody here has a PIN yet. It is set on the page of a person, after "
        "signing in; or sign in on this phone."
    ),
    "pin_of": _("PIN of {name}"),
    "pin_first": _("The first time on this phone the PIN is checked over the network."),
    "let_in": _("Go on"),
    "pin_wrong": _("That is not the PIN. Tries left: {n}."),
    "pin_locked": _("Too many wrong PINs. Only the server can let this person in again, or a new PIN."),
    "pin_none": _("No PIN is set for this person any more."),
    "pin_offline": _("There is no network, and this person was never let in on this phone."),
    "pin_failed": _("The server did not answer as it should. Try again."),
    "not_me": _("Somebody else"),
    "choose_other": _("Choose another name"),
    # Which detector
    "which": _("Which detector?"),
    "code": _("Code or serial number"),
    "find": _("Look it up"),
    "scan": _("Scan with the camera"),
    "scan_stop": _("Stop the camera"),
    "scan_how": _("Hold the code in front of the camera."),
    "scan_not": _("The camera cannot be used here: type the code."),
    "unknown": _("No detector {code} is known at {site}."),
    "meant": _("Was it one of these?"),
    "elsewhere": _("{code} belongs to another site: {site}. Bring it to its keeper; it is not tested here."),
    "as_of": _("As the server said on {time}"),
    "old": _("What is carried is old since {time}: no detector is shown as one that may go out."),
    "settings": _("Sound, vibration, signing out"),
    "sound": _("Sound"),
    "vibration": _("Vibration"),
    "sign_out": _("Sign out of this phone"),
    "signed_out_unsent": _(
        "Signed out. Tests not sent yet: {n}. They stay on this phone and are "
        "sent when there is network."
    ),
    "signed_out": _("Signed out. Everything was sent."),
    # What was written here
    "here": _("Written on this phone"),
    "unsent_n": _("Not yet in the book: {n}"),
    "all_sent": _("Everything written here was sent."),
    "send": _("Send now"),
    "sending_offline": _("No network: it is sent when there is."),
    "sending_signed-out": _(
        "The server does not know this phone any more. Nothing is lost; sign "
        "in, or ask the keeper."
    ),
    "sending_busy": _("Another window of this page is sending it."),
    "sending_stopped": _("The server could not take it now. It is tried again later."),
    "sending_other-book": _("The server keeps another book. Nothing was sent; ask the keeper."),
    "state_unsent": _("not yet in the book"),
    "state_refused": _("the server cannot read it; kept on this phone, tell the keeper"),
    "state_other_book": _("belongs to another book; kept on this phone, tell the keeper"),
    "state_written": _("in the book, number {index}"),
    "state_not_counted": _(
        "in the book, number {index}, but it does not count: the clock of this "
        "phone is wrong"
    ),
    "state_waiting": _("not in the book; it waits for the keeper as number {waiting}"),
    "state_settled": _("the keeper has settled it: {reason}"),
    "state_settled_index": _("the keeper has written it otherwise, number {index}"),
    "taken_out": _("The detector was taken out of service because of it."),
    "why_not-registered": _("this phone is not registered"),
    "why_device-ended": _("this phone's registration was ended"),
    "why_not-this-device": _("it was signed by another phone"),
    "why_signature": _("the signature does not fit"),
    "why_not-known-here": _("this person was never checked on this phone"),
    "why_left": _("this person has left"),
    "why_no-right": _("this person may not write it"),
    "why_refused": _("something in it is not right"),
    "why_id-taken": _("another entry has this id"),
    "why_not-readable": _("it cannot be read"),
    # The detector
    "may-go-out": _("May go out"),
    "not-yet": _("Not yet"),
    "out-of-service": _("Out of service"),
    "cannot-tell": _("Cannot tell"),
    "until": _("until {time}"),
    "over": _("the answer is over"),
    "over_how": _("It held until {time}. Find network, or test it."),
    "server_said": _("The server's last answer, {time}"),
    "failed_here": _("Failed on this phone, not yet in the book"),
    "failed_here_how": _("Do not use it. Tag it. Do not start the work that needs it."),
    "tested_here": _("On this phone, not yet in the book: {what}, {time}"),
    "held": _("It is held for an investigation and is not to be tested."),
    "no_plan": _("What this detector must show is not carried here. Find network."),
    "with": _("Test it with {cylinder}"),
    "with_all_the_same": _("Give gas all the same with {cylinder}"),
    "other_gas": _("Another cylinder"),
    "in_order": _("One after another: {cylinders}"),
    "no_gas": _("No cylinder at this site is known to serve it."),
    "unserved": _("No cylinder here serves: {channels}. The test will be spoiled without them."),
    "cylinder": _("Cylinder {code}"),
    "cylinder_code": _("Code of the cylinder"),
    "cylinder_take": _("Take this cylinder"),
    "cylinder_unknown": _("No cylinder {code} is known at this site."),
    "gas_expired": _("Its date is past: {date}."),
    "gas_low": _("Its pressure is too low: {bar} bar at the last reading."),
    "gas_quarantined": _("It is quarantined."),
    "gas_question": _("Its gas is in question after failed tests."),
    "gas_serves_not": _("It does not serve this detector."),
    "gas_serves_in-part": _("It serves only some of the channels."),
    "gas_serves_cannot-tell": _("How long its alarms take is not known here."),
    "gas_cold": _("It is too cold: this gas wants at least {at} °C."),
    "gas_not_count": _("A test with it does not count."),
    "gas_in_date": _("in date until {date}"),
    "tests_left": _("about {n} tests left"),
    "temperature": _("Temperature here, °C (if you know it)"),
    "temperature_wrong": _("Give the temperature as a number, such as 12 or -3.5, or leave it empty."),
    "back": _("Back"),
    # Going on
    "offer": _("A test of {code} was left off"),
    "offer_when": _("{n} min ago, by {name}."),
    "resume": _("Go on with it"),
    "broken": _("Record it as broken off"),
    "checks_of": _("{code}: before gas"),
    "all_well": _("All of these are well"),
    "rest_well": _("The others are well"),
    "not_well": _("Not well"),
    "clean_air": _("{channel} reads {at} {unit} in clean air"),
    "clean_air_plain": _("{channel} reads right in clean air"),
    "gas_of": _("{code}: gas from {cylinder}"),
    "gas_how": _("Hood on, hose on, then open the gas. Alarms to come: {channels}."),
    "gas_long": _("Leave it on for {n} s at least, and until all alarms came."),
    "gas_on": _("Gas on"),
    "gas_off": _("Gas off"),
    "gas_is_on": _("{code}: gas is on"),
    "seconds": _("seconds"),
    "left": _("{channel} should come within {n} s"),
    "late": _("{channel} is late by {n} s"),
    "hold": _("Keep the gas on for {n} s more"),
    "came": _("{channel} came"),
    "came_after": _("{channel} came after {n} s"),
    "came_not": _("did not"),
    "all_signals": _("Sound, light and vibration came"),
    "all_signals_some": _("All came: {signals}"),
    "signals_came": _("Signals answered"),
    "silent": _("{signal} did not come"),
    "undo": _("Take back the last"),
    "spoiled": _("Spoiled: this try proves nothing"),
    "after": _("{code}: after gas"),
    "all_clear": _("Both are so"),
    "is_so": _("It is so"),
    "not_so": _("Not so"),
    "result": _("{code}: what it came to"),
    "give_again": _("Give gas again"),
    "not_spoiled": _("It was not spoiled"),
    "change": _("Change an answer"),
    "write": _("Write it"),
    "full": _(
        "This phone could not keep it: its storage is full or closed. Leave "
        "this page open, free some space, and tap again."
    ),
    "written": _("{code}: written on this phone"),
    "again": _("Try again"),
    "next": _("Next detector"),
    "done_rack": _("To the beginning"),
}  # fmt: skip


def for_script() -> dict[str, str]:
    """All of them as plain text in the language of the request."""
    return {key: str(text) for key, text in WORDS.items()}
