"""The deletion ledger holds what was committed, survives a torn line, and names a bad one."""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path

import pytest
from django.db import transaction

from portal.actions import ledger
from portal.ledger_line import Line

ONE, TWO, THREE = (f"00000000-0000-4000-8000-00000000000{n}" for n in (1, 2, 3))


@pytest.fixture(autouse=True)
def own_ledger(settings, tmp_path: Path) -> Path:
    settings.LEDGER_FILE = tmp_path / "ledger" / "deletions.jsonl"
    return settings.LEDGER_FILE


@pytest.mark.django_db(transaction=True)
def test_what_is_noted_is_read_back_after_commit(own_ledger: Path) -> None:
    with transaction.atomic():
        ledger.note_deleted("clinics.Swim", ONE)
        ledger.note_deleted("portal.StoredFile", TWO, "ab" * 32)
        ledger.note_withdrawn("clinics.Swimmer", THREE, "publish")
        assert list(ledger.lines()) == []
    told = [(line.what, line.kind, line.id, line.sha256, line.purpose) for line in ledger.lines()]
    assert told == [
        ("deleted", "clinics.Swim", ONE, "", ""),
        ("deleted", "portal.StoredFile", TWO, "ab" * 32, ""),
        ("withdrawn", "clinics.Swimmer", THREE, "", "publish"),
    ]
    assert own_ledger.stat().st_mode & 0o077 == 0, "nobody else reads it"


@pytest.mark.django_db(transaction=True)
def test_what_is_rolled_back_is_not_noted() -> None:
    with pytest.raises(RuntimeError), transaction.atomic():
        ledger.note_deleted("clinics.Swim", ONE)
        raise RuntimeError
    assert list(ledger.lines()) == []


@pytest.mark.django_db(transaction=True)
def test_line_is_on_the_disk_when_the_call_returns(monkeypatch) -> None:
    synced: list[int] = []
    really = os.fsync

    def fsync(number: int) -> None:
        synced.append(number)
        really(number)

    monkeypatch.setattr(os, "fsync", fsync)
    ledger.note_deleted("clinics.Swim", ONE)
    synced.clear()
    ledger.note_deleted("clinics.Swim", TWO)
    assert len(synced) == 1


@pytest.mark.django_db(transaction=True)
def test_nothing_commits_when_the_ledger_cannot_be_written(own_ledger: Path) -> None:
    own_ledger.parent.mkdir()
    own_ledger.mkdir()  # a folder in its place
    with pytest.raises(IsADirectoryError), transaction.atomic():
        ledger.note_deleted("clinics.Swim", ONE)


@pytest.mark.django_db(transaction=True)
def test_torn_line_spoils_no_later_one_and_is_named(own_ledger: Path) -> None:
    ledger.note_deleted("clinics.Swim", ONE)
    with own_ledger.open("a") as torn:
        torn.write('{"at":"2026-11-2')
    ledger.note_deleted("clinics.Swim", TWO)
    assert [json.loads(t).get("id") for t in own_ledger.read_text().splitlines()[::2]] == [
        ONE,
        TWO,
    ]
    with pytest.raises(ledger.LedgerBroken, match="Line 2 of"):
        list(ledger.lines())


@pytest.mark.django_db(transaction=True)
def test_number_is_refused_since_it_is_given_out_again() -> None:
    with pytest.raises(ValueError, match="UUID"):
        ledger.note_deleted("portal.DueWarning", 17)


@pytest.mark.django_db(transaction=True)
def test_later_state_is_told_from_another_ledger(own_ledger: Path) -> None:
    assert ledger.goes_on_from(ledger.extent())
    ledger.note_deleted("clinics.Swim", ONE)
    before = ledger.extent()
    ledger.note_deleted("clinics.Swim", TWO)
    assert ledger.goes_on_from(before)
    own_ledger.write_text(own_ledger.read_text().splitlines(keepends=True)[1])
    assert not ledger.goes_on_from(before)


def test_writers_at_once_mix_no_lines() -> None:
    """Threads stand for processes: each opens the file anew and asks for its lock."""

    def write(who: int) -> None:
        for n in range(50):
            ledger._append(Line("2026-11-14T10:00:00+00:00", "deleted", "k", f"{who}-{n}"))

    threads = [threading.Thread(target=write, args=[who]) for who in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({line.id for line in ledger.lines()}) == 200
