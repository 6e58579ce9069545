"""Time stamps, against an authority that openssl plays (RFC 3161)."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitbird.services import checkpoints, clock, stamping
from pitbird.services.book_keys import CheckpointRefused
from pitbird.services.stamping import NoStampReader, StampRefused, stamp_of, stamp_request, take_stamp
from pitbird.services.writing import Actor, write
from tests.bodies import at, bump, ms

pytestmark = [
    pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl plays the authority"),
    pytest.mark.skipif(not stamping.can_read_stamps(), reason="the extra `sign` is not installed"),
]

CONFIG = """
[req]
distinguished_name = dn
prompt = no
[dn]
CN = {name}
[ca]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign
subjectKeyIdentifier = hash
[stamping]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = critical, timeStamping
authorityKeyIdentifier = keyid
[plain]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
authorityKeyIdentifier = keyid
[tsa]
default_tsa = it
[it]
serial = {folder}/serial
crypto_device = builtin
signer_cert = {folder}/tsa.pem
signer_key = {folder}/tsa.key
certs = {folder}/ca.pem
signer_digest = sha256
default_policy = 1.3.6.1.4.1.99999.1
digests = sha256, sha512
accuracy = secs:1
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


class Authority:
    """A time-stamp authority with a root of its own, by openssl."""

    def __init__(self, folder: Path, purpose: str = "stamping") -> None:
        folder.mkdir()
        self.folder = folder
        for name in ("Invented Root", "Invented Stamps"):
            (folder / f"{name[9:].lower()}.cnf").write_text(CONFIG.format(folder=folder, name=name))
        new = "req -new -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes"
        self.openssl(f"{new} -x509 -days 30 -config root.cnf -extensions ca -keyout ca.key -out ca.pem")
        self.openssl(f"{new} -config stamps.cnf -keyout tsa.key -out tsa.csr")
        self.openssl(
            "x509 -req -in tsa.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 30 -extfile stamps.cnf"
            f" -extensions {purpose} -out tsa.pem"
        )
        (folder / "serial").write_text("01\n")

    def openssl(self, line: str) -> bytes:
        """Run openssl in its folder; give what it says."""
        done = subprocess.run(
            ["openssl", *line.split()], cwd=self.folder, capture_output=True, check=False, timeout=60
        )
        assert done.returncode == 0, done.stderr.decode()
        return done.stdout

    def answers(self, request: bytes) -> bytes:
        """The response to a request."""
        (self.folder / "asked.tsq").write_bytes(request)
        self.openssl("ts -reply -config stamps.cnf -section it -queryfile asked.tsq -out answer.tsr")
        return (self.folder / "answer.tsr").read_bytes()

    @property
    def ca(self) -> bytes:
        """Its root as it is published."""
        return (self.folder / "ca.pem").read_bytes()


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("tsa") / "one")


def test_openssl_reads_the_request_as_one_over_the_text(
    fleet: Actor, tmp_path: Path, authority: Authority
) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    (authority.folder / "look.tsq").write_bytes(stamp_request(tmp_path))

    told = authority.openssl("ts -query -in look.tsq -text").decode()

    digest = hashlib.sha256(made.checkpoint.text().encode()).hexdigest()
    dump = "".join(line.partition(" - ")[2][:48] for line in told.splitlines() if " - " in line)
    assert "Hash Algorithm: sha256" in told
    assert "Nonce: unspecified" in told
    assert "Certificate required: yes" in told
    assert dump.replace(" ", "").replace("-", "") == digest


def test_a_stamp_is_verified_kept_and_read_again(fleet: Actor, tmp_path: Path, authority: Authority) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    answer = authority.answers(stamp_request(tmp_path))

    stamp = take_stamp(answer, authority.ca, tmp_path)

    assert (stamp.size, stamp.authority, stamp.new) == (made.checkpoint.size, "Invented Stamps", True)
    assert abs(stamp.at - clock.now()) < 60_000
    assert stamp.path.read_bytes() == answer
    again = stamp_of(made.path)
    assert again is not None
    assert (again.at, again.authority) == (stamp.at, stamp.authority)
    assert checkpoints.check_kept(tmp_path).complaint == ""
    # And openssl itself says the same of the file that is kept.
    (authority.folder / "text").write_bytes(made.checkpoint.text().encode())
    shutil.copy(stamp.path, authority.folder / "kept.tsr")
    assert b"Verification: OK" in authority.openssl("ts -verify -data text -in kept.tsr -CAfile ca.pem")


