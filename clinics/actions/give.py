"""Giving swims to their swimmers, once they were passed on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clinics.actions.check_rows import audit_swim
from clinics.actions.keeping_dates import date_swims
from clinics.models import Swim
from portal.actions.mail import queue_mail

if TYPE_CHECKING:
    from portal.models import User


@transaction.atomic
def give_swim(*, swim: Swim, by: User) -> Swim:
    """A coach of the clinic gives a swim that was passed on to its swimmer; once."""
    mine = Swim.objects.coached_by(by).filter(pk=swim.pk)
    found = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine.values("pk"))
    row = found.select_related("entry__clinic__club", "entry__swimmer__user").first()
    if row is None:
        raise PermissionDenied("only a coach to whom the swim was passed on gives it")
    give(row, by)
    return row


def give(swim: Swim, by: User) -> None:
    if swim.given_at is not None:
        return
    swim.given_at, swim.given_by = timezone.now(), by
    swim.save(update_fields=["given_at", "given_by"])
    date_swims(Swim.objects.filter(pk=swim.pk))  # what is given is kept longer
    audit_swim("swim.give", swim, by)
    _tell_swimmer(swim)


def _tell_swimmer(swim: Swim) -> None:
    """No footage and nobody else's name in a mail: only where to look after signing in."""
    swimmer, clinic = swim.entry.swimmer, swim.entry.clinic
    address = swimmer.user.email if swimmer.user else swimmer.email
    if not address:
        return
    with translation.override(swimmer.user.language if swimmer.user else settings.LANGUAGE_CODE):
        queue_mail(
            to=address,
            subject=_("Your swim is ready to look at"),
            body=_(
                "Your swim of %(day)s at %(venue)s is ready. Sign in with this e-mail address "
                "to look at it:\n\n%(url)s\n\nIf it shows somebody else, say so there; it is "
                "then hidden at once.\n"
            )
            % {
                "day": date_format(clinic.date, "DATE_FORMAT"),
                "venue": clinic.venue,
                "url": f"{settings.SITE_URL}/swims/{swim.pk}/",
            },
        )
