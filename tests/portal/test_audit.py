"""The audit trail shows when anything in it was changed, removed or moved (trust 32)."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from portal.actions.audit import record, verify_chain
from portal.models import AuditEntry
from tests.cast import Cast, sign_in


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
