"""``pitbird serve``: the pages and the HTTP API, from this machine."""

from __future__ import annotations

import errno
import http.client
import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from contextlib import suppress
from http import HTTPStatus
from pathlib import Path

import typer

_PATIENCE = 30
#: At which a request is answered with 503, in each process. With those that ``app/connections.py`` still lets
#: in to be told so, below the 1,024 open files that a process may have on most systems.
_CONNECTIONS = 900
_LAST_SECONDS = 10
_LOOK_SECONDS = 3600
LOOPBACK = ("127.0.0.1", "localhost", "::1")
EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 - told apart, not served


def command(
    host: str = typer.Option("127.0.0.1", help="Address to listen on; 127.0.0.1 is this machine only."),
    port: int = typer.Option(8321, min=1, max=65535, help="Port to listen on."),
    workers: int = typer.Option(1, min=1, max=32, help="Processes that answer."),
    certificate: Path | None = typer.Option(
        None, help="TLS certificate (PEM); pages are then served by https."
    ),
    key: Path | None = typer.Option(None, help="The certificate's private key (PEM)."),
    trial_authority: bool = typer.Option(
        False, "--trial-authority", help="Serve by https with a small authority of this machine, for trials."
    ),
    clock_is_right: bool = typer.Option(
        False, "--clock-is-right", help="Serve though entries were recorded later than it is by the clock."
    ),
) -> None:
    """Serve the pages until Ctrl-C; says the address, and how to make the first account."""
    from pitbird.cli.ready import make_ready

    check_before(host, port, certificate, key, trial=trial_authority)
    if clock_is_right:
        os.environ["PITBIRD_CLOCK_IS_RIGHT"] = "1"  # for the gate, in every worker
    names = names_of_this_machine(host) if trial_authority else []
    make_ready()
    if trial_authority:
        certificate, key = trial_certificate(names)
    refuse_a_book_in_doubt()
    keep_a_checkpoint()
    keep_one_daily()
    serve(host, port, workers=workers, certificate=certificate, key=key)


def names_of_this_machine(host: str) -> list[str]:
    """The names that the trial authority vouches for; the settings are told to answer to them."""
    from pitbird.services.trial_authority import names_here

    listed = os.environ.get("PITBIRD_HOSTS", "").split(",")
    names = names_here(host, (each.strip() for each in listed))
    if "PITBIRD_HOSTS" not in os.environ or host in EVERYWHERE:
        shown = (f"[{name}]" if ":" in name else name for name in names)
        os.environ["PITBIRD_HOSTS"] = ",".join(dict.fromkeys(shown))
    return names


def trial_certificate(names: list[str]) -> tuple[Path, Path]:
    """The certificate by this machine's own authority and its key; says how a phone comes to trust it."""
    from pitbird.cli.ready import home
    from pitbird.cli.refusing import Refused
    from pitbird.services.trial_authority import CannotVouch, make_ready

    try:
        made = make_ready(home(), names)
    except CannotVouch as refused:
        raise Refused(f"trial-authority: {refused}") from None
    typer.echo(f"Trial authority, until {made.until:%Y-%m-%d}. SHA-256 fingerprint of its certificate:")
    typer.echo(f"    {made.fingerprint}")
    typer.echo(
        "A phone trusts it once its certificate is installed there: open /trust on the phone, or carry"
        f" {made.authority} to it, and install it as the certificate of an authority (CA) in the phone's"
        f" settings, after comparing the fingerprint. It vouches for {', '.join(names)}. For trials only."
    )
    return made.certificate, made.key


def refuse_a_book_in_doubt() -> None:
    """Look quickly whether the book can be relied on; pages that might say yes wrongly are not served."""
    from pitbird.cli.ready import home
    from pitbird.cli.refusing import NEGATIVE
    from pitbird.services.checking import quick_check
    from pitbird.services.checkpoints import check_kept

    wrong = [check for check in (*quick_check(), check_kept(home())) if check.complaint]
    for check in wrong:
        typer.echo(f"WRONG  {check.what}: {check.complaint}; {check.remedy}", err=True)
    if wrong:
        typer.echo("The pages are not served. `pitbird doctor` looks at the whole book.", err=True)
        raise typer.Exit(NEGATIVE)


