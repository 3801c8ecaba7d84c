"""Starts that were heard and nobody logged: proposed in running order, shifted, confirmed."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.test import Client

from clinics.actions import heard_starts as acts
from clinics.actions.errors import BadInput
from clinics.models import Clinic, Consent, HeardStart, StartLogEntry, Swim, Tie
from portal.models import AuditEntry, Job
from tests.cast import FIRST_START, Cast, make_entry, sign_in

pytestmark = pytest.mark.django_db

NAMES = ["Ada Moss", "Bo Ferrin", "Cleo Hart", "Dov Quist", "Elin Roe"]


@pytest.fixture
def heard(cast: Cast) -> list[HeardStart]:
    """Five more swimmers, and four starts nobody logged, after the three of the cast."""
    for number, name in enumerate(NAMES, start=11):
        make_entry(cast.clinic, name, number, None, "")
    for swim in Swim.objects.filter(entry__clinic=cast.clinic):
        swim.log_entry = StartLogEntry.objects.create(
            clinic=cast.clinic,
            client_id=f"line-{swim.pk}",
            entry=swim.entry,
            instant=swim.start_at,
        )
        swim.save()
    return [
        HeardStart.objects.create(
            clinic=cast.clinic,
            instant=FIRST_START + dt.timedelta(seconds=200 + 41.7 * n),
            u_ms=2.0,
            heard_by=2,
            score=0.9,
        )
        for n in range(4)
    ]


@pytest.fixture
def crew(cast: Cast) -> Client:
    return sign_in(Client(), cast.crew)


def names(clinic: Clinic) -> list[str | None]:
    told = acts.proposals_of(clinic)
    return [one.entry.swimmer.name if one.entry else None for one in told]


def test_they_are_proposed_in_running_order_of_who_is_not_in_the_log(
    heard: list[HeardStart], cast: Cast
) -> None:
    assert names(cast.clinic) == NAMES[:4]


def test_each_way_to_shift_and_back(heard: list[HeardStart], cast: Cast) -> None:
    by = cast.crew
    acts.dismiss_heard_start(heard=heard[1], by=by)
    assert names(cast.clinic) == ["Ada Moss", None, "Bo Ferrin", "Cleo Hart"]
    acts.shift_names(heard=heard[1], how="as-ordered", by=by)
    assert names(cast.clinic) == NAMES[:4]
    acts.shift_names(heard=heard[1], how="missing", by=by)
    assert names(cast.clinic) == ["Ada Moss", "Cleo Hart", "Dov Quist", "Elin Roe"]
    acts.shift_names(heard=heard[2], how="twice", by=by)
    assert names(cast.clinic) == ["Ada Moss", "Cleo Hart", "Cleo Hart", "Dov Quist"]
    with pytest.raises(BadInput, match="no start stands before"):
        acts.shift_names(heard=heard[0], how="twice", by=by)
    kinds = set(AuditEntry.objects.values_list("action", flat=True))
    assert {"heard-start.dismissed", "heard-start.named"} <= kinds


def test_confirming_makes_lines_and_swims_and_asks_to_align(
    heard: list[HeardStart], cast: Cast, crew: Client
) -> None:
    swimmers = Consent.objects.filter(swimmer__name="Bo Ferrin")
    swimmers.update(ended_at=FIRST_START)  # Bo Ferrin does not agree
    page = f"/clinics/{cast.clinic.pk}/heard-starts/"
    sent = chosen(crew.get(page).content.decode()) | {"do": "take"}
    assert len(sent) == 5
    assert (
        "4 starts stand in the start log now."
        in crew.post(page, sent, follow=True).content.decode()
    )
    lines = StartLogEntry.objects.filter(note="from the sound").order_by("instant")
    assert [line.entry.swimmer.name for line in lines if line.entry] == NAMES[:4]
    assert [line.instant for line in lines] == [one.instant for one in heard]
    assert [line.outcome for line in lines] == ["away", "not-filmed", "away", "away"]
    assert [line.client_id for line in lines] == [f"heard-{one.pk}" for one in heard]
    made = Swim.objects.filter(log_entry__in=lines)
    assert made.count() == 3, "no swim of somebody who does not agree to be filmed"
    assert Job.objects.filter(kind="align", subject_id=cast.clinic.pk).exists()
    assert acts.proposed_count(cast.clinic) == 0
    crew.post(page, sent)  # sent twice changes nothing
    assert StartLogEntry.objects.filter(note="from the sound").count() == 4
    assert "Every start that was heard stands in the start log." in crew.get(page).content.decode()


def chosen(page: str) -> dict[str, str]:
    """What a browser sends: the option of each select that is chosen."""
    told = {}
    for name, options in re.findall(
        r'<select id="[^"]*" name="([^"]*)".*?>(.*?)</select>', page, re.S
    ):
        found = re.search(r'<option value="([^"]*)" selected', options)
        assert found, name
        told[name] = found[1]
    return told


def test_it_can_all_be_given_back_and_taken_again(heard: list[HeardStart], cast: Cast) -> None:
    entries = {one.heard.pk: one.entry for one in acts.proposals_of(cast.clinic) if one.entry}
    lines = acts.take_heard_starts(clinic=cast.clinic, choices=entries, by=cast.crew)
    swim = Swim.objects.get(log_entry=lines[0])
    recording = cast.recordings["start-side"]
    found = {"recording": recording, "kind": "start-heard", "pts_ticks": 0, "u_ms": 2}
    tie = Tie.objects.create(**found, swim=swim, found_by="sound")
    assert acts.give_back_heard_starts(clinic=cast.clinic, by=cast.crew) == 4
    assert not Swim.objects.filter(log_entry__note="from the sound").exists()
    assert not Tie.objects.filter(pk=tie.pk).exists(), "what was found by itself goes with the swim"
    assert names(cast.clinic) == NAMES[:4]
    again = acts.take_heard_starts(clinic=cast.clinic, choices=entries, by=cast.crew)
    assert len(again) == 4 and Swim.objects.filter(log_entry__in=again).count() == 4
    Tie.objects.create(**found, swim=Swim.objects.get(log_entry=again[0]), placed_by=cast.crew)
    with pytest.raises(BadInput, match="clips or ties"):
        acts.give_back_heard_starts(clinic=cast.clinic, by=cast.crew)
    assert Swim.objects.filter(log_entry__in=again).count() == 4, "all or none"


def test_a_line_undone_on_the_start_log_is_a_proposal_again(
    heard: list[HeardStart], cast: Cast
) -> None:
    from clinics.actions.log import undo_start

    entry = acts.proposals_of(cast.clinic)[0].entry
    assert entry is not None
    acts.take_heard_starts(clinic=cast.clinic, choices={heard[0].pk: entry}, by=cast.crew)
    assert acts.proposed_count(cast.clinic) == 3
    undo_start(clinic=cast.clinic, client_id=f"heard-{heard[0].pk}", by=cast.crew)
    assert acts.proposed_count(cast.clinic) == 4
    assert names(cast.clinic) == NAMES[:4]


def test_what_is_refused(heard: list[HeardStart], cast: Cast) -> None:
    stranger = cast.swims["other"].entry
    with pytest.raises(BadInput, match="of this clinic"):
        acts.choose_swimmer(heard=heard[0], entry=stranger, by=cast.crew)
    with pytest.raises(BadInput, match="of this clinic"):
        acts.take_heard_starts(clinic=cast.clinic, choices={heard[0].pk: stranger}, by=cast.crew)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=FIRST_START)
    heard[0].refresh_from_db()
    with pytest.raises(BadInput, match="closed"):
        acts.dismiss_heard_start(heard=heard[0], by=cast.crew)
    assert set(HeardStart.objects.values_list("state", flat=True)) == {"proposed"}


def test_the_page_shifts_and_undoes_without_script(
    heard: list[HeardStart], cast: Cast, crew: Client
) -> None:
    page = f"/clinics/{cast.clinic.pk}/heard-starts/"
    ada = str(cast.clinic.entries.get(swimmer__name="Elin Roe").pk)
    crew.post(page, {"do": f"dismiss:{heard[0].pk}"})
    crew.post(page, {"do": f"name:{heard[1].pk}", f"who-{heard[1].pk}": ada})
    assert names(cast.clinic) == [None, "Elin Roe", None, None]
    assert "nobody is left in the running order" in crew.get(page).content.decode()
    crew.post(page, {"do": "undo"})
    assert names(cast.clinic) == [None, "Ada Moss", "Bo Ferrin", "Cleo Hart"]
    crew.post(page, {"do": "undo"})
    crew.post(page, {"do": "undo"})  # nothing left to undo
    assert names(cast.clinic) == NAMES[:4]
    for odd in ("", "dismiss:x", f"dismiss:{cast.clinic.pk}", f"sideways:{heard[0].pk}"):
        assert crew.post(page, {"do": odd}).status_code == 302
    assert names(cast.clinic) == NAMES[:4]


def test_the_clinic_and_the_start_log_lead_there(
    heard: list[HeardStart], cast: Cast, crew: Client
) -> None:
    link = f"/clinics/{cast.clinic.pk}/heard-starts/"
    for page in (f"/clinics/{cast.clinic.pk}/", f"/clinics/{cast.clinic.pk}/starts/"):
        assert link in crew.get(page).content.decode()
    HeardStart.objects.update(state="dismissed")
    for page in (f"/clinics/{cast.clinic.pk}/", f"/clinics/{cast.clinic.pk}/starts/"):
        assert link not in crew.get(page).content.decode()


def test_a_still_is_offered_a_second_before_where_a_start_camera_ran(
    cast: Cast, crew: Client
) -> None:
    recording = cast.recordings["start-side"]  # begins 20 s before the first start
    HeardStart.objects.create(
        clinic=cast.clinic, instant=FIRST_START + dt.timedelta(seconds=30), u_ms=2
    )
    page = f"/clinics/{cast.clinic.pk}/heard-starts/"
    assert f"/recordings/{recording.pk}/frames/{25 * 49}/" in crew.get(page).content.decode()
    recording.brought_in_by = cast.checker
    recording.save()
    assert f"/recordings/{recording.pk}/" not in crew.get(page).content.decode()
    assert f"/recordings/{recording.pk}/frames/{25 * 49}/" in (
        sign_in(Client(), cast.checker).get(page).content.decode()
    )


def test_no_still_of_a_span_that_nobody_sees(cast: Cast, crew: Client) -> None:
    """Sol withdrew: from before that start until they are gone nothing is shown."""
    at = cast.swims["sol"].start_at
    HeardStart.objects.create(clinic=cast.clinic, instant=at, u_ms=2)
    page = crew.get(f"/clinics/{cast.clinic.pk}/heard-starts/").content.decode()
    assert "no picture" in page and "/frames/" not in page


def test_the_number_of_questions_does_not_grow_with_the_list(
    cast: Cast, crew: Client, heard: list[HeardStart]
) -> None:
    page = f"/clinics/{cast.clinic.pk}/heard-starts/"
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def asked() -> int:
        with CaptureQueriesContext(connection) as seen:
            crew.get(page)
        return len(seen)

    few = asked()
    for n in range(30):
        HeardStart.objects.create(
            clinic=cast.clinic, instant=FIRST_START + dt.timedelta(seconds=30 + n), u_ms=2
        )
    assert asked() == few
