"""What all tests share: the network cut, Hypothesis profiles, servers, a browser, what was not tested."""

import json
import os
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

import run
from tests.workshop import postgres

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# --- Hypothesis: random every time, a failure prints the line that repeats it

# No deadline: on a busy machine of two cores the time of one example says nothing.
settings.register_profile(
    "default", deadline=None, print_blob=True, derandomize=False, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("quick", settings.get_profile("default"), max_examples=20)
settings.register_profile("nightly", settings.get_profile("default"), max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "default"))

# --- The network: loopback only


class NetworkCutError(RuntimeError):
    """A test tried to reach something that is not on this machine."""


# The addresses for "any" lead to this machine too.
LOCAL = ("", "localhost", "::1", "0.0.0.0", "::")


def _is_loopback(host: object) -> bool:
    if isinstance(host, (bytes, bytearray)):
        host = host.decode("ascii", "replace")
    return host is None or (isinstance(host, str) and (host in LOCAL or host.startswith("127.")))


def _cut_network(event: str, arguments: tuple[Any, ...]) -> None:
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        address = arguments[1]
        # A path is a Unix socket; None is a socket that is already connected.
        if isinstance(address, tuple) and not _is_loopback(address[0]):
            raise NetworkCutError(f"tests may reach loopback only, not {address!r}")
    elif event in ("socket.getaddrinfo", "socket.gethostbyname") and not _is_loopback(arguments[0]):
        raise NetworkCutError(f"tests may look up localhost only, not {arguments[0]!r}")


sys.addaudithook(_cut_network)

# --- What needs something that may be missing

NEEDS = {
    "browser": (run.find_chromium, "no Chromium (Debian: apt install chromium; or set PITBIRD_CHROMIUM)"),
    "postgres": (postgres.programs_here, "no PostgreSQL server (Debian: apt install postgresql)"),
}
FIXTURES = {"chromium": "browser", "browser": "browser", "page": "browser", "postgres_url": "postgres"}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark tests by the fixtures they use, and skip those whose need is not met on this machine."""
    lacking = {group: reason for group, (find, reason) in NEEDS.items() if not find()}
    for item in items:
        for fixture in getattr(item, "fixturenames", ()):
            if fixture in FIXTURES:
                item.add_marker(FIXTURES[fixture])
        for group, reason in lacking.items():
            if item.get_closest_marker(group):
                item.add_marker(pytest.mark.skip(reason=reason))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say at the end which groups of tests did not run, and why."""
    skipped: Counter[tuple[str, str]] = Counter()
    for report in terminalreporter.stats.get("skipped", []):
        group = next((name for name in NEEDS if name in report.keywords), "other")
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        skipped[group, reason.removeprefix("Skipped: ")] += 1
    lines = [f"{group} ({count}): {reason}" for (group, reason), count in sorted(skipped.items())]
    if config.option.markexpr:
        lines.append(f"left out on request: all but '{config.option.markexpr}'")
    if lines:
        terminalreporter.section("Not tested on this machine")
        for line in lines:
            terminalreporter.write_line(line)
    notes = os.environ.get("PITBIRD_TEST_NOTES")
    if notes and not hasattr(config, "workerinput"):
        Path(notes).write_text(json.dumps(lines), encoding="utf-8")


# --- Fixtures


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a private PostgreSQL server with its defaults (fsync on), one for each test process."""
    programs = postgres.programs_here()
    if programs is None:
        pytest.skip(NEEDS["postgres"][1])
    with postgres.private_server(programs) as url:
        yield url


@pytest.fixture
def postgres_url(postgres_server: str) -> str:
    """URL of an empty database of the test's own on that server."""
    return postgres.new_database(postgres_server)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the Chromium to drive."""
    found = run.find_chromium()
    if found is None:
        pytest.skip(NEEDS["browser"][1])
    return found


CHROMIUM_ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
]


@pytest.fixture(scope="session")
def browser(chromium: str) -> "Iterator[Browser]":
    """A headless Chromium under Playwright that reaches nothing but this machine."""
    from playwright.sync_api import sync_playwright

    # Playwright keeps an event loop in this thread, which Django otherwise takes for asynchronous code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium, headless=True, args=CHROMIUM_ARGS)
        yield running
        running.close()


@pytest.fixture
def page(browser: "Browser") -> "Iterator[Page]":
    """A page in a fresh browser context; an error that its scripts do not catch fails the test."""
    context = browser.new_context()
    context.set_default_timeout(15_000)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    yield opened
    context.close()
    assert not faults, "the page's scripts failed: " + "; ".join(faults)
