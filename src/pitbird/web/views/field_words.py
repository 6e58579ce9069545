"""The words of the field page, for its script: ``{name}`` stands where the script puts something in."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_lazy as _

from pitbird.web.vocabulary import KIND_WORDS, VALUE_WORDS, Word

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
    "settings": _("Sound, vibration, language, signing out"),
    "language": _("Language"),
    "language_not": _("This language is not on this phone yet: find network once."),
    "sound": _("Sound"),
    "vibration": _("Vibration"),
    "sign_out": _("Sign out of this phone"),
    "signed_out_unsent": _(
        "Signed out. Entries not sent yet: {n}. They stay on this phone and are "
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
    "half_out": _("Handing out {code} to {name} was left half done"),
    "half_back": _("Taking back {code} was left half done"),
    "half_drop": _("Give it up"),
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
    # Who has it
    "in_store": _("In the store, as far as the server knows."),
    "with_whom": _("{name} has it."),
    "for_permit": _("For {permit}."),
    "due_back_at": _("Due back {time}."),
    "was_due_back": _("Was due back {time}."),
    "hand_out": _("Hand it out"),
    "hand_on": _("Hand it on"),
    "take_back": _("Take it back"),
    "unjudged": _("Written here, not yet judged"),
    "unjudged_how": _(
        "The server has not seen what was written on this phone. Its last answer may not hold any more."
    ),
    "waits_n": _("Entries about it that wait for the keeper: {n}"),
    # To whom
    "to_whom": _("{code}: who takes it?"),
    "person_code": _("Name or code"),
    "person_none": _("Nobody carried here answers to that."),
    "person_more": _("{n} more: type a part of the name."),
    "not_wearer": _("{name}, not entered as a wearer"),
    "hand_on_how": _(
        "It goes from wearer to wearer. If it came back to the store in between, take it back first."
    ),
    # The answer for that wearer
    "answer_for": _("{code} for {name}"),
    "answer_asking": _("One moment: the server is asked."),
    "answer_fresh": _("The server's answer for {name}, {time}"),
    "answer_carried": _(
        "The server could not be asked now. Its last answers: about the detector {time}, about {name} {then}."
    ),
    "wearer_says": _("About {name}:"),
    "wearer_unknown": _("Nothing is carried about {name}. Find network."),
    "others_unknown": _("What holds for another than its holder is not carried. Find network."),
    "no_yes": _("The server has not said that it may go out to {name}."),
    "no_yes_how": _(
        "Leave it in. If it is gone already, write that down: you stand in the book as who handed it out."
    ),
    "no_yes_test": _("A test on this phone is no answer of the server. It is judged when it has been sent."),
    "no_yes_out": _("Do not hand it out. Take another detector."),
    "leave_in": _("Leave it in"),
    "gone_already": _("It is gone already: write it down"),
    "issue_untested": _("Issue it untested"),
    # For what, until when
    "terms_of": _("{code} to {name}"),
    "permit_ask": _("Permit or job (if there is one)"),
    "permit_long": _("The permit or job is too long: 120 characters at most."),
    "due_ask": _("When is it due back?"),
    "due_change_over": _("Change-over, {time}"),
    "due_none": _("No time is set"),
    "due_other": _("Another time, within a day"),
    "due_missing": _("Say when it is due back, or that no time is set."),
    "due_past": _("That time is past."),
    "hand_out_do": _("Write: handed out"),
    "gone_already_do": _("Write: gone out without a yes"),
    "answer_over": _("The server's answer was over before it was written."),
    # Issued untested
    "authority_of": _("{code}: on whose authority, untested?"),
    "authority_none": _("Nobody is carried here on whose authority it could go out untested."),
    "untested_caution": _(
        "An untested detector may be dead and look exactly like a good one. Entering a confined space or "
        "a place where gas may be on an untested detector can kill. Local codes may forbid it altogether."
    ),
    "untested_of": _("{code}: untested to {name}"),
    "untested_by": _("On the authority of {name}."),
    "untested_reason": _("For which job, and why it cannot be tested"),
    "untested_reason_missing": _("Say for which job, and why it cannot be tested."),
    "untested_until": _("Until when?"),
    "untested_until_missing": _("Say until when."),
    "untested_do": _("Issue it UNTESTED"),
    "untested_stamp": _("Issued untested"),
    "untested_told": _("UNTESTED until {time}, on the authority of {authority}. Tell {name} so."),
    # Back
    "back_of": _("{code}: back from {name}"),
    "back_of_nobody": _("{code}: back to the store"),
    "back_ask": _("Did anything happen to it? Tap what did."),
    "back_drop": _("It was dropped"),
    "back_water": _("It got wet"),
    "back_over-range": _("It read over-range"),
    "back_suspected-poison": _("It met what may poison it"),
    "back_fault": _("It showed a fault"),
    "back_flat-battery": _("Its battery ran flat"),
    "back_alarm": _("It alarmed"),
    "back_channels": _("Which channels alarmed?"),
    "back_channels_missing": _("Say which channels alarmed, or that it did not."),
    "back_nothing": _("Nothing: take it back"),
    "back_with": _("Take it back, with this"),
    "back_told": _("Do not use it until the server says that it may go out again."),
    # After that
    "handed-out_done": _("{code}: handed out to {name}"),
    "handed-back_done": _("{code}: taken back"),
    "issued-untested_done": _("{code}: issued UNTESTED to {name}"),
    "handed_next": _("Next detector"),
    "state_of_it": _("What became of it"),
    **{
        f"kind_{kind}": KIND_WORDS[kind]
        for kind in ("handed-out", "handed-back", "issued-untested", "happened", "alarm-in-use", "bump-test")
    },
    **{
        f"what_{what}": VALUE_WORDS[what]
        for what in ("drop", "water", "over-range", "suspected-poison", "fault", "flat-battery")
    },
}  # fmt: skip


def for_script() -> dict[str, str]:
    """All of them as plain text in the language of the request."""
    return {key: str(text) for key, text in WORDS.items()}
