"""Copies outside the site: out, safely in, wiped; a phone that copies by itself is a trap."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.utils import timezone

from clinics.actions import custody
from clinics.actions.custody import CustodyRefused
from clinics.models import Clinic, Custody, SourceFile, Upload
from portal.models import AuditEntry
from tests.cast import Cast, sign_in


def out(cast: Cast, kind: str = "card", *, station: bool = True) -> Custody:
    return custody.hand_over(
        clinic=cast.clinic,
        kind=kind,
        label="A 1",
        holder="Petra Voss",
        station=cast.underwater if station else None,
        by=cast.crew,
    )


def bring_in(cast: Cast) -> None:
    """All of the station has come in and was read back."""
    sources = SourceFile.objects.filter(recording__station=cast.underwater)
    sources.update(verified_at=timezone.now() + dt.timedelta(minutes=1))


def test_a_card_is_out_until_it_is_safely_in_and_wiped(cast: Cast) -> None:
    row = out(cast)
    assert list(custody.open_items(cast.harbour)) == [row]
    bring_in(cast)
    row = custody.note_safely_in(row=row, by=cast.crew)
    assert list(custody.open_items(cast.harbour)) == [row]
    row = custody.note_wiped(row=row, wiped_by="Petra Voss", by=cast.crew)
    assert row.wiped_at is not None and row.wiped_by_name == "Petra Voss"
    assert list(custody.open_items(cast.harbour)) == []
    told = AuditEntry.objects.filter(subject_id=str(row.pk)).values_list("action", flat=True)
    assert sorted(told) == ["custody.hand-over", "custody.safely-in", "custody.wipe"]
    texts = AuditEntry.objects.filter(subject_id=str(row.pk)).values_list("text", flat=True)
    assert not any("Petra" in text for text in texts)


def test_nothing_is_wiped_before_it_is_safely_in(cast: Cast) -> None:
    row = out(cast)
    with pytest.raises(CustodyRefused, match="safely in"):
        custody.note_wiped(row=row, wiped_by="Petra Voss", by=cast.crew)
    row.refresh_from_db()
    assert row.wiped_at is None


def test_safely_in_is_what_came_in_from_its_station_since(cast: Cast) -> None:
    sources = SourceFile.objects.filter(recording__station=cast.underwater)
    sources.update(verified_at=timezone.now() - dt.timedelta(minutes=1))
    row = out(cast)
    with pytest.raises(CustodyRefused, match="Nothing has come in"):
        custody.note_safely_in(row=row, by=cast.crew)
    bring_in(cast)
    upload = Upload.objects.create(
        station=cast.underwater,
        owner=cast.crew,
        name="b.mp4",
        size_bytes=9,
        expires_at=timezone.now() + dt.timedelta(days=7),
    )
    assert custody.came_in_to([row])[row.pk] == custody.CameIn(checked=1, waiting=1)
    with pytest.raises(CustodyRefused, match="still being sent"):
        custody.note_safely_in(row=row, by=cast.crew)
    Upload.objects.filter(pk=upload.pk).update(state="taken")
    assert custody.note_safely_in(row=row, by=cast.crew).safely_in_at is not None


def test_a_laptop_of_no_station_is_believed(cast: Cast) -> None:
    row = out(cast, "laptop", station=False)
    assert custody.note_safely_in(row=row, by=cast.crew).safely_in_at is not None


def test_a_wiped_phone_stays_open_until_its_copies_are_looked_at(cast: Cast) -> None:
    row = out(cast, "phone")
    bring_in(cast)
    custody.note_safely_in(row=row, by=cast.crew)
    custody.note_wiped(row=row, wiped_by="Petra Voss", by=cast.crew)
    assert list(custody.open_items(cast.harbour)) == [row]
    custody.note_copies_off(row=row, by=cast.crew)
    assert list(custody.open_items(cast.harbour)) == []


def test_said_twice_the_first_time_counts(cast: Cast) -> None:
    row = out(cast, "phone")
    bring_in(cast)
    for _twice in range(2):
        first = custody.note_safely_in(row=row, by=cast.crew).safely_in_at
        off = custody.note_copies_off(row=row, by=cast.crew).copies_itself_off_at
        custody.note_wiped(row=row, wiped_by="Petra Voss", by=cast.crew)
    row.refresh_from_db()
    assert (row.safely_in_at, row.copies_itself_off_at) == (first, off)
    assert AuditEntry.objects.filter(subject_id=str(row.pk)).count() == 4


def test_crew_note_until_the_clinic_is_closed_and_admins_after(cast: Cast) -> None:
    for user in (cast.coach, cast.tomas, cast.other_admin):
        with pytest.raises(PermissionDenied):
            custody.hand_over(
                clinic=cast.clinic, kind="card", label="x", holder="y", station=None, by=user
            )
    row = out(cast, "laptop", station=False)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    with pytest.raises(PermissionDenied):
        custody.note_safely_in(row=row, by=cast.crew)
    custody.note_safely_in(row=row, by=cast.admin)


def test_the_page_takes_a_carrier_from_out_to_wiped(cast: Cast) -> None:
    client = sign_in(Client(), cast.crew)
    url = f"/clinics/{cast.clinic.pk}/custody/"
    assert "copies its pictures to a service" in client.get(url).content.decode()
    new = {"kind": "phone", "label": "=1", "holder": "Petra Voss", "station": cast.underwater.pk}
    assert client.post(url, {**new, "label": ""}).status_code == 422
    assert client.post(url, new).status_code == 302
    row = Custody.objects.get()
    assert (row.noted_by, row.station) == (cast.crew, cast.underwater)
    step = f"/custody/{row.pk}/"
    refused = client.post(step, {"do": "wiped", "wiped_by": "Petra"}, follow=True)
    assert "safely in" in refused.content.decode()
    bring_in(cast)
    for do in ("copies-off", "safely-in", "wiped", "nothing"):
        assert client.post(step, {"do": do, "wiped_by": "Petra Voss"}).status_code == 302
    row.refresh_from_db()
    assert row.wiped_at is not None and not custody.is_open(row)
    assert "Wiped by Petra Voss" in client.get(url).content.decode()
    assert "'=1" in client.get(url, {"as": "csv"}).content.decode()  # a cell is never a formula


def test_open_carriers_stand_on_the_admins_page(cast: Cast) -> None:
    out(cast)
    page = sign_in(Client(), cast.admin).get(f"/clubs/{cast.harbour.slug}/keeping/")
    assert "with Petra Voss since" in page.content.decode()
