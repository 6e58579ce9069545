"""Makes the bundles in this folder, good and forged, and cases.json that says what a verifier must answer.

Run from the top of the project: ``python -m tests.vectors.bundles.make``. Nothing here comes from pitbird:
the rules are those of docs/bundle.md, written down a second time.

A case has ``name``, ``what`` (in words), ``file``, ``fingerprint`` (or null), ``known`` (a file, or null),
``papers`` (texts and what is to be said of them), ``answer``, ``faults`` (each [code, file, index]; all of
them must be told) and ``may`` (codes that may be told besides, because one fault makes another likely). Good
cases have a ``report``.

The good bundles, the auditor's checkpoints and cases.json are kept here as they were first made; the forged
ones are made anew for each run of the tests and held to the ``sha256`` that cases.json gives.
"""

from __future__ import annotations

from pathlib import Path

from tests.vectors.bundles.book import Files, jcs
from tests.vectors.bundles.forging.containers import containers
from tests.vectors.bundles.forging.counts import counts
from tests.vectors.bundles.forging.entries import entries
from tests.vectors.bundles.forging.files import manifests
from tests.vectors.bundles.forging.forms import forms
from tests.vectors.bundles.forging.gathering import Cases
from tests.vectors.bundles.forging.good import good_ones
from tests.vectors.bundles.forging.leaves import dishonest, texts
from tests.vectors.bundles.forging.trees import trees

HERE = Path(__file__).parent


def make() -> Cases:
    """All files and cases."""
    to = Cases()
    for part in (good_ones, entries, dishonest, texts, forms, counts, trees, manifests, containers):
        part(to)
    listing = [jcs(case).decode() for case in to.cases]
    to.files["cases.json"] = ("[\n" + ",\n".join(listing) + "\n]\n").encode()
    return to


def kept(files: Files) -> Files:
    """Those of the files that lie in this folder."""
    return {name: data for name, data in files.items() if name.startswith(("good-", "known/", "cases"))}


def main() -> None:
    """Write what is kept beside this file, and take away what is no longer made."""
    files = kept(make().files)
    for path in [*HERE.glob("*.zip"), *HERE.glob("known/*.note")]:
        if path.relative_to(HERE).as_posix() not in files:
            path.unlink()
    for name, data in files.items():
        path = HERE / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)


if __name__ == "__main__":
    main()
