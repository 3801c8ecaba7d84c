"""What My data shows: per club what can be done, and what was asked."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from clinics.actions.keeping_dates import kept_of, with_clips
from clinics.actions.keeping_rules import rules_of_clubs
from clinics.actions.keeping_why import why_in_words
from clinics.models import Swim
from portal.actions import export
from portal.models import Job, PersonRequest
from portal.registry import Person

Kind, State = PersonRequest.Kind, PersonRequest.State


@dataclass(frozen=True)
class Place:
    """One club in whose footage somebody is."""

    person: Person
    swimmer: str
    job: Job | None  # it makes the export
    ready: PersonRequest | None  # the export that waits to be fetched
    erasure: PersonRequest | None  # open


@dataclass(frozen=True)
class KeptSwim:
    """Until when a swim's first clip is kept, and why; without clips, until when its words are."""

    swim: Swim
    clip_count: int
    until: dt.datetime
    why: str


def swims_told(swims: QuerySet[Swim]) -> list[KeptSwim]:
    """Newest first. A handful of queries, however many."""
    rows = list(with_clips(swims).select_related("entry__swimmer").order_by("-start_at"))
    kept = kept_of(rows)
    rules = rules_of_clubs(swim.entry.clinic.club_id for swim in rows)
    told = []
    for swim in rows:
        goes = kept[swim.pk].first_clip or kept[swim.pk].swim
        why = why_in_words(goes.why, rules(swim.entry.clinic.club_id))
        told.append(KeptSwim(swim, len(swim.clips.all()), goes.at, why))
    return told


def told_of(persons: list[Person], requests: list[PersonRequest]) -> dict[str, Any]:
    """`requests` are the user's, with their files. One query for the jobs, however many."""
    jobs = _jobs(requests)
    return {
        "mine": [_place(person, requests, jobs) for person in persons],
        "requests": sorted(requests, key=lambda row: row.made_at, reverse=True),
        "can_take_back": {row.pk for row in requests if _can_take_back(row)},
    }


def _jobs(requests: list[PersonRequest]) -> dict[Any, Job]:
    making = [r.pk for r in requests if r.kind == Kind.TAKE_ALONG and r.state == State.RUNNING]
    jobs = Job.objects.filter(kind=export.JOB_KIND, subject_id__in=making) if making else ()
    return {job.subject_id: job for job in jobs}


def _place(person: Person, requests: list[PersonRequest], jobs: dict[Any, Job]) -> Place:
    mine = [row for row in requests if row.subject_id == person.id]
    return Place(
        person=person,
        swimmer=person.name,
        job=next((jobs[row.pk] for row in mine if row.pk in jobs), None),
        ready=next((row for row in mine if _is_ready(row)), None),
        erasure=next((row for row in mine if row.kind == Kind.ERASE and _is_open(row)), None),
    )


def _is_open(row: PersonRequest) -> bool:
    return row.state in PersonRequest.OPEN_STATES


def _is_ready(row: PersonRequest) -> bool:
    stored = row.stored
    waits = row.kind == Kind.TAKE_ALONG and row.state == State.DONE and row.fetched_at is None
    there = stored is not None and stored.state == "ready"
    return waits and there and (stored.delete_by or timezone.now()) > timezone.now()  # type: ignore[union-attr]


def _can_take_back(row: PersonRequest) -> bool:
    begun = row.act_at is not None and row.act_at <= timezone.now()
    return row.state in (State.OPEN, State.WAITING) and not begun
