"""My phrases: each coach has their own, and uses them in the form."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from feedback.actions import phrases
from feedback.models import Comment, Phrase
from portal.models import AuditEntry
from tests.cast import Cast, sign_in


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def test_a_coach_adds_changes_and_removes_phrases(cast: Cast) -> None:
    client = sign_in(Client(), cast.coach)
    page = reverse("feedback:phrases")
    client.post(page, {"text": "Push out level.", "phase": "push-off"})
    client.post(page, {"text": "Push out level.", "phase": ""})  # once
    phrase = Phrase.objects.get()
    assert (phrase.coach, phrase.phase) == (cast.coach, "push-off")
    body = client.get(page).content.decode()
    assert "Push out level." in body and "used 0 times" in body
    own = reverse("feedback:phrase", args=[phrase.pk])
    client.post(own, {"text": "Push out deeper.", "phase": "turn"})
    phrase.refresh_from_db()
    assert (phrase.text, phrase.phase) == ("Push out deeper.", "turn")
    client.post(reverse("feedback:phrase-remove", args=[phrase.pk]))
    assert not Phrase.objects.exists()
    actions = AuditEntry.objects.filter(action__startswith="phrase-").order_by("seq")
    assert [entry.action for entry in actions] == [
        "phrase-kept",
        "phrase-changed",
        "phrase-removed",
    ]
    assert not any("Push" in entry.text for entry in actions)


@pytest.mark.parametrize("text", ["  ", "x" * 401])
def test_a_phrase_that_is_not_accepted_says_why_and_stays_in_the_form(
    cast: Cast, text: str
) -> None:
    client = sign_in(Client(), cast.coach)
    answer = client.post(reverse("feedback:phrases"), {"text": text})
    assert answer.status_code == 422
    assert 'class="errorlist"' in answer.content.decode()
    assert text.strip() in answer.content.decode()
    assert not Phrase.objects.exists()


def test_one_cannot_become_the_other(cast: Cast) -> None:
    one, other = (phrases.keep_phrase(by=cast.coach, text=text) for text in ("Level.", "Long."))
    client = sign_in(Client(), cast.coach)
    answer = client.post(reverse("feedback:phrase", args=[one.pk]), {"text": "Long."})
    assert answer.status_code == 422
    assert "You have this phrase already." in answer.content.decode()
    assert sorted(Phrase.objects.values_list("text", flat=True)) == ["Level.", "Long."]
    assert other.text == "Long."


def test_nobody_sees_or_uses_the_phrases_of_another(cast: Cast) -> None:
    mine = phrases.keep_phrase(by=cast.coach, text="Push out level.")
    theirs = phrases.keep_phrase(by=cast.other_coach, text="Chin down.")
    client = sign_in(Client(), cast.other_coach)
    assert "Push out" not in client.get(reverse("feedback:phrases")).content.decode()
    assert client.get(reverse("feedback:phrase", args=[mine.pk])).status_code == 404
    assert client.post(reverse("feedback:phrase-remove", args=[mine.pk])).status_code == 404
    swim = cast.swims["tomas"]
    coach = sign_in(Client(), cast.coach)
    say = reverse("feedback:say", args=[swim.pk])
    body = coach.post(say, {"text": "", "phrase": str(theirs.pk)}).content.decode()
    assert "Chin down." not in body
    coach.post(say, {"text": "Look.", "used": [str(theirs.pk), "nonsense"]})
    theirs.refresh_from_db()
    assert theirs.used_count == 0
    page = sign_in(Client(), cast.tomas).get(reverse("feedback:swim", args=[swim.pk]))
    assert "Push out level." not in page.content.decode()


def test_without_script_a_phrase_is_put_to_the_words_and_counted_when_said(cast: Cast) -> None:
    phrase = phrases.keep_phrase(by=cast.coach, text="Push out level.", phase="push-off")
    swim = cast.swims["tomas"]
    client = sign_in(Client(), cast.coach)
    say = reverse("feedback:say", args=[swim.pk])
    answer = client.post(say, {"text": "Well timed.", "phrase": str(phrase.pk)})
    body = answer.content.decode()
    assert answer.status_code == 200
    assert "Well timed.\nPush out level." in body
    assert '<option value="push-off" selected>' in body
    assert f'<input type="hidden" name="used" value="{phrase.pk}">' in body
    assert not Comment.objects.exists()
    told = {"text": "Well timed.\nPush out level.", "phase": "push-off", "used": str(phrase.pk)}
    client.post(say, told)
    phrase.refresh_from_db()
    assert phrase.used_count == 1
    assert Comment.objects.get().phase == "push-off"


def test_words_are_kept_as_a_phrase_from_the_form(cast: Cast) -> None:
    client = sign_in(Client(), cast.coach)
    say = reverse("feedback:say", args=[cast.swims["tomas"].pk])
    client.post(say, {"text": "Chin down.", "phase": "flight", "keep": "on"})
    kept = Phrase.objects.get()
    assert (kept.text, kept.phase, kept.coach) == ("Chin down.", "flight", cast.coach)
    answer = client.post(say, {"text": "x" * 401, "keep": "on"})
    assert answer.status_code == 422
    assert "A phrase has at most 400 letters." in answer.content.decode()
    assert Comment.objects.count() == 1
    swimmer = sign_in(Client(), cast.tomas)
    swimmer.post(say, {"text": "My own words.", "keep": "on"})
    assert Phrase.objects.count() == 1
