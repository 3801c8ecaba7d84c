"""Bringing in: from files to recordings that are ready to be cut.

One path for uploads and for files on disk: checksum, "is it here already?", probe in the
sandbox, files that the camera split joined to one recording, the stored copy read back and
compared. Reading what is in them is the next step (index.py), a job of its own.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
import re
import shutil
import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.index import ask_for_index, fail, limits
from clinics.media.checksum import sha256_file
from clinics.media.errors import MediaError, SandboxMissing
from clinics.media.facts import FileFacts
from clinics.media.probe import probe
from clinics.media.take import continues, order_split_files
from clinics.models import Camera, Clinic, Recording, SourceFile, Station, Upload
from portal.actions import audit, files
from portal.actions.jobs import JobFailed, published_with_job
from portal.models import StoredFile

if TYPE_CHECKING:
    from portal.models import Club, User

COPY_CHUNK_BYTES = 4 << 20
NAME_CHARS = 300
TAKE_IN_PRIORITY = 10  # before any clip: somebody waits for "the card is safely in"
OLDEST_BELIEVABLE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)  # cameras without a clock say 1904
Pulse = Callable[..., None]


class NoRoom(Exception):
    """The club's quota or the disk's reserve would be used up; the sentence is for a person."""


@dataclass(frozen=True)
class Incoming:
    """One file on its way in; `name` is what its owner calls it and is only ever shown."""

    path: Path
    name: str
    modified_at: dt.datetime | None = None
    upload: Upload | None = None


@dataclass(frozen=True)
class Outcome:
    """What became of one incoming file: `taken`, `already` (here) or `refused`."""

    incoming: Incoming
    state: str
    reason: str = ""
    recording: Recording | None = None
    sha256: str = ""


@dataclass(frozen=True)
class _Staged:
    """A file in our own work folder that passed the probe."""

    incoming: Incoming
    path: Path
    sha256: str
    facts: FileFacts


# --- room ------------------------------------------------------------------------------------


def check_room(*, club: Club, more_bytes: int, on_disk_bytes: int | None = None) -> None:
    """Raise NoRoom unless the club's quota takes `more_bytes` and the disk `on_disk_bytes`
    (the same unless said) beyond its reserve (trust 14)."""
    kept = StoredFile.objects.filter(club=club, state=StoredFile.State.READY)
    sending = Upload.objects.filter(
        station__clinic__club=club, state__in=[Upload.State.OPEN, Upload.State.COMPLETE]
    )
    used = sum(rows.aggregate(sum=Sum("size_bytes"))["sum"] or 0 for rows in (kept, sending))
    if used + more_bytes > settings.CLUB_QUOTA_BYTES:
        raise NoRoom(
            _("The club's space for recordings is used up. Ask an admin to make room, then go on.")
        )
    needed = more_bytes if on_disk_bytes is None else on_disk_bytes
    free = shutil.disk_usage(_existing(Path(settings.UPLOADS_DIR))).free
    if free - needed < settings.FREE_SPACE_RESERVE_BYTES:
        raise NoRoom(_("The server's disk is nearly full. Ask an admin to make room, then go on."))


def _existing(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder


# --- taking in -------------------------------------------------------------------------------


def take_in_files(
    *,
    station: Station,
    paths_with_names: Iterable[tuple[Path, str]],
    camera_name: str,
    by: User | None,
    copy: bool = True,
) -> list[Recording]:
    """Take in files from disk; the recordings they are in now, in the order of their camera.

    Raises BadInput naming each refused file; the others are in all the same.
    """
    incoming = [
        Incoming(path=Path(path), name=name, modified_at=modified_at(Path(path)))
        for path, name in paths_with_names
    ]
    outcomes = take_in(
        station=station, incoming=incoming, camera_name=camera_name, by=by, copy=copy
    )
    refused = [(item.incoming.name, item.reason) for item in outcomes if item.state == "refused"]
    if refused:
        raise BadInput(refused)
    found = {item.recording.pk for item in outcomes if item.recording is not None}
    return list(Recording.objects.filter(pk__in=found).order_by("camera__name", "order"))


def take_in(
    *,
    station: Station,
    incoming: Sequence[Incoming],
    camera_name: str,
    by: User | None,
    copy: bool,
    pulse: Pulse | None = None,
) -> list[Outcome]:
    """Take in the files of one card. One refused file does not keep the others out.

    With `copy` the files stay where they are (a camera's card); else each is linked into
    place, so that the caller may remove its own name for it once this has returned.
    """
    report = pulse or (lambda *_: None)
    outcomes: dict[int, Outcome] = {}
    staged: list[_Staged] = []
    with files.work_dir("take-in") as folder:
        for number, item in enumerate(incoming):
            share = (number / len(incoming) / 2, 0.5 / len(incoming))
            found = _examine(station, item, folder, copy, _part_of(report, *share))
            if isinstance(found, Outcome):
                outcomes[id(item)] = found
            else:
                staged.append(found)
        camera = _camera(station, camera_name) if staged else None
        for group in order_split_files([(one.incoming.name, one.facts) for one in staged]):
            parts = [staged[index] for index in group]
            assert camera is not None
            for outcome in _keep(station, camera, parts, by):
                outcomes[id(outcome.incoming)] = outcome
    result = [outcomes[id(item)] for item in incoming]
    recordings = list({one.recording.pk: one.recording for one in result if one.recording}.values())
    wrong = verify_and_ask(recordings=recordings, by=by, report=_part_of(report, 0.5, 0.5))
    return [
        replace(one, state="refused", reason=wrong[one.recording.pk])
        if one.recording and one.recording.pk in wrong
        else one
        for one in result
    ]


def _part_of(report: Pulse, begin: float, span: float) -> Callable[[float], None]:
    return lambda progress: report(begin + span * min(progress, 1.0))


def modified_at(path: Path) -> dt.datetime | None:
    with contextlib.suppress(OSError):
        return dt.datetime.fromtimestamp(path.stat().st_mtime, tz=dt.UTC)
    return None


def _examine(
    station: Station, item: Incoming, folder: Path, copy: bool, report: Callable[[float], None]
) -> _Staged | Outcome:
    """Checksum, then "here already?", then the probe; refusals are outcomes, not errors."""
    staged = folder / str(uuid.uuid4())
    try:
        if item.path.stat().st_size == 0:
            return Outcome(item, "refused", _("The file is empty: copy it from the card again."))
        if copy:
            check_room(club=station.clinic.club, more_bytes=item.path.stat().st_size)
            sha256 = _copy(item.path, staged, report)
        else:
            os.link(item.path, staged)
            sha256 = sha256_file(staged, report)
    except NoRoom as full:
        return Outcome(item, "refused", str(full))
    except OSError as problem:
        return Outcome(item, "refused", _unreadable(problem))
    expected = item.upload.sha256_expected if item.upload is not None else ""
    if expected and expected != sha256:
        return Outcome(
            item,
            "refused",
            _("What arrived is not what was sent: its checksum differs. Send the file again."),
        )
    known = _here_already(station.clinic, sha256)
    if known is not None:
        return Outcome(item, "already", _already(known), known.recording, sha256)
    try:
        facts = probe(
            staged,
            shown_name=item.name,
            limits=limits(),
            require_sandbox=settings.REQUIRE_SANDBOX,
        )
    except SandboxMissing as missing:
        raise JobFailed(missing.message) from missing  # not the file's fault
    except MediaError as refusal:
        return Outcome(item, "refused", refusal.message)
    return _Staged(incoming=item, path=staged, sha256=sha256, facts=facts)


def _unreadable(problem: OSError) -> str:
    why = os.strerror(problem.errno) if problem.errno else str(problem)
    return _("The file could not be read: %(why)s.") % {"why": why}


def _copy(source: Path, target: Path, report: Callable[[float], None]) -> str:
    """Copy and checksum in one reading; on disk when this returns."""
    digest, done = hashlib.sha256(), 0
    with source.open("rb") as reading, target.open("xb") as writing:
        total = max(os.fstat(reading.fileno()).st_size, 1)
        while chunk := reading.read(COPY_CHUNK_BYTES):
            writing.write(chunk)
            digest.update(chunk)
            done += len(chunk)
            report(done / total)
        writing.flush()
        os.fsync(writing.fileno())
    return digest.hexdigest()


def _here_already(clinic: Clinic, sha256: str) -> SourceFile | None:
    same = SourceFile.objects.filter(
        sha256=sha256, recording__station__clinic=clinic, stored__state=StoredFile.State.READY
    )
    return same.select_related("recording__station").first()


def _already(known: SourceFile) -> str:
    where = {"name": known.name, "station": known.recording.station.name}
    return _("The same file is here already, as %(name)s at %(station)s.") % where


def _camera(station: Station, name: str) -> Camera:
    """The camera by its name; without one, the station's first camera."""
    wanted = name.strip()[:80]
    if not wanted:
        first = station.cameras.order_by("name").first()
        if first is not None:
            return first
    return Camera.objects.get_or_create(station=station, name=wanted or _("Camera 1"))[0]


def _keep(station: Station, camera: Camera, parts: list[_Staged], by: User | None) -> list[Outcome]:
    """Publish the files of one recording and write its rows: all of it, or nothing."""
    with published_with_job():
        Clinic.objects.select_for_update().get(pk=station.clinic_id)  # one card at a time
        outcomes: list[Outcome] = []
        fresh: list[_Staged] = []
        for part in parts:
            known = _here_already(station.clinic, part.sha256)
            if known is None and part.sha256 not in {one.sha256 for one in fresh}:
                fresh.append(part)
            else:
                reason = _already(known) if known else _("The same file is in this card twice.")
                where = None if known is None else known.recording
                outcomes.append(Outcome(part.incoming, "already", reason, where, part.sha256))
        if not fresh:
            return outcomes
        recording = _continued_by(camera, fresh[0]) or _new_recording(station, camera, fresh, by)
        last = recording.files.aggregate(last=Max("order"))["last"] or 0
        for number, part in enumerate(fresh, start=last + 1):
            _add_file(recording, number, part)
            _mark_taken(part.incoming.upload, recording, part.sha256)
            outcomes.append(Outcome(part.incoming, "taken", "", recording, part.sha256))
        _put_in_order(camera)
        audit.record(
            action="recording.continue" if last else "recording.bring-in",
            by=by,
            subject=recording,
            club=station.clinic.club,
            detail={"files": len(fresh), "station": str(station.pk)},
        )
    return outcomes


def _continued_by(camera: Camera, part: _Staged) -> Recording | None:
    """The recording that this file goes on with, if the camera's earlier card ended in it.

    Only at its end: put before its beginning, a file would move media_s = 0 under what people
    have placed. Such a file stays a recording of its own.
    """
    for recording in camera.recordings.exclude(state=Recording.State.FAILED):
        last = recording.files.select_related("stored").last()
        if last is None or not last.facts or last.stored.state != StoredFile.State.READY:
            continue
        goes_on = continues(
            FileFacts.from_dict(last.facts),
            part.facts,
            previous_name=last.name,
            following_name=part.incoming.name,
        )
        if goes_on:
            Recording.objects.filter(pk=recording.pk).update(state=Recording.State.WAITING)
            recording.state = Recording.State.WAITING
            return recording
    return None


def _new_recording(
    station: Station, camera: Camera, parts: list[_Staged], by: User | None
) -> Recording:
    last = camera.recordings.aggregate(last=Max("order"))["last"] or 0
    return Recording.objects.create(
        station=station,
        camera=camera,
        order=last + 1,
        file_date=_began_at(parts, station.clinic),
        has_sound=parts[0].facts.has_audio,
        width=parts[0].facts.width,
        height=parts[0].facts.height,
        brought_in_by=by,
    )


def _began_at(parts: list[_Staged], clinic: Clinic) -> dt.datetime | None:
    """When the take began, as its files say: written in the file, or from the file's date,
    which is when the camera closed it."""
    first = parts[0]
    with contextlib.suppress(ValueError):
        said = dt.datetime.fromisoformat((first.facts.created_at or "").replace("Z", "+00:00"))
        said = said if said.tzinfo else said.replace(tzinfo=clinic.zone)
        if said > OLDEST_BELIEVABLE:
            return said
    closed = first.incoming.modified_at
    return closed - dt.timedelta(seconds=first.facts.duration_s) if closed else None


def _add_file(recording: Recording, number: int, part: _Staged) -> None:
    stored = files.publish(
        temporary=part.path,
        area="originals",
        kind="original",
        club=recording.station.clinic.club,
        keeping_rule="originals",
        content_type="application/octet-stream",
        suffix=f".{part.facts.container}",
        sha256=part.sha256,
        size_bytes=part.facts.size_bytes,
    )
    SourceFile.objects.create(
        recording=recording,
        order=number,
        name=part.incoming.name[:NAME_CHARS],
        sha256=part.sha256,
        size_bytes=part.facts.size_bytes,
        stored=stored,
        facts=part.facts.to_dict(),
    )


def _mark_taken(upload: Upload | None, recording: Recording, sha256: str) -> None:
    if upload is not None:
        Upload.objects.filter(pk=upload.pk).update(
            state=Upload.State.TAKEN, recording=recording, sha256=sha256
        )


def _put_in_order(camera: Camera) -> None:
    """Number the camera's recordings by date if all have one of their own, else by name."""
    rows = list(camera.recordings.prefetch_related("files"))
    dates = {row.file_date for row in rows}
    if None not in dates and len(dates) == len(rows):
        rows.sort(key=lambda row: row.file_date or OLDEST_BELIEVABLE)
    else:
        rows.sort(key=lambda row: _natural(row.files.all()[0].name if row.files.all() else ""))
    if [row.order for row in rows] == list(range(1, len(rows) + 1)):
        return
    beyond = max(row.order for row in rows) + len(rows)
    for first in (beyond + 1, 1):  # twice, since no two may have the same number in between
        for number, row in enumerate(rows, start=first):
            Recording.objects.filter(pk=row.pk).update(order=number)


def _natural(name: str) -> list[tuple[int, str]]:
    """CLIP9 before CLIP10."""
    return [
        (int(part), "") if part.isdecimal() else (-1, part)
        for part in re.split(r"(\d+)", name.casefold())
    ]


# --- the stored copy, read back ----------------------------------------------------------------


def verify_and_ask(
    *,
    recordings: Sequence[Recording],
    by: User | None,
    report: Callable[[float], None] = lambda _: None,
) -> dict[uuid.UUID, str]:
    """Read each stored copy back that was not yet; then ask for the index of what is not ready.

    The recordings whose copy is not what arrived, with the sentence that says so.
    """
    unread = SourceFile.objects.filter(recording__in=recordings, verified_at__isnull=True)
    rows = list(unread.select_related("stored").order_by("recording_id", "order"))
    total, done = sum(row.size_bytes for row in rows) or 1, 0
    wrong: dict[uuid.UUID, list[str]] = {}
    for row in rows:
        part = _part_of(report, done / total, row.size_bytes / total)
        if not _reads_back(row, part):
            wrong.setdefault(row.recording_id, []).append(row.name)
        done += row.size_bytes
    reasons = {pk: _unlike_the_card(names) for pk, names in wrong.items()}
    for recording in recordings:
        if recording.pk in reasons:
            fail(recording, reasons[recording.pk])
        else:
            ask_for_index(recording, by)
    return reasons


def _reads_back(row: SourceFile, report: Callable[[float], None]) -> bool:
    """Whether the stored copy, read from the disk and not from memory, has its checksum."""
    path = row.stored.local_path()
    with path.open("rb") as handle:
        os.fsync(handle.fileno())
        os.posix_fadvise(handle.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    if sha256_file(path, report) != row.sha256:
        return False
    SourceFile.objects.filter(pk=row.pk).update(verified_at=timezone.now())
    return True


def _unlike_the_card(names: list[str]) -> str:
    return _(
        "The stored copy of %(names)s does not read back as it arrived. Keep the card, tell "
        "whoever runs the server that its disk may be failing."
    ) % {"names": ", ".join(names)}
