"""Signing in, and the first start."""

from __future__ import annotations

import hmac
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.password_validation import password_validators_help_text_html
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from pitbird.fleet.state import PersonState
from pitbird.intake.faults import EntryRefused
from pitbird.rules.loading import load_shipped, shipped
from pitbird.services import beginning
from pitbird.services.beginning import Beginning, BookBegun
from pitbird.services.knowing import Now
from pitbird.store.models import Login
from pitbird.web import names as naming
from pitbird.web.forms.account import SignInForm
from pitbird.web.forms.things import CODE
from pitbird.web.who import require_right


class AccountForm(forms.Form):
    """The keeper's name for signing in, and a password."""

    use_required_attribute = False
    account = forms.CharField(
        label=gettext_lazy("Name for signing in"),
        max_length=150,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = forms.CharField(
        label=gettext_lazy("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label=gettext_lazy("The password once more"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="f-%s")
        self.fields["password"].help_text = password_validators_help_text_html()

    def clean(self) -> dict[str, Any]:
        """The two passwords must be the same."""
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("password") and cleaned.get("again") and cleaned["password"] != cleaned["again"]:
            self.add_error("again", _("Not the same as the first. Type both again."))
        return cleaned


def _code_field(label: Any, help_text: Any) -> forms.RegexField:
    return forms.RegexField(
        CODE,
        label=label,
        help_text=help_text,
        error_messages={
            "invalid": gettext_lazy("Write letters, digits, dots and dashes only, such as north-works.")
        },
    )


class LetInForm(AccountForm):
    """An account for somebody who is in the book already."""

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.fields["password"].label = _("A first password")


class BookForm(AccountForm):
    """What a new book needs to know, and the keeper's account."""

    title = forms.CharField(label=gettext_lazy("Title of the book"), max_length=120)
    site_name = forms.CharField(label=gettext_lazy("First site"), max_length=120)
    site = _code_field(
        gettext_lazy("The site's code"),
        gettext_lazy("Short, such as north-works. It cannot be changed later."),
    )
    zone = forms.ChoiceField(label=gettext_lazy("Its time zone"))
    keeper_name = forms.CharField(label=gettext_lazy("The keeper's name"), max_length=120)
    keeper = _code_field(
        gettext_lazy("The keeper's code"),
        gettext_lazy("Short, such as K-1. It stands in every entry; the name is kept apart."),
    )
    rules = forms.ChoiceField(label=gettext_lazy("Site rules"), widget=forms.RadioSelect)
    field_order = (
        "title",
        "site_name",
        "site",
        "zone",
        "keeper_name",
        "keeper",
        "rules",
        "account",
        "password",
        "again",
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        zones = sorted(name for name in available_timezones() if "/" in name and not name.startswith("Etc/"))
        sets = [(name, load_shipped(name).title) for name in shipped()]
        for field, choices in (
            ("zone", [("", _("choose")), ("UTC", "UTC"), *((each, each) for each in zones)]),
            ("rules", sets),
        ):
            self.fields[field].choices = choices  # type: ignore[attr-defined]
        if "strict" in shipped():
            self.fields["rules"].initial = "strict"


#: The field of this page for a field of the entries that begin a book.
_FIELDS = {
    "title": "title",
    "site": "site",
    "name": "site_name",
    "site_zone": "zone",
    "person": "keeper",
    "zone": "zone",
}


class SignIn(LoginView):
    """Django's, which also says where to go while nobody can sign in yet."""

    redirect_authenticated_user = True
    authentication_form = SignInForm

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        """The form, and whether there is any account."""
        return {**super().get_context_data(**given), "nobody": not beginning.account_made()}


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def first_start(request: HttpRequest) -> HttpResponse:
    """The first page of the book: opened once, by the word that stands in the terminal."""
    if beginning.account_made():
        return redirect("sign-in")
    key = request.GET.get("key", "")
    wanted = beginning.first_start_key(settings.CONFIG.home)
    if not hmac.compare_digest(key.encode(), wanted.encode()):
        return render(request, "pitbird/first_start_closed.html", {"given": bool(key)}, status=403)
    begun = beginning.book_begun()
    form = (AccountForm if begun else BookForm)(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and (done := _begin(request, form, begun)) is not None:
        return done
    context = {"form": form, "begun": begun, "keeper": _keeper_name() if begun else ""}
    return render(request, "pitbird/first_start.html", context, status=422 if form.errors else 200)


def _begin(request: HttpRequest, form: AccountForm, begun: bool) -> HttpResponse | None:
    """Make the account, and the book where there is none: both or neither. None where it was refused."""
    data = form.cleaned_data
    try:
        with transaction.atomic():
            if begun:
                state = _keeper()
                if state is None:
                    form.add_error(None, _("The book has no keeper. Import a book that has one."))
                    return None
                person, site = state.subject, state.home
            else:
                actor = beginning.begin_book(
                    Beginning(
                        title=data["title"],
                        site=data["site"],
                        site_name=data["site_name"],
                        zone=data["zone"],
                        keeper=data["keeper"],
                        keeper_name=data["keeper_name"],
                        rules=data["rules"],
                    )
                )
                person, site = actor.person, actor.site
            user = beginning.make_keeper_account(data["account"], data["password"], person=person, site=site)
    except EntryRefused as refused:
        for fault in refused.faults:
            name = _FIELDS.get(fault.field, "")
            if fault.where == "person.name":
                name = "keeper_name"
            form.add_error(name if name in form.fields else None, fault.problem)
        return None
    except BookBegun:
        form.add_error(None, _("Somebody began the book in the meantime. Load this page again."))
        return None
    except ValidationError as refused:
        _put(form, refused)
        return None
    (settings.CONFIG.home / "first-start-key").unlink(missing_ok=True)
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    messages.success(request, _("The book is open, and you are signed in."))
    return redirect("gate")


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def let_in(request: HttpRequest, code: str) -> HttpResponse:
    """Give somebody of the book an account; the keeper's to do."""
    require_right(request, "person")
    state = Now().state(f"person:{code}")
    if not isinstance(state, PersonState):
        raise Http404(code)
    name = naming.Names([state.subject])(state.subject)
    taken = Login.objects.filter(person=state.subject).first()
    form = LetInForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and taken is None and form.is_valid():
        data = form.cleaned_data
        try:
            beginning.make_account(data["account"], data["password"], person=state.subject, site=state.home)
        except ValidationError as refused:
            _put(form, refused)
        else:
            messages.success(request, _("%(name)s can sign in as “%(account)s”.") % {"name": name, **data})
            return redirect("person", code=code)
    context = {"form": form, "name": name, "code": code, "taken": taken}
    return render(request, "pitbird/let_in.html", context, status=422 if form.errors else 200)


@never_cache
@require_http_methods(["GET", "HEAD"])
def password_changed(request: HttpRequest) -> HttpResponse:
    """Say so, and go to the gate."""
    messages.success(request, _("Your password is changed."))
    return redirect("gate")


def _put(form: AccountForm, refused: ValidationError) -> None:
    if hasattr(refused, "error_dict"):
        for name, faults in refused.message_dict.items():
            for fault in faults:
                form.add_error("account" if name == "username" else None, fault)
    else:
        for fault in refused.messages:
            form.add_error("password", fault)


def _keeper() -> PersonState | None:
    keepers = [state for state in Now().all_of(PersonState) if "keeper" in state.roles and not state.left]
    return keepers[0] if keepers else None


def _keeper_name() -> str:
    state = _keeper()
    return naming.Names([state.subject])(state.subject) if state else ""
