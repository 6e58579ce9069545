"""Every reason that the logic of the bump test can give has its words."""

import re

from pitbird.cli.bump_words import CHECK_WORDS, reason_words
from pitbird.fleet import bump


def test_every_reason_has_words() -> None:
    codes = re.findall(r"``([a-z-]+)``", (bump.outcome.__doc__ or "").split("as ``code:what``")[1])
    assert len(codes) > 10
    for code in codes:
        assert re.search(r"[a-z]{2}", reason_words(f"{code}:H2S")), code


def test_every_check_has_words() -> None:
    assert list(CHECK_WORDS) == list(bump.CHECKS)
    assert reason_words("check-failed:inlets_clear") == "inlets and filters clear not right before gas"