def test_a_stamp_finds_its_checkpoint_also_when_newer_ones_were_made(
    fleet: Actor, tmp_path: Path, authority: Authority
) -> None:
    first = checkpoints.make_checkpoint(tmp_path)
    answer = authority.answers(stamp_request(tmp_path))
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    second = checkpoints.make_checkpoint(tmp_path)

    assert take_stamp(answer, authority.ca, tmp_path).size == first.checkpoint.size
    assert stamp_of(second.path) is None
    assert stamp_request(tmp_path, first.checkpoint.size) != stamp_request(tmp_path)


def test_an_authority_may_put_its_certificates_in_any_order(
    fleet: Actor, tmp_path: Path, authority: Authority
) -> None:
    """CMS does not ask for the order of DER (RFC 5652); openssl puts its own certificate first."""
    checkpoints.make_checkpoint(tmp_path)
    answer = authority.answers(stamp_request(tmp_path))
    root, own = (
        subprocess.run(
            ["openssl", "x509", "-in", name, "-outform", "DER"],
            cwd=authority.folder, capture_output=True, check=True,
        ).stdout
        for name in ("ca.pem", "tsa.pem")
    )  # fmt: skip
    assert own + root in answer or root + own in answer

    for pair in (own + root, root + own):
        turned = answer.replace(own + root, pair).replace(root + own, pair)
        stamp = take_stamp(turned, authority.ca, tmp_path)
        assert stamp.path.exists()
        stamp.path.unlink()


@given(st.data())
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_garbage_is_refused_and_nothing_else(
    fleet: Actor, tmp_path: Path, authority: Authority, data: st.DataObject
) -> None:
    request = checkpoints.make_checkpoint(tmp_path)
    if not (authority.folder / "good.tsr").exists():
        (authority.folder / "good.tsr").write_bytes(authority.answers(stamp_request(tmp_path)))
    good = (authority.folder / "good.tsr").read_bytes()
    at = data.draw(st.integers(0, len(good) - 1))
    forged = good[:at] + data.draw(st.binary(max_size=4)) + good[at + data.draw(st.integers(0, 4)) :]
    if forged == good:
        return

    try:
        stamp = take_stamp(forged, authority.ca, tmp_path)
    except StampRefused:
        return
    assert stamp.size == request.checkpoint.size, "what is not under the signature may differ"
    stamp.path.unlink()


def test_of_two_stamps_the_earlier_stays(fleet: Actor, tmp_path: Path, authority: Authority) -> None:
    checkpoints.make_checkpoint(tmp_path)
    first = take_stamp(authority.answers(stamp_request(tmp_path)), authority.ca, tmp_path)
    before = first.path.read_bytes()

    again = take_stamp(authority.answers(stamp_request(tmp_path)), authority.ca, tmp_path)

    assert (again.new, again.at) == (False, first.at)
    assert first.path.read_bytes() == before


def test_one_that_does_not_hold_gives_way_to_one_that_does(
    fleet: Actor, tmp_path: Path, authority: Authority
) -> None:
    checkpoints.make_checkpoint(tmp_path)
    stamp = take_stamp(authority.answers(stamp_request(tmp_path)), authority.ca, tmp_path)
    held = stamp.path.read_bytes()
    stamp.path.write_bytes(held[:-1] + bytes([held[-1] ^ 1]))
    with pytest.raises(StampRefused, match=r"does not hold|not a response"):
        stamp_of(stamp.path.with_suffix(".note"))

    assert take_stamp(authority.answers(stamp_request(tmp_path)), authority.ca, tmp_path).new


