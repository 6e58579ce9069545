"""``pitbird test``: a bump test recorded, asked step by step in a terminal, or said whole by options."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.cli.seen import Seen
    from pitbird.fleet.bump import Plan
    from pitbird.fleet.state import DetectorState
    from pitbird.fleet.times import Ms
    from pitbird.services.writing import Actor

CAUTION = (
    "Work in clean air and keep test gas away from faces and flames. The instrument's manual, local codes and"
    " your site's practice come first."
)


def command(
    detector: str = typer.Argument(help="Code of the detector, such as D-017."),
    cylinder: str | None = typer.Option(None, help="The cylinder of test gas, where one is enough."),
    apply: list[str] = typer.Option(
        [],
        metavar="CYLINDER:CHANNELS:SECONDS",
        help="One application of several, such as C-112:H2S,CO,O2,CH4:20.",
    ),
    regulator: str | None = typer.Option(None, help="The regulator fitted."),
    all_checks_well: bool = typer.Option(
        False, "--all-checks-well", help="Every check before gas was right."
    ),
    check: list[str] = typer.Option(
        [], metavar="CHECK=yes|no", help="One check before gas, such as battery=no."
    ),
    clean_air: list[str] = typer.Option(
        [],
        metavar="CHANNEL=READING",
        help="Reading in clean air, or right or wrong; all=right for every channel.",
    ),
    reached: list[str] = typer.Option(
        [], metavar="CHANNELS", help="Channels whose alarm gas brought: all, or H2S,CO."
    ),
    not_reached: list[str] = typer.Option([], metavar="CHANNELS", help="Channels whose alarm did not come."),
    sound: str | None = typer.Option(None, metavar="yes|no", help="It sounded."),
    light: str | None = typer.Option(None, metavar="yes|no", help="It flashed."),
    vibration: str | None = typer.Option(None, metavar="yes|no", help="It shook."),
    gas_on: str | None = typer.Option(
        None, metavar="TIME", help="When the first gas went on; else it ended just now."
    ),
    gas_seconds: float | None = typer.Option(None, metavar="SECONDS", help="How long the gas was on."),
    cleared: str | None = typer.Option(
        None, metavar="yes|no|readings|peaks", help="Readings back and peaks cleared; or only one of the two."
    ),
    gauge: str | None = typer.Option(None, metavar="BAR", help="What the cylinder's gauge showed."),
    temperature: str | None = typer.Option(
        None, metavar="CELSIUS", help="Temperature where the test was made."
    ),
    spoiled: str | None = typer.Option(
        None,
        metavar="WHY",
        help=(
            "The attempt proves nothing: hood-slipped, gas-ran-out, broken-off, wrong-gas, "
            "not-every-channel or other."
        ),
    ),
    although_held: str | None = typer.Option(
        None,
        metavar="WHY",
        help="It was tested although it is held for an investigation; why, kept with the remark.",
    ),
    note: str | None = typer.Option(None, help="A remark; it is kept apart from the entry."),
    slip: str | None = typer.Option(
        None,
        metavar="NUMBER",
        help="The paper slip that it is entered from; --by is then the tester, --gas-on the time on it.",
    ),
    countersigned: str | None = typer.Option(None, metavar="PERSON", help="Who else signed the slip."),
    by: str | None = typer.Option(None, help="Who tested; else PITBIRD_BY, else the only keeper."),
    site: str | None = typer.Option(None, help="Where; else PITBIRD_SITE, else the tester's home."),
) -> None:
    """Record a bump test. In a terminal, whatever the options leave open is asked step by step.

    In a script everything must be said; what is not said is refused, not guessed. The outcome is worked out
    from what was seen. Exit status 1 unless the test passed.
    """  # fmt: skip
    from pitbird.cli import asking, seen
    from pitbird.cli.naming import known, writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE, Faults

    make_ready_with_book()
    from pitbird.fleet import bump
    from pitbird.fleet.state import DetectorState
    from pitbird.services import clock
    from pitbird.services.knowing import Now

    faults = Faults()
    name = known("detector", detector, faults)
    actor, said = writer(by, site, faults)
    state = Now().state(name) if name else None
    plan = bump.plan(state) if isinstance(state, DetectorState) else None
    if plan is not None and not plan["channels"]:
        faults.add(
            f"detector: {detector} was never described, so what it must show is not known; describe it first"
        )
    paper = _slip(slip, countersigned, by, gas_on, faults)
    if isinstance(state, DetectorState) and not paper:
        _held(state, although_held, actor.zone if actor else None, faults)
    options = seen.Options(
        cylinder=cylinder, apply=apply, regulator=regulator, all_checks_well=all_checks_well, check=check,
        clean_air=clean_air, reached=reached, not_reached=not_reached,
        signals={"sound": sound, "light": light, "vibration": vibration},
        gas_on=gas_on, gas_seconds=gas_seconds, cleared=cleared, gauge=gauge, temperature=temperature,
        spoiled=spoiled,
    )  # fmt: skip
    zone = actor.zone if actor else None
    facts = seen.read(options, plan, zone, clock.now(), faults)
    if not asking.interactive():
        seen.missing(facts, plan, actor.site if actor else None, faults)
    faults.refuse()
    assert plan is not None  # noqa: S101 - all None only with a fault
    assert actor is not None  # noqa: S101
    if said:
        typer.echo(said, err=True)
    if asking.interactive():
        typer.echo(CAUTION)
        asking.ask(facts, plan, actor.site)
    if although_held:
        why = f"although held for an investigation: {although_held.strip()}"
        note = "; ".join(part for part in (note, why) if part)
    outcome = _record(facts, plan, actor, note, clock.now(), paper)
    _gate_now(plan["detector"])
    if outcome != "passed":
        raise typer.Exit(NEGATIVE)


def _slip(
    number: str | None, countersigned: str | None, by: str | None, gas_on: str | None, faults: Faults
) -> dict[str, str]:
    """The paper slip as the entry tells it, empty for none. Who tested, and when, is said by the slip:
    never who enters it, nor the time of entering."""
    from pitbird.cli.naming import known, subject

    if number is None:
        if countersigned is not None:
            faults.add("countersigned: stands with --slip only")
        return {}
    if by is None:
        faults.add("by: not given; name the tester who stands on the slip")
    if gas_on is None:
        faults.add("gas-on: not given; give the day and the time on the slip")
    other = known("person", countersigned, faults, field="countersigned") if countersigned else None
    entering = os.environ.get("PITBIRD_BY")
    entered = known("person", entering, faults, field="PITBIRD_BY") if entering else None
    tested = subject("person", by) if by else None
    return {
        "number": number,
        **({"countersigned_by": other} if other else {}),
        **({"entered_by": entered} if entered and entered != tested else {}),
    }


def _held(state: DetectorState, although: str | None, zone: str | None, faults: Faults) -> None:
    """A detector held for an investigation is not tested, unless it is said why it was all the same."""
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time
    from pitbird.services.loud import held_for

    held = held_for(state)
    if held is None:
        if although is not None:
            faults.add(f"although-held: {code(state.subject)} is not held for an investigation; leave it out")
    elif although is None:
        faults.add(
            f"detector: {code(state.subject)} is held for an investigation since {show_time(held.at, zone)}:"
            " do not test, zero, charge or repair it. If it was tested all the same, say why with"
            " --although-held"
        )
    elif not although.strip():
        faults.add("although-held: not said why it was tested although it is held; write it in a few words")


def _record(facts: Seen, plan: Plan, actor: Actor, note: str | None, now: Ms, paper: dict[str, str]) -> str:
    """Work the outcome out, write the entry, and say both."""
    from pitbird.cli.naming import code
    from pitbird.fleet import bump
    from pitbird.fleet.times import text_of
    from pitbird.services.writing import write

    body: dict[str, Any] = facts.as_facts(now)
    outcome, reasons = bump.outcome(plan, body)
    because = bump.spoiled_because(body, reasons) if outcome == "spoiled" else None
    if because is None and body.get("spoiled_because"):
        # A fail stands whatever spoiled the attempt; what was said is kept as a remark.
        note = "; ".join(part for part in (note, f"also: {body['spoiled_because']}") if part)
    body.pop("spoiled_because", None)
    draft = {
        "kind": "bump-test",
        "detector": plan["detector"],
        "at": text_of(facts.ended(now)),
        **body,
        "outcome": outcome,
        **({"spoiled_because": because} if because else {}),
        **({"note": note} if note else {}),
        **({"slip": paper} if paper else {}),
    }
    entry = write(draft, actor, now=now)
    for line in told(code(plan["detector"]), outcome, reasons):
        typer.echo(line)
    typer.echo(f"Entry {entry.index}, {entry.entry_id}.")
    return outcome


def told(detector: str, outcome: str, reasons: tuple[str, ...]) -> list[str]:
    """The outcome in plain words."""
    from pitbird.cli.bump_words import reason_words

    why = "; ".join(reason_words(reason) for reason in reasons)
    if outcome == "passed":
        return [
            f"PASSED: {detector} reached its alarms and gave them.",
            "That shows that gas reached its sensors; not how exact it is, and not tomorrow.",
        ]
    if outcome == "failed":
        return [
            f"FAILED: {detector}: {why}.",
            (
                f"Do not use {detector}, and do not start the work that needs it. Put it apart and mark it; a"
                " second try does not undo a fail."
            ),
        ]
    return [
        f"SPOILED: {detector}: {why}.",
        (
            f"The attempt shows nothing about {detector}, and nothing was shown against it. Test again before"
            " it goes out."
        ),
    ]


def _gate_now(detector: str) -> None:
    from pitbird.cli.gate import stamp
    from pitbird.services import clock
    from pitbird.services.gate import gate_one

    typer.echo(f"The gate now: {stamp(gate_one(detector, now=clock.now()))}")
