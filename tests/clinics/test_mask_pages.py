"""The pages on which areas are covered: at a station, and in a clip on the page of its swim."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from clinics.actions.cut import plan_cuts
from clinics.actions.masks import Area, cover_clip, cover_station
from clinics.models import Clinic, Clip, ClipMask, StationMask
from portal.models import AuditEntry, Job, StoredFile
from tests.cast import FIRST_START, Cast, sign_in

AREA = Area(0.1, 0.2, 0.3, 0.4)
FIGURES = {"left": "10", "top": "20", "width": "30", "height": "40"}


def station_page(cast: Cast) -> str:
    return reverse("clinics:station-masks", args=[cast.start_side.pk])


def clip_of(cast: Cast) -> Clip:
    return cast.clips["tomas"][0]


def frames_of(clip: Clip) -> dict[str, str]:
    return {"first_frame": str(clip.first_frame + 5), "last_frame": str(clip.first_frame + 50)}


def check_page(cast: Cast) -> str:
    return reverse("clinics:check-swim", args=[cast.swims["tomas"].pk])


# --- a station -----------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["admin", "checker"])
def test_a_station_is_covered_by_its_figures(cast: Cast, who: str) -> None:
    client = sign_in(Client(), getattr(cast, who))
    answer = client.post(station_page(cast), {**FIGURES, "note": "Bench"}, follow=True)
    mask = StationMask.objects.get()
    assert (mask.left, mask.top, mask.width, mask.height) == (0.1, 0.2, 0.3, 0.4)
    assert (mask.note, mask.made_by) == ("Bench", getattr(cast, who))
    page = answer.content.decode()
    assert "1: Bench" in page and "made again" in page
    hidden = Clip.objects.filter(station=cast.start_side).values_list("state", flat=True)
    assert set(hidden) == {"waiting"}
    assert set(Clip.objects.exclude(station=cast.start_side).values_list("state", flat=True)) == {
        "ready"
    }


def test_only_a_checker_gets_a_picture(cast: Cast) -> None:
    picture = f"/recordings/{cast.recordings['start-side'].pk}/frames/"
    assert picture in sign_in(Client(), cast.checker).get(station_page(cast)).content.decode()
    page = sign_in(Client(), cast.admin).get(station_page(cast)).content.decode()
    assert "/recordings/" not in page and 'name="left"' in page


def test_the_picture_asked_for_is_shown(cast: Cast) -> None:
    client, row = sign_in(Client(), cast.checker), cast.recordings["start-side"]
    answer = client.get(station_page(cast), {"recording": row.pk, "frame": 77})
    assert reverse("clinics:recording-frame", args=[row.pk, 77]) in answer.content.decode()


def test_wrong_figures_say_what_is_wrong_and_stay(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    answer = client.post(station_page(cast), {**FIGURES, "left": "90"})
    page = answer.content.decode()
    assert answer.status_code == 422 and "within the picture" in page
    assert 'value="90"' in page or 'value="90.0"' in page
    assert not StationMask.objects.exists()


def test_a_station_is_uncovered(cast: Cast) -> None:
    mask = cover_station(station=cast.start_side, area=AREA, by=cast.checker)
    client = sign_in(Client(), cast.admin)
    answer = client.post(reverse("clinics:station-uncover", args=[mask.pk]), follow=True)
    assert "Uncovered" in answer.content.decode() and not StationMask.objects.exists()


def test_of_a_closed_clinic_nothing_is_covered(cast: Cast) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=FIRST_START)
    client = sign_in(Client(), cast.admin)
    assert "This clinic is closed" in client.get(station_page(cast)).content.decode()
    assert "This clinic is closed" in client.post(station_page(cast), FIGURES).content.decode()
    assert not StationMask.objects.exists()


def test_the_plan_leads_there(cast: Cast) -> None:
    plan = reverse("clinics:clinic-plan", args=[cast.clinic.pk])
    for who, leads in (("admin", True), ("checker", True), ("crew", False)):
        page = sign_in(Client(), getattr(cast, who)).get(plan).content.decode()
        assert (station_page(cast) in page) is leads


@pytest.mark.parametrize("many", [1, 3])
def test_many_areas_ask_no_more_questions(
    cast: Cast, many: int, django_assert_max_num_queries: object
) -> None:
    for n in range(many):
        cover_station(station=cast.start_side, area=Area(0.1 * n, 0, 0.1, 0.1), by=cast.admin)
    client = sign_in(Client(), cast.admin)
    client.get(station_page(cast))
    with django_assert_max_num_queries(20):  # type: ignore[operator]
        client.get(station_page(cast))


# --- a clip --------------------------------------------------------------------------------------


def test_a_clip_is_covered_on_the_page_of_its_swim(cast: Cast) -> None:
    client, clip = sign_in(Client(), cast.checker), clip_of(cast)
    wren = cast.swims["wren"].entry.swimmer
    data = {**FIGURES, **frames_of(clip), "covers": wren.pk}
    answer = client.post(reverse("clinics:clip-cover", args=[clip.pk]), data, follow=True)
    mask = ClipMask.objects.get()
    assert (mask.clip, mask.covers, mask.made_by) == (clip, wren, cast.checker)
    assert mask.last_frame - mask.first_frame == 45
    page = answer.content.decode()
    assert f"frames {mask.first_frame} to {mask.last_frame}, Wren Okada" in page
    clip.refresh_from_db()
    assert clip.state == "waiting"
    assert Job.objects.filter(kind="render-clip", subject_id=clip.pk, state="waiting").exists()


def test_a_wrong_frame_is_said(cast: Cast) -> None:
    client, clip = sign_in(Client(), cast.checker), clip_of(cast)
    data = {**FIGURES, "first_frame": "0", "last_frame": "3"}
    answer = client.post(reverse("clinics:clip-cover", args=[clip.pk]), data, follow=True)
    assert "choose within it" in answer.content.decode() and not ClipMask.objects.exists()
    answer = client.post(reverse("clinics:clip-cover", args=[clip.pk]), {}, follow=True)
    assert "First frame: This field is required." in answer.content.decode()


def test_somebody_of_another_club_cannot_be_named(cast: Cast) -> None:
    client, clip = sign_in(Client(), cast.checker), clip_of(cast)
    stranger = cast.swims["other"].entry.swimmer
    data = {**FIGURES, **frames_of(clip), "covers": stranger.pk}
    answer = client.post(reverse("clinics:clip-cover", args=[clip.pk]), data, follow=True)
    assert stranger.name not in answer.content.decode() and not ClipMask.objects.exists()


def covered(cast: Cast, **more: int) -> ClipMask:
    clip = clip_of(cast)
    clip.refresh_from_db()
    begin = clip.first_frame
    frames = {"first_frame": begin + 1, "last_frame": begin + 9}
    return cover_clip(clip=clip, area=AREA, by=cast.checker, **frames)


def test_a_clip_is_uncovered(cast: Cast) -> None:
    mask, client = covered(cast), sign_in(Client(), cast.checker)
    answer = client.post(reverse("clinics:clip-uncover", args=[mask.pk]), follow=True)
    assert "Uncovered" in answer.content.decode() and not ClipMask.objects.exists()


def test_without_originals_the_page_says_what_is_still_possible(cast: Cast) -> None:
    mask, client = covered(cast), sign_in(Client(), cast.checker)
    uncover = reverse("clinics:clip-uncover", args=[mask.pk])
    assert uncover in client.get(check_page(cast)).content.decode()
    StoredFile.objects.filter(kind="original").update(delete_by=FIRST_START, state="deleted")
    page = client.get(check_page(cast)).content.decode()
    assert "can only be made narrower" in page and uncover not in page
    answer = client.post(uncover, follow=True)
    assert "stays covered" in answer.content.decode() and ClipMask.objects.exists()


@pytest.mark.parametrize("many", [1, 3])
def test_many_areas_of_a_clip_ask_no_more_questions(
    cast: Cast, many: int, django_assert_max_num_queries: object
) -> None:
    client = sign_in(Client(), cast.checker)
    client.get(check_page(cast))
    for _n in range(many):
        covered(cast)
    Clip.objects.update(state="ready")
    with django_assert_max_num_queries(60):  # type: ignore[operator]
        client.get(check_page(cast))


# --- after the clinic ----------------------------------------------------------------------------


def test_an_admin_opens_a_closed_clinic_again(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=FIRST_START)
    page = client.get(reverse("clinics:close", args=[cast.clinic.pk])).content.decode()
    assert "open it again" in page and "all dates stay" in page
    url = reverse("clinics:open-again", args=[cast.clinic.pk])
    assert url in page
    assert "is open again" in client.post(url, follow=True).content.decode()
    clinic = Clinic.objects.get(pk=cast.clinic.pk)
    assert (clinic.state, clinic.closed_at) == ("open", FIRST_START)
    entry = AuditEntry.objects.get(action="clinic.open-again")
    assert entry.actor_id == cast.admin.pk


def test_what_has_no_original_gets_no_new_clip(cast: Cast) -> None:
    Clip.objects.all().delete()
    StoredFile.objects.filter(kind="original").update(state="deleted")
    assert plan_cuts(clinic=cast.clinic).added == 0 and not Clip.objects.exists()
