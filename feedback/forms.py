"""What people write about a swim."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.models import Clip
from feedback.models import Comment

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User


class WordsForm(forms.Form):
    """Words alone: a reply, an edit."""

    text = forms.CharField(
        label=_("Your words"),
        max_length=Comment._meta.get_field("text").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={
            "required": _("Write something first."),
            "max_length": _("That is too long: %(show_value)s of at most %(limit_value)s letters."),
        },
    )


class SayForm(WordsForm):
    """Words at a frame. The browser says which frame of which clip was on screen, never when
    that was: the time is looked up from the recording."""

    clip = forms.ModelChoiceField(
        Clip.objects.none(),
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": _("That view is no longer there. Open the swim again.")},
    )
    frame = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)
    whole = forms.BooleanField(label=_("About the whole swim"), required=False)

    def __init__(self, *args: Any, swim: Swim, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame = told.get("clip"), told.get("frame")
        if told.get("whole"):
            told["clip"] = told["frame"] = None
        elif (clip is None) != (frame is None) and not self.errors:
            raise forms.ValidationError(
                _("It is not clear which picture this is about. Open the swim again.")
            )
        elif clip is not None and frame is not None and frame >= clip.frame_count:
            raise forms.ValidationError(
                _("This view has %(count)d frames; choose one of them.")
                % {"count": clip.frame_count}
            )
        return told
