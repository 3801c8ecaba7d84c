"""The dates of swims and clips, worked out from what their club decided and what is known now.

`kept_of` says for each swim until when it and its clips are kept, and why; `date_swims` writes
it down. What a swimmer who agrees no longer has is never kept longer by this, only shorter.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q

from clinics.actions.keeping_rules import rules_of_clubs
from clinics.compute.keeping import Rules, Until, Why, add_months, begin_of, clips_until, swim_until
from clinics.models import Clinic, Clip, ClipFile, Consent, Entry, Swim
from clinics.privacy import FILM_AND_REVIEW
from portal.models import PersonRequest, StoredFile

if TYPE_CHECKING:
    from django.db.models import QuerySet

BATCH = 100


@dataclass(frozen=True)
class Kept:
    """The instant at which something goes, and why then."""

    at: dt.datetime
    why: Why


@dataclass(frozen=True)
class SwimKept:
    swim: Kept
    clips: dict[uuid.UUID, Kept]

    @property
    def first_clip(self) -> Kept | None:
        """Of the clip that goes first."""
        return min(self.clips.values(), key=lambda kept: kept.at, default=None)


@dataclass
class Known:
    """What the dates of some swims depend on; a handful of queries, however many swims."""

    rules: Callable[[uuid.UUID], Rules]
    days: dict[uuid.UUID, list[dt.date]]  # of each swimmer's clinics
    agree: set[uuid.UUID]  # swimmers
    longer: dict[uuid.UUID, dt.datetime] = field(default_factory=dict)  # swims: granted when
    sooner: dict[uuid.UUID, dt.datetime] = field(default_factory=dict)


def kept_of(swims: Sequence[Swim]) -> dict[uuid.UUID, SwimKept]:
    """By swim. They come with `entry__clinic` selected and `clips` prefetched."""
    known = _known(swims)
    return {swim.pk: _kept(swim, known) for swim in swims}


def _known(swims: Sequence[Swim]) -> Known:
    swimmers = {swim.entry.swimmer_id for swim in swims}
    known = Known(
        rules=rules_of_clubs(swim.entry.clinic.club_id for swim in swims),
        days=_clinic_days(swimmers),
        agree=_who_agrees(swimmers),
    )
    kinds = PersonRequest.Kind
    granted = PersonRequest.objects.filter(
        kind__in=[kinds.KEEP_LONGER, kinds.DELETE_NOW],
        state=PersonRequest.State.DONE,
        subject_kind=Swim._meta.label,
        subject_id__in=[swim.pk for swim in swims],
    )
    for request in granted.order_by("answered_at", "made_at"):
        wish = known.longer if request.kind == kinds.KEEP_LONGER else known.sooner
        wish[request.subject_id] = request.answered_at or request.made_at
    return known


def _clinic_days(swimmers: Iterable[uuid.UUID]) -> dict[uuid.UUID, list[dt.date]]:
    """Of the clinics that each swimmer is entered in; those that are closed count only if the
    swimmer swam there: who did not come has no newer pictures to compare with."""
    swam = Exists(Swim.objects.filter(entry_id=OuterRef("pk")))
    entries = Entry.objects.filter(swimmer__in=swimmers)
    entries = entries.filter(~Q(clinic__state=Clinic.State.CLOSED) | swam)
    days: dict[uuid.UUID, list[dt.date]] = defaultdict(list)
    for swimmer, day in entries.values_list("swimmer_id", "clinic__date").order_by():
        days[swimmer].append(day)
    return days


def _who_agrees(swimmers: Iterable[uuid.UUID]) -> set[uuid.UUID]:
    consents = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    return set(consents.filter(swimmer__in=swimmers).values_list("swimmer_id", flat=True))


def _kept(swim: Swim, known: Known) -> SwimKept:
    clips = {clip.pk: (clip, _clip_until(swim, clip, known)) for clip in swim.clips.all()}
    whole = swim_until(
        known.rules(swim.entry.clinic.club_id),
        clinic_day=swim.entry.clinic.date,
        given=swim.given_at is not None,
        looked_day=_day(swim.person_at),
        clips=[until for _clip, until in clips.values()],
    )
    return SwimKept(
        _at_the_latest(whole, swim.delete_by, swim, known),
        {
            pk: _at_the_latest(until, clip.delete_by, swim, known)
            for pk, (clip, until) in clips.items()
        },
    )


def _clip_until(swim: Swim, clip: Clip, known: Known) -> Until:
    rules = known.rules(swim.entry.clinic.club_id)
    granted = known.longer.get(swim.pk)
    return clips_until(
        rules,
        clinic_day=swim.entry.clinic.date,
        cut_day=clip.created_at.date(),
        given=swim.given_at is not None,
        looked_day=_day(swim.person_at),
        other_days=known.days.get(swim.entry.swimmer_id, ()),
        keep_until=add_months(granted.date(), rules.clips_at_most_months) if granted else None,
    )


def _day(at: dt.datetime | None) -> dt.date | None:
    return at.date() if at is not None else None


def _at_the_latest(until: Until, dated: dt.datetime | None, swim: Swim, known: Known) -> Kept:
    """The rule's date, unless the swimmer wants it gone before."""
    kept = Kept(begin_of(until.day), until.why)
    wanted = known.sooner.get(swim.pk)
    if wanted is not None and wanted < kept.at:
        kept = Kept(wanted, Why.ASKED)
    withdrew = swim.entry.swimmer_id not in known.agree
    if withdrew and dated is not None and dated < kept.at:
        kept = Kept(dated, Why.WITHDRAWN)
    return kept


