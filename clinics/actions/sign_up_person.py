"""Sign-ups of one person: erased, and taken along."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from clinics.actions.sign_up_places import fill_places
from clinics.actions.sign_up_state import locked
from clinics.compute.time import iso_utc
from clinics.models import EntryNote, SignUp, SignUpSheet, Swimmer
from portal.actions import redact
from portal.actions.export import Pack
from portal.registry import Found, Person, PersonStep


def sign_ups_of(person: Person) -> QuerySet[SignUp]:
    """By the swimmer; before there was one, by the name together with an address that is theirs
    or with the account, since couples share both."""
    swimmer = Swimmer.objects.filter(pk=person.id).first()
    by = Q(email__in=[address.lower() for address in person.emails])
    if person.user is not None:
        by |= Q(user=person.user)
    before = SignUp.objects.filter(by, swimmer__isnull=True, sheet__clinic__club=person.club)
    mine = [
        pk
        for pk, name in before.values_list("pk", "name")
        if swimmer is not None and name.casefold() == swimmer.name.casefold()
    ]
    return SignUp.objects.filter(Q(swimmer=person.id) | Q(pk__in=mine))


def _words(person: Person) -> redact.Words:
    """What others of the club wrote to coaches and may name this person in."""
    others = EntryNote.objects.filter(sign_up__sheet__clinic__club=person.club)
    return ((others.exclude(sign_up__in=sign_ups_of(person).values("pk")), ("text",)),)


def find_sign_ups(person: Person) -> Found:
    rows = sign_ups_of(person)
    notes = EntryNote.objects.filter(sign_up__in=rows.values("pk"))
    naming = sum(1 for _row in redact.rows_naming(_words(person), person.name))
    return Found({"sign-ups": rows.count(), "notes-for-coaches": notes.count(), "in-notes": naming})


@transaction.atomic
def erase_sign_ups(person: Person) -> None:
    """With what was written for coaches; whoever waits moves up."""
    redact.take_out(_words(person), person.name)
    rows = sign_ups_of(person)
    sheets = list(SignUpSheet.objects.filter(sign_ups__in=rows.values("pk")).distinct())
    rows.delete()
    for sheet in sheets:
        fill_places(locked(sheet))


ERASE = PersonStep(
    name="sign-ups",
    order=55,
    find=find_sign_ups,
    run=erase_sign_ups,
    labels={
        "sign-ups": _("sign-ups for clinics"),
        "notes-for-coaches": _("what you wrote for coaches, injuries among it"),
        "in-notes": _("what others wrote for coaches and names you: your name is taken out"),
    },
)


def put_sign_ups(pack: Pack) -> None:
    """As the person wrote it, with what was answered about consent."""
    header = (
        *("clinic", "date", "signed_up_at", "state", "name", "email", "stroke", "start"),
        *("pace_s_per_100m", "answers", "for_coaches", "injuries"),
    )
    rows = sign_ups_of(pack.person).filter(confirmed_at__isnull=False)
    rows = rows.select_related("sheet__clinic").prefetch_related("notes")
    pack.table("sign-ups", header, (_cells(row) for row in rows.order_by("confirmed_at")))


def _cells(row: SignUp) -> tuple[object, ...]:
    clinic = row.sheet.clinic
    notes = {note.kind: note.text for note in row.notes.all()}
    answers = {purpose: said["agrees"] for purpose, said in row.answers.items()}
    return (
        *(clinic.name, clinic.date, iso_utc(row.confirmed_at), row.state, row.name, row.email),
        *(row.stroke, row.start, row.pace_s_per_100m, answers),
        notes.get(EntryNote.Kind.LOOK_AT, ""),
        notes.get(EntryNote.Kind.INJURIES, ""),
    )


EXPORT = PersonStep(name="sign-ups", order=15, run=put_sign_ups)
