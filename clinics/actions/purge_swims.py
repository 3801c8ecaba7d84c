"""A swim goes when its time has come, with all that was said, drawn and measured."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.purge_clips import (
    delete_clips,
    due_clips,
    held_clip,
    held_swim,
    lock_swim,
    sizes_of,
)
from clinics.models import Clinic, Clip, Swim
from portal.actions.audit import record
from portal.actions.ledger import note_deleted
from portal.actions.purge import delete_files
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from django.db.models import QuerySet

    from portal.models import StoredFile

_files_too: dict[str, Callable[[QuerySet[Swim]], Iterable[StoredFile]]] = {}


def delete_with_swims(name: str, files: Callable[[QuerySet[Swim]], Iterable[StoredFile]]) -> None:
    """Register at start-up: `files(swims)` are what a later package keeps of these swims on disk;
    they go with them. Its rows go by their keys."""
    _files_too[name] = files


def _due_swims() -> QuerySet[Swim]:
    """In a clinic that is still open, what nobody sees of its recordings follows from who swam
    when. A swim that stands in no line of the start log waits there until it is closed; it is out
    of sight as all that is due."""
    due = Swim.objects.filter(delete_by__isnull=False, delete_by__lte=timezone.now())
    return due.filter(~Q(log_entry=None) | Q(entry__clinic__state=Clinic.State.CLOSED))


def _held_whole() -> Q:
    held = Clip.objects.filter(held_clip(), swim_id=OuterRef("pk"))
    return held_swim() | Q(Exists(held))


def _swims_due(at_most: int) -> list[Due]:
    rows = _due_swims().exclude(_held_whole()).order_by("delete_by", "pk")[:at_most]
    told = list(rows.values_list("pk", "delete_by"))
    before = due_clips().values("pk")  # these go, and are counted, by the step before
    sizes = sizes_of([pk for pk, _since in told], Clip.objects.exclude(pk__in=before))
    return [Due(Swim._meta.label, pk, since, *sizes[pk]) for pk, since in told if since]


@transaction.atomic
def _delete_swim(due: Due) -> Gone | None:
    if lock_swim(due.id) is None:
        return None
    found = _due_swims().exclude(_held_whole()).filter(pk=due.id)
    swim = found.select_related("entry__clinic__club").first()
    if swim is None:
        return None
    of_swim = Swim.objects.filter(pk=swim.pk)
    clips = delete_clips(list(swim.clips.all()))
    files = delete_files([file for more in _files_too.values() for file in more(of_swim)])
    note_deleted(Swim._meta.label, swim.pk)
    club, subject = swim.entry.clinic.club, Swim(pk=swim.pk)
    _count, rows = swim.delete()
    told = Counter(clips.rows) + Counter(rows)
    gone = Gone(told, clips.files + files.files, clips.size_bytes + files.size_bytes)
    detail = {"rows": told, "files": gone.files, "size_bytes": gone.size_bytes}
    record(action="purge.swim", by=None, subject=subject, club=club, detail=detail)
    return gone


SWIMS_STEP = PurgeStep(
    name="swims",
    label=_("Swims, with what was said, drawn and measured"),
    order=300,
    due=_swims_due,
    held=lambda: _due_swims().filter(_held_whole()).count(),
    delete=_delete_swim,
)
