"""Fills a database with a large club and times its list, fenced and plain; prints JSON.

    DATABASE_URL=… python -m tests.bench.fence_run

One club, 250 clinics of 40 swims each, four clips a swim: 10,000 swims and 40,000 clips. Every
fifth swim has somebody else recorded, every tenth clip somebody tagged; some do not agree, some
swims are held, due, not given or not passed on. It is filled by bulk inserts and then analysed.
"""

from __future__ import annotations

import datetime as dt
import json
import statistics
import time
from collections.abc import Callable
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402
from django.db.models import Prefetch  # noqa: E402
from django.test.utils import CaptureQueriesContext  # noqa: E402
from django.utils import timezone  # noqa: E402

from clinics.models import (  # noqa: E402
    Camera,
    Clinic,
    Clip,
    Consent,
    Entry,
    InPicture,
    LaneGroup,
    Recognised,
    Recording,
    Station,
    Swim,
    Swimmer,
)
from portal.models import Club, Hold, Membership, User  # noqa: E402

CLINICS, SWIMMERS, CLIPS = 250, 40, 4
ROUNDS, ASKED = 3, 40
NOW = timezone.now()
S = 90_000


def make_club() -> tuple[Club, User]:
    club = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")
    coach = User.objects.create_user("ines.aldana@harbourlane.example", "Ines Aldana")
    began = NOW.date() - dt.timedelta(days=4000)
    Membership.objects.create(club=club, user=coach, role="coach", from_date=began)
    return club, coach


def make_swimmers(club: Club) -> list[Swimmer]:
    """400 who come to every tenth clinic; each twentieth has withdrawn."""
    rows = Swimmer.objects.bulk_create(
        Swimmer(club=club, name=f"Swimmer {n}", adult_attested_at=NOW) for n in range(400)
    )
    given = [("film-and-review", 1), ("show-to-group", 2), ("coach-education", 3)]
    Consent.objects.bulk_create(
        Consent(
            swimmer=row,
            purpose=purpose,
            ended_at=NOW if purpose == "film-and-review" and n % 20 == 0 else None,
        )
        for n, row in enumerate(rows)
        for purpose, every in given
        if n % every == 0
    )
    return rows


def make_clinic(club: Club, number: int) -> tuple[Clinic, list[Recording], LaneGroup]:
    day = NOW.date() - dt.timedelta(days=10 * (number + 1))
    clinic = Clinic.objects.create(
        club=club,
        slug=f"clinic-{number}",
        name=f"Clinic {number}",
        venue="Millrace Baths",
        date=day,
        time_zone="Europe/Dublin",
        course_m=25,
        distance_m=50,
        air_temperature_c=27,
        state="open",
    )
    group = LaneGroup.objects.create(clinic=clinic, name="A", order=1)
    recordings = []
    for order in range(1, CLIPS + 1):
        station = Station.objects.create(
            clinic=clinic, slug=f"s{order}", name="s", kind="deck", order=order, x_m=1, y_m=1
        )
        camera = Camera.objects.create(station=station, name="c")
        recordings.append(Recording.objects.create(station=station, camera=camera, order=1))
    return clinic, recordings, group


def fill_clinic(club: Club, number: int, swimmers: list[Swimmer]) -> None:
    clinic, recordings, group = make_clinic(club, number)
    mine = swimmers[SWIMMERS * (number % 10) :][:SWIMMERS]
    entries = Entry.objects.bulk_create(
        Entry(
            clinic=clinic,
            swimmer=swimmer,
            number=n,
            lane_group=group,
            order=n,
            stroke="freestyle",
            pace_s_per_100m=90,
        )
        for n, swimmer in enumerate(mine)
    )
    at = dt.datetime.combine(clinic.date, dt.time(10), dt.UTC)
    swims = Swim.objects.bulk_create(
        Swim(
            entry=entry,
            start_at=at + dt.timedelta(seconds=45 * n),
            start_u_ms=150,
            person="confirmed",
            others_recorded_at=at,
            passed_at=at + dt.timedelta(hours=1) if n % 13 else None,
            given_at=at + dt.timedelta(hours=2) if n % 13 and n % 7 else None,
            delete_by=NOW - dt.timedelta(days=1) if n % 17 == 16 else None,
        )
        for n, entry in enumerate(entries)
    )
    fill_swims(club, swims, recordings, mine, at)


