"""The fence against its rules said once more (fence_rules.py), over drawn histories: consents and
withdrawals, erasure, tags, covers, holds, dates, duties, minors, the shelf, links, publishing.

After each step lists, details and bytes are asked for and compared. A few hundred steps by
default; `SIDELANE_FENCE_STEPS=10000 python -m pytest tests/clinics/test_fence_model.py` for long.
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from clinics.models import Clip, ClipFile, Swim
from tests.cast import Cast, sign_in
from tests.clinics import fence_rules as rules
from tests.clinics.fence_world import CLIPS, NAMES, SWIMS, USERS, Both

STEPS = int(os.environ.get("SIDELANE_FENCE_STEPS", "150"))
OF_EACH = 30  # steps of one history

names, swims, clips = st.sampled_from(NAMES), st.sampled_from(SWIMS), st.sampled_from(CLIPS)
yes, users = st.booleans(), st.sampled_from(USERS)
mostly = st.sampled_from([True, True, True, False])


def listed(rows: Any, by_pk: dict[Any, str]) -> set[str]:
    return {by_pk[pk] for pk in rows.values_list("pk", flat=True) if pk in by_pk}


def answers(both: Both, name: str) -> dict[str, set[str]]:
    """What the program lists for somebody."""
    user = both.user(name)
    of_swims = {both.cast.swims[swim].pk: swim for swim in SWIMS}
    of_clips = {clip.pk: key for key, clip in both.clips.items()}
    sounds = ClipFile.objects.filter(clip__in=of_clips, kind="sound")
    of_sounds = {pk: of_clips[clip] for pk, clip in sounds.values_list("pk", "clip_id")}
    every = Swim.objects.all(), Clip.objects.all()
    return {
        "sees swim": listed(every[0].visible_to(user), of_swims),
        "reviews": listed(every[0].reviewed_by(user), of_swims),
        "group": listed(every[0].shown_to_group(user), of_swims),
        "counted": listed(every[0].counted(), of_swims),
        "handles swim": listed(every[0].handled_by(user), of_swims),
        "sees clip": listed(every[1].visible_to(user), of_clips),
        "handles clip": listed(every[1].handled_by(user), of_clips),
        "hears": listed(sounds.visible_to(user), of_sounds),
        "shelf": listed(every[1].on_shelf_for(user), of_clips),
        "published": listed(every[1].published(), of_clips),
    }


def told(both: Both, name: str) -> dict[str, set[str]]:
    """What the rules say."""
    world, user = both.world, None if name == "nobody" else name
    learns = user in world.coaches | world.coaches_elsewhere
    return {
        "sees swim": {swim for swim in SWIMS if rules.sees_swim(world, user, swim)},
        "reviews": {swim for swim in SWIMS if rules.reviews(world, user, swim)},
        "group": {swim for swim in SWIMS if rules.shown_to_group(world, user, swim)},
        "counted": {swim for swim in SWIMS if rules.counted(world, swim)},
        "handles swim": {swim for swim in SWIMS if rules.handles_swim(world, user, swim)},
        "sees clip": {clip for clip in CLIPS if rules.sees_clip(world, user, clip)},
        "handles clip": {clip for clip in CLIPS if rules.handles_clip(world, user, clip)},
        "hears": {
            clip
            for clip in CLIPS
            if rules.hears_clip(world, user, clip) and world.clips[clip].ready
        },
        "shelf": {clip for clip in CLIPS if learns and rules.on_shelf(world, clip)},
        "published": {clip for clip in CLIPS if rules.is_published(world, clip)},
    }


def fetched(client: Client, name: str, file: ClipFile) -> int:
    """A byte range of it."""
    return client.get(reverse(name, args=[file.pk]), headers={"range": "bytes=1-4"}).status_code


class History(RuleBasedStateMachine):
    """`cast` is set by the test. Each history begins open, and is undone at its end."""

    cast: Cast
    steps = 0

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.both = Both(self.cast)
        self.turn = 0

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.undo.__exit__(None, None, None)

    def compare(self) -> None:
        """For two people after each step, in turn for all."""
        type(self).steps += 1
        for _n in range(2):
            name = USERS[self.turn % len(USERS)]
            self.turn += 1
            assert answers(self.both, name) == told(self.both, name), name

    @rule(name=names, purpose=st.sampled_from(rules.PURPOSES), yes=mostly)
    def consent(self, name: str, purpose: str, yes: bool) -> None:
        self.both.consent(name, purpose, yes)
        self.compare()

    @rule(name=names, state=st.sampled_from(["", "", "waiting", "running", "taken-back"]))
    def erase(self, name: str, state: str) -> None:
        self.both.erase(name, state)
        self.compare()

    @rule(name=names, user=st.sampled_from([*NAMES, "other_swimmer", None]))
    def signs_in(self, name: str, user: str | None) -> None:
        self.both.signs_in(name, user)
        self.compare()

    @rule(user=users, role=st.sampled_from(["coach", "coach elsewhere", "checker"]), yes=yes)
    def works(self, user: str, role: str, yes: bool) -> None:
        if user != "nobody":
            self.both.works(user, role, yes)
        self.compare()

    @rule(name=swims, confirmed=mostly, others=st.frozensets(names, max_size=2))
    def check(self, name: str, confirmed: bool, others: frozenset[str]) -> None:
        self.both.check(name, confirmed=confirmed, recognised=others)
        self.compare()

    @rule(name=swims, far=st.sampled_from(["passed", "given", "given", "taken back"]))
    def pass_on(self, name: str, far: str) -> None:
        if far == "taken back":
            self.both.take_back(name)
        else:
            self.both.pass_on(name)
        if far == "given":
            self.both.give(name)
        self.compare()

    @rule(name=clips, ready=mostly)
    def render(self, name: str, ready: bool) -> None:
        self.both.render(name) if ready else self.both.unready(name)
        self.compare()

    @rule(name=clips, swim=swims, due=st.sampled_from(["", "", "clip", "swim"]))
    def dates(self, name: str, swim: str, due: str) -> None:
        self.both.clip_due(name, due == "clip")
        self.both.swim_due(swim, due == "swim")
        self.compare()

    @rule(name=clips, who=names, begin=st.integers(-2, 5), lasts=st.integers(1, 4))
    def tag(self, name: str, who: str, begin: int, lasts: int) -> None:
        self.both.tag(name, who, begin, begin + lasts)
        self.compare()

    @precondition(lambda self: self.both.world.tags)
    @rule(data=st.data())
    def untag(self, data: Any) -> None:
        self.both.untag(data.draw(st.sampled_from(sorted(self.both.world.tags))))
        self.compare()

    @rule(name=clips, who=names, made=yes, off=st.sampled_from([False, False, True]))
    def cover(self, name: str, who: str, made: bool, off: bool) -> None:
        self.both.uncover(name) if off else self.both.cover(name, who)
        if made:
            self.both.render(name)
            self.both.pass_on(self.both.world.clips[name].swim)
        self.compare()

    @rule(name=st.sampled_from([*NAMES, *CLIPS, "clinic"]), yes=st.sampled_from([True, False]))
    def hold(self, name: str, yes: bool) -> None:
        self.both.hold(name, yes)
        self.compare()

    @rule(closed=yes, hear=yes)
    def clinic(self, closed: bool, hear: bool) -> None:
        self.both.close(closed)
        self.both.hear(hear)
        self.compare()

    @rule(name=clips, outcome=st.sampled_from(["", "open", "adult", "covered", "deleted"]))
    def report(self, name: str, outcome: str) -> None:
        self.both.report(name, outcome)
        self.compare()

    @rule(name=clips, yes=mostly)
    def shelf(self, name: str, yes: bool) -> None:
        self.both.shelf(name, yes)
        self.compare()

    @rule(name=clips, swimmer=mostly, admin=mostly)
    def publish(self, name: str, swimmer: bool, admin: bool) -> None:
        self.both.publish(name, swimmer, admin)
        self.compare()

    @rule(name=swims, by=names)
    def link(self, name: str, by: str) -> None:
        self.both.link(name, by)
        self.compare()

    @precondition(lambda self: self.both.shares)
    @rule(data=st.data(), how=st.sampled_from(["ended", "expired"]))
    def end_link(self, data: Any, how: str) -> None:
        self.both.end_link(data.draw(st.sampled_from(sorted(self.both.shares))), how)
        self.compare()

    @precondition(lambda self: self.both.shares)
    @rule(data=st.data())
    def look_by_link(self, data: Any) -> None:
        """Swim, clips and files of a link, one clip among all, and its bytes."""
        key, name = data.draw(st.sampled_from(sorted(self.both.shares))), data.draw(clips)
        world, share = self.both.world, self.both.shares[key]
        of_clips = {clip.pk: one for one, clip in self.both.clips.items()}
        shown = {clip for clip in CLIPS if rules.link_shows(world, key, clip)}
        assert listed(Clip.objects.shared_by(share), of_clips) == shown
        video = self.both.clips[name].files.get(kind="video")
        assert ClipFile.objects.shared_by(share).filter(pk=video.pk).exists() == (name in shown)
        client = Client()
        session = client.session
        session["share"] = str(share.pk)
        session.save()
        status = fetched(client, "feedback:shared-file", video)
        assert status == (206 if name in shown else 404)
        self.compare()

    @rule(name=clips, user=users)
    def look(self, name: str, user: str) -> None:
        """The detail of one clip, and its bytes, as the lists have it."""
        world, clip = self.both.world, self.both.clips[name]
        who = None if user == "nobody" else user
        sees = rules.sees_clip(world, who, name)
        handles = rules.handles_clip(world, who, name)
        here = Clip.objects.filter(pk=clip.pk)
        assert here.visible_to(self.both.user(user)).exists() == sees
        video = clip.files.get(kind="video")
        served = sees or (handles and world.clips[name].ready)
        if who is not None:
            client = sign_in(Client(), self.both.user(user))
            assert fetched(client, "clinics:clip-file", video) == (206 if served else 404)
        public = 206 if rules.is_published(world, name) else 404
        assert fetched(Client(), "feedback:published-file", video) == public
        self.compare()


@pytest.mark.timeout(6 * 3600)
def test_the_fence_keeps_its_rules_over_any_history(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(History, "cast", cast, raising=False)
    monkeypatch.setattr(History, "steps", 0)
    run_state_machine_as_test(
        History,
        settings=settings(
            max_examples=-(-STEPS // OF_EACH),
            stateful_step_count=OF_EACH,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
    print(f"{History.steps} steps")
    assert History.steps >= STEPS // 2


def test_the_rules_let_somebody_through_each_door(cast: Cast) -> None:
    """Else agreeing that everybody sees nothing would be a pass. And each door alone closes."""
    both = Both(cast)
    both.shelf("tomas 0", True)
    both.publish("tomas 1", True, True)
    key = both.link("tomas", "tomas")
    for name, kinds in {
        "tomas": {"sees swim", "reviews", "group", "sees clip", "published"},
        "wren": {"sees swim", "group", "sees clip"},
        "coach": {"sees swim", "reviews", "sees clip", "hears", "shelf"},
        "other_coach": {"sees clip", "shelf", "published"},
        "checker": {"handles swim", "handles clip"},
        "nobody": {"sees clip", "published"},
    }.items():
        said = answers(both, name)
        assert said == told(both, name), name
        assert all(said[kind] for kind in kinds), (name, said)
    assert Clip.objects.shared_by(both.shares[key]).count() == 3
    both.tag("tomas 2", "wren", 1, 2)
    assert Clip.objects.shared_by(both.shares[key]).count() == 2
    both.consent("wren", "publish", False)
    both.tag("tomas 1", "wren", 1, 2)
    assert not Clip.objects.published().exists()
    both.cover("tomas 1", "wren")
    assert not Clip.objects.published().exists()
    both.render("tomas 1")
    both.pass_on("tomas")
    both.publish("tomas 1", True, True)
    assert Clip.objects.published().count() == 1
