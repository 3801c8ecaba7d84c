"""Recording consents without a browser."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from clinics.models import Consent
from portal.models import AuditEntry
from tests.cast import Cast


@pytest.fixture
def nobody_agreed(cast: Cast) -> Cast:
    Consent.objects.all().delete()
    return cast


def test_record_consent_names_who_agreed_and_leaves_an_audit_entry(nobody_agreed: Cast) -> None:
    out = StringIO()
    slug, admin = nobody_agreed.clinic.slug, nobody_agreed.admin
    call_command("record_consent", slug, "1", "3", by=admin.email, stdout=out)
    assert "1 Tomas Birk" in out.getvalue()
    agreed = Consent.objects.filter(ended_at__isnull=True)
    assert {c.swimmer.name for c in agreed} == {"Tomas Birk", "Sol Hagen"}
    assert AuditEntry.objects.filter(action="consent.record", actor_id=admin.pk).count() == 2


def test_record_consent_twice_changes_nothing(nobody_agreed: Cast) -> None:
    for _ in range(2):
        call_command(
            "record_consent",
            nobody_agreed.clinic.slug,
            all=True,
            by=nobody_agreed.admin.email,
            stdout=StringIO(),
        )
    assert Consent.objects.count() == 3


@pytest.mark.parametrize(
    ("words", "by", "said"),
    [
        (["harbour-autumn", "1", "77"], "admin", "number 77"),
        (["harbour-autumn", "1"], "coach", "no admin of Harbour Lane Masters"),
        (["harbour-autumn"], "admin", "--all"),
        (["no-such"], "admin", "No clinic"),
    ],
)
def test_record_consent_refuses_and_records_nothing(
    nobody_agreed: Cast, words: list[str], by: str, said: str
) -> None:
    with pytest.raises(CommandError, match=said) as refused:
        call_command("record_consent", *words, by=getattr(nobody_agreed, by).email)
    assert refused.value.returncode == 2
    assert not Consent.objects.exists()
