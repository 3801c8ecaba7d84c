"""The audit trail shows when anything in it was changed, removed or moved."""

from __future__ import annotations

import datetime as dt
import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from portal.actions import audit_head
from portal.actions.audit import record, verify_chain
from portal.models import AuditEntry, OutboxMail
from tests.cast import Cast, sign_in
from tests.portal.trail import grow_trail


@pytest.fixture
def chain(cast: Cast) -> Cast:
    for n in range(5):
        record(action="tried", by=cast.admin, subject=cast.clinic, detail={"n": n})
    return cast


def verify() -> dict[str, object]:
    out = StringIO()
    call_command("verify_audit", "--json", stdout=out)
    return json.loads(out.getvalue())


def test_untouched_trail_is_whole(chain: Cast) -> None:
    said = verify()
    assert (said["whole"], said["count"], said["broken_at"]) == (True, 5, None)
    assert said["head"] == AuditEntry.objects.last().mac


@pytest.mark.parametrize(
    "harm",
    [
        lambda row: AuditEntry.objects.filter(pk=3).update(text=row.text.replace('"n":2', '"n":9')),
        lambda row: AuditEntry.objects.filter(pk=3).update(action="forgotten"),
        lambda row: AuditEntry.objects.filter(pk=3).update(actor_id=None),
        lambda row: AuditEntry.objects.filter(pk=3).update(
            text=AuditEntry.objects.get(pk=4).text, mac=AuditEntry.objects.get(pk=4).mac
        ),
    ],
)
def test_changed_row_is_named(chain: Cast, harm) -> None:
    harm(AuditEntry.objects.get(pk=3))
    assert verify_chain().broken_at == 3
    with pytest.raises(CommandError, match="Entry 3") as broken:
        call_command("verify_audit")
    assert broken.value.returncode == 1


def test_removed_row_is_noticed_at_the_next(chain: Cast) -> None:
    AuditEntry.objects.filter(pk=3).delete()
    assert verify_chain().broken_at == 4


def test_trail_signed_with_another_key_does_not_hold(chain: Cast, settings) -> None:
    settings.AUDIT_KEY = "another key"
    assert verify_chain().broken_at == 1


def test_cut_tail_shows_only_against_the_exported_head(chain: Cast) -> None:
    """A chain alone cannot know its own end; that is why the head is exported."""
    exported = verify()
    AuditEntry.objects.filter(pk=5).delete()
    now = verify()
    assert now["whole"] and (now["count"], now["head"]) != (exported["count"], exported["head"])


def test_denial_to_somebody_signed_in_is_chained_once_per_quarter_hour(
    cast: Cast, client: Client
) -> None:
    sign_in(client, cast.tomas)
    for _ in range(3):
        client.get("/clubs/harbour-lane-masters/people/")
    entry = AuditEntry.objects.get(action="denied")
    assert entry.actor_id == cast.tomas.pk
    assert json.loads(entry.text)["detail"]["ids"] == {"slug": "harbour-lane-masters"}
    client.get("/no/such/page/")
    assert AuditEntry.objects.filter(action="denied").count() == 1


def test_nobody_stuffs_the_chain(cast: Cast, client: Client) -> None:
    for n in range(3):
        client.get(f"/clubs/club-{n}/people/")
    assert not AuditEntry.objects.exists()
    sign_in(client, cast.tomas)
    for n in range(40):
        client.get(f"/clubs/club-{n}/people/")
    assert AuditEntry.objects.filter(action="denied").count() == 30


# --- the signed head ----------------------------------------------------------------------------


def head_file(tmp_path: Path) -> Path:
    out = StringIO()
    call_command("audit_head", stdout=out)
    path = tmp_path / "head.json"
    path.write_text(out.getvalue())
    return path


def test_trail_that_goes_on_from_the_head_holds(chain: Cast, tmp_path: Path) -> None:
    head = head_file(tmp_path)
    record(action="tried", by=None)
    call_command("verify_audit", "--head", str(head), stdout=StringIO())


