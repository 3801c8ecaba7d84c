"""Names in a venue sheet and beside cautions go: with the clinic's records, or whose they are."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from clinics.actions.cautions import acknowledge, topics_of
from clinics.actions.erase_swimmer import erase_swims, find_swims
from clinics.actions.purge_records import RECORDS_STEP
from clinics.actions.venue import WORDS, put_venue
from clinics.models import CautionRead, Clinic, Swim, VenueSheet
from portal.registry import Person
from tests.cast import Cast
from tests.clinics.test_venue import SHEET


def test_venue_and_readings_go_with_the_clinics_records(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    topic = topics_of(cast.clinic)[0]
    acknowledge(clinic=cast.clinic, read={topic.key: topic.sha256}, by=cast.crew)
    then = timezone.now() - dt.timedelta(days=4 * 366)
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=then.date())
    Swim.objects.filter(entry__clinic=cast.clinic).delete()
    (due,) = RECORDS_STEP.due(10)
    assert RECORDS_STEP.delete(due) is not None
    assert not VenueSheet.objects.exists()
    assert not CautionRead.objects.exists()


def test_name_of_who_is_erased_is_taken_out_of_the_sheet(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    said = {"depth_measured_by": "Tomas Birk", "notes": "Ask Tomas Birk for the key."}
    put_venue(clinic=cast.clinic, values=SHEET | said, by=None)
    person = Person("clinics.Swimmer", swimmer.pk, cast.harbour, swimmer.name)
    assert find_swims(person).rows["notes-naming"] == 1
    erase_swims(person)
    sheet = VenueSheet.objects.get(clinic=cast.clinic)
    assert (sheet.depth_measured_by, sheet.notes) == ("[erased]", "Ask [erased] for the key.")
    assert sheet.permission_by == SHEET["permission_by"]


def test_words_of_a_sheet_are_all_that_is_written_freely() -> None:
    assert set(WORDS) == {
        *("operator", "operator_contact", "permission_by", "permission_says", "other_users"),
        *("juniors_settled", "depth_measured_by", "depth_measured_how", "window", "power"),
        *("network", "lifeguard", "notes"),
    }
