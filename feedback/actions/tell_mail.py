"""The mail about what is new: links to the swims, nothing of what was said or by whom."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Swim
from portal.actions.mail import queue_mail
from portal.models import User


def write_digest(person: User, swims: Sequence[Swim]) -> None:
    with translation.override(person.language):
        told = {
            "clinic": swims[0].entry.clinic.name,
            "count": len(swims),
            "links": "\n\n".join(_line(swim) for swim in swims),
        }
        one_clinic = len({swim.entry.clinic_id for swim in swims}) == 1
        if one_clinic:
            subject = ngettext(
                "Something new about a swim at %(clinic)s",
                "Something new about %(count)d swims at %(clinic)s",
                len(swims),
            )
        else:
            subject = _("Something new about %(count)d swims")
        queue_mail(
            to=person.email,
            subject=subject % told,
            body=_("There is something new. Sign in to read it beside the picture:\n\n%(links)s\n")
            % told,
        )


def _line(swim: Swim) -> str:
    clinic = swim.entry.clinic
    place = settings.SITE_URL.rstrip("/") + reverse("feedback:swim", args=[swim.pk])
    return f"{clinic.name}, {date_format(clinic.date)}\n{place}"
