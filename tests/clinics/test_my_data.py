"""My data: per club what can be done; one swim kept longer or deleted now; anything else."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.actions import persons, swim_wishes
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clip, Swim, Swimmer
from portal.actions.erase import ask_to_erase
from portal.actions.requests import answer
from portal.models import PersonRequest, StoredFile
from tests.cast import FIRST_START, Cast, sign_in
from tests.feedback.said import another_go

URL = "clinics:my-data"


def test_it_shows_own_swims_and_nobody_elses(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    page = client.get(reverse(URL)).text
    assert str(cast.swims["tomas"].pk) in page and "Harbour Lane Masters" in page
    assert str(cast.swims["wren"].pk) not in page and "Wren" not in page


def test_who_is_in_no_footage_is_told_so(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    page = client.get(reverse(URL)).text
    assert "No club has footage of you" in page and "Delete my data" not in page


def test_many_swims_take_no_more_queries_than_one(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    counts = []
    for number in (2, 3, 4):
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse(URL))
        counts.append(len(queries))
        another_go(cast.swims["tomas"], number)
    assert counts[0] == counts[2]


def test_a_couple_with_one_address_acts_for_each(cast: Cast, client: Client) -> None:
    second = cast.swims["wren"].entry.swimmer
    Swimmer.objects.filter(pk=second.pk).update(user=cast.tomas, email=cast.tomas.email)
    sign_in(client, cast.tomas)
    page = client.get(reverse(URL)).text
    assert "Harbour Lane Masters: Tomas Birk" in page and "Harbour Lane Masters: Wren Okada" in page
    found = persons.find(second.pk)
    assert found is not None and found.emails == ()  # shared: nobody's alone


def test_the_way_to_an_erasure(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    swimmer = cast.swims["tomas"].entry.swimmer_id
    url = reverse("clinics:my-data-erase", args=[swimmer])
    assert "clips, with what was made of them" in client.get(url).text
    assert client.post(url).status_code == 422 and not PersonRequest.objects.exists()
    client.post(url, {"sure": "on"})
    row = PersonRequest.objects.get()
    assert (row.kind, row.state, row.user) == ("erase", "waiting", cast.tomas)
    page = client.get(reverse(URL)).text
    assert reverse("clinics:my-data-take-back", args=[row.pk]) in page
    assert "See what would go" not in page


def test_somebody_elses_erasure_is_not_taken_back(cast: Cast, client: Client) -> None:
    found = persons.find(cast.swims["tomas"].entry.swimmer_id)
    assert found is not None
    row = ask_to_erase(person=found, by=cast.tomas)
    sign_in(client, cast.wren)
    url = reverse("clinics:my-data-take-back", args=[row.pk])
    assert client.post(url).status_code == 404
    row.refresh_from_db()
    assert row.state == "waiting"


# --- one swim ------------------------------------------------------------------------------------


def test_delete_now_hides_at_once_and_is_due(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    swim = cast.swims["tomas"]
    client.post(reverse("clinics:my-data-swim", args=[swim.pk]), {"wish": "delete-now"})
    for user in (cast.tomas, cast.coach):
        assert not Swim.objects.visible_to(user).filter(pk=swim.pk).exists()
        assert not Clip.objects.visible_to(user).filter(swim=swim).exists()
    now = timezone.now()
    assert all(clip.delete_by <= now for clip in Clip.objects.filter(swim=swim))  # type: ignore[operator]
    stored = cast.clips["tomas"][0].files.get(kind="video").stored_id
    assert StoredFile.objects.get(pk=stored).delete_by <= now  # type: ignore[operator]
    date_swims(Swim.objects.filter(pk=swim.pk))  # the rules do not bring it back
    assert not Swim.objects.visible_to(cast.tomas).filter(pk=swim.pk).exists()
    assert Swim.objects.visible_to(cast.wren).filter(pk=cast.swims["wren"].pk).exists()


def test_keeping_longer_is_the_clubs_to_decide(cast: Cast, client: Client) -> None:
    swims = Swim.objects.filter(pk=cast.swims["tomas"].pk)
    Clip.objects.update(created_at=FIRST_START)  # some days before the club says yes
    date_swims(swims)
    clip = cast.clips["tomas"][0]
    clip.refresh_from_db()
    before = clip.delete_by
    sign_in(client, cast.tomas)
    url = reverse("clinics:my-data-swim", args=[swims.get().pk])
    assert client.post(url, {"wish": "keep-longer", "words": ""}).status_code == 422
    client.post(url, {"wish": "keep-longer", "words": "until my next race"})
    clip.refresh_from_db()
    assert clip.delete_by == before
    answer(request=PersonRequest.objects.get(), by=cast.admin, granted=True, words="Gladly.")
    clip.refresh_from_db()
    assert clip.delete_by is not None and before is not None and clip.delete_by > before


def test_delete_now_ends_the_wish_to_keep(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    keep = swim_wishes.ask_to_keep(swim=swim, by=cast.tomas, words="long")
    swim_wishes.delete_now(swim=swim, by=cast.tomas)
    keep.refresh_from_db()
    assert keep.state == "taken-back"


def test_a_question_reaches_the_club(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    url = reverse("clinics:my-data-write", args=[cast.swims["tomas"].entry.swimmer_id])
    client.post(url, {"words": ""})
    assert not PersonRequest.objects.exists()
    client.post(url, {"words": "My name is spelt Tomás."})
    row = PersonRequest.objects.get()
    assert (row.kind, row.words, row.club) == ("other", "My name is spelt Tomás.", cast.harbour)


@pytest.mark.parametrize("name", ["my-data-take", "my-data-write"])
def test_nobody_acts_for_another(name: str, cast: Cast, client: Client) -> None:
    sign_in(client, cast.wren)
    url = reverse(f"clinics:{name}", args=[cast.swims["tomas"].entry.swimmer_id])
    assert client.post(url, {"words": "x"}).status_code == 404
    assert not PersonRequest.objects.exists()
