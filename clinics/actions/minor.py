"""“A minor is in this clip”: put away at once, and two people find out.

Anyone who sees a clip may say so. From that instant nobody sees it; two people of the club, who
are admins or checkers and neither of whom said so, must come to the same answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from clinics.models import Clip, ClipFile, Duty, MinorReport, Share
from portal.actions.audit import record
from portal.actions.ledger import MINOR, note_withdrawn
from portal.actions.mail import queue_mail
from portal.models import Membership, StoredFile, User

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Club

Outcome = MinorReport.Outcome


@transaction.atomic
def report_minor(*, clip: Clip, by: User | None, share: Share | None = None) -> MinorReport | None:
    """`by` None: somebody with a share link, or anyone for whom the clip is published. None: the
    clip was put away meanwhile."""
    if MinorReport.objects.filter(clip=clip, resolved_at__isnull=True).exists():
        return None
    if not _sees(clip, by, share):
        raise PermissionDenied("only who sees the clip can say so")
    report = MinorReport.objects.create(clip=clip, reported_by=by)
    note_withdrawn(Clip._meta.label, clip.pk, MINOR)
    _note("minor.report", report, by)
    _tell_who_find_out(report)
    return report


def _sees(clip: Clip, by: User | None, share: Share | None) -> bool:
    clips = Clip.objects.filter(pk=clip.pk)
    if by is not None:
        return clips.visible_to(by).exists() or clips.handled_by(by).exists()
    return (clips.shared_by(share) if share is not None else clips.published()).exists()


@transaction.atomic
def find(*, report: MinorReport, outcome: str, by: User) -> MinorReport:
    """What one of the two found. The second with the same answer resolves it; another answer
    stands in place of the first, and waits for a second itself."""
    rows = MinorReport.objects.looked_into_by(by).filter(pk=report.pk, resolved_at__isnull=True)
    rows = MinorReport.objects.select_for_update(of=("self",)).filter(pk__in=rows.values("pk"))
    row = rows.select_related("clip__swim__entry__clinic__club").first()
    if row is None or row.reported_by_id == by.pk:
        raise PermissionDenied("two people find out, and neither may be who reported it")
    now = timezone.now()
    if row.outcome == outcome and row.first_by_id not in (None, by.pk):
        row.second_by, row.resolved_at = by, now
    else:
        row.outcome, row.first_by, row.first_at = outcome, by, now
    row.save()
    _note("minor.resolve" if row.resolved_at else "minor.find", row, by, outcome=outcome)
    if row.resolved_at and outcome == Outcome.DELETED:
        make_due(Clip.objects.filter(pk=row.clip_id))
    return row


@transaction.atomic
def note_look(*, report: MinorReport, by: User) -> None:
    """A checker looks at the film in order to find out."""
    _note("minor.look", report, by)


def make_due(clips: QuerySet[Clip]) -> int:
    """Their files go with the next purge. How many clips were not due yet."""
    now = timezone.now()
    files = ClipFile.objects.filter(clip__in=clips)
    for path in ("stored_id", "pts_table_id"):
        StoredFile.objects.filter(pk__in=files.values(path)).update(delete_by=now)
    return clips.update(delete_by=now)


def sweep() -> int:
    """A keeping rule that is counted anew dates clips again; what was found to show a minor
    stays due until it is gone."""
    found = Clip.objects.filter(minor_reports__outcome=Outcome.DELETED)
    found = found.filter(minor_reports__resolved_at__isnull=False, files__isnull=False)
    return make_due(Clip.objects.filter(pk__in=found.exclude(delete_by__lte=timezone.now())))


def _note(action: str, report: MinorReport, by: User | None, **detail: object) -> None:
    clip = report.clip
    told = {"clip": str(clip.pk), "swim": str(clip.swim_id), **detail}
    record(action=action, by=by, subject=report, club=_club(clip), detail=told)


def _club(clip: Clip) -> Club:
    return clip.swim.entry.clinic.club


def _tell_who_find_out(report: MinorReport) -> None:
    clip = report.clip
    for user in who_find_out(clip):
        if user.pk == report.reported_by_id:
            continue
        with translation.override(user.language):
            queue_mail(
                to=user.email,
                subject=_("A minor may be in a clip: please look into it"),
                body=_(
                    "Somebody says that a minor is in a clip of %(clinic)s. Nobody sees it now. "
                    "Two people of the club find out:\n\n%(url)s\n"
                )
                % {
                    "clinic": clip.swim.entry.clinic.name,
                    "url": settings.SITE_URL + reverse("clinics:minor-report", args=[report.pk]),
                },
            )


def who_find_out(clip: Clip) -> QuerySet[User]:
    """The club's admins and the clinic's checkers of today."""
    current = Membership.objects.current().filter(club=_club(clip))
    checking = Duty.objects.filter(clinic=clip.swim.entry.clinic_id, kind=Duty.Kind.CHECKER)
    checkers = current.filter(user_id__in=checking.values("user_id"))
    admins = current.filter(role=Membership.Role.ADMIN)
    ids = admins.values("user_id").union(checkers.values("user_id"))
    return User.objects.filter(pk__in=ids, is_active=True)
