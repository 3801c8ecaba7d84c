"""The pages of keeping: rules, what goes when, holds."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinics.actions import holds, purge_originals
from clinics.actions.close_clinic import close_clinic
from clinics.actions.holds import HoldRefused
from clinics.actions.keeping_calendar import calendar_of, room_used
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clinic, Clip, ClubRules, Recording, Swim, Upload
from clinics.views.keeping_told import swims_kept
from portal.actions import purge
from portal.models import AuditEntry, Hold, StoredFile
from tests.cast import Cast, make_clip, make_entry, make_stored, make_swim, sign_in

REVIEW = timezone.localdate() + dt.timedelta(days=30)


@pytest.fixture
def admin(cast: Cast) -> Client:
    date_swims(Swim.objects.all())
    return sign_in(Client(), cast.admin)


def club_url(cast: Cast, rest: str = "keeping/") -> str:
    return f"/clubs/{cast.harbour.slug}/{rest}"


def table(answer: Any) -> list[dict[str, str]]:
    text = answer.content.decode().removeprefix("\ufeff")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def text_of(page: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


# --- what goes when -----------------------------------------------------------------------------


def test_the_calendar_counts_what_the_purge_will_free(cast: Cast, admin: Client) -> None:
    """Of clips: what the purge's own look says of the same files, made due."""
    lines = calendar_of(cast.harbour, what="clips")
    assert [(line.clinic, line.count) for line in lines] == [(cast.clinic, 9)]
    Clip.objects.filter(swim__entry__clinic=cast.clinic).update(delete_by=timezone.now())
    [step] = [one for one in purge.look() if one.step.name == "clips"]
    assert step.size_bytes == sum(line.size_bytes for line in lines) > 0


def test_the_calendar_tells_of_originals_uploads_and_other_files(cast: Cast) -> None:
    date_swims(Swim.objects.all())
    closed = close_clinic(clinic=cast.clinic, by=cast.admin)
    assert closed.closed_at is not None
    goes = (closed.closed_at + dt.timedelta(days=30)).date()
    sizes = [
        r.files.get().stored.size_bytes for r in Recording.objects.filter(station__clinic=closed)
    ]
    [originals] = calendar_of(cast.harbour, what="originals")
    assert (originals.day, originals.count, originals.size_bytes) == (goes, 2, sum(sizes))
    expires_at = timezone.now() + dt.timedelta(days=7)
    Upload.objects.create(
        station=cast.start_side,
        owner=cast.crew,
        name="a.mp4",
        size_bytes=99,
        offset_bytes=33,
        expires_at=expires_at,
    )
    [upload] = calendar_of(cast.harbour, what="uploads", clinic=cast.clinic.pk)
    assert (upload.day, upload.size_bytes) == (expires_at.date(), 33)
    stored = make_stored(cast.harbour, b"PK", kind="export", suffix=".zip")
    StoredFile.objects.filter(pk=stored.pk).update(keeping_rule="take-along", delete_by=expires_at)
    [other] = calendar_of(cast.harbour, what="files")
    assert (other.count, other.size_bytes, other.rule) == (1, 2, "take-along")
    assert calendar_of(cast.harbour, clinic=cast.other_clinic.pk) == []


def test_the_page_says_what_goes_when_and_names_nobody(cast: Cast, admin: Client) -> None:
    page = admin.get(club_url(cast))
    words = text_of(page)
    assert page.status_code == 200
    assert "31 days after the swimmer’s next clinic, 18 months at most" in words
    assert "Nov. 14, 2029" in words or "14 November 2029" in words  # the swims
    for name in ("Tomas", "Wren", "Sol"):
        assert name not in words


