"""What a browser says of points of the body: which points, on which frame of which view. No time,
no size of the picture: those are looked up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Clip
from feedback.compute.measuring.body.points import Fault, PointsWrong, cleaned
from feedback.drawing_form import PointsField
from feedback.models import BodyPoints
from feedback.views.body_words import point_words
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from clinics.models import Swim
    from feedback.views.room_data import StationView
    from portal.models import User


def fault_words(wrong: PointsWrong) -> str:
    """Why these cannot be points of a body, to the person who set them."""
    which = ", ".join(point_words(name) for name in wrong.names)
    return {
        Fault.NUMBER: _("Points: a place could not be read. Set the points of this frame again."),
        Fault.UNKNOWN: _("Points: no point of the body is called %(which)s. Open the swim again."),
        Fault.OUTSIDE: _("Points: %(which)s lies beyond the picture. Set it again within it."),
        Fault.ONE_PLACE: _(
            "Points: %(which)s are all at one place. Move them apart, or take one of them away."
        ),
        Fault.SHORT_LEVEL: _(
            "Level line: its ends are too close together to be level. Set them further apart."
        ),
        Fault.STEEP_LEVEL: _(
            "Level line: it is steeper than 45°. Set both ends on the water's surface, or on a "
            "line that is level."
        ),
    }[wrong.fault] % {"which": which}


class _Sentences(forms.Form):
    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]


_TABLE_ERRORS = {
    "required": gettext_lazy("Shares of mass: choose one of the tables."),
    "invalid_choice": gettext_lazy("Shares of mass: that is none of the tables."),
}


class TableForm(_Sentences):
    table = forms.ChoiceField(choices=BodyPoints.Table, error_messages=_TABLE_ERRORS)


class BodyForm(_Sentences):
    clip = RowChoiceField(
        Clip.objects.none(),
        error_messages={
            "required": gettext_lazy("View: it is not clear which picture this is on."),
            "invalid_choice": gettext_lazy("View: it is no longer there. Open the swim again."),
        },
    )
    frame = forms.IntegerField(
        min_value=0,
        error_messages={
            "required": gettext_lazy("Frame: stop at a frame first."),
            "invalid": gettext_lazy("Frame: it is a whole number."),
            "min_value": gettext_lazy("Frame: the first one is number 0."),
        },
    )
    points = PointsField(
        required=False,  # none: the last one was taken away
        error_messages={
            "invalid": gettext_lazy("Points: they could not be read. Set them again."),
            "too_long": gettext_lazy("Points: there are too many of them. Set them again."),
        },
    )
    table = forms.ChoiceField(
        choices=BodyPoints.Table, required=False, error_messages=_TABLE_ERRORS
    )

    def __init__(self, *args: Any, swim: Swim, user: User, views: list[StationView]) -> None:
        super().__init__(*args)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]
        self._views = {view.clip.pk: view for view in views}

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame = told.get("clip"), told.get("frame")
        told["table"] = told.get("table") or None
        if clip is not None and frame is not None and frame >= clip.frame_count:
            this = _("Frame: this view has %(count)d frames; choose one of them.")
            self.add_error("frame", this % {"count": clip.frame_count})
        if clip is None:
            return told
        view = self._views.get(clip.pk)
        if view is None or not view.videos:
            self.add_error("clip", _("View: it has no picture yet. Wait until it is made."))
            return told
        told |= {"width_px": view.width_px, "height_px": view.height_px}
        self._clean_points(told)
        return told

    def _clean_points(self, told: dict[str, Any]) -> None:
        if "points" in self.errors:
            return
        if told.get("points") is None:
            self.add_error("points", _("Points: there are none. Set the first one again."))
            return
        try:
            cleaned(told["points"], told["width_px"], told["height_px"])
        except PointsWrong as wrong:
            self.add_error("points", fault_words(wrong))
