"""Answers in whatever way they come: purpose by purpose, late ones, twice, and again."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from clinics.actions.consent import ConsentRefused, How, end_consent, record_consent
from clinics.actions.consent_answers import take_answers
from clinics.actions.consent_names import names_for
from clinics.actions.consent_state import State, Why, standings_now
from clinics.actions.consent_texts import texts_of
from clinics.models import Clip, Consent, Duty, Swimmer
from portal.actions.jobs import enqueue
from portal.actions.ledger import lines
from portal.models import Job
from tests.cast import Cast
from tests.clinics.consent_tools import (
    COACHES,
    FILM,
    GROUP,
    in_force,
    newcomer,
    next_version,
    with_texts,
    yes,
)

LINK = How(method=Consent.Method.LINK)


def state(cast: Cast, swimmer: Swimmer, purpose: str = FILM) -> tuple[State, Why]:
    swimmer = Swimmer.objects.get(pk=swimmer.pk)
    names = names_for(cast.harbour, cast.clinic)
    found = standings_now(swimmer, texts_of(cast.harbour), names)[purpose]
    return found.state, found.why


def test_each_purpose_is_a_choice_by_itself(cast: Cast) -> None:
    """Refusing the optional ones never blocks the base consent."""
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM, no=(GROUP, COACHES)), how=LINK)
    assert in_force(bela) == {FILM}
    refused = Consent.objects.get(swimmer=bela, purpose=GROUP)
    assert refused.choice == "refuses" and refused.ended_at == refused.given_at
    assert state(cast, bela, GROUP)[0] == State.REFUSED


def test_an_answer_keeps_the_text_and_who_stood_in_it(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK, clinic=cast.clinic)
    Duty.objects.filter(clinic=cast.clinic).delete()
    kept = Consent.objects.get(swimmer=bela)
    assert kept.text == texts_of(cast.harbour).get(FILM, "en")
    assert kept.names["checkers"] == ["Jun Sorley"] and kept.clinic == cast.clinic


def test_agreed_without_a_text_stays_in_force(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    assert state(cast, tomas) == (State.AGREES, Why.NONE)
    assert Clip.objects.filter(swim=cast.swims["tomas"]).visible_to(cast.coach).count() == 3
    next_version(cast)
    assert state(cast, tomas) == (State.AGAIN, Why.TEXT)
    assert Clip.objects.filter(swim=cast.swims["tomas"]).visible_to(cast.coach).count() == 3


def test_a_new_checker_is_a_reason_to_ask_and_one_who_left_is_none(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK, clinic=cast.clinic)
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="checker")
    assert state(cast, bela) == (State.AGAIN, Why.NAMES)
    Duty.objects.filter(clinic=cast.clinic).delete()
    assert state(cast, bela) == (State.AGREES, Why.NONE)


def test_agreeing_with_the_new_checker_in_the_text_settles_it(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK, clinic=cast.clinic)
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="checker")
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK, clinic=cast.clinic)
    assert state(cast, bela) == (State.AGREES, Why.NONE)
    current = Consent.objects.get(swimmer=bela, ended_at__isnull=True)
    assert current.names["checkers"] == ["Jun Sorley", "Petra Voss"]


def test_agreeing_to_the_next_version_replaces_and_deletes_nothing(cast: Cast) -> None:
    tomas, swim = cast.swims["tomas"].entry.swimmer, cast.swims["tomas"]
    with_texts(cast)
    next_version(cast)
    take_answers(swimmer=tomas, answers=yes(FILM), how=LINK)
    rows = list(Consent.objects.filter(swimmer=tomas).order_by("given_at"))
    assert len(rows) == 2 and rows[0].ended_at == rows[1].given_at and rows[1].ended_at is None
    swim.refresh_from_db()
    assert swim.delete_by is None and not Job.objects.filter(kind="align").exists()
    assert not [line for line in lines() if line.id == str(tomas.pk)]
    assert state(cast, tomas)[0] == State.AGREES


def test_a_no_where_there_was_a_yes_withdraws(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    waits = enqueue(kind="render-clip", subject=cast.clips["tomas"][0])
    take_answers(swimmer=tomas, answers=yes(no=(FILM,)), how=LINK)
    assert in_force(tomas) == set()
    assert Clip.objects.filter(swim=cast.swims["tomas"]).visible_to(cast.coach).count() == 0
    assert Job.objects.get(pk=waits.pk).state == "cancelled"


def test_withdrawing_another_purpose_leaves_what_is_being_made(cast: Cast) -> None:
    """For that purpose only."""
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    take_answers(swimmer=tomas, answers=yes(GROUP), how=LINK)
    waits = enqueue(kind="render-clip", subject=cast.clips["tomas"][0])
    end_consent(swimmer=tomas, purpose=GROUP, by=cast.tomas)
    assert in_force(tomas) == {FILM} and state(cast, tomas, GROUP)[0] == State.ENDED
    assert Job.objects.get(pk=waits.pk).state == "waiting"


def test_the_same_answer_once_more_changes_nothing(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    for _ in range(2):
        take_answers(swimmer=bela, answers=yes(FILM, no=(GROUP,)), how=LINK)
    assert Consent.objects.filter(swimmer=bela).count() == 2


def test_sent_twice_is_kept_once(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    how = How(method=Consent.Method.POOL, by=cast.crew, client_id="phone-0001")
    for _ in range(2):
        take_answers(swimmer=bela, answers=yes(FILM, no=(GROUP,)), how=how)
    assert Consent.objects.filter(swimmer=bela).count() == 2 and in_force(bela) == {FILM}


def test_what_comes_late_never_undoes_what_was_said_after_it(cast: Cast) -> None:
    """A phone without network: agreed at ten, withdrew at eleven, sent at noon."""
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK)
    ended = end_consent(swimmer=bela, purpose=FILM, by=cast.admin)
    assert ended is not None and ended.ended_at is not None
    at = ended.ended_at - dt.timedelta(hours=1)
    how = How(method=Consent.Method.POOL, by=cast.crew, client_id="phone-0002", at=at)
    take_answers(swimmer=bela, answers=yes(FILM), how=how)
    late = Consent.objects.get(client_id="phone-0002")
    assert in_force(bela) == set() and late.ended_at is not None
    assert state(cast, bela)[0] == State.ENDED


def test_a_late_no_does_not_end_a_later_yes(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    take_answers(swimmer=bela, answers=yes(FILM), how=LINK)
    at = timezone.now() - dt.timedelta(hours=1)
    how = How(method=Consent.Method.PAPER, by=cast.admin, at=at)
    take_answers(swimmer=bela, answers=yes(no=(FILM,)), how=how)
    assert in_force(bela) == {FILM} and Consent.objects.filter(swimmer=bela).count() == 2


def test_the_version_that_was_read_is_the_one_kept(cast: Cast) -> None:
    """The club publishes another while somebody reads."""
    bela = newcomer(with_texts(cast))
    next_version(cast)
    take_answers(swimmer=bela, answers=yes(FILM, versions={FILM: 1}), how=LINK)
    kept = Consent.objects.get(swimmer=bela)
    assert kept.text is not None and kept.text.version == 1
    assert state(cast, bela) == (State.AGAIN, Why.TEXT)
    with pytest.raises(ConsentRefused, match="no such version"):
        take_answers(swimmer=bela, answers=yes(FILM, versions={FILM: 7}), how=LINK)


def test_adults_only(cast: Cast) -> None:
    """Without saying so nothing is agreed to; saying no needs none."""
    bela = newcomer(with_texts(cast))
    Swimmer.objects.filter(pk=bela.pk).update(adult_attested_at=None)
    with pytest.raises(ConsentRefused, match="18 or older"):
        take_answers(swimmer=bela, answers=yes(FILM, no=(GROUP,)), how=LINK)
    assert not Consent.objects.filter(swimmer=bela).exists()
    take_answers(swimmer=bela, answers=yes(no=(FILM,)), how=LINK)
    take_answers(swimmer=bela, answers=yes(FILM, adult=True), how=LINK)
    bela.refresh_from_db()
    assert bela.adult_attested_at is not None and in_force(bela) == {FILM}


def test_an_admin_records_against_the_current_text(cast: Cast) -> None:
    bela = newcomer(with_texts(cast))
    first = record_consent(swimmer=bela, purpose=FILM, by=cast.admin)
    assert first.text is not None and first.names["checkers"] == ["Jun Sorley"]
    assert record_consent(swimmer=bela, purpose=FILM, by=cast.admin) == first
    next_version(cast)
    second = record_consent(swimmer=bela, purpose=FILM, by=cast.admin)
    assert second != first and second.text is not None and second.text.version == 2
