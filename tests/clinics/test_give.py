"""Giving a swim to its swimmer, and the mail that says so."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import resolve

from clinics.actions.give import give_swim
from clinics.actions.pass_on import pass_swims
from clinics.models import Clinic, Consent, Swim
from portal.models import AuditEntry, OutboxMail
from tests.cast import Cast


@pytest.fixture
def swim(cast: Cast) -> Swim:
    """Passed on, not yet given."""
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None, given_by=None)
    return Swim.objects.get(pk=cast.swims["tomas"].pk)


def test_a_coach_gives_once_and_one_mail_goes_out(cast: Cast, swim: Swim) -> None:
    assert not Swim.objects.filter(pk=swim.pk).visible_to(cast.tomas).exists()
    for _again in range(2):
        given = give_swim(swim=swim, by=cast.coach)
    assert given.given_by == cast.coach
    assert Swim.objects.filter(pk=swim.pk).visible_to(cast.tomas).exists()
    assert AuditEntry.objects.filter(action="swim.give").count() == 1
    mail = OutboxMail.objects.get()
    assert mail.to == cast.tomas.email


def test_the_mail_names_nobody_and_leads_to_the_swims_page(cast: Cast, swim: Swim) -> None:
    give_swim(swim=swim, by=cast.coach)
    mail = OutboxMail.objects.get()
    text = mail.subject + mail.body
    for user in cast.people().values():
        assert user is None or (user.name not in text and user.name.split()[0] not in text)
    path = f"/swims/{swim.pk}/"
    assert path in mail.body
    assert resolve(path).view_name == "feedback:swim"
    assert str(cast.clips["tomas"][0].files.first().pk) not in mail.body


@pytest.mark.parametrize(
    "who", ["checker", "crew", "admin", "tomas", "wren", "other_coach", "other_admin"]
)
def test_nobody_else_gives(cast: Cast, swim: Swim, who: str) -> None:
    with pytest.raises(PermissionDenied):
        give_swim(swim=swim, by=getattr(cast, who))
    assert OutboxMail.objects.count() == 0


def test_what_is_not_passed_on_is_not_given(cast: Cast, swim: Swim) -> None:
    Swim.objects.filter(pk=swim.pk).update(passed_at=None)
    with pytest.raises(PermissionDenied):
        give_swim(swim=swim, by=cast.coach)


def test_a_swim_of_somebody_who_withdrew_is_not_given(cast: Cast, swim: Swim) -> None:
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=swim.start_at)
    with pytest.raises(PermissionDenied):
        give_swim(swim=swim, by=cast.coach)


def test_a_coach_who_swims_gives_not_the_own_swim_of_another_club(cast: Cast) -> None:
    """Seeing a swim as its swimmer is not coaching it."""
    Swim.objects.filter(pk=cast.swims["other"].pk).update(given_at=None)
    swimmer = cast.swims["other"].entry.swimmer
    swimmer.user = cast.coach
    swimmer.save()
    with pytest.raises(PermissionDenied):
        give_swim(swim=cast.swims["other"], by=cast.coach)


def test_without_an_address_it_is_given_without_a_mail(cast: Cast, swim: Swim) -> None:
    swimmer = swim.entry.swimmer
    swimmer.user, swimmer.email = None, ""
    swimmer.save()
    assert give_swim(swim=swim, by=cast.coach).given_at is not None
    assert OutboxMail.objects.count() == 0


def test_the_mail_is_in_the_swimmers_language_or_english(cast: Cast, swim: Swim) -> None:
    cast.tomas.language = "fr"
    cast.tomas.save()
    give_swim(swim=swim, by=cast.coach)
    assert "14 novembre 2026" in OutboxMail.objects.get().body


def test_a_clinic_that_gives_at_once_gives_when_passing(cast: Cast, swim: Swim) -> None:
    Swim.objects.filter(pk=swim.pk).update(passed_at=None)
    Clinic.objects.filter(pk=cast.clinic.pk).update(give="at_once")
    pass_swims(swims=[swim], by=cast.checker)
    row = Swim.objects.get(pk=swim.pk)
    assert row.given_at is not None and row.given_by == cast.checker
    assert OutboxMail.objects.get().to == cast.tomas.email
