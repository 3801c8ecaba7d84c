"""What somebody has to take along of a swim, in words; and under which name it is saved."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Swim
from feedback.actions.take_along import JOB_KIND
from feedback.compute.take_along import Kind, Spec, spec_of
from feedback.models import TakeAlong
from portal.models import Job, User

NOT_IN_NAMES = re.compile(r'[\\/:*?"<>|]+')
"""What some system does not take in the name of a file."""


@dataclass(frozen=True)
class Item:
    """`job` while it is being made, or if that failed; only for who asked for it."""

    row: TakeAlong
    spec: Spec
    mine: bool
    job: Job | None

    @property
    def ready(self) -> bool:
        return self.row.state == TakeAlong.State.READY

    @property
    def what(self) -> str:
        """“film at 1/4”."""
        if self.spec.kind is Kind.STILL:
            return _("Still")
        if self.spec.kind is Kind.ROW:
            many = self.spec.count
            return ngettext("%(n)d still in a row", "%(n)d stills in a row", many) % {"n": many}
        return _("Film at %(rate)s") % {"rate": self.spec.rate}

    @property
    def views(self) -> str:
        return ", ".join(self.spec.names)

    @property
    def times(self) -> str:
        return times(self.row)


def times(row: TakeAlong) -> str:
    """“9.28 s”, “9.28 to 11.00 s”; empty while the clock is not known."""
    at_s = row.spec.get("at_s")
    if not at_s:
        return ""
    begin, end = (number_format(round(at, 2) + 0.0, 2) for at in at_s)
    if row.kind == TakeAlong.Kind.STILL:
        return _("%(at)s s") % {"at": begin}
    return _("%(begin)s to %(end)s s") % {"begin": begin, "end": end}


def items_of(swim: Swim, user: User) -> list[Item]:
    """Newest first. What somebody else made for this person is there once it is made."""
    rows = TakeAlong.objects.visible_to(user).filter(swim=swim)
    # A query that counts is not ordered as its model says.
    rows = rows.select_related("stored", "asked_by").order_by("-created_at")
    shown = [row for row in rows if row.asked_by_id == user.pk or row.state == "ready"]
    unmade = [row.pk for row in shown if row.state != TakeAlong.State.READY]
    jobs = Job.objects.filter(kind=JOB_KIND, subject_id__in=unmade) if unmade else []
    newest = {job.subject_id: job for job in sorted(jobs, key=lambda job: job.created_at)}
    return [
        Item(row, spec_of(row.spec), row.asked_by_id == user.pk, newest.get(row.pk))
        for row in shown
    ]


def file_name(row: TakeAlong) -> str:
    """“Tomas Birk 14 Nov Underwater 12.5 m 9.28 s.jpg”. `row` comes with its swim, entry, swimmer
    and clinic."""
    spec, entry = spec_of(row.spec), row.swim.entry
    words = [entry.swimmer.name] if spec.named else []
    words += [date_format(entry.clinic.date, "j M"), ", ".join(spec.names), times(row)]
    if spec.kind is Kind.ROW:
        many = ngettext("%(n)d still", "%(n)d stills", spec.count) % {"n": spec.count}
        words.append(f"({many})")
    if spec.rate != "1":
        words.append(f"({_('speed %(rate)s') % {'rate': spec.rate.replace('/', '-')}})")
    plain = NOT_IN_NAMES.sub(" ", " ".join(word for word in words if word))
    suffix = ".mp4" if spec.kind is Kind.FILM else ".jpg"
    return " ".join(plain.split())[:150] + suffix
