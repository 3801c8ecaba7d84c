"""What was made to take along, as pages and downloads: names, forms, the list, removing."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from feedback.actions import take_along as acts
from feedback.compute.take_along import Kind
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job, User
from tests.cast import FIRST_START, sign_in
from tests.feedback.filmed_swim import HTMX, Filmed, fetched, file_url, path_of, url


def test_each_download_counts_among_who_saw_the_swim(filmed: Filmed) -> None:
    row, other = filmed.made(filmed.still()), filmed.made(filmed.still(31))
    coach, entries = filmed.cast.coach, AuditEntry.objects.filter(action="take-along.download")

    def counted() -> int:
        return entries.count()

    assert fetched(coach, row, Range="bytes=5-9") == 206 and counted() == 1
    assert fetched(coach, row, Range="bytes=10-19") == 206 and counted() == 1
    assert fetched(coach, other, Range="bytes=5-9") == 206 and counted() == 2
    assert fetched(coach, row) == 200 and counted() == 3
    entry = entries.order_by("-seq")[0]
    assert (entry.actor_id, entry.subject_id) == (coach.pk, str(row.swim_id))
    assert sign_in(Client(), coach).head(file_url(row)).status_code == 200 and counted() == 3
    assert fetched(filmed.cast.wren, row) == 404 and counted() == 3


@pytest.mark.parametrize(
    ("spec", "name"),
    [
        ({}, "Tomas Birk 14 Nov Underwater 12.5 m 0.09 s.jpg"),
        ({"named": False}, "14 Nov Underwater 12.5 m 0.09 s.jpg"),
    ],
)
def test_it_is_saved_under_a_plain_name(filmed: Filmed, spec: dict[str, Any], name: str) -> None:
    row = filmed.made(filmed.still(**spec))
    answer = sign_in(Client(), filmed.cast.coach).get(file_url(row))
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert answer["Cache-Control"] == "private, no-store" and answer["Content-Type"] == "image/jpeg"


def test_names_of_films_and_rows_and_of_people_with_other_letters(filmed: Filmed) -> None:
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    swimmer.name = 'Zoë "Z/" Łukasik'
    swimmer.save()
    film = filmed.made(filmed.spec(Kind.FILM, 1, 0, frames=(5, 9), rate="1/4"))
    answer = sign_in(Client(), filmed.cast.coach).get(file_url(film))
    said = answer["Content-Disposition"]
    assert said.startswith("attachment; filename*=utf-8''Zo%C3%AB%20Z%20%C5%81ukasik%2014%20Nov")
    assert said.endswith("%20%28speed%201-4%29.mp4") and answer["Content-Type"] == "video/mp4"
    row = filmed.made(filmed.spec(Kind.ROW, 1, frames=(5, 9), count=4))
    said = sign_in(Client(), filmed.cast.coach).get(file_url(row))["Content-Disposition"]
    assert said.endswith("%20s%20%284%20stills%29.jpg")


def posted(filmed: Filmed, user: User | None = None, **told: Any) -> Any:
    usual = {"kind": "still", "clip": str(filmed.clips[1].pk), "frame": "30", "named": "on"}
    client = sign_in(Client(), user or filmed.cast.coach)
    headers = told.pop("headers", {})
    return client.post(url(filmed), {**usual, **told}, headers=headers)


def test_a_form_asks_without_script(filmed: Filmed) -> None:
    answer = posted(filmed, drawings="on")
    assert answer.status_code == 302 and answer["Location"] == url(filmed)
    row = TakeAlong.objects.get()
    spec = filmed.still(drawings=True)
    assert row.spec == {**spec.to_json(), "at_s": row.spec["at_s"]} and not row.for_swimmer
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed)).content.decode()
    assert "<b>Still</b>" in page and "0.09 s" in page and "data-job=" in page
    drain()
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed)).content.decode()
    assert file_url(row) in page and "data-job=" not in page


def test_a_script_gets_the_list_alone(filmed: Filmed) -> None:
    views = [str(clip.pk) for clip in filmed.clips]
    film = {"kind": "film", "from_frame": 3, "to_frame": 50, "rate": "1/8", "clips": views}
    answer = posted(filmed, **film, for_swimmer="on", headers=HTMX)
    assert answer.status_code == 200 and "<html" not in answer.content.decode()
    row = TakeAlong.objects.get()
    leading = str(filmed.clips[1].pk)
    assert row.spec["clips"] == [leading, *(key for key in views if key != leading)]
    assert (row.spec["rate"], row.for_swimmer, row.clip_count) == ("1/8", True, 4)
    assert {str(clip.pk) for clip in row.clips.all()} == set(views)


def test_the_list_has_the_newest_first(filmed: Filmed) -> None:
    """By their times, whatever order they were put in and their random keys have."""
    rows = [filmed.ask(filmed.still(frame)) for frame in range(4)]
    for at_s, row in zip((20, 40, 10, 30), rows, strict=True):
        TakeAlong.objects.filter(pk=row.pk).update(
            created_at=FIRST_START + dt.timedelta(seconds=at_s)
        )
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed), headers=HTMX).text
    listed = re.findall(r'data-take-along="([^"]+)"', page)
    assert listed == [str(rows[n].pk) for n in (1, 3, 0, 2)]


def test_a_swimmer_asks_for_nobody_else(filmed: Filmed) -> None:
    posted(filmed, filmed.cast.tomas, for_swimmer="on")
    assert not TakeAlong.objects.get().for_swimmer


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"frame": ""}, "which picture is meant"),
        ({"frame": "99999"}, "choose one of them"),
        ({"clip": ""}, "which picture is meant"),
        ({"clip": "wren"}, "That view is no longer there"),
        ({"kind": "row", "from_frame": 9, "to_frame": 12, "count": 6}, "ask for fewer stills"),
        ({"kind": "film", "from_frame": 12, "to_frame": 9}, "It ends before it begins"),
        ({"kind": "film", "from_frame": 12}, "which picture is meant"),
    ],
)
def test_what_is_wrong_is_said_in_words(
    filmed: Filmed, told: dict[str, Any], sentence: str
) -> None:
    if told.get("clip") == "wren":
        told = {"clip": str(filmed.cast.clips["wren"][0].pk)}
    for headers in ({}, HTMX):
        answer = posted(filmed, **told, headers=headers)
        assert answer.status_code == 422 and sentence in answer.content.decode()
    assert not TakeAlong.objects.exists()


def test_removing_takes_row_file_and_job(
    filmed: Filmed, django_capture_on_commit_callbacks: Any
) -> None:
    row, waits = filmed.made(filmed.still()), filmed.ask(filmed.still(31))
    path = path_of(row)
    client = sign_in(Client(), filmed.cast.coach)
    for one in (row, waits):
        with django_capture_on_commit_callbacks(execute=True):
            where = reverse("feedback:take-along-remove", args=[one.pk])
            assert client.post(where).status_code == 302
            assert client.post(where).status_code == 404
    assert not TakeAlong.objects.exists() and not path.exists()
    assert Job.objects.get(subject_id=waits.pk).state == Job.State.CANCELLED
    acts.remove(take_along=row, by=filmed.cast.coach)  # twice: nothing more is noted
    assert AuditEntry.objects.filter(action="take-along.remove").count() == 2


def test_what_is_made_for_the_swimmer_is_not_the_swimmers_to_remove(filmed: Filmed) -> None:
    row = filmed.made(filmed.still(), for_swimmer=True)
    where = reverse("feedback:take-along-remove", args=[row.pk])
    assert sign_in(Client(), filmed.cast.tomas).post(where).status_code == 404
    page = sign_in(Client(), filmed.cast.tomas).get(url(filmed)).content.decode()
    assert "made for you by Ines Aldana" in page and "take away" not in page
