"""What phones say beside the start log: who comes late or goes again, and how a station is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

from django.utils import timezone

from clinics.actions.errors import say as _
from clinics.actions.log_synced import Synced
from clinics.compute.phone_sync import STATION_WORD, WISH, Refused, StationWordSaid, WishSaid
from clinics.compute.time import from_epoch_ms, to_epoch_ms
from clinics.models import Clinic, DayWish, Entry, StationWord, WishWord
from portal.models import User


def take_wishes(
    told: Iterable[WishSaid],
    entries: Mapping[int, Entry],
    ahead_ms: float | None,
    by: User,
    done: Synced,
) -> None:
    """Of all words on one kind of wish of one swimmer the newest holds, by the phone's own time of
    day, and what is gone stays gone: `WishWord` remembers it, `DayWish` follows."""
    said = [one for one in told if _known(one, entries, done)]
    if not said:
        return
    known = {
        (word.entry_id, word.kind): word
        for word in WishWord.objects.filter(entry__in=[entries[one.number] for one in said])
    }
    now_ms, newer = to_epoch_ms(timezone.now()), {}
    for one in said:
        key = entries[one.number].pk, one.kind
        word = _word(one, entries[one.number], now_ms)
        if key not in known or _age(word) > _age(known[key]):
            known[key] = newer[key] = word
    words = list(newer.values())
    WishWord.objects.bulk_create(
        words,
        update_conflicts=True,
        unique_fields=["entry", "kind"],
        update_fields=["client_id", "gone", "from_at", "said_ms"],
    )
    DayWish.objects.bulk_create(
        [_wish(word, ahead_ms, by) for word in words if not word.gone],
        update_conflicts=True,
        unique_fields=["entry", "kind"],
        update_fields=["client_id", "from_at", "said_at", "said_by"],
    )
    for kind in DayWish.Kind.values:
        gone = [word.entry_id for word in words if word.gone and word.kind == kind]
        DayWish.objects.filter(entry__in=gone, kind=kind).delete()
    done.words += len(words)


def _known(one: WishSaid, entries: Mapping[int, Entry], done: Synced) -> bool:
    if one.number in entries:
        done.kept.append(one.client_id)
        return True
    sentence = _("number %(number)s is not in the running order.", number=one.number)
    done.refused.append(Refused(WISH, one.client_id, (sentence,)))
    return False


def _word(said: WishSaid, entry: Entry, now_ms: float) -> WishWord:
    return WishWord(
        entry=entry,
        kind=said.kind,
        client_id=said.client_id,
        gone=said.gone,
        from_at=None if said.from_ms is None else from_epoch_ms(said.from_ms),
        said_ms=now_ms if said.wall_ms is None else said.wall_ms,
    )


def _age(word: WishWord) -> tuple[float, bool, str]:
    """What is gone at the same moment is gone."""
    return word.said_ms, word.gone, word.client_id


def _wish(word: WishWord, ahead_ms: float | None, by: User) -> DayWish:
    return DayWish(
        entry_id=word.entry_id,
        kind=word.kind,
        client_id=word.client_id,
        from_at=word.from_at if word.kind == DayWish.Kind.LATE else None,
        said_by=by,
        said_at=_said_at(word.said_ms, ahead_ms),
    )


def take_station_words(
    clinic: Clinic,
    told: Iterable[StationWordSaid],
    ahead_ms: float | None,
    by: User,
    done: Synced,
) -> None:
    """What the crew says of a camera; of all words on a station the newest holds."""
    said = list(told)
    if not said:
        return
    stations = set(clinic.stations.values_list("pk", flat=True))
    ours = [one for one in said if one.station in stations]
    for one in said:
        if one.station not in stations:
            sentence = _("this station is not of this clinic.")
            done.refused.append(Refused(STATION_WORD, one.client_id, (sentence,)))
    ids = [one.client_id for one in ours]
    words = StationWord.objects.filter(station__in=stations, client_id__in=ids)
    known = set(words.values_list("station", "client_id"))
    rows = [
        StationWord(
            station_id=one.station,
            client_id=one.client_id,
            state=one.state,
            at=_said_at(one.wall_ms, ahead_ms),
            said_by=by,
        )
        for one in ours
        if (one.station, one.client_id) not in known
    ]
    StationWord.objects.bulk_create(rows, ignore_conflicts=True)
    done.kept += ids
    done.words += len(rows)


def _said_at(wall_ms: float, ahead_ms: float | None) -> dt.datetime:
    """By the server's clock as far as it is known how much the phone's is ahead, and not later
    than it comes."""
    return min(from_epoch_ms(max(wall_ms - (ahead_ms or 0.0), 0.0)), timezone.now())