def test_what_does_not_hold_is_refused_and_nothing_is_kept(
    fleet: Actor, tmp_path: Path, authority: Authority, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = checkpoints.make_checkpoint(tmp_path).path
    request = stamp_request(tmp_path)
    answer = authority.answers(request)
    other = Authority(tmp_path_factory.mktemp("tsa") / "other")
    digest = hashlib.sha256(checkpoints.make_checkpoint(tmp_path).checkpoint.text().encode()).digest()
    elsewhere = authority.answers(request.replace(digest, bytes(32)))
    flipped = bytearray(answer)
    flipped[-5] ^= 1

    for data, ca, told in (
        (answer, other.ca, "does not hold by the certificates given"),
        (bytes(flipped), authority.ca, "does not hold by the certificates given"),
        (elsewhere, authority.ca, "of none of the checkpoints"),
        (answer.replace(digest, bytes(32)), authority.ca, "of none of the checkpoints"),
        (b"", authority.ca, "not a response of a time-stamp authority"),
        (request, authority.ca, "not a response of a time-stamp authority"),
        (answer, b"no certificate", "ca: holds no certificate"),
    ):
        with pytest.raises(StampRefused, match=told):
            take_stamp(data, ca, tmp_path)
    assert not path.with_suffix(".tsr").exists()
    assert not path.with_suffix(".tsa.pem").exists()


def test_a_refusal_of_the_authority_is_told(fleet: Actor, tmp_path: Path, authority: Authority) -> None:
    checkpoints.make_checkpoint(tmp_path)
    # RFC 3161, 2.4.2: PKIStatusInfo with status 2 (rejection) alone, and no token.
    refusal = bytes.fromhex("3005 3003 020102")

    with pytest.raises(StampRefused, match=r"did not grant it \(status 2"):
        take_stamp(refusal, authority.ca, tmp_path)


def test_a_certificate_that_is_not_for_time_stamps_makes_none(
    fleet: Actor, tmp_path: Path, authority: Authority, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Forgery: whoever has any certificate under the same root stamps with it.

    openssl refuses to stamp with such a certificate; so the answer of the authority is held against another.
    """
    checkpoints.make_checkpoint(tmp_path)
    plain = Authority(tmp_path_factory.mktemp("tsa") / "plain", purpose="plain")
    (plain.folder / "asked.tsq").write_bytes(stamp_request(tmp_path))
    done = subprocess.run(
        "openssl ts -reply -config stamps.cnf -section it -queryfile asked.tsq -out answer.tsr".split(),
        cwd=plain.folder, capture_output=True, check=False, timeout=60,
    )  # fmt: skip
    if done.returncode == 0:
        with pytest.raises(StampRefused):
            take_stamp((plain.folder / "answer.tsr").read_bytes(), plain.ca, tmp_path)
    else:
        assert b"key usage" in done.stderr or b"invalid signer certificate" in done.stderr
        with pytest.raises(StampRefused, match="does not hold"):
            take_stamp(authority.answers(stamp_request(tmp_path)), plain.ca, tmp_path)


def test_a_time_in_the_future_is_refused(
    fleet: Actor, tmp_path: Path, authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    checkpoints.make_checkpoint(tmp_path)
    answer = authority.answers(stamp_request(tmp_path))
    an_hour_ago = clock.now() - 3_600_000
    monkeypatch.setattr(clock, "now", lambda: an_hour_ago)

    with pytest.raises(StampRefused, match="lies in the future"):
        take_stamp(answer, authority.ca, tmp_path)


def test_without_a_checkpoint_or_the_package_it_is_said(
    fleet: Actor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(CheckpointRefused, match="no checkpoint yet"):
        stamp_request(tmp_path)
    monkeypatch.setattr(stamping, "find_spec", lambda name: None)

    with pytest.raises(NoStampReader, match=r"pip install 'pitbird\[sign\]'"):
        stamp_request(tmp_path)
    with pytest.raises(NoStampReader):
        take_stamp(b"", b"", tmp_path)