def test_the_calendar_is_filtered_and_downloaded(cast: Cast, admin: Client) -> None:
    whole = table(admin.get(club_url(cast), {"as": "csv"}))
    swims = table(admin.get(club_url(cast), {"as": "csv", "what": "swims"}))
    assert len(whole) > len(swims) == 1
    assert swims[0]["How many"] == "3" and swims[0]["Goes on (UTC)"] == "2029-11-14"
    assert sum(int(row["Bytes"]) for row in whole) > 0
    nothing = admin.get(club_url(cast), {"what": "anything"})  # no such sort: all of it
    assert nothing.status_code == 200


def test_the_calendar_takes_as_many_queries_for_many_dates_as_for_one(
    cast: Cast, admin: Client
) -> None:
    admin.get(club_url(cast))
    counts = []
    for _round in range(2):
        with CaptureQueriesContext(connection) as seen:
            admin.get(club_url(cast))
        counts.append(len(seen))
        for number, clip in enumerate(Clip.objects.all()):
            at = timezone.now() + dt.timedelta(days=number)
            Clip.objects.filter(pk=clip.pk).update(delete_by=at)
    assert counts[0] == counts[1] < 40


def test_what_waits_for_the_admin_stands_on_top(cast: Cast, admin: Client) -> None:
    weeks_ago = timezone.localdate() - dt.timedelta(days=15)
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=weeks_ago)  # and not closed
    assert "Needs you" in text_of(admin.get(club_url(cast)))
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=timezone.localdate())
    assert "Needs you" not in text_of(admin.get(club_url(cast)))
    about = {"subject_kind": "clinics.Clinic", "subject_id": cast.clinic.pk, "reason": "asked"}
    Hold.objects.create(**about, owner=cast.admin, review_on=timezone.localdate())
    assert "1 hold is to be looked at again" in text_of(admin.get(club_url(cast)))


def test_room_is_of_this_club_and_of_what_is_there(cast: Cast) -> None:
    before = room_used(cast.harbour)
    make_stored(cast.quillmoor, b"elsewhere", kind="export", suffix=".zip")
    gone = make_stored(cast.harbour, b"gone", kind="export", suffix=".zip")
    StoredFile.objects.filter(pk=gone.pk).update(state="deleted")
    assert room_used(cast.harbour) == before > 0


# --- each thing's date --------------------------------------------------------------------------


def test_every_swim_and_recording_shows_its_dates_and_why(cast: Cast, admin: Client) -> None:
    words = text_of(admin.get(f"/clinics/{cast.clinic.pk}/keeping/"))
    assert "Tomas Birk, Autumn clinic" in words
    assert "18 months at most; no next clinic is planned before" in words
    assert "36 months after the clinic" in words
    assert "the clinic is not closed; at the latest then" in words
    rows = table(admin.get(f"/clinics/{cast.clinic.pk}/keeping/", {"as": "csv"}))
    assert len(rows) == 3 + 2
    assert rows[0]["All goes on (UTC)"].startswith("2029-11-14")


def test_a_name_that_is_a_formula_is_none_in_the_table(cast: Cast, admin: Client) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    type(swimmer).objects.filter(pk=swimmer.pk).update(name="=HYPERLINK(1)")
    rows = table(admin.get(f"/clinics/{cast.clinic.pk}/keeping/", {"as": "csv"}))
    assert rows[0]["What"].startswith("'=HYPERLINK(1)")


def test_the_dates_of_a_clinic_take_as_many_queries_for_three_swims_as_for_one(
    cast: Cast, admin: Client
) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert swims_kept(cast.clinic)
        return len(seen)

    before = count()
    for number in (7, 8):
        entry = make_entry(cast.clinic, f"Swimmer {number}", number, None, f"{number}@h.example")
        start_at = cast.swims["wren"].start_at + dt.timedelta(seconds=30 * (number - 5))
        make_clip(make_swim(entry, start_at), cast.recordings["underwater"], 1)
    assert count() == before


def test_clips_that_went_are_said_to_have_gone(cast: Cast, admin: Client) -> None:
    tomas = cast.swims["tomas"]
    tomas.clips.all().delete()
    Swim.objects.filter(pk=tomas.pk).update(clips_gone_at=timezone.now())
    assert "already gone by the rules" in text_of(admin.get(f"/clinics/{cast.clinic.pk}/keeping/"))


