"""The forms for signing in and for a new password."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.web import slow_down


class SignInForm(AuthenticationForm):
    """Django's, without the browser's own required bubbles: faults are listed on the page."""

    use_required_attribute = False
    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": gettext_lazy(
            "This name and this password do not belong together. Capital and small letters differ in both. "
            "A forgotten password is set anew where the book is served: pitbird account NAME --new-password."
        ),
    }

    def __init__(self, *arguments: Any, **options: Any) -> None:
        options.setdefault("auto_id", "f-%s")
        super().__init__(*arguments, **options)
        self.fields["username"].widget.attrs.update(autocapitalize="none", spellcheck="false")

    def clean(self) -> dict[str, Any]:
        """Django's check, which waits after some wrong passwords for an account, right ones included."""
        account = str(self.cleaned_data.get("username", ""))
        if slow_down.must_wait(account):
            raise ValidationError(
                _("Too many wrong passwords for this name. Wait five minutes, then try again."), code="wait"
            )
        try:
            cleaned: dict[str, Any] = super().clean()
        except ValidationError:
            slow_down.wrong(account)
            raise
        slow_down.right(account)
        return cleaned


class PasswordForm(PasswordChangeForm):
    """Django's, with this book's way of naming fields."""

    use_required_attribute = False

    def __init__(self, *arguments: Any, **options: Any) -> None:
        options["auto_id"] = "f-%s"
        super().__init__(*arguments, **options)
