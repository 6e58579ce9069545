"""The page that says how a phone trusts a trial authority, and pages that say where https is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from django.test import Client

from pitbird.services.trial_authority import make_ready
from tests.web.conftest import Cast


def test_whoever_asks_gets_the_certificate_and_what_to_compare(
    db: None, tmp_path: Path, settings: Any
) -> None:
    settings.CONFIG = replace(settings.CONFIG, home=tmp_path)
    made = make_ready(tmp_path, ["localhost"])
    page = Client().get("/trust").content.decode()
    assert made.fingerprint in page
    answer = Client().get("/trust/authority.crt")
    assert answer["Content-Type"] == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(answer.content) == x509.load_pem_x509_certificate(
        made.authority.read_bytes()
    )


def test_without_a_trial_authority_there_is_no_such_page(db: None, tmp_path: Path, settings: Any) -> None:
    settings.CONFIG = replace(settings.CONFIG, home=tmp_path)
    assert Client().get("/trust").status_code == 404
    assert Client().get("/trust/authority.crt").status_code == 404


@pytest.mark.parametrize("address", ["/test", "/devices"])
def test_a_page_that_came_unencrypted_says_so(
    keeper: Client, cast: Cast, settings: Any, address: str
) -> None:
    assert "No https." in keeper.get(address).content.decode()
    assert "No https." not in keeper.get(address, secure=True).content.decode()
    settings.ALLOWED_HOSTS = ["localhost"]
    assert "No https." not in keeper.get(address, headers={"host": "localhost:8321"}).content.decode()
    settings.ALLOWED_HOSTS = ["testserver"]
    settings.CONFIG = replace(settings.CONFIG, https=True)
    assert "No https." not in keeper.get(address).content.decode()
