"""Mail goes by way of the outbox: written with the change that it tells of, sent by a job."""

from __future__ import annotations

from collections.abc import Callable

from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from portal.models import Job, OutboxMail

JOB_KIND = "send-mail"
SENT_LONG_AGO = "(This text held a sign-in code and was removed when the mail was sent.)"


@transaction.atomic
def queue_mail(
    *, to: str, subject: str, body: str, secret: bool = False, deliver: bool = True
) -> OutboxMail:
    """Write a mail to the outbox and ask for it to be sent once this transaction commits.

    `secret`: the body holds a sign-in code and is blanked as soon as it is sent.
    `deliver=False`: written and worked off alike but never sent; that is how asking for a
    code for an unknown address looks the same from outside.
    """
    from portal.actions.jobs import enqueue

    mail = OutboxMail.objects.create(
        to=to.strip(),
        subject=" ".join(subject.split())[:200],
        body=body,
        secret=secret,
        state=OutboxMail.State.WAITING if deliver else OutboxMail.State.DROPPED,
    )
    enqueue(kind=JOB_KIND, subject=mail, priority=10)
    return mail


def send_mail_job(job: Job, pulse: Callable[..., None]) -> None:
    """The run of the job kind `send-mail`."""
    mail = OutboxMail.objects.filter(pk__in=[job.subject_id]).first()
    if mail is not None:
        deliver_mail(mail=mail)


def deliver_mail(*, mail: OutboxMail) -> None:
    """Send a waiting mail. May run twice: a mail that is sent or dropped is left alone.

    If the process dies between the mail server's yes and our note of it, the next attempt
    sends it once more. A mail twice is better than a mail never.
    """
    if mail.state == OutboxMail.State.DROPPED:
        OutboxMail.objects.filter(pk=mail.pk).update(body="")
        return
    if mail.state == OutboxMail.State.SENT:
        return
    try:
        EmailMessage(subject=mail.subject, body=mail.body, to=[mail.to]).send()
    except Exception as error:
        OutboxMail.objects.filter(pk=mail.pk).update(
            attempts=mail.attempts + 1, reason=f"{type(error).__name__}: {error}"[:500]
        )
        raise  # the job tries again
    OutboxMail.objects.filter(pk=mail.pk).update(
        state=OutboxMail.State.SENT,
        sent_at=timezone.now(),
        attempts=mail.attempts + 1,
        reason="",
        body=SENT_LONG_AGO if mail.secret else mail.body,
    )


def mail_failed(job: Job) -> None:
    """No more attempts: the outbox says so, and a code in it does not stay there."""
    failed = OutboxMail.objects.filter(pk__in=[job.subject_id], state=OutboxMail.State.WAITING)
    failed.filter(secret=True).update(body=SENT_LONG_AGO)
    failed.update(state=OutboxMail.State.FAILED)
