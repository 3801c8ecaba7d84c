"""What swimmers tell the coaches: who reads it, and who never does. Two clubs."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.sign_up_admin import decline
from clinics.actions.sign_up_end import withdraw
from clinics.actions.sign_up_notes import entry_notes_for
from clinics.models import Clinic, EntryNote, SignUp, SignUpSheet
from portal.models import AuditEntry, Hold, Membership, PersonRequest, User
from tests.cast import Cast, make_member, make_user, sign_in
from tests.clinics.sign_up_tools import HURTS, WISH, State, ahead, asks, open_sheet, signs_up


@pytest.fixture
def sheet(cast: Cast) -> SignUpSheet:
    return open_sheet(cast)


@pytest.fixture
def told(cast: Cast, sheet: SignUpSheet) -> SignUp:
    """Tomas, in the running order, told the coaches something; so did somebody elsewhere."""
    entry = cast.swims["tomas"].entry
    row = asks(sheet, "Tomas Birk", cast.tomas.email, by=cast.tomas, swimmer=entry.swimmer)
    SignUp.objects.filter(pk=row.pk).update(state=State.TAKEN_IN, entry=entry)
    row.refresh_from_db()
    there = SignUpSheet.objects.create(clinic=ahead(cast.other_clinic), token="elsewhere")
    other = SignUp.objects.create(
        sheet=there,
        name="Kit Maddern",
        email=cast.other_swimmer.email,
        adult_attested_at=timezone.now(),
        stroke="freestyle",
        start="block",
        pace_s_per_100m=90,
        state=State.TAKEN_IN,
        came="link",
        entry=cast.swims["other"].entry,
        confirmed_at=timezone.now(),
    )
    EntryNote.objects.create(sign_up=other, kind="injuries", text="elsewhere: a knee")
    return row


def plainly_reads(user: User | None, note: EntryNote, coaches: set[uuid.UUID]) -> bool:
    """The rule once more, plainly: the person; and, while there is a place, a coach of the clinic.
    Injuries nobody once the clinic is closed."""
    row = note.sign_up
    if user is None or (note.kind == "injuries" and row.sheet.clinic.closed_at is not None):
        return False
    if user.pk == row.user_id or user.email == row.email:
        return row.confirmed_at is not None
    return user.pk in coaches and row.state in (State.SIGNED_UP, State.TAKEN_IN)


def readers(cast: Cast) -> set[str]:
    """Who of the cast reads Tomas's notes, by what they are."""
    entry = cast.swims["tomas"].entry
    return {
        who
        for who, user in cast.people().items()
        if user is not None and entry_notes_for(user, entry) is not None
    }


def test_only_coaches_of_the_clinic_and_the_person_read(cast: Cast, told: SignUp) -> None:
    assert readers(cast) == {"swimmer", "coach"}
    notes = entry_notes_for(cast.coach, cast.swims["tomas"].entry)
    assert notes is not None and (notes.look_at, notes.injuries) == (WISH, HURTS)


@pytest.mark.parametrize("state", State.values)
@pytest.mark.parametrize("closed", [False, True])
def test_fence_says_what_the_plain_rule_says(
    cast: Cast, told: SignUp, state: str, closed: bool
) -> None:
    SignUp.objects.filter(pk=told.pk).update(state=state)
    if closed:
        Clinic.objects.update(closed_at=timezone.now())
    at_harbour, at_quillmoor = {cast.coach.pk}, {cast.other_coach.pk}
    for note in EntryNote.objects.select_related("sign_up__sheet__clinic"):
        here = note.sign_up.sheet.clinic_id == cast.clinic.pk
        for who, user in cast.people().items():
            seen = EntryNote.objects.visible_to(user).filter(pk=note.pk).exists()  # type: ignore[arg-type]
            plain = plainly_reads(user, note, at_harbour if here else at_quillmoor)
            assert seen == plain, (who, note.kind)


def test_what_nobody_confirmed_is_read_by_nobody(cast: Cast, sheet: SignUpSheet) -> None:
    asks(sheet, "Tomas Birk", cast.tomas.email)
    for user in cast.people().values():
        assert not EntryNote.objects.visible_to(user).exists()  # type: ignore[arg-type]
        assert not SignUp.objects.listed_for(user).exists()  # type: ignore[arg-type]
        assert not SignUp.objects.own_of(user).exists()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("from_days", "until_days", "reads"),
    [(-10, None, True), (-10, 25, True), (-10, 5, False), (-10, -1, False), (1, None, False)],
)
def test_a_coach_reads_who_coaches_today_and_on_the_day(
    cast: Cast, told: SignUp, from_days: int, until_days: int | None, reads: bool
) -> None:
    """A visiting team's membership ends by itself; the clinic's day is in 21 days."""
    today = timezone.now().date()
    visitor = make_user("visitor@quillmoor.example", "Visitor")
    row = make_member(cast.harbour, visitor, "coach")
    until = today + dt.timedelta(days=until_days) if until_days is not None else None
    Membership.objects.filter(pk=row.pk).update(
        from_date=today + dt.timedelta(days=from_days), until_date=until
    )
    found = entry_notes_for(visitor, cast.swims["tomas"].entry)
    assert (found is not None) == reads


