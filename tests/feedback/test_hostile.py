"""What forged, oversized, stale and lying requests get from the pages about measures, planes,
points of the body and what is taken home; and that the record says who took whose figures."""

from __future__ import annotations

import json
import unicodedata
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.actions import persons
from clinics.actions.board.said import somebody_spoke
from clinics.models import ChosenStart, Consent, Entry, Swim, Swimmer
from feedback.actions import body
from feedback.actions.clip_clocks import film_of
from feedback.actions.erase import erase_said, find_said
from feedback.actions.frames import pts_ticks_of
from feedback.actions.length_strokes import say_strokes
from feedback.actions.print_drawings import drawings_for
from feedback.actions.rate_read import JOB_KIND, Span, ask_rate
from feedback.actions.take_home_stills import frames_without_still
from feedback.models import BodyPoints, Drawing, PicturePlane, RateReading, TakeHome
from feedback.views.take_home_page import page_given
from portal.models import AuditEntry, Job, Membership
from tests.cast import Cast, make_member, make_user, sign_in
from tests.feedback.said import drawing
from tests.feedback.taken_home import given, said_and_marked, still_of
from tests.feedback.test_planes import set_marks
from tests.feedback.two_swims import last_time

JSON = {"accept": "application/json"}


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def filmed(cast: Cast) -> Cast:
    for clips in cast.clips.values():
        for clip in clips:
            clip.files.filter(kind="video").update(width=640, height=360)
    return cast


def post(name: str, cast: Cast, by: Any = None, *, script: bool = True, **told: Any) -> Any:
    """About frame 40 of the swimmer's second view, unless `told` says otherwise."""
    clip = cast.clips["tomas"][1]
    its = {"clip": str(clip.pk), "frame": "40", **told}
    url = reverse(f"feedback:{name}", args=[clip.swim_id])
    return sign_in(Client(), by or cast.coach).post(url, its, headers=JSON if script else {})


def noted(action: str) -> list[AuditEntry]:
    return list(AuditEntry.objects.filter(action=action).order_by("seq"))


# --- what stands in a body ------------------------------------------------------------------


LYING = [
    '{"ear\\ud800": [0.1, 0.2]}',  # half a character
    '{"\\u0000": [0.1, 0.2]}',
    '{"ear": [NaN, 0.2]}',
    '{"ear": [0.1, 1e999]}',
    '{"ear": [0.1, 0.2, Infinity]}',
    f'{{"ear": [{"1" * 400}, 0.2]}}',
    f'{{"ear": [{"1" * 5000}, 0.2]}}',
    "[" * 20_000,
    '{"ear": ' * 4_000,
    json.dumps({f"ear-{n}": [0.1, 0.2] for n in range(3_000)}),
    '{"ear": [true, false]}',
    "null",
]


@pytest.mark.parametrize("points", LYING)
@pytest.mark.parametrize("script", [True, False])
def test_points_that_are_none_are_refused_in_words(filmed: Cast, points: str, script: bool) -> None:
    answer = post("body", filmed, script=script, points=points)
    assert answer.status_code == 422 and not BodyPoints.objects.exists()
    assert "Points" in answer.content.decode()


@pytest.mark.parametrize("marks", LYING)
def test_marks_that_are_none_are_refused_in_words(filmed: Cast, marks: str) -> None:
    answer = post("plane-place", filmed, span="whole", lies="flat", marks=marks)
    assert answer.status_code == 422 and answer.json()["errors"]
    assert not PicturePlane.objects.exists()


