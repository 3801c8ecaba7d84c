"""The dates of swims, clips and files, as their club decided and as things change."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinics.actions import keeping, keeping_dates, keeping_rules
from clinics.actions.close_clinic import close_clinic
from clinics.actions.consent import end_consent, record_consent
from clinics.actions.cut_spans import wanted_cuts
from clinics.actions.give import give_swim
from clinics.actions.keeping_dates import date_swims, kept_of, with_clips
from clinics.actions.keeping_rules import RulesRefused, set_rules
from clinics.actions.keeping_steps import date_again
from clinics.actions.roster import take_in_roster
from clinics.actions.uploads import Wanted, begin
from clinics.compute.keeping import Why, begin_of
from clinics.models import Clinic, Clip, ClipFile, ClubRules, Consent, Entry, LaneGroup, Swim
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job, PersonRequest, StoredFile
from tests.cast import DAY, Cast, make_clinic, make_swim

PURPOSE = "film-and-review"


@pytest.fixture(autouse=True)
def cut_that_day(cast: Cast) -> None:
    """The clips were cut on the day of the clinic, whenever the tests run."""
    day = dt.datetime.combine(DAY, dt.time(20), dt.UTC)
    Clip.objects.update(created_at=day)
    Swim.objects.update(person_at=day)


def at(*day: int) -> dt.datetime:
    return begin_of(dt.date(*day))


def of(swim: Swim) -> keeping_dates.SwimKept:
    """What is written down, which must be what is worked out."""
    date_swims(Swim.objects.filter(pk=swim.pk))
    [row] = with_clips(Swim.objects.filter(pk=swim.pk))
    kept = kept_of([row])[swim.pk]
    assert row.delete_by == kept.swim.at
    files: set[Any] = set()
    for clip in row.clips.all():
        assert clip.delete_by == kept.clips[clip.pk].at
        found = ClipFile.objects.filter(clip=clip)
        files = set(found.values_list("stored__delete_by", flat=True))
        files |= set(found.exclude(pts_table=None).values_list("pts_table__delete_by", flat=True))
        assert files == {clip.delete_by}
    return kept


def clips_of(swim: Swim) -> set[tuple[dt.datetime, Why]]:
    return {(kept.at, kept.why) for kept in of(swim).clips.values()}


def enter(cast: Cast, key: str, day: dt.date, slug: str = "spring") -> Entry:
    """The swimmer is entered in another clinic of the club."""
    clinic = make_clinic(cast.harbour, slug, "Spring clinic")
    Clinic.objects.filter(pk=clinic.pk).update(date=day)
    group = LaneGroup.objects.create(clinic=clinic, name="A", order=1)
    swimmer = cast.swims[key].entry.swimmer
    return Entry.objects.create(
        clinic=clinic,
        swimmer=swimmer,
        number=1,
        lane_group=group,
        order=1,
        stroke="freestyle",
        pace_s_per_100m=90.0,
    )


def test_swim_clips_and_files_have_their_dates(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    assert clips_of(tomas) == {(at(2028, 5, 14), Why.AT_MOST)}
    assert of(tomas).swim == keeping_dates.Kept(at(2029, 11, 14), Why.MEASURES)


def test_the_next_clinic_of_that_swimmer_brings_the_date_forward(cast: Cast) -> None:
    tomas, wren = cast.swims["tomas"], cast.swims["wren"]
    enter(cast, "tomas", dt.date(2027, 1, 31))
    assert clips_of(tomas) == {(at(2027, 3, 3), Why.NEXT_CLINIC)}
    assert clips_of(wren) == {(at(2028, 5, 14), Why.AT_MOST)}


def test_a_closed_clinic_counts_only_for_who_swam_there(cast: Cast) -> None:
    entry = enter(cast, "tomas", dt.date(2027, 1, 31))
    closed_at = at(2027, 2, 1)
    Clinic.objects.filter(pk=entry.clinic_id).update(state="closed", closed_at=closed_at)
    assert clips_of(cast.swims["tomas"]) == {(at(2028, 5, 14), Why.AT_MOST)}
    make_swim(entry, at(2027, 1, 31))
    assert clips_of(cast.swims["tomas"]) == {(at(2027, 3, 3), Why.NEXT_CLINIC)}


def test_a_clinic_of_another_club_counts_for_nothing(cast: Cast) -> None:
    entry = enter(cast, "tomas", dt.date(2027, 1, 31))
    elsewhere = cast.swims["other"].entry
    assert elsewhere.clinic.club_id != entry.clinic.club_id
    assert clips_of(cast.swims["other"]) == {(at(2028, 5, 14), Why.AT_MOST)}


def test_what_is_not_given_goes_whole_and_giving_it_keeps_it(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    Swim.objects.filter(pk=tomas.pk).update(given_at=None, given_by=None)
    assert clips_of(tomas) == {(at(2027, 1, 13), Why.NOT_GIVEN)}
    assert of(tomas).swim == keeping_dates.Kept(at(2027, 1, 13), Why.NOT_GIVEN)
    give_swim(swim=tomas, by=cast.coach)
    tomas.refresh_from_db()
    assert tomas.delete_by == at(2029, 11, 14)  # at once, not when the sweep comes by
    assert set(tomas.clips.values_list("delete_by", flat=True)) == {at(2028, 5, 14)}


def test_this_is_not_me_gives_the_checker_time(cast: Cast) -> None:
    """Long after the clinic: it must not be due in the instant in which it is taken back."""
    tomas = cast.swims["tomas"]
    said = at(2027, 9, 1)
    Swim.objects.filter(pk=tomas.pk).update(given_at=None, person="wrong", person_at=said)
    assert clips_of(tomas) == {(at(2027, 10, 31), Why.NOT_GIVEN)}
    assert of(tomas).swim.at == at(2027, 10, 31)


def test_a_withdrawal_is_only_ever_shortened(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    date_swims(Swim.objects.all())
    ended = end_consent(swimmer=tomas.entry.swimmer, purpose=PURPOSE, by=cast.admin)
    assert ended is not None and ended.ended_at is not None
    until = ended.ended_at + dt.timedelta(days=30)
    assert clips_of(tomas) == {(until, Why.WITHDRAWN)}
    assert of(tomas).swim == keeping_dates.Kept(until, Why.WITHDRAWN)
    enter(cast, "tomas", dt.date(2027, 1, 31))
    assert clips_of(tomas) == {(until, Why.WITHDRAWN)}
    files = ClipFile.objects.filter(clip__swim=tomas)
    assert set(files.values_list("stored__keeping_rule", flat=True)) == {"withdrawn"}
    record_consent(swimmer=tomas.entry.swimmer, purpose=PURPOSE, by=cast.admin)
    assert clips_of(tomas) == {(at(2027, 3, 3), Why.NEXT_CLINIC)}
    assert set(files.values_list("stored__keeping_rule", flat=True)) == {"clips"}


def test_a_granted_wish_moves_the_dates(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    enter(cast, "tomas", dt.date(2027, 1, 31))
    wish = {
        "club": cast.harbour,
        "user": cast.tomas,
        "subject_kind": "clinics.Swim",
        "subject_id": tomas.pk,
        "due_at": at(2027, 3, 1),
    }
    longer = PersonRequest.objects.create(kind="keep-longer", state="open", **wish)
    assert clips_of(tomas) == {(at(2027, 3, 3), Why.NEXT_CLINIC)}  # nobody has answered
    answered = at(2027, 2, 28)
    PersonRequest.objects.filter(pk=longer.pk).update(state="done", answered_at=answered)
    assert clips_of(tomas) == {(at(2028, 8, 28), Why.KEPT_LONGER)}
    now = at(2027, 4, 1)
    PersonRequest.objects.create(kind="delete-now", state="done", answered_at=now, **wish)
    assert clips_of(tomas) == {(now, Why.ASKED)}
    assert of(tomas).swim == keeping_dates.Kept(now, Why.ASKED)


def test_dating_twice_changes_nothing(cast: Cast) -> None:
    assert date_swims(Swim.objects.all()) == 4
    assert date_swims(Swim.objects.all()) == 0


def test_dating_takes_as_many_queries_for_three_swims_as_for_one(cast: Cast) -> None:
    swims = Swim.objects.filter(entry__clinic=cast.clinic)
    date_swims(swims)
    counts = []
    for some in (swims.filter(pk=cast.swims["tomas"].pk), swims):
        with CaptureQueriesContext(
            connection,
        ) as seen:
            date_swims(some)
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_the_sweep_comes_round_to_every_swim(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping_dates, "BATCH", 3)
    step = keeping_dates.DateAgain()
    assert [step(), step(), step()] == [3, 1, 0]
    assert not Swim.objects.filter(delete_by=None).exists()


def test_rules_of_a_club_change_its_dates_and_no_others(cast: Cast) -> None:
    date_swims(Swim.objects.all())
    values = {"clips_at_most_months": 6, "measures_months": 12, "originals_days": 3}
    row = set_rules(club=cast.harbour, values=values, by=cast.admin)
    assert (row.clips_at_most_months, row.not_given_days) == (6, 60)
    drain(["quick"])
    tomas, other = cast.swims["tomas"], cast.swims["other"]
    tomas.refresh_from_db()
    other.refresh_from_db()
    assert set(tomas.clips.values_list("delete_by", flat=True)) == {at(2027, 5, 14)}
    assert tomas.delete_by == at(2027, 11, 14)
    assert other.delete_by == at(2029, 11, 14)
    assert ClubRules.objects.count() == 1
    entry = AuditEntry.objects.get(action="rules.change")
    assert '"clips_at_most_months":[18,6]' in entry.text


def test_rules_saved_as_they_are_change_nothing(cast: Cast) -> None:
    set_rules(club=cast.harbour, values={"originals_days": 3}, by=cast.admin)
    before = AuditEntry.objects.count()
    set_rules(club=cast.harbour, values={"originals_days": 3}, by=cast.admin)
    assert AuditEntry.objects.count() == before


def test_comments_cannot_go_before_the_clips_they_speak_of(cast: Cast) -> None:
    with pytest.raises(RulesRefused, match="at least as many months"):
        set_rules(club=cast.harbour, values={"measures_months": 17}, by=cast.admin)
    assert not ClubRules.objects.exists()


def test_only_an_admin_of_the_club_changes_its_rules(cast: Cast) -> None:
    for user in (cast.coach, cast.checker, cast.crew, cast.tomas, cast.other_admin):
        with pytest.raises(PermissionDenied):
            set_rules(club=cast.harbour, values={"originals_days": 300}, by=user)


def test_a_roster_with_swimmers_of_earlier_clinics_asks_for_their_dates(cast: Cast) -> None:
    Job.objects.all().delete()
    clinic = make_clinic(cast.harbour, "spring", "Spring clinic")
    Clinic.objects.filter(pk=clinic.pk).update(date=dt.date(2027, 1, 31))
    roster = "number,name,email,adult,group,stroke,pace\n1,{},{},yes,A,freestyle,1:30\n"
    clinic.refresh_from_db()
    take_in_roster(clinic=clinic, text=roster.format("New One", "new@x.example"), by=cast.admin)
    assert not Job.objects.filter(kind=keeping_rules.DATE_KIND).exists()
    tomas = cast.swims["tomas"].entry.swimmer
    take_in_roster(clinic=clinic, text=roster.format(tomas.name, tomas.email), by=cast.admin)
    [job] = Job.objects.filter(kind=keeping_rules.DATE_KIND)
    for _twice in range(2):
        date_again(job, lambda *_: None)
        clips = cast.swims["tomas"].clips.values_list("delete_by", flat=True)
        assert set(clips) == {at(2027, 3, 3)}


def test_originals_follow_closing_and_what_shows_like_them_goes_with_them(cast: Cast) -> None:
    recording = cast.recordings["underwater"]
    table, source = recording.frame_table, recording.files.get().stored
    strip = StoredFile.objects.create(
        club=cast.harbour,
        area="media",
        kind="contact-strip",
        name="x/strip.jpg",
        size_bytes=1,
        sha256="0" * 64,
        keeping_rule="recording",
    )
    type(recording).objects.filter(pk=recording.pk).update(contact_strip=strip)
    set_rules(club=cast.harbour, values={"originals_days": 10}, by=cast.admin)
    closed = close_clinic(clinic=cast.clinic, by=cast.admin)
    assert closed.closed_at is not None
    until = closed.closed_at + dt.timedelta(days=10)
    dates = dict(StoredFile.objects.values_list("pk", "delete_by"))
    assert table is not None
    assert (dates[source.pk], dates[strip.pk], dates[table.pk]) == (until, until, at(2029, 11, 14))
    assert keeping.recording_delete_by(strip) == until
    assert keeping.recording_delete_by(table) == at(2029, 11, 14)


def test_the_sweep_dates_originals_of_a_clinic_that_nobody_closes(cast: Cast) -> None:
    assert keeping.date_all_originals() == 2
    source = cast.recordings["underwater"].files.get().stored
    brought = cast.recordings["underwater"].brought_in_at.date()
    assert source.delete_by == begin_of(keeping.days.add_months(brought, 18))


def test_parts_of_uploads_are_kept_as_the_club_says(cast: Cast) -> None:
    set_rules(club=cast.harbour, values={"upload_parts_days": 2}, by=cast.admin)
    now = timezone.now()
    upload = begin(station=cast.start_side, wanted=Wanted("a.mp4", 10), by=cast.crew)
    assert dt.timedelta(days=2) <= upload.expires_at - now < dt.timedelta(days=2, minutes=1)


def test_clips_that_went_by_the_rules_are_not_cut_again(cast: Cast) -> None:
    Consent.objects.update(ended_at=None)
    swims = list(Swim.objects.filter(entry__clinic=cast.clinic).select_related("entry__clinic"))
    before = {cut.swim.pk for cut in wanted_cuts(cast.clinic, swims, False).cuts}
    tomas = cast.swims["tomas"]
    assert tomas.pk in before
    swims[[swim.pk for swim in swims].index(tomas.pk)].clips_gone_at = timezone.now()
    wanted = wanted_cuts(cast.clinic, swims, False)
    assert {cut.swim.pk for cut in wanted.cuts} == before - {tomas.pk}
    assert tomas.pk not in {one.swim.pk for one in wanted.left_out}
