"""What people write about a swim."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.models import Clip
from feedback.models import Comment, Phase, Phrase
from portal.row_field import RowChoiceField

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User

# What becomes of a coach's words: which button sent the form.
DRAFT, NOW, NOTE = "draft", "now", "note"
VIEW, INSTANT, WHOLE = "view", "instant", "whole"
ABOUT = {
    VIEW: _("this view"),
    INSTANT: _("this instant"),
    WHOLE: _("the whole swim"),
}
PHRASE_LETTERS = Phrase._meta.get_field("text").max_length or 0
TOO_LONG = _("That is too long: %(show_value)s of at most %(limit_value)s letters.")


class PhaseField(forms.TypedChoiceField):
    def __init__(self) -> None:
        choices = [("", _("no phase")), *Phase.choices]
        super().__init__(label=_("Phase"), required=False, choices=choices, empty_value="")


class WordsForm(forms.Form):
    """Words alone: a reply, an edit."""

    text = forms.CharField(
        label=_("Your words"),
        max_length=Comment._meta.get_field("text").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": _("Write something first."), "max_length": TOO_LONG},
    )


class EditForm(WordsForm):
    phase = PhaseField()


class PhraseForm(forms.Form):
    """Words to use again."""

    text = forms.CharField(
        label=_("Your words"),
        max_length=PHRASE_LETTERS,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": _("Write something first."), "max_length": TOO_LONG},
    )
    phase = PhaseField()


class SayForm(WordsForm):
    """Words at a frame, or over a span. The browser says which frames of which clip were on
    screen, never when that was: the time is looked up from the recording."""

    clip = RowChoiceField(
        Clip.objects.none(),
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": _("That view is no longer there. Open the swim again.")},
    )
    frame = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)
    until_frame = forms.IntegerField(label=_("until frame"), required=False, min_value=0)
    about = forms.ChoiceField(label=_("About"), required=False, choices=list(ABOUT.items()))
    phase = PhaseField()
    keep = forms.BooleanField(label=_("Keep these words as a phrase"), required=False)

    def __init__(self, *args: Any, swim: Swim, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if told.get("keep") and len(told.get("text", "")) > PHRASE_LETTERS:
            self.add_error(
                "keep", _("A phrase has at most %(most)d letters.") % {"most": PHRASE_LETTERS}
            )
        if told.get("about") == WHOLE:
            told["clip"] = told["frame"] = told["until_frame"] = None
        elif not self.errors:
            self._check_frames(told)
        return told

    def _check_frames(self, told: dict[str, Any]) -> None:
        clip, frame, until = told.get("clip"), told.get("frame"), told.get("until_frame")
        if (clip is None) != (frame is None) or (until is not None and frame is None):
            raise forms.ValidationError(
                _("It is not clear which picture this is about. Open the swim again.")
            )
        if clip is None or frame is None:
            return
        if max(frame, until or 0) >= clip.frame_count:
            raise forms.ValidationError(
                _("This view has %(count)d frames; choose one of them.")
                % {"count": clip.frame_count}
            )
        if until is not None and until < frame:
            raise forms.ValidationError(_("A span ends after it begins."))
        told["until_frame"] = None if until == frame else until

    def anchor(self) -> dict[str, Any]:
        """Of what was accepted: where the words stand."""
        told = self.cleaned_data
        named = {name: told[name] for name in ("clip", "frame", "until_frame", "phase")}
        return {**named, "on_swim": told["clip"] is not None and told["about"] == INSTANT}
