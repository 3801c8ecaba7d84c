"""The questions that the fence asks of a row, each answered by an index. What is made of them,
and so who sees what, stands in clinics/privacy.py. `…_id` arguments are paths from the row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from clinics.privacy_once import now, today
from portal.models import Hold, Membership, PersonRequest

if TYPE_CHECKING:
    from portal.models import User

FILM_AND_REVIEW = "film-and-review"
SHOW_TO_GROUP = "show-to-group"
COUNT_AMONG_GROUP = "count-among-group"  # of measures; no footage is shown by it
COACH_EDUCATION = "coach-education"
PUBLISH = "publish"
NOBODY_ELSE = ""  # in the place of a purpose: nobody else may be recognised, whoever agrees
Rows = QuerySet[Any]


@dataclass(frozen=True)
class At:
    """Where a row's swim and clip are from it, as beginnings of paths. One query that goes along
    them, instead of one within another, since each has a price, in Python too."""

    swim: str
    clip: str | None = None


OF_SWIM, OF_CLIP, OF_FILE = At(""), At("swim__", ""), At("clip__swim__", "clip__")


def rows_of(model: str) -> Rows:
    return apps.get_model("clinics", model).objects.all()


def signed_in(user: User | Any) -> bool:
    return bool(user is not None and user.is_authenticated and user.is_active)


# --- what the viewer is -------------------------------------------------------------------------


def works_for(user: User, club_id: str, *roles: str) -> Exists:
    """The user has one of the roles in the club, today."""
    current = Membership.objects.current(today())
    return Exists(current.filter(user_id=user.pk, role__in=roles, club_id=OuterRef(club_id)))


def coaches(user: User, clinic: str) -> Exists:
    """The user is coach of the club today, and was on the day of the clinic: somebody who
    joins a club later does not see what was filmed before. `clinic` is a path, "" the row."""
    at = f"{clinic}__" if clinic else ""
    day = OuterRef(f"{at}date")
    on_that_day = Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))
    here = Membership.objects.current(today()).filter(
        on_that_day, user_id=user.pk, role="coach", club_id=OuterRef(f"{at}club_id")
    )
    return Exists(here)


def coaches_somewhere(user: User) -> Exists:
    return Exists(Membership.objects.current(today()).filter(user_id=user.pk, role="coach"))


def has_duty(user: User, clinic_id: str, kind: str | None = None) -> Exists:
    """The user has a duty at the clinic and still works for its club today."""
    works = Membership.objects.current(today()).filter(
        user_id=user.pk, club_id=OuterRef("clinic__club_id")
    )
    this_kind = Q(kind=kind) if kind else Q()
    duties = rows_of("Duty").filter(
        Exists(works), this_kind, user_id=user.pk, clinic_id=OuterRef(clinic_id)
    )
    return Exists(duties)


def swims_in(user: User, clinic_id: str) -> Q:
    """The user is one of the clinic's swimmers."""
    entered = rows_of("Entry").filter(swimmer__user_id=user.pk)
    return Q(**{f"{clinic_id}__in": entered.values("clinic_id")})


# --- what people agreed to ------------------------------------------------------------------------


def agreed(swimmer_id: str, purpose: str) -> Q:
    given = rows_of("Consent").filter(
        swimmer_id=OuterRef(swimmer_id), ended_at__isnull=True, purpose=purpose
    )
    return Q(Exists(given))


def agrees(swimmer_id: str) -> Q:
    """The swimmer agrees to be filmed, and has not asked to be erased."""
    erasing = PersonRequest.objects.filter(
        kind=PersonRequest.Kind.ERASE,
        state__in=[PersonRequest.State.WAITING, PersonRequest.State.RUNNING],
        subject_kind="clinics.Swimmer",
        subject_id=OuterRef(swimmer_id),
    )
    return agreed(swimmer_id, FILM_AND_REVIEW) & ~Q(Exists(erasing))


def _is_against(purpose: str) -> Q:
    """Of a row with a `swimmer_id`."""
    if purpose == NOBODY_ELSE:
        return Q()
    film = purpose == FILM_AND_REVIEW
    return ~(agrees("swimmer_id") if film else agreed("swimmer_id", purpose))


def nobody_is_against(at: At, purpose: str) -> Q:
    """Everybody else who can be recognised agrees to this. Of a swim: who was recorded
    for it, unless a clip covers them. Of a clip also: who was tagged in its recording over a
    span that the clip reaches into; and only what this very clip covers counts."""
    against = _is_against(purpose)
    its_clip = Q(clip__swim_id=OuterRef("swim_id"))
    if at.clip is not None:
        its_clip = Q(clip_id=OuterRef(OuterRef(f"{at.clip}pk")))
    covered = rows_of("ClipMask").filter(
        its_clip, covers_id=OuterRef("swimmer_id"), made_at__lt=F("clip__rendered_at")
    )
    recorded = rows_of("Recognised").filter(
        against, ~Exists(covered), swim_id=OuterRef(f"{at.swim}pk")
    )
    if at.clip is None:
        return ~Q(Exists(recorded))
    tagged = rows_of("InPicture").filter(
        against,
        ~Exists(covered),
        ~Q(swimmer_id=OuterRef(f"{at.swim}entry__swimmer_id")),
        recording_id=OuterRef(f"{at.clip}recording_id"),
        from_ticks__lt=OuterRef(f"{at.clip}out_ticks"),
        to_ticks__gt=OuterRef(f"{at.clip}in_ticks"),
    )
    return ~Q(Exists(recorded)) & ~Q(Exists(tagged))


# --- what puts a row away -----------------------------------------------------------------------


def _holds(paths: dict[str, str]) -> list[Exists]:
    """One question per kind, so that the index of holds answers each."""
    return [
        Exists(
            Hold.objects.filter(
                ended_at__isnull=True,
                subject_kind="portal.StoredFile" if model == "StoredFile" else f"clinics.{model}",
                subject_id=OuterRef(path),
            )
        )
        for model, path in paths.items()
    ]


def held_by_part(**paths: str) -> Q:
    """There is an open hold on the row or on what it is part of: `Clip="pk", Swim="swim_id"`."""
    held = Q(pk__in=[])
    for hold in _holds(paths):
        held |= Q(hold)
    return held


def not_held(**paths: str) -> Q:
    """As `~held_by_part`, but each by itself: a database can join “none of these” one by one,
    and knows how few that leaves out."""
    free = Q()
    for hold in _holds(paths):
        free &= ~Q(hold)
    return free


def due(path: str = "") -> Q:
    return Q(
        **{f"{path}delete_by__isnull": False, f"{path}delete_by__lte": now()},
    )


def minor_reported(clip: str) -> Q:
    """Somebody says that a minor is in the clip, and two people have not found otherwise."""
    open_or_true = Q(resolved_at__isnull=True) | Q(outcome="deleted")
    reports = rows_of("MinorReport").filter(open_or_true, clip_id=OuterRef(f"{clip}pk"))
    return Q(Exists(reports))


def minor_not_yet_covered(clip: str) -> Q:
    """Two people found that it is to be covered, and no cover was made and rendered since."""
    made = rows_of("ClipMask").filter(
        clip_id=OuterRef("clip_id"),
        made_at__gt=OuterRef("reported_at"),
        made_at__lt=F("clip__rendered_at"),
    )
    reports = rows_of("MinorReport").filter(
        ~Exists(made), clip_id=OuterRef(f"{clip}pk"), outcome="covered"
    )
    return Q(Exists(reports))
