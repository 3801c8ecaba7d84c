"""What the bring-in page says of stations, cards and files: how far each is, in words."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Clinic, Recording, SourceFile, Station, Upload
from portal.models import Job, User


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


def lines_of(clinic: Clinic, user: User) -> list[StationLine]:
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


def is_busy(lines: list[StationLine]) -> bool:
    tones = [file.tone for line in lines for card in line.cards for file in card.files]
    tones += [told.tone for line in lines for _row, told in line.recordings]
    return "busy" in tones
