"""The forms of signing up: the swimmer's one form, changing it, and the club's."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from clinics.actions.sign_up import Details
from clinics.actions.sign_up_notes import Notes
from clinics.compute.pace import pace_ok, pace_s_per_100m
from clinics.compute.tables import tidy, unprintable
from clinics.models import Entry, SignUpSheet
from clinics.views.consent_forms import AnswerForm
from portal.freshness import is_fresh

DISTANCES_M = (25, 50, 75, 100, 200, 400)
PASS_SALT, PASS_LASTS_S = "clinics.sign-up-form", 2 * 3600
_CHOOSE = [("", _("choose"))]


def make_pass(request: HttpRequest) -> str:
    """Made with a page that was shown after a fresh sign-in; what comes back with it is as fresh,
    so that nobody who writes for an hour is sent away with what they wrote."""
    return signing.dumps(str(request.user.pk), salt=PASS_SALT) if is_fresh(request) else ""


def said_freshly(request: HttpRequest) -> bool:
    """Giving consent on an account asks for a fresh sign-in."""
    if is_fresh(request):
        return True
    try:
        told = signing.loads(request.POST.get("pass", ""), salt=PASS_SALT, max_age=PASS_LASTS_S)
    except signing.BadSignature:
        return False
    return bool(told == str(request.user.pk))


class NameField(forms.CharField):
    """One line, as it is kept."""

    def clean(self, value: Any) -> str:
        name = tidy(super().clean(value) or "")
        if unprintable(name):
            raise ValidationError(_("There is a character that cannot be shown. Type it anew."))
        return name


class HowForm(forms.Form):
    """Stroke, start and pace; a pace as a time for a distance."""

    stroke = forms.ChoiceField(label=_("Stroke"), choices=[*_CHOOSE, *Entry.Stroke.choices])
    start = forms.ChoiceField(label=_("How you start"), choices=[*_CHOOSE, *Entry.Start.choices])
    time = forms.CharField(
        label=_("Your time, as minutes:seconds"),
        max_length=40,
        help_text=_("As you swim it without hurrying, such as 1:35. Or seconds alone: 95."),
        widget=forms.TextInput(attrs={"placeholder": "1:35", "autocomplete": "off"}),
    )
    over_m = forms.TypedChoiceField(
        label=_("for"), choices=[(m, f"{m} m") for m in DISTANCES_M], coerce=int, initial=100
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if "time" in said and "over_m" in said:
            pace = pace_s_per_100m(said["time"], over_m=said["over_m"])
            if pace is None:
                self.add_error("time", _("This cannot be read as a time. Write 1:35, or 95."))
            elif not pace_ok(pace):
                told = _("That is %(pace)s s for 100 m. From 40 to 600 s can be planned.")
                self.add_error("time", ValidationError(told, params={"pace": f"{pace:.0f}"}))
            else:
                said["pace_s_per_100m"] = pace
        return said

    def details(self) -> Details:
        said = self.cleaned_data
        return Details(said["stroke"], said["start"], said["pace_s_per_100m"])


def _words(label: Any, help_text: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        help_text=help_text,
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class NotesForm(forms.Form):
    look_at = _words(
        _("What should coaches look at?"),
        _("One or two things, such as “my breathing” or “the turn”. Your coaches read it."),
    )
    injuries = _words(
        _("Injuries, or anything that coaches must know"),
        _(
            "You need not say anything. Only the coaches of this clinic read it, and you; it is "
            "deleted when the clinic is closed."
        ),
    )


class SignUpForm(HowForm, NotesForm, AnswerForm):
    """The one form. `ask_name`, `ask_email`: what the account does not say."""

    name = NameField(
        label=_("Your name"), max_length=120, widget=forms.TextInput({"autocomplete": "name"})
    )
    email = forms.EmailField(
        label=_("Your e-mail address"),
        max_length=254,
        help_text=_("We write to it once you send this form."),
        widget=forms.EmailInput({"autocomplete": "email", "autocapitalize": "none"}),
    )
    client_id = forms.RegexField(r"^[A-Za-z0-9-]{8,64}$", required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any, *, ask_name: bool, ask_email: bool, **more: Any) -> None:
        super().__init__(data, ask_adult=True, **more)
        self.initial["client_id"] = str(uuid.uuid4())
        if not ask_name:
            del self.fields["name"]
        if not ask_email:
            del self.fields["email"]

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if not said.get("adult"):
            told = _("Only adults swim at this clinic. Tick it if you are 18 or older.")
            self.add_error("adult", told)
        return said

    def notes(self) -> Notes:
        return Notes(self.cleaned_data["look_at"], self.cleaned_data["injuries"])


class ChangeForm(HowForm, NotesForm, AnswerForm):
    """What was said, to change. In the running order already: without stroke, start and pace.
    `shows_injuries` False: they are not on the page, so an empty field leaves them."""

    forget_injuries = forms.BooleanField(
        label=_("Delete what I wrote about injuries"), required=False
    )

    def __init__(
        self, data: Any, *, plans: bool, shows_injuries: bool, has_injuries: bool, **more: Any
    ) -> None:
        started = more.pop("initial", {})
        super().__init__(data, **more)
        self.initial |= started
        self.shows_injuries = shows_injuries
        if not plans:
            for name in ("stroke", "start", "time", "over_m"):
                del self.fields[name]
        if shows_injuries or not has_injuries:
            del self.fields["forget_injuries"]
        else:
            self.fields["injuries"].help_text = _(
                "You wrote something. It is not shown here, since this page opens by a link from "
                "a mail. Leave this empty to keep it, or write it anew."
            )

    def plans(self) -> bool:
        return "stroke" in self.fields

    def notes(self) -> Notes:
        said = self.cleaned_data
        injuries: str | None = said["injuries"]
        if not self.shows_injuries and not injuries:
            injuries = "" if said.get("forget_injuries") else None
        return Notes(said["look_at"], injuries)


# --- the club's ----------------------------------------------------------------------------------


class SheetForm(forms.ModelForm):
    class Meta:
        model = SignUpSheet
        fields = ["places", "closes_at", "words"]
        widgets = {
            "closes_at": forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
            "words": forms.Textarea({"rows": 3}),
        }
        help_texts = {
            "closes_at": _("May stay empty. In the clinic's time zone."),
            "words": _("Stands above the form: where to meet, what to bring, what it costs."),
        }


class AddForm(HowForm):
    """By hand: somebody who asked in person."""

    name = NameField(label=_("Name"), max_length=120)
    email = forms.EmailField(
        label=_("E-mail address"),
        max_length=254,
        required=False,
        help_text=_("May stay empty. By the mail they answer about filming, and tell the coaches."),
    )
    adult = forms.BooleanField(label=_("Has said to be 18 or older"))

    field_order = ["name", "email", "adult", "stroke", "start", "time", "over_m"]


class DeclineForm(forms.Form):
    words = forms.CharField(
        label=_("A few words of yours, in the mail"),
        max_length=500,
        required=False,
        widget=forms.Textarea({"rows": 3}),
    )
