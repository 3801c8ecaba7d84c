"""From a sign-up to an entry: the right swimmer and nobody else, number, group, order, consent."""

from __future__ import annotations

import uuid

import pytest
from django.utils import timezone

from clinics.actions.consent import end_consent
from clinics.actions.errors import BadInput
from clinics.actions.roster import take_in_roster
from clinics.actions.sign_up import confirm
from clinics.actions.sign_up_admin import take_out
from clinics.actions.sign_up_end import withdraw
from clinics.actions.sign_up_take_in import Line, candidates, take_in
from clinics.models import Clinic, Consent, Duty, Entry, LaneGroup, SignUp, SignUpSheet, Swimmer
from portal.models import OutboxMail
from tests.cast import Cast, make_user
from tests.clinics.consent_tools import FILM, GROUP, in_force, next_version
from tests.clinics.sign_up_tools import (
    BELA,
    BELA_MAIL,
    EVERY,
    State,
    asks,
    last_mail,
    mail_of,
    open_sheet,
    signs_up,
)


@pytest.fixture
def sheet(cast: Cast) -> SignUpSheet:
    return open_sheet(cast)


def takes_in(cast: Cast, *rows: SignUp, who: Swimmer | None = None) -> list[Entry]:
    """As proposed; `who` is the namesake that the admin chose."""
    wanted = {row.pk for row in rows}
    lines = [
        Line(one.sign_up.pk, one.number, one.group, who.pk if who else None)
        for one in candidates(cast.clinic)
        if one.sign_up.pk in wanted
    ]
    return take_in(clinic=cast.clinic, lines=lines, by=cast.admin)


# --- who it is ------------------------------------------------------------------------------------


def test_somebody_new_becomes_a_swimmer_with_entry_and_mail(cast: Cast, sheet: SignUpSheet) -> None:
    row = signs_up(sheet)
    [entry] = takes_in(cast, row)
    row.refresh_from_db()
    swimmer = entry.swimmer
    assert (row.state, row.entry, row.swimmer) == (State.TAKEN_IN, entry, swimmer)
    assert (swimmer.name, swimmer.email, swimmer.user) == (BELA, BELA_MAIL, None)
    assert swimmer.adult_attested_at == row.adult_attested_at
    assert (entry.number, entry.stroke, entry.start) == (4, "backstroke", "water")
    assert last_mail().subject.startswith("Your number is 4")


def test_same_name_and_address_is_the_swimmer_that_the_club_knows(
    cast: Cast, sheet: SignUpSheet
) -> None:
    known = Swimmer.objects.create(club=cast.harbour, name=BELA.upper(), email=BELA_MAIL.upper())
    [entry] = takes_in(cast, signs_up(sheet))
    assert entry.swimmer == known


def test_a_name_alone_is_nobody(cast: Cast, sheet: SignUpSheet) -> None:
    """Whoever signs up under somebody's name, with their own address, gets nothing of theirs."""
    known = Swimmer.objects.create(club=cast.harbour, name=BELA)
    other = Swimmer.objects.create(
        club=cast.harbour, name=BELA, email="old@harbourlane.example", user=cast.wren
    )
    row = signs_up(sheet)
    [one] = candidates(cast.clinic)
    assert (one.known, one.namesakes) == (None, [known, other])
    [entry] = takes_in(cast, row)
    assert entry.swimmer not in {known, other}
    known.refresh_from_db()
    assert known.email == ""


def test_an_admin_says_that_a_namesake_is_the_same_person(cast: Cast, sheet: SignUpSheet) -> None:
    known = Swimmer.objects.create(club=cast.harbour, name=BELA)
    [entry] = takes_in(cast, signs_up(sheet), who=known)
    known.refresh_from_db()
    assert entry.swimmer == known and known.email == BELA_MAIL


def test_a_known_address_of_a_chosen_namesake_stays(cast: Cast, sheet: SignUpSheet) -> None:
    """It lets somebody in."""
    old = "old@harbourlane.example"
    known = Swimmer.objects.create(club=cast.harbour, name=BELA, email=old)
    takes_in(cast, signs_up(sheet), who=known)
    known.refresh_from_db()
    assert (known.email, known.user) == (old, None)


def test_somebody_of_another_name_or_club_cannot_be_chosen(cast: Cast, sheet: SignUpSheet) -> None:
    others = [
        cast.swims["wren"].entry.swimmer,
        Swimmer.objects.create(club=cast.quillmoor, name=BELA, email=BELA_MAIL),
    ]
    row = signs_up(sheet)
    for other in others:
        assert other not in candidates(cast.clinic)[0].namesakes
    [entry] = takes_in(cast, row, who=others[1])
    assert entry.swimmer not in others and entry.swimmer.club == cast.harbour


