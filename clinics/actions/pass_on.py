"""Passing swims on to the coaches: what must be known of a swim before, and why one stays."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.check_rows import audit_swim, for_checking
from clinics.actions.give import give
from clinics.models import Clinic, Consent, Swim
from clinics.privacy import FILM_AND_REVIEW

if TYPE_CHECKING:
    from portal.models import User


@dataclass(frozen=True)
class NotPassed:
    """A swim that stays with the checker, and why."""

    swim: Swim
    reasons: tuple[str, ...]


def reasons_not_to_pass(swim: Swim, agreeing: set[uuid.UUID]) -> tuple[str, ...]:
    """Why a swim must stay with the checker; empty: it can be passed on.

    `agreeing`: of `who_agrees`. Clips and recognised people are read as prefetched, so that
    a board can ask for each row without asking the database.
    """
    reasons: list[str] = []
    if swim.person == Swim.Person.WRONG:
        reasons.append(_("The swimmer says: this is not me. Look who it is."))
    elif swim.person != Swim.Person.CONFIRMED:
        reasons.append(_("Nobody has confirmed who it is."))
    if swim.others_recorded_at is None:
        reasons.append(_("Nobody has recorded who else can be recognised."))
    if swim.entry.swimmer_id not in agreeing:
        reasons.append(_("The swimmer does not agree to be filmed."))
    against = [row.swimmer for row in swim.recognised.all() if row.swimmer_id not in agreeing]
    if against:
        hidden = _covered_in(swim)
        against = [other for other in against if other.pk not in hidden]
    if against:
        names = ", ".join(sorted(other.name for other in against))
        reasons.append(
            _(
                "%(names)s can be recognised and does not agree to be filmed. The swim is "
                "withheld until that changes, until they are covered in its clips, or until "
                "nobody but the swimmer can be recognised."
            )
            % {"names": names}
        )
    return (*reasons, *_reasons_of_clips(swim))


def _covered_in(swim: Swim) -> set[uuid.UUID]:
    """Who is covered in a clip that was made since: they need not agree to be seen in that one.
    The fence keeps back the swim's other clips by itself."""
    return {
        mask.covers_id
        for clip in swim.clips.all()
        for mask in clip.masks.all()
        if mask.covers_id and clip.rendered_at and mask.made_at < clip.rendered_at
    }


def _reasons_of_clips(swim: Swim) -> list[str]:
    states = [clip.state for clip in swim.clips.all()]
    being_made = sum(state in {"waiting", "rendering"} for state in states)
    if being_made:
        told = ngettext(
            "%(count)d clip is still being made, so nobody has looked at it.",
            "%(count)d clips are still being made, so nobody has looked at them.",
            being_made,
        )
        return [told % {"count": being_made}]
    return [] if "ready" in states else [_("It has no clip to look at.")]


def who_agrees(swims: Iterable[Swim]) -> set[uuid.UUID]:
    """Of the swimmers and all who can be recognised in their swims: who agrees to be filmed."""
    swims = list(swims)
    people = {swim.entry.swimmer_id for swim in swims}
    people |= {row.swimmer_id for swim in swims for row in swim.recognised.all()}
    consents = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    return set(consents.filter(swimmer_id__in=people).values_list("swimmer_id", flat=True))


def is_passed_whole(swim: Swim) -> bool:
    """Passed on, and no clip was made anew since."""
    passed_at = swim.passed_at
    return passed_at is not None and not any(
        clip.rendered_at is None or clip.rendered_at > passed_at
        for clip in swim.clips.all()
        if clip.state == "ready"
    )


@transaction.atomic
def pass_swims(*, swims: Iterable[Swim], by: User) -> tuple[list[Swim], list[NotPassed]]:
    """Pass swims on to the coaches; those that cannot be come back with the reasons.

    Where the clinic gives at once, the swimmers get theirs with it. What is passed on whole
    already is left alone.
    """
    passed: list[Swim] = []
    refused: list[NotPassed] = []
    for asked in swims:
        swim = for_checking(asked, by)
        reasons = reasons_not_to_pass(swim, who_agrees([swim]))
        if reasons:
            refused.append(NotPassed(swim, reasons))
            continue
        if not is_passed_whole(swim):
            swim.passed_at, swim.passed_by = timezone.now(), by
            swim.save(update_fields=["passed_at", "passed_by"])
            audit_swim("swim.pass", swim, by)
            if swim.entry.clinic.give == Clinic.Give.AT_ONCE:
                give(swim, by)
        passed.append(swim)
    return passed, refused
