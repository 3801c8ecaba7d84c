"""Role × URL × owner (trust 2 and 3; ASVS 8.2.1, 8.2.2, 8.4.1): every URL, the whole cast.

`MATRIX` says for each URL who is let through. Whoever is not gets, on every verb and for a
byte range too, exactly the answer that a random id gives. A URL that is missing here fails.

Who: S the swimmer whose things these are, W another swimmer of the clinic, X a swimmer who
withdrew, C coach, K checker, R crew, A club admin; of the other club c coach, a admin (and
checker there), s swimmer; - nobody signed in.
"""

from __future__ import annotations

import base64
import datetime as dt
import re
import subprocess
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.models import Clip, Tie, Upload
from feedback.models import Comment
from portal.actions.jobs import enqueue
from tests.cast import Cast, make_still, make_stored, save_frame_table, sign_in

SIGNED_IN = "SWXCKRAcas"
ANYONE = SIGNED_IN + "-"
WORK_HERE = "CKRA"
WORK = WORK_HERE + "ca"
OFTEN, RARE = ("GET", "RANGE", "POST"), ("HEAD", "PUT", "PATCH", "DELETE", "OPTIONS")
STRANGERS_ON_RARE = "WXc-"  # the rarer verbs: asked by these of the strangers, for time


@dataclass(frozen=True)
class Row:
    """Who may use a URL, verb by verb; `of` names the thing in `Things` it is about."""

    of: str = ""
    get: str = ""
    post: str = ""
    head: str | None = None
    patch: str = ""
    delete: str = ""
    query: str = ""

    def may(self, verb: str) -> str:
        told = {"POST": self.post, "PATCH": self.patch, "DELETE": self.delete, "GET": self.get}
        if verb == "HEAD":
            return self.get if self.head is None else self.head
        return self.get if verb == "RANGE" else told.get(verb, "")

    def knows(self) -> set[str]:
        """Who may do anything at all with it, and so knows that it exists."""
        return set(self.get + self.post + (self.head or "") + self.patch + self.delete)