def test_account_is_attached_where_the_address_is_proved(cast: Cast, sheet: SignUpSheet) -> None:
    never = make_user(BELA_MAIL, BELA)  # has not signed in yet
    [entry] = takes_in(cast, signs_up(sheet))
    assert entry.swimmer.user is None
    seen = make_user(mail_of("Noor Castellan"), "Noor")
    seen.last_login = timezone.now()
    seen.save()
    [entry] = takes_in(cast, signs_up(sheet, "Noor Castellan"))
    assert entry.swimmer.user == seen and never.swimmers.count() == 0
    [entry] = takes_in(cast, asks(sheet, "Kit Maddern", "kit@x.example", by=cast.other_swimmer))
    assert entry.swimmer.user == cast.other_swimmer


def test_who_is_entered_already_keeps_number_and_group(cast: Cast, sheet: SignUpSheet) -> None:
    before = cast.swims["tomas"].entry
    row = asks(
        sheet, "Tomas Birk", cast.tomas.email, by=cast.tomas, swimmer=before.swimmer, pace=70.0
    )
    [entry] = takes_in(cast, row)
    assert (entry.pk, entry.number, entry.lane_group) == (before.pk, 1, before.lane_group)
    assert entry.pace_s_per_100m == 90.0  # what was swum stays what it was


# --- number, group, order -------------------------------------------------------------------------


def test_groups_are_proposed_by_pace_and_whoever_is_there_stays(
    cast: Cast, sheet: SignUpSheet
) -> None:
    slow = LaneGroup.objects.create(clinic=cast.clinic, name="B", order=2)
    Entry.objects.filter(pk=cast.swims["sol"].entry.pk).update(lane_group=slow, pace_s_per_100m=130)
    for name, pace in (("Rune Tallis", 120.0), ("Noor Castellan", 80.0), ("Pia Lindholm", 140.0)):
        signs_up(sheet, name, pace=pace)
    proposed = [(one.sign_up.name, one.group, one.number) for one in candidates(cast.clinic)]
    assert proposed == [
        ("Noor Castellan", "A", 4),
        ("Rune Tallis", "B", 5),
        ("Pia Lindholm", "B", 6),
    ]
    takes_in(cast, *SignUp.objects.all())
    order = cast.clinic.entries.order_by("order").values_list("number", flat=True)
    assert list(order) == [1, 2, 4, 3, 5, 6]


def test_in_an_empty_clinic_even_groups_fastest_first(cast: Cast, sheet: SignUpSheet) -> None:
    """Of six at most: common practice, no source."""
    clinic = Clinic.objects.create(
        club=cast.harbour,
        slug="next",
        name="Next clinic",
        venue="Millrace Baths",
        date=cast.clinic.date,
        time_zone="Europe/Dublin",
        course_m=25,
        distance_m=50,
        air_temperature_c=27,
    )
    sheet.pk = clinic.pk
    fresh = SignUpSheet.objects.create(clinic=clinic, token="fresh", is_open=True, places=40)
    for step in range(8):
        signs_up(fresh, f"Swimmer {step}", pace=120.0 - step)
    groups = [(one.sign_up.name[-1], one.group) for one in candidates(clinic)]
    assert groups == [(str(n), "1") for n in (7, 6, 5, 4)] + [(str(n), "2") for n in (3, 2, 1, 0)]
    assert [one.group for one in candidates(clinic, groups=4)] == [*"11223344"]
    lines = [Line(one.sign_up.pk, one.number, one.group) for one in candidates(clinic)]
    take_in(clinic=clinic, lines=lines, by=cast.admin)
    assert list(clinic.lane_groups.values_list("name", flat=True)) == ["1", "2"]
    orders = clinic.entries.order_by("order").values_list("pace_s_per_100m", flat=True)
    assert list(orders) == [113.0 + n for n in range(8)]


def test_bad_rows_are_named_and_nothing_is_taken_in(cast: Cast, sheet: SignUpSheet) -> None:
    first, second = signs_up(sheet), signs_up(sheet, "Noor Castellan")
    lines = [Line(first.pk, 1, "A"), Line(second.pk, 0, "")]
    with pytest.raises(BadInput) as refused:
        take_in(clinic=cast.clinic, lines=lines, by=cast.admin)
    told = str(refused.value)
    assert "number 1 is taken" in told and "needs a number" in told and "needs a lane group" in told
    assert cast.clinic.entries.count() == 3 and not Swimmer.objects.filter(name=BELA).exists()


def test_who_waits_or_has_not_confirmed_is_not_taken_in(cast: Cast, sheet: SignUpSheet) -> None:
    SignUpSheet.objects.update(places=1)
    signs_up(sheet, "Noor Castellan")
    waiting, unconfirmed = signs_up(sheet, "Rune Tallis"), asks(sheet)
    lines = [Line(row.pk, 50 + n, "A") for n, row in enumerate((waiting, unconfirmed))]
    assert (
        take_in(clinic=cast.clinic, lines=[*lines, Line(uuid.uuid4(), 9, "A")], by=cast.admin) == []
    )
    assert cast.clinic.entries.count() == 3


