"""What a restore does again, line by line. The whole way is in test_backup.py."""

from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from clinics.actions import publish
from clinics.actions.check import not_me
from clinics.actions.holds import hold
from clinics.actions.minor import report_minor
from clinics.models import Clip, Consent, MinorReport, Share, Station, Swim
from feedback.actions.share import end_share
from portal.actions import ledger
from portal.actions.people import end_membership
from portal.actions.replay import Replayed, ReplayFailed, replay
from portal.actions.sessions import deactivate
from portal.ledger_line import Line
from portal.models import Hold, Membership, PersonRequest, StoredFile, User
from tests.cast import Cast, build_cast

LATER = timezone.now() + dt.timedelta(hours=2)
BACKUP_AT = timezone.now()


@pytest.fixture(autouse=True)
def own_ledger(settings, tmp_path: Path) -> None:
    settings.LEDGER_FILE = tmp_path / "deletions.jsonl"


def line(
    what: str, row: Any, *, purpose: str = "", at: dt.datetime = LATER, by: User | None = None
) -> None:
    who = str(by.pk) if by else ""
    kind, pk = row._meta.label, str(row.pk)
    ledger._append(Line(at.isoformat(), what, kind, pk, purpose=purpose, by=who))


def again() -> Replayed:
    return replay(backup_at=BACKUP_AT)


def test_row_goes_again_and_what_hangs_on_it(cast: Cast) -> None:
    line("deleted", cast.swims["wren"])
    assert again().deleted == 1
    assert not Swim.objects.filter(pk=cast.swims["wren"].pk).exists()
    assert not Clip.objects.filter(swim=cast.swims["wren"].pk).exists()
    assert again() == Replayed(0, 0)


def test_row_that_others_protect_waits_until_they_are_gone(cast: Cast) -> None:
    line("deleted", cast.underwater)
    for clip in Clip.objects.filter(station=cast.underwater):
        line("deleted", clip)
    line("deleted", cast.recordings["underwater"])
    assert again().deleted > 1
    assert not Station.objects.filter(pk=cast.underwater.pk).exists()


def test_row_that_cannot_go_is_named(cast: Cast) -> None:
    line("deleted", cast.underwater)
    with pytest.raises(ReplayFailed, match=str(cast.underwater.pk)):
        again()


def test_kind_that_nobody_knows_is_named(cast: Cast) -> None:
    ledger._append(Line(LATER.isoformat(), "deleted", "clinics.Gone", str(uuid.uuid4())))
    with pytest.raises(ReplayFailed, match="clinics.Gone"):
        again()


def test_ending_that_nobody_knows_is_named(cast: Cast) -> None:
    line("withdrawn", cast.clinic)
    with pytest.raises(ReplayFailed, match="clinics.Clinic"):
        again()


def test_file_goes_from_disk_and_its_row_says_so(cast: Cast) -> None:
    stored = cast.clips["wren"][0].files.get(kind="video").stored
    line("deleted", stored)
    assert again().deleted == 1
    stored.refresh_from_db()
    assert (stored.state, stored.deleted_at) == (StoredFile.State.DELETED, LATER)
    assert not stored.local_path().exists()


