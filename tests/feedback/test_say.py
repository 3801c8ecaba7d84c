"""Saying something: anchored to the frame on screen, told by mail, edited with a trail."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

from clinics.media.index import save_frame_table
from clinics.models import Consent, Swim
from feedback.actions import frames, look, say, tell
from feedback.models import Comment
from portal.models import AuditEntry, Job, OutboxMail, StoredFile
from tests.cast import Cast

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
        assert frames.frame_at(clip, said.pts_ticks) == frame


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


def test_a_better_clock_fit_moves_no_comment(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    said = say.say(swim=clip.swim, by=cast.coach, text="Look.", clip=clip, frame=10)
    fit = cast.recordings["start-side"].clock_fit
    fit.zero_at += dt.timedelta(milliseconds=137)
    fit.save()
    before = said.pts_ticks
    said.refresh_from_db()
    assert said.pts_ticks == before


def test_a_reply_to_a_reply_stands_under_the_same_comment(cast: Cast) -> None:
    first = say.say(swim=cast.swims["tomas"], by=cast.coach, text="Push out level.")
    answer = say.reply(to=first, by=cast.tomas, text="Like this?")
    again = say.reply(to=answer, by=cast.coach, text="Yes.")
    assert answer.reply_to_id == again.reply_to_id == first.pk


def test_an_edit_is_seen_and_leaves_no_old_words_in_the_trail(cast: Cast) -> None:
    said = say.say(swim=cast.swims["tomas"], by=cast.coach, text="Left hand crosses.")
    say.edit(comment=said, by=cast.coach, text="Right hand crosses.")
    said.refresh_from_db()
    assert said.text == "Right hand crosses."
    assert said.edited_at is not None
    entry = AuditEntry.objects.get(action="comment-edited")
    assert "crosses" not in entry.text
    say.edit(comment=said, by=cast.coach, text="Right hand crosses.")  # nothing changed
    assert AuditEntry.objects.filter(action="comment-edited").count() == 1


# --- mail -------------------------------------------------------------------------------------


def addressees(cast: Cast) -> list[str]:
    return sorted(OutboxMail.objects.values_list("to", flat=True))


def test_several_comments_are_one_mail_without_words_or_names(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    for text in ("Hips follow.", "Reach further."):
        say.say(swim=swim, by=cast.coach, text=text)
    job = Job.objects.get(kind=tell.JOB_KIND)
    wait = job.not_before - timezone.now()  # type: ignore[operator]
    assert dt.timedelta(minutes=9) < wait <= dt.timedelta(minutes=10)
    tell.tell_job(job, lambda *_: None)
    tell.tell_job(job, lambda *_: None)  # delivered twice
    mail = OutboxMail.objects.get()
    assert mail.to == cast.tomas.email
    assert f"/swims/{swim.pk}/" in mail.body
    for secret in ("Hips", "Reach", "Ines", "Aldana", "Tomas", "Wren"):
        assert secret not in mail.body + mail.subject


def test_a_reply_is_told_to_the_coach_who_spoke_and_to_nobody_else(cast: Cast) -> None:
    first = say.say(swim=cast.swims["tomas"], by=cast.coach, text="Push out level.")
    tell.tell_what_is_new(swim=first.swim)
    OutboxMail.objects.all().delete()
    say.reply(to=first, by=cast.tomas, text="Felt that.")
    assert tell.tell_what_is_new(swim=first.swim) == [cast.coach]
    assert addressees(cast) == [cast.coach.email]


def test_who_has_looked_since_gets_no_mail(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say.say(swim=swim, by=cast.coach, text="Push out level.")
    look.look(swim=swim, user=cast.tomas)
    assert tell.tell_what_is_new(swim=swim) == []


def test_a_swim_not_given_yet_tells_its_swimmer_nothing(cast: Cast) -> None:
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None, given_by=None)
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    say.say(swim=swim, by=cast.coach, text="Push out level.")
    assert tell.tell_what_is_new(swim=swim) == []
    assert not OutboxMail.objects.exists()


def test_a_swim_hidden_meanwhile_tells_nobody(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    say.say(swim=swim, by=cast.coach, text="Push out level.")
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