def test_cut_tail_is_found_and_its_first_row_named(chain: Cast, tmp_path: Path) -> None:
    head = head_file(tmp_path)
    AuditEntry.objects.filter(pk__gte=4).delete()
    assert verify()["whole"]
    with pytest.raises(CommandError, match="Entry 4 is the first that is gone") as cut:
        call_command("verify_audit", "--head", str(head))
    assert cut.value.returncode == 1


def test_tail_that_was_cut_and_grown_again_is_found(chain: Cast, tmp_path: Path) -> None:
    """Whoever has the key can write another tail; the head from before tells it apart."""
    head = head_file(tmp_path)
    AuditEntry.objects.filter(pk__gte=4).delete()
    for _ in range(4):
        record(action="made up", by=None)
    assert verify()["whole"]
    with pytest.raises(CommandError, match="Entry 5 is not the one"):
        call_command("verify_audit", "--head", str(head))


def test_head_that_was_changed_is_refused(chain: Cast, tmp_path: Path) -> None:
    head = head_file(tmp_path)
    head.write_text(head.read_text().replace('"count": 5', '"count": 3'))
    with pytest.raises(CommandError, match="signature") as refused:
        call_command("verify_audit", "--head", str(head))
    assert refused.value.returncode == 2


def test_changed_time_and_swapped_rows_are_found(chain: Cast) -> None:
    at = AuditEntry.objects.get(pk=2).at
    AuditEntry.objects.filter(pk=2).update(at=at - dt.timedelta(days=1))
    assert verify_chain().broken_at == 2
    AuditEntry.objects.filter(pk=2).update(at=at)
    AuditEntry.objects.filter(pk=2).update(seq=99)
    AuditEntry.objects.filter(pk=3).update(seq=2)
    AuditEntry.objects.filter(pk=99).update(seq=3)
    assert verify_chain().broken_at == 2


def test_trail_is_verified_and_its_head_sent_once_a_day(
    chain: Cast, tmp_path: Path, settings, monkeypatch
) -> None:
    settings.AUDIT_HEAD_DIR, settings.AUDIT_HEAD_TO = str(tmp_path), "keeper@example.org"
    assert [audit_head.verify_and_send() for _ in range(3)] == [1, 0, 0]
    (path,) = tmp_path.iterdir()
    mail = OutboxMail.objects.get()
    assert mail.to == "keeper@example.org" and path.read_text() in mail.body
    assert audit_head.read(path.read_text()).count == 5
    tomorrow = timezone.now() + dt.timedelta(days=1)
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    assert audit_head.verify_and_send() == 1
    assert len(list(tmp_path.iterdir())) == 2


def test_broken_trail_is_red_on_the_health_page_and_its_head_goes_nowhere(
    chain: Cast, tmp_path: Path, settings
) -> None:
    settings.AUDIT_HEAD_DIR = str(tmp_path)
    AuditEntry.objects.filter(pk=3).update(action="forgotten")
    audit_head.verify_and_send()
    finding = audit_head.check_trail()
    assert not finding.ok and "Entry 3" in finding.sentence
    assert list(tmp_path.iterdir()) == []


def test_trail_holds_after_a_person_is_gone(chain: Cast) -> None:
    """Entries hold ids only, so nothing in them has to be changed."""
    actor = chain.admin.pk
    chain.admin.delete()
    assert AuditEntry.objects.filter(actor_id=actor).count() == 5
    assert verify_chain().broken_at is None


@pytest.mark.slow
def test_hundred_thousand_entries_are_all_looked_at(db: None) -> None:
    """How long that takes is tests/bench/bench_audit.py's."""
    grow_trail(100_000)
    assert verify_chain().count == 100_000
    AuditEntry.objects.filter(pk=99_999).update(action="forgotten")
    assert verify_chain().broken_at == 99_999
