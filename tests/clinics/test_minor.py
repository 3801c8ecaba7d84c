"""“A minor is in this clip”: away at once, and two people find out."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.minor import find, report_minor, sweep
from clinics.models import Clip, MinorReport, Swim
from portal.models import AuditEntry, OutboxMail, StoredFile
from tests import showing
from tests.cast import Cast, make_member, sign_in


def who_sees(cast: Cast, clip: Clip) -> set[str]:
    rows = Clip.objects.filter(pk=clip.pk)
    people = cast.people().items()
    return {
        who
        for who, user in people
        if rows.visible_to(user).exists() or (user is not None and rows.handled_by(user).exists())
    }


def test_anyone_who_sees_a_clip_puts_it_away_from_everyone_at_once(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    assert who_sees(cast, clip) == {"swimmer", "coach", "checker"}
    client = sign_in(Client(), cast.tomas)
    assert "minor" in client.get(reverse("clinics:minor", args=[clip.pk])).content.decode()
    client.post(reverse("clinics:minor", args=[clip.pk]))
    assert who_sees(cast, clip) == set()
    video = clip.files.get(kind="video")
    for user in (cast.tomas, cast.coach, cast.checker, cast.admin):
        url = reverse("clinics:clip-file", args=[video.pk])
        assert sign_in(Client(), user).get(url).status_code == 404
    assert who_sees(cast, cast.clips["tomas"][1]) == {"swimmer", "coach", "checker"}
    told = set(OutboxMail.objects.values_list("to", flat=True))
    assert told == {cast.admin.email, cast.checker.email}
    assert "Tomas" not in OutboxMail.objects.all()[0].body
    assert AuditEntry.objects.filter(action="minor.report").count() == 1


def test_who_does_not_see_a_clip_says_nothing_of_it(cast: Cast) -> None:
    for user in (cast.wren, cast.other_coach, cast.admin):
        with pytest.raises(PermissionDenied):
            report_minor(clip=cast.clips["tomas"][0], by=user)
    assert not MinorReport.objects.exists()


def test_two_people_find_out_and_neither_is_who_reported_it(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    report = showing.report(cast, clip, by=cast.checker)
    with pytest.raises(PermissionDenied):
        find(report=report, outcome="adult", by=cast.checker)
    with pytest.raises(PermissionDenied):
        find(report=report, outcome="adult", by=cast.coach)
    for _twice in range(2):
        assert find(report=report, outcome="adult", by=cast.admin).resolved_at is None
    assert who_sees(cast, clip) == set()
    make_member(cast.harbour, cast.other_admin, "admin")
    assert find(report=report, outcome="deleted", by=cast.other_admin).resolved_at is None
    assert find(report=report, outcome="adult", by=cast.admin).resolved_at is None
    assert find(report=report, outcome="adult", by=cast.other_admin).resolved_at is not None
    assert who_sees(cast, clip) == {"swimmer", "coach", "checker"}


def resolved(cast: Cast, outcome: str) -> Clip:
    clip = cast.clips["tomas"][0]
    report = showing.report(cast, clip)
    for user in (cast.admin, cast.checker):
        find(report=report, outcome=outcome, by=user)
    return clip


def test_what_is_to_be_covered_is_shown_once_it_is_covered_and_passed_on(cast: Cast) -> None:
    clip = resolved(cast, "covered")
    assert who_sees(cast, clip) == {"checker"}
    showing.pass_again(cast.swims["tomas"], timezone.now())
    assert who_sees(cast, clip) == {"checker"}  # made again, and not covered
    showing.cover(cast, clip, "wren", timezone.now())
    assert who_sees(cast, clip) == {"checker"}
    showing.pass_again(cast.swims["tomas"], timezone.now() + dt.timedelta(seconds=1))
    assert who_sees(cast, clip) == {"swimmer", "coach", "checker"}


def test_what_is_to_be_deleted_is_due_and_stays_hidden_and_due(cast: Cast) -> None:
    clip = resolved(cast, "deleted")
    stored = clip.files.get(kind="video").stored_id
    for _again in range(2):
        assert who_sees(cast, clip) == set()
        clip.refresh_from_db()
        assert clip.delete_by is not None and clip.delete_by <= timezone.now()
        assert StoredFile.objects.get(pk=stored).delete_by == clip.delete_by
        later = timezone.now() + dt.timedelta(days=90)
        Clip.objects.filter(pk=clip.pk).update(delete_by=later)  # a rule was counted anew
        assert who_sees(cast, clip) == set()
        assert sweep() == 1 and sweep() == 0


def test_the_pages_lead_two_people_to_an_answer(cast: Cast) -> None:
    report = showing.report(cast, cast.clips["tomas"][0])
    url = reverse("clinics:minor-report", args=[report.pk])
    admin, checker = sign_in(Client(), cast.admin), sign_in(Client(), cast.checker)
    listed = admin.get(reverse("clinics:showing", args=[cast.harbour.slug])).content.decode()
    assert url in listed and "Tomas Birk" in listed
    assert "<video" not in admin.get(url).content.decode()
    assert "<video" in checker.get(url).content.decode()
    film = reverse("clinics:minor-film", args=[report.pk])
    assert checker.get(film).status_code == 200 and admin.get(film).status_code == 404
    assert AuditEntry.objects.filter(action="minor.look", actor_id=cast.checker.pk).exists()
    for client in (admin, checker):
        client.post(url, {"outcome": "adult"})
    report.refresh_from_db()
    assert report.outcome == "adult" and report.resolved_at is not None
    assert Swim.objects.filter(pk=cast.swims["tomas"].pk).visible_to(cast.coach).exists()


def test_what_waits_stands_before_what_was_found_later(cast: Cast) -> None:
    waits, found = (showing.report(cast, clip) for clip in cast.clips["tomas"][:2])
    rows = MinorReport.objects.filter(pk=found.pk)
    rows.update(
        reported_at=waits.reported_at + dt.timedelta(days=1),
        resolved_at=timezone.now(),
        outcome="adult",
        first_by=cast.admin,
        second_by=cast.checker,
    )
    page = sign_in(Client(), cast.admin).get(reverse("clinics:showing", args=[cast.harbour.slug]))
    assert page.text.index(str(waits.pk)) < page.text.index(str(found.pk))


def test_who_reported_it_as_checker_does_not_look_and_does_not_answer(cast: Cast) -> None:
    report = showing.report(cast, cast.clips["tomas"][0], by=cast.checker)
    client = sign_in(Client(), cast.checker)
    url = reverse("clinics:minor-report", args=[report.pk])
    page = client.get(url).content.decode()
    assert "<video" not in page and "That is my answer" not in page
    assert client.get(reverse("clinics:minor-film", args=[report.pk])).status_code == 404
    client.post(url, {"outcome": "adult"})
    report.refresh_from_db()
    assert report.outcome == ""
