"""Takes in what a phone at the pool has stored meanwhile: any number of times, in any order,
without doubles.

Whatever comes is first kept as it was said; clocks, swims and wishes then follow from all that is
kept, so that the order in which things came changes nothing. Each item is taken by itself: one
that cannot be is refused with its reason and keeps no other one out.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from clinics.actions import log, phone_clocks, phones
from clinics.actions.errors import say as _
from clinics.actions.log_synced import Synced
from clinics.actions.log_words import take_station_words, take_wishes
from clinics.actions.persons import ERASED
from clinics.actions.settle_swims import settle_swims
from clinics.compute.phone_clock import summary
from clinics.compute.phone_sync import LINE, UNDONE, Body, LineSaid, Refused
from clinics.compute.time import from_epoch_ms, to_epoch_ms
from clinics.models import Clinic, Entry, Phone, StartLogEntry, TakenBack
from portal.actions.audit import record
from portal.models import User

ALIGN_AFTER_MS = 5.0
"""A start that moves by less changes no cut: a frame lasts four times as long, and taps scatter
by thirty times as much."""


@transaction.atomic
def take_in_sync(*, clinic: Clinic, body: Body, by: User) -> Synced:
    """Raises log.ClinicClosed, or BadInput if there are too many phones. Queries do not grow with
    the number of lines; exchanges and lines by the hundred are written in parts."""
    clinic = log.lock_open(clinic)
    phone = phones.heard(clinic=clinic, said=body.phone, by=by)
    phone_clocks.store_exchanges(phone, body.exchanges)
    phone_clocks.store_scans(phone, body.scans)
    done = Synced(refused=list(body.refused))
    entries = {entry.number: entry for entry in clinic.entries.select_related("swimmer")}
    new = _take_lines(clinic, phone, body.lines, entries, by, done)
    fitted = phone_clocks.refit(clinic=clinic, phone=phone)
    undone = _take_undone(clinic, body.undone, by, done)
    touched = {line.entry_id for line in [*new, *undone] if line.entry_id} | fitted.entries
    done.settled = settle_swims(clinic=clinic, entries=touched, was=fitted.was)
    now = timezone.now()
    if fitted.clock is not None:
        done.clock = summary({str(phone.pk): fitted.clock}, now_ms=to_epoch_ms(now))[0]
    ahead_ms = done.clock.ahead_ms if done.clock else None
    take_wishes(body.wishes, entries, ahead_ms, by, done)
    take_station_words(clinic, body.station_words, ahead_ms, by, done)
    _follow(clinic, phone, [*new, *undone], fitted, done, by)
    return done


# --- lines ---------------------------------------------------------------------------------------


def _take_lines(
    clinic: Clinic,
    phone: Phone,
    told: Iterable[LineSaid],
    entries: dict[int, Entry],
    by: User,
    done: Synced,
) -> list[StartLogEntry]:
    """The new ones; of those that are here already only a newer note is taken."""
    said = list(told)
    ids = {one.client_id for one in said}
    known = {line.client_id: line for line in _by_ids(clinic, ids)}
    taken_back = {
        row.client_id: row for row in TakenBack.objects.filter(clinic=clinic, client_id__in=ids)
    }
    new: dict[str, StartLogEntry] = {}
    noted: set[str] = set()
    for one in said:
        line = known.get(one.client_id) or new.get(one.client_id)
        if line is not None:
            if _take_note(line, one) and one.client_id in known:
                noted.add(one.client_id)
        elif one.number is not None and one.number not in entries:
            sentence = _("number %(number)s is not in the running order.", number=one.number)
            done.refused.append(Refused(LINE, one.client_id, (sentence,)))
            continue
        else:
            entry = entries[one.number] if one.number is not None else None
            new[one.client_id] = _line(clinic, phone, one, entry, by)
            if back := taken_back.get(one.client_id):
                new[one.client_id].undone_at = back.received_at
        done.kept.append(one.client_id)
    StartLogEntry.objects.bulk_create(new.values())
    StartLogEntry.objects.bulk_update([known[one] for one in noted], ["note", "noted_ms"])
    TakenBack.objects.filter(pk__in=[taken_back[pk].pk for pk in new if pk in taken_back]).delete()
    done.lines, done.words = len(new), len(noted)
    return list(new.values())


def _by_ids(clinic: Clinic, ids: Iterable[str]) -> Iterable[StartLogEntry]:
    lines = StartLogEntry.objects.filter(clinic=clinic, client_id__in=set(ids))
    return lines.select_related("entry__swimmer")


def _line(
    clinic: Clinic, phone: Phone, said: LineSaid, entry: Entry | None, by: User
) -> StartLogEntry:
    """As the phone had it. The instant is its wall clock's until the clock is fitted."""
    known_ms = said.consent_known_ms
    note = "" if _is_erased(entry) else said.note
    return StartLogEntry(
        clinic=clinic,
        client_id=said.client_id,
        entry=entry,
        instant=from_epoch_ms(said.wall_ms),
        clock_run=said.run,
        outcome=said.outcome,
        note=note,
        noted_ms=said.noted_ms if note else None,
        logged_by=by,
        phone=phone,
        monotonic_ms=said.monotonic_ms,
        wall_ms=said.wall_ms,
        clock_state=StartLogEntry.Clock.UNKNOWN,
        consent_shown=said.consent_shown,
        consent_known_at=None if known_ms is None else from_epoch_ms(known_ms),
    )


