"""``pitbird device``: phones paired, registered, listed and ended."""

import re

from tests.cli.conftest import Pitbird
from tests.phone import FieldPhone


def test_a_phone_is_registered_listed_and_ended(begun: Pitbird) -> None:
    phone = FieldPhone(alg="ES256")
    done = begun(f"device register PH-01 {phone.key} --label 'Digester store'")
    assert done.status == 0, done.err
    listed = begun("device list").out
    told = r"PH-01  [0-9a-f]{4}( [0-9a-f]{4}){3}  north-works  registered  Digester store\n"
    assert re.fullmatch(told, listed)
    assert begun("device end PH-01 --because lost").out == "Ended.\n"
    assert "(lost)" in begun("device list").out
    assert "had ended" in begun("device end PH-01 --because lost").out


def test_a_link_is_shown_once_with_its_end(begun: Pitbird) -> None:
    done = begun("device pair PH-01")
    assert done.status == 0, done.err
    assert re.search(r"^address  /field/pair#[A-Za-z0-9_-]{43}$", done.out, re.MULTILINE)
    assert begun("device list").out == ""


def test_every_fault_is_told_and_nothing_is_registered(begun: Pitbird) -> None:
    done = begun("device register 'PH 01' abc")
    assert done.status == 2
    assert "device" in done.err
    assert "key" in done.err
    assert begun("device end PH-07 --because lost").status == 2
    assert begun("device list").out == ""


def test_a_tester_registers_none(begun: Pitbird) -> None:
    done = begun("device pair PH-01 --by P-07")
    assert (done.status, "registers and ends phones" in done.err) == (2, True)
