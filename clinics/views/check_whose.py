"""Whose swim it is, said on the page of one swim; and a swim that nobody logged."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from clinics.actions import board
from clinics.actions.errors import BadInput
from clinics.compute.log_file import read_instant
from clinics.models import BoardAct, Clinic, Entry, Recording, Swim
from clinics.views.check_told import told
from clinics.views.who import me
from clinics.views.words import in_words
from portal.row_field import RowChoiceField


def swims_of(request: HttpRequest) -> Any:
    mine = Swim.objects.handled_by(me(request))
    return mine.select_related("entry__clinic", "entry__swimmer")


class WhoseForm(forms.Form):
    """`do`: swap with `other`; it is `entry`'s; it was none; or undo `act`. `was`: the entry
    that the page showed; `was_other`: swim and entry of each that it offered to swap with."""

    do = forms.ChoiceField(choices=[(d, d) for d in ("swap", "theirs", "none", "undo")])
    other = RowChoiceField(Swim.objects.none(), required=False)
    entry = RowChoiceField(Entry.objects.none(), required=False)
    act = RowChoiceField(BoardAct.objects.none(), required=False)
    was = forms.CharField(required=False)

    def __init__(self, request: HttpRequest, swim: Swim) -> None:
        super().__init__(request.POST)
        clinic = swim.entry.clinic
        sets: dict[str, Any] = {
            "other": swims_of(request).filter(entry__clinic=clinic).exclude(pk=swim.pk),
            "entry": clinic.entries.exclude(pk=swim.entry_id).select_related("swimmer"),
            "act": BoardAct.objects.filter(clinic=clinic),
        }
        for name, queryset in sets.items():
            self.fields[name].queryset = queryset  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        needed = {"swap": "other", "theirs": "entry", "undo": "act"}.get(said.get("do", ""))
        if needed and said.get(needed) is None and needed not in self.errors:
            self.add_error(needed, _("Choose who it is."))
        return said

    def said_meanwhile(self, swim: Swim) -> Swim | None:
        """A swim that is somebody else's now than the page said, if the page said whose."""
        other, seen = self.cleaned_data["other"], self.data.getlist("was_other")  # type: ignore[attr-defined]
        if self.cleaned_data["was"] not in ("", str(swim.entry_id)):
            return swim
        return other if other and seen and f"{other.pk}:{other.entry_id}" not in seen else None


