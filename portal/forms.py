"""The forms of the site's own pages."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.models import Membership, User


class EmailForm(forms.Form):
    email = forms.EmailField(
        label=_("Your e-mail address"),
        max_length=254,
        widget=forms.EmailInput(
            attrs={"autocomplete": "username webauthn", "autocapitalize": "none", "autofocus": True}
        ),
    )

    def clean_email(self) -> str:
        return self.cleaned_data["email"].strip().lower()


class CodeForm(forms.Form):
    """Figures with or without blanks between them, as a mail or a person groups them."""

    code = forms.CharField(
        label=_("The code from the mail"),
        max_length=40,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "one-time-code",
                "inputmode": "numeric",
                "class": "code-input",
                "autofocus": True,
                "spellcheck": "false",
            }
        ),
    )
    own_device = forms.BooleanField(
        label=_("This is my own device. Keep me signed in."), required=False, initial=True
    )

    def clean_code(self) -> str:
        code = re.sub(r"[\s.\-\u2009\u202f\u00a0]", "", self.cleaned_data["code"])
        if not (code.isascii() and code.isdigit() and 6 <= len(code) <= 10):
            raise forms.ValidationError(
                _("A code has six to eight figures. Copy it from the mail once more.")
            )
        return code


class FactorCodeForm(CodeForm):
    own_device = None  # type: ignore[assignment]

    def __init__(self, *args: Any, label: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].label = label or _("Code of your authenticator app, or a recovery code")


class PasskeyForm(forms.Form):
    name = forms.CharField(
        label=_("A name for it"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={"placeholder": _("My phone")}),
    )
    credential = forms.JSONField(widget=forms.HiddenInput)


class AccountForm(forms.ModelForm):
    class Meta:
        model = User
        fields = ["name", "language"]
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "name"})}

    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)


class InviteForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"), max_length=254)
    name = forms.CharField(label=_("Name"), max_length=120)
    role = forms.ChoiceField(label=_("Role"), choices=Membership.Role.choices, initial="crew")
    from_date = forms.DateField(
        label=_("From"),
        initial=timezone.localdate,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("A coach sees the clinics that take place from this day on."),
    )
    until_date = forms.DateField(
        label=_("Until"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("Leave it empty for as long as the club wants. Visitors get a last day."),
    )

    def clean(self) -> dict[str, object]:
        data = super().clean() or {}
        first, last = data.get("from_date"), data.get("until_date")
        if first and last and last < first:
            self.add_error("until_date", _("The last day lies before the first."))
        return data
