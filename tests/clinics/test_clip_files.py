"""A clip's files through the site: the fence on every request and verb, and the access record."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.access import note_view
from clinics.models import Clinic, ClipFile, Swim
from portal.models import AuditEntry
from tests.cast import Cast, sign_in


def path(cast: Cast, swim: str, kind: str = "video", name: str = "clip-file") -> str:
    shown = cast.clips[swim][0].files.get(kind=kind)
    return reverse(f"clinics:{name}", args=[shown.pk])


def content(cast: Cast, swim: str, kind: str = "video") -> bytes:
    return bytes(cast.clips[swim][0].files.get(kind=kind).stored.local_path().read_bytes())


def body(answer: Any) -> bytes:
    return b"".join(answer) if answer.streaming else answer.content


def test_swimmer_coach_and_checker_get_equal_bytes(cast: Cast) -> None:
    for user in (cast.tomas, cast.coach, cast.checker):
        answer = sign_in(Client(), user).get(path(cast, "tomas"))
        assert answer.status_code == 200 and body(answer) == content(cast, "tomas")
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["Content-Type"] == "video/mp4"


def test_a_byte_range_and_past_the_end(cast: Cast) -> None:
    client, whole = sign_in(Client(), cast.coach), content(cast, "tomas")
    answer = client.get(path(cast, "tomas"), headers={"range": "bytes=10-29"})
    assert answer.status_code == 206 and body(answer) == whole[10:30]
    answer = client.get(path(cast, "tomas"), headers={"range": f"bytes={len(whole)}-"})
    assert answer.status_code == 416
    assert answer["Content-Range"] == f"bytes */{len(whole)}"


@pytest.mark.parametrize("kind", ["video", "poster", "strip", "sound"])
def test_other_swimmers_get_none_of_the_files(cast: Cast, kind: str) -> None:
    for user in (cast.wren, cast.sol, cast.other_coach, cast.admin, cast.crew):
        answer = sign_in(Client(), user).get(path(cast, "tomas", kind))
        assert answer.status_code == 404


def test_sound_is_for_coaches_unless_the_clinic_lets_swimmers_hear(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    assert client.get(path(cast, "tomas", "sound")).status_code == 404
    assert sign_in(Client(), cast.coach).get(path(cast, "tomas", "sound")).status_code == 200
    Clinic.objects.filter(pk=cast.clinic.pk).update(sound_for_swimmers=True)
    assert client.get(path(cast, "tomas", "sound")).status_code == 200


def test_not_me_ends_the_next_byte_range(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    ask = {"headers": {"range": "bytes=0-9"}}
    assert client.get(path(cast, "tomas"), **ask).status_code == 206
    client.post(reverse("clinics:not-me", args=[cast.swims["tomas"].pk]))
    assert client.get(path(cast, "tomas"), **ask).status_code == 404


def test_a_file_of_a_clip_that_is_made_again_is_not_served(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    clip.state = "waiting"
    clip.save()
    for user in (cast.tomas, cast.coach, cast.checker):
        assert sign_in(Client(), user).get(path(cast, "tomas")).status_code == 404


def test_the_list_of_frames_is_fenced_like_the_file(cast: Cast) -> None:
    url = path(cast, "tomas", name="clip-file-frames")
    table = sign_in(Client(), cast.tomas).get(url).json()
    assert table["ticks_per_s"] == 90_000
    assert table["first_frame"] == cast.clips["tomas"][0].first_frame
    assert table["pts"][:3] == [0, 3600, 7200] and len(table["pts"]) == 100
    assert sign_in(Client(), cast.wren).get(url).status_code == 404
    assert sign_in(Client(), cast.tomas).post(url).status_code == 405
    poster = path(cast, "tomas", "poster", name="clip-file-frames")
    assert sign_in(Client(), cast.tomas).get(poster).status_code == 404


def test_a_list_of_frames_that_is_gone_or_damaged_is_absent(cast: Cast) -> None:
    url = path(cast, "tomas", name="clip-file-frames")
    table = cast.clips["tomas"][0].files.get(kind="video").pts_table.local_path()
    client = sign_in(Client(), cast.tomas)
    table.write_bytes(b"not a list of frames")
    assert client.get(url).status_code == 404
    table.unlink()
    assert client.get(url).status_code == 404


# --- who looked --------------------


def views_noted() -> list[tuple[Any, str]]:
    entries = AuditEntry.objects.filter(action="swim.view").order_by("seq")
    return list(entries.values_list("actor_id", "subject_id"))


def test_one_entry_per_viewer_swim_and_quarter_of_an_hour(cast: Cast) -> None:
    client = sign_in(Client(), cast.coach)
    for clip in cast.clips["tomas"]:
        shown = clip.files.get(kind="video")
        for first in (0, 10, 20):
            client.get(
                reverse("clinics:clip-file", args=[shown.pk]),
                headers={"range": f"bytes={first}-{first + 9}"},
            )
    assert views_noted() == [(cast.coach.pk, str(cast.swims["tomas"].pk))]
    client.get(path(cast, "wren"))
    sign_in(Client(), cast.tomas).get(path(cast, "tomas"))
    assert len(views_noted()) == 3
    past = timezone.now() - dt.timedelta(minutes=16)
    AuditEntry.objects.filter(action="swim.view").update(at=past)
    client.get(path(cast, "tomas"))
    assert len(views_noted()) == 4


@pytest.mark.django_db(transaction=True)
def test_players_that_start_at_once_make_one_entry(cast: Cast) -> None:
    def watch(clip: Any) -> None:
        try:
            note_view(clip_file=clip.files.get(kind="video"), by=cast.coach)
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as players:
        list(players.map(watch, cast.clips["tomas"] * 4))
    assert views_noted() == [(cast.coach.pk, str(cast.swims["tomas"].pk))]


def test_stills_go_to_the_log_only(cast: Cast, caplog: Any) -> None:
    with caplog.at_level("INFO", "clinics.access"):
        sign_in(Client(), cast.coach).get(path(cast, "tomas", "poster"))
    assert views_noted() == []
    assert str(cast.coach.pk) in caplog.text and "kind=poster" in caplog.text
    assert "@" not in caplog.text


def test_what_is_hidden_leaves_no_view(cast: Cast) -> None:
    sign_in(Client(), cast.wren).get(path(cast, "tomas"))
    assert views_noted() == []


# --- the swimmer's own page of "this is not me" --------------------


def test_not_me_is_asked_once_more_and_changed_by_post_only(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    url = reverse("clinics:not-me", args=[swim.pk])
    for user in (cast.wren, cast.coach, cast.checker, cast.admin):
        assert sign_in(Client(), user).get(url).status_code == 404
        assert sign_in(Client(), user).post(url).status_code == 404
    client = sign_in(Client(), cast.tomas)
    assert client.get(url).status_code == 200
    assert Swim.objects.get(pk=swim.pk).person == "confirmed"
    assert client.post(url).status_code == 302
    assert Swim.objects.get(pk=swim.pk).person == "wrong"
    assert client.get(url).status_code == 404
    assert not ClipFile.objects.filter(clip__swim=swim).visible_to(cast.tomas).exists()
