"""The beginning: a new book with its first site, keeper and rules; and the keeper's account."""

from __future__ import annotations

import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from pitbird.fleet.times import Ms, local, text_of
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.rules.loading import document_of, load_shipped
from pitbird.services import clock
from pitbird.services.appending import writing
from pitbird.services.writing import Actor, prepare
from pitbird.store import blobs as blob_store
from pitbird.store import book
from pitbird.store.models import Login


class BookBegun(ValueError):
    """The book has been begun already."""

    def __init__(self) -> None:
        super().__init__("this book has been begun already; its first entry gives it its identity")


@dataclass(frozen=True)
class Beginning:
    """What a new book needs to know. Codes are the book's own short names, such as ``north-works``."""

    title: str
    site: str
    site_name: str
    zone: str
    keeper: str
    keeper_name: str
    rules: str = "strict"


def begin_book(beginning: Beginning, *, now: Ms | None = None) -> Actor:
    """Write genesis, first site, keeper and adopted rules, all or nothing. Returns the keeper as writer.

    Raises ``BookBegun``, ``EntryRefused`` with every fault, or ``rules`` errors for an unknown rule set.
    """
    instant = clock.now() if now is None else now
    document = document_of(load_shipped(beginning.rules))
    actor = Actor(f"person:{beginning.keeper}", f"site:{beginning.site}", beginning.zone)
    book_id = clock.new_id()
    drafts: list[dict[str, object]] = [
        {
            "kind": "genesis",
            "id": book_id,
            "book": f"book:{book_id}",
            "title": beginning.title,
            "format": "pitbird-book/1",
            "begun": _today(instant, beginning.zone),
        },
        {
            "kind": "site",
            "site": actor.site,
            "name": beginning.site_name,
            "site_zone": beginning.zone,
        },
        {
            "kind": "person",
            "person": actor.person,
            "name": beginning.keeper_name,
            "roles": ["keeper", "tester", "competent"],
            "home": actor.site,
        },
        {
            "kind": "rules-adopted",
            "rules": f"rules:{beginning.rules}",
            "sites": [actor.site],
            "effective": text_of(instant),
            "document": document,
        },
    ]
    faults: list[Fault] = []
    ready = []
    for draft in drafts:
        try:
            ready.append(prepare(draft, actor, instant))
        except EntryRefused as refused:
            faults.extend(refused.faults)
    if faults:
        raise EntryRefused(tuple(dict.fromkeys(faults)))
    with writing() as ledger:
        if ledger.size:
            raise BookBegun
        for body, sealed in ready:
            ledger.add(body.as_body(), recorded_at=instant)
            blob_store.put(list(sealed))
    return actor


def _today(instant: Ms, zone: str) -> str:
    try:
        return local(instant, zone).date().isoformat()
    except (KeyError, ValueError, OSError):
        return text_of(instant)[:10]  # the zone itself is refused with the site, in words


def book_begun() -> bool:
    """Whether there is a book."""
    return book.head().size > 0


def account_made() -> bool:
    """Whether somebody can sign in."""
    return bool(get_user_model().objects.exists())


def first_start_key(home: Path) -> str:
    """The word that opens the first-start page, shown only in the terminal that started pitbird."""
    path = home / "first-start-key"
    if not path.exists():
        home.mkdir(parents=True, exist_ok=True, mode=0o700)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(12))
    return path.read_text(encoding="ascii").strip()


def make_keeper_account(
    name: str, password: str, *, person: str, site: str | None, home: Path | None = None
) -> User:
    """The keeper's account, made once at first start; the password is chosen then, there is no default.

    Raises ``ValidationError`` if an account exists or the password is too weak.
    """
    with transaction.atomic():
        book.head(lock=True)
        if account_made():
            raise ValidationError("An account was made already; sign in with it.")
        user = make_account(name, password, person=person, site=site)
    if home is not None:
        (home / "first-start-key").unlink(missing_ok=True)
    return user


def new_password(name: str, password: str) -> None:
    """Another password where one was forgotten; who is signed in with the old one is signed out.

    Raises ``User.DoesNotExist`` where there is no such account, ``ValidationError`` in words.
    """
    with transaction.atomic():
        user = User.objects.select_for_update().get(username=name)
        validate_password(password, user)
        user.set_password(password)
        user.save(update_fields=["password"])


def make_account(name: str, password: str, *, person: str, site: str | None) -> User:
    """An account that signs in as a person of the book. Raises ``ValidationError`` in words."""
    with transaction.atomic():
        user = User(username=name)
        validate_password(password, user)
        user.set_password(password)
        user.full_clean(exclude=["password"])
        user.save()
        Login.objects.create(user=user, person=person, site=site or "")
    return user
