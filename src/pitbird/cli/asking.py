"""A bump test asked step by step in a terminal."""

from __future__ import annotations

import sys
import threading
import time
from typing import Final

import typer

from pitbird.cli.bump_words import CHECK_WORDS, in_use
from pitbird.cli.naming import code, known
from pitbird.cli.refusing import Faults
from pitbird.cli.seen import LONGEST_S, SPOILED, Application, Seen, clean_air_said, decimal, must_show
from pitbird.fleet.bump import CHECKS, Plan, PlanChannel
from pitbird.fleet.times import Ms

_SIGNAL_WORDS: Final = {"sound": "Did it sound?", "light": "Did it flash?", "vibration": "Did it shake?"}


def interactive() -> bool:
    """Whether a person sits at a terminal."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def ask(seen: Seen, plan: Plan, site: str | None) -> None:
    """Ask whatever was not said yet, in the order in which it is done. Breaking off writes nothing."""
    _ask_checks(seen)
    for channel in plan["channels"]:
        if channel["name"] not in seen.clean_air:
            seen.clean_air[channel["name"]] = _ask_clean_air(channel, plan)
    if not seen.applications:
        _ask_gas(seen, plan, site)
    else:
        for name in (name for each in seen.applications for name in each.exposed):
            if name not in seen.reached:
                seen.reached[name] = _yes(_alarm_question(plan, name))
        for each in seen.applications:
            while each.seconds is None or not 0 < each.seconds <= LONGEST_S:
                each.seconds = typer.prompt("How many seconds was the gas on?", type=float)
    for signal in plan["signals"]:
        if signal not in seen.signals:
            seen.signals[signal] = _yes(_SIGNAL_WORDS[signal])
    if not seen.cleared:
        seen.cleared = {
            "readings": _yes("After gas: are the readings back to clean air?"),
            "peaks": _yes("Are peak and time-weighted values cleared?"),
        }
    if seen.spoiled is None and "no" in seen.reached.values():
        seen.spoiled = _ask_spoiled()


def _yes(question: str) -> str:
    return "yes" if typer.confirm(question, default=None) else "no"


def _ask_checks(seen: Seen) -> None:
    open_checks = [check for check in CHECKS if check not in seen.checks]
    if not open_checks:
        return
    typer.echo("Before gas: " + ", ".join(CHECK_WORDS[check] for check in open_checks) + ".")
    if typer.confirm("Have you looked at each of these, and is each as it should be?", default=None):
        seen.checks.update(dict.fromkeys(open_checks, "yes"))
        return
    for check in open_checks:
        seen.checks[check] = _yes(f"  {CHECK_WORDS[check]}?")


def _ask_clean_air(channel: PlanChannel, plan: Plan) -> dict[str, str]:
    question = (
        f"{channel['name']} in clean air, in {channel['unit']} ({channel['clean_air']} ±"
        f" {channel['tolerance']} is right): the reading, or right, or wrong"
    )
    while True:
        said = clean_air_said(channel["name"], typer.prompt(question).strip(), plan)
        if said is not None:
            return said
        typer.echo("  Write digits with a point, such as 20.9, or right, or wrong.")


def _ask_gas(seen: Seen, plan: Plan, site: str | None) -> None:
    """One cylinder after another, until every channel that must show an alarm was shown gas."""
    waiting = must_show(plan)
    while waiting:
        application = Application(cylinder=_ask_cylinder(site), exposed=tuple(waiting))
        application.gauge = _ask_gauge()
        typer.echo("Look out for: " + "; ".join(_alarm_words(plan, name) for name in waiting))
        _enter("Press Enter when the gas is on.")
        application.gas_on, application.gas_off = _run_seconds()
        answers = {name: _ask_reached(plan, name) for name in waiting}
        seen.reached.update({name: said for name, said in answers.items() if said is not None})
        application.exposed = tuple(name for name, said in answers.items() if said is not None)
        seen.applications.append(application)
        waiting = [name for name, said in answers.items() if said is None]
        if waiting and not typer.confirm(f"Another cylinder for {', '.join(waiting)}?", default=None):
            return


def _ask_cylinder(site: str | None) -> str:
    names = [code(name) for name in in_use(site)]
    if len(names) > 1:
        typer.echo(f"In use here: {', '.join(names)}")
    while True:
        given = typer.prompt("Cylinder", default=names[0] if len(names) == 1 else None)
        faults = Faults()
        name = known("cylinder", given, faults)
        if name is not None:
            return name
        typer.echo("  " + "; ".join(faults.lines))


def _ask_gauge() -> str | None:
    while True:
        given = typer.prompt("Its gauge in bar (Enter if not read)", default="", show_default=False).strip()
        faults = Faults()
        value = decimal("gauge", given or None, faults)
        if not faults.lines:
            return value
        typer.echo("  " + faults.lines[0])


def _alarm_words(plan: Plan, name: str) -> str:
    channel = next(each for each in plan["channels"] if each["name"] == name)
    alarm = channel["must_show"]
    return f"{name} {alarm['name']} alarm at {alarm['at']} {channel['unit']}" if alarm else name


def _alarm_question(plan: Plan, name: str) -> str:
    return f"{_alarm_words(plan, name)}: did it come?"


def _ask_reached(plan: Plan, name: str) -> str | None:
    """yes, no, or None where this cylinder does not hold the channel's gas."""
    while True:
        given = (
            typer.prompt(f"{_alarm_question(plan, name)} [y/n, or - if this cylinder is not for it]")
            .strip()
            .lower()
        )
        if given in ("y", "yes"):
            return "yes"
        if given in ("n", "no"):
            return "no"
        if given == "-":
            return None
        typer.echo("  y, n or -")


def _ask_spoiled() -> str | None:
    typer.echo("An alarm did not come. If the gas may not have arrived, say why: " + ", ".join(SPOILED) + ".")
    while True:
        given = typer.prompt(
            "Why (Enter: the gas was there, it is a fail)", default="", show_default=False
        ).strip()
        if not given or given in SPOILED:
            return given or None
        typer.echo("  One of the words above, or Enter.")


def _enter(words: str) -> None:
    typer.prompt(words, default="", show_default=False, prompt_suffix=" ")


def _run_seconds() -> tuple[Ms, Ms]:
    """Count the seconds on the screen until Enter is pressed; gas on and gas off."""
    from pitbird.services import clock

    on, stopped = clock.now(), threading.Event()
    began = time.monotonic()

    def count() -> None:
        while not stopped.wait(1):
            typer.echo(f"\r  {time.monotonic() - began:3.0f} s  ", nl=False)

    counting = threading.Thread(target=count, daemon=True)
    typer.echo("Gas is on. Press Enter when you turn it off.")
    counting.start()
    try:
        _enter("")
    finally:
        stopped.set()
        counting.join()
    # By the running clock, since the wall clock may be set meanwhile.
    off = Ms(on + round((time.monotonic() - began) * 1000))
    typer.echo(f"  Gas was on for {(off - on) / 1000:.0f} s.")
    return on, off
