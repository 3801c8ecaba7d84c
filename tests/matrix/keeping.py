"""Keeping rules, holds, and copies outside."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from clinics.models import Custody
from portal.models import Hold
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import Row

ROWS: dict[str, Row] = {
    "clinics:keeping": Row("club", get="A"),
    "clinics:keeping-rules": Row("club", get="A", post="A"),
    "clinics:clinic-keeping": Row("clinic", get="A"),
    "clinics:holds": Row("club", get="A"),
    "clinics:hold": Row("swim to hold", get="A", post="A"),
    "clinics:hold#of another club": Row("other swim to hold"),
    "clinics:hold-end": Row("hold", post="A"),
    "clinics:custody": Row("clinic", get="KRA", post="KRA"),
    "clinics:custody-note": Row("carrier", post="KRA"),
}


class KeepingThings(CastThings):
    def swim_to_hold(self, key: str = "tomas") -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug, "kind": "swim", "of": self.cast.swims[key].pk}

    def other_swim_to_hold(self) -> dict[str, Any]:
        return self.swim_to_hold("other")

    def hold(self) -> dict[str, Any]:
        row = Hold.objects.create(
            subject_kind="clinics.Swim",
            subject_id=self.cast.swims["wren"].pk,
            reason="asked for by the insurer",
            owner=self.cast.admin,
            review_on=timezone.localdate(),
        )
        return {"slug": self.cast.harbour.slug, "pk": row.pk}

    def carrier(self) -> dict[str, Any]:
        about = {"kind": "card", "label": "A 1", "holder": "Petra Voss"}
        return self._pk(Custody.objects.create(clinic=self.cast.clinic, **about))