@pytest.mark.parametrize("number", ["nan", "-inf", "1e400", "9" * 5000])
def test_numbers_that_are_none_are_stored_nowhere(filmed: Cast, number: str) -> None:
    told: dict[str, Any] = {"span": "whole", "lies": "flat", "marks": json.dumps(set_marks())}
    box: dict[str, Any] = dict.fromkeys(("box_x", "box_y", "box_width", "box_height"), number)
    answers = [
        post("plane-place", filmed, **told, distance_m=number),
        post("plane-place", filmed, **{**told, "frame": number}),
        post("rate-read", filmed, stroke="freestyle", box_frame="40", **box),
        post("rate-read", filmed, stroke="freestyle", from_frame=number),
        post("mark", filmed, kind="breakout", distance_m=number),
        post("mark", filmed, kind="breakout", x=number, y=number),
    ]
    assert [answer.status_code for answer in answers] == [422] * len(answers)
    assert not PicturePlane.objects.exists() and not RateReading.objects.exists()


# --- ids of other things --------------------------------------------------------------------


def test_a_plane_that_holds_in_anothers_pictures_alone_is_not_there(filmed: Cast) -> None:
    """Recordings are shared: a coach of the one swim may not be shown the other."""
    at = pts_ticks_of(filmed.clips["wren"][1], 10)
    keys = ("x", "y", "along_m", "across_m")
    points = [{**{key: one[key] for key in keys}, "u_m": 0.02} for one in set_marks()]
    told = {"points": points, "picture_width": 640, "picture_height": 360}
    wrens, elsewhere = (
        PicturePlane.objects.create(
            recording=filmed.recordings[name], pts_ticks=at, from_ticks=at, to_ticks=at, **told
        )
        for name in ("underwater", "other")
    )
    client = sign_in(Client(), filmed.coach)

    def take_away(whose: str, plane: uuid.UUID) -> int:
        url = reverse("feedback:plane-take-away", args=[filmed.swims[whose].pk, plane])
        return client.post(url).status_code

    assert [take_away("tomas", one) for one in (wrens.pk, elsewhere.pk, uuid.uuid4())] == [404] * 3
    assert PicturePlane.objects.count() == 2 and not noted("plane-taken-away")
    assert take_away("wren", wrens.pk) == 302 and PicturePlane.objects.count() == 1


def test_views_of_other_swims_are_refused_as_views_that_are_not_there(filmed: Cast) -> None:
    told: dict[str, dict[str, Any]] = {
        "mark": {"kind": "breakout"},
        "body": {"points": '{"ear": [0.1, 0.2]}'},
        "plane-place": {"span": "whole", "lies": "flat", "marks": json.dumps(set_marks())},
        "rate-read": {"stroke": "freestyle"},
    }
    forged = [filmed.clips[who][1].pk for who in ("wren", "sol")] + [filmed.clips["other"][0].pk]
    for name, more in told.items():
        absent = post(name, filmed, **more, clip=str(uuid.uuid4()))
        assert absent.status_code == 422
        for clip in forged:
            answer = post(name, filmed, **more, clip=str(clip))
            assert (answer.status_code, words_in(answer)) == (422, words_in(absent)), name


def words_in(answer: Any) -> str:
    """Without what is made anew for each page."""
    text = answer.content.decode()
    return text if text.startswith("{") else text.partition("<main")[2].partition("<form")[0]


def test_stills_of_other_swims_are_refused_as_stills_that_are_not_there(cast: Cast) -> None:
    swim, theirs = said_and_marked(cast), still_of(cast, "wren")
    client = sign_in(Client(), cast.coach)
    url = reverse("feedback:take-home-give", args=[swim.pk])
    for still in (theirs.pk, uuid.uuid4()):
        answer = client.post(url, {"stills": [str(still)]})
        assert answer.status_code == 422 and "is no longer there" in answer.content.decode()
        seen = reverse("feedback:take-home-still", args=[swim.pk, still])
        assert client.get(seen).status_code == 404
    assert not TakeHome.objects.filter(given_at__isnull=False).exists()


