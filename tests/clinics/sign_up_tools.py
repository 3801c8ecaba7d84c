"""What the tests of signing up share: a clinic ahead with an open sheet, and people who sign up."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from typing import Any

from django.test import Client
from django.utils import timezone

from clinics.actions.consent_answers import Answers
from clinics.actions.sign_up import Details, confirm, sign_up
from clinics.actions.sign_up_notes import Notes
from clinics.actions.sign_up_sheet import set_sheet
from clinics.models import Clinic, SignUp, SignUpSheet
from portal.models import OutboxMail, User
from tests.cast import Cast
from tests.clinics.consent_tools import COACHES, COUNT, FILM, GROUP, PUBLISH, with_texts

FORM, SENT, MINE, END = "/sign-up/", "/sign-up/sent/", "/sign-up/mine/", "/sign-up/mine/end/"
EVERY = (FILM, GROUP, COUNT, COACHES, PUBLISH)
BELA, BELA_MAIL = "Bela Roan", "bela.roan@harbourlane.example"
HURTS, WISH = "left shoulder, since spring", "my breathing on the turn"
State = SignUp.State


def ahead(clinic: Clinic) -> Clinic:
    """The cast's clinic has its day in three weeks."""
    Clinic.objects.filter(pk=clinic.pk).update(date=timezone.localdate() + dt.timedelta(days=21))
    clinic.refresh_from_db()
    return clinic


def open_sheet(cast: Cast, *, places: int = 40) -> SignUpSheet:
    with_texts(cast)
    ahead(cast.clinic)
    values = {"is_open": True, "places": places}
    return set_sheet(clinic=cast.clinic, values=values, by=cast.admin)


def answers(*agreed: str) -> Answers:
    choices = {purpose: purpose in agreed for purpose in EVERY}
    return Answers(choices=choices, language="en", adult=True, versions=dict.fromkeys(EVERY, 1))


def asks(
    sheet: SignUpSheet,
    name: str = BELA,
    email: str = BELA_MAIL,
    *,
    pace: float = 95.0,
    agreed: tuple[str, ...] = (FILM,),
    by: User | None = None,
    **more: Any,
) -> SignUp:
    """The form is sent, and nobody has confirmed it yet."""
    return sign_up(
        sheet=sheet,
        name=name,
        email=email,
        details=Details("backstroke", "water", pace),
        notes=Notes(WISH, HURTS),
        answers=answers(*agreed),
        by=by,
        **more,
    )


def signs_up(sheet: SignUpSheet, name: str = BELA, email: str = "", **more: Any) -> SignUp:
    """And confirmed from the mail."""
    row = asks(sheet, name, email or mail_of(name), **more)
    row = confirm(sign_up=row)
    row.refresh_from_db()
    return row


def mail_of(name: str) -> str:
    return f"{name.lower().replace(' ', '.')}@harbourlane.example"


def filled(name: str = BELA, email: str = BELA_MAIL, **more: Any) -> dict[str, Any]:
    """What a browser sends with the form."""
    told = {
        "name": name,
        "email": email,
        "adult": "on",
        "stroke": "backstroke",
        "start": "water",
        "time": "0:42",
        "over_m": "50",
        "look_at": WISH,
        "injuries": HURTS,
        "language": "en",
        "client_id": str(uuid.uuid4()),
        FILM: "on",
    }
    return told | {f"version-{purpose}": 1 for purpose in EVERY} | more


def at_sheet(sheet: SignUpSheet, client: Client | None = None) -> Client:
    """A browser that has opened the club's link."""
    client = client or Client()
    answer = client.get(f"/sign-up/{sheet.token}/")
    assert (answer.status_code, answer["Location"]) == (303, FORM)
    return client


def last_mail(to: str = BELA_MAIL) -> OutboxMail:
    return OutboxMail.objects.filter(to=to).latest("created_at")


def link_in(mail: OutboxMail) -> str:
    found = re.search(r"https?://[^/\s]+(/sign-up/mine/\S+)", mail.body)
    assert found is not None, mail.body
    return found[1]


def opened(email: str = BELA_MAIL, client: Client | None = None) -> Client:
    """A browser that has opened the last mail's link."""
    client = client or Client()
    answer = client.get(link_in(last_mail(email)))
    assert (answer.status_code, answer["Location"]) == (303, MINE)
    return client


def page_of(client: Client, path: str) -> str:
    return client.get(path).content.decode()
