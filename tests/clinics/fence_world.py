"""A world of fence_rules.py and the rows of the cast that say the same, changed together."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone

from clinics.models import (
    Clinic,
    Clip,
    ClipMask,
    Consent,
    Duty,
    InPicture,
    MinorReport,
    Publication,
    Recognised,
    Share,
    ShelfClip,
    Swim,
    Swimmer,
)
from portal.models import Hold, Membership, PersonRequest, User
from tests.cast import FIRST_START, Cast
from tests.clinics import fence_rules as rules

NAMES = ("tomas", "wren", "sol")
USERS = (*NAMES, "coach", "checker", "admin", "other_coach", "other_swimmer", "nobody")
SWIMS = NAMES
CLIPS = tuple(f"{name} {number}" for name in NAMES for number in range(3))
FAR = dt.timedelta(days=3650)


class Both:
    """Each verb changes the world and the rows. `now` is a number of seconds that only grows."""

    def __init__(self, cast: Cast) -> None:
        self.cast, self.now = cast, 0
        self.numbers = itertools.count(1)
        self.clips = {f"{name} {n}": cast.clips[name][n] for name in NAMES for n in range(3)}
        self.swimmers = {name: cast.swims[name].entry.swimmer for name in NAMES}
        self.shares: dict[str, Share] = {}
        self.tag_rows: dict[int, InPicture] = {}
        self.world = rules.World(
            people={name: rules.Person(name, set(rules.PURPOSES)) for name in NAMES},
            swims={name: rules.Swim(name) for name in NAMES},
            clips={
                name: rules.Clip(name.split()[0], self._span(clip))
                for name, clip in self.clips.items()
            },
            coaches={"coach"},
            coaches_elsewhere={"other_coach"},
            checkers={"checker"},
        )
        self._open()

    def user(self, name: str) -> Any:
        if name == "nobody":
            return AnonymousUser()
        return User.objects.get(pk=getattr(self.cast, name).pk)

    def at(self, number: int | None) -> dt.datetime | None:
        return None if number is None else FIRST_START + dt.timedelta(seconds=number)

    def tick(self) -> int:
        self.now += 1
        return self.now

    def _open(self) -> None:
        """Everybody agrees to everything, everything is made, passed on and given."""
        Consent.objects.all().delete()
        for swimmer in self.swimmers.values():
            for purpose in rules.PURPOSES:
                Consent.objects.create(swimmer=swimmer, purpose=purpose)
        for name in CLIPS:
            self.render(name)
        for name in SWIMS:
            self.check(name, confirmed=True, recognised=frozenset())
            self.pass_on(name)
            self.give(name)

    # --- people ---

    def consent(self, name: str, purpose: str, yes: bool) -> None:
        given = self.world.people[name].agreed
        rows = Consent.objects.filter(swimmer=self.swimmers[name], purpose=purpose)
        if yes and purpose not in given:
            Consent.objects.create(swimmer=self.swimmers[name], purpose=purpose)
            given.add(purpose)
        elif not yes and purpose in given:
            rows.filter(ended_at__isnull=True).update(ended_at=timezone.now())
            given.remove(purpose)

    def erase(self, name: str, state: str) -> None:
        """`state`: of a request to be erased, or "" for none."""
        swimmer = self.swimmers[name]
        rows = PersonRequest.objects.filter(subject_id=swimmer.pk)
        rows.delete()
        if state:
            PersonRequest.objects.create(
                kind="erase",
                state=state,
                club=swimmer.club,
                subject_kind="clinics.Swimmer",
                subject_id=swimmer.pk,
                due_at=timezone.now() + FAR,
            )
        self.world.people[name].erasing = state in {"waiting", "running"}

    def signs_in(self, name: str, user: str | None) -> None:
        self.world.people[name].user = user
        row = self.user(user) if user else None
        Swimmer.objects.filter(pk=self.swimmers[name].pk).update(user=row)

    def works(self, user: str, role: str, yes: bool) -> None:
        """As coach of either club, or checker of the clinic."""
        if role == "checker":
            duties = Duty.objects.filter(clinic=self.cast.clinic, kind="checker")
            duties.filter(user=self.user(user)).delete()
            if yes:
                Duty.objects.create(clinic=self.cast.clinic, user=self.user(user), kind="checker")
                Membership.objects.get_or_create(
                    club=self.cast.harbour,
                    user=self.user(user),
                    role="crew",
                    defaults={"from_date": dt.date(2026, 10, 1)},
                )
            _keep(self.world.checkers, user, yes)
            return
        club = self.cast.harbour if role == "coach" else self.cast.quillmoor
        Membership.objects.filter(club=club, user=self.user(user), role="coach").delete()
        if yes:
            Membership.objects.create(
                club=club, user=self.user(user), role="coach", from_date=dt.date(2026, 10, 1)
            )
        coaches = self.world.coaches if role == "coach" else self.world.coaches_elsewhere
        _keep(coaches, user, yes)
        # a checker works for the club: who loses the last membership checks nothing
        works = Membership.objects.filter(club=self.cast.harbour, user=self.user(user)).exists()
        if not works:
            self.world.checkers.discard(user)
            Duty.objects.filter(clinic=self.cast.clinic, user=self.user(user)).delete()

    # --- swims ---

    def _swim(self, name: str, **fields: Any) -> None:
        Swim.objects.filter(pk=self.cast.swims[name].pk).update(**fields)

    def check(self, name: str, *, confirmed: bool, recognised: frozenset[str]) -> None:
        told, row = self.world.swims[name], self.cast.swims[name]
        told.confirmed, told.others_recorded = confirmed, True
        told.recognised = set(recognised - {name})
        Recognised.objects.filter(swim=row).delete()
        for who in told.recognised:
            Recognised.objects.create(swim=row, swimmer=self.swimmers[who])
        person = "confirmed" if confirmed else "wrong"
        self._swim(name, person=person, others_recorded_at=self.at(self.now))

    def pass_on(self, name: str) -> None:
        told = self.world.swims[name]
        if told.others_recorded:
            told.passed_at = self.tick()
            self._swim(name, passed_at=self.at(told.passed_at))

    def give(self, name: str) -> None:
        told = self.world.swims[name]
        if told.passed_at is not None and told.given_at is None:
            told.given_at = self.tick()
            self._swim(name, given_at=self.at(told.given_at))

    def take_back(self, name: str) -> None:
        told = self.world.swims[name]
        told.passed_at = told.given_at = None
        self._swim(name, passed_at=None, given_at=None)

    def swim_due(self, name: str, yes: bool) -> None:
        self.world.swims[name].due = yes
        self._swim(name, delete_by=_due(yes))

    # --- clips ---

    def _clip(self, name: str, **fields: Any) -> None:
        Clip.objects.filter(pk=self.clips[name].pk).update(**fields)

    def render(self, name: str) -> None:
        told = self.world.clips[name]
        told.rendered_at, told.ready = self.tick(), True
        self._clip(name, rendered_at=self.at(told.rendered_at), state="ready")

    def unready(self, name: str) -> None:
        self.world.clips[name].ready = False
        self._clip(name, state="waiting")

    def clip_due(self, name: str, yes: bool) -> None:
        self.world.clips[name].due = yes
        self._clip(name, delete_by=_due(yes))

    def cover(self, name: str, who: str) -> None:
        told = self.world.clips[name]
        ClipMask.objects.filter(clip=self.clips[name], covers=self.swimmers[who]).delete()
        told.covers[who] = self.tick()
        clip = self.clips[name]
        ClipMask.objects.create(
            clip=clip,
            first_frame=0,
            last_frame=9,
            left=0,
            top=0,
            width=0.1,
            height=0.1,
            covers=self.swimmers[who],
            made_at=self.at(told.covers[who]),
        )

    def uncover(self, name: str) -> None:
        self.world.clips[name].covers.clear()
        ClipMask.objects.filter(clip=self.clips[name]).delete()

    def tag(self, name: str, who: str, begin: int, end: int) -> None:
        """Over a part of the clip's span, in quarters of it: from before its begin to after."""
        clip = self.clips[name]
        quarter = (clip.out_ticks - clip.in_ticks) // 4
        first, last = clip.in_ticks + begin * quarter, clip.in_ticks + end * quarter
        key, shift = next(self.numbers), self._shift(clip)
        self.tag_rows[key] = InPicture.objects.create(
            recording=clip.recording,
            swimmer=self.swimmers[who],
            from_ticks=first,
            to_ticks=last,
        )
        self.world.tags[key] = (who, first + shift, last + shift)

    def _span(self, clip: Clip) -> tuple[int, int]:
        shift = self._shift(clip)
        return clip.in_ticks + shift, clip.out_ticks + shift

    def _shift(self, clip: Clip) -> int:
        """The world has one line of time; the recordings lie on it one after the other."""
        return 0 if clip.recording_id == self.cast.recordings["start-side"].pk else 10**12

    def untag(self, key: int) -> None:
        self.tag_rows.pop(key).delete()
        del self.world.tags[key]

    # --- the clinic ---

    def hold(self, name: str, yes: bool) -> None:
        row = self._row(name)
        held = Hold.objects.filter(subject_kind=row._meta.label, subject_id=row.pk)
        held.update(ended_at=timezone.now())
        if yes:
            Hold.objects.create(
                subject_kind=row._meta.label,
                subject_id=row.pk,
                reason="asked by the club",
                owner=self.cast.admin,
                review_on=timezone.now().date(),
            )
        _keep(self.world.held, name, yes)

    def _row(self, name: str) -> Any:
        if name == "clinic":
            return self.cast.clinic
        return self.clips[name] if name in self.clips else self.swimmers[name]

    def close(self, yes: bool) -> None:
        self.world.closed = yes
        state = {"state": "closed", "closed_at": timezone.now()} if yes else {"state": "open"}
        Clinic.objects.filter(pk=self.cast.clinic.pk).update(**state)

    def hear(self, yes: bool) -> None:
        self.world.hears = yes
        Clinic.objects.filter(pk=self.cast.clinic.pk).update(sound_for_swimmers=yes)

    # --- showing on ---

    def report(self, name: str, outcome: str) -> None:
        told = self.world.clips[name]
        MinorReport.objects.filter(clip=self.clips[name]).delete()
        told.report, told.reported_at = outcome, self.tick()
        if not outcome:
            return
        found = {} if outcome == "open" else {"outcome": outcome, "resolved_at": timezone.now()}
        MinorReport.objects.create(
            clip=self.clips[name],
            reported_at=self.at(told.reported_at),
            first_by=self.cast.admin,
            second_by=self.cast.checker,
            **found,
        )

    def shelf(self, name: str, yes: bool) -> None:
        told = self.world.clips[name]
        ShelfClip.objects.filter(clip=self.clips[name]).update(ended_at=timezone.now())
        told.shelf_at = self.tick() if yes else None
        if yes:
            put_at = self.at(told.shelf_at)
            ShelfClip.objects.create(clip=self.clips[name], fault="-", remedy="-", put_at=put_at)

    def publish(self, name: str, swimmer: bool, admin: bool) -> None:
        """Who said so now; both False: it is ended."""
        told = self.world.clips[name]
        Publication.objects.filter(clip=self.clips[name]).update(ended_at=timezone.now())
        by = self.world.people[told.swim].user
        told.swimmer_said = self.tick() if swimmer and by else None
        told.admin_said = self.tick() if admin else None
        told.said_by = by if told.swimmer_said is not None else None
        if told.swimmer_said is not None or told.admin_said is not None:
            Publication.objects.create(
                clip=self.clips[name],
                swimmer_said_at=self.at(told.swimmer_said),
                swimmer_said_by=self.user(by) if told.said_by and by else None,
                admin_said_at=self.at(told.admin_said),
                admin_said_by=self.cast.admin,
            )

    def link(self, name: str, by: str) -> str:
        key = f"link {next(self.numbers)}"
        made = rules.Link(name, by, self.tick())
        self.world.links[key] = made
        self.shares[key] = Share.objects.create(
            swim=self.cast.swims[name],
            token_hash=key,
            made_by=self.user(by),
            made_at=self.at(made.made_at),
            expires_at=timezone.now() + FAR,
        )
        return key

    def end_link(self, key: str, how: str) -> None:
        told = self.world.links[key]
        told.ended, told.expired = told.ended or how == "ended", told.expired or how == "expired"
        past = timezone.now() - dt.timedelta(seconds=1)
        fields = {"ended_at": past} if how == "ended" else {"expires_at": past}
        Share.objects.filter(pk=self.shares[key].pk).update(**fields)


def _keep(names: set[str], name: str, yes: bool) -> None:
    names.add(name) if yes else names.discard(name)


def _due(yes: bool) -> dt.datetime:
    return timezone.now() + (-FAR if yes else FAR)
