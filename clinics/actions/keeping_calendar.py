"""What of a club goes when, and how much room that makes. Counts only, no names."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, QuerySet, Sum
from django.db.models.functions import TruncDate
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping import CLIPS, ORIGINALS, RECORDING, WITHDRAWN
from clinics.actions.purge_originals import MADE
from clinics.actions.sign_up_keeping import days_of
from clinics.models import Clinic, Clip, ClipFile, Recording, SourceFile, Swim, Upload
from portal.models import StoredFile
from portal.registry import keeping_rules

if TYPE_CHECKING:
    from portal.models import Club

WHAT = {
    "clips": _("clips"),
    "swims": _("swims, with what was said and measured"),
    "originals": _("originals, with what is made of whole recordings"),
    "sign-ups": _("sign-ups, with what was written for coaches"),
    "uploads": _("parts of uploads"),
    "files": _("other files"),
}
OWN_RULES = (CLIPS, WITHDRAWN, ORIGINALS, RECORDING)
Key = tuple[dt.date, str, uuid.UUID | None, str]


@dataclass(frozen=True)
class Line:
    """So many things of one sort that go on one day. `rule`: of other files."""

    day: dt.date
    what: str
    clinic: Clinic | None
    rule: str
    count: int
    size_bytes: int

    @property
    def label(self) -> Any:
        """In words."""
        if self.rule:
            return keeping_rules.get(self.rule).label
        return WHAT[self.what]


def calendar_of(club: Club, *, what: str = "", clinic: uuid.UUID | None = None) -> list[Line]:
    """By day. A dozen queries, however many things there are."""
    found: dict[Key, Counter[str]] = {}
    for key, count, size in _told(club):
        if (not what or key[1] == what) and (clinic is None or key[2] == clinic):
            found.setdefault(key, Counter()).update(count=count, size=size)
    clinics = {row.pk: row for row in Clinic.objects.filter(club=club)}
    lines = [
        Line(day, sort, clinics.get(of) if of else None, rule, told["count"], told["size"])
        for (day, sort, of, rule), told in found.items()
    ]
    return sorted(lines, key=lambda line: (line.day, list(WHAT).index(line.what), line.rule))


Told = list[tuple[Key, int, int]]


def _told(club: Club) -> Told:
    sign_ups: Told = [((day, "sign-ups", of.pk, ""), n, 0) for day, of, n in days_of(club)]
    return [*_clips(club), *_swims(club), *_originals(club), *sign_ups, *_others(club)]


def _grouped(rows: QuerySet[Any], date: str, *by: str, size: str = "") -> list[Any]:
    """(day, …by, how many, how many bytes)."""
    rows = rows.filter(**{f"{date}__isnull": False}).order_by()
    rows = rows.annotate(on_day=TruncDate(date, tzinfo=dt.UTC)).values("on_day", *by)
    if size:
        told = rows.annotate(n=Count("pk"), total=Sum(size))
        return list(told.values_list("on_day", *by, "n", "total"))
    return [(*row, 0) for row in rows.annotate(n=Count("pk")).values_list("on_day", *by, "n")]


def _clips(club: Club) -> Told:
    of, ready = "swim__entry__clinic", StoredFile.State.READY
    clips = Clip.objects.filter(swim__entry__clinic__club=club)
    told: Told = [
        ((day, "clips", clinic, ""), n, 0)
        for day, clinic, n, _size in _grouped(clips, "delete_by", of)
    ]
    for path in ("stored", "pts_table"):
        files = ClipFile.objects.filter(clip__in=clips, **{f"{path}__state": ready})
        for day, clinic, _n, size in _grouped(
            files, "clip__delete_by", f"clip__{of}", size=f"{path}__size_bytes"
        ):
            told.append(((day, "clips", clinic, ""), 0, size))
    return told


def _swims(club: Club) -> Told:
    swims = Swim.objects.filter(entry__clinic__club=club)
    rows = _grouped(swims, "delete_by", "entry__clinic")
    return [((day, "swims", clinic, ""), n, 0) for day, clinic, n, _size in rows]


def _originals(club: Club) -> Told:
    ready = StoredFile.State.READY
    sources = SourceFile.objects.filter(recording__station__clinic__club=club, stored__state=ready)
    rows = _grouped(
        sources, "stored__delete_by", "recording__station__clinic", size="stored__size_bytes"
    )
    told: Told = [((day, "originals", clinic, ""), n, size) for day, clinic, n, size in rows]
    recordings = Recording.objects.filter(station__clinic__club=club)
    for name in MADE:
        made = recordings.filter(**{f"{name}__state": ready})
        rows = _grouped(made, f"{name}__delete_by", "station__clinic", size=f"{name}__size_bytes")
        told += [((day, "originals", clinic, ""), 0, size) for day, clinic, _n, size in rows]
    return told


def _others(club: Club) -> Told:
    files = StoredFile.objects.filter(club=club, state=StoredFile.State.READY)
    files = files.exclude(keeping_rule__in=OWN_RULES)
    rows = _grouped(files, "delete_by", "keeping_rule", size="size_bytes")
    told: Told = [((day, "files", None, rule), n, size) for day, rule, n, size in rows]
    states = [Upload.State.OPEN, Upload.State.COMPLETE]
    uploads = Upload.objects.filter(station__clinic__club=club, state__in=states)
    rows = _grouped(uploads, "expires_at", "station__clinic", size="offset_bytes")
    told += [((day, "uploads", clinic, ""), n, size) for day, clinic, n, size in rows]
    return told


def room_used(club: Club) -> int:
    """Bytes on disk."""
    files = StoredFile.objects.filter(club=club, state=StoredFile.State.READY)
    return int(files.aggregate(size=Sum("size_bytes"))["size"] or 0)