def test_last_times_swim_of_somebody_else_is_not_beside_it(cast: Cast) -> None:
    """A coach may see both; the page is about one person."""
    before, swim = said_and_marked(cast, last_time(cast)), said_and_marked(cast)
    row = given(cast)
    assert page_given(row, swim, cast.coach).before == before
    entry = new_entry(before.entry_id, cast.swims["wren"].entry.swimmer)
    Swim.objects.filter(pk=before.pk).update(entry=entry)
    page = page_given(row, swim, cast.coach)
    assert page.before is None and page.before_gone
    assert not any(line.last_time for line in page.lines)
    client = sign_in(Client(), cast.coach)
    for name in ("take-home", "take-home-choose"):
        shown = client.get(reverse(f"feedback:{name}", args=[swim.pk])).content.decode()
        assert "swum alike" not in shown, name
    client.post(reverse("feedback:take-home-choose", args=[swim.pk]), {"compare": "on"})
    row.refresh_from_db()
    assert row.choice["before"] == ""  # there is none any more that could be chosen


def test_what_another_drew_is_not_printed_for_who_it_turned_out_to_be(cast: Cast) -> None:
    """Also for a swimmer without an account, who gets the page on paper. What the coach sent is,
    before the swim is given, too."""
    swim, recording = cast.swims["wren"], cast.recordings["start-side"]
    clip = cast.clips["wren"][0]
    drawn = drawing(swim, cast.wren, recording)
    Drawing.objects.filter(pk=drawn.pk).update(pts_ticks=pts_ticks_of(clip, 10))
    assert [frame for _clip, frame in frames_without_still(swim, cast.coach)] == [10]
    ada = Swimmer.objects.create(club=cast.harbour, name="Ada Fenn")
    Consent.objects.create(swimmer=ada, purpose="film-and-review")
    entry = new_entry(swim.entry_id, ada)
    Swim.objects.filter(pk=swim.pk).update(entry=entry, given_at=None)
    swim = Swim.objects.get(pk=swim.pk)
    assert frames_without_still(swim, cast.coach) == []
    own = drawing(swim, cast.coach, recording)
    Drawing.objects.filter(pk=own.pk).update(pts_ticks=pts_ticks_of(clip, 10))
    assert [frame for _clip, frame in frames_without_still(swim, cast.coach)] == [10]
    row = still_of(cast, "wren")
    row.swim, row.entry = swim, entry
    assert [one.pk for one in drawings_for(row, film_of(clip, cast.coach), 10)] == [own.pk]


def new_entry(model: uuid.UUID, swimmer: Swimmer) -> Entry:
    entry = Entry.objects.get(pk=model)
    entry.pk, entry.swimmer, entry.number, entry.order = uuid.uuid4(), swimmer, 99, 99
    entry.save(force_insert=True)
    return entry


# --- somebody who coached it ----------------------------------------------------------------


def test_requests_sent_again_after_a_membership_ended_change_nothing(filmed: Cast) -> None:
    """Also by who is still a coach, of another club or of this one since today."""
    fellow = make_user("noor.castell@harbourlane.example", "Noor Castell")
    member = make_member(filmed.harbour, fellow, "coach")
    swim, points = filmed.swims["tomas"], '{"ear": [0.1, 0.2]}'
    marks = json.dumps(set_marks())
    told: dict[str, dict[str, Any]] = {
        "mark": {"kind": "breakout"},
        "body": {"points": points},
        "body-table": {"table": "winter"},
        "plane-place": {"span": "whole", "lies": "flat", "marks": marks},
        "rate-read": {"stroke": "freestyle"},
        "length-strokes": {},
        "zero-as-found": {},
        "take-home-choose": {},
        "take-home-give": {},
        "take-home-take-back": {},
        "take-home-make-stills": {},
    }
    assert post("body", filmed, fellow, points=points).status_code == 200
    assert post("plane-place", filmed, fellow, **told["plane-place"]).status_code == 200
    placed, plane = BodyPoints.objects.get(), PicturePlane.objects.get()
    before = AuditEntry.objects.exclude(action="denied").count()
    Membership.objects.filter(pk=member.pk).update(until_date=filmed.clinic.date)
    for name, more in told.items():
        assert post(name, filmed, fellow, **more).status_code == 404, name
    client = sign_in(Client(), fellow)
    for url in (
        reverse("feedback:body-take-away", args=[placed.pk]),
        reverse("feedback:plane-take-away", args=[swim.pk, plane.pk]),
    ):
        assert client.post(url).status_code == 404
    assert BodyPoints.objects.get().points == placed.points and PicturePlane.objects.exists()
    assert AuditEntry.objects.exclude(action="denied").count() == before


