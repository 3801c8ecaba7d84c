"""Erasing a person at a club: asked for, hidden at once, done on its day, checked.

The registered steps say what there is and delete it, in order; each may run twice, so that a
worker that dies in between harms nothing. When all have run, every file is looked for on the
disk again and every step must find nothing any more. Only then is it done, and certified: by
opaque ids and counts, without name or address.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.actions import audit, files, ledger
from portal.actions.erase_mail import write_to_who_wants_it
from portal.actions.job_runs import JobFailed
from portal.actions.jobs import OPEN, enqueue
from portal.actions.overwrite import empty_the_journal, overwrite_what_is_deleted
from portal.actions.requests import NotPossible, make_request, person_of
from portal.models import Job, PersonRequest, StoredFile, User
from portal.registry import Found, Person, PersonSource, PersonStep, erasure_steps, person_sources

JOB_KIND = "erase-person"
SCHEMA = "sidelane/erasure/1"
FILES = gettext_lazy("files: pictures, films, sound, papers")
BATCH = 20
TRY_AGAIN = dt.timedelta(hours=1)
State = PersonRequest.State


def steps() -> list[PersonStep]:
    return sorted(erasure_steps.all(), key=lambda step: step.order)


def _source(person: Person) -> PersonSource:
    return person_sources.get(person.kind)


# --- beforehand ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Goes:
    """One line of the list of what will go, or of what stays."""

    label: Any
    count: int


def what_goes(person: Person) -> tuple[list[Goes], list[Goes]]:
    """What erasing this person deletes, and what it cannot; counted now. The last line of the
    first list are the files."""
    goes: list[Goes] = []
    stays: list[Goes] = []
    count = 0
    for step in steps():
        found = _find(step, person)
        goes += [Goes(step.labels.get(sort, sort), n) for sort, n in found.rows.items() if n]
        stays += [Goes(step.labels.get(sort, sort), n) for sort, n in found.kept.items() if n]
        count += len(found.files)
    return [*goes, *([Goes(FILES, count)] if count else [])], stays


def cooling_of(person: Person) -> dt.timedelta:
    return _source(person).cooling(person.club)


@transaction.atomic
def ask_to_erase(*, person: Person, by: User, words: str = "") -> PersonRequest:
    """From now on nobody else sees anything of this person (the fence asks for open requests);
    on its day a job deletes it."""
    begun_at = timezone.now()
    row = make_request(
        kind=PersonRequest.Kind.ERASE,
        club=person.club,
        user=person.user,
        by=by,
        subject_kind=person.kind,
        subject_id=person.id,
        words=words,
        state=State.WAITING,
        act_at=timezone.now() + cooling_of(person),
    )
    if row.made_at >= begun_at:
        ledger.note_withdrawn(person.kind, person.id, ledger.WANTS_ERASURE)
    if row.user is not None and row.made_at >= begun_at:
        write_to_who_wants_it(row)
    return row


def note_for(
    *, by: User, kind: str, subject_kind: str, subject_id: uuid.UUID, words: str
) -> PersonRequest:
    """An admin notes what somebody wished by letter or word of mouth."""
    person = person_of(subject_kind, subject_id)
    if person is None:
        raise NotPossible(_("There is no such person any more."))
    if kind == PersonRequest.Kind.ERASE:
        return ask_to_erase(person=person, by=by, words=words)
    return make_request(
        kind=kind,
        club=person.club,
        user=person.user,
        by=by,
        subject_kind=subject_kind,
        subject_id=subject_id,
        words=words,
    )


def ask_due() -> int:
    """A step of the sweep: erasures whose day has come, and those whose job gave up an hour ago."""
    rows = PersonRequest.objects.filter(kind=PersonRequest.Kind.ERASE, act_at__lte=timezone.now())
    jobs = Job.objects.filter(kind=JOB_KIND, subject_id=OuterRef("pk"))
    busy = Q(state__in=OPEN) | Q(finished_at__gt=timezone.now() - TRY_AGAIN)
    waiting = Q(state=State.WAITING) | Q(state=State.RUNNING)
    due = list(rows.filter(waiting, ~Exists(jobs.filter(busy)))[:BATCH])
    for row in due:
        enqueue(kind=JOB_KIND, subject=row)
    return len(due)


# --- on the day ----------------------------------------------------------------------------------


def run_erase(job: Job, pulse: Callable[..., None]) -> None:
    """The job of kind "erase-person". What is held is not deleted: it is tried again later."""
    rows = PersonRequest.objects.filter(pk__in=[job.subject_id], kind=PersonRequest.Kind.ERASE)
    row = rows.filter(state__in=[State.WAITING, State.RUNNING]).select_related("club", "user")
    request = row.first()
    if request is None or not _may_begin(request):
        return
    overwrite_what_is_deleted()
    person = _person(request)
    _begin(request, person)
    for number, step in enumerate(steps(), start=1):
        pulse(number / (len(steps()) + 1))
        step.run(person)
    _finish(request, person)
    empty_the_journal()


def _may_begin(request: PersonRequest) -> bool:
    if request.act_at is None or request.act_at > timezone.now():
        return False
    person = person_of(request.subject_kind, request.subject_id)
    return person is None or not _source(person).is_held(person)


def _person(request: PersonRequest) -> Person:
    """As found; or, when an attempt before this one got that far, what the request knows."""
    found = person_of(request.subject_kind, request.subject_id)
    user = request.user
    if found is None:
        kind, pk = request.subject_kind, request.subject_id
        return Person(kind, pk, request.club, user=user)
    return Person(found.kind, found.id, found.club, found.name, found.emails, found.user or user)


@transaction.atomic
def _begin(request: PersonRequest, person: Person) -> None:
    """Once: write down what there is, for the check at the end. From here there is no way back."""
    waiting = PersonRequest.objects.filter(pk=request.pk, state=State.WAITING)
    plan: dict[str, Any] = {"rows": {}, "kept": {}, "files": []}
    for step in steps():
        found = _find(step, person)
        plan["rows"] |= {sort: n for sort, n in found.rows.items() if n}
        plan["kept"] |= {sort: n for sort, n in found.kept.items() if n}
        plan["files"] += [_told(file) for file in found.files]
    plan |= {"schema": SCHEMA, "begun_at": timezone.now().isoformat()}
    if waiting.update(state=State.RUNNING, certificate=plan):
        request.certificate = plan
        audit.record(action="erase.begin", by=request.user, subject=request, club=request.club)


def _find(step: PersonStep, person: Person) -> Found:
    return step.find(person) if step.find is not None else Found()


def _told(file: StoredFile) -> dict[str, Any]:
    told = {"id": str(file.pk), "kind": file.kind, "area": file.area, "name": file.name}
    return told | {"bytes": file.size_bytes}


# --- afterwards ----------------------------------------------------------------------------------


def _finish(request: PersonRequest, person: Person) -> None:
    """Look at every file and ask every step again; only then is it done."""
    left = [step.name for step in steps() if _is_left(_find(step, person))]
    plan = request.certificate
    looked = [{**file, "gone": _is_gone(file)} for file in plan["files"]]
    if left or not all(file["gone"] for file in looked):
        there = [file["id"] for file in looked if not file["gone"]]
        raise JobFailed(f"Not all is gone. Steps: {', '.join(left)}. Files: {', '.join(there)}.")
    now = timezone.now()
    with transaction.atomic():
        told = [{key: file[key] for key in ("id", "kind", "bytes", "gone")} for file in looked]
        certificate = {**plan, "files": told, "checked_at": now.isoformat()}
        rows = PersonRequest.objects.filter(pk=request.pk, state=State.RUNNING)
        done = {"state": State.DONE, "answered_at": now, "certificate": certificate}
        if rows.update(**done, words="", answer=""):
            ledger.note_deleted(person.kind, person.id)
            detail = {"files": len(looked), "rows": sum(plan["rows"].values())}
            audit.record(
                action="erase.done", by=None, subject=request, club=request.club, detail=detail
            )


def _is_left(found: Found) -> bool:
    return bool(found.files) or any(found.rows.values())


def _is_gone(file: dict[str, Any]) -> bool:
    path = files.area_root(file["area"]) / file["name"]
    return not path.exists() and not StoredFile.objects.filter(pk=file["id"]).exists()


def erase_failed(job: Job) -> None:
    """It stays "being done", so nothing is shown again; the admins see it past its day."""
    audit.record(action="erase.failed", by=None, detail={"request": str(job.subject_id)})
