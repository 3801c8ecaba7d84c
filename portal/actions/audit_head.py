"""The head of the audit trail, signed, to be kept off this machine.

A chain cannot know its own end: whoever cuts its tail leaves a shorter chain that holds. Against a
head that was sent away before, the cut shows.
"""

from __future__ import annotations

import datetime as dt
import hmac
import json
import logging
from dataclasses import asdict, dataclass
from pathlib import Path

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.actions import audit, health
from portal.actions.files import flush
from portal.actions.mail import queue_mail
from portal.models import AuditEntry, Heartbeat
from portal.registry import Finding

log = logging.getLogger("portal.audit")

STALE = dt.timedelta(days=3)


class NotAHead(Exception):
    """It is no head of this trail; the sentence says why."""


@dataclass(frozen=True)
class Head:
    """How many entries there are, the MAC of the last, when that was, and our signature."""

    count: int
    head: str
    at: str
    signature: str = ""

    def text(self) -> str:
        return f"head\n{self.count}\n{self.head}\n{self.at}"


def head_now() -> Head:
    last = AuditEntry.objects.order_by("-seq").values_list("seq", "mac").first()
    count, mac = last or (0, audit.GENESIS)
    head = Head(count, mac, timezone.now().isoformat())
    return Head(head.count, head.head, head.at, audit.signed(head.text()))


def as_json(head: Head) -> str:
    return json.dumps(asdict(head), indent=1) + "\n"


def read(text: str) -> Head:
    """A head as it was sent away, if this site signed it. Raises NotAHead."""
    try:
        head = Head(**json.loads(text))
        signature = audit.signed(head.text())
    except (ValueError, TypeError) as problem:
        raise NotAHead("It cannot be read.") from problem
    if not hmac.compare_digest(str(head.signature), signature):
        raise NotAHead("Its signature is not of this AUDIT_KEY: it was changed, or is another's.")
    return head


def what_is_wrong(head: Head) -> str:
    """A sentence if the trail does not go on from that head, else nothing."""
    if head.count == 0:
        return ""
    mac = AuditEntry.objects.filter(seq=head.count).values_list("mac", flat=True).first()
    if mac is None:
        now = AuditEntry.objects.count()
        return (
            f"The trail was cut: on {head.at} it had {head.count} entries, now {now}. "
            f"Entry {now + 1} is the first that is gone."
        )
    if mac != head.head:
        return f"Entry {head.count} is not the one that stood there on {head.at}."
    return ""


# --- every day --------------------------------------------------------------------------------


def verify_and_send() -> int:
    """A step of the sweep: once a day (UTC) the whole trail is verified and its head sent away."""
    last = Heartbeat.objects.filter(name=health.AUDIT).first()
    if last is not None and last.seen_at.date() == timezone.now().date():
        return 0
    found = audit.verify_chain()
    health.beat(name=health.AUDIT, detail={"count": found.count, "broken_at": found.broken_at})
    if found.broken_at is not None:
        log.error("the audit trail does not hold at entry %d", found.broken_at)
        return 0
    _send(head_now())
    return 1


def _send(head: Head) -> None:
    if settings.AUDIT_HEAD_DIR:
        write_to(Path(settings.AUDIT_HEAD_DIR), head)
    if settings.AUDIT_HEAD_TO:
        queue_mail(
            to=settings.AUDIT_HEAD_TO,
            subject=_("Audit trail: %(count)d entries") % {"count": head.count},
            body=_(
                "Keep this mail. With the lines below in a file, “manage.py verify_audit --head "
                "FILE” shows whether anything was cut off since.\n\n%(head)s"
            )
            % {"head": as_json(head)},
        )


def write_to(folder: Path, head: Head) -> Path:
    """One file a day; whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"head-{head.at[:10]}.json"
    half = path.with_suffix(".half")
    half.write_text(as_json(head))
    flush(half)
    half.replace(path)
    flush(folder)
    return path


def check_trail() -> Finding:
    """For the health page: what the last daily walk found."""
    last = Heartbeat.objects.filter(name=health.AUDIT).first()
    if last is None:
        return Finding(True, _("Not verified yet: the sweep does it once a day."))
    broken_at = last.detail.get("broken_at")
    if broken_at is not None:
        return Finding(
            False,
            _("Entry %(seq)d does not fit. Run: manage.py verify_audit") % {"seq": broken_at},
        )
    if timezone.now() - last.seen_at > STALE:
        return Finding(False, _("Last verified more than three days ago. Is the sweep running?"))
    sentence = _("%(count)d entries, whole.") % {"count": last.detail.get("count", 0)}
    if not (settings.AUDIT_HEAD_DIR or settings.AUDIT_HEAD_TO):
        sentence += " " + _("Its head is sent nowhere: set AUDIT_HEAD_TO or AUDIT_HEAD_DIR.")
    return Finding(True, sentence)