# --- rules --------------------------------------------------------------------------------------


def rules(**about: Any) -> dict[str, Any]:
    told = {
        "clips_after_next_days": 31,
        "clips_at_most_months": 18,
        "measures_months": 36,
        "originals_days": 30,
        "not_given_days": 60,
        "upload_parts_days": 7,
        "erase_after_days": 7,
        "controller_name": "Harbour Lane Masters",
        "controller_address": "Millrace Baths",
    }
    return told | about


def test_an_admin_changes_the_rules(cast: Cast, admin: Client) -> None:
    url = club_url(cast, "keeping/rules/")
    assert admin.get(url).status_code == 200 and not ClubRules.objects.exists()
    answer = admin.post(url, rules(originals_days=10))
    assert answer.status_code == 302 and answer["Location"] == club_url(cast)
    row = ClubRules.objects.get()
    assert (row.club, row.originals_days, row.updated_by) == (cast.harbour, 10, cast.admin)
    assert "10 days after the clinic is closed" in text_of(admin.get(club_url(cast)))


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"originals_days": 0}, "from 1 to 1000"),
        ({"clips_at_most_months": 121}, "from 1 to 120"),
        ({"measures_months": 17}, "at least as many months"),
        ({"not_given_days": ""}, "required"),
        ({"not_given_days": "-3"}, "greater than or equal to"),
    ],
)
def test_rules_that_make_no_sense_are_refused_and_stay_typed(
    cast: Cast, admin: Client, wrong: dict[str, Any], told: str
) -> None:
    answer = admin.post(club_url(cast, "keeping/rules/"), rules(**wrong))
    assert answer.status_code == 422 and told in text_of(answer)
    assert (
        f'value="{next(iter(wrong.values()))}"' in answer.content.decode() or "" in wrong.values()
    )
    assert not ClubRules.objects.exists()


def test_changing_rules_asks_who_it_is(cast: Cast) -> None:
    stale = sign_in(Client(), cast.admin, fresh=False)
    answer = stale.post(club_url(cast, "keeping/rules/"), rules(originals_days=1))
    assert answer.status_code == 303 and not ClubRules.objects.exists()


# --- holds --------------------------------------------------------------------------------------


def hold(cast: Cast, **about: Any) -> Hold:
    told = {
        "club": cast.harbour,
        "kind": "clinics.Swim",
        "pk": cast.swims["tomas"].pk,
        "reason": "The swimmer and the club disagree",
        "review_on": REVIEW,
        "by": cast.admin,
    }
    return holds.hold(**{**told, **about})


def test_held_is_not_visible_to_anybody_and_not_deleted(cast: Cast, admin: Client) -> None:
    tomas = cast.swims["tomas"]
    url = club_url(cast, f"holds/swim/{tomas.pk}/")
    assert "Tomas Birk, Autumn clinic" in text_of(admin.get(url))
    answer = admin.post(url, {"reason": "in dispute", "review_on": REVIEW.isoformat()})
    assert answer.status_code == 302
    for user in (cast.tomas, cast.coach):
        assert not Swim.objects.filter(pk=tomas.pk).visible_to(user).exists()
    assert not Swim.objects.filter(pk=tomas.pk).handled_by(cast.checker).exists()
    page = text_of(admin.get(club_url(cast, "holds/")))
    assert "Tomas Birk, Autumn clinic" in page and "in dispute" in page
    row = Hold.objects.get()
    entry = AuditEntry.objects.get(action="hold.begin")
    assert entry.subject_id == str(tomas.pk) and "in dispute" not in entry.text
    admin.post(club_url(cast, f"holds/{row.pk}/end/"))
    assert Swim.objects.filter(pk=tomas.pk).visible_to(cast.tomas).exists()
    assert "1 ended" in text_of(admin.get(club_url(cast, "holds/")))


