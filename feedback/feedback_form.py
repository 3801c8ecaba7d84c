"""One thing to try, and up to three points."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from feedback.actions.feedback import MOST_POINTS
from feedback.models import Feedback

TOO_LONG = _("That is too long: %(show_value)s of at most %(limit_value)s letters.")
POINT_LENGTH = 200


class Sentence(forms.CharField):
    """Words on one line, whatever way they were typed."""

    def to_python(self, value: Any) -> str:
        return " ".join((super().to_python(value) or "").split())


class FeedbackForm(forms.Form):
    """What the coaches of a swim write together. `stamp` says which version was on the page."""

    one_thing = Sentence(
        label=_("One thing to try"),
        required=False,
        max_length=Feedback._meta.get_field("one_thing").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": TOO_LONG},
    )
    stamp = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in range(1, MOST_POINTS + 1):
            self.fields[f"point_{number}"] = Sentence(
                label=_("Point %(number)d") % {"number": number},
                required=False,
                max_length=POINT_LENGTH,
                error_messages={"max_length": TOO_LONG},
            )

    @classmethod
    def of(cls, words: Feedback | None, stamp: str) -> FeedbackForm:
        """The form with what stands there now."""
        points = words.points if words else []
        told = {f"point_{number}": point for number, point in enumerate(points, start=1)}
        one_thing = words.one_thing if words else ""
        return cls(initial={"one_thing": one_thing, "stamp": stamp, **told})

    def point_fields(self) -> list[forms.BoundField]:
        return [self[f"point_{number}"] for number in range(1, MOST_POINTS + 1)]

    def points(self) -> list[str]:
        """The points that say something, in their order."""
        told = [self.cleaned_data[f"point_{number}"] for number in range(1, MOST_POINTS + 1)]
        return [point for point in told if point]
