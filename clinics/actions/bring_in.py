"""Bringing in: from files to recordings that are ready to be cut.

One path for uploads and for files on disk: checksum, "is it here already?", probe in the
sandbox, files that the camera split joined to one recording (camera_recordings.py), the stored
copy read back and compared (read_back.py). Reading what is in them is the next step (index.py),
a job of its own.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Max
from django.utils.translation import gettext as _

from clinics.actions.camera_recordings import began_at, camera_of, continued_by, put_in_order
from clinics.actions.errors import BadInput
from clinics.actions.index import limits
from clinics.actions.read_back import part_of, verify_and_ask
from clinics.actions.space import NoRoom, check_room
from clinics.media.checksum import sha256_file
from clinics.media.errors import MediaError, SandboxMissing
from clinics.media.facts import FileFacts
from clinics.media.probe import probe
from clinics.media.take import order_split_files
from clinics.models import Camera, Clinic, Recording, SourceFile, Station, Upload
from portal.actions import audit, files
from portal.actions.job_runs import JobFailed, published_with_job
from portal.models import StoredFile

if TYPE_CHECKING:
    from portal.models import User

COPY_CHUNK_BYTES = 4 << 20
NAME_CHARS = 300
Pulse = Callable[..., None]


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
            found = _examine(station, item, folder, copy, part_of(report, *share))
            if isinstance(found, Outcome):
                outcomes[id(item)] = found
            else:
                staged.append(found)
        camera = camera_of(station, camera_name) if staged else None
        for group in order_split_files([(one.incoming.name, one.facts) for one in staged]):
            parts = [staged[index] for index in group]
            assert camera is not None
            for outcome in _keep(station, camera, parts, by):
                outcomes[id(outcome.incoming)] = outcome
    result = [outcomes[id(item)] for item in incoming]
    recordings = list({one.recording.pk: one.recording for one in result if one.recording}.values())
    wrong = verify_and_ask(recordings=recordings, by=by, report=part_of(report, 0.5, 0.5))
    return [
        replace(one, state="refused", reason=wrong[one.recording.pk])
        if one.recording and one.recording.pk in wrong
        else one
        for one in result
    ]


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
        first = fresh[0]
        recording = continued_by(camera, first.facts, first.incoming.name)
        recording = recording or _new_recording(station, camera, first, by)
        last = recording.files.aggregate(last=Max("order"))["last"] or 0
        for number, part in enumerate(fresh, start=last + 1):
            _add_file(recording, number, part)
            _mark_taken(part.incoming.upload, recording, part.sha256)
            outcomes.append(Outcome(part.incoming, "taken", "", recording, part.sha256))
        put_in_order(camera)
        audit.record(
            action="recording.continue" if last else "recording.bring-in",
            by=by,
            subject=recording,
            club=station.clinic.club,
            detail={"files": len(fresh), "station": str(station.pk)},
        )
    return outcomes


def _new_recording(station: Station, camera: Camera, first: _Staged, by: User | None) -> Recording:
    last = camera.recordings.aggregate(last=Max("order"))["last"] or 0
    return Recording.objects.create(
        station=station,
        camera=camera,
        order=last + 1,
        file_date=began_at(first.facts, first.incoming.modified_at, station.clinic),
        has_sound=first.facts.has_audio,
        width=first.facts.width,
        height=first.facts.height,
        brought_in_by=by,
    )


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
