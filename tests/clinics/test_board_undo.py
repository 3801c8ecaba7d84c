"""Undoing: everything as it was, unless something happened since; and then what."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied

from clinics.actions import board
from clinics.actions import check as acts
from clinics.actions.cut import plan_cuts
from clinics.actions.log import undo_start
from clinics.actions.pass_on import pass_swims
from clinics.models import BoardAct, Clip, ClockFit, Recognised, StartLogEntry, Swim, Tie
from portal.actions.audit import verify_chain
from portal.models import AuditEntry, Job, StoredFile
from tests.cast import FIRST_START, FPS, Cast
from tests.clinics.board_tools import board_as_it_is, fresh, fresh_clip, more_swims

Act = Callable[[Cast], BoardAct]


@pytest.fixture
def full(cast: Cast) -> Cast:
    more_swims(cast)
    line = StartLogEntry.objects.create(
        clinic=cast.clinic, client_id="1", entry=cast.swims["ada"].entry, instant=FIRST_START
    )
    Swim.objects.filter(pk=cast.swims["ada"].pk).update(log_entry=line)
    Tie.objects.create(
        recording=cast.recordings["start-side"],
        kind="start-seen",
        pts_ticks=90_000,
        swim=cast.swims["ada"],
        u_ms=5.0,
    )
    wren = cast.swims["wren"].entry.swimmer
    Recognised.objects.create(swim=cast.swims["tomas"], swimmer=wren)
    return cast


ONE_OF_EACH: dict[str, Act] = {
    "nudge": lambda c: board.nudge(clip=fresh_clip(c.clips["tomas"][1]), frames=-7, by=c.checker),
    "ends": lambda c: board.set_ends(
        clip=fresh_clip(c.clips["wren"][0]), first_frame=900, last_frame=1100, by=c.checker
    ),
    "cut": lambda c: board.cut_by_hand(
        swim=fresh(c.swims["ada"]),
        recording=c.recordings["underwater"],
        first_frame=3000,
        last_frame=3099,
        by=c.checker,
    ),
    "cut in place of another": lambda c: board.cut_by_hand(
        swim=fresh(c.swims["tomas"]),
        recording=c.recordings["underwater"],
        first_frame=3000,
        last_frame=3099,
        pass_no=2,
        by=c.checker,
    ),
    "swap": lambda c: board.swap_swimmers(
        one=fresh(c.swims["tomas"]), other=fresh(c.swims["ada"]), by=c.checker
    ),
    "reassign": lambda c: board.reassign(
        swim=fresh(c.swims["tomas"]), entry=c.swims["bo"].entry, by=c.checker
    ),
    "reassign to whom does not agree": lambda c: board.reassign(
        swim=fresh(c.swims["tomas"]), entry=c.swims["sol"].entry, by=c.checker
    ),
    "no swim": lambda c: board.was_no_swim(swim=fresh(c.swims["ada"]), by=c.checker),
    "add": lambda c: board.add_swim(
        entry=c.swims["bo"].entry, instant=FIRST_START + dt.timedelta(hours=1), by=c.checker
    ),
    "add on a frame": lambda c: board.add_swim(
        entry=c.swims["bo"].entry,
        recording=c.recordings["start-side"],
        frame=5500,
        by=c.checker,
    ),
    "confirm": lambda c: board.confirm_many(
        swims=[fresh(c.swims["ada"]), fresh(c.swims["bo"])], how="face", by=c.checker
    ),
}


@pytest.mark.parametrize("what", ONE_OF_EACH)
def test_each_act_is_undone_to_the_last_value(full: Cast, what: str) -> None:
    before = board_as_it_is(full.clinic)
    act = ONE_OF_EACH[what](full)
    assert board_as_it_is(full.clinic) != before
    assert board.last_act(full.clinic, full.checker) == act
    board.undo(act=act, by=full.checker)
    assert board_as_it_is(full.clinic) == before
    assert board.last_act(full.clinic, full.checker) is None
    with pytest.raises(board.CheckRefused, match="undone already"):
        board.undo(act=act, by=full.checker)
    assert AuditEntry.objects.filter(action="board.undo").count() == 1
    assert verify_chain().broken_at is None


def test_ends_that_come_back_are_made_again_and_only_those(full: Cast) -> None:
    clip = fresh_clip(full.clips["tomas"][1])
    act = board.nudge(clip=clip, frames=5, by=full.checker)
    Clip.objects.filter(pk=clip.pk).update(state="ready")
    Job.objects.all().delete()
    board.undo(act=act, by=full.checker)
    assert Clip.objects.get(pk=clip.pk).state == "waiting"
    assert [job.subject_id for job in Job.objects.filter(kind="render-clip")] == [clip.pk]


def test_files_of_a_swim_that_comes_back_are_kept_by_the_old_rule(full: Cast) -> None:
    act = ONE_OF_EACH["reassign to whom does not agree"](full)
    files = StoredFile.objects.filter(pk__in=act_files(full))
    assert set(files.values_list("keeping_rule", flat=True)) == {"withdrawn"}
    board.undo(act=act, by=full.checker)
    until = Clip.objects.get(pk=full.clips["tomas"][0].pk).delete_by
    assert set(files.values_list("keeping_rule", "delete_by")) == {("clips", until)}
    assert Swim.objects.filter(pk=full.swims["tomas"].pk).visible_to(full.tomas).exists()


def act_files(full: Cast) -> list[object]:
    clips = Clip.objects.filter(swim=full.swims["tomas"])
    return list(clips.values_list("files__stored_id", flat=True))


def test_undone_to_somebody_who_withdrew_meanwhile_it_stays_hidden_and_dated(full: Cast) -> None:
    from clinics.actions.consent import end_consent

    act = ONE_OF_EACH["reassign"](full)
    swim = full.swims["tomas"]
    end_consent(swimmer=swim.entry.swimmer, purpose="film-and-review", by=full.tomas)
    board.undo(act=act, by=full.checker)
    row = Swim.objects.get(pk=swim.pk)
    assert row.entry == swim.entry and row.delete_by is not None
    assert not Swim.objects.filter(pk=swim.pk).handled_by(full.checker).exists()


def test_a_better_fit_meanwhile_moves_what_is_undone(full: Cast) -> None:
    clip = fresh_clip(full.clips["tomas"][1])
    act = board.nudge(clip=clip, frames=5, by=full.checker)
    ClockFit.objects.filter(recording=clip.recording).update(
        fitted_at=act.at + dt.timedelta(seconds=1)
    )
    board.undo(act=act, by=full.checker)
    assert Job.objects.filter(kind="align", subject_id=full.clinic.pk).exists()


# --- refused -----------------------------------------------------------------------------------


def since(full: Cast, act: BoardAct, match: str) -> None:
    before = board_as_it_is(full.clinic)
    with pytest.raises(board.CheckRefused, match=match):
        board.undo(act=act, by=full.checker)
    assert board_as_it_is(full.clinic) == before
    assert BoardAct.objects.get(pk=act.pk).undone_at is None


def test_what_changed_since_is_said(full: Cast) -> None:
    act = ONE_OF_EACH["nudge"](full)
    board.nudge(clip=fresh_clip(full.clips["tomas"][1]), frames=1, by=full.checker)
    since(full, act, "the clip of Tomas Birk at Underwater 12.5 m was moved")


def test_a_swap_that_was_looked_at_since_stays(full: Cast) -> None:
    act = ONE_OF_EACH["swap"](full)
    ada = fresh(full.swims["ada"])  # Tomas's now
    acts.confirm_person(swim=ada, by=full.checker, person_number=1)
    since(full, act, "somebody looked at who is in Tomas Birk's swim")


def test_a_confirmed_swim_that_was_passed_on_stays(full: Cast) -> None:
    act = ONE_OF_EACH["confirm"](full)
    ada = fresh(full.swims["ada"])
    acts.record_others(swim=ada, swimmers=[], by=full.checker)
    pass_swims(swims=[ada], by=full.checker)
    since(full, act, "Ada Rell's swim was passed on, given or taken back")


def test_recording_others_does_not_keep_a_confirmation(full: Cast) -> None:
    act = ONE_OF_EACH["confirm"](full)
    acts.record_others(swim=fresh(full.swims["ada"]), swimmers=[], by=full.checker)
    board.undo(act=act, by=full.checker)
    assert fresh(full.swims["ada"]).person == "unconfirmed"
    assert fresh(full.swims["ada"]).others_recorded_at is not None


def test_an_added_swim_on_which_somebody_worked_stays(full: Cast) -> None:
    act = ONE_OF_EACH["add"](full)
    swim = fresh(Swim.objects.get(pk=act.facts["swim"]))
    board.cut_by_hand(
        swim=swim,
        recording=full.recordings["underwater"],
        first_frame=5000,
        last_frame=5099,
        by=full.checker,
    )
    since(full, act, "somebody placed a clip of the swim")


def test_a_swim_cannot_come_back_into_a_place_that_is_taken(full: Cast) -> None:
    act = ONE_OF_EACH["no swim"](full)
    board.add_swim(
        entry=full.swims["ada"].entry,
        instant=FIRST_START + dt.timedelta(hours=1),
        by=full.checker,
    )
    since(full, act, "has another swim in its place")


def test_a_swim_does_not_come_back_without_its_line_in_the_log(full: Cast) -> None:
    act = ONE_OF_EACH["no swim"](full)
    undo_start(clinic=full.clinic, client_id="1", by=full.checker)
    since(full, act, "its line in the start log was taken back")


def test_only_a_checker_undoes(full: Cast) -> None:
    act = ONE_OF_EACH["swap"](full)
    for who in ("coach", "crew", "admin", "tomas", "other_admin", "other_coach"):
        with pytest.raises(PermissionDenied):
            board.undo(act=act, by=getattr(full, who))
    assert fresh(full.swims["tomas"]).entry.number == 7


# --- any sequence ------------------------------------------------------------------------------


def some_act(full: Cast, dice: random.Random) -> BoardAct:
    swims = list(Swim.objects.filter(entry__clinic=full.clinic).handled_by(full.checker))
    one, other = (fresh(swim) for swim in dice.sample(swims, 2))
    clips = list(Clip.objects.filter(swim__in=swims))
    clip = fresh_clip(dice.choice(clips))
    recording = full.recordings[dice.choice(["start-side", "underwater"])]
    first = dice.randrange(0, 5000)
    by, entry = full.checker, full.swims[dice.choice(["tomas", "wren", "ada", "bo", "sol"])].entry
    choices: list[Callable[[], BoardAct]] = [
        lambda: board.nudge(clip=clip, frames=dice.choice([-10, -1, 1, 10]), by=by),
        lambda: board.set_ends(clip=clip, first_frame=first, last_frame=first + 80, by=by),
        lambda: board.cut_by_hand(
            swim=one,
            recording=recording,
            first_frame=first,
            last_frame=first + 50,
            pass_no=dice.choice([None, 1, 2, 3]),
            by=by,
        ),
        lambda: board.swap_swimmers(one=one, other=other, by=by),
        lambda: board.reassign(swim=one, entry=entry, by=by),
        lambda: board.was_no_swim(swim=one, by=by),
        lambda: board.add_swim(
            entry=entry, instant=FIRST_START + dt.timedelta(seconds=dice.randrange(9999)), by=by
        ),
        lambda: board.add_swim(entry=entry, recording=recording, frame=first, by=by),
        lambda: board.confirm_many(swims=[one, other], how=dice.choice(["number", "face"]), by=by),
    ]
    return dice.choice(choices)()


@pytest.mark.parametrize("seed", range(6))
def test_any_acts_undone_in_reverse_give_the_same_board(full: Cast, seed: int) -> None:
    dice = random.Random(seed)
    boards, done = [board_as_it_is(full.clinic)], []
    for _ in range(40):
        if Swim.objects.filter(entry__clinic=full.clinic).handled_by(full.checker).count() < 2:
            break
        try:
            done.append(some_act(full, dice))
        except board.CheckRefused:
            assert board_as_it_is(full.clinic) == boards[-1]
            continue
        boards.append(board_as_it_is(full.clinic))
        if len(done) == 14:
            break
    assert len({act.kind for act in done}) >= 4
    for act in reversed(done):
        assert board_as_it_is(full.clinic) == boards.pop()
        assert board.last_act(full.clinic, full.checker) == act
        board.undo(act=act, by=full.checker)
    assert board_as_it_is(full.clinic) == boards.pop() and not boards


def test_planning_between_act_and_undo_changes_nothing_that_is_placed(full: Cast) -> None:
    clip = fresh_clip(full.clips["tomas"][1])
    before = Clip.objects.filter(pk=clip.pk).values("first_frame", "frame_count", "window_by")[0]
    act = board.nudge(clip=clip, frames=FPS, by=full.checker)
    plan_cuts(clinic=full.clinic)
    board.undo(act=act, by=full.checker)
    after = Clip.objects.filter(pk=clip.pk).values("first_frame", "frame_count", "window_by")[0]
    assert after == before
