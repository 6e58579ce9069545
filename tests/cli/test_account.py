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
