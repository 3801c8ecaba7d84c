"""The cautions of a clinic: what they say here, who has read them as they stand now, and the
acknowledgement of a named person. That somebody has read them makes nothing safe."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.db import transaction
from django.db.models import QuerySet

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.venue import venue_of
from clinics.compute.cautions import Situation, Topic, to_read, topics
from clinics.compute.posts import StationNeed
from clinics.compute.start_words import Here
from clinics.models import CautionRead, Clinic, Duty, VenueSheet
from portal.actions.audit import record
from portal.models import User

MOST_NAME = 120


class State(StrEnum):
    READ = "read"
    CHANGED = "changed"  # read, but the words have changed since
    NOT_READ = "not-read"


@dataclass(frozen=True)
class TopicRead:
    """One topic and one person. `at`: when it was last read, in whatever words."""

    topic: Topic
    state: State
    at: dt.datetime | None = None


@dataclass(frozen=True)
class Reader:
    """`duties`: the posts that the person holds. `topics`: what those who hold them are to read,
    and what else the person has read; all of it for somebody without a post."""

    user: User
    name: str
    duties: tuple[Duty, ...]
    topics: tuple[TopicRead, ...]

    @property
    def open(self) -> tuple[TopicRead, ...]:
        """What is still to be read, or to be read again."""
        return tuple(one for one in self.topics if one.state is not State.READ)


# --- what the cautions say here ------------------------------------------------------------------


def _duties(clinic: Clinic) -> list[Duty]:
    rows = clinic.duties.select_related("user", "station")
    return list(rows.order_by("user__name", "user__email", "kind"))


def topics_of(clinic: Clinic, duties: Sequence[Duty] | None = None) -> tuple[Topic, ...]:
    """As they stand now. Four queries at most: sheet, stations, starts, duties."""
    held = _duties(clinic) if duties is None else duties
    sheet = venue_of(clinic)
    starts = clinic.entries.order_by().values_list("start", flat=True).distinct()
    return topics(
        Situation(
            here=here_of(sheet),
            starts=frozenset(starts),
            stations=tuple(
                StationNeed(one.slug, one.kind, one.fixed_mount) for one in clinic.stations.all()
            ),
            posts=frozenset(duty.kind for duty in held),
            power=sheet.power.strip() if sheet else "",
        )
    )


def here_of(sheet: VenueSheet | None) -> Here:
    """The water at the start wall, as the sheet has it."""
    if sheet is None:
        return Here()
    return Here(
        profile=tuple((x_m, depth_m) for x_m, depth_m in sheet.depth_profile),
        measured_by=sheet.depth_measured_by,
        measured_on=sheet.depth_measured_on,
        measured_how=sheet.depth_measured_how,
        has_blocks=sheet.has_blocks,
        block_height_m=sheet.block_height_m,
        edge_height_m=sheet.edge_height_m,
    )


# --- who has read them ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Reading:
    """`at_posts`: who holds a post during the hour; `others`: who else has read something."""

    topics: tuple[Topic, ...]
    at_posts: tuple[Reader, ...]
    others: tuple[Reader, ...]
    rows: Mapping[uuid.UUID, Sequence[CautionRead]]

    @property
    def missing(self) -> tuple[Reader, ...]:
        """Who holds a post and has something still to read."""
        return tuple(reader for reader in self.at_posts if reader.open)

    def of(self, user: User) -> tuple[TopicRead, ...]:
        """Every topic, as this person has read it or not."""
        return tuple(_topic_read(topic, self.rows.get(user.pk, ())) for topic in self.topics)


def reading_of(clinic: Clinic) -> Reading:
    """Who has read what. Five queries at most, however many people there are."""
    duties = _duties(clinic)
    now = topics_of(clinic, duties)
    read = _by_user(clinic.cautions_read.select_related("user"))
    held: dict[uuid.UUID, list[Duty]] = {}
    for duty in duties:
        held.setdefault(duty.user_id, []).append(duty)
    users = {duty.user_id: duty.user for duty in duties}
    users |= {pk: rows[0].user for pk, rows in read.items() if pk not in users}
    at_posts, others = [], []
    for pk, user in users.items():
        reader = _reader(now, user, held.get(pk, ()), read.get(pk, ()))
        if _wanted(now, reader.duties):
            at_posts.append(reader)
        elif pk in read:
            others.append(reader)
    return Reading(now, tuple(at_posts), tuple(others), read)


def has_read(clinic: Clinic, user: User) -> State:
    """All that the person is to read, for a page that only says so. One query while they have
    read nothing, else five at most."""
    read = list(clinic.cautions_read.filter(user=user))
    if not read:
        return State.NOT_READ
    duties = _duties(clinic)
    own = [duty for duty in duties if duty.user_id == user.pk]
    states = {one.state for one in _reader(topics_of(clinic, duties), user, own, read).topics}
    return next((one for one in (State.CHANGED, State.NOT_READ) if one in states), State.READ)


def _by_user(rows: QuerySet[CautionRead]) -> dict[uuid.UUID, list[CautionRead]]:
    found: dict[uuid.UUID, list[CautionRead]] = {}
    for row in rows:
        found.setdefault(row.user_id, []).append(row)
    return found


def _wanted(now: Iterable[Topic], duties: Iterable[Duty]) -> list[Topic]:
    return [topic for topic in now if any(_is_for(topic, duty) for duty in duties)]


def _is_for(topic: Topic, duty: Duty) -> bool:
    return to_read(topic.key, duty.kind, duty.station.kind if duty.station else None)


def _reader(
    now: Sequence[Topic], user: User, duties: Sequence[Duty], read: Sequence[CautionRead]
) -> Reader:
    wanted = _wanted(now, duties) or list(now)
    wanted = [one for one in now if one in wanted or any(row.topic == one.key for row in read)]
    name = read[-1].name if read else user.name
    states = tuple(_topic_read(topic, read) for topic in wanted)
    return Reader(user, name, tuple(duties), states)


def _topic_read(topic: Topic, read: Iterable[CautionRead]) -> TopicRead:
    rows = [row for row in read if row.topic == topic.key]
    as_now = [row.at for row in rows if row.text_sha256 == topic.sha256]
    if as_now:
        return TopicRead(topic, State.READ, max(as_now))
    if rows:
        return TopicRead(topic, State.CHANGED, max(row.at for row in rows))
    return TopicRead(topic, State.NOT_READ)


# --- “I have read this” ---------------------------------------------------------------------------


@transaction.atomic
def acknowledge(
    *, clinic: Clinic, read: Mapping[str, str], by: User, name: str = ""
) -> tuple[CautionRead, ...]:
    """A named person has read these topics. `read`: by topic, the hash of the words that stood on
    the page. `name` is for somebody who has none yet, and is kept as theirs.

    The caller fetched the clinic through the fence. Twice changes nothing. BadInput: no name,
    nothing chosen, or words that have changed since the page was opened.
    """
    if Clinic.objects.select_for_update().get(pk=clinic.pk).state == Clinic.State.CLOSED:
        raise BadInput([("", _("The clinic is closed; nothing more is put down here."))])
    called = by.name.strip() or " ".join(name.split())
    _refuse(read, {topic.key: topic for topic in topics_of(clinic)}, called)
    if not by.name.strip():
        by.name = called
        by.save(update_fields=["name"])
    rows = []
    for topic, sha256 in read.items():
        row, is_new = CautionRead.objects.get_or_create(
            clinic=clinic, topic=topic, text_sha256=sha256, user=by, defaults={"name": called}
        )
        rows += [row] if is_new else []
    if rows:
        detail = {"topics": [row.topic for row in rows]}
        record(action="cautions.read", by=by, subject=clinic, club=clinic.club, detail=detail)
    return tuple(rows)


def _refuse(read: Mapping[str, str], now: Mapping[str, Topic], name: str) -> None:
    errors: list[tuple[str, str]] = []
    if not name or len(name) > MOST_NAME:
        told = _("Say your name: it stands beside what you have read.")
        errors.append(("name", told))
    if not read:
        errors.append(("", _("Nothing was chosen. Say which cautions you have read.")))
    for key, sha256 in read.items():
        if key not in now:
            errors.append((key, _("There are no such cautions here any more.")))
        elif now[key].sha256 != sha256:
            told = _("These words have changed since you opened the page. Read them again.")
            errors.append((now[key].title, told))
    if errors:
        raise BadInput(errors)
