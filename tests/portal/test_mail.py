"""The outbox: written at once, sent by a job, secrets blanked."""

from __future__ import annotations

import dataclasses
import sys

import pytest
from django.core import mail
from django.db import transaction
from django.test import override_settings

from portal.actions.job_worker import drain
from portal.actions.mail import deliver_mail, queue_mail
from portal.models import Job, OutboxMail
from portal.registry import job_kinds


class Unplugged:
    """A mail server that does not answer."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        pass

    def send_messages(self, messages: list[object]) -> int:
        raise ConnectionRefusedError("no mail server")


def test_queued_mail_is_sent_by_a_job_and_kept(db: None) -> None:
    queue_mail(to="wren.okada@harbourlane.example", subject="Two\nlines", body="Hello")
    assert mail.outbox == []
    drain()
    assert [(m.subject, m.body) for m in mail.outbox] == [("Two lines", "Hello")]
    kept = OutboxMail.objects.get()
    assert (kept.state, kept.body, kept.sent_at is not None) == ("sent", "Hello", True)


def test_secret_body_is_blanked_after_sending(db: None) -> None:
    queue_mail(to="wren.okada@harbourlane.example", subject="Code", body="31415926", secret=True)
    drain()
    assert mail.outbox[0].body == "31415926"
    assert "31415926" not in OutboxMail.objects.get().body


def test_mail_on_the_terminal_shows_the_code_on_a_line_of_its_own(
    db: None, capfd: pytest.CaptureFixture[str], settings
) -> None:
    settings.EMAIL_BACKEND = "portal.console_mail.EmailBackend"
    queue_mail(to="wren.okada@harbourlane.example", subject="Code", body="Code:\n\n    1234 5678\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.__stdout__", sys.stdout)
        drain()
    assert "\n    1234 5678\n" in capfd.readouterr().out


def test_sending_twice_sends_once(db: None) -> None:
    queued = queue_mail(to="wren.okada@harbourlane.example", subject="Once", body="Hello")
    drain()
    deliver_mail(mail=OutboxMail.objects.get(pk=queued.pk))
    assert len(mail.outbox) == 1


def test_dropped_mail_is_worked_off_but_never_sent(db: None) -> None:
    queue_mail(to="no.one@elsewhere.example", subject="x", body="y", secret=True, deliver=False)
    drain()
    assert mail.outbox == []
    assert (OutboxMail.objects.get().state, OutboxMail.objects.get().body) == ("dropped", "")


def test_mail_of_a_change_that_is_undone_is_never_sent(transactional_db: None) -> None:
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        queue_mail(to="wren.okada@harbourlane.example", subject="x", body="y")
        raise ZeroDivisionError
    assert not OutboxMail.objects.exists() and not Job.objects.exists()


@override_settings(EMAIL_BACKEND="tests.portal.test_mail.Unplugged")
def test_mail_that_cannot_be_sent_ends_as_failed_with_the_reason(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    soon = dataclasses.replace(job_kinds.get("send-mail"), retry_s=0.01)
    monkeypatch.setitem(job_kinds._items, "send-mail", soon)
    queued = queue_mail(to="wren.okada@harbourlane.example", subject="x", body="1", secret=True)
    drain()
    queued.refresh_from_db()
    assert (queued.state, queued.attempts) == ("failed", 3)
    assert "no mail server" in queued.reason
    assert queued.body != "1"
