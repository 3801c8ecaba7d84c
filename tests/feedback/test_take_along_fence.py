"""The fence around what was made to take along: who gets it, and from when on nobody does."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.check import reassign
from clinics.actions.consent import end_consent, record_consent
from clinics.models import Clip, Recognised
from feedback.actions import make_take_along
from feedback.actions import take_along as acts
from feedback.compute.take_along import Kind
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from portal.models import Job, StoredFile, User
from tests.cast import make_stored, sign_in
from tests.feedback.filmed_swim import Filmed, fetched, file_url, path_of, url


def test_who_gets_it(filmed: Filmed) -> None:
    cast = filmed.cast
    mine, made = filmed.made(filmed.still()), filmed.made(filmed.still(), for_swimmer=True)
    own = filmed.made(filmed.still(), cast.tomas)
    for who, user in cast.people().items():
        if user is None:
            continue
        found = {name for name, row in (("mine", mine), ("made", made), ("own", own))
                 if fetched(user, row) == 200}  # fmt: skip
        expected = {"coach": {"mine", "made"}, "swimmer": {"made", "own"}}.get(who, set())
        assert found == expected, who


def test_the_swimmer_gets_it_once_the_swim_is_given(filmed: Filmed) -> None:
    made = filmed.made(filmed.still(), for_swimmer=True)
    swim = filmed.cast.swims["tomas"]
    for given_at, status in ((None, 404), (timezone.now(), 200)):
        type(swim).objects.filter(pk=swim.pk).update(given_at=given_at)
        assert fetched(filmed.cast.tomas, made) == status


def gone(filmed: Filmed, row: TakeAlong, user: User) -> None:
    """Whole, in parts, in the list, as a job, and to whoever wants to remove it."""
    random_id = reverse("feedback:take-along-file", args=[filmed.clips[0].pk])
    absent = sign_in(Client(), user).get(random_id)
    for headers in ({}, {"Range": "bytes=100-199"}):
        answer = sign_in(Client(), user).get(file_url(row), headers=headers)
        assert answer.status_code == absent.status_code == 404
        assert answer.content.replace(str(row.pk).encode(), b"") == absent.content.replace(
            str(filmed.clips[0].pk).encode(), b""
        )
    page = sign_in(Client(), user).get(url(filmed))
    assert page.status_code == 404 or str(row.pk) not in page.content.decode()
    remove = reverse("feedback:take-along-remove", args=[row.pk])
    assert sign_in(Client(), user).post(remove).status_code == 404
    assert not Job.objects.visible_to(user).filter(subject_id=row.pk).exists()


def test_withdrawing_takes_it_from_others_at_once(filmed: Filmed) -> None:
    row = filmed.made(filmed.still())
    own = filmed.made(filmed.still(), filmed.cast.tomas)
    coach, swimmer = filmed.cast.coach, filmed.cast.swims["tomas"].entry.swimmer
    assert fetched(coach, row) == 200 and fetched(coach, row, Range="bytes=0-99") == 206
    end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)
    gone(filmed, row, coach)
    assert fetched(filmed.cast.tomas, own) == 200  # time to take along what is theirs
    for one in (row, own):
        one.refresh_from_db()
        clip = Clip.objects.get(pk=filmed.clips[1].pk)
        assert one.stored is not None and one.stored.delete_by == clip.delete_by is not None
    record_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.admin)
    own.stored.refresh_from_db()  # type: ignore[union-attr]
    later = Clip.objects.get(pk=filmed.clips[1].pk).delete_by
    assert own.stored and later and own.stored.delete_by == later > clip.delete_by
    assert fetched(coach, row) == 200


def test_somebody_else_in_the_picture_withdraws(filmed: Filmed) -> None:
    wren = filmed.cast.swims["wren"].entry.swimmer
    Recognised.objects.create(swim=filmed.cast.swims["tomas"], swimmer=wren)
    row = filmed.made(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)), for_swimmer=True)
    assert fetched(filmed.cast.coach, row) == fetched(filmed.cast.tomas, row) == 200
    end_consent(swimmer=wren, purpose="film-and-review", by=filmed.cast.wren)
    for user in (filmed.cast.coach, filmed.cast.tomas):
        gone(filmed, row, user)


def test_a_job_in_the_queue_does_nothing_after_that(filmed: Filmed) -> None:
    row = filmed.ask(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)))
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)
    drain()
    row.refresh_from_db()
    assert row.state == TakeAlong.State.FAILED and row.stored is None
    assert not StoredFile.objects.filter(kind=acts.FILE_KIND).exists()


def test_withdrawn_while_it_is_made_it_is_not_published(
    filmed: Filmed, monkeypatch: pytest.MonkeyPatch
) -> None:
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    really = make_take_along.save_still

    def save_and_withdraw(*told: Any) -> None:
        really(*told)
        end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)

    monkeypatch.setattr(make_take_along, "save_still", save_and_withdraw)
    row = filmed.ask(filmed.still())
    drain()
    row.refresh_from_db()
    assert row.state == TakeAlong.State.FAILED and row.stored is None
    assert not StoredFile.objects.filter(kind=acts.FILE_KIND).exists()


@pytest.mark.parametrize("what", ["removed", "made again", "being made", "due", "another's"])
def test_what_it_was_made_of_changes(
    filmed: Filmed, what: str, django_capture_on_commit_callbacks: Any
) -> None:
    """Out of sight at once, the file with the next sweep; but what is only being made again
    may become what it was."""
    row = filmed.made(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)))
    path, clips = path_of(row), Clip.objects.filter(pk=filmed.clips[1].pk)
    later = timezone.now() + dt.timedelta(seconds=5)
    if what == "removed":
        filmed.clips[1].delete()
    elif what == "made again":
        clips.update(rendered_at=later)
        row.swim.passed_at = later
        row.swim.save()
    elif what == "being made":
        clips.update(state="rendering")
    elif what == "due":
        clips.update(delete_by=timezone.now())
    else:
        reassign(swim=row.swim, entry=filmed.cast.swims["wren"].entry, by=filmed.cast.checker)
        type(row.swim).objects.filter(pk=row.swim_id).update(
            passed_at=later, person="confirmed", others_recorded_at=later, given_at=later
        )
    gone(filmed, row, filmed.cast.coach)
    with django_capture_on_commit_callbacks(execute=True):
        swept = acts.sweep()
    stays = what == "being made"
    assert (swept, path.exists(), TakeAlong.objects.filter(pk=row.pk).exists()) == (
        int(not stays),
        stays,
        stays,
    )


def test_the_sweep_takes_files_whose_swim_is_gone(filmed: Filmed) -> None:
    row = filmed.made(filmed.still())
    stored, path = row.stored, path_of(row)
    other = make_stored(filmed.cast.harbour, b"x", kind="poster", suffix=".jpg")
    row.delete()  # as a swim that was none takes its rows along
    assert acts.sweep() == 0 and path.exists()  # it may be about to get its row
    old = timezone.now() - acts.ORPHAN_AFTER - dt.timedelta(seconds=1)
    StoredFile.objects.filter(pk__in=[stored.pk, other.pk]).update(created_at=old)  # type: ignore[union-attr]
    assert acts.sweep() == 1 and not path.exists() and other.local_path().exists()
    assert acts.sweep() == 0


def test_the_sweep_leaves_what_is_in_sight(filmed: Filmed) -> None:
    filmed.made(filmed.still())
    filmed.ask(filmed.still(40))
    assert acts.sweep() == 0 and TakeAlong.objects.count() == 2
