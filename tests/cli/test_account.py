"""Accounts: for people in the book, with a password that is asked for."""

from tests.cli.conftest import Pitbird

GOOD = "gannet-over-the-weir\ngannet-over-the-weir\n"


def test_an_account_is_made_for_a_person_in_the_book(begun: Pitbird) -> None:
    from pitbird.store.models import Login

    done = begun("account ilda --person K-1", GOOD)
    assert done.status == 0, done.err
    assert "gannet" not in done.out
    login = Login.objects.get()
    assert (login.person, login.site) == ("person:K-1", "site:north-works")
    assert login.user.check_password("gannet-over-the-weir")
    assert begun("account nuria --person P-07", GOOD).status == 0
    assert Login.objects.count() == 2


def test_a_weak_password_is_refused_and_no_account_made(begun: Pitbird) -> None:
    from django.contrib.auth.models import User

    refused = begun("account ilda --person K-1", "short\nshort\n")
    assert refused.status == 2
    assert "10 characters" in refused.err
    assert not User.objects.exists()


def test_an_unknown_person_and_a_taken_name_are_both_named(begun: Pitbird) -> None:
    begun("account ilda --person K-1", GOOD)
    refused = begun("account ilda --person P-70")
    assert refused.status == 2
    assert any("knows no person 'P-70'" in line for line in refused.faults)
    assert any("'ilda' exists already" in line for line in refused.faults)


def test_a_forgotten_password_is_set_anew_and_signs_out_who_had_the_old_one(begun: Pitbird) -> None:
    from django.contrib.auth.models import User
    from django.test import Client

    begun("account ilda --person K-1", GOOD)
    signed_in = Client()
    assert signed_in.login(username="ilda", password="gannet-over-the-weir")
    done = begun("account ilda --new-password", "heron-in-the-reeds\nheron-in-the-reeds\n")
    assert done.status == 0, done.err
    assert "heron" not in done.out
    user = User.objects.get()
    assert user.check_password("heron-in-the-reeds")
    assert not user.check_password("gannet-over-the-weir")
    assert signed_in.get("/password").status_code == 302, "the old session is over"


def test_another_password_needs_an_account_and_is_held_to_the_same_rules(begun: Pitbird) -> None:
    from django.contrib.auth.models import User

    begun("account ilda --person K-1", GOOD)
    refused = begun("account hilda --new-password --person K-1")
    assert refused.status == 2
    assert any("there is no account 'hilda'" in line and "ilda" in line for line in refused.faults)
    assert any(line.startswith("--person: goes with a new account only") for line in refused.faults)
    weak = begun("account ilda --new-password", "short\nshort\n")
    assert weak.status == 2
    assert "10 characters" in weak.err
    assert User.objects.get().check_password("gannet-over-the-weir")


def test_a_new_account_needs_its_person(begun: Pitbird) -> None:
    refused = begun("account ilda")
    assert refused.status == 2
    assert "--person: missing" in refused.err
