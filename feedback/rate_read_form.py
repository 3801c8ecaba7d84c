"""What a browser says of a reading of the stroke rate: a view, frames and a box, never times."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Clip, Entry
from feedback.actions.rate_read import Span
from feedback.compute.measuring.medley import MEDLEY
from feedback.compute.rate_read.film import LONGEST_S, Box
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from django.http import QueryDict

    from clinics.models import Swim
    from portal.models import User

STROKES = [one for one in Entry.Stroke.choices if one[0] != MEDLEY]
LEAST_SIDE = 0.03  # of the picture: a swimmer smaller than this shows no arms
BOX = ("box_x", "box_y", "box_width", "box_height")

_GONE = gettext_lazy("That view is no longer there. Open the swim again.")
_OFF = gettext_lazy("The box is not in the picture. Set it again.")


def _share() -> forms.FloatField:
    wrong = dict.fromkeys(("invalid", "min_value", "max_value"), _OFF)
    return forms.FloatField(required=False, min_value=0, max_value=1, error_messages=wrong)


class RateReadForm(forms.Form):
    """Without frames the whole view is read. What is wrong is said in whole sentences
    (`sentences`); `span` is what is asked for."""

    clip = RowChoiceField(
        Clip.objects.none(), error_messages={"required": _GONE, "invalid_choice": _GONE}
    )
    stroke = forms.ChoiceField(
        choices=STROKES,
        error_messages={
            "required": gettext_lazy("Say which stroke is swum: it says what a cycle is."),
            "invalid_choice": gettext_lazy("Say which stroke is swum: it says what a cycle is."),
        },
    )
    from_frame = forms.IntegerField(min_value=0, required=False)
    to_frame = forms.IntegerField(min_value=0, required=False)
    box_frame = forms.IntegerField(min_value=0, required=False)
    box_x, box_y, box_width, box_height = _share(), _share(), _share(), _share()

    def __init__(self, data: QueryDict, *, swim: Swim, user: User) -> None:
        super().__init__(data)
        clips = Clip.objects.visible_to(user).filter(swim=swim)
        self.fields["clip"].queryset = clips.select_related(  # type: ignore[attr-defined]
            "swim", "station", "recording__clock_fit"
        )

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if not self.errors:
            told["span"] = self._span(told)
        return told

    def _span(self, told: dict[str, Any]) -> Span | None:
        clip = told["clip"]
        first, last = told["from_frame"], told["to_frame"]
        first = 0 if first is None else first
        last = clip.frame_count - 1 if last is None else last
        frame_s = (clip.out_ticks - clip.in_ticks) / 90_000 / clip.frame_count
        if max(first, last) >= clip.frame_count:
            self._say(_("This view has %(count)d frames; choose one of them."), clip.frame_count)
        elif last <= first:
            self._say(_("It ends before it begins. Set where it begins and ends again."))
        elif (last - first) * frame_s > LONGEST_S:
            self._say(
                _("At most %(count)d s are read at once. Set a loop around the strokes."),
                round(LONGEST_S),
            )
        box = self._box(told)
        if self.errors:
            return None
        if box is not None and not first <= (told["box_frame"] or 0) <= last:
            self._say(_("The box stands on a frame outside what is read. Set it again."))
        return Span(first, last, box, (told["box_frame"] or 0) if box else None)

    def _box(self, told: dict[str, Any]) -> Box | None:
        sides = [told[name] for name in BOX]
        if all(side is None for side in sides):
            return None
        if any(side is None for side in sides) or told["box_frame"] is None:
            self._say(_("The box is not whole. Set it again."))
            return None
        box = Box(*sides)
        if box.x + box.width > 1.001 or box.y + box.height > 1.001:
            self._say(str(_OFF))
        if min(box.width, box.height) < LEAST_SIDE:
            self._say(_("The box is too small. Set it around the whole swimmer, arms included."))
        return box

    def _say(self, sentence: str, count: int = 0) -> None:
        self.add_error(None, sentence % {"count": count})

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]
