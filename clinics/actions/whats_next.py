"""How far a clinic has come, and what needs doing next, for the person who asks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, OuterRef, Q

from clinics.actions.heard_starts import proposed_count
from clinics.actions.log_swims import starts_away
from clinics.actions.tasks import counts_of
from clinics.models import Clinic, Clip, ClockFit, Consent, Recording, StartLogEntry, Swim
from clinics.privacy import FILM_AND_REVIEW

if TYPE_CHECKING:
    from portal.models import User

NOT_BEGUN, BEGUN, DONE = "not begun", "begun", "done"


@dataclass(frozen=True)
class StationState:
    """A station and what was brought in for it."""

    station: Any
    ready: int
    busy: int
    failed: int


@dataclass
class Standing:
    """Where each step stands. Counts are of this clinic."""

    swimmers: int = 0
    agreed: int = 0
    away: int = 0
    heard: int = 0  # starts that were heard and nobody logged
    gone: int = 0  # entries with a line in the log: away, or did not come
    recordings: int = 0
    busy_recordings: int = 0
    failed_recordings: int = 0
    sure: int = 0
    look: int = 0
    not_found: int = 0
    clips: dict[str, int] = field(default_factory=dict)
    swims: int = 0
    unconfirmed: int = 0
    not_passed: int = 0
    passed: int = 0
    given: int = 0

    @property
    def clip_count(self) -> int:
        return sum(self.clips.values())

    @property
    def made(self) -> int:
        return self.clips.get(Clip.State.READY, 0)

    @property
    def failed_clips(self) -> int:
        return self.clips.get(Clip.State.FAILED, 0)

    @property
    def to_make(self) -> int:
        return self.clip_count - self.made - self.failed_clips

    def states(self) -> dict[str, str]:
        """How far each step is."""
        return {
            "plan": DONE if self.swimmers else NOT_BEGUN,
            "consent": _part(self.agreed, self.swimmers),
            "log": BEGUN if self.heard else _part(self.gone, self.swimmers),
            "bring_in": _part(self.recordings - self.busy_recordings, self.recordings),
            "clocks": _part(self.sure, self.recordings),
            "cut": _part(self.made, self.clip_count),
            "check": _part(self.passed, self.swims),
        }


def _part(done: int, of: int) -> str:
    if of == 0 or done == 0:
        return NOT_BEGUN if done == 0 else DONE
    return DONE if done >= of else BEGUN


def standing_of(clinic: Clinic, user: User) -> dict[str, Any]:
    """The context of the clinic's page; a fixed number of queries whatever its size."""
    may = {
        "run": Clinic.objects.run_by(user).filter(pk=clinic.pk).exists(),
        "work": Clinic.objects.worked_by(user).filter(pk=clinic.pk).exists(),
        "check": Clinic.objects.checked_by(user).filter(pk=clinic.pk).exists(),
        "coach": Clinic.objects.coached_by(user).filter(pk=clinic.pk).exists(),
    }
    standing = _counts(clinic)
    states = standing.states()
    handled = Recording.objects.handled_by(user).filter(station__clinic=clinic)
    unsure = handled.filter(state="ready").exclude(clock_fit__state=ClockFit.State.SURE)
    return {
        "clinic": clinic,
        "may": may,
        "standing": standing,
        "states": states,
        "next": _next(states, may, clinic),
        "waiting_tasks": counts_of(clinic) if may["run"] and clinic.state != "closed" else None,
        "stations": _stations(clinic),
        "unsure": unsure.select_related("station", "camera", "clock_fit")[:12],
    }


def _next(states: dict[str, str], may: dict[str, bool], clinic: Clinic) -> str:
    """The first step that is not done and that this person can do something about."""
    who = {
        "plan": "run",
        "consent": "run",
        "log": "work",
        "bring_in": "work",
        "clocks": "work",
        "cut": "work",
        "check": "check",
    }
    if clinic.state == Clinic.State.CLOSED:
        return ""
    for step, role in who.items():
        if may[role] and states[step] != DONE:
            return step
    return ""


def _counts(clinic: Clinic) -> Standing:
    consents = Consent.objects.filter(
        swimmer_id=OuterRef("swimmer_id"), purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    lines = StartLogEntry.objects.filter(entry_id=OuterRef("pk"), undone_at__isnull=True)
    lines = lines.exclude(outcome=StartLogEntry.Outcome.SKIPPED)
    entries = clinic.entries.aggregate(
        swimmers=Count("pk"),
        agreed=Count("pk", filter=Q(Exists(consents))),
        gone=Count("pk", filter=Q(Exists(lines))),
    )
    recordings = Recording.objects.filter(station__clinic=clinic).aggregate(
        recordings=Count("pk"),
        busy_recordings=Count("pk", filter=Q(state__in=["waiting", "indexing"])),
        failed_recordings=Count("pk", filter=Q(state="failed")),
        sure=Count("pk", filter=Q(clock_fit__state="sure")),
        look=Count("pk", filter=Q(clock_fit__state="look")),
        not_found=Count("pk", filter=Q(clock_fit__state="not-found")),
    )
    swims = Swim.objects.filter(entry__clinic=clinic).aggregate(
        swims=Count("pk"),
        unconfirmed=Count("pk", filter=~Q(person="confirmed")),
        not_passed=Count("pk", filter=Q(passed_at__isnull=True)),
        passed=Count("pk", filter=Q(passed_at__isnull=False)),
        given=Count("pk", filter=Q(given_at__isnull=False)),
    )
    clips = Clip.objects.filter(swim__entry__clinic=clinic).order_by().values("state")
    by_state = {row["state"]: row["n"] for row in clips.annotate(n=Count("pk"))}
    away = starts_away(clinic)
    heard = proposed_count(clinic)
    return Standing(**entries, **recordings, **swims, clips=by_state, away=away, heard=heard)


def _stations(clinic: Clinic) -> list[StationState]:
    rows = clinic.stations.annotate(
        ready=Count("recordings", filter=Q(recordings__state="ready")),
        busy=Count("recordings", filter=Q(recordings__state__in=["waiting", "indexing"])),
        failed=Count("recordings", filter=Q(recordings__state="failed")),
    ).order_by("order", "slug")
    return [StationState(row, row.ready, row.busy, row.failed) for row in rows]
