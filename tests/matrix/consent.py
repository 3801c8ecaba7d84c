"""Consent: asked, given, ended, its texts and receipts."""

from __future__ import annotations

from typing import Any

from clinics.actions.consent_ask import make_link
from clinics.actions.consent_texts import publish_defaults
from tests.cast import make_still, make_stored
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import ANYONE, SIGNED_IN, Row

ROWS: dict[str, Row] = {
    "clinics:consent": Row("clinic", get="A"),
    "clinics:consent-record": Row("entry", post="A"),
    "clinics:consent-end": Row("entry", post="A"),
    "clinics:consent-csv": Row("clinic", get="A"),
    "clinics:consent-ask": Row("clinic", post="A"),
    "clinics:consent-blank": Row("asking clinic", get="A"),
    "clinics:consent-link": Row("entry", post="A"),
    "clinics:consent-paper": Row("entry", get="A", post="A"),
    "clinics:consent-pool": Row("clinic", get="KR", post="KR"),
    "clinics:consent-sheet": Row("signed sheet", get="SA"),
    "clinics:consent-texts": Row("club", get="A"),
    "clinics:consent-texts-begin": Row("club", post="A"),
    "clinics:consent-ask-again": Row("club", post="A"),
    "clinics:consent-text": Row("club text", get="A", post="A"),
    "clinics:my-consent": Row(get=SIGNED_IN),
    "clinics:my-consent-give": Row("choice", post="S"),
    "clinics:my-consent-end": Row("choice", post="S"),
    "clinics:sign-link": Row("personal link", get=ANYONE),
    "clinics:sign": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-end": Row(post=ANYONE),
    "clinics:receipt": Row("answer", get="SA"),
    "clinics:receipt-pdf": Row("answer", get="SA"),
    "clinics:receipt-json": Row("answer", get="SA"),
}


class ConsentThings(CastThings):
    def choice(self) -> dict[str, Any]:
        swimmer = self.cast.swims["tomas"].entry.swimmer
        return {"pk": swimmer.pk, "purpose": "film-and-review"}

    def asking_clinic(self) -> dict[str, Any]:
        publish_defaults(club=self.cast.harbour, by=self.cast.admin)
        return self.clinic()

    def club_text(self) -> dict[str, Any]:
        return {**self.club(), "purpose": "film-and-review"}

    def signed_sheet(self) -> dict[str, Any]:
        row = self.cast.swims["tomas"].entry.swimmer.consents.get()
        still = make_still((240, 240, 235))
        row.sheet = make_stored(self.cast.harbour, still, kind="consent-sheet", suffix=".jpg")
        row.save()
        return self._pk(row)

    def answer(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"].entry.swimmer.consents.get())

    def personal_link(self) -> dict[str, Any]:
        swimmer, by = self.cast.swims["tomas"].entry.swimmer, self.cast.admin
        link = make_link(swimmer=swimmer, clinic=self.cast.clinic, by=by)
        return {"token": link.rstrip("/").rsplit("/", 1)[1]}
