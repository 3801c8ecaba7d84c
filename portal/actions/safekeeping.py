"""For the health page: can deletions be noted, and is there a backup of late?"""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.actions import ledger
from portal.models import AuditEntry
from portal.registry import Finding

STALE = dt.timedelta(days=2)


def check_ledger() -> Finding:
    """Without it nothing is deleted: what could not be noted would come back with a restore."""
    try:
        ledger.try_to_open()
    except OSError as problem:
        return Finding(
            False,
            _("The deletion ledger cannot be written (%(problem)s), so nothing is deleted.")
            % {"problem": problem},
        )
    return Finding(True, _("Deletions are noted. Copy the ledger to another machine daily."))


def check_backup() -> Finding:
    """Red only on a real site: whoever tries things out needs none."""
    entries = AuditEntry.objects.filter(action="backup.make").order_by("-seq")
    at = entries.values_list("at", flat=True).first()
    if at is None:
        return Finding(not settings.PRODUCTION, _("There is no backup yet: manage.py backup DIR"))
    late = timezone.now() - at > STALE
    sentence = _("The last backup was made on %(day)s.")
    return Finding(
        not (late and settings.PRODUCTION), sentence % {"day": date_format(at, "DATETIME_FORMAT")}
    )