def test_a_closed_clinic_takes_in_nobody(cast: Cast, sheet: SignUpSheet) -> None:
    row = signs_up(sheet)
    Clinic.objects.update(state="closed", closed_at=timezone.now())
    with pytest.raises(BadInput, match="closed"):
        take_in(clinic=cast.clinic, lines=[Line(row.pk, 9, "A")], by=cast.admin)


# --- consent --------------------------------------------------------------------------------------


def test_consents_come_into_force_with_instant_method_text_and_names_of_then(
    cast: Cast, sheet: SignUpSheet
) -> None:
    row = signs_up(sheet, agreed=(FILM, GROUP))
    next_version(cast)
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="checker")
    [entry] = takes_in(cast, row)
    assert in_force(entry.swimmer) == {FILM, GROUP}
    film = entry.swimmer.consents.get(purpose=FILM)
    assert film.given_at == row.confirmed_at and film.method == "link"
    assert film.text is not None and film.text.version == 1
    assert film.names["checkers"] == ["Jun Sorley"]  # who came later was not in what was read
    assert film.clinic == cast.clinic and film.recorded_by is None
    assert entry.swimmer.consents.filter(choice="refuses").count() == len(EVERY) - 2


def test_what_was_said_elsewhere_after_signing_up_stays(cast: Cast, sheet: SignUpSheet) -> None:
    """A refusal on My consent, between signing up and being taken in, is the later word."""
    tomas = cast.swims["tomas"].entry.swimmer
    row = asks(sheet, "Tomas Birk", cast.tomas.email, by=cast.tomas, swimmer=tomas)
    end_consent(swimmer=tomas, purpose=FILM, by=cast.tomas)
    takes_in(cast, row)
    assert in_force(tomas) == set()


def test_who_said_no_is_entered_and_not_filmed(cast: Cast, sheet: SignUpSheet) -> None:
    """Refusing never blocks the clinic."""
    row = signs_up(sheet, agreed=())
    assert "did not agree to be filmed" in last_mail().body
    [entry] = takes_in(cast, row)
    assert in_force(entry.swimmer) == set()
    assert Consent.objects.filter(swimmer=entry.swimmer, choice="refuses").count() == len(EVERY)


# --- out again ------------------------------------------------------------------------------------


def test_taken_out_and_in_again_doubles_nothing(cast: Cast, sheet: SignUpSheet) -> None:
    row = signs_up(sheet)
    [entry] = takes_in(cast, row)
    row = take_out(sign_up=row, by=cast.admin)
    assert row.state == State.SIGNED_UP and not Entry.objects.filter(pk=entry.pk).exists()
    [again] = takes_in(cast, row)
    assert again.swimmer == entry.swimmer
    assert again.swimmer.consents.count() == len(EVERY)


def test_a_roster_that_takes_somebody_out_leaves_them_to_be_taken_in(
    cast: Cast, sheet: SignUpSheet
) -> None:
    row = signs_up(sheet)
    takes_in(cast, row)
    names = [(swim.entry.number, swim.entry.swimmer) for swim in cast.swims.values()][:3]
    rows = [f"{n},{who.name},{who.email},yes,freestyle,90,A" for n, who in names]
    head = "number,name,email,adult,stroke,pace_s_per_100m,lane_group"
    take_in_roster(clinic=cast.clinic, text="\n".join([head, *rows]), by=cast.admin)
    row.refresh_from_db()
    assert row.entry is None
    assert [one.sign_up for one in candidates(cast.clinic)] == [row]


def test_who_withdraws_stays_in_the_order_until_a_person_changes_it(
    cast: Cast, sheet: SignUpSheet
) -> None:
    row = signs_up(sheet)
    [entry] = takes_in(cast, row)
    withdraw(sign_up=row, by=None)
    assert Entry.objects.filter(pk=entry.pk).exists()
    told = last_mail(cast.admin.email)
    assert "number 4 in the running order" in told.body
    again = confirm(sign_up=asks(sheet))
    [same] = takes_in(cast, again)
    row.refresh_from_db()
    assert same.pk == entry.pk and row.entry is None
    assert OutboxMail.objects.filter(to=cast.other_admin.email).count() == 0


def test_who_swam_is_not_taken_out(cast: Cast, sheet: SignUpSheet) -> None:
    swimmer = cast.swims["wren"].entry.swimmer
    row = asks(sheet, "Wren Okada", cast.wren.email, by=cast.wren, swimmer=swimmer)
    takes_in(cast, row)
    with pytest.raises(BadInput, match="stands in the start log"):
        take_out(sign_up=row, by=cast.admin)