@require_POST
def whose(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    swim = get_object_or_404(swims_of(request), pk=pk)
    form = WhoseForm(request, swim)
    if not form.is_valid():
        messages.error(request, " ".join(str(e) for errors in form.errors.values() for e in errors))
        return redirect("clinics:check-swim", pk=swim.pk)
    if changed := form.said_meanwhile(swim):
        words = _("Somebody said meanwhile that this swim is %(name)s's. Look at it again.")
        messages.error(request, words % {"name": changed.entry.swimmer.name})
        return redirect("clinics:check-swim", pk=swim.pk)
    try:
        return _do(request, swim, form.cleaned_data)
    except board.CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
        return redirect("clinics:check-swim", pk=swim.pk)


def _do(request: HttpRequest, swim: Swim, said: dict[str, Any]) -> HttpResponse:
    by, name = me(request), swim.entry.swimmer.name
    if said["do"] == "swap":
        other = said["other"]
        board.swap_swimmers(one=swim, other=other, by=by)
        words = _("%(one)s and %(other)s are swapped. Look who is who once more.")
        messages.success(request, words % {"one": name, "other": other.entry.swimmer.name})
    elif said["do"] == "theirs":
        board.reassign(swim=swim, entry=said["entry"], by=by)
        return after_reassign(request, swim, said["entry"])
    elif said["do"] == "none":
        board.was_no_swim(swim=swim, by=by)
        words = _("%(name)s: no swim. It is off the board; the start log keeps its line.")
        messages.success(request, words % {"name": name})
    else:
        (was,) = told([board.undo(act=said["act"], by=by)])
        messages.success(request, _("Undone: %(sentence)s") % {"sentence": was.sentence})
    return _back(request, swim)


def _back(request: HttpRequest, swim: Swim) -> HttpResponse:
    """To the swim, if it is still there to be seen."""
    if swims_of(request).filter(pk=swim.pk).exists():
        return redirect("clinics:check-swim", pk=swim.pk)
    return redirect("clinics:check", pk=swim.entry.clinic_id)


def after_reassign(request: HttpRequest, swim: Swim, entry: Entry) -> HttpResponse:
    """The swim is looked at anew, as theirs; unless nobody may see it from now on."""
    if swims_of(request).filter(pk=swim.pk).exists():
        words = _("The swim is %(name)s's now. Look at it as theirs.")
        messages.success(request, words % {"name": entry.swimmer})
        return redirect("clinics:check-swim", pk=swim.pk)
    words = _(
        "The swim is %(name)s's now, who does not agree to be filmed: it is hidden from "
        "everybody, and goes in 30 days."
    )
    messages.success(request, words % {"name": entry.swimmer})
    return redirect("clinics:check", pk=entry.clinic_id)


# --- a swim that nobody logged -----------------------------------------------------------------


class AddForm(forms.Form):
    """Whose go it was, and when it started: a time of day, or a frame that shows the start."""

    entry = RowChoiceField(
        Entry.objects.none(),
        label=gettext_lazy("Swimmer"),
        error_messages={"required": gettext_lazy("Choose who swam.")},
    )
    time = forms.CharField(required=False, max_length=40, label=gettext_lazy("Time of the start"))
    recording = RowChoiceField(
        Recording.objects.none(), required=False, label=gettext_lazy("Recording")
    )
    frame = forms.IntegerField(required=False, min_value=0, label=gettext_lazy("Frame"))

    def __init__(self, request: HttpRequest, clinic: Clinic) -> None:
        super().__init__(request.POST or None, initial=request.GET.dict())
        self.clinic = clinic
        entries = clinic.entries.select_related("swimmer").order_by("number")
        takes = Recording.objects.handled_by(me(request)).filter(station__clinic=clinic)
        self.fields["entry"].queryset = entries  # type: ignore[attr-defined]
        recordings = takes.select_related("station", "camera").order_by("station__order", "order")
        self.fields["recording"].queryset = recordings  # type: ignore[attr-defined]

    def clean_time(self) -> Any:
        """As in a start log: "10:15:32.5" on the day of the clinic, or a whole ISO instant."""
        text = self.cleaned_data["time"].strip()
        if not text:
            return None
        wrong: list[str] = []
        of_day = text if "-" in text else f"{self.clinic.date.isoformat()}T{text}"
        instant = read_instant(of_day, self.clinic.zone, wrong.append)
        if instant is None:
            told = in_words(BadInput([("", sentence) for sentence in wrong]))
            raise forms.ValidationError(told.lines())
        return instant

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        has_time, has_frame = said.get("time") is not None, said.get("recording") is not None
        if not self.errors and has_time == has_frame:
            told = _("Give either the time of the start, or a recording and the frame.")
            self.add_error("time", told)
        return said


def add_swim(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A second go, or one that nobody logged."""
    clinics = Clinic.objects.checked_by(me(request)).select_related("club")
    clinic = get_object_or_404(clinics, pk=pk)
    form = AddForm(request, clinic)
    if request.method == "POST" and form.is_valid():
        try:
            return _add(request, form)
        except board.CheckRefused as refusal:
            form.add_error(None, " ".join(refusal.reasons))
    with timezone.override(clinic.zone):
        return render(request, "clinics/check_add_swim.html", {"clinic": clinic, "form": form})


def _add(request: HttpRequest, form: AddForm) -> HttpResponse:
    said = form.cleaned_data
    act = board.add_swim(
        entry=said["entry"],
        instant=said["time"],
        recording=said["recording"],
        frame=said["frame"],
        by=me(request),
    )
    swim = swims_of(request).filter(pk=act.facts["swim"]).first()
    words = _("%(name)s: a swim is added. Its clips are being cut.")
    messages.success(request, words % {"name": said["entry"].swimmer.name})
    if swim is None:  # the swimmer does not agree to be filmed
        return redirect("clinics:check", pk=form.clinic.pk)
    return redirect("clinics:check-swim", pk=swim.pk)