# --- on paper and in files ------------------------------------------------------------------


def test_a_name_cannot_turn_the_name_of_a_file_round(cast: Cast) -> None:
    swim = said_and_marked(cast)
    Swimmer.objects.filter(pk=swim.entry.swimmer_id).update(name="../Tomas\r\n\u202efdp.exe\u2066")
    client = sign_in(Client(), cast.coach)
    answer = client.get(reverse("feedback:take-home-pdf", args=[swim.pk]))
    name = answer["Content-Disposition"].partition('filename="')[2].rstrip('"')
    assert name == ".. Tomas fdp.exe 14 Nov 2026 take-home page.pdf"
    assert all(unicodedata.category(sign)[0] != "C" for sign in name)


# --- the record -----------------------------------------------------------------------------


def test_swimmers_read_who_took_their_measures_along(cast: Cast) -> None:
    """Those whose swims were in what was taken, and nobody else."""
    client = sign_in(Client(), cast.coach)
    for name in ("measures-csv", "measures-package"):
        assert client.get(reverse(f"feedback:{name}", args=[cast.clinic.pk])).status_code == 200
    details = [json.loads(entry.text)["detail"] for entry in noted("measures.take")]
    whose = sorted(str(cast.swims[who].pk) for who in ("tomas", "wren"))
    assert [detail["of"] for detail in details] == [whose, whose]
    told = {}
    for who in (cast.tomas, cast.wren, cast.sol, cast.other_swimmer):
        page = sign_in(Client(), who).get(reverse("feedback:seen")).content.decode()
        told[who.name] = page.count("took a clinic&#x27;s measures along")
    assert told == {"Tomas Birk": 2, "Wren Okada": 2, "Sol Hagen": 0, "Kit Maddern": 0}


def test_what_was_not_fetched_is_not_noted_as_saved(cast: Cast, monkeypatch: Any) -> None:
    swim = said_and_marked(cast)
    url = reverse("feedback:take-home-pdf", args=[swim.pk])
    client = sign_in(Client(), cast.coach)
    assert client.head(url).status_code == 200 and not noted("take-home.download")
    monkeypatch.setattr("feedback.views.take_home_pdf.libraries_are_there", lambda: False)
    assert client.get(url).status_code == 503 and not noted("take-home.download")
    monkeypatch.undo()
    assert client.get(url).status_code == 200 and len(noted("take-home.download")) == 1


def test_a_table_that_comes_with_points_is_noted(filmed: Cast) -> None:
    for frame in ("40", "41"):
        post("body", filmed, frame=frame, points='{"ear": [0.1, 0.2]}')
    assert not noted("body-table-chosen")
    for _twice in range(2):
        post("body", filmed, points='{"ear": [0.1, 0.2]}', table="winter")
    assert set(BodyPoints.objects.values_list("table", flat=True)) == {"winter"}
    (entry,) = noted("body-table-chosen")
    assert json.loads(entry.text)["detail"]["table"] == "winter"


def test_admins_find_what_was_set_of_a_swim_by_the_swimmers_name(filmed: Cast) -> None:
    marks = json.dumps(set_marks())
    post("body", filmed, points='{"ear": [0.1, 0.2]}')
    post("mark", filmed, kind="breakout")
    post("plane-place", filmed, span="whole", lies="flat", marks=marks)
    rate_asked(filmed, "tomas")
    client = sign_in(Client(), filmed.admin)
    url = reverse("portal:access-record", args=[filmed.harbour.slug])

    def told(about: str) -> str:
        return client.get(url, {"about": about}).content.decode()

    acts = ("body-points-set", "mark-placed", "plane-placed", "rate-read.ask")
    assert [act for act in acts if act in told("Tomas")] == ["body-points-set", "mark-placed"] + [
        "rate-read.ask"
    ]
    assert [act for act in acts if act in told("Underwater")] == ["plane-placed"]
    assert not any(act in told("Wren") for act in acts)
    assert "Tomas Birk, Autumn clinic" in told("Tomas")