# --- writing them down --------------------------------------------------------------------------

_dated_too: dict[str, Callable[[QuerySet[Clip]], object]] = {}


def date_with_clips(name: str, date: Callable[[QuerySet[Clip]], object]) -> None:
    """Register at start-up: `date(clips)` follows when these clips get another delete-by date,
    within the same transaction. For what later packages make of clips."""
    _dated_too[name] = date


def date_too(clips: QuerySet[Clip]) -> None:
    for date in _dated_too.values():
        date(clips)


def date_swims(swims: QuerySet[Swim]) -> int:
    """Write down the dates of these swims, their clips and files. How many swims changed."""
    pks = list(swims.order_by("pk").values_list("pk", flat=True).distinct())
    batches = [pks[begin : begin + BATCH] for begin in range(0, len(pks), BATCH)]
    return sum(_date_batch(batch) for batch in batches)


def with_clips(swims: QuerySet[Swim]) -> QuerySet[Swim]:
    """As `kept_of` wants them."""
    return swims.select_related("entry__clinic").prefetch_related("clips")


@transaction.atomic
def _date_batch(pks: list[uuid.UUID]) -> int:
    """Locked as `begin_deletion` locks them, so that a withdrawal in between is not undone."""
    list(Swim.objects.select_for_update().filter(pk__in=pks).order_by("pk").values_list("pk"))
    swims = list(with_clips(Swim.objects.filter(pk__in=pks)))
    kept = kept_of(swims)
    of_swims = {swim.pk: kept[swim.pk].swim.at for swim in swims}
    moved = {swim.pk for swim in swims if swim.delete_by != of_swims[swim.pk]}
    _write(Swim, {pk: at for pk, at in of_swims.items() if pk in moved})
    dated: dict[uuid.UUID, dt.datetime] = {}
    for swim in swims:
        for clip in swim.clips.all():
            at = kept[swim.pk].clips[clip.pk].at
            if clip.delete_by != at:
                dated[clip.pk] = at
                moved.add(swim.pk)
    _write(Clip, dated)
    _date_files([clip.pk for swim in swims for clip in swim.clips.all()])
    if dated:
        date_too(Clip.objects.filter(pk__in=dated))
    return len(moved)


def _write(model: Any, dates: dict[uuid.UUID, dt.datetime]) -> None:
    """One update for each date: few, since the clips of a clinic mostly share theirs."""
    by_date: dict[dt.datetime, list[uuid.UUID]] = defaultdict(list)
    for pk, at in dates.items():
        by_date[at].append(pk)
    for at, pks in by_date.items():
        model.objects.filter(pk__in=pks).update(delete_by=at)


def _date_files(clips: list[uuid.UUID]) -> None:
    """Files go with their clip; also those that were just made, or missed it until now."""
    dates: dict[uuid.UUID, dt.datetime] = {}
    for path in ("stored", "pts_table"):
        rows = ClipFile.objects.filter(clip__in=clips, clip__delete_by__isnull=False)
        rows = rows.filter(**{f"{path}__state": StoredFile.State.READY})
        rows = rows.exclude(**{f"{path}__delete_by": F("clip__delete_by")})
        dates |= dict(rows.values_list(f"{path}_id", "clip__delete_by").order_by())
    _write(StoredFile, dates)


# --- for the sweep --------------------------------------------------------------------------------


class DateAgain:
    """All swims, some at a time, round and round: what no act tells of (a clinic that was put
    off, a start log that came late) is found out here."""

    def __init__(self) -> None:
        self._after: uuid.UUID | None = None

    def __call__(self) -> int:
        rows = Swim.objects.order_by("pk")
        if self._after is not None:
            rows = rows.filter(pk__gt=self._after)
        pks = list(rows.values_list("pk", flat=True)[:BATCH])
        self._after = pks[-1] if len(pks) == BATCH else None
        return _date_batch(pks) if pks else 0