def fill_swims(
    club: Club, swims: list[Swim], recordings: list[Recording], mine: list[Swimmer], at: Any
) -> None:
    clips = Clip.objects.bulk_create(
        Clip(
            swim=swim,
            station=recording.station,
            pass_no=1,
            recording=recording,
            in_ticks=45 * n * S,
            out_ticks=(45 * n + 30) * S,
            first_frame=45 * n * 25,
            frame_count=750,
            seen_from_s=0,
            seen_to_s=30,
            time_state="sure",
            state="ready",
            rendered_at=at,
        )
        for n, swim in enumerate(swims)
        for recording in recordings
    )
    Recognised.objects.bulk_create(
        Recognised(swim=swim, swimmer=mine[(n + 7) % len(mine)])
        for n, swim in enumerate(swims)
        if n % 5 == 0
    )
    InPicture.objects.bulk_create(
        InPicture(
            recording=clip.recording,
            swimmer=mine[(n + 3) % len(mine)],
            from_ticks=clip.in_ticks + S,
            to_ticks=clip.in_ticks + 2 * S,
        )
        for n, clip in enumerate(clips)
        if n % 10 == 0
    )
    owner = User.objects.first()
    Hold.objects.bulk_create(
        Hold(
            subject_kind="clinics.Swim",
            subject_id=swim.pk,
            reason="-",
            owner=owner,
            review_on=NOW.date(),
        )
        for n, swim in enumerate(swims)
        if n == 11
    )


def listed(swims: Any, clips: Any) -> list[Any]:
    """A club's swims with their people and clips."""
    rows = swims.select_related("entry__swimmer", "entry__clinic").order_by("-start_at")
    return list(rows.prefetch_related(Prefetch("clips", clips.order_by("pk"))))


def timed(ask: Callable[[], list[Any]]) -> tuple[float, int, int]:
    """Seconds, rows and queries."""
    with CaptureQueriesContext(connection) as asked:
        began = time.perf_counter()
        rows = ask()
        took_s = time.perf_counter() - began
    return took_s, len(rows), len(asked)


def one_asked(coach: User) -> dict[str, float]:
    """Seconds to ask whether one clip may be seen, as each request for a film does: planned as the
    portal has it planned, and as the server would by itself. The median of many, turn by turn."""
    keys = list(Clip.objects.visible_to(coach).values_list("pk", flat=True)[:ASKED])
    took: dict[str, list[float]] = {"ours": [], "its own": []}
    for key in keys:
        for name, limit in (("ours", settings.JOINS_PLANNED), ("its own", 8)):
            with connection.cursor() as cursor:
                cursor.execute(f"SET join_collapse_limit = {limit}")
            began = time.perf_counter()
            assert Clip.objects.visible_to(coach).filter(pk=key).exists()
            took[name].append(time.perf_counter() - began)
    return {name: statistics.median(its) for name, its in took.items()}


def main() -> None:
    call_command("migrate", verbosity=0)
    club, coach = make_club()
    swimmers = make_swimmers(club)
    swimmer = User.objects.create_user("tomas.birk@harbourlane.example", "Tomas Birk")
    Swimmer.objects.filter(pk=swimmers[1].pk).update(user=swimmer)
    for number in range(CLINICS):
        fill_clinic(club, number, swimmers)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    swims, clips = Swim.objects.all(), Clip.objects.all()
    lists: dict[str, Callable[[], list[Any]]] = {
        "plain": lambda: listed(swims, clips),
        "coach": lambda: listed(swims.visible_to(coach), clips.visible_to(coach)),
        "queue": lambda: listed(swims.coached_by(coach), clips.visible_to(coach)),
        "swimmer": lambda: listed(swims.visible_to(swimmer), clips.visible_to(swimmer)),
    }
    best: dict[str, tuple[float, int, int]] = {}
    for _round in range(ROUNDS):
        for name, ask in lists.items():
            took = timed(ask)
            best[name] = min(took, best.get(name, took))
    told = {name: {"s": s, "swims": n, "queries": q} for name, (s, n, q) in best.items()}
    counts = {"swims": swims.count(), "clips": clips.count()}
    print(json.dumps({**counts, "lists": told, "one": one_asked(coach)}))


if __name__ == "__main__":
    main()
