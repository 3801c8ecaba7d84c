"""The bring-in page: stations as cards, what is on its way, what is in."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import uploads
from clinics.actions.bring_in import NoRoom, check_room
from clinics.models import Clinic, Recording, SourceFile, Station, Upload
from portal.models import Job, User
from portal.requests import SignedInRequest

# --- what the page shows -------------------------------------------------------------------------


@dataclass(frozen=True)
class FileLine:
    """One file of a card in words; `tone` is `good`, `busy`, `look` or `bad`."""

    upload: Upload
    words: str
    tone: str
    percent: int | None = None

    @property
    def can_give_up(self) -> bool:
        return self.upload.state in {Upload.State.OPEN, Upload.State.REFUSED}


@dataclass
class CardLine:
    """Files that came together, and whether the card may be emptied now."""

    first: Upload
    files: list[FileLine] = field(default_factory=list)
    job: Job | None = None
    trouble: str = ""  # why the last try to take it in failed
    given_up: int = 0
    is_safe: bool = False

    def headline(self) -> str:
        refused = sum(line.upload.state == Upload.State.REFUSED for line in self.files)
        if self.is_safe and self.given_up:
            return _("Safely in, each file read back, without the %(n)d that you gave up.") % {
                "n": self.given_up
            }
        if self.is_safe:
            return _("This card is safely in: every file was read back and is as it arrived.")
        if self.job is not None:
            return _("Taking in: keep the card until it says that it is safely in.")
        if refused and not self.waits:
            return ngettext(
                "%(n)d file of this card is not in. Keep the card.",
                "%(n)d files of this card are not in. Keep the card.",
                refused,
            ) % {"n": refused}
        here = sum(line.upload.state != Upload.State.OPEN for line in self.files)
        return _("%(here)d of %(all)d files are here. Keep the card.") % {
            "here": here,
            "all": self.expected,
        }

    @property
    def expected(self) -> int:
        told = max(line.upload.card_files for line in self.files)
        return max(told - self.given_up, len(self.files))

    @property
    def waits(self) -> bool:
        """More is to come; what is here can be taken in without it."""
        return any(line.upload.state == Upload.State.OPEN for line in self.files) or (
            len(self.files) < self.expected
        )

    @property
    def can_take_in_now(self) -> bool:
        """Nothing is under way, and something has come."""
        return self.job is None and any(
            line.upload.state == Upload.State.COMPLETE for line in self.files
        )


@dataclass
class StationLine:
    station: Station
    cards: list[CardLine] = field(default_factory=list)
    recordings: list[tuple[Recording, FileLineOfRecording]] = field(default_factory=list)


@dataclass(frozen=True)
class FileLineOfRecording:
    words: str
    tone: str
    percent: int | None = None


def _recording_line(recording: Recording, jobs: dict[uuid.UUID, Job]) -> FileLineOfRecording:
    job = jobs.get(recording.pk)
    if recording.state == Recording.State.READY:
        return FileLineOfRecording(_("ready"), "good")
    if recording.state == Recording.State.FAILED:
        return FileLineOfRecording(recording.reason or _("could not be read"), "bad")
    if job is not None and job.state == Job.State.RUNNING:
        percent = round(job.progress * 100)
        return FileLineOfRecording(_("read %(n)d %%") % {"n": percent}, "busy", percent)
    return FileLineOfRecording(_("waiting to be read"), "busy")


def _file_line(upload: Upload, card_job: Job | None, jobs: dict[uuid.UUID, Job]) -> FileLine:
    if upload.state == Upload.State.OPEN:
        percent = round(100 * upload.offset_bytes / upload.size_bytes) if upload.size_bytes else 0
        words = _("%(n)d %% sent. Drop the same file again to go on.") % {"n": percent}
        return FileLine(upload, words, "look", percent)
    if upload.state == Upload.State.REFUSED:
        return FileLine(upload, upload.reason, "bad")
    if upload.state == Upload.State.COMPLETE:
        if card_job is not None and card_job.state == Job.State.RUNNING:
            percent = round(card_job.progress * 100)
            return FileLine(upload, _("being taken in"), "busy", percent)
        return FileLine(upload, _("here, waiting to be taken in"), "busy" if card_job else "look")
    if upload.reason:
        return FileLine(upload, _("there already. %(why)s") % {"why": upload.reason}, "good")
    if upload.recording is None:
        return FileLine(upload, _("taken in; its recording is deleted"), "look")
    told = _recording_line(upload.recording, jobs)
    return FileLine(upload, told.words, told.tone, told.percent)


def _lines(clinic: Clinic, user: User) -> list[StationLine]:
    """All stations with this person's cards and the recordings that they may see."""
    mine = Upload.objects.owned_by(user).filter(station__clinic=clinic)
    rows = list(mine.select_related("recording").order_by("name", "pk"))
    recordings = list(
        Recording.objects.handled_by(user)
        .filter(station__clinic=clinic)
        .select_related("camera", "clock_fit")
        .prefetch_related("files")
    )
    jobs = _last_jobs([row.pk for row in rows] + [row.pk for row in recordings])
    jobs |= _last_jobs([row.recording_id for row in rows if row.recording_id])
    verified = set(
        SourceFile.objects.filter(
            recording__station__clinic=clinic, verified_at__isnull=False
        ).values_list("sha256", flat=True)
    )
    stations = clinic.stations.order_by("order").prefetch_related("cameras")
    lines = {station.pk: StationLine(station) for station in stations}
    for card in _cards(rows, jobs, verified):
        lines[card.first.station_id].cards.append(card)
    for recording in recordings:
        line = lines[recording.station_id]
        line.recordings.append((recording, _recording_line(recording, jobs)))
    return list(lines.values())


