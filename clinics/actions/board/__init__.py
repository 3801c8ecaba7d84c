"""What a checker does on the check board. Each act is one transaction, one audit record and one
`BoardAct`, by which it can be undone."""

from clinics.actions.board.ends import cut_by_hand, nudge, set_ends
from clinics.actions.board.look import look_at
from clinics.actions.board.others import nobody_else
from clinics.actions.board.people import (
    add_swim,
    confirm_many,
    reassign,
    swap_swimmers,
    was_no_swim,
)
from clinics.actions.board.undo import last_act, undo
from clinics.actions.check_rows import CheckRefused

__all__ = [
    "CheckRefused",
    "add_swim",
    "confirm_many",
    "cut_by_hand",
    "last_act",
    "look_at",
    "nobody_else",
    "nudge",
    "reassign",
    "set_ends",
    "swap_swimmers",
    "undo",
    "was_no_swim",
]
