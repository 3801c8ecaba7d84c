"""What a browser says of a drawing: on which frame of which view, and its points. No time, no
size: those are looked up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Clip
from feedback.actions.frames import frame_at
from feedback.compute.drawing import Fault, PointsWrong, clean_points
from feedback.models import Comment, Drawing
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from clinics.models import Swim
    from feedback.views.room_data import StationView
    from portal.models import User

MOST_LETTERS = 40_000  # 500 points as numbers in full


def fault_words(fault: Fault) -> str:
    """Why these points are no such drawing, to the person who drew it."""
    return {
        Fault.KIND: _("Kind: that is nothing that can be drawn."),
        Fault.COUNT: _("Points: this drawing has too few or too many of them. Draw it again."),
        Fault.NUMBER: _("Points: each is two numbers, across and down. Draw it again."),
        Fault.OUTSIDE: _("Points: some lie outside of the picture. Draw it again."),
        Fault.TINY: _("Points: they lie too close together to be seen. Draw it larger."),
    }[fault]


class _Sentences(forms.Form):
    def sentences(self) -> dict[str, list[str]]:
        return {name: [str(said) for said in errors] for name, errors in self.errors.items()}


class PointsField(forms.JSONField):
    def to_python(self, value: Any) -> Any:
        """Nested without end, or a number of thousands of digits: unreadable as well."""
        if isinstance(value, str) and len(value) > MOST_LETTERS:
            raise forms.ValidationError(self.error_messages["too_long"], code="too_long")
        try:
            return super().to_python(value)
        except (RecursionError, ValueError):
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from None


def _clip_field() -> RowChoiceField:
    return RowChoiceField(
        Clip.objects.none(),
        error_messages={
            "required": gettext_lazy("View: it is not clear which picture this is on."),
            "invalid_choice": gettext_lazy("View: it is no longer there. Open the swim again."),
        },
    )


def _until_field(*, required: bool) -> forms.IntegerField:
    return forms.IntegerField(
        required=required,
        min_value=0,
        error_messages={
            "required": gettext_lazy("Last frame: say until which one it stands."),
            "invalid": gettext_lazy("Last frame: it is a whole number."),
            "min_value": gettext_lazy("Last frame: it comes after the first one."),
        },
    )


def _too_late(clip: Clip) -> str:
    return _("Last frame: %(count)s") % {"count": _count(clip)}


def _count(clip: Clip) -> str:
    return _("this view has %(count)d of them.") % {"count": clip.frame_count}


class MoveForm(_Sentences):
    points = PointsField(
        error_messages={
            "required": gettext_lazy("Points: there are none. Draw it again."),
            "invalid": gettext_lazy("Points: they could not be read. Draw it again."),
            "too_long": gettext_lazy("Points: there are too many of them. Draw it again."),
        },
    )


class StandForm(_Sentences):
    """Until which frame of which view a drawing stands."""

    clip = _clip_field()
    until_frame = _until_field(required=True)

    def __init__(self, *args: Any, drawing: Drawing, user: User) -> None:
        super().__init__(*args)
        clips = Clip.objects.visible_to(user).filter(
            swim=drawing.swim_id, recording=drawing.recording_id
        )
        self.fields["clip"].queryset = clips.select_related("recording")  # type: ignore[attr-defined]
        self._pts_ticks = drawing.pts_ticks

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, until = told.get("clip"), told.get("until_frame")
        if clip is None or until is None:
            return told
        begun = frame_at(clip, self._pts_ticks)
        if until >= clip.frame_count:
            self.add_error("until_frame", _too_late(clip))
        elif begun is not None and until < begun:
            self.add_error("until_frame", _("Last frame: it comes after the first one."))
        return told


class DrawForm(MoveForm):
    clip = _clip_field()
    frame = forms.IntegerField(
        min_value=0,
        error_messages={
            "required": gettext_lazy("Frame: it is not clear which picture this is on."),
            "invalid": gettext_lazy("Frame: it is a whole number."),
            "min_value": gettext_lazy("Frame: the first one is number 0."),
        },
    )
    until_frame = _until_field(required=False)
    kind = forms.ChoiceField(
        choices=Drawing.Kind,
        error_messages={
            "required": gettext_lazy("Kind: say what is drawn."),
            "invalid_choice": gettext_lazy("Kind: that is nothing that can be drawn."),
        },
    )
    straight = forms.BooleanField(required=False)
    colour = forms.ChoiceField(
        choices=Drawing.Colour,
        error_messages={
            "required": gettext_lazy("Colour: choose one."),
            "invalid_choice": gettext_lazy("Colour: that is none of the four."),
        },
    )
    comment = RowChoiceField(
        Comment.objects.none(),
        required=False,
        error_messages={"invalid_choice": gettext_lazy("Comment: it is no longer there.")},
    )
    for_coaches = forms.BooleanField(required=False)
    key = forms.UUIDField(
        required=False, error_messages={"invalid": gettext_lazy("Key: it could not be read.")}
    )

    def __init__(self, *args: Any, swim: Swim, user: User, views: list[StationView]) -> None:
        super().__init__(*args)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        own = Comment.objects.visible_to(user).filter(swim=swim, author=user)
        own = own.filter(taken_back_at__isnull=True)
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]
        self.fields["comment"].queryset = own  # type: ignore[attr-defined]
        self._views = {view.clip.pk: view for view in views}

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame, until = told.get("clip"), told.get("frame"), told.get("until_frame")
        if clip is not None and (view := self._views.get(clip.pk)) is not None and view.videos:
            told |= {"width_px": view.width_px, "height_px": view.height_px}
            self._clean_points(told)
        elif clip is not None:
            self.add_error("clip", _("View: it has no picture yet. Wait until it is made."))
        if clip is not None:
            if frame is not None and frame >= clip.frame_count:
                self.add_error("frame", _("Frame: %(count)s") % {"count": _count(clip)})
            if until is not None and until >= clip.frame_count:
                self.add_error("until_frame", _too_late(clip))
        if frame is not None and until is not None and until < frame:
            self.add_error("until_frame", _("Last frame: it comes after the first one."))
        return told

    def _clean_points(self, told: dict[str, Any]) -> None:
        if "points" not in told or "kind" not in told:
            return
        size = (told["width_px"], told["height_px"])
        try:
            clean_points(told["kind"], told["points"], told["straight"], *size)
        except PointsWrong as wrong:
            self.add_error("points", fault_words(wrong.fault))

    def told(self) -> dict[str, Any]:
        return dict(self.cleaned_data)