def test_holding_and_ending_ask_who_it_is(cast: Cast) -> None:
    row = hold(cast)
    stale = sign_in(Client(), cast.admin, fresh=False)
    new = {"reason": "in dispute", "review_on": REVIEW.isoformat()}
    url = club_url(cast, f"holds/swim/{cast.swims['wren'].pk}/")
    assert stale.post(url, new).status_code == 303
    assert stale.post(club_url(cast, f"holds/{row.pk}/end/")).status_code == 303
    assert Hold.objects.filter(ended_at=None).count() == 1


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"reason": " "}, "Say why"),
        ({"review_on": timezone.localdate()}, "a day to come"),
    ],
)
def test_a_hold_needs_a_reason_and_a_day_to_look_again(
    cast: Cast, wrong: dict[str, Any], told: str
) -> None:
    with pytest.raises(HoldRefused, match=told):
        hold(cast, **wrong)
    assert not Hold.objects.exists()


def test_what_is_held_already_is_not_held_twice(cast: Cast) -> None:
    hold(cast)
    with pytest.raises(HoldRefused, match="held already"):
        hold(cast)


def test_only_an_admin_holds_and_only_what_is_the_clubs(cast: Cast) -> None:
    for user in (cast.coach, cast.checker, cast.tomas, cast.other_admin):
        with pytest.raises(PermissionDenied):
            hold(cast, by=user)
    with pytest.raises(PermissionDenied):
        hold(cast, pk=cast.swims["other"].pk)
    elsewhere = hold(cast, club=cast.quillmoor, pk=cast.swims["other"].pk, by=cast.other_admin)
    with pytest.raises(PermissionDenied):
        holds.end_hold(club=cast.harbour, pk=elsewhere.pk, by=cast.admin)
    assert list(holds.holds_of(cast.harbour)) == []


def test_each_kind_of_thing_is_held_and_named(cast: Cast, admin: Client) -> None:
    swim = cast.swims["tomas"]
    of = {
        "clinics.Clinic": (cast.clinic.pk, "all of Autumn clinic"),
        "clinics.Swimmer": (swim.entry.swimmer_id, "all of Tomas Birk"),
        "clinics.Entry": (swim.entry_id, "Tomas Birk, Autumn clinic"),
        "clinics.Swim": (swim.pk, "go 1"),
        "clinics.Clip": (cast.clips["tomas"][0].pk, "Start side"),
        "clinics.Recording": (cast.recordings["underwater"].pk, "Underwater 12.5 m"),
    }
    for kind, (pk, _name) in of.items():
        hold(cast, kind=kind, pk=pk)
    named = holds.named(list(holds.holds_of(cast.harbour)))
    for _kind, (pk, name) in of.items():
        assert name in named[pk]
    assert admin.get(club_url(cast, "holds/")).status_code == 200


def test_the_list_leads_to_the_page_that_holds(cast: Cast, admin: Client) -> None:
    url = club_url(cast, "holds/")
    answer = admin.get(url, {"what": f"clinic:{cast.clinic.pk}"})
    assert answer.status_code == 302 and answer["Location"] == f"{url}clinic/{cast.clinic.pk}/"
    for what in ("clinic:", "x y:" + str(cast.clinic.pk), f"audit:{cast.clinic.pk}"):
        assert admin.get(url, {"what": what}, follow=True).status_code == 404


def test_originals_of_a_held_recording_are_counted_as_held(cast: Cast) -> None:
    close_clinic(clinic=cast.clinic, by=cast.admin)
    hold(cast, kind="clinics.Recording", pk=cast.recordings["underwater"].pk)
    past = timezone.now() - dt.timedelta(days=40)
    Clinic.objects.filter(pk=cast.clinic.pk).update(closed_at=past)
    cast.clinic.refresh_from_db()
    purge_originals.date_originals(clinic=cast.clinic)
    assert purge_originals.ORIGINALS_STEP.held() == 1
    assert len(purge_originals.ORIGINALS_STEP.due(10)) == 1
