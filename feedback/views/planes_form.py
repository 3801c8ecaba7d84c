"""What a browser says of marks of known place: on which frame of which view, for which frames
they hold, and the marks. No time, no size of the picture: those are looked up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.compute.errors import BadInput
from clinics.models import Clip
from clinics.views.words import in_words
from feedback.actions.planes_place import Span, moves
from feedback.compute.measuring.plane_marks import read_marks
from feedback.models import PicturePlane
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from clinics.models import Swim
    from feedback.views.room_data import StationView

MOST_LETTERS = 20_000  # forty marks as numbers in full
SPANS = (
    (Span.WHOLE, gettext_lazy("the whole recording")),
    (Span.ON, gettext_lazy("from here on")),
    (Span.UNTIL, gettext_lazy("until here")),
    (Span.FRAME, gettext_lazy("this frame only")),
)
NOT_CLEAR = gettext_lazy("It is not clear which picture this is for. Open the swim again.")
NOT_READ = gettext_lazy("The marks could not be read. Set them again.")


class _MarksField(forms.JSONField):
    def to_python(self, value: Any) -> Any:
        """Nested without end, or a number of thousands of digits: unreadable as well."""
        if isinstance(value, str) and len(value) > MOST_LETTERS:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        try:
            return super().to_python(value)
        except (RecursionError, ValueError):
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from None


class OnFrame(forms.Form):
    clip = RowChoiceField(
        Clip.objects.none(),
        error_messages={
            "required": NOT_CLEAR,
            "invalid_choice": gettext_lazy("That view is no longer there. Open the swim again."),
        },
    )
    frame = forms.IntegerField(
        min_value=0,
        error_messages={"required": NOT_CLEAR, "invalid": NOT_CLEAR, "min_value": NOT_CLEAR},
    )

    def __init__(self, *args: Any, swim: Swim, views: list[StationView]) -> None:
        """`views`: those that the fence let through."""
        super().__init__(*args)
        self._views = {view.clip.pk: view for view in views}
        self._course_m = swim.entry.clinic.course_m
        clips = Clip.objects.filter(pk__in=self._views, swim=swim)
        clips = clips.select_related("recording", "station")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame = told.get("clip"), told.get("frame")
        if clip is not None and frame is not None and frame >= clip.frame_count:
            says = _("This view has %(count)d frames; choose one of them.")
            self.add_error("frame", says % {"count": clip.frame_count})
        return told

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]


class PlaneForm(OnFrame):
    span = forms.ChoiceField(
        choices=SPANS,
        error_messages={
            "required": gettext_lazy("Say for which frames it holds."),
            "invalid_choice": gettext_lazy("Say for which frames it holds."),
        },
    )
    lies = forms.ChoiceField(
        choices=PicturePlane.Lies,
        error_messages={
            "required": gettext_lazy("Say whether the plane lies on the water or stands upright."),
            "invalid_choice": gettext_lazy(
                "Say whether the plane lies on the water or stands upright."
            ),
        },
    )
    distance_m = forms.FloatField(
        required=False,
        min_value=0.3,
        max_value=100,
        error_messages={
            "invalid": gettext_lazy("Camera to plane: a number of metres, such as 8."),
            "min_value": gettext_lazy("Camera to plane: from 0.3 m to 100 m."),
            "max_value": gettext_lazy("Camera to plane: from 0.3 m to 100 m."),
        },
    )
    marks = _MarksField(error_messages={"required": NOT_READ, "invalid": NOT_READ})
    only_look = forms.BooleanField(required=False)  # says what there would be, saves nothing

    def clean(self) -> dict[str, Any]:
        told = super().clean()
        clip = told.get("clip")
        if clip is None:
            return told
        view = self._views[clip.pk]
        if not view.videos:
            self.add_error("clip", _("This view has no picture yet. Wait until it is made."))
        told["size_px"] = (view.width_px, view.height_px)
        if moves(clip.station) and told.get("span") not in {None, Span.FRAME}:
            self.add_error("span", walks_words())
        if "marks" in told and "lies" in told:
            self._clean_marks(told)
        return told

    def _clean_marks(self, told: dict[str, Any]) -> None:
        upright = told["lies"] == PicturePlane.Lies.UPRIGHT
        try:
            told["marks"] = read_marks(told["marks"], course_m=self._course_m, upright=upright)
        except BadInput as bad:
            for line in in_words(bad).lines():
                self.add_error("marks", line)


class ReadForm(OnFrame):
    """One point of the picture, or two."""

    x = forms.FloatField(min_value=0, max_value=1)
    y = forms.FloatField(min_value=0, max_value=1)
    x2 = forms.FloatField(min_value=0, max_value=1, required=False)
    y2 = forms.FloatField(min_value=0, max_value=1, required=False)

    def sentences(self) -> list[str]:
        if {"x", "y", "x2", "y2"} & set(self.errors):
            return [_("That point is not within the picture. Tap it again.")]
        return super().sentences()


def walks_words() -> str:
    return _(
        "This camera walks along or is held by hand, so its picture moves: metres set in it hold "
        "on this frame only, and nothing is assumed in the others. For the rest of the pass, mark "
        "the head at a distance where the picture shows the line."
    )