def _last_jobs(subjects: list[uuid.UUID]) -> dict[uuid.UUID, Job]:
    kinds = ["take-in", "index-recording"]
    jobs = Job.objects.filter(kind__in=kinds, subject_id__in=subjects).order_by("created_at")
    return {job.subject_id: job for job in jobs if job.subject_id}


def _cards(
    rows: list[Upload], jobs: dict[uuid.UUID, Job], verified: set[str]
) -> Iterable[CardLine]:
    groups: dict[tuple[uuid.UUID | None, uuid.UUID], list[Upload]] = {}
    for row in rows:
        groups.setdefault((row.card, row.station_id), []).append(row)
    cards = []
    for group in groups.values():
        shown = [row for row in group if row.state != Upload.State.ENDED]
        if shown:
            cards.append(_card(group, shown, jobs, verified))
    return sorted(cards, key=lambda card: card.first.created_at, reverse=True)


def _card(
    group: list[Upload], shown: list[Upload], jobs: dict[uuid.UUID, Job], verified: set[str]
) -> CardLine:
    last = next((jobs[row.pk] for row in group if row.pk in jobs), None)
    job = last if last and last.state in {Job.State.WAITING, Job.State.RUNNING} else None
    card = CardLine(
        first=min(shown, key=lambda row: row.created_at),
        files=[_file_line(row, job, jobs) for row in shown],
        job=job,
        trouble=last.reason if last and last.state == Job.State.FAILED else "",
        given_up=len(group) - len(shown),
    )
    card.is_safe = (
        job is None
        and not card.waits
        and all(row.state == Upload.State.TAKEN and row.sha256 in verified for row in shown)
    )
    return card


def _busy(lines: list[StationLine]) -> bool:
    tones = [file.tone for line in lines for card in line.cards for file in card.files]
    tones += [told.tone for line in lines for _row, told in line.recordings]
    return "busy" in tones


@require_safe
def bring_in(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The page. Whoever does not work at the clinic finds nothing here."""
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user), pk=pk)
    lines = _lines(clinic, request.user)
    context = {"clinic": clinic, "lines": lines, "busy": _busy(lines)}
    return render(request, "clinics/bring_in.html", context)


@require_safe
def states(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What is on its way and what is in, to be put into the page again."""
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user), pk=pk)
    lines = _lines(clinic, request.user)
    context = {"lines": lines, "busy": _busy(lines)}
    response = render(request, "clinics/bring_in_states.html", context)
    response["Cache-Control"] = "no-store"
    return response


# --- uploads of one station ----------------------------------------------------------------------


def _worked_station(request: SignedInRequest, pk: uuid.UUID) -> Station:
    mine = Clinic.objects.worked_by(request.user)
    stations = Station.objects.select_related("clinic__club").filter(clinic__in=mine.values("pk"))
    return get_object_or_404(stations, pk=pk)


