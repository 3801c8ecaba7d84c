"""Mail about what is new: one to each person over all their swims, without words or names."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from clinics.models import Consent, Swim
from feedback.actions import look, say, say_again, tell
from feedback.models import Comment, FeedbackSent
from portal.models import Job, OutboxMail, User
from tests.cast import Cast, make_member, make_user
from tests.feedback.words import reply_and_send, say_and_send


def addressees() -> list[str]:
    return sorted(OutboxMail.objects.values_list("to", flat=True))


def another_swim(cast: Cast, swimmer: str = "tomas") -> Swim:
    """A second go of the swimmer, given like the first."""
    first = cast.swims[swimmer]
    given = {"given_at": first.given_at, "given_by": cast.coach}
    checked = {"passed_at": first.passed_at, "others_recorded_at": first.others_recorded_at}
    return Swim.objects.create(
        entry=first.entry,
        go=2,
        start_at=first.start_at + dt.timedelta(minutes=9),
        start_kind="tap",
        start_u_ms=150.0,
        person="confirmed",
        **checked,
        **given,
    )


def fellow_coach(cast: Cast) -> User:
    user = make_user("noor.castell@harbourlane.example", "Noor Castell")
    make_member(cast.harbour, user, "coach")
    return user


def test_several_comments_are_one_mail_without_words_or_names(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    for text in ("Hips follow.", "Reach further."):
        say.say(swim=swim, by=cast.coach, text=text)
    say.send_drafts(swim=swim, by=cast.coach)
    job = tell.ask_to_tell(swim=swim, by=cast.coach)
    wait = job.not_before - timezone.now()  # type: ignore[operator]
    assert dt.timedelta(minutes=9) < wait <= dt.timedelta(minutes=10)
    tell.tell_job(job, lambda *_: None)
    tell.tell_job(job, lambda *_: None)  # delivered twice
    mail = OutboxMail.objects.get()
    assert mail.to == cast.tomas.email
    assert f"/swims/{swim.pk}/" in mail.body
    for secret in ("Hips", "Reach", "Ines", "Aldana", "Tomas", "Wren"):
        assert secret not in mail.body + mail.subject


def test_all_swims_of_a_person_are_in_one_mail_and_each_job_after_it_finds_nothing(
    cast: Cast,
) -> None:
    swims = [cast.swims["tomas"], another_swim(cast)]
    for swim in swims:
        say_and_send(swim=swim, by=cast.coach, text="Hips follow.")
    say_and_send(swim=cast.swims["wren"], by=cast.coach, text="Chin down.")
    assert tell.tell_what_is_new(swim=swims[1]) == [cast.tomas]
    mail = OutboxMail.objects.get()
    first, second = (mail.body.index(f"/swims/{swim.pk}/") for swim in swims)
    assert first < second
    assert str(cast.swims["wren"].pk) not in mail.body
    assert "2 swims" in mail.subject
    assert tell.tell_what_is_new(swim=swims[0]) == []
    assert tell.tell_what_is_new(swim=cast.swims["wren"]) == [cast.wren]
    assert addressees() == sorted([cast.tomas.email, cast.wren.email])


def test_a_coach_gets_one_mail_for_the_questions_of_several_swimmers(cast: Cast) -> None:
    for key in ("tomas", "wren"):
        say.say(swim=cast.swims[key], by=getattr(cast, key), text="Is my head too high?")
    assert tell.tell_what_is_new(swim=cast.swims["tomas"]) == [cast.coach]
    body = OutboxMail.objects.get().body
    assert all(f"/swims/{cast.swims[key].pk}/" in body for key in ("tomas", "wren"))
    assert not Comment.objects.filter(told_at=None).exists()


def test_whoever_else_is_to_know_is_told_in_the_same_run(cast: Cast) -> None:
    """Wren's question concerns two coaches; one of them is told because of Tomas's."""
    other = fellow_coach(cast)
    wren = cast.swims["wren"]
    for coach in (cast.coach, other):
        said = say_and_send(swim=wren, by=coach, text="Push out level.")
    Comment.objects.update(told_at=timezone.now())
    say.reply(to=said, by=cast.wren, text="Like this?")
    say.say(swim=cast.swims["tomas"], by=cast.tomas, text="Is my head too high?")
    told = tell.tell_what_is_new(swim=cast.swims["tomas"])
    assert sorted(user.email for user in told) == sorted([cast.coach.email, other.email])
    bodies = dict(OutboxMail.objects.values_list("to", "body"))
    assert str(cast.swims["tomas"].pk) in bodies[cast.coach.email]
    assert str(cast.swims["tomas"].pk) not in bodies[other.email]  # spoke on Wren's alone
    assert all(str(wren.pk) in body for body in bodies.values())


def test_drafts_tell_nobody(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say.say(swim=swim, by=cast.coach, text="Hips follow.")
    assert not Job.objects.filter(kind=tell.JOB_KIND).exists()
    assert tell.tell_what_is_new(swim=swim) == []
    assert Comment.objects.get().told_at is None


def test_sent_feedback_is_something_new_once(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    FeedbackSent.objects.create(swim=swim, one_thing="Level.", sent_by=cast.coach)
    assert tell.tell_what_is_new(swim=swim) == [cast.tomas]
    assert tell.tell_what_is_new(swim=swim) == []
    assert "Level" not in OutboxMail.objects.get().body


def test_what_was_there_when_the_swim_was_given_went_with_that_mail(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    FeedbackSent.objects.create(swim=swim, one_thing="Level.", sent_by=cast.coach)
    Swim.objects.filter(pk=swim.pk).update(given_at=timezone.now())
    assert tell.tell_what_is_new(swim=swim) == []
    say_and_send(swim=swim, by=cast.coach, text="And chin down.")
    assert tell.tell_what_is_new(swim=swim) == [cast.tomas]


def test_a_note_is_told_to_the_other_coaches_and_not_to_the_swimmer(cast: Cast) -> None:
    other = fellow_coach(cast)
    swim = cast.swims["tomas"]
    say.say(swim=swim, by=cast.coach, text="Old shoulder injury?", for_coaches=True)
    assert tell.tell_what_is_new(swim=swim) == [other]
    assert tell.tell_what_is_new(swim=swim) == []


def test_words_taken_back_are_not_told(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    said = say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    Comment.objects.create(swim=swim, reply_to=said, author=cast.coach, text="Draft.")
    say_again.take_back(comment=said, by=cast.coach)
    assert Comment.objects.filter(pk=said.pk).exists()
    assert tell.tell_what_is_new(swim=swim) == []


def test_a_reply_is_told_to_the_coach_who_spoke_and_to_nobody_else(cast: Cast) -> None:
    fellow_coach(cast)
    first = say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="Push out level.")
    tell.tell_what_is_new(swim=first.swim)
    OutboxMail.objects.all().delete()
    say.reply(to=first, by=cast.tomas, text="Felt that.")
    assert tell.tell_what_is_new(swim=first.swim) == [cast.coach]
    assert addressees() == [cast.coach.email]


def test_who_has_looked_since_gets_no_mail_and_who_looked_before_does(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    first = say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    look.look(swim=swim, user=cast.tomas)
    assert tell.tell_what_is_new(swim=swim) == []
    reply_and_send(to=first, by=cast.coach, text="And chin down.")
    assert tell.tell_what_is_new(swim=swim) == [cast.tomas]


def test_of_several_swims_those_looked_at_are_not_in_the_mail(cast: Cast) -> None:
    swims = [cast.swims["tomas"], another_swim(cast)]
    for swim in swims:
        say_and_send(swim=swim, by=cast.coach, text="Hips follow.")
    look.look(swim=swims[0], user=cast.tomas)
    assert tell.tell_what_is_new(swim=swims[1]) == [cast.tomas]
    assert str(swims[0].pk) not in OutboxMail.objects.get().body


def test_a_swim_not_given_yet_tells_its_swimmer_nothing(cast: Cast) -> None:
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None, given_by=None)
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    assert tell.tell_what_is_new(swim=swim) == []
    assert not OutboxMail.objects.exists()


def test_a_swim_hidden_meanwhile_tells_nobody(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    Swim.objects.filter(pk=swim.pk).update(person="wrong")
    assert tell.tell_what_is_new(swim=swim) == []


def test_a_swimmer_who_asks_first_reaches_the_coach_who_gave(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say.say(swim=swim, by=cast.tomas, text="Is my head too high?")
    assert tell.tell_what_is_new(swim=swim) == [cast.coach]


def test_instead_of_a_coach_who_may_not_see_it_the_coaches_of_the_clinic_are_told(
    cast: Cast,
) -> None:
    swim = cast.swims["tomas"]
    Swim.objects.filter(pk=swim.pk).update(given_by=cast.other_coach)
    swim.refresh_from_db()
    say.say(swim=swim, by=cast.tomas, text="Is my head too high?")
    assert tell.tell_what_is_new(swim=swim) == [cast.coach]


def test_coach_is_not_told_after_the_swimmer_withdraws(cast: Cast) -> None:
    swim: Any = cast.swims["tomas"]
    say.say(swim=swim, by=cast.tomas, text="Is my head too high?")
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    assert tell.tell_what_is_new(swim=swim) == []


@pytest.mark.parametrize("language", ["en", "fr"])
def test_the_mail_speaks_the_language_of_its_reader(cast: Cast, language: str) -> None:
    cast.tomas.language = language
    cast.tomas.save()
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    tell.tell_what_is_new(swim=swim)
    day = {"en": "14 November 2026", "fr": "14 novembre 2026"}[language]
    assert day in OutboxMail.objects.get().body
