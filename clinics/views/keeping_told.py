"""Until when each thing of a clinic is kept, and why, as lines of a table."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.holds import recording_in_words, swim_in_words
from clinics.actions.keeping import originals_until, records_until
from clinics.actions.keeping_dates import Kept, kept_of, with_clips
from clinics.actions.keeping_rules import rules_of
from clinics.actions.keeping_why import why_in_words
from clinics.actions.purge_clips import held_swim
from clinics.compute.keeping import Rules, Why
from clinics.models import Clinic, Recording, SourceFile, Swim
from clinics.privacy import held_by_part
from portal.models import StoredFile

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Club

OPEN_FOR_LONG = dt.timedelta(days=14)


@dataclass(frozen=True)
class KeptLine:
    """`first`: when its footage goes, None: there is none any more; `whole`: when the rest does."""

    kind: str  # a model's label, to hold it
    id: uuid.UUID
    name: str
    held: bool
    first: dt.datetime | None
    first_why: str
    whole: dt.datetime
    whole_why: str

    def cells(self) -> list[object]:
        first = self.first.isoformat(timespec="minutes") if self.first else ""
        whole = self.whole.isoformat(timespec="minutes")
        return [self.name, first, self.first_why, whole, self.whole_why]


def swims_kept(clinic: Clinic) -> list[KeptLine]:
    """By running order. A bounded number of queries."""
    rows = with_clips(Swim.objects.filter(entry__clinic=clinic))
    rows = rows.select_related("entry__swimmer", "entry__clinic").annotate(held=held_swim())
    swims = list(rows.order_by("entry__order", "go"))
    kept, rules = kept_of(swims), rules_of(clinic.club_id)
    lines = []
    for swim in swims:
        first, whole = kept[swim.pk].first_clip, kept[swim.pk].swim
        gone = _("already gone by the rules") if swim.clips_gone_at else ""
        lines.append(
            KeptLine(
                kind=Swim._meta.label,
                id=swim.pk,
                name=swim_in_words(swim),
                held=swim.held,
                first=first.at if first else None,
                first_why=_why(first, rules) if first else gone,
                whole=whole.at,
                whole_why=_why(whole, rules),
            )
        )
    return lines


def _why(kept: Kept, rules: Rules) -> str:
    return why_in_words(kept.why, rules)


def recordings_kept(clinic: Clinic) -> list[KeptLine]:
    there = SourceFile.objects.filter(
        recording_id=OuterRef("pk"), stored__state=StoredFile.State.READY
    )
    rows = Recording.objects.filter(station__clinic=clinic)
    rows = rows.select_related("station__clinic", "camera").annotate(
        held=held_by_part(Recording="pk", Clinic="station__clinic_id"), there=Exists(there)
    )
    rules, records = rules_of(clinic.club_id), records_until(clinic)
    why = why_in_words(Why.CLOSED if clinic.closed_at else Why.NOT_CLOSED, rules)
    return [
        KeptLine(
            kind=Recording._meta.label,
            id=row.pk,
            name=recording_in_words(row),
            held=row.held,
            first=originals_until(clinic, brought_in_at=row.brought_in_at) if row.there else None,
            first_why=why if row.there else _("already gone by the rules"),
            whole=records,
            whole_why=why_in_words(Why.MEASURES, rules),
        )
        for row in rows
    ]


def clinics_left_open(club: Club) -> QuerySet[Clinic]:
    """With originals, long after their day: nothing of them has its short date before they are
    closed."""
    there = SourceFile.objects.filter(
        recording__station__clinic_id=OuterRef("pk"), stored__state=StoredFile.State.READY
    )
    rows = Clinic.objects.filter(Exists(there), club=club).exclude(state=Clinic.State.CLOSED)
    return rows.filter(date__lte=timezone.localdate() - OPEN_FOR_LONG).order_by("date")