def test_an_admin_reads_only_who_also_coaches(cast: Cast, told: SignUp) -> None:
    entry = cast.swims["tomas"].entry
    assert entry_notes_for(cast.admin, entry) is None
    make_member(cast.harbour, cast.admin, "coach")
    assert entry_notes_for(cast.admin, entry) is not None


def test_closed_the_injuries_are_out_of_sight_at_once_and_stay_so(cast: Cast, told: SignUp) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    for user in (cast.coach, cast.tomas):
        notes = entry_notes_for(user, cast.swims["tomas"].entry)
        assert notes is not None and (notes.look_at, notes.injuries) == (WISH, "")
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="open")  # opened again
    notes = entry_notes_for(cast.coach, cast.swims["tomas"].entry)
    assert notes is not None and notes.injuries == ""


def test_who_wants_to_be_erased_is_read_by_nobody_else(cast: Cast, told: SignUp) -> None:
    PersonRequest.objects.create(
        kind="erase",
        state="waiting",
        club=cast.harbour,
        subject_kind="clinics.Swimmer",
        subject_id=told.swimmer_id,
        due_at=timezone.now(),
    )
    assert readers(cast) == {"swimmer"}


def test_what_is_held_is_read_by_nobody(cast: Cast, told: SignUp) -> None:
    Hold.objects.create(
        subject_kind="clinics.Swimmer",
        subject_id=told.swimmer_id,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=timezone.localdate(),
    )
    assert readers(cast) == set()


def test_without_a_place_nothing_is_left_to_read(cast: Cast, sheet: SignUpSheet) -> None:
    withdraw(sign_up=signs_up(sheet), by=None)
    decline(sign_up=signs_up(sheet, "Noor Castellan"), words="", by=cast.admin)
    assert not EntryNote.objects.exists()


# --- pages ----------------------------------------------------------------------------------------


def listed(cast: Cast, user: User | None) -> Any:
    return sign_in(Client(), user).get(reverse("clinics:sign-up-notes", args=[cast.clinic.pk]))


def test_list_for_coaches_has_the_running_order_and_who_is_not_in_it_yet(
    cast: Cast, sheet: SignUpSheet, told: SignUp
) -> None:
    signs_up(sheet, "Noor Castellan")
    SignUpSheet.objects.update(places=1)
    signs_up(sheet, "Rune Tallis")  # waits
    page = listed(cast, cast.coach).content.decode()
    assert WISH in page and HURTS in page and "Wren Okada" in page
    assert "Noor Castellan" in page and "Rune Tallis" not in page and "a knee" not in page
    assert page.index("Tomas Birk") < page.index("Wren Okada") < page.index("Noor Castellan")


def test_list_is_for_nobody_else_and_reading_it_is_noted_once(cast: Cast, told: SignUp) -> None:
    for who, user in cast.people().items():
        if user is not None:
            assert listed(cast, user).status_code == (200 if who == "coach" else 404), who
    listed(cast, cast.coach)
    noted = AuditEntry.objects.filter(action="notes.view")
    assert [row.actor_id for row in noted] == [cast.coach.pk]
    assert HURTS not in noted[0].text


@pytest.mark.parametrize("many", [1, 3])
def test_list_takes_as_many_queries_for_many(
    cast: Cast, sheet: SignUpSheet, many: int, django_assert_num_queries: Any
) -> None:
    for step in range(many):
        signs_up(sheet, f"Swimmer {step}")
    client = sign_in(Client(), cast.coach)
    path = reverse("clinics:sign-up-notes", args=[cast.clinic.pk])
    client.get(path)
    with django_assert_num_queries(15):
        client.get(path)


def test_swim_page_shows_them_to_coaches_alone(cast: Cast, told: SignUp) -> None:
    path = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    assert HURTS in sign_in(Client(), cast.coach).get(path).content.decode()
    assert HURTS not in sign_in(Client(), cast.tomas).get(path).content.decode()


def test_no_page_of_the_admin_holds_them(cast: Cast, told: SignUp) -> None:
    client = sign_in(Client(), cast.admin)
    for name in ("sign-ups", "sign-ups-csv", "sign-up-take-in", "sign-up-add", "clinic-plan"):
        page = client.get(reverse(f"clinics:{name}", args=[cast.clinic.pk])).content.decode()
        assert HURTS not in page and WISH not in page, name
