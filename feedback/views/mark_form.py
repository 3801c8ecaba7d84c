"""What a mark is asked for: its event and frame, its distance, where in the picture it is."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.models import Clip, Swim
from feedback.models import Mark
from portal.models import User
from portal.row_field import RowChoiceField

# events whose distance somebody may read off, as buttons beside it
AT_A_DISTANCE = {
    Mark.Kind.HEAD_AT_DISTANCE: _("head passes"),
    Mark.Kind.BREAKOUT: _("breakout"),
    Mark.Kind.FIRST_ENTRY: _("entry"),
}
OFF_PICTURE = dict.fromkeys(
    ("invalid", "min_value", "max_value"),
    _("That place is not in the picture. Tap on the picture again."),
)
NO_DISTANCE = _("Say at which distance the head is, in metres, or where it is in the picture.")
U95 = 1.959964  # of a normal error: half the width that holds 95 of 100 cases


class MarkForm(forms.Form):
    """Which event, on which frame of which view. No time: that is looked up. `plus_minus_m`: the
    distance is within ± this in 95 of 100 cases."""

    clip = RowChoiceField(
        Clip.objects.none(),
        error_messages={
            "required": _("It is not clear which picture this mark is for. Open the swim again."),
            "invalid_choice": _("That view is no longer there. Open the swim again."),
        },
    )
    frame = forms.IntegerField(
        min_value=0,
        error_messages={
            "required": _("It is not clear which picture this mark is for. Stop at a frame first."),
        },
    )
    kind = forms.ChoiceField(
        choices=Mark.Kind,
        error_messages={
            "required": _("Say which event this is."),
            "invalid_choice": _("That is none of the events that can be marked."),
        },
    )
    distance_m = forms.FloatField(
        required=False,
        min_value=0.5,
        max_value=1500,
        error_messages={
            "invalid": _("The distance is a number of metres, such as 15."),
            "min_value": _("The distance is counted from the start wall, and at least 0.5 m."),
            "max_value": _("The distance is at most 1500 m."),
        },
    )
    plus_minus_m = forms.FloatField(
        required=False,
        min_value=0,
        max_value=50,
        error_messages={
            "invalid": _("The ± of the distance is a number of metres, such as 0.5."),
            "min_value": _("The ± of the distance is 0 m or more."),
            "max_value": _("The ± of the distance is at most 50 m."),
        },
    )
    x = forms.FloatField(required=False, min_value=0, max_value=1, error_messages=OFF_PICTURE)
    y = forms.FloatField(required=False, min_value=0, max_value=1, error_messages=OFF_PICTURE)

    def __init__(self, *args: Any, swim: Swim, user: User) -> None:
        super().__init__(*args)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame = told.get("clip"), told.get("frame")
        if clip is not None and frame is not None and frame >= clip.frame_count:
            self.add_error(
                "frame",
                _("This view has %(count)d frames; choose one of them.")
                % {"count": clip.frame_count},
            )
        if not {"x", "y"} & set(self.errors) and (told["x"] is None) != (told["y"] is None):
            self.add_error("x", OFF_PICTURE["invalid"])
        self._at_a_distance(told)
        return told

    def _at_a_distance(self, told: dict[str, Any]) -> None:
        kind, distance_m = told.get("kind"), told.get("distance_m")
        if kind not in AT_A_DISTANCE:
            told["distance_m"] = told["plus_minus_m"] = None
        elif distance_m is None and "distance_m" not in self.errors:
            if told.get("plus_minus_m") is not None:
                self.add_error("distance_m", _("Say the distance to which this ± belongs."))
            elif kind == Mark.Kind.HEAD_AT_DISTANCE and told.get("x") is None:
                self.add_error("distance_m", NO_DISTANCE)

    def placed(self) -> dict[str, float | None]:
        """As feedback.actions.mark.Placed has it."""
        told = self.cleaned_data
        half_m = told["plus_minus_m"]
        u_m = half_m / U95 if half_m else None
        return {
            "distance_m": told["distance_m"],
            "distance_u_m": u_m,
            "x": told["x"],
            "y": told["y"],
        }

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]
