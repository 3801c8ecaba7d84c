"""Share links: who has one sees one swim. Made and ended by its swimmer, counted, never for long.

Only hashes are kept of the token and of the pass phrase. What a link shows is the fence's to say,
on each request anew: a clip in which somebody else can be recognised is never in it.
"""

from __future__ import annotations

import datetime as dt
import secrets
from typing import TYPE_CHECKING

from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from clinics.models import Clip, Share, Swim
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import User

LONGEST = dt.timedelta(days=90)
OPEN_AT_MOST = 20  # links of one swim at a time


class ShareRefused(Exception):
    """A sentence for the swimmer."""


def _hash(token: str) -> str:
    return salted_hmac("feedback.share", token, algorithm="sha256").hexdigest()


def own_given(by: User) -> QuerySet[Swim]:
    """The user's own swims, as far as they were given: these they may show."""
    mine = Q(entry__swimmer__user_id=by.pk, given_at__isnull=False)
    return Swim.objects.reviewed_by(by).filter(mine)


@transaction.atomic
def make_share(
    *, swim: Swim, by: User, lasts: dt.timedelta, phrase: str = "", note: str = ""
) -> tuple[Share, str]:
    """The link and its token, which nobody can tell again. Refused where it would show nothing."""
    row = own_given(by).select_related("entry__clinic__club").filter(pk=swim.pk).first()
    if row is None:
        raise PermissionDenied("only its swimmer makes a link to a swim")
    if not dt.timedelta() < lasts <= LONGEST:
        raise ShareRefused(_("A link lasts for at most 90 days."))
    if open_shares(by).filter(swim=row).count() >= OPEN_AT_MOST:
        raise ShareRefused(_("There are many links to this swim already. End one first."))
    token = secrets.token_urlsafe(24)
    share = Share.objects.create(
        swim=row,
        token_hash=_hash(token),
        phrase_hash=make_password(phrase) if phrase else "",
        note=note,
        made_by=by,
        expires_at=timezone.now() + lasts,
    )
    if not Clip.objects.shared_by(share).exists():
        raise ShareRefused(
            _(
                "A link shows only clips in which nobody else can be recognised, and this swim has "
                "none. Ask the club to cover who else is in it."
            )
        )
    _note("share.make", share, by, expires=share.expires_at.isoformat(), phrase=bool(phrase))
    return share, token


def open_shares(by: User) -> QuerySet[Share]:
    now = timezone.now()
    return Share.objects.filter(made_by=by, ended_at__isnull=True, expires_at__gt=now)


@transaction.atomic
def end_share(*, share: Share, by: User) -> None:
    """From the next request on, the next byte range included. Ending it twice changes nothing."""
    rows = Share.objects.select_for_update(of=("self",)).filter(pk=share.pk, made_by=by)
    row = rows.select_related("swim__entry__clinic__club").first()
    if row is None:
        raise PermissionDenied("only who made a link ends it")
    if row.ended_at is None:
        row.ended_at = timezone.now()
        row.save(update_fields=["ended_at"])
        note_withdrawn(Share._meta.label, row.pk, "")
        _note("share.end", row, by)


# --- who has the link ---------------------------------------------------------------------------


def find_share(token: str) -> Share | None:
    """Whether or not it shows anything now."""
    return Share.objects.filter(token_hash=_hash(token)).first()


def says_phrase(share: Share, phrase: str) -> bool:
    return not share.phrase_hash or check_password(phrase, share.phrase_hash)


@transaction.atomic
def note_opening(*, share: Share, by: User | None) -> None:
    """Counted once for each browser; `by`: if they are signed in."""
    counted = {"opened": F("opened") + 1, "last_opened_at": timezone.now()}
    Share.objects.filter(pk=share.pk).update(**counted)
    _note("share.open", share, by)


def _note(action: str, share: Share, by: User | None, **detail: object) -> None:
    club = share.swim.entry.clinic.club
    told = {"swim": str(share.swim_id), **detail}
    record(action=action, by=by, subject=share, club=club, detail=told)
