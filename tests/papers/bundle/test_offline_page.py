"""The page that travels in a bundle, opened from disk in a real Chromium, held to the vectors."""

from __future__ import annotations

import base64
import json
import random
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pitbird.papers.bundle.offline_page import offline_page
from tests.record.vectors import make_merkle
from tests.vectors.bundles.cases import Case, case_named, cases, check

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

AXE = Path(__file__).parents[2] / "vendor" / "axe-core" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

VERIFY = """async ([bundle, fingerprint, known, papers]) => {
  const bytes = (text) => Uint8Array.from(atob(text), (char) => char.charCodeAt(0));
  const held = known === null ? null : bytes(known);
  return (await verifyBundle(new Blob([bytes(bundle)]), { fingerprint, known: held, papers })).report;
}"""
#: Each byte of a stretch changed in one of three ways; gives the changes with which the bundle still holds.
FUZZ = """async ([bundle, fingerprint, from, to, step]) => {
  const good = Uint8Array.from(atob(bundle), (char) => char.charCodeAt(0));
  const tried = async (at) => {
    const mask = [0x01, 0x80, good[at] || 0xff][at % 3];
    const changed = good.slice();
    changed[at] ^= mask;
    const { report, rows } = await verifyBundle(new Blob([changed]), { fingerprint });
    return report.answer === "holds" ? [[at, mask, report.root, rows.length]] : [];
  };
  const places = [];
  for (let at = from; at < Math.min(to, good.length); at += step) places.push(at);
  return (await Promise.all(places.map(tried))).flat();
}"""


