"""The accounts by which people of the book sign in: which there is, and closing one."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import transaction

from pitbird.fleet.state import PersonState
from pitbird.services.knowing import Now
from pitbird.store.models import Login


class CannotClose(ValueError):
    """An account that must stay open for now; the message says why, and what to do."""


def account_name(person: str) -> str | None:
    """The name by which a person signs in, if they can."""
    login = Login.objects.select_related("user").filter(person=person).first()
    return login.user.get_username() if login else None


def why_not_closed(person: str, *, by: str) -> str | None:
    """Why a person's account cannot be closed by somebody; None where it can."""
    if person == by:
        return "nobody closes the account they are signed in with; let another keeper do it"
    state = Now().state(person)
    if not isinstance(state, PersonState) or "keeper" not in state.roles:
        return None
    others = Login.objects.exclude(person=person).values_list("person", flat=True)
    for other in Now().some(others).values():
        if isinstance(other, PersonState) and "keeper" in other.roles and not other.left:
            return None
    return "this is the only account of a keeper; make one for another keeper first"


def close_account(person: str, *, by: str) -> str | None:
    """Remove every account of a person with its sessions; the name it had, None where there was none.

    Raises ``CannotClose``.
    """
    with transaction.atomic():
        logins = list(Login.objects.select_related("user").filter(person=person))
        if not logins:
            return None
        why = why_not_closed(person, by=by)
        if why is not None:
            raise CannotClose(f"the account of {person.partition(':')[2]} was not closed: {why}")
        _end_sessions({str(login.user_id) for login in logins})
        name = logins[0].user.get_username()
        User.objects.filter(pk__in=[login.user_id for login in logins]).delete()
    return name


def _end_sessions(users: set[str]) -> None:
    for session in Session.objects.all():
        if str(session.get_decoded().get("_auth_user_id")) in users:
            session.delete()
