"""Putting people at posts and taking them off, and how many dives are agreed."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.people_at_posts import (
    AtPosts,
    PostLine,
    people_at_posts,
    place_of,
    plain_name,
)
from clinics.actions.people_at_posts_visits import invite_visitor, require_admin
from clinics.actions.people_at_posts_words import WHY, named
from clinics.compute.posts import Place, Post, excludes
from clinics.models import Clinic, Duty
from portal.actions.audit import record
from portal.models import Membership, User

MOST_DIVES = 10_000


@transaction.atomic
def put_at_post(*, clinic: Clinic, user_id: uuid.UUID, post: str, by: User) -> Duty:
    """Give somebody who works for the club on the day a post (`post_key` of one that this clinic
    needs). What they cannot do at once is refused with the reason; said twice, nothing changes.
    """
    require_admin(clinic, by)
    clinic = _open(clinic)
    now = people_at_posts(clinic)
    line = next((one for one in now.lines if one.key == post), None)
    if line is None:
        raise BadInput([("", _("This clinic has no such post any more."))])
    if line.place.post is Post.LIFEGUARD:
        told = _("The lifeguard is given by the pool; the name stands on the venue sheet.")
        raise BadInput([("", told)])
    candidate = now.candidate(user_id)
    if candidate is None:
        told = _("does not work for the club on the day of the clinic. Invite them first.")
        raise BadInput([(now.names.get(str(user_id), ""), told)])
    there = next((duty for duty in line.duties if duty.user_id == user_id), None)
    if there is not None and (there.station_id or line.station is None):
        return there
    _refuse_excluded(now, candidate.user, line)
    duties = Duty.objects.filter(clinic=clinic, user=candidate.user, kind=line.place.post.value)
    if line.station is not None:
        duties.filter(station__isnull=True).delete()  # “at any station” was this one
    duty = duties.create(
        clinic=clinic, user=candidate.user, kind=line.place.post.value, station=line.station
    )
    _note("duty.put", duty, by)
    return duty


@transaction.atomic
def invite_at_post(
    *,
    clinic: Clinic,
    email: str,
    name: str,
    role: str,
    by: User,
    until: dt.date | None = None,
    post: str = "",
) -> Membership:
    """Invite a visitor, and give them a post if one is named; both or neither."""
    had = invite_visitor(clinic=clinic, email=email, name=name, role=role, until=until, by=by)
    if post:
        put_at_post(clinic=clinic, user_id=had.user_id, post=post, by=by)
    return had


def _refuse_excluded(now: AtPosts, user: User, line: PostLine) -> None:
    """Every post of theirs that does not go together with this one; a camera at no station in
    particular is left out where it would become this very one."""
    errors = []
    for duty in now.duties_of(user.pk):
        replaced = duty.kind == line.place.post.value and duty.station_id is None
        place = place_of(duty, now.stations)
        why = None if replaced else excludes(line.place, place)
        if why is not None:
            errors.append((str(user), _cannot(now, line.place, place, WHY[why])))
    guard = [one for one in now.lines if one.lifeguard]
    if guard and plain_name(user.name) == plain_name(guard[0].lifeguard):
        why = excludes(line.place, guard[0].place)
        if why is not None:
            errors.append((str(user), _cannot(now, line.place, guard[0].place, WHY[why])))
    if errors:
        raise BadInput(errors)


def _cannot(now: AtPosts, new: Place, has: Place, why: str) -> str:
    return _(
        "cannot hold “%(new)s” beside “%(has)s”: %(why)s. Take them off the one, or find "
        "somebody else for the other.",
        new=in_words_of(now, new),
        has=in_words_of(now, has),
        why=why,
    )


def in_words_of(now: AtPosts, place: Place) -> str:
    """A post by the name of its station."""
    names = {station.slug: station.name for station in now.stations}
    return named(place, names[place.station.key] if place.station else None)


@transaction.atomic
def take_off_post(*, clinic: Clinic, duty_id: uuid.UUID, by: User) -> None:
    """Somebody who has gone already is no mistake."""
    require_admin(clinic, by)
    duty = Duty.objects.filter(clinic=_open(clinic), pk=duty_id).select_related("clinic__club")
    row = duty.first()
    if row is None:
        return
    _note("duty.take-off", row, by)
    row.delete()


@transaction.atomic
def set_most_dives(*, clinic: Clinic, most_each: int | None, by: User) -> None:
    """How many dives each were agreed with the lifeguard; None: nothing was. Not a number of
    ours: what is too much for somebody is not known here."""
    require_admin(clinic, by)
    row = _open(clinic)
    if most_each is not None and not 1 <= most_each <= MOST_DIVES:
        raise BadInput([("", _("Give a number of dives, or nothing."))])
    if row.most_dives_each == most_each:
        return
    row.most_dives_each = most_each
    row.save(update_fields=["most_dives_each"])
    record(action="duty.dives", by=by, subject=row, club=row.club, detail={"most": most_each})


def _open(clinic: Clinic) -> Clinic:
    row = Clinic.objects.select_for_update(of=("self",)).select_related("club").get(pk=clinic.pk)
    if row.state == Clinic.State.CLOSED:
        raise BadInput([("", _("The clinic is closed; who did what stays as it is."))])
    return row


def _note(action: str, duty: Duty, by: User) -> None:
    """No names: ids and the post."""
    detail = {"user": str(duty.user_id), "post": duty.kind, "station": str(duty.station_id or "")}
    record(action=action, by=by, subject=duty.clinic, club=duty.clinic.club, detail=detail)