# A name may stand more than once, with what it is about after the #.
MATRIX: dict[str, Row] = {
    # portal
    "portal:home": Row(get=SIGNED_IN),
    "portal:notice": Row(get=ANYONE),
    "portal:language": Row(post=ANYONE),
    "portal:sign-in": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-code": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-confirm": Row(get=ANYONE),
    "portal:sign-in-passkey": Row(get=ANYONE, post=ANYONE),
    "portal:sign-out": Row(post=SIGNED_IN),
    "portal:account": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:session-end": Row("session", post="S"),
    "portal:sessions-end-others": Row(post=SIGNED_IN),
    "portal:fresh": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-code": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-go-on": Row(get=SIGNED_IN),
    "portal:factors": Row(get=SIGNED_IN),
    "portal:factor-use": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-use-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-app": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-recovery": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-remove": Row("factor", get="S", post="S"),
    "portal:my-people": Row(get="Aa"),
    "portal:people": Row("club", get="A", post="A"),
    "portal:membership-end": Row("membership", post="A"),
    "portal:job": Row("clip job", get="K", post="K"),
    "portal:job#clocks": Row("clinic job", get=WORK_HERE, post="K"),
    "portal:job#recording": Row("recording job", get="KR", post="R"),
    "portal:job#card": Row("upload job", get="R", post="R"),
    "portal:health": Row(get=WORK),
    "portal:health-live": Row(get=ANYONE),
    # plan and log
    "clinics:clinics": Row(get=SIGNED_IN),
    "clinics:clinic-new": Row(get="Aa", post="Aa"),
    "clinics:clinic": Row("clinic", get=WORK_HERE),
    "clinics:clinic-cut": Row("clinic", post="KR"),
    "clinics:clinic-plan": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:clinic-roster": Row("clinic", get="A", post="A"),
    "clinics:start-log": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-undo": Row("clinic", post="KR"),
    "clinics:start-log-file": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-clock": Row("clinic", get="KR"),
    # bring in and align
    "clinics:bring-in": Row("clinic", get="KR"),
    "clinics:bring-in-states": Row("clinic", get="KR"),
    "clinics:station-uploads": Row("station", get="KR"),
    "clinics:upload-form": Row("station", post="KR"),
    "clinics:tus": Row(
        post=SIGNED_IN
    ),  # the station stands in a header: test_an_upload_to_a_hidden_station…
    "clinics:upload": Row("upload", head="R", patch="R", delete="R"),
    "clinics:upload-take-in": Row("upload", post="R"),
    "clinics:upload-give-up": Row("upload", post="R"),
    "clinics:recording": Row("recording", get="KR"),
    "clinics:recording-strip": Row("recording", get="KR"),
    "clinics:recording-frames": Row("filmed", get="KR"),
    "clinics:recording-frame": Row("filmed frame", get="KR"),
    "clinics:recording-tie": Row("recording", post="KR"),
    "clinics:tie-remove": Row("tie", post="KR"),
    # check and consent
    "clinics:check": Row("clinic", get="K"),
    "clinics:check-pass": Row("clinic", post="K"),
    "clinics:check-done": Row("clinic", post="K"),
    "clinics:close": Row("clinic", get="A", post="A"),
    "clinics:check-swim": Row("swim", get="K", post="K"),
    "clinics:check-swim#not passed": Row("unchecked swim", get="K", post="K"),
    "clinics:check-swim#withdrawn": Row("withdrawn swim"),
    "clinics:not-me": Row("swim", get="S", post="S"),
    "clinics:clip-file": Row("video", get="SCK"),
    "clinics:clip-file#poster": Row("poster", get="SCK"),
    "clinics:clip-file#strip": Row("strip", get="SCK"),
    "clinics:clip-file#sound": Row("sound", get="CK"),
    "clinics:clip-file#not passed": Row("unchecked video", get="K"),
    "clinics:clip-file#withdrawn": Row("withdrawn video", get="X"),
    "clinics:clip-file#elsewhere": Row("video elsewhere", get="cas"),
    "clinics:clip-file-frames": Row("video", get="SCK"),
    "clinics:clip-file-frames#withdrawn": Row("withdrawn video", get="X"),
    "clinics:consent": Row("clinic", get="A"),
    "clinics:consent-record": Row("entry", post="A"),
    "clinics:consent-end": Row("entry", post="A"),
    # feedback
    "feedback:my-swims": Row(get=SIGNED_IN),
    "feedback:waiting": Row(get=SIGNED_IN),
    "feedback:swim": Row("swim", get="SC"),
    "feedback:swim#not passed": Row("unchecked swim"),
    "feedback:swim#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:swim#elsewhere": Row("swim elsewhere", get="cs"),
    "feedback:say": Row("swim", post="SC"),
    "feedback:give": Row("swim", post="C"),
    "feedback:reply": Row("comment", post="SC"),
    "feedback:edit": Row("comment", get="C", post="C"),
    "feedback:edit#draft": Row("draft", get="C", post="C"),
    "feedback:reply#draft": Row("draft", post="C"),
}


def film(path: Path) -> None:
    """One second, 25 pictures."""
    source = ["-f", "lavfi", "-i", "testsrc=size=320x180:rate=25:duration=1"]
    codec = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-f", "mp4"]
    command = ["ffmpeg", "-nostdin", "-v", "error", "-y", *source, *codec, str(path)]
    subprocess.run(command, check=True, timeout=60)


# --- the things, and what a random one of the kind would be called ----------------------------


