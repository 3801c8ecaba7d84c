"""The fence: who sees a swim, its clips and their files. Deny by default.

Nobody sees what is held, or due for deletion. A swim is shown when a checker has confirmed the
person, recorded who else can be recognised, and passed it on; nobody says "this is not me". Then
it depends on who looks, on what the swimmer agrees to (always: to be filmed), and on whether
everybody else who can be recognised agrees to the same:

| viewer                           | the swimmer agrees to | the others agree to | and            |
|----------------------------------|-----------------------|---------------------|----------------|
| coach of the clinic, then and now| film-and-review       | film-and-review     |                |
| the swimmer                      | (may have withdrawn)  | film-and-review     | it is given    |
| the clinic's other swimmers      | show-to-group         | show-to-group       | it is given    |
| coaches anywhere, one clip       | coach-education       | coach-education     | a coach put it |
|                                  |                       |                     | on the shelf   |
| who has a share link             | film-and-review       | nobody else in it   | the swimmer    |
|                                  |                       |                     | made it        |
| anyone, one clip                 | publish               | publish             | swimmer and    |
|                                  |                       |                     | admin said so  |

What was said for showing on counts from when the swim was given, and only while it is. The others
are who was recorded for the swim, and who was tagged in a span of the recording: the first withhold
the swim, the second the clips that reach into that span. Whom a clip covers is not seen in it.

Who withdraws, or asks to be erased, is hidden from all but themselves, on the next request.
A clip in which somebody sees a minor is hidden from everyone, until two people found out; for
that the checkers look at it (`in_question_for`). A clip that was made, or made again,
after its swim was passed on waits until a checker passes it on: nobody has looked yet.

Whose measures count without a name among those of a clinic's swimmers (`counted`): who agrees to
count-among-group, for swims that are given. No footage is shown by it.

Before that (`handled_by`): the checkers of the clinic see what is brought in until the clinic is
closed; crew the recordings that they brought in until it is checked. Club admins manage consent
and keeping without seeing footage. Nobody else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, F, OuterRef, Q

from clinics.privacy_asks import (
    COACH_EDUCATION,
    COUNT_AMONG_GROUP,
    FILM_AND_REVIEW,
    NOBODY_ELSE,
    OF_CLIP,
    OF_FILE,
    OF_SWIM,
    PUBLISH,
    SHOW_TO_GROUP,
    At,
    Rows,
    agreed,
    agrees,
    coaches,
    coaches_somewhere,
    due,
    has_duty,
    held_by_part,
    minor_not_yet_covered,
    minor_reported,
    nobody_is_against,
    not_held,
    rows_of,
    signed_in,
    swims_in,
    works_for,
)
from clinics.privacy_once import by_anyone, by_share, by_user, now

if TYPE_CHECKING:
    import uuid

    from portal.models import User

EVERYTHING = Q()
__all__ = ["FILM_AND_REVIEW", "held_by_part"]  # the rest is asked through the querysets


# --- what all footage needs, and what each viewer ------------------------------------------------


def _swim_in_sight(at: At) -> Q:
    """Not held, whole or in part, and not due."""
    entry = f"{at.swim}entry"
    free = not_held(
        Swim=f"{at.swim}pk",
        Entry=f"{entry}_id",
        Swimmer=f"{entry}__swimmer_id",
        Clinic=f"{entry}__clinic_id",
    )
    return ~due(at.swim) & free


def _clip_there(at: At) -> Q:
    clip = at.clip or ""
    return ~due(clip) & not_held(Clip=f"{clip}pk", Recording=f"{clip}recording_id")


def _clip_in_sight(at: At) -> Q:
    return _clip_there(at) & ~minor_reported(at.clip or "")


def _passed_on(at: At) -> Q:
    """Whoever looks: checked, passed on, and everybody else in it agrees to be filmed."""
    checked = Q(
        **{
            f"{at.swim}passed_at__isnull": False,
            f"{at.swim}others_recorded_at__isnull": False,
            f"{at.swim}person": "confirmed",
        }
    )
    if at.clip is not None:
        looked_at = {f"{at.clip}rendered_at__lte": F(f"{at.swim}passed_at")}
        checked &= Q(**{f"{at.clip}state": "ready"}, **looked_at) & _clip_in_sight(at)
        checked &= ~minor_not_yet_covered(at.clip)
    return checked & _swim_in_sight(at) & nobody_is_against(at, FILM_AND_REVIEW)


def _given(at: At) -> Q:
    return Q(**{f"{at.swim}given_at__isnull": False})


def _swimmer_agrees(at: At) -> Q:
    return agrees(f"{at.swim}entry__swimmer_id")


def _all_agree(at: At, purpose: str) -> Q:
    mine = agreed(f"{at.swim}entry__swimmer_id", purpose)
    return mine & nobody_is_against(at, purpose)


def _is_own(user: User, at: At) -> Q:
    return Q(**{f"{at.swim}entry__swimmer__user_id": user.pk}) & _given(at)


def _is_coach(user: User, at: At) -> Q:
    return Q(coaches(user, f"{at.swim}entry__clinic"))


def _in_group(user: User, at: At) -> Q:
    here = swims_in(user, f"{at.swim}entry__clinic_id")
    return here & _given(at) & _all_agree(at, SHOW_TO_GROUP)


def _on_shelf(at: At) -> Q:
    """A coach put it up for learning, since it was given."""
    put = rows_of("ShelfClip").filter(
        clip_id=OuterRef(f"{at.clip}pk"),
        ended_at__isnull=True,
        put_at__gte=OuterRef(f"{at.swim}given_at"),
    )
    return Q(Exists(put)) & _all_agree(at, COACH_EDUCATION)


def _published(at: At) -> Q:
    """Swimmer and admin each said so, of this very picture, and the swimmer still is."""
    given_at, made_at = OuterRef(f"{at.swim}given_at"), OuterRef(f"{at.clip}rendered_at")
    said = rows_of("Publication").filter(
        Q(swimmer_said_at__gte=given_at) & Q(swimmer_said_at__gte=made_at),
        Q(admin_said_at__gte=given_at) & Q(admin_said_at__gte=made_at),
        clip_id=OuterRef(f"{at.clip}pk"),
        ended_at__isnull=True,
        swimmer_said_by_id=OuterRef(f"{at.swim}entry__swimmer__user_id"),
    )
    return Q(Exists(said)) & _all_agree(at, PUBLISH)


def _shared(share_id: uuid.UUID, at: At) -> Q:
    """Its swimmer made the link since the swim was given, it is not over, and nobody else can
    be recognised."""
    open_now = rows_of("Share").filter(
        pk=share_id,
        swim_id=OuterRef(f"{at.swim}pk"),
        ended_at__isnull=True,
        expires_at__gt=now(),
        made_at__gte=OuterRef(f"{at.swim}given_at"),
        made_by_id=OuterRef(f"{at.swim}entry__swimmer__user_id"),
        made_by__is_active=True,
    )
    alone = nobody_is_against(at, NOBODY_ELSE)
    return _passed_on(at) & _swimmer_agrees(at) & Q(Exists(open_now)) & alone


def _sees_film(user: User, at: At, *, to_swimmers: Q = EVERYTHING, to_others: Q = EVERYTHING) -> Q:
    """The whole table, but for share links. The swimmer and the group may be shown less of it
    than the coaches of the clinic, and everybody else less again."""
    shown = _is_coach(user, at) | (_in_group(user, at) & to_swimmers)
    if at.clip is not None:
        learning = Q(coaches_somewhere(user)) & _on_shelf(at)
        shown |= (learning | _published(at)) & to_others
    return (_is_own(user, at) & to_swimmers) | (_swimmer_agrees(at) & shown)


def _checks(user: User, at: At) -> Q:
    """For checkers: also what is not passed, and what somebody said is not them. They look
    at everybody in the picture, since it is they who find out who is in it."""
    here = has_duty(user, f"{at.swim}entry__clinic_id", "checker")
    open_clinic = ~Q(**{f"{at.swim}entry__clinic__state": "closed"})
    return _swim_in_sight(at) & open_clinic & _swimmer_agrees(at) & Q(here)


# --- swims ----------------------------------------------------------------------------------------


@by_user
def swims_visible_to(user: User) -> Q:
    return _passed_on(OF_SWIM) & _sees_film(user, OF_SWIM)


@by_user
def swims_reviewed_by(user: User) -> Q:
    """For the swimmer and the coaches of the clinic: with all that is said about the swim."""
    coach = _is_coach(user, OF_SWIM) & _swimmer_agrees(OF_SWIM)
    return _passed_on(OF_SWIM) & (_is_own(user, OF_SWIM) | coach)


@by_user
def swims_coached_by(user: User) -> Q:
    """Swims passed on to the user as coach: these the user may give to their swimmers."""
    return _passed_on(OF_SWIM) & _is_coach(user, OF_SWIM) & _swimmer_agrees(OF_SWIM)


@by_user
def swims_shown_to_group(user: User) -> Q:
    """For the swimmers of the same clinic: the film alone."""
    return _passed_on(OF_SWIM) & _swimmer_agrees(OF_SWIM) & _in_group(user, OF_SWIM)


@by_share
def swims_shared_by(share_id: uuid.UUID) -> Q:
    return _shared(share_id, OF_SWIM)


@by_anyone
def swims_counted() -> Q:
    """Whose measures count, without a name, among those of the clinic's swimmers. It shows no
    swim to anybody: who looks gets what is made of many (feedback/actions/spread.py)."""
    unclear = Q(resolved_at__isnull=True) | Q(outcome="deleted")
    reports = rows_of("MinorReport").filter(unclear, clip__swim_id=OuterRef("pk"))
    counts = _swimmer_agrees(OF_SWIM) & agreed("entry__swimmer_id", COUNT_AMONG_GROUP)
    return _passed_on(OF_SWIM) & _given(OF_SWIM) & counts & ~Q(Exists(reports))


@by_user
def swims_handled_by(user: User) -> Q:
    return _checks(user, OF_SWIM)


# --- clips ----------------------------------------------------------------------------------------


def clips_visible_to(clips: Rows, user: User) -> Rows:
    return _clips_seen_by(clips, user) if signed_in(user) else clips_published(clips)


@by_user
def _clips_seen_by(user: User) -> Q:
    return _passed_on(OF_CLIP) & _sees_film(user, OF_CLIP)


@by_user
def clips_on_shelf_for(user: User) -> Q:
    """For learning: clips that a coach put up, for coaches of any club."""
    learns = Q(coaches_somewhere(user)) & _swimmer_agrees(OF_CLIP) & _on_shelf(OF_CLIP)
    return _passed_on(OF_CLIP) & learns


@by_anyone
def clips_published() -> Q:
    return _passed_on(OF_CLIP) & _swimmer_agrees(OF_CLIP) & _published(OF_CLIP)


@by_share
def clips_shared_by(share_id: uuid.UUID) -> Q:
    return _shared(share_id, OF_CLIP)


@by_user
def clips_handled_by(user: User) -> Q:
    return _clip_in_sight(OF_CLIP) & _checks(user, OF_CLIP)


def _in_question(user: User, at: At) -> Q:
    """For the checkers who find out whether it is a minor, but not for who reported it."""
    reports = rows_of("MinorReport").filter(clip_id=OuterRef(f"{at.clip}pk"))
    waiting = reports.filter(resolved_at__isnull=True)
    checker = has_duty(user, f"{at.swim}entry__clinic_id", "checker")
    own = Exists(waiting.filter(reported_by_id=user.pk))
    return _clip_there(at) & Q(Exists(waiting)) & ~Q(own) & Q(checker)


@by_user
def clips_in_question_for(user: User) -> Q:
    return _in_question(user, OF_CLIP)


# --- their files ----------------------------------------------------------------------------------

SILENT = ~Q(kind="sound")
LETS_HEAR = Q(clip__swim__entry__clinic__sound_for_swimmers=True)


def _file_in_sight() -> Q:
    """Only whole files of a finished clip: what is being made again shows another span."""
    there = Q(clip__state="ready", stored__state="ready")
    return there & ~due("stored__") & not_held(ClipFile="pk", StoredFile="stored_id")


def clip_files_visible_to(files: Rows, user: User) -> Rows:
    return _files_seen_by(files, user) if signed_in(user) else clip_files_published(files)


@by_user
def _files_seen_by(user: User) -> Q:
    """Sound carries names and talk: the swimmer and the group get it only where the clinic says
    so; coaches elsewhere and anyone never."""
    film = _sees_film(user, OF_FILE, to_swimmers=SILENT | LETS_HEAR, to_others=SILENT)
    return _file_in_sight() & _passed_on(OF_FILE) & film


@by_anyone
def clip_files_published() -> Q:
    public = _passed_on(OF_FILE) & _swimmer_agrees(OF_FILE) & _published(OF_FILE)
    return _file_in_sight() & public & SILENT


@by_share
def clip_files_shared_by(share_id: uuid.UUID) -> Q:
    return _file_in_sight() & _shared(share_id, OF_FILE) & (SILENT | LETS_HEAR)


@by_user
def clip_files_handled_by(user: User) -> Q:
    return _file_in_sight() & _clip_in_sight(OF_FILE) & _checks(user, OF_FILE)


@by_user
def clip_files_in_question_for(user: User) -> Q:
    return _file_in_sight() & _in_question(user, OF_FILE)


# --- recordings -------------------------------------------------------------------------------


def _originals_due() -> Exists:
    files = rows_of("SourceFile").filter(due("stored__"))
    return Exists(files.filter(recording_id=OuterRef("pk")))


def recordings_handled_by(recordings: Rows, user: User) -> Rows:
    """Whole takes: the clinic's checkers until it is closed; crew what they brought in until
    the clinic is checked, and only while they work for the club."""
    if not signed_in(user):
        return recordings.none()
    brought_in = Q(brought_in_by_id=user.pk, station__clinic__checked_at__isnull=True) & Q(
        works_for(user, "station__clinic__club_id", "crew")
    )
    checker = Q(has_duty(user, "station__clinic_id", "checker"))
    return (
        recordings.exclude(station__clinic__state="closed")
        .exclude(_originals_due())
        .exclude(held_by_part(Recording="pk", Clinic="station__clinic_id"))
        .filter(checker | brought_in)
    )


def recordings_measured_by(recordings: Rows, user: User) -> Rows:
    """Whose clock's figures (no picture, no sound) the user may see: who handles the recording,
    and admins of its club, who look after the clinic without seeing footage."""
    if not signed_in(user):
        return recordings.none()
    handled = Exists(recordings_handled_by(rows_of("Recording"), user).filter(pk=OuterRef("pk")))
    admin = Q(works_for(user, "station__clinic__club_id", "admin"))
    held = held_by_part(Recording="pk", Clinic="station__clinic_id")
    return recordings.filter(Q(handled) | (admin & ~held))
