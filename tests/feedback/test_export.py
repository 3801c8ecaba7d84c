"""Taking one's data along: whole, one's own, handed out once, and gone."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import webvtt
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Consent, Recognised
from feedback.models import FeedbackSent, LengthStrokes, Mark
from portal.actions import export
from portal.actions.job_worker import drain
from portal.csv_out import BYTE_ORDER_MARK
from portal.models import AuditEntry, Job, PersonRequest, StoredFile
from tests.cast import Cast, sign_in
from tests.feedback.said import comment, drawing


def said(cast: Cast) -> None:
    tomas, wren = cast.swims["tomas"], cast.swims["wren"]
    underwater = cast.clips["tomas"][1]
    pts = underwater.in_ticks + 3600 * 20
    anchor: dict[str, Any] = {"recording": underwater.recording, "pts_ticks": pts}
    comment(tomas, cast.coach, "=HYPERLINK(1) stay long", **anchor)
    comment(tomas, cast.tomas, "Was I too deep?")
    comment(tomas, cast.coach, "draft of the coach", sent=False)
    comment(tomas, cast.coach, "note among coaches", for_coaches=True)
    comment(wren, cast.coach, "for Wren alone")
    drawing(tomas, cast.coach, underwater.recording)
    FeedbackSent.objects.create(swim=tomas, one_thing="Breathe out", points=["a", "b"])
    FeedbackSent.objects.create(swim=wren, one_thing="Wren’s one thing")
    Mark.objects.create(
        swim=tomas,
        recording=underwater.recording,
        pts_ticks=pts,
        kind="breakout",
        placed_by=cast.coach,
    )
    Mark.objects.create(
        swim=wren,
        recording=underwater.recording,
        pts_ticks=pts,
        kind="full-entry",
        placed_by=cast.coach,
    )


def make(cast: Cast, client: Client) -> PersonRequest:
    sign_in(client, cast.tomas)
    swimmer = cast.swims["tomas"].entry.swimmer
    client.post(reverse("clinics:my-data-take", args=[swimmer.pk]))
    drain()
    return PersonRequest.objects.get(kind="take-along")


def fetch(client: Client, row: PersonRequest) -> zipfile.ZipFile:
    answer: Any = client.get(reverse("clinics:my-data-file", args=[row.pk]))
    assert answer.status_code == 200, answer.status_code
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))


def test_it_holds_what_is_theirs(cast: Cast, client: Client) -> None:
    said(cast)
    LengthStrokes.objects.create(swim=cast.swims["tomas"], strokes=["butterfly"])
    LengthStrokes.objects.create(swim=cast.swims["wren"], strokes=["freestyle"])
    pack = fetch(client, make(cast, client))
    names = pack.namelist()
    films = [name for name in names if name.endswith(".mp4")]
    assert len(films) == 3 and not any(name.endswith(".m4a") for name in names)
    video = cast.clips["tomas"][0].files.get(kind="video").stored
    assert video.local_path().read_bytes() in [pack.read(name) for name in films]
    told = {row["text"] for row in json.loads(pack.read("comments.json"))}
    assert told == {"=HYPERLINK(1) stay long", "Was I too deep?"}
    assert json.loads(pack.read("feedback.json"))[0]["one_thing"] == "Breathe out"
    (mark,) = json.loads(pack.read("marks.json"))
    assert mark["event"] == "breakout" and {"distance_m", "distance_u_m", "x", "y"} <= set(mark)
    assert json.loads(pack.read("length-strokes.json")) == [
        {"swim": mark["swim"], "length": 1, "stroke": "butterfly"}
    ]
    assert [row["kind"] for row in json.loads(pack.read("drawings.json"))] == ["level"]
    assert json.loads(pack.read("person.json"))["email"] == cast.tomas.email


def test_consent_history_is_whole(cast: Cast, client: Client) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    ended = timezone.now() - dt.timedelta(days=1)
    Consent.objects.create(
        swimmer=swimmer, purpose="publish", choice="refuses", given_at=ended, ended_at=ended
    )
    pack = fetch(client, make(cast, client))
    rows = json.loads(pack.read("consent.json"))
    assert {(row["purpose"], row["choice"]) for row in rows} == {
        ("film-and-review", "agrees"),
        ("publish", "refuses"),
    }
    receipts = [name for name in pack.namelist() if name.startswith("receipts/")]
    assert len(receipts) == 2 and json.loads(pack.read(receipts[0]))


def test_tables_are_csv_without_formulas(cast: Cast, client: Client) -> None:
    """OWASP, CSV Injection: a cell that starts a formula is prefixed."""
    said(cast)
    pack = fetch(client, make(cast, client))
    text = pack.read("comments.csv").decode()
    assert text.startswith(BYTE_ORDER_MARK)
    rows = list(csv.DictReader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK))))
    assert "'=HYPERLINK(1) stay long" in {row["text"] for row in rows}


def test_words_lie_beside_their_film_as_webvtt(cast: Cast, client: Client) -> None:
    """Read back with webvtt-py, a parser that is not ours."""
    said(cast)
    pack = fetch(client, make(cast, client))
    beside = [name for name in pack.namelist() if name.endswith(".vtt")]
    films = [name for name in pack.namelist() if name.endswith(".mp4")]
    assert [Path(name).with_suffix("") for name in beside] == [
        Path(name).with_suffix("") for name in films
    ]
    (spoken,) = [
        cue
        for name in beside
        for cue in webvtt.from_buffer(io.StringIO(pack.read(name).decode())).captions
    ]
    assert spoken.text == "=HYPERLINK(1) stay long" and spoken.start == "00:00:00.800"


def test_nothing_about_another_swimmer_is_in_it(cast: Cast, client: Client) -> None:
    said(cast)
    pack = fetch(client, make(cast, client))
    wren = cast.swims["wren"]
    traces = ["Wren", "Okada", "Sol Hagen", "full-entry", str(wren.pk), str(wren.entry_id)]
    traces += ["draft of the coach", "note among coaches", cast.wren.email, str(cast.wren.pk)]
    traces += [str(clip.pk) for clip in cast.clips["wren"]]
    for name in pack.namelist():
        content = pack.read(name)
        for trace in traces:
            assert trace.encode() not in content and trace not in name, (trace, name)
    videos = [clip.files.get(kind="video").stored for clip in cast.clips["wren"]]
    hashes = {file.sha256 for file in videos}
    assert not hashes & {hashlib.sha256(pack.read(name)).hexdigest() for name in pack.namelist()}


def test_contents_name_every_file_with_its_checksum(cast: Cast, client: Client) -> None:
    pack = fetch(client, make(cast, client))
    listed = {one["name"]: one["sha256"] for one in json.loads(pack.read("contents.json"))}
    assert set(listed) == set(pack.namelist()) - {"contents.json"}
    for name, sha256 in listed.items():
        assert hashlib.sha256(pack.read(name)).hexdigest() == sha256


def test_its_read_me_says_what_each_table_is(cast: Cast, client: Client) -> None:
    pack = fetch(client, make(cast, client))
    tables = {name.removesuffix(".csv") for name in pack.namelist() if name.endswith(".csv")}
    named = set(re.findall(r"[\w-]+", pack.read("README.txt").decode()))
    assert len(tables) > 5
    assert sorted(tables - named) == []


def test_who_withdrew_can_still_take_it_along(cast: Cast, client: Client) -> None:
    sign_in(client, cast.sol)
    client.post(reverse("clinics:my-data-take", args=[cast.swims["sol"].entry.swimmer_id]))
    drain()
    pack = fetch(client, PersonRequest.objects.get())
    assert sum(name.endswith(".mp4") for name in pack.namelist()) == 3


# --- once, fresh, and gone -----------------------------------------------------------------------


def test_it_is_handed_out_once(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    url = reverse("clinics:my-data-file", args=[row.pk])
    assert client.head(url).status_code == 200  # looking is not fetching
    fetch(client, row)
    assert client.get(url).status_code == 404
    assert AuditEntry.objects.filter(action="export.fetch").count() == 1


def test_what_waits_is_not_made_again(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    assert make(cast, client).pk == row.pk  # the only one
    fetch(client, row)
    client.post(reverse("clinics:my-data-take", args=[row.subject_id]))
    assert PersonRequest.objects.filter(kind="take-along").count() == 2


def test_a_byte_range_gets_the_whole(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    answer = client.get(
        reverse("clinics:my-data-file", args=[row.pk]), headers={"range": "bytes=0-1"}
    )
    assert answer.status_code == 200 and int(answer["Content-Length"]) == row.stored.size_bytes  # type: ignore[union-attr]


def test_asking_and_fetching_want_a_fresh_sign_in(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    sign_in(client, cast.tomas, fresh=False)
    for answer in (
        client.get(reverse("clinics:my-data-file", args=[row.pk])),
        client.post(reverse("clinics:my-data-take", args=[row.subject_id])),
        client.get(reverse("clinics:my-data-erase", args=[row.subject_id])),
    ):
        assert answer.status_code == 303 and reverse("portal:fresh") in answer["Location"]
    row.refresh_from_db()
    assert row.fetched_at is None


def test_fetched_it_goes_from_the_disk(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    assert row.stored is not None
    path = row.stored.local_path()
    fetch(client, row)
    assert export.forget_exports() == 0 and path.exists()  # a slow line is still loading it
    PersonRequest.objects.update(fetched_at=timezone.now() - export.AFTER_FETCHING * 2)
    assert export.forget_exports() == 1 and not path.exists()
    assert not StoredFile.objects.filter(kind="export").exists()
    assert export.forget_exports() == 0


def test_not_fetched_it_goes_after_seven_days(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    assert row.stored is not None and row.stored.delete_by is not None
    left = row.stored.delete_by - timezone.now()
    assert dt.timedelta(days=6, hours=23) < left <= dt.timedelta(days=7)
    path = row.stored.local_path()
    StoredFile.objects.filter(pk=row.stored.pk).update(delete_by=timezone.now())
    assert client.get(reverse("clinics:my-data-file", args=[row.pk])).status_code == 404
    assert export.forget_exports() == 1 and not path.exists()


def test_a_clip_hidden_since_is_not_handed_out(cast: Cast, client: Client) -> None:
    """Somebody who can be recognised in it no longer agrees: the next request counts."""
    swimmer = cast.swims["wren"].entry.swimmer
    Recognised.objects.create(swim=cast.swims["tomas"], swimmer=swimmer)
    row = make(cast, client)
    Consent.objects.filter(swimmer=swimmer).update(ended_at=timezone.now())
    answer = client.get(reverse("clinics:my-data-file", args=[row.pk]))
    assert answer.status_code in {302, 303}
    assert not StoredFile.objects.filter(kind="export").exists()


def test_made_twice_it_is_one(cast: Cast, client: Client) -> None:
    row = make(cast, client)
    export.run_export(Job(kind=export.JOB_KIND, subject_id=row.pk), lambda *_told: None)
    assert StoredFile.objects.filter(kind="export").count() == 1
    assert not any(Path(settings.WORK_DIR).glob("export-*"))


def test_it_is_nobody_elses(cast: Cast) -> None:
    row = make(cast, Client())
    for user in (cast.wren, cast.coach, cast.admin):
        other = sign_in(Client(), user)
        assert other.get(reverse("clinics:my-data-file", args=[row.pk])).status_code == 404
