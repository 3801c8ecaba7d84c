"""The uploads of one card: once all have come, they are taken in together."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from django.db.models import QuerySet

from clinics.actions.bring_in import Incoming, Outcome, take_in
from clinics.actions.read_back import verify_and_ask
from clinics.actions.upload_parts import part_path
from clinics.models import Upload
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from portal.models import Job

TAKE_IN_PRIORITY = 10  # before any clip: somebody waits for "the card is safely in"


def mark_complete(upload: Upload) -> None:
    """All its bytes are here, and on disk."""
    Upload.objects.filter(pk=upload.pk, state=Upload.State.OPEN).update(state=Upload.State.COMPLETE)
    upload.state = Upload.State.COMPLETE
    ask_when_card_is_here(upload)


def card_of(upload: Upload) -> QuerySet[Upload]:
    """The uploads of the same card, this one among them."""
    return Upload.objects.filter(
        card=upload.card, owner_id=upload.owner_id, station_id=upload.station_id
    )


def ask_when_card_is_here(upload: Upload) -> None:
    """Ask for the taking in once every file of the card has come (or was given up)."""
    card = list(card_of(upload))
    expected = max(row.card_files for row in card)
    sending = any(row.state == Upload.State.OPEN for row in card)
    if len(card) >= expected and not sending:
        ask_to_take_in(upload=upload)


def ask_to_take_in(*, upload: Upload) -> Job | None:
    """Take in what has come of this upload's card, all of it or not; None: nothing has."""
    if not card_of(upload).filter(state=Upload.State.COMPLETE).exists():
        return None
    return enqueue(
        kind="take-in",
        subject=card_of(upload).earliest("created_at", "pk"),
        asked_by=upload.owner,
        priority=TAKE_IN_PRIORITY,
    )


def take_in_card(job: Job, pulse: Callable[..., None]) -> None:
    """The job: what has come of a card becomes recordings. May run twice."""
    first = Upload.objects.select_related("station__clinic__club", "owner").get(
        pk=str(job.subject_id)
    )
    _finish_earlier_try(first)
    complete = card_of(first).filter(state=Upload.State.COMPLETE).order_by("name", "pk")
    outcomes = take_in(
        station=first.station,
        incoming=[Incoming(part_path(row), row.name, row.modified_at, row) for row in complete],
        camera_name=first.camera_name,
        by=first.owner,
        copy=False,
        pulse=pulse,
    )
    for outcome in outcomes:
        _settle(outcome)


def _finish_earlier_try(first: Upload) -> None:
    """An earlier try may have ended after publishing: read back, ask for the index, tidy up."""
    taken = card_of(first).filter(state=Upload.State.TAKEN).select_related("recording")
    recordings = {row.recording_id: row.recording for row in taken if row.recording}
    verify_and_ask(recordings=list(recordings.values()), by=first.owner)
    for row in taken:
        part_path(row).unlink(missing_ok=True)


def _settle(outcome: Outcome) -> None:
    """Write down what became of an upload; its part file is not needed any more."""
    upload = outcome.incoming.upload
    if upload is None:
        return
    refused = outcome.state == "refused"
    Upload.objects.filter(pk=upload.pk).update(
        state=Upload.State.REFUSED if refused else Upload.State.TAKEN,
        recording=outcome.recording,
        reason=outcome.reason,
        sha256=outcome.sha256,
    )
    part_path(upload).unlink(missing_ok=True)
