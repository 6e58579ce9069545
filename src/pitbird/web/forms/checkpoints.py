"""The forms of the page of checkpoints: what comes back from a witness, what is to be signed for others."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.record.errors import RecordError
from pitbird.record.note import MAX_NOTE, VerifierKey, read_verifier_key


class FileBytes(forms.FileField):
    """A small file; its value is its bytes."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        found = super().clean(data, initial)
        return _read(found) if found else None


class _Several(forms.ClearableFileInput):
    allow_multiple_selected = True


class FilesBytes(forms.FileField):
    """Several small files; its value is their bytes, in the order of their names."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        given = data if isinstance(data, list | tuple) else [data] if data else []
        one = super().clean
        return [_read(one(each, initial)) for each in sorted(given, key=lambda each: each.name or "")]


def _read(file: UploadedFile[Any]) -> bytes:
    if (file.size or 0) > MAX_NOTE:
        raise forms.ValidationError(_("The file is too large to be one."))
    return bytes(file.read())


class KeyField(forms.CharField):
    """A verifier key as its holder shows it."""

    def clean(self, value: Any) -> Any:
        text = str(super().clean(value)).strip()
        if not text:
            return None
        try:
            return read_verifier_key(text)
        except RecordError as fault:
            raise forms.ValidationError(f"{fault.what}. {fault.remedy}") from None


_KEYED = {"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}


class _Asking(forms.Form):
    """Faults that the services tell go to the field that they name first."""

    use_required_attribute = False

    def put_fault(self, fault: Exception) -> None:
        """Tell a refusal at its field."""
        where, _colon, rest = str(fault).partition(": ")
        if rest and where in self.fields:
            self.add_error(where, rest)
        else:
            self.add_error(None, str(fault))


class BackForm(_Asking):
    """A checkpoint of this book that came back with a witness's signature."""

    checkpoint = FileBytes(label=gettext_lazy("The file that came back"))
    witness = KeyField(
        label=gettext_lazy("The witness's key"),
        help_text=gettext_lazy(
            "Only the first time: the line “as a witness” on their page of checkpoints. Compare its "
            "fingerprint with them by telephone."
        ),
        required=False,
        widget=forms.TextInput(attrs=_KEYED),
    )

    def given(self) -> tuple[bytes, VerifierKey | None]:
        """The file and the key."""
        return self.cleaned_data["checkpoint"], self.cleaned_data["witness"]


class WitnessForm(_Asking):
    """Another book's checkpoint, to be signed by this one."""

    checkpoint = FileBytes(label=gettext_lazy("Their checkpoint"))
    key = KeyField(
        label=gettext_lazy("Their book's key"),
        help_text=gettext_lazy("Compare its fingerprint with their keeper by telephone the first time."),
        widget=forms.TextInput(attrs=_KEYED),
    )
    proof = FileBytes(
        label=gettext_lazy("The proof that their book only grew"),
        help_text=gettext_lazy("Needed from the second time on."),
        required=False,
    )
    changes = FilesBytes(
        label=gettext_lazy("Changes of their key"),
        help_text=gettext_lazy("All of them (0001.note and so on), where their key was changed."),
        required=False,
        widget=_Several,
    )


class StampForm(_Asking):
    """A time stamp that came from an authority."""

    stamp = FileBytes(label=gettext_lazy("The authority's response"))
    ca = FileBytes(
        label=gettext_lazy("The authority's certificates"),
        help_text=gettext_lazy("A PEM file, from where the authority publishes it."),
    )
