"""One thing to try and up to three points: written together, sent as one, read by the swimmer."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.board.said import somebody_spoke
from clinics.compute.time import iso_utc
from clinics.models import Clinic, Consent, Swim
from feedback.actions.feedback import (
    NothingToSend,
    WrittenMeanwhile,
    keep_words,
    send_feedback,
    stamp_of,
    what_goes,
)
from feedback.actions.report import report_of
from feedback.actions.tell import JOB_KIND
from feedback.models import Comment, Drawing, Feedback, FeedbackSent
from portal.models import AuditEntry, Job, OutboxMail, User
from tests.cast import Cast, make_member, make_user, sign_in
from tests.feedback.said import comment, drawing

HTMX = {"HX-Request": "true"}
ONE_THING = "Feet higher on the wall, push out level."


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def ilse(cast: Cast) -> User:
    """A second coach of the club."""
    user = make_user("ilse.brandt@harbourlane.example", "Ilse Brandt")
    make_member(cast.harbour, user, "coach")
    return user


@pytest.fixture
def swim(cast: Cast) -> Swim:
    """Passed on, not yet given; the clinic gives together with feedback."""
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None, given_by=None)
    return Swim.objects.get(pk=cast.swims["tomas"].pk)


def keep(swim: Swim, by: User, one_thing: str = ONE_THING, *points: str, stamp: str = "") -> Any:
    return keep_words(swim=swim, by=by, one_thing=one_thing, points=points, stamp=stamp)


def url(name: str, swim: Swim) -> str:
    return reverse(f"feedback:{name}", args=[swim.pk])


def body_of(user: User, swim: Swim, **data: Any) -> str:
    answer = sign_in(Client(), user).get(url("swim", swim), data)
    assert answer.status_code == 200
    return answer.content.decode()


def typed(one_thing: str = ONE_THING, *points: str, **more: str) -> dict[str, str]:
    told = {f"point_{number}": point for number, point in enumerate(points, start=1)}
    return {"one_thing": one_thing, "stamp": "", **told, **more}


# --- writing together -----------------------------------------------------------------------


def test_words_are_kept_for_all_coaches_and_say_by_whom(cast: Cast, swim: Swim, ilse: User) -> None:
    client = sign_in(Client(), cast.coach)
    answer = client.post(
        url("words", swim) + "?whose=mine", typed(ONE_THING, "", " Breathe  late. ")
    )
    assert answer.url == f"{url('swim', swim)}?whose=mine#feedback"
    kept = Feedback.objects.get()
    assert (kept.one_thing, kept.points) == (ONE_THING, ["Breathe late."])
    assert AuditEntry.objects.filter(action="feedback.keep").count() == 1
    for user in (cast.coach, ilse):
        body = body_of(user, swim)
        assert ONE_THING in body and 'value="Breathe late."' in body
        assert re.search(r"Kept \d\d:\d\d by Ines Aldana\.", body)


def test_the_same_words_again_change_nothing(cast: Cast, swim: Swim, ilse: User) -> None:
    first = keep(swim, cast.coach)
    again = keep(swim, ilse)
    assert (again.updated_at, again.updated_by) == (first.updated_at, cast.coach)
    assert keep_words(swim=cast.swims["wren"], by=ilse, one_thing="", points=[], stamp="") is None
    assert Feedback.objects.count() == 1


@pytest.mark.parametrize("htmx", [True, False])
def test_who_keeps_second_is_told_what_the_other_wrote_and_loses_nothing(
    cast: Cast, swim: Swim, ilse: User, htmx: bool
) -> None:
    keep(swim, cast.coach, "Look down.", "Kick to the end.")
    client = sign_in(Client(), ilse)
    headers = HTMX if htmx else {}
    answer = client.post(url("words", swim), typed("Breathe later.", "Mine."), headers=headers)
    body = answer.content.decode()
    assert answer.status_code == 422
    assert re.search(r"Ines Aldana kept other words at \d\d:\d\d", body)
    assert "Look down." in body and "Kick to the end." in body
    assert Feedback.objects.get().one_thing == "Look down."
    if not htmx:
        assert "Breathe later." in body and 'value="Mine."' in body
    stamp = re.findall(r'name="stamp" value="([^"]*)"', body)[0]
    # told of it, they keep theirs: with the stamp of what they saw
    client.post(url("words", swim), typed("Both: look down, breathe later.", stamp=stamp))
    kept = Feedback.objects.get()
    assert (kept.one_thing, kept.updated_by) == ("Both: look down, breathe later.", ilse)


def test_a_stamp_of_older_words_is_not_enough(cast: Cast, swim: Swim, ilse: User) -> None:
    old = stamp_of(keep(swim, cast.coach, "One."))
    keep(swim, ilse, "Two.", stamp=old)
    with pytest.raises(WrittenMeanwhile) as told:
        keep(swim, cast.coach, "Three.", stamp=old)
    assert told.value.kept.one_thing == "Two."


@pytest.mark.parametrize("htmx", [True, False])
def test_too_long_words_are_not_accepted_and_stay(cast: Cast, swim: Swim, htmx: bool) -> None:
    client = sign_in(Client(), cast.coach)
    headers = HTMX if htmx else {}
    answer = client.post(url("words", swim), typed("x" * 301), headers=headers)
    assert answer.status_code == 422
    body = answer.content.decode()
    assert "One thing to try: That is too long: 301 of at most 300 letters." in body
    assert htmx or "x" * 301 in body
    answer = client.post(url("words", swim), typed("x" * 300, "y" * 201), headers=headers)
    assert "Point 1: That is too long: 201 of at most 200 letters." in answer.content.decode()
    assert not Feedback.objects.exists()


def test_with_htmx_only_the_line_of_what_is_kept_comes_back(cast: Cast, swim: Swim) -> None:
    client = sign_in(Client(), cast.coach)
    answer = client.post(url("words", swim), typed(), headers=HTMX)
    body = answer.content.decode()
    assert body.lstrip().startswith('<div id="feedback-kept"')
    assert stamp_of(Feedback.objects.get()) in body
    answer = client.post(url("words", swim), typed(do="look"), headers=HTMX)
    assert answer["HX-Retarget"] == "#feedback"
    assert answer.content.decode().lstrip().startswith('<section class="feedback"')


# --- what will go -------------------------------------------------------------------------------


def test_what_goes_is_listed_before_it_goes(cast: Cast, swim: Swim, ilse: User) -> None:
    for number in range(3):
        comment(swim, cast.coach, f"Draft {number}.", sent=False)
    for _again in range(2):
        drawing(swim, cast.coach, cast.recordings["underwater"], sent=False)
    comment(swim, ilse, "Hers.", sent=False)
    drawing(swim, ilse, cast.recordings["underwater"], sent=False)
    comment(swim, cast.coach, "Sent before.")
    client = sign_in(Client(), cast.coach)
    told = typed(ONE_THING, "Look down.", "Kick.", do="look")
    body = client.post(url("words", swim), told, follow=True).content.decode()
    assert "<b>one thing to try, 2 points, 3 comments, 2 drawings</b>" in body
    assert "and the pictures" in body and ONE_THING in body
    assert "Drafts of other coaches stay with them." in body
    assert not FeedbackSent.objects.exists()


def test_nothing_to_send_is_said(cast: Cast, swim: Swim, ilse: User) -> None:
    comment(swim, ilse, "Hers.", sent=False)
    assert "There is nothing new to send." in body_of(cast.coach, swim, send="")
    with pytest.raises(NothingToSend):
        send_feedback(swim=swim, by=cast.coach)
    answer = sign_in(Client(), cast.coach).post(url("send", swim), follow=True)
    assert "There was nothing new to send." in answer.content.decode()
    assert Swim.objects.get(pk=swim.pk).given_at is None


# --- sending ------------------------------------------------------------------------------------


def test_sending_sends_the_words_and_own_drafts_and_gives_in_one_act(
    cast: Cast, swim: Swim, ilse: User
) -> None:
    mine, hers = (comment(swim, by, "Reach.", sent=False) for by in (cast.coach, ilse))
    note = comment(swim, cast.coach, "Among us.", sent=False, for_coaches=True)
    line = drawing(swim, cast.coach, cast.recordings["underwater"], sent=False)
    keep(swim, ilse, ONE_THING, "Look down.")
    send_feedback(swim=swim, by=cast.coach)
    sent = FeedbackSent.objects.get()
    assert (sent.one_thing, sent.points, sent.sent_by) == (ONE_THING, ["Look down."], cast.coach)
    assert Comment.objects.get(pk=mine.pk).sent_at and Drawing.objects.get(pk=line.pk).sent_at
    for row in (hers, note):
        assert Comment.objects.get(pk=row.pk).sent_at is None
    row = Swim.objects.get(pk=swim.pk)
    assert row.given_at is not None and row.given_by == cast.coach
    entry = AuditEntry.objects.get(action="feedback.send")
    assert '"comments":1' in entry.text and '"drawings":1' in entry.text
    assert ONE_THING not in entry.text
    assert OutboxMail.objects.get().to == cast.tomas.email  # that the swim is there
    assert Job.objects.filter(kind=JOB_KIND, subject_id=swim.pk).exists()
    body = body_of(cast.tomas, row)
    assert ONE_THING in body and "Look down." in body and "Reach." in body
    assert re.search(r"Sent \d+ \w+, \d\d:\d\d by Ines Aldana", body)


def test_all_of_it_goes_or_nothing(cast: Cast, swim: Swim, monkeypatch: Any) -> None:
    draft = comment(swim, cast.coach, "Reach.", sent=False)

    def fails(**_told: Any) -> None:
        raise RuntimeError

    monkeypatch.setattr("feedback.actions.feedback.give_swim", fails)
    with pytest.raises(RuntimeError):
        send_feedback(swim=swim, by=cast.coach)
    assert Comment.objects.get(pk=draft.pk).sent_at is None
    assert not FeedbackSent.objects.exists()
    assert not AuditEntry.objects.filter(action="feedback.send").exists()


def test_where_the_clinic_gives_at_once_sending_only_sends(cast: Cast) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(give="at_once")
    swim = cast.swims["tomas"]  # was given when it was passed on
    keep(swim, cast.coach)
    assert not what_goes(swim, cast.coach).gives
    send_feedback(swim=swim, by=cast.coach)
    assert not AuditEntry.objects.filter(action="swim.give").exists()
    assert ONE_THING in body_of(cast.tomas, swim)


def test_sending_again_makes_the_next_and_the_newest_counts(cast: Cast, swim: Swim) -> None:
    first = keep(swim, cast.coach, "Look down.")
    send_feedback(swim=swim, by=cast.coach)
    with pytest.raises(NothingToSend):
        send_feedback(swim=swim, by=cast.coach)
    keep(swim, cast.coach, "Look down, then back.", stamp=stamp_of(first))
    assert "Look down, then back." not in body_of(cast.tomas, swim)
    send_feedback(swim=swim, by=cast.coach)
    assert FeedbackSent.objects.count() == 2
    body = body_of(cast.tomas, swim)
    assert "Look down, then back." in body and "Look down.<" not in body
    assert AuditEntry.objects.filter(action="swim.give").count() == 1


def test_a_further_comment_alone_can_be_sent(cast: Cast, swim: Swim) -> None:
    keep(swim, cast.coach)
    send_feedback(swim=swim, by=cast.coach)
    draft = comment(swim, cast.coach, "One more.", sent=False)
    assert what_goes(swim, cast.coach).anything
    assert not what_goes(swim, cast.coach).changed
    send_feedback(swim=swim, by=cast.coach)
    assert Comment.objects.get(pk=draft.pk).sent_at is not None
    assert FeedbackSent.objects.order_by("-sent_at")[0].one_thing == ONE_THING


def test_what_was_changed_since_it_was_listed_is_listed_again(
    cast: Cast, swim: Swim, ilse: User
) -> None:
    shown = stamp_of(keep(swim, cast.coach, "Look down."))
    keep(swim, ilse, "Look up!", stamp=shown)
    client = sign_in(Client(), cast.coach)
    answer = client.post(url("send", swim), {"stamp": shown}, follow=True)
    body = answer.content.decode()
    assert "The words were changed meanwhile." in body
    assert "Look up!" in body and ">Send<" in body
    assert not FeedbackSent.objects.exists()


def test_send_then_the_next_goes_to_the_next_of_the_walk(cast: Cast, swim: Swim) -> None:
    kept = keep(swim, cast.coach)
    answer = sign_in(Client(), cast.coach).post(
        url("send", swim) + "?was=drafts&show=", {"stamp": stamp_of(kept), "then": "next"}
    )
    # the other one waits with nothing said, which is more urgent: nothing comes after
    assert answer.url == f"{url('swim', swim)}?was=drafts#feedback"
    keep(swim, cast.coach, "Next.", stamp=stamp_of(kept))
    answer = sign_in(Client(), cast.coach).post(
        url("send", swim) + "?was=nothing-said", {"then": "next", "stamp": stamp_of(kept)}
    )
    assert answer.url == f"{url('swim', swim)}?was=nothing-said&send#feedback"  # other words now
    stamp = stamp_of(Feedback.objects.get())
    answer = sign_in(Client(), cast.coach).post(
        url("send", swim) + "?was=nothing-said", {"then": "next", "stamp": stamp}
    )
    assert answer.url == f"{url('swim', cast.swims['wren'])}?was=nothing-said"


def test_giving_without_feedback_sends_nothing_that_is_written(cast: Cast, swim: Swim) -> None:
    keep(swim, cast.coach)
    draft = comment(swim, cast.coach, "Not yet.", sent=False)
    assert "Give without feedback" in body_of(cast.coach, swim)
    sign_in(Client(), cast.coach).post(url("give", swim))
    assert Swim.objects.get(pk=swim.pk).given_at is not None
    assert Comment.objects.get(pk=draft.pk).sent_at is None
    body = body_of(cast.tomas, swim)
    assert ONE_THING not in body and "Not yet." not in body


# --- who reads it -------------------------------------------------------------------------------


def test_the_swimmer_never_sees_what_is_only_being_written(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    keep(swim, cast.coach, "Draft words.", "Draft point.")
    FeedbackSent.objects.create(swim=swim, one_thing="Sent words.", sent_by=cast.coach)
    body = body_of(cast.tomas, swim, send="")
    assert "Sent words." in body
    for hidden in ("Draft words.", "Draft point.", "Feedback for", "Kept "):
        assert hidden not in body
    for name in ("words", "send", "give"):
        answer = sign_in(Client(), cast.tomas).post(url(name, swim), typed("Mine."))
        assert answer.status_code == 404
    assert Feedback.objects.get().one_thing == "Draft words."


@pytest.mark.parametrize("who", ["tomas", "wren", "admin", "checker", "crew", "other_coach"])
def test_only_coaches_of_the_clinic_write_and_send(cast: Cast, swim: Swim, who: str) -> None:
    keep(swim, cast.coach)
    with pytest.raises(PermissionDenied):
        keep(swim, getattr(cast, who), "Other.")
    with pytest.raises(PermissionDenied):
        send_feedback(swim=swim, by=getattr(cast, who))
    assert not FeedbackSent.objects.exists()


def test_sent_words_go_with_the_swim_behind_the_fence(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    FeedbackSent.objects.create(swim=swim, one_thing=ONE_THING, sent_by=cast.coach)

    def readers() -> set[str]:
        people = {name: user for name, user in cast.people().items() if user}
        return {n for n, u in people.items() if FeedbackSent.objects.visible_to(u).exists()}

    assert readers() == {"swimmer", "coach"}
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    assert readers() == {"swimmer"}


# --- when the swimmer asks back -----------------------------------------------------------------


def test_a_question_comes_back_to_the_queue_until_it_is_answered(cast: Cast, swim: Swim) -> None:
    keep(swim, cast.coach)
    send_feedback(swim=swim, by=cast.coach)
    queue = reverse("feedback:waiting")
    client = sign_in(Client(), cast.coach)
    assert "Tomas Birk" not in client.get(queue).content.decode()
    asked = comment(swim, cast.tomas, "From which foot?")
    body = client.get(queue).content.decode()
    assert "the swimmer asks back" in body
    assert f"{url('swim', swim)}?was=asks-back#said-{asked.pk}" in body
    comment(swim, cast.coach, "The left one.", reply_to=asked)
    assert "Tomas Birk" not in client.get(queue).content.decode()


def test_the_clinics_report_says_when_feedback_was_sent_and_not_what(
    cast: Cast, swim: Swim
) -> None:
    keep(swim, cast.coach)
    sent = send_feedback(swim=swim, by=cast.coach)
    report = report_of(clinic=cast.clinic)
    told = {row["id"]: row["feedback_sent_at"] for row in report["swims"]}
    assert told[str(swim.pk)] == iso_utc(sent.sent_at)
    assert told[str(cast.swims["wren"].pk)] is None
    assert ONE_THING not in str(report)


def test_a_swim_for_which_somebody_wrote_is_not_removed_without_asking(
    cast: Cast, swim: Swim
) -> None:
    assert not somebody_spoke(swim)
    keep(swim, cast.coach)
    assert somebody_spoke(swim)
