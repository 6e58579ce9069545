"""The field page in Chromium over TLS: weight, start on a throttled processor, taps of a passing test.

Start is from the beginning of the navigation until the field for a detector's code is on the screen, in a
new window of a phone that was there before: all comes from the service worker, with 500 detectors carried.
"""

from __future__ import annotations

import gzip
import json
import os
import tempfile
from pathlib import Path
from statistics import median
from typing import Any

RUNS = 9
USABLE = """new MutationObserver(() => {
    if (!window.usable && document.getElementById("code")) window.usable = performance.now();
}).observe(document, {childList: true, subtree: true});"""


def start(context: Any, address: str, *, slower: int) -> float:
    """Milliseconds to the first usable screen, median of the runs; the first run is not counted."""
    times = []
    for _ in range(RUNS + 1):
        page = context.new_page()
        wire = context.new_cdp_session(page)
        wire.send("Emulation.setCPUThrottlingRate", {"rate": slower})
        page.goto(f"{address}/field/")
        page.locator("#code").wait_for()
        times.append(page.evaluate("window.usable"))
        page.close()
    return float(median(times[1:]))


def weigh(context: Any, address: str) -> tuple[int, int]:
    """Files that the worker keeps, and their bytes, packed where a server packs them."""
    page = context.new_page()
    page.goto(f"{address}/field/")
    text = page.evaluate("async () => (await fetch('/field/worker.js')).text()")
    files = json.loads(text.partition("const FILES = ")[2].partition(";\n")[0])
    get = "async (path) => Array.from(new Uint8Array(await (await fetch(path)).arrayBuffer()))"
    weight = 0
    for path in files:
        data = bytes(page.evaluate(get, path))
        weight += len(data if path.endswith((".woff2", ".png")) else gzip.compress(data, 9))
    page.close()
    return len(files), weight


def main() -> None:
    """Open the site, take a phone in hand, and measure."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    import django

    django.setup()
    from playwright.sync_api import sync_playwright

    import run
    from tests.conftest import CHROMIUM_ARGS
    from tests.web.field_phone import Phone
    from tests.web.field_site import open_site
    from tests.web.test_field_trials_browser import HAND

    chromium = run.find_chromium()
    if chromium is None:
        print("There is no Chromium here: nothing was measured.")
        return
    with (
        tempfile.TemporaryDirectory() as home,
        open_site(Path(home)) as site,
        sync_playwright() as playwright,
    ):
        site.desk(
            'for number in range(410): write(detector(f"E-{number:03}", CHANNELS), keeper)',
        )
        trust = f"--ignore-certificate-errors-spki-list={site.key}"
        browser = playwright.chromium.launch(executable_path=chromium, args=[*CHROMIUM_ARGS, trust])
        context = browser.new_context(**HAND)
        phone = Phone(context, site)  # type: ignore[arg-type]
        phone.ready()
        carried = phone.page.evaluate("async () => (await (await fetch('/api/field/snapshot')).text())")
        print(
            f"Chromium {browser.version}; {len(json.loads(carried)['detectors'])} detectors carried, "
            f"{len(gzip.compress(carried.encode())) / 1000:.0f} kB"
        )
        phone.plain(phone.new())
        print(f"taps of a plain passing four-gas test after the scan: {phone.taps} (target 12)")
        context.add_init_script(USABLE)
        many, weight = weigh(context, site.address)
        print(f"weight of the page, packed, {many} files: {weight / 1000:.0f} kB")
        for slower in (1, 4):
            took = start(context, site.address, slower=slower)
            print(f"start, processor throttled {slower} times: {took:.0f} ms")
        context.set_offline(True)
        took = start(context, site.address, slower=4)
        print(f"start without network, throttled 4 times: {took:.0f} ms")
        browser.close()


if __name__ == "__main__":
    main()
