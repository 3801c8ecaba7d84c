"""Saying something: anchored to frames on screen; drafts, notes, what goes at once; edited and
taken back with a trail."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from clinics.media.index import save_frame_table
from clinics.models import Consent
from feedback.actions import frames, say, say_again, tell
from feedback.models import Comment, CommentVersion, FeedbackSent
from feedback.views import room_data, said_column
from portal.models import AuditEntry, Job, StoredFile, User
from tests.cast import Cast, make_member, make_user
from tests.feedback.words import say_and_send

# Uneven frames as a phone makes them: 1/90000 s between one and the next.
UNEVEN = np.cumsum([0, *([2970, 3030, 3000, 6060, 2940] * 1200)])[:6000].astype(np.int64)


def give_uneven_frames(cast: Cast, station: str) -> None:
    """The recording's frame table, anew: a new stored file, as when it is indexed again."""
    recording = cast.recordings[station]
    old: StoredFile = recording.frame_table  # type: ignore[assignment]
    new = StoredFile.objects.create(
        club=old.club,
        area=old.area,
        kind=old.kind,
        name=old.name.replace(".table", ".uneven.table"),
        size_bytes=1,
        sha256="0" * 64,
        keeping_rule=old.keeping_rule,
    )
    save_frame_table(new.local_path(), UNEVEN)
    recording.frame_table = new
    recording.save()


def test_a_comment_stands_at_the_pts_of_its_recordings_frame(cast: Cast) -> None:
    give_uneven_frames(cast, "underwater")
    clip = cast.clips["tomas"][1]
    clip.refresh_from_db()
    for frame in (0, 1, 57, 99):
        said = say.say(swim=clip.swim, by=cast.coach, text="Look.", clip=clip, frame=frame)
        assert said.recording == cast.recordings["underwater"]
        assert said.pts_ticks == UNEVEN[clip.first_frame + frame]
        assert frames.frame_at(clip, said.pts_ticks or 0) == frame


def test_an_instant_outside_the_clip_is_none_of_its_frames(cast: Cast) -> None:
    clip = cast.clips["tomas"][1]
    before = frames.pts_ticks_of(clip, 0) - 1
    after = frames.pts_ticks_of(clip, 99) + 3600
    assert frames.frame_at(clip, before) is None
    assert frames.frame_at(clip, after) is None


@pytest.mark.parametrize("frame", [-1, 100, 10**6])
def test_a_frame_that_the_clip_has_not_is_refused_and_nothing_is_written(
    cast: Cast, frame: int
) -> None:
    clip = cast.clips["tomas"][0]
    with pytest.raises(frames.FrameUnknown):
        say.say(swim=clip.swim, by=cast.coach, text="Look.", clip=clip, frame=frame)
    assert not Comment.objects.exists()


def times_on_the_page(cast: Cast) -> list[tuple[str, float, float | None, int | None]]:
    views = room_data.views_of(cast.swims["tomas"], cast.coach)
    told = said_column.said_about(cast.swims["tomas"], cast.coach, views, None)
    return [(said.comment.text, said.at_s or 0.0, said.until_s, said.frame) for said in told]


