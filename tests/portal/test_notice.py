"""The notice says what really applies: rules, texts, checkers, mail."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import ClubRules, ConsentText
from tests.cast import Cast, sign_in

URL = "portal:notice"


def test_a_stranger_reads_the_defaults_and_no_club(cast: Cast, client: Client) -> None:
    page = client.get(reverse(URL)).text
    assert "Harbour Lane" not in page and "Jun Sorley" not in page
    assert "30 days after the clinic is closed" in page and "at most 18 months" in page


def test_a_swimmer_reads_the_rules_of_the_club(cast: Cast, client: Client) -> None:
    ClubRules.objects.create(
        club=cast.harbour,
        controller_name="Harbour Lane Swimming Association",
        controller_address="1 Quay Street\nMillrace",
        originals_days=11,
        clips_after_next_days=1,
        measures_months=7,
        erase_after_days=3,
    )
    sign_in(client, cast.tomas)
    page = client.get(reverse(URL)).text
    assert "Harbour Lane Swimming Association" in page and "1 Quay Street<br>Millrace" in page
    assert "Original recordings: 11 days after" in page and "until 1 day after your next" in page
    assert "take-home pages: 7 months" in page and "deleted after 3 days" in page
    assert "Quillmoor" not in page


def test_it_names_who_checks_until_the_clinic_is_closed(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    assert "Autumn clinic: Jun Sorley" in client.get(reverse(URL)).text
    cast.clinic.state, cast.clinic.closed_at = "closed", cast.clinic.created_at
    cast.clinic.save()
    assert "Jun Sorley" not in client.get(reverse(URL)).text


def test_it_names_the_version_of_each_text_that_is_asked_for(cast: Cast, client: Client) -> None:
    for version in (1, 2):
        ConsentText.objects.create(
            club=cast.harbour,
            purpose="publish",
            version=version,
            language="en",
            text="May we?",
            text_sha256=str(version) * 64,
        )
    sign_in(client, cast.tomas)
    page = client.get(reverse(URL)).text
    assert "Harbour Lane Masters: version 2 of" in page and "version 1 of" not in page


@pytest.mark.parametrize(
    ("backend", "host", "sentence"),
    [
        ("django.core.mail.backends.smtp.EmailBackend", "smtp.millrace.example", "smtp.millrace"),
        ("django.core.mail.backends.smtp.EmailBackend", "localhost", "own machine"),
        ("portal.console_mail.EmailBackend", "", "sends no mail"),
    ],
)
def test_it_says_through_whose_hands_mail_goes(
    backend: str, host: str, sentence: str, settings: Any, cast: Cast, client: Client
) -> None:
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = backend, host
    assert sentence in client.get(reverse(URL)).text


def test_it_says_that_it_is_no_legal_advice_and_where_to_complain(
    cast: Cast, client: Client
) -> None:
    page = client.get(reverse(URL)).text
    assert "no legal advice" in page and "data protection authority" in page
