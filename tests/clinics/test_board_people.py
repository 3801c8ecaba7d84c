"""Whose swim it is: what each act changes, for whom it is then visible, and what is refused."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from clinics.actions import board
from clinics.actions.close_clinic import close_clinic
from clinics.actions.give import give_swim
from clinics.actions.keeping import WITHDRAWN_KEPT
from clinics.models import (
    BoardAct,
    Clip,
    ClockFit,
    Recognised,
    StartLogEntry,
    Swim,
    Tie,
)
from feedback.models import Comment
from portal.actions.audit import verify_chain
from portal.models import AuditEntry, Job, StoredFile
from tests.cast import FIRST_START, FPS, Cast
from tests.clinics.board_tools import fresh, more_swims

NOT_CHECKERS = ["coach", "crew", "admin", "tomas", "other_admin", "other_coach"]


@pytest.fixture
def full(cast: Cast) -> Cast:
    more_swims(cast)
    return cast


def refused(act: Any, match: str) -> None:
    count = BoardAct.objects.count()
    with pytest.raises(board.CheckRefused, match=match):
        act()
    assert BoardAct.objects.count() == count


def audited(action: str) -> int:
    return AuditEntry.objects.filter(action=action).count()


# --- swapped -----------------------------------------------------------------------------------


def test_a_swap_mends_all_stations_at_once_and_asks_anew(full: Cast) -> None:
    tomas, wren = fresh(full.swims["tomas"]), fresh(full.swims["wren"])
    Recognised.objects.create(swim=tomas, swimmer=wren.entry.swimmer)
    Comment.objects.create(swim=tomas, author=full.coach, text="Head down.", sent_at=FIRST_START)
    clips = {swim.pk: set(swim.clips.values_list("pk", flat=True)) for swim in (tomas, wren)}
    board.swap_swimmers(one=tomas, other=wren, by=full.checker)
    one, other = fresh(tomas), fresh(wren)
    assert (one.entry, one.go) == (wren.entry, 1) and (other.entry, other.go) == (tomas.entry, 1)
    for swim in (one, other):
        assert (swim.person, swim.number_seen) == ("unconfirmed", None)
        assert swim.others_recorded_at is None and not swim.recognised.exists()
        assert swim.passed_at is None and swim.given_at is None
        assert set(swim.clips.values_list("pk", flat=True)) == clips[swim.pk]
        for user in (full.tomas, full.wren, full.coach):
            assert not Swim.objects.filter(pk=swim.pk).visible_to(user).exists()
            assert not Comment.objects.visible_to(user).filter(swim=swim).exists()
    assert one.comments.count() == 1  # about the body in the picture: it stays with it
    assert audited("board.swap") == 1 and verify_chain().broken_at is None
    assert Job.objects.filter(kind="align", subject_id=full.clinic.pk).exists()


def test_words_of_one_swimmer_are_not_shown_to_the_other(full: Cast) -> None:
    swim = fresh(full.swims["tomas"])
    words = [
        Comment.objects.create(swim=swim, author=full.coach, text="Head.", sent_at=FIRST_START),
        Comment.objects.create(swim=swim, author=full.tomas, text="My neck?", sent_at=FIRST_START),
    ]
    answer = {"author": full.coach, "reply_to": words[1], "sent_at": FIRST_START}
    words.append(Comment.objects.create(swim=swim, text="Tomas, yes.", **answer))
    read = Comment.objects.filter(swim=swim)
    assert set(read.visible_to(full.tomas)) == set(read.visible_to(full.coach)) == set(words)
    board.swap_swimmers(one=swim, other=fresh(full.swims["wren"]), by=full.checker)
    swim = fresh(swim)
    board.look_at(swim=swim, by=full.checker, seen="face", others=[], pass_on=True)
    give_swim(swim=swim, by=full.coach)
    assert set(read.visible_to(full.wren)) == {words[0]}
    assert set(read.visible_to(full.coach)) == set(words)
    assert not read.visible_to(full.tomas).exists()


def test_a_swap_of_two_goes_of_one_or_of_two_clinics_is_refused(full: Cast) -> None:
    tomas, ada = fresh(full.swims["tomas"]), fresh(full.swims["ada"])
    board.reassign(swim=ada, entry=tomas.entry, by=full.checker)
    refused(
        lambda: board.swap_swimmers(one=tomas, other=fresh(ada), by=full.checker), "Both are swims"
    )
    with pytest.raises(PermissionDenied):
        board.swap_swimmers(one=tomas, other=fresh(full.swims["other"]), by=full.checker)


def test_the_second_of_two_who_swap_does_not_swap_back(full: Cast) -> None:
    stale = fresh(full.swims["tomas"]), fresh(full.swims["wren"])
    board.swap_swimmers(
        one=fresh(full.swims["tomas"]), other=fresh(full.swims["wren"]), by=full.checker
    )
    refused(
        lambda: board.swap_swimmers(one=stale[0], other=stale[1], by=full.checker),
        "said meanwhile that this swim is Wren Okada's",
    )
    assert fresh(full.swims["tomas"]).entry.swimmer.name == "Wren Okada"


# --- somebody else's ---------------------------------------------------------------------------


def test_reassigning_to_whom_does_not_agree_hides_and_dates_it_like_a_withdrawal(
    full: Cast,
) -> None:
    swim, sol = fresh(full.swims["tomas"]), full.swims["sol"].entry
    clip = full.clips["tomas"][0]
    Clip.objects.filter(pk=clip.pk).update(state="waiting")
    from clinics.actions.clip_files import ask_to_render

    ask_to_render(Clip.objects.get(pk=clip.pk), 0, None)
    before = timezone.now()
    board.reassign(swim=swim, entry=sol, by=full.checker)
    for user in full.people().values():
        assert not Swim.objects.filter(pk=swim.pk).visible_to(user).exists()
        assert not Swim.objects.filter(pk=swim.pk).handled_by(user).exists()
    row = Swim.objects.get(pk=swim.pk)
    assert row.delete_by is not None
    assert before + WITHDRAWN_KEPT <= row.delete_by <= timezone.now() + WITHDRAWN_KEPT
    assert set(row.clips.values_list("delete_by", flat=True)) == {row.delete_by}
    files = StoredFile.objects.filter(pk__in=row.clips.values("files__stored_id"))
    assert set(files.values_list("delete_by", "keeping_rule")) == {(row.delete_by, "withdrawn")}
    assert Job.objects.get(kind="render-clip", subject_id=clip.pk).state == "cancelled"


# --- nobody's ----------------------------------------------------------------------------------


def test_no_swim_leaves_the_board_with_its_clips_and_the_log_keeps_its_line(full: Cast) -> None:
    swim = fresh(full.swims["ada"])
    line = StartLogEntry.objects.create(
        clinic=full.clinic, client_id="1", entry=swim.entry, instant=swim.start_at
    )
    Swim.objects.filter(pk=swim.pk).update(log_entry=line)
    paths = [f.stored.local_path() for clip in swim.clips.all() for f in clip.files.all()]
    assert paths and all(path.exists() for path in paths)
    board.was_no_swim(swim=swim, by=full.checker)
    assert not Swim.objects.filter(pk=swim.pk).exists()
    assert not Clip.objects.filter(swim_id=swim.pk).exists()
    assert StartLogEntry.objects.get(pk=line.pk).undone_at is None
    refused(lambda: board.was_no_swim(swim=swim, by=full.checker), "no longer on the board")


def test_a_swim_about_which_somebody_spoke_was_one(full: Cast) -> None:
    swim = fresh(full.swims["tomas"])
    Comment.objects.create(swim=swim, author=full.coach, text="Draft.")
    refused(lambda: board.was_no_swim(swim=swim, by=full.checker), "somebody swam")
    assert swim.clips.count() == 3


# --- not logged --------------------------------------------------------------------------------


def test_a_go_that_nobody_logged_is_added_with_a_line_of_its_own(full: Cast) -> None:
    entry, at = full.swims["ada"].entry, FIRST_START + dt.timedelta(seconds=170)
    act = board.add_swim(entry=entry, instant=at, by=full.checker)
    swim = Swim.objects.get(pk=act.facts["swim"])
    assert (swim.entry, swim.go, swim.start_at, swim.start_kind) == (entry, 2, at, "tap")
    assert swim.log_entry is not None and swim.log_entry.clock_run == "board"
    assert swim.person == "unconfirmed" and swim.passed_at is None
    assert Job.objects.filter(kind="align").exists()
    refused(
        lambda: board.add_swim(entry=entry, instant=at + dt.timedelta(seconds=7), by=full.checker),
        "Ada Rell has a start within 8 seconds",
    )


def test_a_start_seen_on_a_frame_is_a_tie_too(full: Cast) -> None:
    recording = full.recordings["start-side"]
    frame = 20 * FPS + 5000
    act = board.add_swim(
        entry=full.swims["bo"].entry, recording=recording, frame=frame, by=full.checker
    )
    swim = Swim.objects.get(pk=act.facts["swim"])
    assert swim.start_at == recording.clock_fit.zero_at + dt.timedelta(seconds=frame / FPS)
    tie = Tie.objects.get(swim=swim)
    assert (tie.kind, tie.pts_ticks) == ("start-seen", frame * 90_000 // FPS)
    assert (tie.recording, tie.placed_by, tie.found_by) == (recording, full.checker, "person")


def test_a_start_that_cannot_be_placed_is_refused_with_what_to_do(full: Cast) -> None:
    entry, recording = full.swims["bo"].entry, full.recordings["start-side"]

    def on(frame: int | None) -> Any:
        return lambda: board.add_swim(
            entry=entry, recording=recording, frame=frame, by=full.checker
        )

    refused(on(None), "0 to 5999")
    refused(on(6000), "0 to 5999")
    refused(lambda: board.add_swim(entry=entry, by=full.checker), "Say when it started")
    ClockFit.objects.filter(recording=recording).update(state="not-found", zero_at=None, u_ms=None)
    refused(on(5000), "no place on the clock yet")
    with pytest.raises(PermissionDenied):
        board.add_swim(entry=entry, recording=full.recordings["other"], frame=3, by=full.checker)
    assert not StartLogEntry.objects.exists()


# --- confirmed ---------------------------------------------------------------------------------


def test_many_are_confirmed_in_one_act_or_none(full: Cast) -> None:
    two = [fresh(full.swims["ada"]), fresh(full.swims["bo"])]
    board.confirm_many(swims=two, how="number", by=full.checker)
    assert [(fresh(s).person, fresh(s).number_seen) for s in two] == [
        ("confirmed", 7),
        ("confirmed", 8),
    ]
    refused(lambda: board.confirm_many(swims=[], how="face", by=full.checker), "Choose the swims")
    Swim.objects.filter(pk=two[1].pk).delete()
    Swim.objects.filter(pk=two[0].pk).update(person="unconfirmed", number_seen=None)
    refused(lambda: board.confirm_many(swims=two, how="face", by=full.checker), "no longer on")
    assert fresh(two[0]).person == "unconfirmed"


# --- by whom -----------------------------------------------------------------------------------


def test_only_a_checker_of_the_clinic_says_whose_swim_it_is(full: Cast) -> None:
    swim, other = fresh(full.swims["tomas"]), fresh(full.swims["wren"])
    for who in NOT_CHECKERS:
        by = getattr(full, who)
        for act in (
            lambda by=by: board.swap_swimmers(one=swim, other=other, by=by),
            lambda by=by: board.reassign(swim=swim, entry=other.entry, by=by),
            lambda by=by: board.was_no_swim(swim=swim, by=by),
            lambda by=by: board.add_swim(entry=swim.entry, instant=timezone.now(), by=by),
            lambda by=by: board.confirm_many(swims=[swim], how="face", by=by),
        ):
            with pytest.raises(PermissionDenied):
                act()
    assert not BoardAct.objects.exists() and fresh(swim).entry == swim.entry
    assert audited("board.swap") == 0


def test_a_closed_clinic_stays_as_it_is(full: Cast) -> None:
    swim, other = fresh(full.swims["tomas"]), fresh(full.swims["wren"])
    act = board.confirm_many(swims=[swim], how="number", by=full.checker)
    close_clinic(clinic=full.clinic, by=full.admin)
    for late in (
        lambda: board.swap_swimmers(one=swim, other=other, by=full.checker),
        lambda: board.reassign(swim=swim, entry=other.entry, by=full.checker),
        lambda: board.was_no_swim(swim=swim, by=full.checker),
        lambda: board.add_swim(entry=swim.entry, instant=timezone.now(), by=full.checker),
        lambda: board.confirm_many(swims=[swim], how="face", by=full.checker),
        lambda: board.undo(act=act, by=full.checker),
    ):
        refused(late, "clinic is closed")
