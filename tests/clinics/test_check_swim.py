"""The page of one swim and what is posted from it: what it shows, where it comes back to, and what
a page says that is no longer up to date."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions import board
from clinics.models import BoardAct, Clip, ClockFit, SourceFile, StartLogEntry, Swim
from tests.cast import FIRST_START, FPS, Cast, sign_in
from tests.clinics.board_tools import fresh, fresh_clip, more_swims


@pytest.fixture
def full(cast: Cast) -> Cast:
    more_swims(cast)
    return cast


@pytest.fixture
def checker(full: Cast) -> Client:
    return sign_in(Client(), full.checker)


def page(full: Cast, checker: Client, name: str = "wren", **query: str) -> str:
    url = reverse("clinics:check-swim", args=[full.swims[name].pk])
    return checker.get(url, query).content.decode()


def post(checker: Client, name: str, pk: object, **data: object) -> str:
    """The page that comes after."""
    answer = checker.post(reverse(f"clinics:{name}", args=[pk]), data, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def ends(clip: Clip) -> tuple[int, int]:
    row = Clip.objects.get(pk=clip.pk)
    return row.first_frame, row.first_frame + row.frame_count - 1


# --- what it shows -----------------------------------------------------------------------------


def test_the_card_is_a_picture_of_the_moment_before_the_start(full: Cast, checker: Client) -> None:
    url = reverse("clinics:check-card", args=[full.swims["wren"].pk])
    assert url not in page(full, checker)  # no original that a picture could be taken from
    SourceFile.objects.update(facts={"container": "mpegts"})
    assert f"{url}?before=4.0" in page(full, checker)
    assert "2 s before the start" in page(full, checker, before="2")
    early = ClockFit.objects.get(recording=full.recordings["start-side"])
    early.zero_at = full.swims["wren"].start_at
    early.save()
    assert "No camera at the start shows the moment before this start" in page(full, checker)


def test_no_card_is_shown_while_somebody_swims_who_did_not_agree(
    full: Cast, checker: Client
) -> None:
    SourceFile.objects.update(facts={"container": "mpegts"})
    url = reverse("clinics:check-card", args=[full.swims["wren"].pk])
    assert url in page(full, checker)
    StartLogEntry.objects.create(
        clinic=full.clinic,
        client_id="x",
        instant=full.swims["wren"].start_at - dt.timedelta(seconds=10),
        outcome="not-filmed",
    )
    assert url not in page(full, checker)
    assert checker.get(url).status_code == 404


def test_neighbours_stand_with_their_stills_to_compare(full: Cast, checker: Client) -> None:
    shown = page(full, checker)
    whose = shown[shown.index('id="whose"') : shown.index('id="cut"')]
    names = re.findall(r"Swap with ([^<]+)<", whose)
    assert names == ["Tomas Birk", "Ada Rell", "Bo Lindqvist"]
    assert "started 45 s before" in whose and "started 60 s after" in whose
    poster = full.clips["ada"][0].files.get(kind="poster")
    assert reverse("clinics:clip-file", args=[poster.pk]) in whose
    assert "Sol Hagen" not in re.sub(r"<option.*?</option>", "", whose)  # withdrew: not shown


def test_other_goes_of_the_swimmer_stand_beside(full: Cast, checker: Client) -> None:
    board.reassign(swim=fresh(full.swims["ada"]), entry=full.swims["wren"].entry, by=full.checker)
    shown = page(full, checker)
    assert "Other swims of Wren Okada" in shown and "go 2, start" in shown
    poster = full.clips["ada"][1].files.get(kind="poster")
    assert reverse("clinics:clip-file", args=[poster.pk]) in shown


def test_passes_without_a_clip_can_be_cut_where_they_are_expected(
    full: Cast, checker: Client
) -> None:
    full.clips["wren"][2].delete()
    shown = page(full, checker)
    cut = shown[shown.index('id="cut"') :]
    assert "Underwater 12.5 m, pass 2" in cut and "Where it should be by the clock" in cut
    first = int(re.findall(r'name="first_frame" value="(\d+)"', cut)[0])
    # 37.5 m at 90 s for 100 m is at 33.75 s; her start is at 65.3 s of the recording
    assert first / FPS < 65.3 + 33.75 < first / FPS + 20


def test_a_recording_that_nobody_may_look_into_has_no_ends_to_move(
    full: Cast, checker: Client
) -> None:
    assert "Move its ends" in page(full, checker)
    for recording in full.recordings.values():
        recording.frame_table = None
        recording.save()
    assert "Move its ends" not in page(full, checker)


# --- ends --------------------------------------------------------------------------------------


def test_ends_are_posted_as_numbers_and_it_comes_back_to_the_clip(
    full: Cast, checker: Client
) -> None:
    clip = full.clips["wren"][0]
    answer = checker.post(
        reverse("clinics:check-clip-ends", args=[clip.pk]),
        {"first_frame": 900, "last_frame": 1000},
    )
    swim = reverse("clinics:check-swim", args=[clip.swim_id])
    assert answer["Location"] == f"{swim}?ends={clip.pk}#clip-{clip.pk}"
    assert ends(clip) == (900, 1000) and BoardAct.objects.get().kind == "ends"
    shown = page(full, checker, ends=str(clip.pk))
    assert "placed by a person" in shown and "You did last:" in shown
    assert len(re.findall(r'<details class="ends" open', shown)) == 1


def test_a_clip_as_long_as_before_was_moved_whole(full: Cast, checker: Client) -> None:
    clip = full.clips["wren"][0]
    first, last = ends(clip)
    post(checker, "check-clip-ends", clip.pk, first_frame=first + 4, last_frame=last + 4)
    act = BoardAct.objects.get()
    assert (act.kind, act.facts["frames"]) == ("nudge", 4)
    post(checker, "check-clip-nudge", clip.pk, frames=-10)
    assert ends(clip) == (first - 6, last - 6)


REFUSED = [
    ({"first_frame": "", "last_frame": "9"}, "First frame: This field is required."),
    ({"first_frame": "x", "last_frame": "9"}, "First frame: Enter a whole number."),
    ({"first_frame": "90", "last_frame": "9"}, "The last frame comes before the first."),
    ({"first_frame": "0", "last_frame": "6000"}, "This recording has 6000 frames, 0 to 5999"),
    ({"first_frame": "0", "last_frame": "9", "was": "old"}, "This clip was moved meanwhile"),
]


def test_what_cannot_be_is_said_on_the_page(full: Cast, checker: Client) -> None:
    clip = full.clips["wren"][0]
    before = ends(clip)
    for data, told in REFUSED:
        assert told in post(checker, "check-clip-ends", clip.pk, **data)
    assert ends(clip) == before and not BoardAct.objects.exists()


def test_a_page_that_is_old_moves_nothing(full: Cast, checker: Client) -> None:
    clip = fresh_clip(full.clips["wren"][0])
    was = re.findall(r'name="was" value="([^"]+:[^"]+)"', page(full, checker))[0]
    board.nudge(clip=clip, frames=1, by=full.checker)
    told = post(checker, "check-clip-nudge", clip.pk, frames=1, was=was)
    assert "moved meanwhile" in told and BoardAct.objects.count() == 1


def test_nudging_by_what_no_button_says_is_refused(full: Cast, checker: Client) -> None:
    clip = full.clips["wren"][0]
    before = ends(clip)
    post(checker, "check-clip-nudge", clip.pk, frames=10_000)
    assert ends(clip) == before


def test_a_clip_is_cut_by_hand(full: Cast, checker: Client) -> None:
    swim, recording = full.swims["wren"], full.recordings["underwater"]
    full.clips["wren"][1].delete()
    shown = post(
        checker,
        "check-cut",
        swim.pk,
        recording=recording.pk,
        first_frame=1800,
        last_frame=1900,
    )
    assert "Cut by hand" in shown
    clip = Clip.objects.get(swim=swim, station=full.underwater, pass_no=1)
    assert ends(clip) == (1800, 1900)
    foreign = {"first_frame": 1, "last_frame": 9, "recording": full.recordings["other"].pk}
    assert "Choose one of the recordings." in post(checker, "check-cut", swim.pk, **foreign)
    assert Clip.objects.filter(swim=swim).count() == 3


# --- whose -------------------------------------------------------------------------------------


def test_one_tap_confirms_and_stays_and_can_be_undone(full: Cast, checker: Client) -> None:
    ada = full.swims["ada"]
    shown = post(checker, "check-swim", ada.pk, person="number")
    assert "<h1>Ada Rell</h1>" in shown and "number 7 seen, confirmed" in shown
    act = BoardAct.objects.get()
    post(checker, "check-swim", ada.pk, person="number")  # a second tap is no second act
    assert BoardAct.objects.count() == 1
    shown = post(checker, "check-whose", ada.pk, do="undo", act=act.pk)
    assert "Undone: Ada Rell confirmed by the card." in shown
    assert fresh(ada).person == "unconfirmed"


def test_two_are_swapped_in_one_tap(full: Cast, checker: Client) -> None:
    wren, ada = fresh(full.swims["wren"]), fresh(full.swims["ada"])
    shown = post(checker, "check-whose", wren.pk, do="swap", other=ada.pk, was=wren.entry_id)
    assert "Wren Okada and Ada Rell are swapped." in shown and "<h1>Ada Rell</h1>" in shown
    assert (fresh(wren).entry, fresh(ada).entry) == (ada.entry, wren.entry)
    assert "The mail that told of it cannot be unsent." in shown  # Wren had hers
    again = post(checker, "check-whose", wren.pk, do="swap", other=ada.pk, was=wren.entry_id)
    assert "Somebody said meanwhile that this swim is Ada Rell" in again
    assert fresh(wren).entry == ada.entry


def test_nobody_is_swapped_with_whom_the_page_did_not_name(full: Cast, checker: Client) -> None:
    wren, ada, bo = (fresh(full.swims[name]) for name in ("wren", "ada", "bo"))
    offered = re.findall(r'name="was_other" value="([^"]+)"', page(full, checker))
    assert f"{ada.pk}:{ada.entry_id}" in offered
    board.swap_swimmers(one=ada, other=bo, by=full.checker)
    told = post(checker, "check-whose", wren.pk, do="swap", other=ada.pk, was_other=offered)
    assert "Somebody said meanwhile that this swim is Bo Lindqvist" in told
    assert fresh(wren).entry == wren.entry


def test_whom_nobody_chose_is_asked_for(full: Cast, checker: Client) -> None:
    wren = full.swims["wren"]
    assert "Choose who it is." in post(checker, "check-whose", wren.pk, do="theirs")
    assert "Choose who it is." in post(checker, "check-whose", wren.pk, do="swap")
    elsewhere = full.swims["other"]
    post(checker, "check-whose", wren.pk, do="swap", other=elsewhere.pk)
    post(checker, "check-whose", wren.pk, do="theirs", entry=elsewhere.entry_id)
    assert not BoardAct.objects.exists()


def test_given_to_somebody_who_does_not_agree_it_is_gone_from_the_board(
    full: Cast, checker: Client
) -> None:
    sol = full.swims["sol"].entry
    shown = post(checker, "check-whose", full.swims["wren"].pk, do="theirs", entry=sol.pk)
    assert "Check the cuts</h1>" in shown and "hidden from everybody, and goes in 30 days" in shown


def test_no_swim_leads_back_to_the_board(full: Cast, checker: Client) -> None:
    shown = post(checker, "check-whose", full.swims["ada"].pk, do="none")
    assert "Ada Rell: no swim." in shown and "Check the cuts</h1>" in shown
    assert not Swim.objects.filter(pk=full.swims["ada"].pk).exists()


# --- not logged --------------------------------------------------------------------------------


def test_a_swim_is_added_by_the_time_of_day_of_the_pool(full: Cast, checker: Client) -> None:
    entry = full.swims["ada"].entry
    shown = post(checker, "check-add-swim", full.clinic.pk, entry=entry.pk, time="11:15:32.5")
    assert "Ada Rell: a swim is added." in shown and "<h1>Ada Rell</h1>" in shown
    swim = Swim.objects.get(entry=entry, go=2)
    local = swim.start_at.astimezone(full.clinic.zone)
    assert local.isoformat() == "2026-11-14T11:15:32.500000+00:00"


def test_a_swim_is_added_by_a_frame(full: Cast, checker: Client) -> None:
    entry, recording = full.swims["bo"].entry, full.recordings["start-side"]
    post(
        checker,
        "check-add-swim",
        full.clinic.pk,
        entry=entry.pk,
        recording=recording.pk,
        frame=5500,
    )
    swim = Swim.objects.get(entry=entry, go=2)
    assert swim.start_at == FIRST_START + dt.timedelta(seconds=5500 / FPS - 20)
    assert swim.ties.get().recording == recording


MISSING: list[tuple[dict[str, str], str]] = [
    ({}, "Give either the time of the start"),
    ({"time": "soon"}, "is not an instant"),
    ({"time": "11:15:32", "recording": "start-side"}, "Give either the time of the start"),
    ({"recording": "start-side"}, "Give a frame of this recording, 0 to 5999."),
    ({"time": "11:15:32", "entry": ""}, "Choose who swam."),
]


def test_what_is_missing_is_said_and_what_was_typed_stays(full: Cast, checker: Client) -> None:
    for said, told in MISSING:
        data: dict[str, object] = {"entry": full.swims["ada"].entry_id, **said}
        if "recording" in said:
            data["recording"] = full.recordings["start-side"].pk
        shown = post(checker, "check-add-swim", full.clinic.pk, **data)
        assert told in shown and f'value="{said.get("time", "")}"' in shown
    assert not BoardAct.objects.exists()


def test_the_form_comes_filled_from_where_it_was_asked(full: Cast, checker: Client) -> None:
    url = reverse("clinics:check-add-swim", args=[full.clinic.pk])
    entry, recording = full.swims["ada"].entry, full.recordings["start-side"]
    shown = checker.get(url, {"entry": entry.pk, "recording": recording.pk, "frame": 77})
    text = shown.content.decode()
    assert f'value="{entry.pk}" selected' in text and f'value="{recording.pk}" selected' in text
    assert 'name="frame" id="id_frame" min="0" value="77"' in text


def test_nothing_of_a_closed_clinic_is_open_to_a_checker(full: Cast, checker: Client) -> None:
    full.clinic.state, full.clinic.closed_at = "closed", timezone.now()
    full.clinic.save()
    for name, pk in (
        ("check-clip-nudge", full.clips["wren"][0].pk),
        ("check-whose", full.swims["wren"].pk),
        ("check-cut", full.swims["wren"].pk),
    ):
        answer = checker.post(reverse(f"clinics:{name}", args=[pk]), {"frames": 1})
        assert answer.status_code == 404
    told = post(
        checker,
        "check-add-swim",
        full.clinic.pk,
        entry=full.swims["ada"].entry_id,
        time="11:15:32",
    )
    assert "This clinic is closed" in told
