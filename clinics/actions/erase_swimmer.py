"""What erasing a swimmer deletes of clinics beside pictures and papers: swims, the swimmer.

What stays is the frame of the clinic, without the person: the lines of the start log (other
people's clips are placed by them, and they say which pictures nobody sees) with the entries that
they belong to, in a clinic that is not closed also when the swims began; and that somebody no
longer named can be recognised in another's clip, which keeps that clip hidden. They belong to a
swimmer called "erased", who agrees to nothing; what was agreed to before stays as ended.
"""

from __future__ import annotations

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.erase import forget_about
from clinics.actions.persons import ERASED
from clinics.actions.venue import WORDS as VENUE_WORDS
from clinics.models import (
    Clinic,
    ClipMask,
    Custody,
    Entry,
    HeardStart,
    InPicture,
    Phone,
    Recognised,
    Share,
    ShelfClip,
    StartLogEntry,
    StationMask,
    Swim,
    Swimmer,
    VenueSheet,
)
from portal.actions import redact
from portal.models import PersonRequest
from portal.registry import Found, Person, PersonStep

# --- swims ---------------------------------------------------------------------------------------


def _swims(person: Person) -> QuerySet[Swim]:
    """Those that still say anything of the person."""
    bare = Q(
        ~Q(entry__clinic__state=Clinic.State.CLOSED),
        person=Swim.Person.UNCONFIRMED,
        passed_at__isnull=True,
        delete_by__lte=timezone.now(),
    )
    return Swim.objects.filter(entry__swimmer=person.id).exclude(bare)


def _own_notes(person: Person) -> QuerySet[StartLogEntry]:
    return StartLogEntry.objects.filter(entry__swimmer=person.id).exclude(note="")


def _words(person: Person) -> redact.Words:
    """What people of the club write down in free words."""
    of = {"clinic__club": person.club}
    return (
        (StartLogEntry.objects.filter(**of).exclude(entry__swimmer=person.id), ("note",)),
        (Phone.objects.filter(**of), ("name",)),
        (Custody.objects.filter(**of), ("holder", "label", "wiped_by_name")),
        (VenueSheet.objects.filter(**of), VENUE_WORDS),
        (StationMask.objects.filter(station__clinic__club=person.club), ("note",)),
        (ShelfClip.objects.filter(clip__station__clinic__club=person.club), ("fault", "remedy")),
        (Share.objects.filter(swim__entry__clinic__club=person.club), ("note",)),
        (PersonRequest.objects.filter(club=person.club), ("words", "answer")),
    )


def find_swims(person: Person) -> Found:
    lines = StartLogEntry.objects.filter(entry__swimmer=person.id)
    others = Recognised.objects.filter(swimmer=person.id).count()
    others += InPicture.objects.filter(swimmer=person.id).count()
    return Found(
        {
            "swims": _swims(person).count(),
            "notes": _own_notes(person).count(),
            "notes-naming": sum(1 for _row in redact.rows_naming(_words(person), person.name)),
        },
        kept={"start-log": lines.count(), "in-others": others},
    )


@transaction.atomic
def erase_swims(person: Person) -> None:
    _own_notes(person).update(note="")
    redact.take_out(_words(person), person.name)
    swims = list(Swim.objects.filter(entry__swimmer=person.id).select_related("entry__clinic"))
    for swim in swims:
        _keep_start(swim)
        _erase_swim(swim)
    forget_about(Swim._meta.label, [swim.pk for swim in swims])


def _keep_start(swim: Swim) -> None:
    """A swim that no line of the log speaks of gets one: which pictures nobody sees, follows
    from the log when the swim is gone."""
    if swim.log_entry_id is None:
        swim.log_entry = StartLogEntry.objects.create(
            clinic=swim.entry.clinic,
            client_id=f"erased-{swim.pk}",
            entry=swim.entry,
            instant=swim.start_at,
            clock_run="erased",
        )
        swim.save(update_fields=["log_entry"])


def _erase_swim(swim: Swim) -> None:
    if swim.entry.clinic.state == Clinic.State.CLOSED:
        swim.delete()
        return
    Recognised.objects.filter(swim=swim).delete()
    Swim.objects.filter(pk=swim.pk).update(
        person=Swim.Person.UNCONFIRMED,
        person_by=None,
        person_at=None,
        number_seen=None,
        others_recorded_at=None,
        others_recorded_by=None,
        passed_at=None,
        passed_by=None,
        given_at=None,
        given_by=None,
        delete_by=timezone.now(),
    )


# --- the swimmer ---------------------------------------------------------------------------------


def find_swimmer(person: Person) -> Found:
    named = Swimmer.objects.filter(pk=person.id).exclude(
        name=ERASED, email="", user=None, adult_attested_at=None
    )
    return Found({"swimmer": named.count()})


@transaction.atomic
def erase_swimmer(person: Person) -> None:
    """Nothing of it stays unless something of a clinic hangs on it: then without a name."""
    swimmer = Swimmer.objects.select_for_update().filter(pk=person.id).first()
    if swimmer is None:
        return
    entries = Entry.objects.filter(swimmer=swimmer)
    idle = entries.filter(start_log__isnull=True, swims__isnull=True)
    HeardStart.objects.filter(entry__in=idle).update(entry=None)
    idle.delete()
    if not _is_needed(swimmer):
        swimmer.delete()
        return
    swimmer.name, swimmer.email, swimmer.user, swimmer.adult_attested_at = ERASED, "", None, None
    swimmer.save(update_fields=["name", "email", "user", "adult_attested_at"])


def _is_needed(swimmer: Swimmer) -> bool:
    rows = (
        Entry.objects.filter(swimmer=swimmer),
        Recognised.objects.filter(swimmer=swimmer),
        InPicture.objects.filter(swimmer=swimmer),
        ClipMask.objects.filter(covers=swimmer),
    )
    return any(found.exists() for found in rows)


REST = (
    PersonStep(
        name="swims",
        order=70,
        find=find_swims,
        run=erase_swims,
        labels={
            "swims": _("swims"),
            "notes": _("notes in the start log about you"),
            "notes-naming": _("notes of the club that name you: your name is taken out"),
            "start-log": _("lines of the start log, without your name"),
            "in-others": _(
                "places where you can be recognised in somebody else’s swim: noted without your "
                "name, so that it stays hidden or you are covered"
            ),
        },
    ),
    PersonStep(
        name="swimmer",
        order=90,
        find=find_swimmer,
        run=erase_swimmer,
        labels={"swimmer": _("your name and address on the club’s rosters")},
    ),
)
