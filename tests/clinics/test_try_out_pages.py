"""The try-out's pages: begun, tapped and brought in by plain forms; stills behind the fence."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions import try_out as acts
from clinics.actions.try_out import Who
from clinics.management.demo_try_out import try_out_in_demo
from clinics.models import Clinic, Consent, Station, Swimmer, TryOut, TryOutFile, TryOutStill
from clinics.views.try_out_words import LABELS, finding_words
from portal.models import StoredFile
from tests.cast import Cast, make_still, make_stored, sign_in

GOOD = [
    {
        "check": "focus",
        "state": "ok",
        "what": "sharp",
        "numbers": {"blur_px": 1.2, "where": "left"},
    },
    {
        "check": "start",
        "state": "ok",
        "what": "heard",
        "numbers": {"first_s": 5.2, "gap_s": 13.37, "tapped_s": 13.5, "alike": 0.9},
    },
    {
        "check": "clock",
        "state": "ok",
        "what": "starts",
        "numbers": {"u_s": 0.3, "date_off_s": -14400},
    },
]


def url(name: str, *args: object) -> str:
    return reverse(f"clinics:{name}", args=args)


@pytest.fixture
def crew(cast: Cast) -> Client:
    return sign_in(Client(), cast.crew)


@pytest.fixture
def begun(cast: Cast) -> TryOut:
    two = [Who(name="Ida Quist"), Who(name="Ove Lund")]
    return acts.begin(clinic=cast.clinic, who=two, attested=True, by=cast.crew)


def add_file(row: TryOut, station: Station, cast: Cast, **fields: object) -> TryOutFile:
    club = row.clinic.club
    stored = make_stored(club, b"film", kind="try-out", suffix=".bin", area="originals")
    told = {"state": "judged", "findings": GOOD, "brought_by": cast.crew, "name": "00007.MTS"}
    file = TryOutFile.objects.create(try_out=row, station=station, stored=stored, **(told | fields))
    still = make_stored(club, make_still((9, 9, 9)), kind="try-out-still", suffix=".jpg")
    StoredFile.objects.filter(pk=still.pk).update(content_type="image/jpeg")
    TryOutStill.objects.create(file=file, stored=still, at_s=4.0)
    return file


def test_a_try_out_begins_with_two_adults_who_agreed(cast: Cast, crew: Client) -> None:
    page = url("try-out", cast.clinic.pk)
    shown = crew.get(page).content.decode()
    assert "Tomas Birk" in shown and "Sol Hagen" not in shown  # who withdrew is no choice
    tomas = Swimmer.objects.get(user=cast.tomas)
    said = {"first": str(tomas.pk), "second": "", "second_name": "Ida Quist"}
    refused = crew.post(page, said)
    assert refused.status_code == 422 and "18 or older" in refused.content.decode()
    assert "Ida Quist" in refused.content.decode()  # what was typed stays
    assert crew.post(page, said | {"attested": "on"}).status_code == 302
    row = TryOut.objects.get()
    assert (row.first_swimmer, row.second_name, row.first_name) == (tomas, "Ida Quist", "")


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"first_name": "Ida Quist"}, "write a name"),
        ({"first_name": "Ida Quist", "second_name": " ida quist"}, "Two people"),
        ({"first": "sol", "second_name": "Ida Quist"}, "Select a valid choice"),
    ],
)
def test_who_may_not_swim_is_refused(
    cast: Cast, crew: Client, said: dict[str, str], why: str
) -> None:
    sol = Swimmer.objects.get(user=cast.sol)
    said = {key: str(sol.pk) if value == "sol" else value for key, value in said.items()}
    answer = crew.post(url("try-out", cast.clinic.pk), said | {"attested": "on"})
    assert answer.status_code == 422 and why in answer.content.decode()
    assert not TryOut.objects.exists()


def test_there_is_one_at_a_time_and_none_of_a_closed_clinic(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    said = {"first_name": "A Person", "second_name": "B Person", "attested": "on"}
    assert crew.post(url("try-out", cast.clinic.pk), said).status_code == 422
    assert TryOut.objects.count() == 1
    Clinic.objects.update(state="closed", closed_at=timezone.now())
    admin = sign_in(Client(), cast.admin)
    assert "is closed" in admin.post(url("try-out", cast.clinic.pk), said).content.decode()
    assert crew.get(url("try-out", cast.clinic.pk)).status_code == 404


def test_the_next_one_takes_the_place_of_what_the_last_one_found(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    add_file(begun, cast.start_side, cast)
    assert crew.post(url("try-out-end", cast.clinic.pk)).status_code == 302
    shown = crew.get(url("try-out", cast.clinic.pk)).content.decode()
    assert "What the last one found" in shown and "13.37 s apart" in shown
    assert "Ida Quist" not in shown and "00007.MTS" not in shown
    said = {"first_name": "A Person", "second_name": "B Person", "attested": "on"}
    crew.post(url("try-out", cast.clinic.pk), said)
    assert TryOut.objects.count() == 1 and not TryOutFile.objects.exists()


# --- taps ---------------------------------------------------------------------------------------


def test_a_tap_counts_at_its_own_instant(cast: Cast, crew: Client, begun: TryOut) -> None:
    TryOut.objects.update(begun_at=timezone.now() - dt.timedelta(minutes=5))
    first = timezone.now() - dt.timedelta(seconds=40)
    second = first + dt.timedelta(seconds=20)
    for which, at in ((1, first), (2, second)):
        said = {"which": which, "instant_ms": f"{1000 * at.timestamp():.1f}"}
        assert crew.post(url("try-out-start", cast.clinic.pk), said).status_code == 302
    begun.refresh_from_db()
    assert begun.gap_s == pytest.approx(20.0, abs=0.001)
    assert begun.first_start_at is not None
    assert abs((begun.first_start_at - first).total_seconds()) < 0.001


@pytest.mark.parametrize("instant", ["", "nonsense", "nan", "1e300", "0", "99999999999999"])
def test_a_tap_without_a_believable_instant_is_now(
    cast: Cast, crew: Client, begun: TryOut, instant: str
) -> None:
    crew.post(url("try-out-start", cast.clinic.pk), {"which": 1, "instant_ms": instant})
    begun.refresh_from_db()
    assert begun.first_start_at is not None
    assert abs((timezone.now() - begun.first_start_at).total_seconds()) < 20


def test_the_second_start_comes_after_the_first_and_not_at_once(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    start = url("try-out-start", cast.clinic.pk)
    told = crew.post(start, {"which": 2}, follow=True).content.decode()
    assert "Tap the first start first" in told
    crew.post(start, {"which": 1})
    told = crew.post(start, {"which": 2}, follow=True).content.decode()
    assert "At least 8 seconds" in told or "at least 8 seconds" in told
    begun.refresh_from_db()
    assert begun.second_start_at is None


def test_tapping_the_first_again_begins_anew(cast: Cast, crew: Client, begun: TryOut) -> None:
    now = timezone.now()
    TryOut.objects.update(first_start_at=now - dt.timedelta(seconds=40), second_start_at=now)
    crew.post(url("try-out-start", cast.clinic.pk), {"which": 1})
    begun.refresh_from_db()
    assert begun.second_start_at is None and begun.gap_s is None


# --- files --------------------------------------------------------------------------------------


def test_a_file_of_a_plain_form_is_taken_over_and_dated(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    bring = url("try-out-bring", cast.clinic.pk, cast.start_side.pk)
    answer = crew.post(bring, {"file": SimpleUploadedFile("../x\u202e.mp4", b"0" * 4000)})
    assert answer.status_code == 302
    file = TryOutFile.objects.get()
    assert file.stored is not None and file.stored.delete_by == begun.delete_by
    assert file.stored.local_path().read_bytes() == b"0" * 4000
    assert "/" not in file.name and file.brought_by == cast.crew


def test_a_form_without_a_file_and_one_too_large_say_so(
    cast: Cast, crew: Client, begun: TryOut, monkeypatch: pytest.MonkeyPatch
) -> None:
    bring = url("try-out-bring", cast.clinic.pk, cast.start_side.pk)
    assert "Nothing came" in crew.post(bring, {}, follow=True).content.decode()
    monkeypatch.setattr("clinics.actions.try_out.MAX_BYTES", 1000)
    sent = {"file": SimpleUploadedFile("a.mp4", b"0" * 4000)}
    assert "larger than a try-out takes" in crew.post(bring, sent, follow=True).content.decode()
    assert not TryOutFile.objects.exists()


def test_bringing_asks_for_the_token_and_for_a_station_of_the_clinic(
    cast: Cast, begun: TryOut
) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), cast.crew)
    sent = {"file": SimpleUploadedFile("a.mp4", b"0" * 400)}
    bring = url("try-out-bring", cast.clinic.pk, cast.start_side.pk)
    assert client.post(bring, sent).status_code == 403
    elsewhere = Station.objects.get(clinic=cast.other_clinic)
    strange = url("try-out-bring", cast.clinic.pk, elsewhere.pk)
    assert sign_in(Client(), cast.crew).post(strange, sent).status_code == 404


def test_stills_are_for_checkers_and_who_brought_them(cast: Cast, begun: TryOut) -> None:
    file = add_file(begun, cast.start_side, cast)
    still = url("try-out-still", file.stills.get().pk)
    absent = url("try-out-still", uuid.uuid4())
    for who in (cast.checker, cast.crew):
        answer = sign_in(Client(), who).get(still)
        assert answer.status_code == 200 and answer["Content-Type"] == "image/jpeg"
        assert "no-store" in answer["Cache-Control"]
    for who in (cast.admin, cast.coach, cast.tomas, cast.other_admin):
        client = sign_in(Client(), who)
        assert client.get(still).status_code == client.get(absent).status_code == 404
    TryOutFile.objects.update(brought_by=cast.checker)
    crew = sign_in(Client(), cast.crew)
    assert crew.get(still).status_code == 404
    page = crew.get(url("try-out", cast.clinic.pk)).content.decode()
    assert still not in page and "are shown to the clinic" in page and "13.37 s apart" in page


def test_stills_are_out_of_sight_once_the_time_is_over(cast: Cast, begun: TryOut) -> None:
    file = add_file(begun, cast.start_side, cast)
    TryOut.objects.update(delete_by=timezone.now())
    assert not TryOutFile.objects.visible_to(cast.checker).filter(pk=file.pk).exists()


def test_a_swimmer_on_the_list_must_still_agree(cast: Cast) -> None:
    two = [Who(Swimmer.objects.get(user=cast.tomas)), Who(name="Ida Quist")]
    row = acts.begin(clinic=cast.clinic, who=two, attested=True, by=cast.crew)
    add_file(row, cast.start_side, cast)
    assert TryOutFile.objects.visible_to(cast.crew).exists()
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    assert not TryOutFile.objects.visible_to(cast.crew).exists()


def test_a_person_says_of_the_frame_what_no_machine_sees(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    file = add_file(begun, cast.start_side, cast)
    assert "nobody has looked yet" in crew.get(url("try-out", cast.clinic.pk)).content.decode()
    crew.post(url("try-out-frame", file.pk), {"frame": "wrong"})
    file.refresh_from_db()
    assert file.frame == "wrong" and file.frame_by == cast.crew
    assert "frame is not right" in crew.get(url("try-out", cast.clinic.pk)).content.decode()


# --- words --------------------------------------------------------------------------------------


def test_the_page_says_what_was_found_and_what_to_do(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    add_file(begun, cast.start_side, cast)
    page = crew.get(url("try-out", cast.clinic.pk)).content.decode()
    assert "Heard at both starts, 13.37 s apart" in page
    assert "Its own clock is 4.0 h behind" in page and "sharpest left" in page
    states = crew.get(url("try-out-states", cast.clinic.pk))
    assert "13.37 s apart" in states.content.decode() and "no-store" in states["Cache-Control"]


def test_a_camera_that_hears_another_interval_is_pointed_out(
    cast: Cast, crew: Client, begun: TryOut
) -> None:
    other = [
        {**one, "numbers": {**one["numbers"], "gap_s": 13.9}} if one["check"] == "start" else one
        for one in GOOD
    ]  # type: ignore[dict-item]
    add_file(begun, cast.start_side, cast)
    add_file(begun, cast.start_side, cast)
    add_file(begun, cast.underwater, cast, findings=other)
    page = crew.get(url("try-out", cast.clinic.pk)).content.decode()
    assert page.count("The other cameras hear the two starts differently") == 1


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_asks_as_often_for_many_files_as_for_one(
    cast: Cast, crew: Client, begun: TryOut, django_assert_max_num_queries: object, count: int
) -> None:
    for _ in range(count):
        add_file(begun, cast.start_side, cast)
    with django_assert_max_num_queries(16):  # type: ignore[operator]
        assert crew.get(url("try-out", cast.clinic.pk)).status_code == 200


def test_every_finding_has_words() -> None:
    facts = {
        "width": 1920, "height": 1080, "codec": "h264", "rate": 25.0, "duration_s": 60.0,
        "interlaced": 0.0, "blur_px": 2.0, "where": "left", "u_ms": 8.0, "off_s": 200,
    }  # fmt: skip
    heard = {"gap_s": 13.4, "tapped_s": 13.5}
    for check, whats in {
        "picture": ["fine", "slow", "small"],
        "focus": ["sharp", "soft", "blurred", "no-edges"],
        "light": ["fine", "dark", "bright", "flat"],
        "steady": ["still", "moved", "unknown"],
        "start": ["not-planned", "no-sound", "no-taps", "silent", "short", "not-found"],
        "clock": ["slate", "starts", "starts-look", "date-alone", "date-elsewhere", "none"],
    }.items():
        for what in whats:
            words = finding_words(check, what, facts)
            assert words != what and words.endswith((".", "?")), (check, what)
    for what in ("heard", "heard-unplanned", "heard-look"):
        assert "13.40 s apart" in finding_words("start", what, heard)
    assert len(LABELS) == 6 and finding_words("colour", "odd", {}) == "odd"


def test_the_demo_shows_what_an_earlier_one_found(cast: Cast, crew: Client) -> None:
    row = try_out_in_demo(cast.clinic)
    assert try_out_in_demo(cast.clinic) == row and TryOut.objects.count() == 1
    shown = crew.get(url("try-out", cast.clinic.pk)).content.decode()
    assert "24.31 s apart" in shown and "Found by the slate" in shown and "soft" in shown
    assert not StoredFile.objects.filter(keeping_rule="try-out").exists()
