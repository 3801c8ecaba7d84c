"""What a restore does again of feedback: what was taken back since the backup is so again.

Registered for the lines of the deletion ledger (`portal.actions.replay`).
"""

from __future__ import annotations

from feedback.actions.say_again import words_go
from feedback.actions.take_home import page_goes
from feedback.models import Comment, Drawing, TakeHome
from portal.ledger_line import Line
from portal.registry import LedgerReplay

AGAIN_ORDER = 200


def take_comment_back_again(line: Line) -> bool:
    row = Comment.objects.filter(pk=line.id, taken_back_at__isnull=True).first()
    if row is not None:
        words_go(row, line.when)
    return row is not None


def rub_out_again(line: Line) -> bool:
    """One that was drawn anew under its key since then stays."""
    return bool(Drawing.objects.filter(pk=line.id, created_at__lte=line.when).delete()[0])


def take_page_back_again(line: Line) -> bool:
    page = TakeHome.objects.filter(swim_id=line.id, given_at__lte=line.when).first()
    if page is not None:
        page_goes(page, line.when)
    return page is not None


REPLAYS = (
    LedgerReplay(f"withdrawn {Comment._meta.label}", AGAIN_ORDER, take_comment_back_again),
    LedgerReplay(f"withdrawn {Drawing._meta.label}", AGAIN_ORDER, rub_out_again),
    LedgerReplay(f"withdrawn {TakeHome._meta.label}", AGAIN_ORDER, take_page_back_again),
)
