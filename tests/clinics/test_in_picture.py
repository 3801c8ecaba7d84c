"""Who can be recognised at a station over a span of time."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from clinics.actions.check_rows import CheckRefused
from clinics.actions.in_picture import tag, tag_in_clip, untag
from clinics.models import Clip, ClockFit, InPicture
from portal.models import AuditEntry
from tests import showing
from tests.cast import FIRST_START, Cast, make_recording, sign_in

SECOND = dt.timedelta(seconds=1)


def at(seconds: float) -> dt.datetime:
    return FIRST_START + seconds * SECOND


def seen_by_coach(cast: Cast) -> set[str]:
    shown = set(Clip.objects.visible_to(cast.coach).values_list("pk", flat=True))
    clips = cast.clips.items()
    return {f"{name} {n}" for name, rows in clips for n, row in enumerate(rows) if row.pk in shown}


ALL = {f"{name} {n}" for name in ("tomas", "wren") for n in range(3)}


def test_one_tag_counts_for_every_clip_of_that_time_of_all_swims(cast: Cast) -> None:
    """Sol withdrew. Underwater, Tomas is in picture at 7 and 28 s, Wren at 52.3 and 73.3 s."""
    sol = cast.swims["sol"].entry.swimmer
    assert seen_by_coach(cast) == ALL
    told = tag(station=cast.underwater, swimmer=sol, begin=at(25), end=at(60), by=cast.checker)
    assert len(told) == 1
    assert seen_by_coach(cast) == ALL - {"tomas 2", "wren 1"}
    for user in (cast.tomas, cast.wren):  # withheld from its swimmer too, and the swim is not
        assert Clip.objects.visible_to(user).count() == 2
    assert Clip.objects.handled_by(cast.checker).filter(swim=cast.swims["tomas"]).count() == 3
    untag(tagged=told[0], by=cast.checker)
    assert seen_by_coach(cast) == ALL
    actions = AuditEntry.objects.filter(action__startswith="in_picture").values_list("action")
    assert [one[0] for one in actions.order_by("seq")] == ["in_picture.tag", "in_picture.untag"]


def test_a_tag_touches_clips_half_open(cast: Cast) -> None:
    """It ends where a clip begins: not in it. Media time begins 20 s before the first start."""
    wren = cast.swims["wren"].entry.swimmer
    clip = cast.clips["tomas"][2]
    showing.withdraw(cast, "wren", "film-and-review")
    row = InPicture.objects.create(
        recording=clip.recording, swimmer=wren, from_ticks=0, to_ticks=clip.in_ticks
    )
    assert "tomas 2" in seen_by_coach(cast)
    InPicture.objects.filter(pk=row.pk).update(to_ticks=clip.in_ticks + 1)
    assert "tomas 2" not in seen_by_coach(cast)
    last = {"from_ticks": clip.out_ticks, "to_ticks": clip.out_ticks + 9}
    InPicture.objects.filter(pk=row.pk).update(**last)
    assert "tomas 2" in seen_by_coach(cast)


def test_whoever_is_covered_in_a_clip_does_not_count_for_it(cast: Cast) -> None:
    clips = cast.clips["tomas"]
    for clip in clips[:2]:
        showing.tag(cast, clip, "sol")
    assert not {"tomas 0", "tomas 1"} & seen_by_coach(cast)
    showing.cover(cast, clips[0], "sol", FIRST_START + dt.timedelta(hours=1))
    assert not {"tomas 0", "tomas 1"} & seen_by_coach(cast)  # not made again yet
    rendered_at = FIRST_START + dt.timedelta(hours=2)
    clips[0].swim.clips.update(rendered_at=rendered_at)
    assert not {"tomas 0", "tomas 1"} & seen_by_coach(cast)  # not passed on yet
    showing.pass_again(cast.swims["tomas"], rendered_at)
    assert {"tomas 0", "tomas 1"} & seen_by_coach(cast) == {"tomas 0"}


def test_the_swimmer_does_not_stand_in_the_own_way(cast: Cast) -> None:
    """Tagged in the own clip over a long span: it counts for the others' alone."""
    tomas = cast.swims["tomas"].entry.swimmer
    showing.withdraw(cast, "tomas", "film-and-review")
    tag(station=cast.underwater, swimmer=tomas, begin=at(-10), end=at(120), by=cast.checker)
    assert Clip.objects.visible_to(cast.tomas).count() == 3
    assert Clip.objects.visible_to(cast.wren).count() == 1


def test_a_tag_lies_on_each_recording_of_that_time_and_moves_with_no_clock(cast: Cast) -> None:
    later = make_recording(cast.underwater, cast.crew, zero_at=at(100), frames=1000)
    wren = cast.swims["wren"].entry.swimmer
    rows = tag(station=cast.underwater, swimmer=wren, begin=at(90), end=at(110), by=cast.checker)
    spans = {row.recording_id: (row.from_ticks, row.to_ticks) for row in rows}
    first = cast.recordings["underwater"].pk
    assert spans == {first: (110 * 90_000, 130 * 90_000), later.pk: (0, 10 * 90_000)}
    ClockFit.objects.update(zero_at=at(-999))
    assert {row.from_ticks for row in InPicture.objects.all()} == {110 * 90_000, 0}
    assert InPicture.objects.count() == 2


def test_tagging_twice_changes_nothing_and_nonsense_is_refused(cast: Cast) -> None:
    wren, clip = cast.swims["wren"].entry.swimmer, cast.clips["tomas"][0]
    for count in (1, 0):
        assert len(tag_in_clip(clip=clip, swimmers=[wren], by=cast.checker)) == count
    station = {"station": cast.underwater, "swimmer": wren}
    with pytest.raises(CheckRefused, match="after it begins"):
        tag(**station, begin=at(9), end=at(9), by=cast.checker)
    with pytest.raises(CheckRefused, match="running then"):
        tag(**station, begin=at(9000), end=at(9010), by=cast.checker)
    for user in (cast.coach, cast.crew, cast.admin, cast.other_admin):
        with pytest.raises(PermissionDenied):
            tag(**station, begin=at(0), end=at(9), by=user)
    elsewhere = cast.swims["other"].entry.swimmer
    with pytest.raises(PermissionDenied):
        tag_in_clip(clip=clip, swimmers=[elsewhere], by=cast.checker)


def test_the_checker_notes_and_takes_away_on_the_swims_page(cast: Cast) -> None:
    client, swim = sign_in(Client(), cast.checker), cast.swims["tomas"]
    page = reverse("clinics:check-swim", args=[swim.pk])
    sol = cast.swims["sol"].entry.swimmer
    # the clinic's clock: the first start is at 10:12:30 in Dublin
    told = {"swimmer": sol.pk, "station": cast.underwater.pk}
    answer = client.post(
        reverse("clinics:in-picture-tag", args=[swim.pk]),
        {**told, "begin": "10:12:55", "end": "10:13:30"},
    )
    assert answer["Location"] == page + "#in-picture"
    assert seen_by_coach(cast) == ALL - {"tomas 2", "wren 1"}
    shown = client.get(page).content.decode()
    assert "10:12:55" in shown and "1 clip of this swim is withheld" in shown
    row = InPicture.objects.get()
    client.post(reverse("clinics:in-picture-untag", args=[row.pk]), {"swim": swim.pk})
    assert seen_by_coach(cast) == ALL
    client.post(reverse("clinics:in-picture-tag", args=[swim.pk]), told)
    assert not InPicture.objects.exists()
