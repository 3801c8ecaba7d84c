"""What is due before a clinic: who ticks what, moving, own tasks, copying, how many wait."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions import tasks_acts as acts
from clinics.actions.close_clinic import close_clinic
from clinics.actions.errors import BadInput
from clinics.actions.tasks import closing_day, counts_of, tasks_of, today_at
from clinics.compute.tasks_ahead import State
from clinics.models import Clinic, ClinicTask, VenueSheet
from portal.models import AuditEntry
from tests.cast import Cast, make_clinic, sign_in

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """In ten days, so that all states are there."""
    cast.clinic.date = timezone.now().date() + dt.timedelta(days=10)
    cast.clinic.save()
    return cast.clinic


def keys(clinic: Clinic, state: State | None = None) -> list[str]:
    return [line.key for line in tasks_of(clinic) if state in (None, line.due.state)]


def url(clinic: Clinic, name: str = "tasks", *more: str) -> str:
    return reverse(f"clinics:{name}", args=[clinic.pk, *more])


# --- which, and by whom ---------------------------------------------------------------------------


def test_states_follow_from_the_day(clinic: Clinic) -> None:
    assert "permission" in keys(clinic, State.OVERDUE)
    assert "consent-reminder" in keys(clinic, State.SOON)
    assert "try-out" in keys(clinic, State.LATER)
    assert not keys(clinic, State.DONE)


def test_what_a_clinic_needs_follows_from_what_is_there(clinic: Clinic) -> None:
    assert {"under-water-agreed", "starts-agreed"} <= set(keys(clinic))
    assert "juniors" not in keys(clinic)
    VenueSheet.objects.create(clinic=clinic, juniors_in_hall=True, has_blocks=False)
    clinic.stations.update(kind="start-side")
    clinic.entries.update(start="water")
    assert "juniors" in keys(clinic)
    assert not {"under-water-agreed", "starts-agreed", "housing"} & set(keys(clinic))


def test_blocks_are_asked_about_while_nobody_is_entered(cast: Cast) -> None:
    empty = make_clinic(cast.harbour, "empty", "Empty")
    assert "starts-agreed" in keys(empty)
    VenueSheet.objects.create(clinic=empty, has_blocks=False)
    assert "starts-agreed" not in keys(empty)


def test_tick_is_kept_once_with_who_and_when_and_can_be_taken_back(
    cast: Cast, clinic: Clinic
) -> None:
    first = acts.tick_task(clinic=clinic, key="try-out", by=cast.crew)
    acts.tick_task(clinic=clinic, key="try-out", by=cast.admin)
    row = ClinicTask.objects.get()
    assert (row.done_by, row.done_at) == (cast.crew, first.done_at)
    assert keys(clinic, State.DONE) == ["try-out"]
    acts.untick_task(clinic=clinic, key="try-out", by=cast.crew)
    acts.untick_task(clinic=clinic, key="try-out", by=cast.crew)
    assert not ClinicTask.objects.exists()  # as usual again
    done = AuditEntry.objects.filter(action__startswith="task.").values_list("action", flat=True)
    assert list(done) == ["task.tick", "task.untick"]


@pytest.mark.parametrize(
    ("key", "may"),
    [
        ("permission", {"club admin"}),
        ("try-out", {"club admin", "crew", "checker"}),
        ("checked", {"club admin", "checker"}),
    ],
)
def test_each_role_ticks_its_own(cast: Cast, clinic: Clinic, key: str, may: set[str]) -> None:
    for what, person in cast.people().items():
        if person is None:
            continue
        ClinicTask.objects.all().delete()
        if what in may:
            acts.tick_task(clinic=clinic, key=key, by=person)
        else:
            with pytest.raises(PermissionDenied):
                acts.tick_task(clinic=clinic, key=key, by=person)
        assert ClinicTask.objects.exists() is (what in may), what


# --- moving, own ones -----------------------------------------------------------------------------


def test_moved_task_keeps_its_distance_when_the_clinic_moves(cast: Cast, clinic: Clinic) -> None:
    day = clinic.date - dt.timedelta(days=20)
    acts.move_task(clinic=clinic, key="volunteers", day=day, by=cast.admin)
    clinic.date += dt.timedelta(days=7)
    clinic.save()
    line = next(line for line in tasks_of(clinic) if line.key == "volunteers")
    assert line.is_moved and line.due.day == day + dt.timedelta(days=7)
    usual = clinic.date - dt.timedelta(days=35)
    acts.move_task(clinic=clinic, key="volunteers", day=usual, by=cast.admin)
    assert not ClinicTask.objects.exists()


def test_closing_day_follows_its_task(cast: Cast, clinic: Clinic) -> None:
    assert closing_day(clinic) == clinic.date + dt.timedelta(days=14)
    later = clinic.date + dt.timedelta(days=21)
    acts.move_task(clinic=clinic, key="closed", day=later, by=cast.admin)
    assert closing_day(clinic) == later
    acts.tick_task(clinic=clinic, key="numbers", by=cast.admin)
    assert closing_day(clinic) == later


def test_own_task_is_added_ticked_and_removed(cast: Cast, clinic: Clinic) -> None:
    row = acts.add_task(
        clinic=clinic, words="Order  the cake", day=clinic.date, for_role="crew", by=cast.admin
    )
    line = next(line for line in tasks_of(clinic) if line.key == row.key)
    assert (line.due.task.words, line.due.day, line.is_own) == ("Order the cake", clinic.date, True)
    acts.tick_task(clinic=clinic, key=row.key, by=cast.crew)
    assert row.key in keys(clinic, State.DONE)
    acts.untick_task(clinic=clinic, key=row.key, by=cast.crew)
    assert row.key in keys(clinic)  # it stays, though nothing of it is done
    acts.remove_task(clinic=clinic, key=row.key, by=cast.admin)
    acts.remove_task(clinic=clinic, key=row.key, by=cast.admin)
    assert row.key not in keys(clinic)


def test_what_cannot_be_is_refused(cast: Cast, clinic: Clinic) -> None:
    far = clinic.date + dt.timedelta(days=31)
    said = {"clinic": clinic, "by": cast.admin, "words": "Cake", "day": clinic.date}
    for wrong in ({"words": " "}, {"day": far}, {"for_role": "swimmer"}, {"words": "x" * 201}):
        with pytest.raises(BadInput):
            acts.add_task(**{"for_role": "crew", **said, **wrong})
    with pytest.raises(BadInput):
        acts.move_task(clinic=clinic, key="numbers", day=far, by=cast.admin)
    with pytest.raises(BadInput):
        acts.remove_task(clinic=clinic, key="numbers", by=cast.admin)
    with pytest.raises(BadInput):
        acts.tick_task(clinic=clinic, key="no-such", by=cast.admin)
    assert not ClinicTask.objects.exists()


def test_closed_clinic_keeps_its_tasks(cast: Cast, clinic: Clinic) -> None:
    close_clinic(clinic=clinic, by=cast.admin)
    with pytest.raises(BadInput):
        acts.tick_task(clinic=clinic, key="closed", by=cast.admin)
    page = sign_in(Client(), cast.admin).get(url(clinic)).content.decode()
    assert "task-tick" not in page and "/tick/" not in page


def test_copied_tasks_are_as_far_before_the_day_and_never_ticked(
    cast: Cast, clinic: Clinic
) -> None:
    day = clinic.date - dt.timedelta(days=50)
    acts.move_task(clinic=clinic, key="volunteers", day=day, by=cast.admin)
    own = acts.add_task(
        clinic=clinic, words="Order the cake", day=clinic.date, for_role="crew", by=cast.admin
    )
    for key in ("numbers", own.key):
        acts.tick_task(clinic=clinic, key=key, by=cast.admin)
    new = make_clinic(cast.harbour, "spring", "Spring clinic")
    assert acts.copy_tasks(to=new, from_clinic=clinic) == 2
    assert not keys(new, State.DONE)
    there = {line.key: line.due.day for line in tasks_of(new)}
    assert there["volunteers"] == new.date - dt.timedelta(days=50)
    assert there[own.key] == new.date
    assert new.tasks.count() == 2  # what is as usual has no row


def test_the_day_is_that_of_the_pool(clinic: Clinic) -> None:
    clinic.time_zone = "Pacific/Kiritimati"
    east = today_at(clinic)
    clinic.time_zone = "Pacific/Pago_Pago"
    assert east - today_at(clinic) >= dt.timedelta(days=1)


# --- pages ----------------------------------------------------------------------------------------


def test_page_ticks_and_takes_back(cast: Cast, clinic: Clinic) -> None:
    client = sign_in(Client(), cast.crew)
    page = client.get(url(clinic)).content.decode()
    assert url(clinic, "task-tick", "try-out") in page
    assert url(clinic, "task-tick", "permission") not in page  # an admin's
    assert url(clinic, "task-move", "try-out") not in page
    assert client.post(url(clinic, "task-tick", "try-out")).status_code == 302
    page = client.get(url(clinic)).content.decode()
    assert "Petra Voss" in page and "Not done after all" in page
    client.post(url(clinic, "task-tick", "try-out"), {"undo": "1"})
    assert not ClinicTask.objects.exists()
    assert client.post(url(clinic, "task-tick", "permission")).status_code == 404


def test_admin_moves_adds_and_removes_on_the_page(cast: Cast, clinic: Clinic) -> None:
    client = sign_in(Client(), cast.admin)
    far = (clinic.date + dt.timedelta(days=60)).isoformat()
    refused = client.post(url(clinic, "task-move", "numbers"), {"day": far})
    assert refused.status_code == 422 and "eight weeks before" in refused.content.decode()
    said = {"words": "Order <the> cake", "day": clinic.date.isoformat(), "for_role": "crew"}
    again = client.post(url(clinic), {**said, "day": far})
    assert again.status_code == 422 and "Order &lt;the&gt; cake" in again.content.decode()
    assert client.post(url(clinic), said).status_code == 302
    own = ClinicTask.objects.get()
    day = (clinic.date - dt.timedelta(days=1)).isoformat()
    assert client.post(url(clinic, "task-move", own.key), {"day": day}).status_code == 302
    own.refresh_from_db()
    assert own.days_before == 1
    assert client.post(url(clinic, "task-remove", own.key)).status_code == 302
    assert not ClinicTask.objects.exists()


def test_clinic_page_says_to_the_admin_how_many_wait(cast: Cast, clinic: Clinic) -> None:
    counts = counts_of(clinic)
    assert counts.overdue and counts.soon
    page = sign_in(Client(), cast.admin).get(reverse("clinics:clinic", args=[clinic.pk]))
    assert f"{counts.overdue} tasks overdue" in page.content.decode()
    page = sign_in(Client(), cast.crew).get(reverse("clinics:clinic", args=[clinic.pk]))
    assert "overdue" not in page.content.decode()


@pytest.mark.parametrize("many", [1, 3])
def test_page_takes_as_many_queries_for_three_own_tasks_as_for_one(
    cast: Cast, clinic: Clinic, many: int, django_assert_num_queries: Any
) -> None:
    for n in range(many):
        own = acts.add_task(
            clinic=clinic, words=f"Cake {n}", day=clinic.date, for_role="crew", by=cast.admin
        )
        acts.tick_task(clinic=clinic, key=own.key, by=cast.admin)
    client = sign_in(Client(), cast.admin)
    client.get(url(clinic))
    with django_assert_num_queries(12):
        assert f"Cake {many - 1}" in client.get(url(clinic)).content.decode()
