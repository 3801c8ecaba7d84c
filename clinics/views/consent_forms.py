"""The form with which a swimmer answers: one unticked box for each purpose."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from clinics.actions.consent_answers import Answers
from clinics.actions.consent_questions import Question

LANGUAGES = [code for code, _name in settings.LANGUAGES]


def language_now() -> str:
    """The language of the page, as far as there are texts in it."""
    code = (get_language() or settings.LANGUAGE_CODE).split("-")[0]
    return code if code in LANGUAGES else LANGUAGES[0]


class AnswerForm(forms.Form):
    """What is not ticked is a no. `versions` say which texts were on the page, so that what is
    recorded is what was read, even if the club publishes another meanwhile."""

    adult = forms.BooleanField(label=_("I am 18 or older."), required=False)
    language = forms.ChoiceField(choices=settings.LANGUAGES, widget=forms.HiddenInput)

    def __init__(
        self, data: Any, *, questions: Iterable[Question], ask_adult: bool = False, **more: Any
    ) -> None:
        self.questions = list(questions)
        super().__init__(data, initial={"language": language_now()}, **more)
        if not ask_adult:
            del self.fields["adult"]
        for question in self.questions:
            self.fields[question.purpose] = forms.BooleanField(
                required=False, label=question.sentence
            )
            self.fields[f"version-{question.purpose}"] = forms.IntegerField(
                min_value=1, initial=question.version, widget=forms.HiddenInput
            )

    def rows(self) -> list[tuple[Question, forms.BoundField, forms.BoundField]]:
        """For the template: each question with its box and its version."""
        return [(q, self[q.purpose], self[f"version-{q.purpose}"]) for q in self.questions]

    def answers(self) -> Answers:
        said = self.cleaned_data
        return Answers(
            choices={question.purpose: said[question.purpose] for question in self.questions},
            versions={q.purpose: said[f"version-{q.purpose}"] for q in self.questions},
            language=said["language"],
            adult=bool(said.get("adult")),
        )