def test_a_better_clock_fit_moves_no_comment_and_all_times_that_are_derived(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    at: dict[str, Any] = {"swim": clip.swim, "by": cast.coach, "clip": clip}
    said = say.say(**at, text="Look.", frame=10)
    span = say.say(**at, text="See.", frame=20, until_frame=45, on_swim=True)
    placed = list(Comment.objects.order_by("pk").values("pts_ticks", "until_ticks", "on_swim"))
    before = times_on_the_page(cast)
    # the clip begins 1 s before the signal, at 25 frames/s
    assert before == [
        ("Look.", pytest.approx(-0.6), None, 10),
        ("See.", pytest.approx(-0.2), pytest.approx(0.8), 20),
    ]
    fit = cast.recordings["start-side"].clock_fit
    assert fit.zero_at is not None
    fit.zero_at += dt.timedelta(milliseconds=137)
    fit.rate_ppm = 100.0
    fit.save()
    assert placed == list(
        Comment.objects.order_by("pk").values("pts_ticks", "until_ticks", "on_swim")
    )
    # 19.4 s and 19.8 s into the recording, 100 ppm are 1.94 and 1.98 ms
    assert times_on_the_page(cast) == [
        ("Look.", pytest.approx(-0.6 + 0.137 + 0.00194, abs=2e-6), None, 10),
        (
            "See.",
            pytest.approx(-0.2 + 0.137 + 0.00198, abs=2e-6),
            pytest.approx(0.8 + 0.137 + 0.00208, abs=2e-6),
            20,
        ),
    ]
    assert (said.pk, span.pk) == tuple(
        Comment.objects.order_by("created_at").values_list("pk", flat=True)
    )


def test_a_span_ends_at_the_pts_of_its_last_frame(cast: Cast) -> None:
    give_uneven_frames(cast, "underwater")
    clip = cast.clips["tomas"][1]
    clip.refresh_from_db()
    said = say.say(swim=clip.swim, by=cast.coach, text="Here.", clip=clip, frame=7, until_frame=31)
    assert said.pts_ticks == UNEVEN[clip.first_frame + 7]
    assert said.until_ticks == UNEVEN[clip.first_frame + 31]


def test_a_reply_to_a_reply_stands_under_the_same_comment(cast: Cast) -> None:
    first = say.say(swim=cast.swims["tomas"], by=cast.coach, text="Push out level.")
    answer = say.reply(to=first, by=cast.tomas, text="Like this?")
    again = say.reply(to=answer, by=cast.coach, text="Yes.")
    assert answer.reply_to_id == again.reply_to_id == first.pk


# --- drafts, notes, what goes at once -----------------------------------------------------------


def seen_by(user: Any) -> list[str]:
    return sorted(Comment.objects.visible_to(user).values_list("text", flat=True))


def test_what_a_coach_says_is_a_draft_until_it_is_sent(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    other = fellow_coach(cast)
    said = say.say(swim=swim, by=cast.coach, text="Push out level.")
    say.say(swim=swim, by=other, text="Chin down.")
    assert said.sent_at is None
    assert seen_by(cast.coach) == ["Push out level."]
    assert seen_by(other) == ["Chin down."]
    assert seen_by(cast.tomas) == []
    assert not Job.objects.filter(kind=tell.JOB_KIND).exists()
    assert say.send_drafts(swim=swim, by=cast.coach) == 1
    assert seen_by(cast.tomas) == ["Push out level."]
    assert seen_by(other) == ["Chin down.", "Push out level."]
    assert say.send_drafts(swim=swim, by=cast.coach) == 0


def test_what_the_swimmer_says_goes_at_once(cast: Cast) -> None:
    said = say.say(swim=cast.swims["tomas"], by=cast.tomas, text="Is my head too high?")
    assert said.sent_at is not None
    assert seen_by(cast.coach) == ["Is my head too high?"]


def test_a_note_among_coaches_goes_at_once_and_never_to_the_swimmer(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    other = fellow_coach(cast)
    note = say.say(swim=swim, by=cast.coach, text="Old shoulder injury?", for_coaches=True)
    answer = say.reply(to=note, by=other, text="Left one. Ask first.")
    assert note.sent_at is not None and answer.sent_at is not None and answer.for_coaches
    assert say.send_drafts(swim=swim, by=cast.coach) == 0
    assert len(seen_by(cast.coach)) == len(seen_by(other)) == 2
    for user in cast.people().values():
        if user not in (None, cast.coach):
            assert seen_by(user) == [], user


def test_a_coach_who_is_the_swimmer_reads_no_notes_and_writes_none(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    make_member(cast.harbour, cast.tomas, "coach")
    say.say(swim=swim, by=cast.coach, text="Old shoulder injury?", for_coaches=True)
    assert seen_by(cast.tomas) == []
    with pytest.raises(PermissionDenied):
        say.say(swim=swim, by=cast.tomas, text="About me.", for_coaches=True)
    assert say.say(swim=swim, by=cast.tomas, text="My own.").sent_at is not None


@pytest.mark.parametrize("who", ["tomas", "wren", "checker", "admin", "other_coach"])
def test_who_does_not_coach_the_swim_writes_no_notes(cast: Cast, who: str) -> None:
    with pytest.raises(PermissionDenied):
        say.say(swim=cast.swims["tomas"], by=getattr(cast, who), text="Psst.", for_coaches=True)
    assert not Comment.objects.exists()


def test_after_the_swimmer_withdraws_nobody_else_reads_what_was_said(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    say.say(swim=swim, by=cast.coach, text="Old shoulder injury?", for_coaches=True)
    say.say(swim=swim, by=cast.coach, text="A draft.")
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    assert seen_by(cast.coach) == []
    assert seen_by(cast.tomas) == ["Push out level."]


@pytest.mark.parametrize(
    ("feedback_sent", "asked", "given", "goes"),
    [
        (False, False, True, False),
        (True, False, True, True),
        (False, True, True, True),
        (True, True, False, False),
    ],
)
def test_a_reply_goes_by_itself_after_feedback_or_a_question(
    cast: Cast, feedback_sent: bool, asked: bool, given: bool, goes: bool
) -> None:
    swim = cast.swims["tomas"]
    first = say_and_send(swim=swim, by=cast.coach, text="Push out level.")
    if asked:
        say.reply(to=first, by=cast.tomas, text="Like this?")
    if feedback_sent:
        FeedbackSent.objects.create(swim=swim, one_thing="Level.", sent_by=cast.coach)
    if not given:
        swim.given_at = swim.given_by = None
        swim.save()
    first.swim = swim
    kept = say.reply(to=first, by=cast.coach, text="Yes, and lower.")
    assert kept.sent_at is None
    assert say.send_alone(comment=kept, by=cast.coach) is goes
    assert say.send_alone(comment=kept, by=cast.coach) is False  # once
    now = say.reply(to=first, by=cast.coach, text="Lower.", now=True)
    assert (now.sent_at is not None) is goes
    assert Job.objects.filter(kind=tell.JOB_KIND).exists() is (goes or asked)


# --- one's own words, again ---------------------------------------------------------------------


def test_an_edit_is_seen_and_leaves_no_old_words_in_the_trail(cast: Cast) -> None:
    said = say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="Left hand crosses.")
    say_again.edit(comment=said, by=cast.coach, text="Right hand crosses.")
    said.refresh_from_db()
    assert said.text == "Right hand crosses."
    assert said.edited_at is not None
    assert [version.text for version in said.versions.all()] == ["Left hand crosses."]
    entry = AuditEntry.objects.get(action="comment-edited")
    assert "crosses" not in entry.text
    say_again.edit(comment=said, by=cast.coach, text="Right hand crosses.")  # nothing changed
    assert AuditEntry.objects.filter(action="comment-edited").count() == 1


def test_a_draft_is_changed_without_a_trace_of_what_it_said(cast: Cast) -> None:
    said = say.say(swim=cast.swims["tomas"], by=cast.coach, text="Left hand.", phase="start")
    say_again.edit(comment=said, by=cast.coach, text="Right hand.", phase="swimming")
    said.refresh_from_db()
    assert (said.text, said.phase, said.edited_at) == ("Right hand.", "swimming", None)
    assert not said.versions.exists()


def test_words_taken_back_leave_nothing_unless_somebody_replied(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    alone = say_and_send(swim=swim, by=cast.coach, text="Left hand crosses.")
    answered = say_and_send(swim=swim, by=cast.coach, text="Elbow drops.")
    say_again.edit(comment=answered, by=cast.coach, text="Elbow drops early.")
    say.reply(to=answered, by=cast.tomas, text="Left or right?")
    for comment in (alone, answered, answered):
        say_again.take_back(comment=comment, by=cast.coach)
    assert AuditEntry.objects.filter(action="comment-taken-back").count() == 2
    left = Comment.objects.get(author=cast.coach)
    assert left.pk == answered.pk
    assert left.text == "" and left.taken_back_at is not None
    assert not CommentVersion.objects.exists()
    assert not any("Elbow" in entry.text for entry in AuditEntry.objects.all())


def test_nobody_takes_back_the_words_of_another(cast: Cast) -> None:
    said = say_and_send(swim=cast.swims["tomas"], by=cast.coach, text="Left hand crosses.")
    say_again.take_back(comment=said, by=cast.tomas)
    say_again.edit(comment=said, by=cast.tomas, text="Mine now.")
    said.refresh_from_db()
    assert said.text == "Left hand crosses."


def fellow_coach(cast: Cast) -> User:
    user = make_user("noor.castell@harbourlane.example", "Noor Castell")
    make_member(cast.harbour, user, "coach")
    return user