class Things:
    """What the URLs are about, made when asked for."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast

    def keys(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """URL arguments of the thing, and the same with ids that nothing has."""
        made: dict[str, Any] = getattr(self, name.replace(" ", "_"))() if name else {}
        return made, {key: self._nothing(key, value) for key, value in made.items()}

    def _nothing(self, key: str, value: Any) -> Any:
        if isinstance(value, uuid.UUID):
            return uuid.uuid4()
        if key == "number":
            return value
        return 987_654 if isinstance(value, int) else "no-such-club"

    def _pk(self, row: Any) -> dict[str, Any]:
        return {"pk": row.pk}

    def club(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug}

    def membership(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug, "pk": self.cast.crew.memberships.get().pk}

    def clinic(self) -> dict[str, Any]:
        return self._pk(self.cast.clinic)

    def entry(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "entry": self.cast.swims["tomas"].entry.pk}

    def station(self) -> dict[str, Any]:
        return self._pk(self.cast.start_side)

    def swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"])

    def withdrawn_swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["sol"])

    def swim_elsewhere(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["other"])

    def _unchecked(self) -> Any:
        swim = self.cast.swims["tomas"]
        swim.person, swim.others_recorded_at = "unconfirmed", None
        swim.passed_at = swim.given_at = None
        swim.save()
        return swim

    def unchecked_swim(self) -> dict[str, Any]:
        return self._pk(self._unchecked())

    def _file(self, swim: str, kind: str) -> dict[str, Any]:
        return self._pk(self.cast.clips[swim][0].files.get(kind=kind))

    def video(self) -> dict[str, Any]:
        return self._file("tomas", "video")

    def poster(self) -> dict[str, Any]:
        return self._file("tomas", "poster")

    def strip(self) -> dict[str, Any]:
        return self._file("tomas", "strip")

    def sound(self) -> dict[str, Any]:
        return self._file("tomas", "sound")

    def unchecked_video(self) -> dict[str, Any]:
        self._unchecked()
        return self._file("tomas", "video")

    def withdrawn_video(self) -> dict[str, Any]:
        return self._file("sol", "video")

    def video_elsewhere(self) -> dict[str, Any]:
        return self._file("other", "video")

    def _recording(self) -> Any:
        row = self.cast.recordings["start-side"]
        row.contact_strip = make_stored(
            self.cast.harbour, make_still((9, 80, 99)), kind="contact-strip", suffix=".jpg"
        )
        row.save()
        return row

    def recording(self) -> dict[str, Any]:
        return self._pk(self._recording())

    def filmed(self) -> dict[str, Any]:
        """A recording whose original is a real one, since single pictures are decoded of it."""
        row = self._recording()
        source = row.files.get()
        path = source.stored.local_path()
        film(path)
        source.facts = probe(path, shown_name=source.name, limits=Limits()).to_dict()
        source.save()
        save_frame_table(row.frame_table.local_path(), np.arange(25, dtype=np.int64) * 3600)
        return self._pk(row)

    def filmed_frame(self) -> dict[str, Any]:
        return {**self.filmed(), "number": 12}

    def tie(self) -> dict[str, Any]:
        row = Tie.objects.create(
            recording=self.cast.recordings["start-side"],
            kind="start-seen",
            pts_ticks=3600,
            swim=self.cast.swims["tomas"],
            u_ms=20,
            placed_by=self.cast.checker,
        )
        return self._pk(row)

    def _upload(self) -> Upload:
        row = Upload.objects.create(
            station=self.cast.start_side,
            owner=self.cast.crew,
            card=uuid.uuid4(),
            name="00012.MTS",
            size_bytes=1000,
            expires_at=timezone.now() + dt.timedelta(days=1),
        )
        part = Path(settings.UPLOADS_DIR) / f"{row.pk}.part"
        part.parent.mkdir(parents=True, exist_ok=True)
        part.touch()
        return row

    def upload(self) -> dict[str, Any]:
        return self._pk(self._upload())

    def _job(self, kind: str, subject: Any, by: Any) -> Any:
        return enqueue(kind=kind, subject=subject, asked_by=by)

    def upload_job(self) -> dict[str, Any]:
        return self._pk(self._job("take-in", self._upload(), self.cast.crew))

    def clip_job(self) -> dict[str, Any]:
        return self._pk(self._job("render-clip", self.cast.clips["tomas"][0], self.cast.checker))

    def clinic_job(self) -> dict[str, Any]:
        return self._pk(self._job("align", self.cast.clinic, self.cast.checker))

    def recording_job(self) -> dict[str, Any]:
        recording = self.cast.recordings["start-side"]
        return self._pk(self._job("index-recording", recording, self.cast.crew))

    def comment(self, sent: bool = True) -> dict[str, Any]:
        row = Comment.objects.create(
            swim=self.cast.swims["tomas"],
            author=self.cast.coach,
            text="Press the chest down before the wall.",
            sent_at=timezone.now() if sent else None,
        )
        return self._pk(row)

    def draft(self) -> dict[str, Any]:
        return self.comment(sent=False)

    def session(self) -> dict[str, Any]:
        row = UserSession.objects.create(
            user=self.cast.tomas, ip="192.0.2.7", session_key="k" * 32, user_agent="Tester"
        )
        return self._pk(row)

    def factor(self) -> dict[str, Any]:
        row = Authenticator.objects.create(user=self.cast.tomas, type="totp", data={"secret": "x"})
        return self._pk(row)


# --- asking ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


VARYING = {"X-Request-Id", "Set-Cookie", "Expires"}  # Expires: now, to the second
TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]*"')


def ask(client: Client, verb: str, path: str, keys: dict[str, Any]) -> Answer:
    """The answer with what may differ taken out: request id, form token, and the id itself."""
    headers = {"accept": "text/html", "tus-resumable": "1.0.0"}
    if verb == "RANGE":
        headers["range"] = "bytes=2-9"
    with transaction.atomic():
        response = client.generic("GET" if verb == "RANGE" else verb, path, headers=headers)
        body = b"".join(response) if response.streaming else response.content
        transaction.set_rollback(True)
    body = TOKEN.sub(b"", body)
    sent = {name: value for name, value in response.items() if name not in VARYING}
    ids = [str(value) for value in keys.values() if isinstance(value, uuid.UUID)]
    for text in (path, quote(path), quote(path, safe=""), *ids):
        body = body.replace(text.encode(), b"<this>")
        sent = {name: value.replace(text, "<this>") for name, value in sent.items()}
    return Answer(response.status_code, tuple(sorted(sent.items())), body)


def cast_by_letter(cast: Cast) -> dict[str, Any]:
    return {
        "S": cast.tomas,
        "W": cast.wren,
        "X": cast.sol,
        "C": cast.coach,
        "K": cast.checker,
        "R": cast.crew,
        "A": cast.admin,
        "c": cast.other_coach,
        "a": cast.other_admin,
        "s": cast.other_swimmer,
        "-": None,
    }


def check_let_through(row: Row, verb: str, answer: Answer, here: str) -> None:
    assert answer.status not in {401, 404, 405}, here
    assert answer.status < 500 or answer.status == 503, here
    if verb in {"GET", "RANGE", "HEAD"}:
        assert answer.status < 400, (here, answer.status)


def check_kept_out(verb: str, answer: Answer, absent: Answer, letter: str, here: str) -> None:
    assert answer == absent, here
    if letter == "-":
        assert answer.status in {302, 401}, here
    elif verb in {"GET", "HEAD", "RANGE", "POST"}:
        assert answer.status in {404, 405, 204}, (here, answer.status)


@pytest.mark.parametrize("name", MATRIX)
def test_the_whole_cast_on(name: str, cast: Cast) -> None:
    row = MATRIX[name]
    made, nothing = Things(cast).keys(row.of)
    path = reverse(name.split("#")[0], kwargs=made)
    no_path = reverse(name.split("#")[0], kwargs=nothing)
    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        a_few = letter in row.knows() or letter in STRANGERS_ON_RARE
        for verb in (*OFTEN, *(RARE if a_few else ())):
            here = f"{name}: {letter} {verb}"
            answer = ask(client, verb, path, made)
            if letter in row.may(verb):
                check_let_through(row, verb, answer, here)
            elif letter not in row.knows() and row.of:
                absent = ask(client, verb, no_path, nothing)
                check_kept_out(verb, answer, absent, letter, here)
            elif letter == "-":
                assert answer.status in {302, 401, 405}, here
            elif verb in {"GET", "POST"}:
                assert answer.status in {403, 404, 405}, (here, answer.status)
            else:
                assert answer.status < 500, here


def test_a_byte_range_of_a_clip_is_a_part_of_it(cast: Cast) -> None:
    """So that RANGE above really asks for a range where there is something to see."""
    made, _ = Things(cast).keys("video")
    path = reverse("clinics:clip-file", kwargs=made)
    answer = ask(sign_in(Client(), cast.tomas), "RANGE", path, made)
    whole = cast.clips["tomas"][0].files.get(kind="video").stored.local_path().read_bytes()
    assert answer.status == 206 and answer.body == whole[2:10]


def test_an_upload_to_a_hidden_station_answers_like_one_to_none(cast: Cast) -> None:
    """The tus creation names its station in a header, not in the URL."""

    def create(client: Client, station: uuid.UUID) -> tuple[int, bytes]:
        told = {"station": str(station), "filename": "00012.MTS"}
        packed = ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in told.items())
        with transaction.atomic():
            answer = client.post(
                reverse("clinics:tus"),
                headers={
                    "tus-resumable": "1.0.0",
                    "upload-length": "1000",
                    "upload-metadata": packed,
                },
            )
            transaction.set_rollback(True)
        return answer.status_code, answer.content

    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        hidden, absent = create(client, cast.start_side.pk), create(client, uuid.uuid4())
        if letter in "KR":
            assert hidden[0] == 201 and absent[0] == 404, letter
        else:
            assert hidden == absent and hidden[0] == (401 if letter == "-" else 404), letter


# --- nothing is left out ---------------------------------------------------------------


def named(resolver: URLResolver, space: str = "") -> Iterator[str]:
    for item in resolver.url_patterns:
        if isinstance(item, URLResolver):
            yield from named(item, f"{space}{item.namespace}:" if item.namespace else space)
        else:
            assert isinstance(item, URLPattern) and item.name, f"{item.pattern} has no name"
            yield f"{space}{item.name}"


def test_every_url_stands_in_the_matrix_and_nothing_else() -> None:
    told = {name.split("#")[0] for name in MATRIX}
    known = set(named(get_resolver()))
    assert known - told == set(), "add these URLs to MATRIX, with who is let through"
    assert told - known == set(), "these URLs are gone: take them out of MATRIX"


def test_files_are_reached_by_no_other_path(cast: Cast) -> None:
    """Trust 12: direct paths of stored files are 404, to those who may see them, too."""
    stored = cast.clips["tomas"][0].files.get(kind="video").stored
    client = sign_in(Client(), cast.coach)
    for prefix in ("/media/", "/not-served/", "/internal/media/", "/static/", "/originals/", "/"):
        assert client.get(f"{prefix}{stored.name}").status_code == 404
    with pytest.raises(NoReverseMatch):
        reverse("media", args=[stored.name])


def test_lists_hold_nothing_of_others(cast: Cast) -> None:
    """What has no id in its URL must not tell of others either."""
    secrets: dict[str, Callable[[], set[str]]] = {
        "S": lambda: {"Wren", "Sol Hagen", "Kit", "Quillmoor"},
        "W": lambda: {"Tomas", "Sol Hagen", "Kit", "Quillmoor"},
        "c": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "s": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "C": lambda: {"Kit", "Quillmoor", "Sol Hagen"},
    }
    clip_ids = {str(clip.pk): clip.swim_id for clip in Clip.objects.all()}
    assert len(clip_ids) == 10
    for letter, names in secrets.items():
        client = sign_in(Client(), cast_by_letter(cast)[letter])
        for url in ("clinics:clinics", "feedback:my-swims", "feedback:waiting", "portal:account"):
            page = client.get(reverse(url), follow=True).content.decode()
            for name in names():
                assert name not in page, (letter, url, name)
