"""Lines of the start log and the swims that hang on them: how sure a tap is, which swims nobody
takes away, what a line says to who compares several. Settling is settle_swims.py's."""

from __future__ import annotations

import datetime as dt
import math
import uuid
from collections.abc import Collection

from django.db.models import Exists, Max, OuterRef, Q

from clinics.compute.log_file import TOO_CLOSE_S
from clinics.compute.logged_starts import Logged
from clinics.models import Clinic, Clip, Duty, StartLogEntry, Swim, Tie

# Standard uncertainty of a tapped start against the other starts of its clinic. From the
# project's own experiment: taps scatter by 80 ms, and one in ten is up to 0.4 s later still:
# sqrt(0.08² + 0.1 * 0.4² - (0.1 * 0.4)²) = 0.144 s. How late taps are as a whole (about
# 0.2 s) shifts all alike and is not part of it.
TAP_U_MS = 150.0
# of a phone's clock of which nothing is known but what it showed: set by hand, as a rule within a
# minute (common practice, no source)
UNKNOWN_CLOCK_U_MS = 60_000.0
AWAY = StartLogEntry.Outcome.AWAY
TOO_CLOSE = dt.timedelta(seconds=TOO_CLOSE_S)


def tap_u_ms(line: StartLogEntry) -> float:
    """Standard uncertainty of a start as tapped, with that of the phone's clock."""
    if line.clock_state == StartLogEntry.Clock.SERVER:
        return TAP_U_MS
    clock_ms = UNKNOWN_CLOCK_U_MS if line.clock_u_ms is None else line.clock_u_ms
    return round(math.hypot(TAP_U_MS, clock_ms), 1)


def is_worked_on() -> Q:
    """Swims that nobody takes away with the line they hang on."""
    made = Clip.objects.filter(swim_id=OuterRef("pk"), files__isnull=False)
    tied = Tie.objects.filter(swim_id=OuterRef("pk"), found_by=Tie.FoundBy.PERSON)
    return Q(Exists(made)) | Q(Exists(tied)) | Q(passed_at__isnull=False)


def make_swim(line: StartLogEntry) -> Swim:
    """One more go, for a line that is a start of its own."""
    last = Swim.objects.filter(entry=line.entry).aggregate(last=Max("go"))["last"] or 0
    StartLogEntry.objects.filter(pk=line.pk).update(had_swim=True)
    return Swim.objects.create(**as_tapped(line), go=last + 1)


def as_tapped(line: StartLogEntry) -> dict[str, object]:
    """What a swim of this line begins with."""
    assert line.entry_id is not None  # every line that makes a swim names its swimmer
    return {
        "entry_id": line.entry_id,
        "log_entry": line,
        "start_at": line.instant,
        "start_kind": Swim.StartKind.TAP,
        "start_u_ms": tap_u_ms(line),
    }


def as_logged(line: StartLogEntry, *, loggers: Collection[uuid.UUID], swims_s: float) -> Logged:
    """The line as clinics/compute/logged_starts.py takes it. Asks for `entry` and `phone`."""
    phone = line.phone
    return Logged(
        client_id=line.client_id,
        key=str(line.pk),
        number=line.entry.number if line.entry else None,
        outcome=line.outcome,
        instant=line.instant,
        u_ms=line.clock_u_ms,
        by_server=line.clock_state == StartLogEntry.Clock.SERVER,
        phone=str(phone.pk if phone else line.logged_by_id),
        phone_name=phone.name if phone else "",
        is_logger=line.logged_by_id in loggers,
        swims_s=swims_s,
    )


def loggers_of(clinic: Clinic) -> set[uuid.UUID]:
    """Whose duty it is."""
    duties = Duty.objects.filter(clinic=clinic, kind=Duty.Kind.LOGGER)
    return set(duties.values_list("user_id", flat=True))


def starts_away(clinic: Clinic) -> int:
    """How many starts were logged away, however many phones logged each. One query."""
    lines = clinic.start_log.filter(outcome=AWAY, undone_at__isnull=True)
    count, first = 0, dict[uuid.UUID | None, dt.datetime]()
    for entry, instant in lines.order_by("instant").values_list("entry", "instant"):
        if entry not in first or instant - first[entry] >= TOO_CLOSE:
            first[entry] = instant
            count += 1
    return count