def _is_erased(entry: Entry | None) -> bool:
    return entry is not None and entry.swimmer.name == ERASED


def _take_note(line: StartLogEntry, said: LineSaid) -> bool:
    """The newest one holds. What was deleted for an erased person does not come back with a
    phone that sends the line once more: its note is no newer."""
    newer = line.noted_ms is None or said.noted_ms > line.noted_ms
    if _is_erased(line.entry) or not newer or not (said.note or line.note):
        return False
    line.note, line.noted_ms = said.note, said.noted_ms
    return True


def _take_undone(
    clinic: Clinic, told: Iterable[str], by: User, done: Synced
) -> list[StartLogEntry]:
    """Take lines back; of one that has not come yet it is remembered. A line whose swim has clips
    stays, and the phone is told."""
    ids = set(told)
    known = {line.client_id: line for line in _by_ids(clinic, ids)} if ids else {}
    fresh = [TakenBack(clinic=clinic, client_id=pk, taken_back_by=by) for pk in ids - known.keys()]
    TakenBack.objects.bulk_create(fresh, ignore_conflicts=True)
    going = [line for line in known.values() if line.undone_at is None]
    refusals = log.why_not_undone(clinic, going)
    now = timezone.now()
    taken = []
    for line in going:
        if line.pk in refusals:
            done.refused.append(Refused(UNDONE, line.client_id, tuple(refusals[line.pk].lines())))
        else:
            line.undone_at = now
            taken.append(line)
    refused = {line.client_id for line in going if line.pk in refusals}
    done.kept += sorted(ids - refused)
    done.undone = [str(line.pk) for line in taken]
    StartLogEntry.objects.filter(pk__in=done.undone).update(undone_at=now)
    return taken


# --- what follows --------------------------------------------------------------------------------


def _follow(
    clinic: Clinic,
    phone: Phone,
    lines: Iterable[StartLogEntry],
    fitted: phone_clocks.Refitted,
    done: Synced,
    by: User,
) -> None:
    if done.lines:
        log.open_clinic(clinic)
    in_picture = any(line.outcome in log.IN_PICTURE for line in lines)
    moved_ms = max(fitted.moved_ms, done.settled.moved_ms)
    if in_picture or done.settled.changed or moved_ms > ALIGN_AFTER_MS:
        log.align_anew(clinic, by)
    if done.changed:
        detail: dict[str, object] = {
            "phone": str(phone.pk),
            "lines": done.lines,
            "undone": done.undone,
            "swims": done.settled.made,
            "words": done.words,
        }
        record(action="start-log.synced", by=by, subject=clinic, club=clinic.club, detail=detail)
