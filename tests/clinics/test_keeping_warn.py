"""People are told 14 days before something of theirs goes, and 3."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from clinics.actions import keeping_warn
from clinics.actions.close_clinic import close_clinic
from clinics.actions.keeping import date_originals
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clinic, Clip, Swim, Swimmer
from portal.models import DueWarning, Hold, OutboxMail
from tests.cast import Cast


@pytest.fixture(autouse=True)
def later(cast: Cast) -> None:
    """Everything has its date, and nothing goes soon."""
    date_swims(Swim.objects.all())


def goes_in(swim: Swim, **about: float) -> None:
    """The first of the swim's clips goes then."""
    clip = swim.clips.order_by("pk")[0]
    at = timezone.now() + dt.timedelta(**about)
    Clip.objects.filter(pk=clip.pk).update(delete_by=at)


def mails() -> list[tuple[str, str]]:
    found = [(mail.to, mail.body) for mail in OutboxMail.objects.order_by("to")]
    OutboxMail.objects.all().delete()
    return found


def test_nobody_is_told_of_what_goes_later(cast: Cast) -> None:
    goes_in(cast.swims["tomas"], days=14, hours=1)
    assert keeping_warn.warn() == 0 and mails() == []


def test_a_swimmer_is_told_once_14_days_before_and_once_3(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    goes_in(tomas, days=13)
    assert keeping_warn.warn() == 1
    [(to, body)] = mails()
    assert to == cast.tomas.email and f"/swims/{tomas.pk}/" in body
    assert keeping_warn.warn() == 0
    goes = tomas.clips.order_by("pk")[0].delete_by
    goes_in(tomas, days=2)
    told = DueWarning.objects.get()
    assert (told.delete_by, told.days_before) == (goes, 14)
    assert keeping_warn.warn() == 1 and len(mails()) == 1
    assert keeping_warn.warn() == 0
    assert set(DueWarning.objects.values_list("days_before", flat=True)) == {14, 3}


def test_what_is_first_seen_late_is_told_of_once(cast: Cast) -> None:
    goes_in(cast.swims["tomas"], days=2)
    assert keeping_warn.warn() == 1
    assert keeping_warn.warn() == 0
    assert list(DueWarning.objects.values_list("days_before", flat=True)) == [3]


def test_one_mail_tells_a_person_of_all_their_swims_and_of_nobody_elses(cast: Cast) -> None:
    tomas, wren = cast.swims["tomas"], cast.swims["wren"]
    Swimmer.objects.filter(pk=wren.entry.swimmer_id).update(user=cast.tomas)  # a couple
    goes_in(tomas, days=13)
    goes_in(wren, days=13)
    goes_in(cast.swims["other"], days=13)
    assert keeping_warn.warn() == 2
    (other, others), (to, body) = sorted(mails(), key=lambda one: one[0] == cast.tomas.email)
    assert (other, to) == (cast.other_swimmer.email, cast.tomas.email)
    assert str(tomas.pk) in body and str(wren.pk) in body
    assert str(cast.swims["other"].pk) in others and str(tomas.pk) not in others
    for name in ("Tomas", "Wren", "Kit"):
        assert name not in body + others


def test_who_has_no_account_is_told_at_the_rosters_address(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    Swimmer.objects.filter(pk=swimmer.pk).update(user=None, email="Tomas@home.example")
    goes_in(cast.swims["tomas"], days=13)
    keeping_warn.warn()
    assert [to for to, _body in mails()] == ["tomas@home.example"]
    Swimmer.objects.filter(pk=swimmer.pk).update(email="")
    goes_in(cast.swims["tomas"], days=12)
    assert keeping_warn.warn() == 0


@pytest.mark.parametrize("why", ["not given", "held", "wrong", "past"])
def test_who_cannot_see_the_swim_is_not_told(cast: Cast, why: str) -> None:
    tomas = cast.swims["tomas"]
    goes_in(tomas, days=13)
    if why == "not given":
        Swim.objects.filter(pk=tomas.pk).update(given_at=None)
    elif why == "wrong":
        Swim.objects.filter(pk=tomas.pk).update(given_at=None, person="wrong")
    elif why == "held":
        Hold.objects.create(
            subject_kind="clinics.Swim",
            subject_id=tomas.pk,
            reason="asked for by the insurer",
            owner=cast.admin,
            review_on=timezone.localdate(),
        )
    else:
        goes_in(tomas, days=-1)
    assert keeping_warn.warn() == 0 and mails() == []


def test_a_warning_is_in_the_language_of_who_reads_it(cast: Cast) -> None:
    """Told by the date, which is written as that language writes it."""
    cast.tomas.language = "fr"
    cast.tomas.save()
    goes_in(cast.swims["tomas"], days=13)
    keeping_warn.warn()
    [(_to, body)] = mails()
    assert "novembre 2026" in body


def test_admins_are_told_of_originals_and_of_what_was_never_given(cast: Cast) -> None:
    closed = close_clinic(clinic=cast.clinic, by=cast.admin)
    at = timezone.now() - dt.timedelta(days=20)
    Clinic.objects.filter(pk=closed.pk).update(closed_at=at)
    closed.refresh_from_db()
    date_originals(clinic=closed)
    soon = timezone.now() + dt.timedelta(days=9)
    never = Swim.objects.filter(entry__clinic=cast.clinic).exclude(pk=cast.swims["sol"].pk)
    never.update(given_at=None, delete_by=soon)
    assert keeping_warn.warn() == 1
    [(to, body)] = mails()
    assert to == cast.admin.email
    assert "the originals of Autumn clinic" in body
    assert "2 swims of Autumn clinic that were never given" in body
    assert f"/clubs/{cast.harbour.slug}/keeping/" in body and "Tomas" not in body
    assert keeping_warn.warn() == 0