def keep_a_checkpoint() -> None:
    """Sign the book as it stands, where it grew since yesterday; a key that cannot be used is told of."""
    from pitbird.cli.checkpoint import passphrase
    from pitbird.cli.ready import home
    from pitbird.services.checkpoints import CheckpointRefused, daily_checkpoint

    try:
        daily_checkpoint(home(), passphrase())
    except (CheckpointRefused, OSError) as fault:
        typer.echo(f"No checkpoint was made: {fault}", err=True)


def keep_one_daily() -> None:
    """Look every hour whether a checkpoint is due, as long as the pages are served."""
    threading.Thread(target=_keep_daily, daemon=True).start()


def _keep_daily() -> None:
    told = ""
    while True:
        drop_old_bundles()
        time.sleep(_LOOK_SECONDS)
        told = look_whether_due(told)


def drop_old_bundles() -> None:
    """Take away the bundles that were made on the page more than a day ago."""
    from pitbird.cli.ready import home
    from pitbird.services.bundle_keeping import drop_old

    with suppress(OSError):  # the next look tries again
        drop_old(home())


def look_whether_due(told: str = "") -> str:
    """Make a checkpoint where one is due; why none could be made is said once, and given back.

    In a process of its own: with one worker this one is the server, which such work would hold up; with
    several it only starts them, each as a new process (none is forked), and holds nothing of the database.
    """
    done = subprocess.run(
        [sys.executable, "-m", "pitbird", "checkpoint", "make", "--daily"],
        capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    fault = done.stderr.strip() if done.returncode else ""
    if fault and fault != told:
        typer.echo(f"No checkpoint was made: {fault}", err=True)
    return fault


def check_before(
    host: str,
    port: int,
    certificate: Path | None = None,
    key: Path | None = None,
    *,
    trial: bool = False,
) -> None:
    """Refuse a busy port and half a certificate before settings are loaded; tell the settings of https."""
    from pitbird.cli.refusing import Faults

    faults = Faults()
    if (certificate is None) != (key is None):
        faults.add("certificate: --certificate and --key belong together; give both or neither")
    if trial and (certificate is not None or key is not None):
        faults.add("trial-authority: makes a certificate of its own; give it, or --certificate and --key")
    for name, file in (("certificate", certificate), ("key", key)):
        if file is not None and not file.is_file():
            faults.add(f"{name}: there is no file {str(file)!r}")
    if (busy := _cannot_listen(host, port)) is not None:
        faults.add(busy)
    faults.refuse()
    if certificate is not None or trial:
        os.environ.setdefault("PITBIRD_HTTPS", "1")
    if host not in (*LOOPBACK, *EVERYWHERE) and "PITBIRD_HOSTS" not in os.environ:
        os.environ["PITBIRD_HOSTS"] = f"{host},localhost,127.0.0.1,[::1]"


def _cannot_listen(host: str, port: int) -> str | None:
    """Why nothing can listen there; None if it can."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except OSError:
        return (
            f"host: {host!r} is no address of this machine; use 127.0.0.1, or an address of one of its"
            " networks"
        )
    family, kind, protocol, _, address = found[0]
    with socket.socket(family, kind, protocol) as trial:
        if os.name == "posix":
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind(address)
        except OSError as fault:
            if fault.errno == errno.EADDRINUSE:
                return (
                    f"port: {port} on {host} is taken by another program; stop it, or choose another with "
                    f"--port {port + 1}"
                )
            if fault.errno == errno.EACCES:
                return f"port: {port} may only be used by the system's administrator; use one above 1023"
            return f"host: cannot listen on {host} port {port}: {fault.strerror}"
    return None


def serve(
    host: str, port: int, *, workers: int = 1, certificate: Path | None = None, key: Path | None = None
) -> None:
    """Answer requests until stopped. The settings have been loaded."""
    from django.db import connections

    scheme = "https" if certificate else "http"
    lines = where_to_look(scheme, host, port)
    connections.close_all()
    threading.Thread(target=_tell_when_it_answers, args=(scheme, host, port, lines), daemon=True).start()
    _answer_until_stopped(host, port, workers, certificate, key)
    typer.echo("Stopped.")


def _tell_when_it_answers(scheme: str, host: str, port: int, lines: list[str]) -> None:
    """Say the address once something answers there."""
    for _ in range(_PATIENCE * 4):
        if answers(scheme, host, port):
            for line in lines:
                typer.echo(line)
            return
        time.sleep(0.25)
    typer.echo(f"No answer from {host} port {port} after {_PATIENCE} seconds; see above why.", err=True)


def answers(scheme: str, host: str, port: int) -> bool:
    """Whether the health page answers ``ok``. The certificate is our own and is not looked at."""
    near = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 - told apart, not served
    connection: http.client.HTTPConnection
    if scheme == "https":
        unchecked = ssl.create_default_context()
        unchecked.check_hostname = False
        unchecked.verify_mode = ssl.CERT_NONE
        connection = http.client.HTTPSConnection(near, port, timeout=5, context=unchecked)
    else:
        connection = http.client.HTTPConnection(near, port, timeout=5)
    try:
        connection.request("GET", "/health", headers={"Host": _asked_for(host)})
        return connection.getresponse().status == HTTPStatus.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def _asked_for(host: str) -> str:
    """A host name that the settings allow."""
    from django.conf import settings

    named = [name for name in settings.ALLOWED_HOSTS if not name.startswith((".", "*"))]
    return named[0] if named else host


def where_to_look(scheme: str, host: str, port: int) -> list[str]:
    """The address, the way to the first account, and what phones need."""
    from django.conf import settings

    from pitbird.cli.ready import home
    from pitbird.services.beginning import account_made, first_start_key

    everywhere = host in EVERYWHERE
    shown = "127.0.0.1" if everywhere else f"[{host}]" if ":" in host else host
    lines = [f"pitbird answers at {scheme}://{shown}:{port}/  (Ctrl-C stops it)"]
    if not account_made():
        lines.append("Nobody can sign in yet. Make the keeper's account at this address, which works once:")
        lines.append(f"    {scheme}://{shown}:{port}/first-start?key={first_start_key(home())}")
    if host not in LOOPBACK and scheme == "http" and not settings.CONFIG.https:
        lines.append(
            "Note: this address can be reached from other machines, unencrypted. Phones' browsers allow the"
            " camera and working without signal only over https: give --certificate and --key, or put a proxy"
            " with TLS in front and set PITBIRD_HTTPS=1; for trials, --trial-authority."
        )
    if everywhere and set(settings.CONFIG.hosts) <= {"localhost", "127.0.0.1", "[::1]"}:
        lines.append("Note: set PITBIRD_HOSTS to the names under which other machines ask for this one.")
    return lines


def _answer_until_stopped(
    host: str, port: int, workers: int, certificate: Path | None, key: Path | None
) -> None:
    import uvicorn

    # It sends itself the signal that stopped it once more; that is an end like Ctrl-C, not a death.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    uvicorn.run(
        "pitbird.app.asgi:application",
        host=host,
        port=port,
        workers=workers,
        ssl_certfile=certificate,
        ssl_keyfile=key,
        interface="asgi3",
        loop="asyncio",
        http="pitbird.app.connections:Connection",
        ws="none",
        lifespan="off",
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        limit_concurrency=_CONNECTIONS,
        timeout_keep_alive=_PATIENCE,
        timeout_graceful_shutdown=_LAST_SECONDS,
    )
