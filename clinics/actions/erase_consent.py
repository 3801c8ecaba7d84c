"""What erasing a swimmer does to consent: it ends, and papers and links go. What was agreed to and
when stays, without a name, as proof that filming was right then."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.dropped import plan_dropped
from clinics.actions.erase import forget, take_off_disk
from clinics.models import Clinic, Consent, ConsentRequest
from portal.models import StoredFile
from portal.registry import Found, Person, PersonStep


def _consents(person: Person) -> QuerySet[Consent]:
    return Consent.objects.filter(swimmer=person.id)


def _sheets(person: Person) -> list[StoredFile]:
    ids = _consents(person).filter(sheet__isnull=False).values("sheet_id")
    return list(StoredFile.objects.filter(pk__in=ids).select_related("club"))


def find_consent(person: Person) -> Found:
    current = _consents(person).filter(ended_at__isnull=True).count()
    asked = ConsentRequest.objects.filter(swimmer=person.id).count()
    history = _consents(person).count()
    return Found(
        {"consents": current, "consent-requests": asked},
        tuple(_sheets(person)),
        {"consent-history": history},
    )


def erase_consent(person: Person) -> None:
    """Ended, and nobody's; from now on no picture of this swimmer is shown from a recording."""
    sheets = _sheets(person)
    take_off_disk(sheets)
    with transaction.atomic():
        _consents(person).update(sheet=None, client_id="")
        _consents(person).filter(ended_at__isnull=True).update(ended_at=timezone.now())
        ConsentRequest.objects.filter(swimmer=person.id).delete()
        forget(sheets)
        for clinic in Clinic.objects.filter(entries__swimmer=person.id).distinct():
            plan_dropped(clinic=clinic)


STEP = PersonStep(
    name="consent",
    order=60,
    find=find_consent,
    run=erase_consent,
    labels={
        "consents": _("consents in force: they end"),
        "consent-requests": _("links with which you were asked"),
        "consent-history": _("what you answered and when, without your name, as proof"),
    },
)