@require_safe
def station_uploads(request: SignedInRequest, pk: uuid.UUID) -> JsonResponse:
    """What this person has sent to the station before: dropped again, it goes on from there."""
    station = _worked_station(request, pk)
    known = Upload.objects.owned_by(request.user).filter(station=station)
    gone = [Upload.State.ENDED, Upload.State.REFUSED]
    rows = [row for row in known.exclude(state__in=gone) if not uploads.is_gone(row)]
    told = [
        {
            "id": str(row.pk),
            "url": reverse("clinics:upload", args=[row.pk]),
            "name": row.name,
            "size": row.size_bytes,
            "modified": round(row.modified_at.timestamp() * 1000) if row.modified_at else None,
            "state": row.state,
            "card": str(row.card),
            "card_files": row.card_files,
        }
        for row in rows
    ]
    return JsonResponse({"uploads": told}, headers={"Cache-Control": "no-store"})


class ReceivedFile(UploadedFile):
    """A file of a plain form, already on the uploads' disk."""

    def __init__(self, path: Path, name: str, size: int) -> None:
        super().__init__(None, name, size=size)
        self.path = path

    def close(self) -> None:
        """Nothing is open."""


class ToUploadsDisk(FileUploadHandler):
    """Writes a form's files straight to where uploads lie, so that none passes through memory
    or through the system's small folder for temporaries."""

    def __init__(self, request: SignedInRequest) -> None:
        super().__init__(request)
        self.paths: list[Path] = []
        self.handle: int | None = None

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.paths.append(Path(settings.UPLOADS_DIR) / f"{uuid.uuid4()}.form")
        self.handle = os.open(self.paths[-1], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        assert self.handle is not None
        try:
            os.write(self.handle, raw_data)
        except OSError as problem:
            if problem.errno not in uploads.FULL:
                raise
            raise StopUpload(connection_reset=True) from problem

    def file_complete(self, file_size: int) -> ReceivedFile:
        assert self.handle is not None
        os.fsync(self.handle)
        os.close(self.handle)
        self.handle = None
        return ReceivedFile(self.paths[-1], str(self.file_name or "file"), file_size)

    def upload_interrupted(self) -> None:
        self.clear()

    def clear(self) -> None:
        """What the form left behind, if it was not taken over."""
        if self.handle is not None:
            os.close(self.handle)
            self.handle = None
        for path in self.paths:
            path.unlink(missing_ok=True)


@csrf_exempt  # only until the station is known: `_take_form` below asks for the token
@require_POST
def upload_form(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A plain form with files, for pages without script. The body is read only after the fence
    was asked and there is room; the token is asked for right after that."""
    station = _worked_station(request, pk)
    back = reverse("clinics:bring-in", args=[station.clinic_id])
    length = request.META.get("CONTENT_LENGTH", "")
    try:
        if not length.isdigit() or int(length) > settings.UPLOAD_MAX_BYTES:
            raise uploads.TooMuch
        check_room(club=station.clinic.club, more_bytes=int(length))
    except uploads.TooMuch:
        messages.error(request, _("The files are larger than may be sent at once."))
        return redirect(back)
    except NoRoom as full:
        messages.error(request, str(full))
        return redirect(back)
    handler = ToUploadsDisk(request)
    request.upload_handlers = [handler]
    try:
        return _take_form(request, station)
    finally:
        handler.clear()


@csrf_protect
def _take_form(request: SignedInRequest, station: Station) -> HttpResponse:
    files = request.FILES.getlist("files")
    received = [(one.path, str(one.name)) for one in files if isinstance(one, ReceivedFile)]
    if received:
        camera = request.POST.get("camera", "").replace("\0", "")
        uploads.take_over(station=station, received=received, camera_name=camera, by=request.user)
        messages.success(request, _("Here. Now it is taken in."))
    else:
        messages.error(request, _("Nothing came: choose a file, then send it again."))
    return redirect(reverse("clinics:bring-in", args=[station.clinic_id]))


def _own_upload(request: SignedInRequest, pk: uuid.UUID) -> Upload:
    mine = Upload.objects.owned_by(request.user).select_related("station__clinic__club")
    clinics = Clinic.objects.worked_by(request.user)
    return get_object_or_404(mine, pk=pk, station__clinic__in=clinics.values("pk"))


@require_POST
def take_in_now(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Take in what has come of a card although more was announced."""
    upload = _own_upload(request, pk)
    uploads.ask_to_take_in(upload=upload)
    return redirect(reverse("clinics:bring-in", args=[upload.station.clinic_id]))


@require_POST
def give_up(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """End an unfinished upload, or put away one that was refused."""
    upload = _own_upload(request, pk)
    uploads.end(upload=upload, by=request.user)
    return redirect(reverse("clinics:bring-in", args=[upload.station.clinic_id]))
