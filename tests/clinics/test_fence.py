"""The fence against a slow re-statement of who sees a clip, on random states.

`Told` is a world as drawn; `sees_…` say, in plain Python and without the database, what the
design's table says about it. The querysets of clinics/privacy.py must say the same.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinics.models import (
    Clinic,
    Clip,
    ClipFile,
    Consent,
    Duty,
    Recognised,
    Recording,
    SourceFile,
    Swim,
)
from portal.models import Hold, Membership, StoredFile, User
from tests.cast import Cast

OTHERS = ("wren", "sol")
STRANGERS = (
    "another swimmer",
    "swimmer who withdrew",
    "coach of another club",
    "club admin",
    "admin of another club",
    "swimmer of another club",
    "nobody signed in",
    "no user at all",
)
HELD = ("Swim", "Entry", "Swimmer", "Clinic", "Clip", "Recording", "ClipFile", "StoredFile")
AGO, AHEAD = dt.timedelta(days=-3), dt.timedelta(days=3)
CLINIC_DAY = -11  # days from today


@dataclass(frozen=True)
class Works:
    """A membership, in days from today."""

    active: bool
    from_day: int
    until_day: int | None

    def today(self) -> bool:
        return (
            self.active and self.from_day <= 0 and (self.until_day is None or self.until_day >= 0)
        )

    def on_the_day(self) -> bool:
        begun = self.from_day <= CLINIC_DAY
        return begun and (self.until_day is None or self.until_day >= CLINIC_DAY)


@dataclass(frozen=True)
class Told:
    coach: Works
    checker: Works
    crew: Works
    duty: str  # of the checker
    consents: dict[str, str]  # "never", "current", "ended"
    recognised: frozenset[str]
    stage: str  # how far the swim has come
    person: str
    swim_due: str  # "", "past", "future"
    clip_due: str
    file_due: str
    original_due: str
    clip_state: str
    made: str  # "before" or "after" it was passed on, or "" when unknown
    file_state: str
    sound_file: bool
    sound_for_swimmers: bool
    clinic_state: str
    checked: bool
    held: str
    hold_ended: bool

    def holds(self, *kinds: str) -> bool:
        return self.held in kinds and not self.hold_ended

    def agrees(self, name: str) -> bool:
        return self.consents[name] == "current"


# --- the re-statement --------------------------------------------------------------------------


def is_coach(told: Told) -> bool:
    return told.coach.today() and told.coach.on_the_day()


def is_checker(told: Told) -> bool:
    return told.checker.today() and told.duty == "checker"


def put_away(told: Told) -> bool:
    return told.swim_due == "past" or told.holds("Swim", "Entry", "Swimmer", "Clinic")


def sees_swim(who: str, told: Told) -> bool:
    if put_away(told) or told.person != "confirmed" or told.stage not in {"passed", "given"}:
        return False
    if not all(told.agrees(name) for name in told.recognised):
        return False
    if who == "coach":
        return is_coach(told) and told.agrees("tomas")
    return who == "swimmer" and told.stage == "given"


def handles_swim(who: str, told: Told) -> bool:
    if who != "checker" or put_away(told) or told.clinic_state == "closed":
        return False
    return is_checker(told) and told.agrees("tomas")


def clip_there(told: Told) -> bool:
    return told.clip_due != "past" and not told.holds("Clip", "Recording")


def sees_clip(who: str, told: Told) -> bool:
    looked_at = told.clip_state == "ready" and told.made == "before"
    return sees_swim(who, told) and clip_there(told) and looked_at


def handles_clip(who: str, told: Told) -> bool:
    return handles_swim(who, told) and clip_there(told)


def file_there(told: Told) -> bool:
    whole = told.file_state == "ready" and told.clip_state == "ready"
    return whole and told.file_due != "past" and not told.holds("ClipFile", "StoredFile")


def sees_file(who: str, told: Told) -> bool:
    hears = not told.sound_file or told.sound_for_swimmers or who == "coach"
    return sees_clip(who, told) and file_there(told) and hears


def handles_file(who: str, told: Told) -> bool:
    return handles_clip(who, told) and file_there(told)


def handles_recording(who: str, told: Told) -> bool:
    if told.clinic_state == "closed" or told.original_due == "past":
        return False
    if told.holds("Recording", "Clinic"):
        return False
    if who == "checker":
        return is_checker(told)
    return who == "crew" and told.crew.today() and not told.checked


# --- drawing worlds and putting them into the database --------------------------------------------


@st.composite
def works(draw: Any) -> Works:
    from_day = draw(st.sampled_from([-400, -30, CLINIC_DAY, CLINIC_DAY + 1, 0, 1]))
    until = draw(st.sampled_from([None, None, None, CLINIC_DAY - 1, CLINIC_DAY, -1, 0, 30]))
    if until is not None and until < from_day:
        until = from_day
    return Works(draw(st.sampled_from([True, True, True, False])), from_day, until)


AT_WORK = Works(True, -400, None)
OPEN_WORLD = Told(
    coach=AT_WORK,
    checker=AT_WORK,
    crew=AT_WORK,
    duty="checker",
    consents=dict.fromkeys(("tomas", *OTHERS), "current"),
    recognised=frozenset(OTHERS),
    stage="given",
    person="confirmed",
    swim_due="",
    clip_due="",
    file_due="",
    original_due="",
    clip_state="ready",
    made="before",
    file_state="ready",
    sound_file=False,
    sound_for_swimmers=False,
    clinic_state="open",
    checked=False,
    held="",
    hold_ended=False,
)
CHANGES: dict[str, Any] = {
    "coach": works(),
    "checker": works(),
    "crew": works(),
    "duty": st.sampled_from(["camera", ""]),
    "consents": st.fixed_dictionaries(
        {
            name: st.sampled_from(["current", "current", "never", "ended"])
            for name in ("tomas", *OTHERS)
        }
    ),
    "recognised": st.frozensets(st.sampled_from(OTHERS)),
    "stage": st.sampled_from(["", "recorded", "passed"]),
    "person": st.sampled_from(["unconfirmed", "wrong"]),
    "swim_due": st.sampled_from(["past", "future"]),
    "clip_due": st.sampled_from(["past", "future"]),
    "file_due": st.sampled_from(["past", "future"]),
    "original_due": st.sampled_from(["past", "future"]),
    "clip_state": st.sampled_from(["waiting", "rendering", "failed"]),
    "made": st.sampled_from(["after", ""]),
    "file_state": st.just("deleted"),
    "sound_file": st.just(True),
    "sound_for_swimmers": st.just(True),
    "clinic_state": st.sampled_from(["planned", "closed"]),
    "checked": st.just(True),
    "held": st.sampled_from(HELD),
    "hold_ended": st.booleans(),
}


@st.composite
def worlds(draw: Any) -> Told:
    """The open world with a few things changed: there a wrong “no” shows as well as a wrong
    “yes”, while a world drawn wholly at random is closed for ten reasons at once."""
    changed = draw(st.sets(st.sampled_from(sorted(CHANGES)), max_size=4))
    return replace(OPEN_WORLD, **{name: draw(CHANGES[name]) for name in sorted(changed)})


def due(told: str) -> dt.datetime | None:
    return {"": None, "past": timezone.now() + AGO, "future": timezone.now() + AHEAD}[told]


def set_works(user: User, told: Works) -> None:
    today = timezone.now().date()
    User.objects.filter(pk=user.pk).update(is_active=told.active)
    until = None if told.until_day is None else today + dt.timedelta(days=told.until_day)
    Membership.objects.filter(user=user).update(
        from_date=today + dt.timedelta(days=told.from_day), until_date=until
    )
    user.refresh_from_db()


def set_swim(cast: Cast, told: Told) -> dt.datetime | None:
    now = timezone.now()
    far = ["", "recorded", "passed", "given"].index(told.stage)
    # The database itself refuses "passed" for somebody unconfirmed.
    passed = far >= 2 and told.person != "unconfirmed"
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(
        person=told.person,
        others_recorded_at=now if far >= 1 else None,
        passed_at=now if passed else None,
        given_at=now if passed and far >= 3 else None,
        delete_by=due(told.swim_due),
    )
    return now


def put(cast: Cast, told: Told) -> tuple[Clip, ClipFile]:
    """The world as told, in the rows of the cast."""
    today = timezone.now().date()
    for user, at_work in (
        (cast.coach, told.coach),
        (cast.checker, told.checker),
        (cast.crew, told.crew),
    ):
        set_works(user, at_work)
    Clinic.objects.filter(pk=cast.clinic.pk).update(
        date=today + dt.timedelta(days=CLINIC_DAY),
        state=told.clinic_state,
        closed_at=timezone.now() if told.clinic_state == "closed" else None,
        checked_at=timezone.now() if told.checked else None,
        sound_for_swimmers=told.sound_for_swimmers,
    )
    duties = Duty.objects.filter(user=cast.checker)
    duties.update(kind=told.duty) if told.duty else duties.delete()
    passed_at = set_swim(cast, told)
    for name, state in told.consents.items():
        consents = Consent.objects.filter(swimmer=cast.swims[name].entry.swimmer)
        if state == "never":
            consents.delete()
        else:
            consents.update(ended_at=timezone.now() if state == "ended" else None)
    for name in told.recognised:
        Recognised.objects.create(swim=cast.swims["tomas"], swimmer=cast.swims[name].entry.swimmer)
    return put_media(cast, told, passed_at)


def put_media(cast: Cast, told: Told, passed_at: dt.datetime | None) -> tuple[Clip, ClipFile]:
    clip = cast.clips["tomas"][0]
    moment = dt.timedelta(seconds=1 if told.made == "after" else -1)
    rendered_at = passed_at + moment if passed_at and told.made else None
    Clip.objects.filter(pk=clip.pk).update(
        state=told.clip_state, delete_by=due(told.clip_due), rendered_at=rendered_at
    )
    shown = clip.files.get(kind="sound" if told.sound_file else "video")
    StoredFile.objects.filter(pk=shown.stored_id).update(
        state=told.file_state, delete_by=due(told.file_due)
    )
    original = SourceFile.objects.get(recording=clip.recording)
    StoredFile.objects.filter(pk=original.stored_id).update(delete_by=due(told.original_due))
    if told.held:
        entry = cast.swims["tomas"].entry
        row = {
            "Swim": cast.swims["tomas"],
            "Entry": entry,
            "Swimmer": entry.swimmer,
            "Clinic": cast.clinic,
            "Clip": clip,
            "Recording": clip.recording,
            "ClipFile": shown,
            "StoredFile": shown.stored,
        }[told.held]
        Hold.objects.create(
            subject_kind=row._meta.label,
            subject_id=row.pk,
            reason="asked by the club",
            owner=cast.admin,
            review_on=timezone.now().date(),
            ended_at=timezone.now() if told.hold_ended else None,
        )
    return clip, shown


def ask_all(cast: Cast, told: Told, who_asks: tuple[str, ...]) -> None:
    """Put the world into the rows, ask every queryset for everybody, and take it out again."""
    everybody = {**cast.people(), "nobody signed in": AnonymousUser(), "no user at all": None}
    with transaction.atomic():
        clip, shown = put(cast, told)
        swims = Swim.objects.filter(pk=cast.swims["tomas"].pk)
        clips, files = Clip.objects.filter(pk=clip.pk), ClipFile.objects.filter(pk=shown.pk)
        takes = Recording.objects.filter(pk=clip.recording_id)
        for who in who_asks:
            user = everybody[who]
            assert {
                "sees swim": swims.visible_to(user).exists(),
                "handles swim": swims.handled_by(user).exists(),
                "sees clip": clips.visible_to(user).exists(),
                "handles clip": clips.handled_by(user).exists(),
                "sees file": files.visible_to(user).exists(),
                "handles file": files.handled_by(user).exists(),
                "handles recording": takes.handled_by(user).exists(),
            } == {
                "sees swim": sees_swim(who, told),
                "handles swim": handles_swim(who, told),
                "sees clip": sees_clip(who, told),
                "handles clip": handles_clip(who, told),
                "sees file": sees_file(who, told),
                "handles file": handles_file(who, told),
                "handles recording": handles_recording(who, told),
            }, who
        transaction.set_rollback(True)


WITH_A_CLAIM = ("swimmer", "coach", "checker", "crew")


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(told=worlds(), stranger=st.sampled_from(STRANGERS))
def test_the_fence_says_what_the_table_says(cast: Cast, told: Told, stranger: str) -> None:
    ask_all(cast, told, (*WITH_A_CLAIM, stranger))


def at(from_day: int, until_day: int | None = None, active: bool = True) -> Works:
    return Works(active, from_day, until_day)


def without(name: str, state: str) -> dict[str, str]:
    return {**OPEN_WORLD.consents, name: state}


# One thing closed at a time: what the random worlds may miss.
SINGLE: list[dict[str, Any]] = [
    *({"held": kind} for kind in HELD),
    {"held": "Swim", "hold_ended": True},
    *({"consents": without(name, "ended")} for name in ("tomas", *OTHERS)),
    {"consents": without("tomas", "never")},
    {"consents": without("sol", "ended"), "recognised": frozenset({"wren"})},
    *({"coach": at(day)} for day in (CLINIC_DAY, CLINIC_DAY + 1, 0, 1)),
    *({"coach": at(-400, day)} for day in (CLINIC_DAY - 1, CLINIC_DAY, -1, 0)),
    *({role: at(-400, active=False)} for role in ("coach", "checker", "crew")),
    *({role: at(-400, -1)} for role in ("checker", "crew")),
    *({"duty": duty} for duty in ("camera", "")),
    *({"stage": stage} for stage in ("", "recorded", "passed")),
    *({"person": person} for person in ("unconfirmed", "wrong")),
    *(
        {part: when}
        for part in ("swim_due", "clip_due", "file_due", "original_due")
        for when in ("past", "future")
    ),
    *({"clip_state": state} for state in ("waiting", "rendering", "failed")),
    *({"made": made} for made in ("after", "")),
    {"file_state": "deleted"},
    {"sound_file": True},
    {"sound_file": True, "sound_for_swimmers": True},
    *({"clinic_state": state} for state in ("planned", "closed")),
    {"checked": True},
]


def test_the_fence_closes_by_each_single_cause(cast: Cast) -> None:
    for changed in SINGLE:
        ask_all(cast, replace(OPEN_WORLD, **changed), WITH_A_CLAIM)


def test_the_table_is_not_trivial(cast: Cast) -> None:
    """The open world of the test above is really open: each queryset says yes to somebody."""
    told = OPEN_WORLD
    assert sees_file("coach", told) and sees_file("swimmer", told) and handles_file("checker", told)
    _clip, shown = put(cast, told)
    assert ClipFile.objects.filter(pk=shown.pk).visible_to(cast.coach).exists()
    assert ClipFile.objects.filter(pk=shown.pk).visible_to(cast.tomas).exists()
    assert ClipFile.objects.filter(pk=shown.pk).handled_by(cast.checker).exists()


def test_withdrawing_leaves_the_swim_to_the_swimmer_alone(cast: Cast) -> None:
    """Hidden from all others at once; the swimmer sees it until it is deleted."""
    sol = Clip.objects.filter(swim=cast.swims["sol"])
    seen_by = [who for who, user in cast.people().items() if sol.visible_to(user).exists()]
    assert seen_by == ["swimmer who withdrew"]
    assert not any(sol.handled_by(user).exists() for user in cast.people().values())


def test_a_recognised_person_who_withdraws_hides_others_swims_too(cast: Cast) -> None:
    """Shown only as far as all who can be recognised agree."""
    Recognised.objects.create(swim=cast.swims["tomas"], swimmer=cast.swims["wren"].entry.swimmer)
    tomas = Clip.objects.filter(swim=cast.swims["tomas"])
    assert tomas.visible_to(cast.coach).count() == tomas.visible_to(cast.tomas).count() == 3
    Consent.objects.filter(swimmer__user=cast.wren).update(ended_at=timezone.now())
    assert tomas.visible_to(cast.coach).count() == tomas.visible_to(cast.tomas).count() == 0
    assert tomas.handled_by(cast.checker).count() == 3
