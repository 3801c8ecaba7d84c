"""Verifying the audit trail: 100,000 entries, against walking them without looking."""

from __future__ import annotations

import time

import pytest

from portal.actions.audit import verify_chain
from portal.models import AuditEntry
from tests.portal.trail import grow_trail

ENTRIES = 100_000
WITHIN_S = 10.0
AT_MOST = 6.0  # times a plain walk over the same rows


@pytest.mark.bench
def test_whole_trail_is_verified_in_seconds(db: None) -> None:
    grow_trail(ENTRIES)
    began = time.perf_counter()
    walked = sum(1 for _entry in AuditEntry.objects.order_by("seq").iterator(chunk_size=5000))
    plain_s = time.perf_counter() - began
    began = time.perf_counter()
    found = verify_chain()
    verified_s = time.perf_counter() - began
    print(f"{ENTRIES} entries: verified in {verified_s:.2f} s, plain walk {plain_s:.2f} s")
    assert (walked, found.count, found.broken_at) == (ENTRIES, ENTRIES, None)
    assert verified_s < WITHIN_S
    assert verified_s < AT_MOST * plain_s
