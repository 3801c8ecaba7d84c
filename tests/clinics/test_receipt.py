"""Receipts: page, PDF and JSON, checked against a written mapping to ISO/IEC TS 27560.

What is mandatory is taken from the table “ISO 27560:2023, EU GDPR, and DPV” of the public guide
“Consent Records and Receipts as per ISO/IEC TS 27560:2023 using DPV” (W3C DPVCG,
https://w3id.org/dpv/guides/consent-27560). It is written down here a second time, so that a
line lost from the mapping shows.
"""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.consent import How, end_consent
from clinics.actions.consent_answers import take_answers
from clinics.actions.consent_receipt import facts_of, receipt_of
from clinics.compute.receipt import MAPPING, at_path
from clinics.models import Consent, ConsentText
from portal.pdf_out import NotFetched, laid_out, pdf_bytes
from portal.registry import health_checks
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import COUNT, FILM, GROUP, newcomer, next_version, with_texts, yes

MANDATORY = {  # the guide's table, column “required?”
    "header": "schema_version record_id pii_principal_id",
    "receipt": "receipt_id schema_version",
    "processing": "privacy_notice language purpose pii_information pii_type pii_controllers "
    "storage_locations retention_period jurisdiction recipient_third_parties withdrawal_method",
    "party": "party_id party_name party_address party_contact party_type",
    "event": "event_time validity_duration entity_id event_type event_state",
}
LINK = How(method=Consent.Method.LINK)


@pytest.fixture
def given(cast: Cast) -> Consent:
    bela = newcomer(with_texts(cast))
    return take_answers(swimmer=bela, answers=yes(FILM), how=LINK, clinic=cast.clinic)[0]


@pytest.mark.parametrize("part", MANDATORY)
def test_every_mandatory_element_is_mapped_and_present(given: Consent, part: str) -> None:
    document = json.loads(json.dumps(receipt_of(given)))
    mapped = {element.name: element for element in MAPPING if element.part == part}
    for name in MANDATORY[part].split():
        assert mapped[name].mandatory and mapped[name].source == "guide", name
        at_path(document, mapped[name].path)


def test_the_mapping_promises_nothing_that_is_not_there(given: Consent) -> None:
    document = receipt_of(given)
    for element in MAPPING:
        at_path(document, element.path)


def told(consent: Consent) -> Any:
    return receipt_of(Consent.objects.get(pk=consent.pk))


def test_the_receipt_says_who_what_when_and_with_which_text(cast: Cast, given: Consent) -> None:
    document = told(given)
    text = ConsentText.objects.get(club=cast.harbour, purpose=FILM, language="en")
    notice = document["processing"]["privacy_notice"]
    assert (notice["version"], notice["sha256"]) == (1, text.text_sha256)
    assert "the checker, Jun Sorley," in notice["text_as_shown"]
    assert document["record"]["pii_principal_id"] == str(given.swimmer_id)
    assert document["events"][0]["event_state"] == "given"
    assert document["events"][0]["event_time"] == f"{given.given_at:%Y-%m-%dT%H:%M:%S}Z"
    assert document["parties"][0]["party_name"] == "Harbour Lane Masters"


def test_states_refused_withdrawn_and_replaced(cast: Cast, given: Consent) -> None:
    bela = given.swimmer
    refused = take_answers(swimmer=bela, answers=yes(no=(GROUP,)), how=LINK)[0]
    assert [event["event_state"] for event in told(refused)["events"]] == ["refused"]
    next_version(cast)
    second = take_answers(swimmer=bela, answers=yes(FILM), how=LINK)[0]
    assert [event["event_state"] for event in told(given)["events"]] == ["given", "replaced"]
    end_consent(swimmer=bela, purpose=FILM, by=cast.admin)
    assert [event["event_state"] for event in told(second)["events"]] == ["given", "withdrawn"]


def test_the_text_stays_as_shown_although_people_change(cast: Cast, given: Consent) -> None:
    cast.checker.name = "Somebody Else"
    cast.checker.save()
    assert "Jun Sorley" in told(given)["processing"]["privacy_notice"]["text_as_shown"]


def test_an_answer_without_a_text_says_so(cast: Cast) -> None:
    page = sign_in(Client(), cast.tomas)
    row = cast.swims["tomas"].entry.swimmer.consents.get()
    body = page.get(reverse("clinics:receipt", args=[row.pk])).content.decode()
    assert "before the club had published a text" in body


