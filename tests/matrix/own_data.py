"""One's own data: taking along, erasing, what is kept of a swim."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from tests.cast import make_stored
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import SIGNED_IN, Row

ROWS: dict[str, Row] = {
    "clinics:my-data": Row(get=SIGNED_IN),
    "clinics:my-data-take": Row("person", post="S"),
    "clinics:my-data-erase": Row("person", get="S", post="S"),
    "clinics:my-data-write": Row("person", post="S"),
    "clinics:my-data-file": Row("export", get="S"),
    "clinics:my-data-take-back": Row("erasure to come", post="S"),
    "clinics:my-data-swim": Row("swim", get="S", post="S"),
    "clinics:my-data-swim#not passed": Row("unchecked swim"),
    "clinics:my-data-swim#withdrawn": Row("withdrawn swim", get="X", post="X"),
    "clinics:my-data-swim#elsewhere": Row("swim elsewhere", get="s", post="s"),
    "portal:job#export": Row("export job", get="S", post="S"),
}


class OwnDataThings(CastThings):
    def person(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"].entry.swimmer)

    def export(self) -> dict[str, Any]:
        stored = make_stored(self.cast.harbour, b"PK", kind="export", suffix=".zip")
        stored.delete_by = timezone.now() + dt.timedelta(days=7)
        stored.save()
        return self._pk(self._request("take-along", "done", stored=stored))

    def export_job(self) -> dict[str, Any]:
        row = self._request("take-along", "running")
        return self._pk(self._job("make-export", row, self.cast.tomas))

    def erasure_to_come(self) -> dict[str, Any]:
        return self._pk(self._request("erase", "waiting"))
