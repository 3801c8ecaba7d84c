"""What was taken back or rubbed out stays so after a restore from a backup that has it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from feedback.actions.draw import rub_out
from feedback.actions.say_again import take_back
from feedback.actions.take_home import take_page_back
from feedback.models import Comment, CommentVersion, Drawing, TakeHome
from portal.actions import ledger
from portal.actions.replay import Replayed, replay
from portal.ledger_line import Line
from tests.cast import Cast, build_cast
from tests.feedback.said import comment, drawing
from tests.feedback.taken_home import given, said_and_marked

BACKUP_AT = timezone.now()
LATER = timezone.now() + dt.timedelta(hours=2)


@pytest.fixture(autouse=True)
def own_ledger(settings: Any, tmp_path: Path) -> None:
    settings.LEDGER_FILE = tmp_path / "deletions.jsonl"


def taken_back(row: Any) -> Replayed:
    """After the backup."""
    ledger._append(Line(LATER.isoformat(), "withdrawn", row._meta.label, str(row.pk)))
    return replay(backup_at=BACKUP_AT)


def test_words_go_again(cast: Cast) -> None:
    said = comment(cast.swims["tomas"], cast.coach, "Look down.")
    assert taken_back(said) == Replayed(0, 1)
    assert not Comment.objects.exists()


def test_under_an_answer_nothing_is_left_of_what_was_said(cast: Cast) -> None:
    said = comment(cast.swims["tomas"], cast.coach, "Look down.")
    CommentVersion.objects.create(comment=said, text="Look up.", until_at=BACKUP_AT)
    comment(cast.swims["tomas"], cast.tomas, "I will.", reply_to=said)
    assert taken_back(said) == Replayed(0, 1)
    said.refresh_from_db()
    assert (said.text, said.taken_back_at) == ("", LATER)
    assert not CommentVersion.objects.exists()


def test_a_drawing_goes_again_and_one_drawn_anew_stays(cast: Cast) -> None:
    drawn = drawing(cast.swims["tomas"], cast.coach, cast.recordings["underwater"])
    Drawing.objects.filter(pk=drawn.pk).update(created_at=LATER + dt.timedelta(seconds=1))
    assert taken_back(drawn) == Replayed(0, 0)
    Drawing.objects.filter(pk=drawn.pk).update(created_at=BACKUP_AT)
    assert replay(backup_at=BACKUP_AT) == Replayed(0, 1)
    assert not Drawing.objects.exists()


def test_a_page_is_taken_back_again_and_its_choice_stays(cast: Cast) -> None:
    page = given(cast, said_and_marked(cast))
    assert taken_back(page) == Replayed(0, 1)
    page.refresh_from_db()
    assert (page.given, page.given_at, page.taken_back_at) == (None, None, LATER)
    assert page.choice


@pytest.mark.django_db(transaction=True)
def test_taking_back_is_noted() -> None:
    cast = build_cast()
    swim = cast.swims["tomas"]
    said = comment(swim, cast.coach, "Look down.")
    drawn = drawing(swim, cast.coach, cast.recordings["underwater"])
    page = given(cast, said_and_marked(cast))
    for _ in range(2):  # noted once
        take_back(comment=said, by=cast.coach)
        rub_out(drawing=drawn, by=cast.coach)
        take_page_back(swim=swim, by=cast.coach)
    noted = {(line.what, line.kind, line.id) for line in ledger.lines()}
    assert len(list(ledger.lines())) == 3
    assert noted == {
        ("withdrawn", "feedback.Comment", str(said.pk)),
        ("withdrawn", "feedback.Drawing", str(drawn.pk)),
        ("withdrawn", "feedback.TakeHome", str(page.pk)),
    }
    assert TakeHome.objects.get(pk=page.pk).given is None