def test_page_json_and_pdf_are_of_the_same_answer(cast: Cast, given: Consent) -> None:
    client = sign_in(Client(), cast.admin)
    page = client.get(reverse("clinics:receipt", args=[given.pk])).content.decode()
    assert str(given.pk) in page and "Jun Sorley" in page
    data = client.get(reverse("clinics:receipt-json", args=[given.pk]))
    assert data.json()["record"]["record_id"] == str(given.pk)
    assert "attachment" in data["Content-Disposition"]
    paper = client.get(reverse("clinics:receipt-pdf", args=[given.pk]))
    assert paper["Content-Type"] == "application/pdf" and paper.content.startswith(b"%PDF-")
    assert "no-store" in paper["Cache-Control"] and "private" in paper["Cache-Control"]
    words = words_in(given)
    assert "Bela Roan" in words and "in force" in words and "Jun Sorley" in words


def test_a_french_text_has_its_receipt_in_french_words(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    answers = type(yes())(choices={FILM: True}, language="fr")
    row = take_answers(swimmer=bela, answers=answers, how=LINK)[0]
    notice = told(row)["processing"]
    assert notice["language"] == "fr"
    assert notice["privacy_notice"]["text_as_shown"].startswith("J’accepte que l’on me filme")


def words_in(consent: Consent) -> str:
    """What stands on the pages of the PDF, as it was laid out."""
    told = {"consent": consent, "facts": facts_of(consent), "club": consent.swimmer.club}
    pages = laid_out("clinics/receipt_pdf.html", told | {"issued_at": timezone.now()}).pages
    boxes = [box for page in pages for box in page._page_box.descendants()]
    return re.sub(r"\s+", " ", " ".join(box.text for box in boxes if hasattr(box, "text")))


def test_a_pdf_fetches_nothing(tmp_path: Any, settings: Any) -> None:
    """Neither a URL nor a file, whatever a template or a name says."""
    (tmp_path / "secret.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    settings.TEMPLATES = [{**settings.TEMPLATES[0], "DIRS": [str(tmp_path)]}]
    (tmp_path / "named.html").write_text("<p>{{ name }}</p>")
    (tmp_path / "linked.html").write_text(f'<img src="file://{tmp_path}/secret.svg">')
    name = f'<img src="file://{tmp_path}/secret.svg"><img src="http://127.0.0.1:9/x.png">'
    assert pdf_bytes("named.html", {"name": name}).startswith(b"%PDF-")  # words, not a picture
    with pytest.raises(NotFetched, match="fetches nothing"):
        pdf_bytes("linked.html", {})


def test_names_are_escaped_in_the_pdf(cast: Cast) -> None:
    bela = newcomer(with_texts(cast), "<b>Bela</b> & Co")
    row = take_answers(swimmer=bela, answers=yes(FILM), how=LINK)[0]
    assert "<b>Bela</b> & Co" in words_in(row)


def test_without_the_text_libraries_the_page_says_what_to_do(
    cast: Cast, given: Consent, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("portal.pdf_out.libraries_are_there", lambda: False)
    client = sign_in(Client(), cast.admin)
    answer = client.get(reverse("clinics:receipt-pdf", args=[given.pk]))
    assert answer.status_code == 503 and b"Print the page instead" in answer.content
    checks = {check.name: check for check in health_checks.all()}
    found = checks["pdf"].run()
    assert not found.ok and "libpango" in str(found.sentence)


def test_a_receipt_about_measures_says_nothing_of_film(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    row = take_answers(swimmer=bela, answers=yes(COUNT, adult=True), how=LINK)[0]
    told_of = told(row)["processing"]
    about = [one["pii_type"] for one in told_of["purposes"][0]["pii_information"]]
    assert about == ["measures of swimming: times, speeds, distances, stroke rates"]
    assert "without names" in told_of["purposes"][0]["processing_method"][1]
    for element in MAPPING:
        at_path(told(row), element.path)


def test_texts_of_receipts_about_film_stay_as_they_were(given: Consent) -> None:
    purpose = told(given)["processing"]["purposes"][0]
    kinds = [one["pii_type"] for one in purpose["pii_information"]]
    assert kinds == ["video and sound of swimming", "name"]
    assert purpose["collection_method"] == "fixed cameras at the pool"
