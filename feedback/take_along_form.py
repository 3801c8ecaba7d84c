"""What a browser says of a still, a row of stills or a film: views and frames, never times."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Clip
from feedback.compute.take_along import (
    FEWEST_STILLS,
    MOST_STILLS,
    MOST_VIEWS,
    RATES,
    Kind,
    Spec,
    SpecWrong,
)
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import QueryDict

    from clinics.models import Swim
    from portal.models import User

_NO_PICTURE = gettext_lazy("It is not clear which picture is meant. Stop at a frame first.")
_GONE = gettext_lazy("That view is no longer there. Open the swim again.")


class TakeAlongForm(forms.Form):
    """`clip` leads; `clips` are the views on stage, of which a film shows four at most. What is
    wrong is said in whole sentences (`sentences`); `spec` is what is asked for."""

    kind = forms.ChoiceField(choices=[(kind.value, kind.value) for kind in Kind])
    clip = RowChoiceField(
        Clip.objects.none(), error_messages={"required": _NO_PICTURE, "invalid_choice": _GONE}
    )
    clips = forms.ModelMultipleChoiceField(
        Clip.objects.none(), required=False, error_messages={"invalid_choice": _GONE}
    )
    frame = forms.IntegerField(min_value=0, required=False)
    from_frame = forms.IntegerField(min_value=0, required=False)
    to_frame = forms.IntegerField(min_value=0, required=False)
    count = forms.IntegerField(min_value=FEWEST_STILLS, max_value=MOST_STILLS, required=False)
    rate = forms.ChoiceField(choices=[(rate, rate) for rate in RATES], required=False)
    drawings = forms.BooleanField(required=False)
    named = forms.BooleanField(required=False)
    for_swimmer = forms.BooleanField(required=False)

    def __init__(
        self, data: QueryDict, *, swim: Swim, user: User, names: Mapping[str, str], coaching: bool
    ) -> None:
        super().__init__(data)
        self.names, self.coaching = names, coaching
        self.posted = data.getlist("clips")  # in the order in which they stand on stage
        clips = Clip.objects.visible_to(user).filter(swim=swim)
        for field in ("clip", "clips"):
            self.fields[field].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        told["for_swimmer"] = bool(told.get("for_swimmer")) and self.coaching
        if not self.errors:
            self._need_frames(told)
        if not self.errors:
            try:
                told["spec"] = self._spec(told)
            except SpecWrong:
                self.add_error(None, _("That cannot be made. Choose the frames again."))
        return told

    def _need_frames(self, told: dict[str, Any]) -> None:
        count, still = told["clip"].frame_count, told["kind"] == Kind.STILL
        asked = [told["frame"]] if still else [told["from_frame"], told["to_frame"]]
        if any(frame is None for frame in asked):
            self.add_error("clip", str(_NO_PICTURE))
        elif max(asked) >= count:
            said = _("This view has %(count)d frames; choose one of them.")
            self.add_error("clip", said % {"count": count})
        elif not still:
            self._need_span(told, asked[1] - asked[0] + 1)

    def _need_span(self, told: dict[str, Any], frames: int) -> None:
        if frames < 2:
            self.add_error(
                "to_frame", _("It ends before it begins. Set where it begins and ends again.")
            )
        elif told["kind"] == Kind.ROW and frames < (told["count"] or FEWEST_STILLS):
            said = _("There are %(frames)d frames between these two: ask for fewer stills.")
            self.add_error("count", said % {"frames": frames})

    def _spec(self, told: dict[str, Any]) -> Spec:
        kind, leading = Kind(told["kind"]), str(told["clip"].pk)
        keys = [leading]
        if kind is Kind.FILM:
            chosen = {str(clip.pk) for clip in told["clips"]}
            posted = [key for key in self.posted if key in chosen]
            keys = list(dict.fromkeys([leading, *posted]))[:MOST_VIEWS]
        still = kind is Kind.STILL
        return Spec(
            kind=kind,
            clips=tuple(keys),
            names=tuple(self.names.get(key, "") for key in keys),
            from_frame=told["frame"] if still else told["from_frame"],
            to_frame=told["frame"] if still else told["to_frame"],
            count=(told["count"] or FEWEST_STILLS) if kind is Kind.ROW else 1,
            rate=(told["rate"] or "1") if kind is Kind.FILM else "1",
            drawings=told["drawings"] and kind is not Kind.FILM,
            named=told["named"],
        )

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]
