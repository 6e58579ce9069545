"""The forms for signing in and for a new password."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm


class SignInForm(AuthenticationForm):
    """Django's, without the browser's own required bubbles: faults are listed on the page."""

    use_required_attribute = False

    def __init__(self, *arguments: Any, **options: Any) -> None:
        options.setdefault("auto_id", "f-%s")
        super().__init__(*arguments, **options)
        self.fields["username"].widget.attrs.update(autocapitalize="none", spellcheck="false")


class PasswordForm(PasswordChangeForm):
    """Django's, with this book's way of naming fields."""

    use_required_attribute = False

    def __init__(self, *arguments: Any, **options: Any) -> None:
        options["auto_id"] = "f-%s"
        super().__init__(*arguments, **options)