def test_what_was_refused_is_in_the_record_of_the_right_club(filmed: Cast) -> None:
    post("body", filmed, points='{"ear": [0.1, 0.2]}')
    url = reverse("feedback:body-take-away", args=[BodyPoints.objects.get().pk])
    assert sign_in(Client(), filmed.other_coach).post(url).status_code == 404
    (entry,) = noted("denied")
    assert (entry.club_id, entry.subject_kind) == (filmed.harbour.pk, "feedback.BodyPoints")


def test_points_sent_twice_at_one_time_stand_once(cast: Cast, monkeypatch: Any) -> None:
    """The other one's row is written after this one looked, and before it writes."""
    clip = cast.clips["tomas"][1]
    told: dict[str, Any] = {"swim": clip.swim, "by": cast.coach, "clip": clip, "frame": 40}
    told |= {"points": {"ear": [0.1, 0.2]}, "width_px": 640, "height_px": 360}
    interval_of = body.interval_ticks_at

    def meanwhile(*about: Any) -> int | None:
        monkeypatch.setattr(body, "interval_ticks_at", interval_of)
        body.set_body_points(**told)
        return interval_of(*about)

    monkeypatch.setattr(body, "interval_ticks_at", meanwhile)
    row = body.set_body_points(**told)
    assert row == BodyPoints.objects.get() and len(noted("body-points-set")) == 1


# --- kept, and gone with the person ---------------------------------------------------------


def rate_asked(cast: Cast, who: str) -> RateReading:
    clip = cast.clips[who][1]
    return ask_rate(swim=clip.swim, by=cast.coach, clip=clip, span=Span(0, 50), stroke="freestyle")


def test_what_a_coach_said_or_asked_is_not_lost_with_a_swim_that_was_none(cast: Cast) -> None:
    strokes, rates, counted = (cast.swims[who] for who in ("tomas", "wren", "other"))
    assert not any(somebody_spoke(one) for one in (strokes, rates, counted))
    say_strokes(swim=strokes, strokes=["butterfly", "freestyle"], by=cast.coach)
    rate_asked(cast, "wren")
    ChosenStart.objects.create(
        swim=counted,
        recording=cast.recordings["other"],
        ticks=3600,
        frame_u_ms=11.5,
        found_at=counted.start_at,
        found_kind="tap",
        found_u_ms=150.0,
        chosen_by=cast.other_coach,
    )
    assert all(somebody_spoke(one) for one in (strokes, rates, counted))


def test_erasing_ends_what_reads_from_the_persons_pictures(cast: Cast) -> None:
    tomas, wren = rate_asked(cast, "tomas"), rate_asked(cast, "wren")
    person = persons.find(cast.swims["tomas"].entry.swimmer_id)
    assert person is not None
    for _twice in range(2):
        erase_said(person)
        assert list(RateReading.objects.all()) == [wren]
        jobs = Job.objects.filter(kind=JOB_KIND)
        assert [job.subject_id for job in jobs] == [wren.pk] and tomas.pk != wren.pk


def test_a_page_of_a_swim_that_was_anothers_goes_with_who_it_was_given_to(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    entry = swim.entry
    Swim.objects.filter(pk=swim.pk).update(entry=cast.swims["wren"].entry, go=2)
    assert TakeHome.objects.get().entry == entry
    person = persons.find(entry.swimmer_id)
    assert person is not None and find_said(person).rows["take-home"] == 1
    erase_said(person)
    assert not TakeHome.objects.exists()
