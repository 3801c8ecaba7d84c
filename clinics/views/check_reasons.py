"""Why a swim needs a look, in words a volunteer reads late in the evening."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence

from django.utils.translation import gettext as _

from clinics.compute.oddities import Go, Odd, Oddity, oddities
from clinics.compute.time import seconds_between
from clinics.models import Clinic, Swim


def odd_words(clinic: Clinic, swims: Sequence[Swim]) -> dict[uuid.UUID, list[str]]:
    """What cannot be right, by swim; only those that are odd."""
    by_key = {swim.pk: swim for swim in swims}
    first = swims[0].start_at if swims else dt.datetime.now(dt.UTC)
    goes = [
        Go(
            key=swim.pk,
            swimmer=swim.entry.swimmer_id,
            start_s=seconds_between(first, swim.start_at),
            lasts_s=clinic.distance_m / 100 * swim.entry.pace_s_per_100m,
            number=swim.entry.number,
            number_seen=swim.number_seen,
        )
        for swim in swims
    ]
    return {
        by_key[key].pk: [_odd_words(by_key[key], odd, by_key) for odd in found]  # type: ignore[index]
        for key, found in oddities(goes).items()
    }


def _odd_words(swim: Swim, odd: Odd, swims: dict[uuid.UUID, Swim]) -> str:
    if odd.what is Oddity.CARD:
        told = _("The card was read as %(seen)s, and %(name)s has number %(number)s.")
        number = swim.entry.number
        return told % {"seen": odd.number, "name": swim.entry.swimmer.name, "number": number}
    other = swims[odd.other]  # type: ignore[index]
    if odd.what is Oddity.TWICE:
        return _("%(name)s swims twice at once here: %(seconds).0f s between the two starts.") % {
            "name": swim.entry.swimmer.name,
            "seconds": odd.apart_s,
        }
    return _("The same start as %(name)s? Only %(seconds).1f s between the two.") % {
        "name": other.entry.swimmer.name,
        "seconds": odd.apart_s,
    }