@pytest.fixture
def page(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    path = tmp_path / "verify.html"
    path.write_bytes(offline_page())
    context = browser.new_context(offline=True)
    page = context.new_page()
    told: list[str] = []
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on("request", lambda request: told.append(request.url) if request.url != path.as_uri() else None)
    page.goto(path.as_uri())
    yield page
    context.close()
    assert not told


def answered(page: Page, case: Case) -> dict[str, Any]:
    known = None if case.known is None else base64.b64encode(case.known).decode()
    texts = [text for text, _ in case.papers]
    told: dict[str, Any] = page.evaluate(
        VERIFY, [base64.b64encode(case.data).decode(), case.fingerprint, known, texts]
    )
    return told


def test_the_page_is_one_file_that_may_fetch_nothing() -> None:
    text = offline_page().decode("utf-8")
    assert "default-src 'none'" in text
    assert not re.search(r"(?:src|href)=|https?://|@import|fetch\(|XMLHttpRequest|WebSocket", text)
    assert "/*STYLE*/" not in text
    assert "/*SCRIPT*/" not in text
    assert text.count("</script>") == 2


@pytest.mark.browser
def test_every_bundle_of_the_vectors_is_answered_as_it_should_be(page: Page) -> None:
    for case in cases():
        told = answered(page, case)
        check(case, told)
        assert [(each["code"], each["found"]) for each in told["papers"]] == list(case.papers)


@pytest.mark.browser
def test_forged_proofs_of_consistency_are_refused_and_true_ones_taken(page: Page) -> None:
    """The sizes of bundles come from a signed checkpoint and are counts below 2^53."""
    listed = json.loads(make_merkle.HERE.read_text("ascii"))["consistency"]
    given = [
        case
        for case in listed
        if all(0 <= int(case[name]) < 2**53 for name in ("old_size", "new_size"))
        and all(len(case[name]) == 64 for name in ("old_root", "new_root"))
        and all(len(each) == 64 for each in case["proof"])
    ]
    wrong = page.evaluate(
        """async (cases) => {
          const wrong = [];
          for (const { base, done, holds, old_size, new_size, old_root, new_root, proof } of cases) {
            const [from, to] = [Number(old_size), Number(new_size)];
            const [before, after] = [bytesOfHex(old_root), bytesOfHex(new_root)];
            const said = await consistent(from, to, before, after, proof.map(bytesOfHex));
            if (said !== holds) wrong.push(`${base}: ${done}`);
          }
          return wrong;
        }""",
        given,
    )
    assert wrong == []
    assert sum(not case["holds"] for case in given) > 500


@pytest.mark.browser
@pytest.mark.slow
def test_no_byte_of_a_bundle_can_be_changed_without_being_told(page: Page) -> None:
    """The container too: where it still holds, the contents are what they were. Every fourth byte, which
    of them by the seed; the verifiers in Python try every one."""
    case = case_named("good-small")
    first = random.randrange(4)
    data = base64.b64encode(case.data).decode()
    for start in range(first, len(case.data), 400):
        given = [data, case.fingerprint, start, start + 400, 4]
        for at, mask, root, entries in page.evaluate(FUZZ, given):
            changed = bytearray(case.data)
            changed[at] ^= mask
            assert unpacked(bytes(changed)) == unpacked(case.data), at
            assert (root, entries) == (case.report["root"], case.report["entries"]) if case.report else False


def unpacked(data: bytes) -> dict[str, bytes]:
    import io

    from pitbird.record.archive import Archive

    archive = Archive(io.BytesIO(data))
    return {name: b"".join(archive.read(name)) for name in archive.names}


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_auditor_chooses_a_bundle_and_reads_the_answer(
    page: Page, tmp_path: Path, width: int, scheme: str
) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    for name, word, entry in (
        ("good-period", "It holds", None),
        ("entry-changed", "It does not hold", "20"),
        ("good-no-fingerprint", "Consistent in itself only", None),
        ("zip-crc", "Refused", None),
    ):
        case = case_named(name)
        (tmp_path / "bundle.zip").write_bytes(case.data)
        page.get_by_label("The fingerprint of the book's key").fill(case.fingerprint or "")
        page.get_by_label("The bundle, a ZIP file").set_input_files(tmp_path / "bundle.zip")
        page.get_by_role("button", name="Check it").click()
        page.wait_for_selector("#answer:not([hidden])")
        assert page.locator("#stamp-word").inner_text() == word
        if entry is not None:
            assert page.locator("tr.touched td").first.inner_text() == entry
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        assert axe_findings(page) == []


def axe_findings(page: Page) -> list[str]:
    if not page.evaluate("'axe' in window"):
        page.add_script_tag(content=AXE.read_text("utf-8"))
    found: list[str] = page.evaluate(
        """(tags) => axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']})
        .then((all) => all.violations.map((one) => one.id + ': ' + one.nodes[0].html))""",
        TAGS,
    )
    return found


@pytest.mark.browser
def test_a_bundle_can_be_dropped_and_a_code_of_a_paper_looked_up(page: Page, tmp_path: Path) -> None:
    case = case_named("good-whole")
    text, says = case.papers[0]
    page.get_by_label("The fingerprint of the book's key").fill(f" {(case.fingerprint or '').upper()} ")
    page.get_by_text("More that you may hold").click()
    page.get_by_label("Codes on papers, one a line").fill(f"{text}\n\nnonsense\n")
    page.evaluate(
        """(data) => {
          const moved = new DataTransfer();
          const bytes = Uint8Array.from(atob(data), (char) => char.charCodeAt(0));
          moved.items.add(new File([bytes], "bundle.zip"));
          const drop = document.getElementById("drop");
          drop.dispatchEvent(new DragEvent("drop", { dataTransfer: moved, bubbles: true, cancelable: true }));
        }""",
        base64.b64encode(case.data).decode(),
    )
    page.wait_for_selector("#answer:not([hidden])")
    assert page.locator("#stamp-word").inner_text() == "It holds"
    assert page.locator("#papers-found p").all_inner_texts() == [
        f"Paper: {says}. ({text})",
        "Paper: not such a code. (nonsense)",
    ]
    page.get_by_label("Show only those about").fill("detector:D-02")
    assert "of 11 shown" in page.locator("#shown").inner_text()
    page.locator("#entry-rows summary").first.click()
    page.locator("#entry-rows pre", has_text='"recorded_at"').wait_for()
