"""The fence: who sees a clip. Deny by default.

A clip follows its swim. Nobody sees a swim that is held, or due for deletion. Beyond that:

- the checker of the clinic: what is brought in, until the clinic is closed
  (`handled_by`), while the swimmer agrees to `film-and-review`;
- a coach of the clinic (coach of its club then and now): when a checker has confirmed the
  person, recorded who else can be recognised, and passed the swim on; while the swimmer and
  everybody recognised agree to `film-and-review`, and nobody says "this is not me";
- the swimmer: the own swim, when it is given, on the same conditions about the others. After
  withdrawing the consent to be filmed the swimmer alone still sees it, until it is deleted;
- crew: the recordings that they brought in, until the clinic is checked.

Nobody else. Club admins manage consent and keeping without seeing footage. A clip that was
made, or made again, after its swim was passed on waits until a checker passes it on, too:
nobody has looked yet at what it shows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from portal.models import Hold, Membership

if TYPE_CHECKING:
    from portal.models import User

FILM_AND_REVIEW = "film-and-review"
Rows = QuerySet[Any]


def _works_for(user: User, club: str, *roles: str) -> Exists:
    """The user has one of the roles in the club at `club` (a path from the row), today."""
    current = Membership.objects.current().filter(user_id=user.pk, role__in=roles)
    return Exists(current.filter(club_id=OuterRef(club)))


def _coaches(user: User, clinic: str) -> Exists:
    """The user is coach of the club today, and was on the day of the clinic: somebody who
    joins a club later does not see what was filmed before. `clinic` is a path, "" the row."""
    at = f"{clinic}__" if clinic else ""
    coaching = Membership.objects.current().filter(user_id=user.pk, role="coach")
    day = OuterRef(f"{at}date")
    on_that_day = Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))
    return Exists(coaching.filter(on_that_day, club_id=OuterRef(f"{at}club_id")))


def _has_duty(user: User, clinic: str, kind: str | None = None) -> Exists:
    """The user has a duty at the clinic and still works for its club today."""
    duties = apps.get_model("clinics", "Duty").objects.filter(user_id=user.pk)
    duties = duties.filter(kind=kind) if kind else duties
    current = Membership.objects.current().filter(user_id=user.pk)
    duties = duties.filter(Exists(current.filter(club_id=OuterRef("clinic__club_id"))))
    return Exists(duties.filter(clinic_id=OuterRef(clinic)))


def _agrees(swimmer: str) -> Exists:
    consents = apps.get_model("clinics", "Consent").objects.filter(
        purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    return Exists(consents.filter(swimmer_id=OuterRef(swimmer)))


def _somebody_recognised_does_not_agree(swim: str) -> Exists:
    recognised = apps.get_model("clinics", "Recognised").objects.filter(swim_id=OuterRef(swim))
    return Exists(recognised.filter(~_agrees("swimmer_id")))


def _held(**paths: str) -> Q:
    """There is an open hold on the row or on what it is part of: `Clip="pk", Swim="swim_id"`.
    One question per kind, so that the index of holds answers each."""
    open_holds = Hold.objects.filter(ended_at__isnull=True)
    held = Q(pk__in=[])
    for model, path in paths.items():
        label = "portal.StoredFile" if model == "StoredFile" else f"clinics.{model}"
        held |= Q(Exists(open_holds.filter(subject_kind=label, subject_id=OuterRef(path))))
    return held


def _due(path: str = "") -> Q:
    return Q(
        **{f"{path}delete_by__isnull": False, f"{path}delete_by__lte": timezone.now()},
    )


def _signed_in(user: User | Any) -> bool:
    return bool(user is not None and user.is_authenticated and user.is_active)


# --- swims ----------------------------------------------------------------------------------


def _swims_in_sight(swims: Rows) -> Rows:
    """Not held, whole or in part, and not due."""
    held = _held(
        Swim="pk", Entry="entry_id", Swimmer="entry__swimmer_id", Clinic="entry__clinic_id"
    )
    return swims.exclude(_due()).exclude(held)


def swims_visible_to(swims: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return swims.none()
    coach = Q(_coaches(user, "entry__clinic")) & Q(_agrees("entry__swimmer_id"))
    own = Q(entry__swimmer__user_id=user.pk, given_at__isnull=False)
    return (
        _swims_in_sight(swims)
        .filter(
            passed_at__isnull=False,
            others_recorded_at__isnull=False,
            person="confirmed",
        )
        .exclude(_somebody_recognised_does_not_agree("pk"))
        .filter(coach | own)
    )


def swims_handled_by(swims: Rows, user: User) -> Rows:
    """For checkers: also what is not passed, and what somebody said is not them. They look
    at everybody in the picture, since it is they who find out who is in it."""
    if not _signed_in(user):
        return swims.none()
    return (
        _swims_in_sight(swims)
        .exclude(entry__clinic__state="closed")
        .filter(_agrees("entry__swimmer_id"), _has_duty(user, "entry__clinic_id", "checker"))
    )


def swims_coached_by(swims: Rows, user: User) -> Rows:
    """Swims passed on to the user as coach: these the user may give to their swimmers."""
    if not _signed_in(user):
        return swims.none()
    return swims_visible_to(swims, user).filter(
        _coaches(user, "entry__clinic"), _agrees("entry__swimmer_id")
    )


# --- clips and their files --------------------------------------------------------------------


def _of_these(rows: Callable[[Rows, User], Rows], model: str, user: User, path: str) -> Exists:
    """The row's swim (or clip) is among those. Asked per row, so that one clip among many
    thousands costs no more than one among ten."""
    objects = apps.get_model("clinics", model).objects.all()
    return Exists(rows(objects, user).filter(pk=OuterRef(path)))


def _clips_in_sight(clips: Rows) -> Rows:
    return clips.exclude(_due()).exclude(_held(Clip="pk", Recording="recording_id"))


def clips_visible_to(clips: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clips.none()
    looked_at = Q(rendered_at__isnull=False, rendered_at__lte=F("swim__passed_at"))
    seen = _of_these(swims_visible_to, "Swim", user, "swim_id")
    return _clips_in_sight(clips).filter(looked_at, seen, state="ready")


def clips_handled_by(clips: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clips.none()
    return _clips_in_sight(clips).filter(_of_these(swims_handled_by, "Swim", user, "swim_id"))


def _files_in_sight(files: Rows) -> Rows:
    """Only whole files of a finished clip: what is being made again shows another span."""
    held = _held(ClipFile="pk", StoredFile="stored_id")
    there = files.filter(clip__state="ready", stored__state="ready")
    return there.exclude(_due("stored__")).exclude(held)


def clip_files_visible_to(files: Rows, user: User) -> Rows:
    """Sound carries names and talk: swimmers get it only where the clinic says so."""
    if not _signed_in(user):
        return files.none()
    lets_hear = Q(clip__swim__entry__clinic__sound_for_swimmers=True) | (
        Q(_coaches(user, "clip__swim__entry__clinic")) & Q(_agrees("clip__swim__entry__swimmer_id"))
    )
    seen = _of_these(clips_visible_to, "Clip", user, "clip_id")
    return _files_in_sight(files).filter(seen, ~Q(kind="sound") | lets_hear)


def clip_files_handled_by(files: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return files.none()
    return _files_in_sight(files).filter(_of_these(clips_handled_by, "Clip", user, "clip_id"))


# --- recordings -------------------------------------------------------------------------------


def _originals_due() -> Exists:
    files = apps.get_model("clinics", "SourceFile").objects.filter(_due("stored__"))
    return Exists(files.filter(recording_id=OuterRef("pk")))


def recordings_handled_by(recordings: Rows, user: User) -> Rows:
    """Whole takes: the clinic's checkers until it is closed; crew what they brought in until
    the clinic is checked, and only while they work for the club."""
    if not _signed_in(user):
        return recordings.none()
    brought_in = Q(brought_in_by_id=user.pk, station__clinic__checked_at__isnull=True) & Q(
        _works_for(user, "station__clinic__club_id", "crew")
    )
    checker = Q(_has_duty(user, "station__clinic_id", "checker"))
    return (
        recordings.exclude(station__clinic__state="closed")
        .exclude(_originals_due())
        .exclude(_held(Recording="pk", Clinic="station__clinic_id"))
        .filter(checker | brought_in)
    )


# --- the plan, without footage -------------------------------------------------------------------


def clinics_run_by(clinics: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clinics.none()
    return clinics.filter(_works_for(user, "club_id", "admin"))


def clinics_checked_by(clinics: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clinics.none()
    return clinics.filter(_has_duty(user, "pk", "checker"))


def clinics_coached_by(clinics: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clinics.none()
    return clinics.filter(_coaches(user, ""))


def clinics_worked_by(clinics: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return clinics.none()
    crew = Q(_works_for(user, "club_id", "crew")) | Q(_has_duty(user, "pk"))
    return clinics.exclude(state="closed").filter(crew)


def clinics_seen_by(clinics: Rows, user: User) -> Rows:
    """The plan and running order: whoever works for the club today."""
    if not _signed_in(user):
        return clinics.none()
    return clinics.filter(_works_for(user, "club_id", "admin", "coach", "crew"))


def swimmers_managed_by(swimmers: Rows, user: User) -> Rows:
    if not _signed_in(user):
        return swimmers.none()
    return swimmers.filter(_works_for(user, "club_id", "admin"))
