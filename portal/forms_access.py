"""What an admin looks for in the access record."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from portal import audit_words
from portal.actions.access_record import Asked


class AccessForm(forms.Form):
    """All of it may be left empty; what makes no sense is left out."""

    who = forms.CharField(label=_("Who did it (name or e-mail)"), required=False, max_length=120)
    about = forms.CharField(
        label=_("About whom or what (swimmer, clinic)"), required=False, max_length=120
    )
    sort = forms.ChoiceField(
        label=_("What"), required=False, choices=[("", _("all")), *audit_words.SORTS.items()]
    )
    from_date = forms.DateField(
        label=_("From"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    until_date = forms.DateField(
        label=_("Until"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    before = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def asked(self) -> Asked:
        self.is_valid()
        return Asked(**{name: value for name, value in self.cleaned_data.items() if value})