def test_consent_ends_at_its_instant_for_its_purpose_alone(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    Consent.objects.create(swimmer=swimmer, purpose="publish")
    line("withdrawn", swimmer, purpose="film-and-review")
    assert again() == Replayed(0, 1)
    ended = swimmer.consents.get(purpose="film-and-review")
    assert ended.ended_at == LATER
    assert swimmer.consents.get(purpose="publish").ended_at is None
    assert not Swim.objects.visible_to(cast.coach).filter(entry__swimmer=swimmer).exists()
    assert all(clip.delete_by for clip in Clip.objects.filter(swim__entry__swimmer=swimmer))


def test_consent_given_after_the_withdrawal_stays(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    swimmer.consents.update(given_at=LATER + dt.timedelta(hours=1))
    line("withdrawn", swimmer, purpose="film-and-review")
    assert again() == Replayed(0, 0)


def test_withdrawal_from_long_before_the_backup_is_in_it_already(cast: Cast) -> None:
    """Somebody who was let in again since is not shut out."""
    line("withdrawn", cast.coach, at=BACKUP_AT - dt.timedelta(days=1))
    assert again() == Replayed(0, 0)
    assert User.objects.get(pk=cast.coach.pk).is_active


def test_link_ends_again(cast: Cast) -> None:
    share = Share.objects.create(
        swim=cast.swims["tomas"], token_hash="ab" * 32, made_by=cast.tomas, expires_at=LATER
    )
    line("withdrawn", share)
    assert again() == Replayed(0, 1)
    share.refresh_from_db()
    assert share.ended_at == LATER


def test_membership_and_account_end_again(cast: Cast, django_capture_on_commit_callbacks) -> None:
    coach = Membership.objects.get(user=cast.coach)
    Membership.objects.filter(pk=coach.pk).update(from_date=dt.date(2026, 1, 1))
    coach.refresh_from_db()
    with django_capture_on_commit_callbacks(execute=True):
        end_membership(membership=coach, by=cast.admin)
    Membership.objects.filter(pk=coach.pk).update(until_date=None)  # as a backup has it
    line("withdrawn", cast.other_coach)
    assert again() == Replayed(0, 2)
    assert not Membership.objects.current().filter(pk=coach.pk).exists()
    assert not User.objects.get(pk=cast.other_coach.pk).is_active


def test_swim_of_which_somebody_said_not_me_is_hidden_again(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    line("withdrawn", swim, purpose=ledger.NOT_ME)
    assert again() == Replayed(0, 1)
    swim.refresh_from_db()
    assert (swim.person, swim.passed_at, swim.given_at) == (Swim.Person.WRONG, None, None)
    assert not Swim.objects.visible_to(cast.coach).filter(pk=swim.pk).exists()


def test_clip_with_a_minor_is_hidden_again(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    line("withdrawn", clip, purpose=ledger.MINOR)
    assert again() == Replayed(0, 1)
    assert MinorReport.objects.get().clip_id == clip.pk
    assert not Clip.objects.visible_to(cast.coach).filter(pk=clip.pk).exists()


def test_wish_to_be_erased_begins_again_and_a_taken_back_one_does_not(cast: Cast) -> None:
    tomas, wren = (cast.swims[who].entry.swimmer for who in ("tomas", "wren"))
    for swimmer in (tomas, wren):
        line("withdrawn", swimmer, purpose=ledger.WANTS_ERASURE)
    after = LATER + dt.timedelta(hours=1)
    line("withdrawn", wren, purpose=ledger.WANTS_NO_ERASURE, at=after)
    assert again() == Replayed(0, 3)
    states = dict(PersonRequest.objects.values_list("subject_id", "state"))
    assert states == {tomas.pk: "waiting", wren.pk: "taken-back"}
    assert PersonRequest.objects.get(subject_id=tomas.pk).act_at == LATER + dt.timedelta(days=7)


def test_hold_holds_again_and_one_that_ended_does_not(cast: Cast) -> None:
    held, ended = cast.swims["tomas"], cast.swims["wren"]
    line("withdrawn", held, purpose=ledger.HOLD, by=cast.admin)
    old = Hold.objects.create(
        subject_kind="clinics.Swim",
        subject_id=ended.pk,
        reason="asked for",
        owner=cast.admin,
        review_on=dt.date(2027, 1, 1),
    )
    line("withdrawn", ended, purpose=ledger.HOLD_ENDED)
    assert again() == Replayed(0, 2)
    assert not Swim.objects.visible_to(cast.coach).filter(pk=held.pk).exists()
    made = Hold.objects.get(subject_id=held.pk)
    assert (made.owner, made.created_at, made.ended_at) == (cast.admin, LATER, None)
    old.refresh_from_db()
    assert old.ended_at == LATER


@pytest.mark.django_db(transaction=True)
def test_acts_of_every_package_are_noted() -> None:
    """Through the acts themselves: else a restore would open again what they closed."""
    cast = build_cast()
    swim, clip = cast.swims["tomas"], cast.clips["tomas"][0]
    hold(
        club=cast.harbour,
        kind="clinics.Swim",
        pk=cast.swims["wren"].pk,
        reason="asked for",
        review_on=timezone.localdate() + dt.timedelta(days=9),
        by=cast.admin,
    )
    share = Share.objects.create(
        swim=swim, token_hash="ab" * 32, made_by=cast.tomas, expires_at=LATER
    )
    end_share(share=share, by=cast.tomas)
    publication = publish.say_as_swimmer(clip=clip, by=cast.tomas)
    publish.end(publication=publication, by=cast.tomas)
    report_minor(clip=clip, by=cast.tomas)
    deactivate(user=cast.other_coach, by=cast.admin)
    not_me(swim=swim, by=cast.tomas)
    told = [(line.kind, line.purpose) for line in ledger.lines()]
    assert told == [
        ("clinics.Swim", "hold"),
        ("clinics.Share", ""),
        ("clinics.Publication", ""),
        ("clinics.Clip", "minor"),
        ("portal.User", ""),
        ("clinics.Swim", "not-me"),
    ]
