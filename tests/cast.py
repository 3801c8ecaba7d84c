"""The fixed cast of every fenced test, with data that could leak.

Harbour Lane Masters ran a clinic at Millrace Baths; Quillmoor Tritons had nothing to do
with it. All names and addresses are invented.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import tempfile
import time
import uuid
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image

from clinics.media.frames import save_frame_table
from clinics.models import (
    Camera,
    Clinic,
    Clip,
    ClipFile,
    ClockFit,
    Consent,
    Duty,
    Entry,
    LaneGroup,
    Recording,
    SourceFile,
    Station,
    Swim,
    Swimmer,
)
from portal.models import Club, Membership, StoredFile, User

DAY = dt.date(2026, 11, 14)
FIRST_START = dt.datetime(2026, 11, 14, 10, 12, 30, 250_000, tzinfo=dt.UTC)
FPS = 25


@dataclass
class Cast:
    """Everybody and everything a fenced test needs."""

    harbour: Club
    quillmoor: Club
    admin: User
    coach: User
    checker: User
    crew: User
    tomas: User
    wren: User
    sol: User  # agreed, was filmed, then withdrew
    other_admin: User
    other_coach: User
    other_swimmer: User
    clinic: Clinic
    other_clinic: Clinic
    start_side: Station
    underwater: Station
    recordings: dict[str, Recording] = field(default_factory=dict)
    swims: dict[str, Swim] = field(default_factory=dict)  # by swimmer: tomas, wren, sol, other
    clips: dict[str, list[Clip]] = field(default_factory=dict)

    def people(self) -> dict[str, User | None]:
        """The cast that every fenced URL is asked by, by what they are."""
        return {
            "swimmer": self.tomas,
            "another swimmer": self.wren,
            "swimmer who withdrew": self.sol,
            "coach": self.coach,
            "coach of another club": self.other_coach,
            "checker": self.checker,
            "crew": self.crew,
            "club admin": self.admin,
            "admin of another club": self.other_admin,
            "swimmer of another club": self.other_swimmer,
            "nobody signed in": None,
        }


def sign_in(client: Client, user: User | None, *, fresh: bool = True) -> Client:
    """Signed in with all that the role asks for, a moment ago; None: nobody."""
    if user is not None:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        now_s, session = int(time.time()), client.session
        for key in ("signed_in_at", "seen_at", "factor_at"):  # portal/freshness.py
            session[key] = now_s
        session["own_device"] = True
        session["fresh_at"] = now_s if fresh else now_s - 3600
        session.save()
    return client


@cache
def frame_table(frames: int) -> bytes:
    """The bytes of a frame table of even frames at 25 frames/s."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frames.table"
        save_frame_table(path, np.arange(frames, dtype=np.int64) * (90_000 // FPS))
        return path.read_bytes()


def make_user(email: str, name: str) -> User:
    return User.objects.create_user(email, name)


def make_member(club: Club, user: User, role: str) -> Membership:
    return Membership.objects.create(
        club=club, user=user, role=role, from_date=dt.date(2026, 10, 1)
    )


def make_stored(club: Club, content: bytes, *, kind: str, suffix: str, area: str = "media") -> Any:
    """A stored file with real bytes on disk."""
    stored = put_on_disk(club, content, kind=kind, suffix=suffix, area=area)
    stored.save()
    return stored


def put_on_disk(club: Club, content: bytes, *, kind: str, suffix: str, area: str = "media") -> Any:
    """Its bytes are on disk; its row is still to be saved."""
    name = f"{kind}/{uuid.uuid4()}{suffix}"
    root = settings.ORIGINALS_DIR if area == "originals" else default_storage.path("")
    path = Path(root) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return StoredFile(
        club=club,
        area=area,
        kind=kind,
        name=name,
        content_type={".mp4": "video/mp4", ".jpg": "image/jpeg", ".m4a": "audio/mp4"}.get(
            suffix, "application/octet-stream"
        ),
        size_bytes=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        keeping_rule="clips",
    )


def make_clinic(club: Club, slug: str, name: str) -> Clinic:
    return Clinic.objects.create(
        club=club,
        slug=slug,
        name=name,
        venue="Millrace Baths",
        date=DAY,
        time_zone="Europe/Dublin",
        course_m=25,
        distance_m=50,
        air_temperature_c=27,
        state="open",
    )


def make_station(clinic: Clinic, order: int, slug: str, name: str, kind: str) -> Station:
    return Station.objects.create(
        clinic=clinic,
        order=order,
        slug=slug,
        name=name,
        kind=kind,
        x_m=3.0 if kind == "start-side" else 12.5,
        y_m=-2.0,
        z_m=1.6 if kind == "start-side" else -0.5,
        hears_start=kind == "start-side",
    )


def make_entry(clinic: Clinic, name: str, number: int, user: User | None, email: str) -> Entry:
    group, _ = LaneGroup.objects.get_or_create(clinic=clinic, name="A", defaults={"order": 1})
    swimmer = Swimmer.objects.create(
        club=clinic.club,
        name=name,
        email=email,
        user=user,
        adult_attested_at=FIRST_START - dt.timedelta(days=7),
    )
    Consent.objects.create(swimmer=swimmer, purpose="film-and-review")
    return Entry.objects.create(
        clinic=clinic,
        swimmer=swimmer,
        number=number,
        lane_group=group,
        order=number,
        stroke="freestyle",
        pace_s_per_100m=90.0,
    )


def make_recording(station: Station, by: User, *, zero_at: dt.datetime, frames: int) -> Recording:
    """A ready recording of `frames` frames at 25 frames/s with a frame table and a fit."""
    camera, _ = Camera.objects.get_or_create(station=station, name="Camera 1")
    order = camera.recordings.count() + 1
    club = station.clinic.club
    recording = Recording.objects.create(
        station=station,
        camera=camera,
        order=order,
        state="ready",
        duration_s=frames / FPS,
        frame_count=frames,
        nominal_fps=FPS,
        width=640,
        height=360,
        has_sound=station.hears_start,
        frame_table=make_stored(club, frame_table(frames), kind="frame-table", suffix=".table"),
        brought_in_by=by,
    )
    original = make_stored(
        club, b"original " + uuid.uuid4().bytes, kind="original", suffix=".mp4", area="originals"
    )
    SourceFile.objects.create(
        recording=recording,
        order=1,
        name="00012.MTS",
        sha256=original.sha256,
        size_bytes=original.size_bytes,
        stored=original,
    )
    ClockFit.objects.create(
        recording=recording, zero_at=zero_at, u_ms=12.0, state="sure", method="ties", tie_count=2
    )
    return recording


def make_swim(entry: Entry, start_at: dt.datetime, **fields: Any) -> Swim:
    return Swim.objects.create(
        entry=entry, start_at=start_at, start_kind="tap", start_u_ms=150.0, **fields
    )


@cache
def make_still(colour: tuple[int, int, int]) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (320, 180), colour).save(out, "JPEG")
    return out.getvalue()


def make_clip(swim: Swim, recording: Recording, pass_no: int, *, from_s: float = 0.0) -> Clip:
    """A ready clip of 100 frames with a rendition, a sound, a poster and a strip."""
    club = recording.station.clinic.club
    begin = swim.start_at + dt.timedelta(seconds=from_s) - recording.clock_fit.zero_at
    first = int(begin.total_seconds() * FPS)
    clip = Clip.objects.create(
        swim=swim,
        station=recording.station,
        pass_no=pass_no,
        recording=recording,
        in_ticks=first * (90_000 // FPS),
        out_ticks=(first + 100) * (90_000 // FPS),
        first_frame=first,
        frame_count=100,
        seen_from_s=from_s,
        seen_to_s=from_s + 4.0,
        time_state="sure",
        state="ready",
        rendered_at=FIRST_START,
    )
    pts = make_stored(club, frame_table(100), kind="pts-table", suffix=".table")
    colour = (15, 76, 99) if recording.station.kind == "underwater" else (143, 178, 184)
    files = [
        ClipFile(
            clip=clip,
            kind=kind,
            height=360 if kind != "sound" else None,
            width=640 if kind != "sound" else None,
            stored=put_on_disk(club, content, kind=kind, suffix=suffix),
            pts_table=pts if kind == "video" else None,
        )
        for kind, suffix, content in (
            ("video", ".mp4", b"video of " + str(swim.pk).encode() * 40),
            ("sound", ".m4a", b"sound of " + str(swim.pk).encode()),
            ("poster", ".jpg", make_still(colour)),
            ("strip", ".jpg", make_still(colour)),
        )
    ]
    StoredFile.objects.bulk_create(file.stored for file in files)
    ClipFile.objects.bulk_create(files)
    return clip


def build_cast() -> Cast:
    """Two clubs, their people, a clinic with three swims (one withdrawn), one elsewhere."""
    harbour = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")
    quillmoor = Club.objects.create(slug="quillmoor-tritons", name="Quillmoor Tritons")
    admin = make_user("mara.lindqvist@harbourlane.example", "Mara Lindqvist")
    coach = make_user("ines.aldana@harbourlane.example", "Ines Aldana")
    checker = make_user("jun.sorley@harbourlane.example", "Jun Sorley")
    crew = make_user("petra.voss@harbourlane.example", "Petra Voss")
    tomas = make_user("tomas.birk@harbourlane.example", "Tomas Birk")
    wren = make_user("wren.okada@harbourlane.example", "Wren Okada")
    sol = make_user("sol.hagen@harbourlane.example", "Sol Hagen")
    other_admin = make_user("ruben.falk@quillmoor.example", "Ruben Falk")
    other_coach = make_user("edda.varga@quillmoor.example", "Edda Varga")
    other_swimmer = make_user("kit.maddern@quillmoor.example", "Kit Maddern")
    for club, user, role in (
        (harbour, admin, "admin"),
        (harbour, coach, "coach"),
        (harbour, checker, "crew"),
        (harbour, crew, "crew"),
        (quillmoor, other_admin, "admin"),
        (quillmoor, other_coach, "coach"),
    ):
        make_member(club, user, role)
    clinic = make_clinic(harbour, "harbour-autumn", "Autumn clinic")
    other_clinic = make_clinic(quillmoor, "quillmoor-open", "Open clinic")
    Duty.objects.create(clinic=clinic, user=checker, kind="checker")
    Duty.objects.create(clinic=other_clinic, user=other_admin, kind="checker")
    cast = Cast(
        harbour=harbour,
        quillmoor=quillmoor,
        admin=admin,
        coach=coach,
        checker=checker,
        crew=crew,
        tomas=tomas,
        wren=wren,
        sol=sol,
        other_admin=other_admin,
        other_coach=other_coach,
        other_swimmer=other_swimmer,
        clinic=clinic,
        other_clinic=other_clinic,
        start_side=make_station(clinic, 1, "start-side", "Start side", "start-side"),
        underwater=make_station(clinic, 2, "underwater", "Underwater 12.5 m", "underwater"),
    )
    _film(cast)
    return cast


def _film(cast: Cast) -> None:
    zero_at = FIRST_START - dt.timedelta(seconds=20)
    for station in (cast.start_side, cast.underwater):
        cast.recordings[station.slug] = make_recording(
            station, cast.crew, zero_at=zero_at, frames=6000
        )
    checked = {
        "person": "confirmed",
        "person_by": cast.checker,
        "others_recorded_at": FIRST_START,
        "others_recorded_by": cast.checker,
        "passed_at": FIRST_START,
        "passed_by": cast.checker,
        "given_at": FIRST_START,
        "given_by": cast.coach,
    }
    for number, (key, user) in enumerate(
        (("tomas", cast.tomas), ("wren", cast.wren), ("sol", cast.sol)), start=1
    ):
        entry = make_entry(cast.clinic, user.name, number, user, user.email)
        start_at = FIRST_START + dt.timedelta(seconds=45.3 * (number - 1))
        swim = make_swim(entry, start_at, **checked)
        cast.swims[key] = swim
        cast.clips[key] = [
            make_clip(swim, cast.recordings["start-side"], 1, from_s=-1.0),
            make_clip(swim, cast.recordings["underwater"], 1, from_s=7.0),
            make_clip(swim, cast.recordings["underwater"], 2, from_s=28.0),
        ]
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=FIRST_START)
    _film_elsewhere(cast, checked)


def _film_elsewhere(cast: Cast, checked: dict[str, Any]) -> None:
    station = make_station(cast.other_clinic, 1, "start-side", "Start side", "start-side")
    recording = make_recording(
        station, cast.other_admin, zero_at=FIRST_START - dt.timedelta(seconds=20), frames=2000
    )
    cast.recordings["other"] = recording
    entry = make_entry(
        cast.other_clinic, "Kit Maddern", 1, cast.other_swimmer, cast.other_swimmer.email
    )
    people = {"person_by": cast.other_admin, "passed_by": cast.other_admin}
    swim = make_swim(entry, FIRST_START, **{**checked, **people, "given_by": cast.other_coach})
    cast.swims["other"] = swim
    cast.clips["other"] = [make_clip(swim, recording, 1)]
