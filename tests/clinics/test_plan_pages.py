"""Pages of clinics, plans and the start log: who gets in, and what stays when input is bad."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.close_clinic import close_clinic
from clinics.models import Clinic, Clip, Consent, StartLogEntry, Swim
from portal.models import Job
from tests.cast import Cast, make_entry, sign_in
from tests.clinics.hour_tools import hour_of

EXAMPLE = Path(__file__).resolve().parents[2] / "deploy" / "example-plan"
PLAN = (EXAMPLE / "plan.toml").read_text()
ROSTER = (EXAMPLE / "roster.csv").read_text()
HEAD = "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start\n"
TEAM = {"club admin", "coach", "checker", "crew"}
WORKERS = {"checker", "crew"}


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


PAGES = {
    # name of the page: who of the cast gets it
    "clinic": TEAM,
    "clinic-plan": TEAM,
    "clinic-roster": {"club admin"},
    "start-log": WORKERS,
    "start-log-file": WORKERS,
    "start-log-clock": WORKERS,
}
POSTS = {
    "clinic-plan": {"club admin"},
    "clinic-roster": {"club admin"},
    "clinic-cut": WORKERS,
    "start-log": WORKERS,
    "start-log-undo": WORKERS,
    "start-log-file": WORKERS,
}


@pytest.mark.parametrize("name", PAGES)
def test_page_is_for_its_people_and_absent_for_the_rest(cast: Cast, name: str) -> None:
    for what, person in cast.people().items():
        client = sign_in(Client(), person)
        there = client.get(reverse(f"clinics:{name}", args=[cast.clinic.pk]))
        absent = client.get(reverse(f"clinics:{name}", args=[uuid.uuid4()]))
        if what in PAGES[name]:
            assert there.status_code == 200, what
        else:
            assert there.status_code == absent.status_code, what
            assert there.status_code in ({401, 302} if person is None else {404}), what
            if person is not None:
                assert there.content == absent.content


@pytest.mark.parametrize("name", POSTS)
def test_posting_is_for_its_people(cast: Cast, name: str) -> None:
    for what, person in cast.people().items():
        client = sign_in(Client(), person)
        there = client.post(reverse(f"clinics:{name}", args=[cast.clinic.pk]), {})
        if what in POSTS[name]:
            assert there.status_code in {200, 302, 422}, what
        else:
            assert there.status_code == (401 if person is None else 404), what


def test_list_shows_own_clubs_clinics_only(cast: Cast) -> None:
    page = sign_in(Client(), cast.crew).get(reverse("clinics:clinics"))
    assert b"Autumn clinic" in page.content and b"Open clinic" not in page.content
    page = sign_in(Client(), cast.tomas).get(reverse("clinics:clinics"))
    assert b"Autumn clinic" not in page.content


def test_list_takes_as_many_queries_for_many_clinics(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.admin)
    client.get(reverse("clinics:clinics"))
    with django_assert_num_queries(_queries(client, "clinics:clinics")) as one:
        client.get(reverse("clinics:clinics"))
    for n in range(5):
        Clinic.objects.create(
            club=cast.harbour,
            slug=f"more-{n}",
            name=f"More {n}",
            venue="Millrace Baths",
            date=cast.clinic.date,
            time_zone="Europe/Dublin",
            course_m=25,
            distance_m=50,
            air_temperature_c=27,
        )
    with django_assert_num_queries(len(one.captured_queries)):
        client.get(reverse("clinics:clinics"))


def _queries(client: Client, name: str, *args: object) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        client.get(reverse(name, args=args))
    return len(captured)


def test_clinic_page_takes_as_many_queries_with_more_swims(cast: Cast) -> None:
    client = sign_in(Client(), cast.checker)
    few = _queries(client, "clinics:clinic", cast.clinic.pk)
    for number in range(20, 40):
        entry = make_entry(cast.clinic, f"Swimmer {number}", number, None, "")
        Swim.objects.create(entry=entry, start_at=timezone.now(), start_u_ms=150)
    assert _queries(client, "clinics:clinic", cast.clinic.pk) == few


# --- plan and roster ---------------------------------------------------------------------------


def test_only_the_admin_is_led_to_closing_and_only_once(cast: Cast) -> None:
    def leads(user: Any) -> list[str]:
        page = sign_in(Client(), user).get(reverse("clinics:clinic", args=[cast.clinic.pk]))
        url = reverse("clinics:close", args=[cast.clinic.pk])
        return re.findall(rf'href="{url}">([^<]*)<', page.content.decode())

    assert leads(cast.admin) == ["Close the clinic when all is checked and given"]
    assert leads(cast.checker) == leads(cast.coach) == []
    close_clinic(clinic=cast.clinic, by=cast.admin)
    assert leads(cast.admin) == ["Open it again, to cover somebody"]
    assert leads(cast.checker) == leads(cast.coach) == []


def test_admin_plans_a_clinic_from_files(cast: Cast) -> None:
    files = {
        "plan_file": SimpleUploadedFile("plan.toml", PLAN.encode()),
        "roster_file": SimpleUploadedFile("roster.csv", ROSTER.encode("utf-8-sig")),
    }
    done = sign_in(Client(), cast.admin).post(reverse("clinics:clinic-new-plan"), files)
    made = Clinic.objects.get(slug="harbour-example")
    assert done.status_code == 302 and done["Location"] == reverse("clinics:clinic", args=[made.pk])
    assert made.entries.count() == 6


def test_bad_plan_keeps_what_was_handed_in_and_names_each_mistake(cast: Cast) -> None:
    files = {
        "plan_file": SimpleUploadedFile("plan.toml", PLAN.replace("2026-12-05", "soon").encode()),
        "roster": HEAD + "1,<b>Tomas</b>,,no,freestyle,78,A,block\n",
    }
    page = sign_in(Client(), cast.admin).post(reverse("clinics:clinic-new-plan"), files)
    assert page.status_code == 422
    text = page.content.decode()
    assert "TOML" in text or "clinic.date" in text
    assert "course_m = 22.86" in text  # the file's text stands in the form now
    assert "&lt;b&gt;Tomas&lt;/b&gt;" in text and "<b>Tomas</b>" not in text
    assert not Clinic.objects.filter(slug="harbour-example").exists()


def test_new_clinics_are_for_admins(cast: Cast) -> None:
    for person in (cast.crew, cast.coach, cast.tomas):
        assert sign_in(Client(), person).get(reverse("clinics:clinic-new")).status_code == 404


def test_plan_page_changes_this_clinic_only(cast: Cast) -> None:
    url = reverse("clinics:clinic-plan", args=[cast.clinic.pk])
    page = sign_in(Client(), cast.admin).post(url, {"plan": PLAN})
    assert page.status_code == 422
    assert "is not this clinic" in page.content.decode()
    assert Clinic.objects.count() == 2


def test_roster_names_its_bad_rows_on_the_page(cast: Cast) -> None:
    url = reverse("clinics:clinic-roster", args=[cast.clinic.pk])
    rows = HEAD + "1,Tomas Birk,,yes,crawl,78,A,block\n2,Wren Okada,,yes,freestyle,7,A,block\n"
    page = sign_in(Client(), cast.admin).post(url, {"roster": rows})
    text = page.content.decode()
    assert "row 2, column “stroke”" in text and "row 3, column “pace_s_per_100m”" in text
    assert "crawl" in text


def test_plan_page_draws_the_pool_and_says_no_start_is_safe(cast: Cast) -> None:
    page = sign_in(Client(), cast.crew).get(reverse("clinics:clinic-plan", args=[cast.clinic.pk]))
    text = page.content.decode()
    assert 'class="plan-pool"' in text and "12.5 m along" in text
    assert "cannot say that a start is safe" in text
    assert "Whether all fit is not known yet" in text


def test_plan_page_tells_whether_all_fit_and_who_is_missing(cast: Cast) -> None:
    hour_of(cast.clinic)
    page = sign_in(Client(), cast.coach).get(reverse("clinics:clinic-plan", args=[cast.clinic.pk]))
    text = " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())
    count = cast.clinic.entries.count()
    assert f"{count} swimmers need" in text and "The pool is yours for 60 minutes:" in text
    assert "Group A, 10:31:" in text and "10:31:00" in text
    assert "Still open" in text and "Change the running order" not in text


def test_plan_page_takes_as_many_queries_with_more_swimmers(cast: Cast) -> None:
    hour_of(cast.clinic)
    client = sign_in(Client(), cast.crew)
    few = _queries(client, "clinics:clinic-plan", cast.clinic.pk)
    for number in range(20, 40):
        make_entry(cast.clinic, f"Swimmer {number}", number, None, "")
    assert _queries(client, "clinics:clinic-plan", cast.clinic.pk) == few


# --- the start log ---------------------------------------------------------------------------


def tapped(cast: Cast, **said: object) -> dict[str, object]:
    return {
        "client_id": "phone-00000001",
        "number": 21,
        "outcome": "away",
        "instant": "2026-11-14T11:30:00.250Z",
        "clock_run": "run-1",
        **said,
    }


@pytest.fixture
def log_url(cast: Cast) -> str:
    make_entry(cast.clinic, "Liv Marchetti", 21, None, "")
    return reverse("clinics:start-log", args=[cast.clinic.pk])


def test_tap_sent_twice_by_the_script_is_one_start(cast: Cast, log_url: str) -> None:
    client = sign_in(Client(), cast.crew)
    for _ in range(2):
        answer = client.post(log_url, tapped(cast), headers={"accept": "application/json"})
        assert answer.status_code == 201
        assert answer.json() == {"client_id": "phone-00000001", "kept": True}
    line = StartLogEntry.objects.get(client_id="phone-00000001")
    assert (line.clock_run, line.logged_by) == ("run-1", cast.crew)
    swim = Swim.objects.get(entry__number=21)
    assert swim.start_at == dt.datetime(2026, 11, 14, 11, 30, 0, 250_000, tzinfo=dt.UTC)


def test_without_script_the_form_posts_and_the_server_takes_the_time(
    cast: Cast, log_url: str
) -> None:
    client = sign_in(Client(), cast.crew)
    page = client.get(log_url).content.decode()
    assert "Liv Marchetti" in page and 'value="away"' in page
    before = timezone.now()
    done = client.post(log_url, tapped(cast, instant=""))
    assert done.status_code == 302
    assert before <= Swim.objects.get(entry__number=21).start_at <= timezone.now()
    page = client.get(log_url).content.decode()
    undo = reverse("clinics:start-log-undo", args=[cast.clinic.pk])
    assert "phone-00000001" in page and undo in page
    client.post(undo, {"client_id": "phone-00000001"})
    assert not Swim.objects.filter(entry__number=21).exists()


@pytest.mark.parametrize(
    "bad",
    [
        {"number": 77},
        {"number": "x"},
        {"outcome": "swam"},
        {"client_id": "<script>"},
        {"instant": "2026-11-14T11:30:00"},
        {"instant": "2099-01-01T00:00:00Z"},
    ],
)
def test_bad_taps_are_refused_with_a_sentence(
    cast: Cast, log_url: str, bad: dict[str, object]
) -> None:
    client = sign_in(Client(), cast.crew)
    answer = client.post(log_url, tapped(cast, **bad), headers={"accept": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["errors"]
    assert not StartLogEntry.objects.filter(entry__number=21).exists()


def test_sign_for_who_has_not_agreed_and_the_tap_makes_no_swim(cast: Cast, log_url: str) -> None:
    Consent.objects.filter(swimmer__name="Liv Marchetti").delete()
    client = sign_in(Client(), cast.crew)
    page = client.get(f"{log_url}?number=21").content.decode()
    assert 'class="away" name="outcome" value="not-filmed"' in page
    sign = page[page.index('class="not-filmed"') :][:300]
    assert "Has not agreed to be filmed" in sign and "hidden" not in sign.split(">")[0]
    client.post(log_url, tapped(cast, outcome="not-filmed"))
    assert not Swim.objects.filter(entry__number=21).exists()


def test_other_clubs_swimmers_are_not_in_the_page(cast: Cast, log_url: str) -> None:
    page = sign_in(Client(), cast.crew).get(log_url).content.decode()
    assert "Kit Maddern" not in page
    assert "@harbourlane.example" not in page


def test_clock_tells_the_servers_time(cast: Cast) -> None:
    url = reverse("clinics:start-log-clock", args=[cast.clinic.pk])
    answer = sign_in(Client(), cast.crew).get(url)
    assert abs(answer.json()["now_ms"] / 1000 - timezone.now().timestamp()) < 5
    assert answer["Cache-Control"] == "no-store"


def test_log_file_with_a_bad_row_keeps_what_was_typed(cast: Cast, log_url: str) -> None:
    url = reverse("clinics:start-log-file", args=[cast.clinic.pk])
    client = sign_in(Client(), cast.crew)
    page = client.post(url, {"log": "instant,swimmer\n2026-11-14T11:30:00,99\n"})
    assert page.status_code == 422
    assert "row 2, column “swimmer”" in page.content.decode()
    done = client.post(url, {"log": "instant,swimmer\n2026-11-14T11:30:00,21\n"})
    assert done.status_code == 302
    assert Swim.objects.filter(entry__number=21).count() == 1


def test_closed_clinic_takes_no_more_starts(cast: Cast, log_url: str) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    client = sign_in(Client(), cast.crew)
    assert client.get(log_url).status_code == 404
    assert client.post(log_url, tapped(cast)).status_code == 404


# --- cutting from the page ---------------------------------------------------------------------


def test_cut_button_fits_and_asks_for_clips(cast: Cast) -> None:
    Clip.objects.all().delete()
    url = reverse("clinics:clinic-cut", args=[cast.clinic.pk])
    page = sign_in(Client(), cast.crew).post(url, follow=True)
    assert page.status_code == 200
    # no ties are placed in the cast, so the fit finds no clock and nothing is to be made
    assert "0 clips are to be made." in page.content.decode()
    assert Job.objects.filter(kind="render-clip").count() == 0
