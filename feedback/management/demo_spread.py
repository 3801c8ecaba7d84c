"""So that the demo shows a swim among others without names: those of the kind swum most are given,
since only what is given counts. Who agrees to it stands in clinics/management/demo_consent.py."""

from __future__ import annotations

from collections import Counter

from clinics.actions.give import give_swim
from clinics.models import Clinic, Swim
from portal.models import User


def give_who_swam_alike(*, clinic: Clinic, by: User) -> int:
    """Of the stroke and start that most swims have that were passed on to this coach; how many
    were given. Repeated, it changes nothing."""
    passed = list(Swim.objects.coached_by(by).filter(entry__clinic=clinic).select_related("entry"))
    kinds = Counter((swim.entry.stroke, swim.entry.start) for swim in passed)
    if not kinds:
        return 0
    [(most, _count)] = kinds.most_common(1)
    alike = [swim for swim in passed if (swim.entry.stroke, swim.entry.start) == most]
    fresh = [swim for swim in alike if swim.given_at is None]
    for swim in fresh:
        give_swim(swim=swim, by=by)
    return len(fresh)
