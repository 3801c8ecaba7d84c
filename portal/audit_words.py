"""What stands in the audit trail, in words: sorts of acts, and a sentence for each act.

Packages add their own at start-up. An act without words is shown by its name: nothing is hidden
because nobody thought of a sentence for it.
"""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

SEEN, DENIED, CONSENT, DELETED, PEOPLE = "seen", "denied", "consent", "deleted", "people"
WORK = "work"
SORTS = {
    SEEN: _("watched, downloaded, shared"),
    DENIED: _("refused"),
    CONSENT: _("consent and sharing"),
    DELETED: _("deleted, kept, backed up"),
    PEOPLE: _("people and sign-in"),
    WORK: _("planned, checked, said"),
}
_words: dict[str, Any] = {}
_sorts: dict[str, list[str]] = {sort: [] for sort in SORTS}


def know(sort: str, words: dict[str, Any]) -> None:
    """Acts of that sort, each with what was done. A name that ends in a dot stands for all that
    begin so. May be called again with the same."""
    _words.update(words)
    _sorts[sort] += [name for name in words if name not in _sorts[sort]]


def in_words(action: str) -> str:
    if action in _words:
        return str(_words[action])
    family = f"{action.partition('.')[0]}."
    return str(_words.get(family, action))


def of_sort(sort: str) -> list[str]:
    """The acts of a sort, and beginnings of names that end in a dot."""
    return list(_sorts[sort])


know(DENIED, {"denied": _("was refused")})
know(
    DELETED,
    {
        "file.remove": _("a file was deleted"),
        "file.lost": _("a file was found missing"),
        "purge.": _("deleted, since it was due"),
        "hold.": _("put on hold, or taken off"),
        "erase.begin": _("an erasure began"),
        "erase.done": _("an erasure was done and checked"),
        "erase.failed": _("an erasure could not be finished"),
        "request.": _("asked, answered or took back a request about data"),
        "backup.make": _("a backup was made"),
        "backup.restore": _("a backup was put back"),
    },
)
know(
    PEOPLE,
    {
        "person-invited": _("invited somebody"),
        "membership-ended": _("ended a membership"),
        "membership.from-plan": _("took somebody into the team by the plan"),
        "first-admin": _("the first admin was let in"),
        "let-in": _("was let in without mail"),
        "user-deactivated": _("an account was closed"),
        "user-reactivated": _("an account was opened again"),
        "factors-reset": _("second factors were reset"),
    },
)
know(WORK, {"job.": _("stopped a job, or began it again")})
know(SEEN, {"export.fetch": _("fetched an export"), "export.made": _("an export was made")})
