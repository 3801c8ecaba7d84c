"""The club's texts: default words, versions that never change, who is asked again."""

from __future__ import annotations

import hashlib

import pytest
from django.core.exceptions import PermissionDenied

from clinics.actions.consent_names import as_shown, names_for
from clinics.actions.consent_texts import (
    LANGUAGES,
    TextRefused,
    default_text,
    publish_defaults,
    publish_text,
    texts_of,
)
from clinics.compute.consent_words import missing_places, sentence, unknown_places
from clinics.models import ClubRules, ConsentText, Purpose
from portal.models import AuditEntry, Membership
from portal.registry import health_checks
from tests.cast import DAY, Cast
from tests.clinics.consent_tools import FILM, GROUP, next_version, with_texts


@pytest.mark.parametrize("purpose", Purpose.values)
@pytest.mark.parametrize("language", LANGUAGES)
def test_default_text_stands_in_every_language(purpose: str, language: str) -> None:
    text = default_text(purpose, language)
    assert sentence(text).endswith((".", "!")) and len(text.split("\n\n")) >= 3
    assert unknown_places(text) == [] and missing_places(text, purpose) == []


def test_publishing_the_defaults_twice_makes_one_version(cast: Cast) -> None:
    assert publish_defaults(club=cast.harbour, by=cast.admin) == Purpose.values
    assert publish_defaults(club=cast.harbour, by=cast.admin) == []
    assert ConsentText.objects.filter(club=cast.harbour).count() == len(Purpose) * len(LANGUAGES)
    row = texts_of(cast.harbour).get(FILM, "fr")
    assert row is not None and row.text_sha256 == hashlib.sha256(row.text.encode()).hexdigest()


def test_editing_makes_the_next_version_and_leaves_the_published_one(cast: Cast) -> None:
    with_texts(cast)
    before = texts_of(cast.harbour).get(FILM, "en")
    assert before is not None
    next_version(cast)
    again = ConsentText.objects.get(pk=before.pk)
    assert (again.text, again.version) == (before.text, 1)
    texts = texts_of(cast.harbour)
    assert texts.version(FILM) == 2 and texts.version(GROUP) == 1
    noted = AuditEntry.objects.filter(action="consent-text.publish").latest("seq")
    assert "Harbour" not in noted.text and '"version":2' in noted.text


def test_who_agreed_before_is_outdated_only_by_a_version_that_asks(cast: Cast) -> None:
    with_texts(cast)
    first = texts_of(cast.harbour).get(FILM, "en")
    next_version(cast, ask_again=False)
    assert not texts_of(cast.harbour).outdated(FILM, first)
    assert not texts_of(cast.harbour).outdated(FILM, None)  # agreed before there were texts
    text_in = {lang: default_text(FILM, lang) for lang in LANGUAGES}
    publish_text(club=cast.harbour, purpose=FILM, text_in=text_in, ask_again=True, by=cast.admin)
    texts = texts_of(cast.harbour)
    assert texts.outdated(FILM, first) and texts.outdated(FILM, None)
    assert not texts.outdated(FILM, texts.get(FILM, "en"))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"fr": ""}, "Français is empty"),
        ({"en": "{controller} {checker} {team} {nobody}"}, r"\{nobody\} is no place"),
        ({"en": "I agree. {controller} and {team}."}, r"must name \{checker\}"),
        ({}, "Nothing was changed"),
    ],
)
def test_a_text_that_will_not_do_is_refused(cast: Cast, change: dict[str, str], says: str) -> None:
    with_texts(cast)
    text_in = {lang: default_text(FILM, lang) for lang in LANGUAGES} | change
    with pytest.raises(TextRefused, match=says):
        publish_text(
            club=cast.harbour, purpose=FILM, text_in=text_in, ask_again=True, by=cast.admin
        )
    assert texts_of(cast.harbour).version(FILM) == 1


@pytest.mark.parametrize("who", ["coach", "crew", "tomas", "other_admin"])
def test_only_an_admin_publishes(cast: Cast, who: str) -> None:
    with pytest.raises(PermissionDenied):
        publish_defaults(club=cast.harbour, by=getattr(cast, who))
    assert not ConsentText.objects.exists()


def test_the_text_names_controller_checker_and_visiting_team(cast: Cast) -> None:
    with_texts(cast)
    ClubRules.objects.create(club=cast.harbour, controller_name="Millrace Sports Trust")
    visiting = Membership.objects.get(user=cast.coach)
    visiting.until_date = DAY
    visiting.save()
    text = texts_of(cast.harbour).get(FILM, "en")
    assert text is not None
    shown = as_shown(text, names_for(cast.harbour, cast.clinic))
    assert "Millrace Sports Trust" in shown
    assert "the checker, Jun Sorley," in shown
    assert "from outside the club: Ines Aldana." in shown
    assert "{" not in shown


def test_a_text_changed_behind_our_back_is_red_on_the_health_page(cast: Cast) -> None:
    with_texts(cast)
    check = {check.name: check for check in health_checks.all()}["consent-texts"]
    assert check.run().ok
    ConsentText.objects.filter(purpose=GROUP, language="fr").update(text="J’accepte tout.")
    found = check.run()
    assert not found.ok and "Harbour Lane Masters" in str(found.sentence)
