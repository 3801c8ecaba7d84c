"""The fence: who sees a clip. Deny by default.

A clip follows its swim. A swim is visible to somebody only if it is not held, not due for
deletion, nobody has said "this is not me", the swimmer agrees to `film-and-review`, a
checker has recorded who else can be recognised in it, and all of those agree, too. Then:

- the checker of the clinic: from the moment it is brought in until the clinic is closed
  (`handled_by`), whether or not it is passed;
- a coach of the clinic (coach of its club then and now): when the checker has passed it;
- the swimmer: the own swim, when it is given. After withdrawing the consent to be filmed
  the swimmer alone can still see the own swim, until it is deleted;
- crew: the recordings that they brought in, until the clinic is checked.

Nobody else. Club admins manage consent and keeping without seeing footage.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db.models import Exists, OuterRef, Q, QuerySet
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
    return Exists(
        coaching.filter(club_id=OuterRef(f"{at}club_id"), from_date__lte=OuterRef(f"{at}date"))
    )


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


def _held(label: str, pk: str) -> Exists:
    open_holds = Hold.objects.filter(subject_kind=label, ended_at__isnull=True)
    return Exists(open_holds.filter(subject_id=OuterRef(pk)))


def _signed_in(user: User | Any) -> bool:
    return bool(user is not None and user.is_authenticated and user.is_active)


# --- swims ----------------------------------------------------------------------------------


def _swims_in_sight(swims: Rows) -> Rows:
    """Not held, not due, nobody has said it is somebody else."""
    due = Q(delete_by__isnull=False, delete_by__lte=timezone.now())
    return swims.exclude(due).exclude(person="wrong").exclude(_held("clinics.Swim", "pk"))


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
    """For checkers: also what is not passed, and what somebody said is not them."""
    if not _signed_in(user):
        return swims.none()
    due = Q(delete_by__isnull=False, delete_by__lte=timezone.now())
    return (
        swims.exclude(due)
        .exclude(_held("clinics.Swim", "pk"))
        .exclude(entry__clinic__state="closed")
        .filter(_agrees("entry__swimmer_id"), _has_duty(user, "entry__clinic_id", "checker"))
    )


# --- clips and their files --------------------------------------------------------------------


def _swim_rows() -> Rows:
    return apps.get_model("clinics", "Swim").objects.all()


def _clips_in_sight(clips: Rows) -> Rows:
    due = Q(delete_by__isnull=False, delete_by__lte=timezone.now())
    return clips.exclude(due).exclude(_held("clinics.Clip", "pk"))


def clips_visible_to(clips: Rows, user: User) -> Rows:
    swims = swims_visible_to(_swim_rows(), user)
    return _clips_in_sight(clips).filter(state="ready", swim__in=swims.values("pk"))


def clips_handled_by(clips: Rows, user: User) -> Rows:
    swims = swims_handled_by(_swim_rows(), user)
    return _clips_in_sight(clips).filter(swim__in=swims.values("pk"))


def _clip_rows() -> Rows:
    return apps.get_model("clinics", "Clip").objects.all()


def clip_files_visible_to(files: Rows, user: User) -> Rows:
    """Sound carries names and talk: swimmers get it only where the clinic says so."""
    clips = clips_visible_to(_clip_rows(), user)
    seen = files.filter(clip__in=clips.values("pk"), stored__state="ready")
    if not _signed_in(user):
        return seen.none()
    lets_hear = Q(clip__swim__entry__clinic__sound_for_swimmers=True) | Q(
        _coaches(user, "clip__swim__entry__clinic")
    )
    return seen.filter(~Q(kind="sound") | lets_hear)


def clip_files_handled_by(files: Rows, user: User) -> Rows:
    clips = clips_handled_by(_clip_rows(), user)
    return files.filter(clip__in=clips.values("pk"), stored__state="ready")


# --- recordings -------------------------------------------------------------------------------


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
        .exclude(_held("clinics.Recording", "pk"))
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
