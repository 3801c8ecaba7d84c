"""What a checker does with a swim, and what is refused, with the reason."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from clinics.actions import check as acts
from clinics.actions.check_rows import CheckRefused
from clinics.actions.close_clinic import close_clinic, mark_checked
from clinics.actions.pass_on import pass_swims, reasons_not_to_pass
from clinics.models import Clip, Consent, Recognised, Swim
from portal.actions.audit import verify_chain
from portal.models import AuditEntry, OutboxMail
from tests.cast import FIRST_START, Cast, make_clip, make_entry, make_swim


def unchecked(swim: Swim) -> Swim:
    """As it comes from cutting: nobody has looked."""
    Swim.objects.filter(pk=swim.pk).update(
        person="unconfirmed",
        person_by=None,
        others_recorded_at=None,
        others_recorded_by=None,
        passed_at=None,
        passed_by=None,
        given_at=None,
        given_by=None,
    )
    return Swim.objects.get(pk=swim.pk)


@pytest.fixture
def swim(cast: Cast) -> Swim:
    return unchecked(cast.swims["tomas"])


def swimmer(cast: Cast, name: str) -> Any:
    return cast.swims[name].entry.swimmer


def looked_at(swim: Swim, by: Any) -> Swim:
    acts.confirm_person(swim=swim, by=by, person_number=swim.entry.number)
    return acts.record_others(swim=swim, swimmers=[], by=by)


def kept(swim: Swim, by: Any) -> str:
    passed, refused = pass_swims(swims=[swim], by=by)
    assert passed == [] and len(refused) == 1
    assert Swim.objects.get(pk=swim.pk).passed_at is None
    return " ".join(refused[0].reasons)


def actions_noted(swim: Swim) -> list[str]:
    entries = AuditEntry.objects.filter(subject_id=str(swim.pk)).order_by("seq")
    return list(entries.values_list("action", flat=True))


# --- who is it, and who else -----------------------------------------


def test_confirming_by_number_and_by_face(cast: Cast, swim: Swim) -> None:
    acts.confirm_person(swim=swim, by=cast.checker, person_number=1)
    row = Swim.objects.get(pk=swim.pk)
    assert (row.person, row.number_seen, row.person_by) == ("confirmed", 1, cast.checker)
    acts.confirm_person(swim=swim, by=cast.checker, person_number=1)
    acts.confirm_person(swim=swim, by=cast.checker)
    assert Swim.objects.get(pk=swim.pk).number_seen is None
    assert actions_noted(swim) == ["swim.confirm_person"] * 2


def test_another_number_is_refused_and_says_whose_it_is(cast: Cast, swim: Swim) -> None:
    with pytest.raises(CheckRefused, match="Number 2 is Wren Okada.*Tomas Birk, number 1"):
        acts.confirm_person(swim=swim, by=cast.checker, person_number=2)
    with pytest.raises(CheckRefused, match="Nobody in this clinic has number 77"):
        acts.confirm_person(swim=swim, by=cast.checker, person_number=77)
    assert Swim.objects.get(pk=swim.pk).person == "unconfirmed"


@pytest.mark.parametrize("who", ["coach", "crew", "admin", "tomas", "other_admin", "other_coach"])
def test_only_the_checker_checks(cast: Cast, swim: Swim, who: str) -> None:
    by = getattr(cast, who)
    for act in (
        lambda: acts.confirm_person(swim=swim, by=by),
        lambda: acts.record_others(swim=swim, swimmers=[], by=by),
        lambda: pass_swims(swims=[swim], by=by),
        lambda: acts.reassign(swim=swim, entry=cast.swims["wren"].entry, by=by),
        lambda: mark_checked(clinic=cast.clinic, by=by),
    ):
        with pytest.raises(PermissionDenied):
            act()
    assert actions_noted(swim) == []
    assert Swim.objects.get(pk=swim.pk).person == "unconfirmed"


def test_others_replace_what_was_recorded_and_nobody_is_a_choice(cast: Cast, swim: Swim) -> None:
    wren, sol = swimmer(cast, "wren"), swimmer(cast, "sol")
    acts.record_others(swim=swim, swimmers=[wren, sol], by=cast.checker)
    acts.record_others(swim=swim, swimmers=[sol], by=cast.checker)
    assert [row.swimmer for row in swim.recognised.all()] == [sol]
    acts.record_others(swim=swim, swimmers=[], by=cast.checker)
    row = Swim.objects.get(pk=swim.pk)
    assert row.others_recorded_at is not None and row.recognised.count() == 0


def test_others_must_be_others_of_the_same_club(cast: Cast, swim: Swim) -> None:
    with pytest.raises(CheckRefused, match="not one of the others"):
        acts.record_others(swim=swim, swimmers=[swimmer(cast, "tomas")], by=cast.checker)
    with pytest.raises(PermissionDenied):
        acts.record_others(swim=swim, swimmers=[swimmer(cast, "other")], by=cast.checker)
    assert Swim.objects.get(pk=swim.pk).others_recorded_at is None


# --- passing on -----------------------------------------


def test_passing_shows_it_to_the_coach_and_not_yet_to_the_swimmer(cast: Cast, swim: Swim) -> None:
    looked_at(swim, cast.checker)
    clips = Clip.objects.filter(swim=swim)
    assert clips.visible_to(cast.coach).count() == 0
    passed, refused = pass_swims(swims=[swim], by=cast.checker)
    assert (len(passed), refused) == (1, [])
    assert clips.visible_to(cast.coach).count() == 3
    assert clips.visible_to(cast.tomas).count() == 0
    assert actions_noted(swim)[-1] == "swim.pass"
    assert OutboxMail.objects.count() == 0


def test_passing_twice_changes_nothing(cast: Cast, swim: Swim) -> None:
    looked_at(swim, cast.checker)
    pass_swims(swims=[swim], by=cast.checker)
    first = Swim.objects.get(pk=swim.pk).passed_at
    passed, _ = pass_swims(swims=[swim], by=cast.checker)
    assert len(passed) == 1 and Swim.objects.get(pk=swim.pk).passed_at == first
    assert actions_noted(swim).count("swim.pass") == 1


def test_passing_is_refused_until_person_and_others_are_recorded(cast: Cast, swim: Swim) -> None:
    told = kept(swim, cast.checker)
    assert "Nobody has confirmed who it is" in told
    assert "Nobody has recorded who else can be recognised" in told
    acts.confirm_person(swim=swim, by=cast.checker)
    told = kept(swim, cast.checker)
    assert "confirmed" not in told and "who else" in told


def test_passing_is_refused_while_somebody_recognised_does_not_agree(
    cast: Cast, swim: Swim
) -> None:
    looked_at(swim, cast.checker)
    acts.record_others(swim=swim, swimmers=[swimmer(cast, "sol")], by=cast.checker)
    assert "Sol Hagen can be recognised and does not agree" in kept(swim, cast.checker)
    Consent.objects.create(swimmer=swimmer(cast, "sol"), purpose="film-and-review")
    assert len(pass_swims(swims=[swim], by=cast.checker)[0]) == 1


def test_passing_is_refused_without_the_swimmers_consent(cast: Cast, swim: Swim) -> None:
    """Then the checker does not see it either."""
    looked_at(swim, cast.checker)
    row = Swim.objects.get(pk=swim.pk)
    assert reasons_not_to_pass(row, set()) == ("The swimmer does not agree to be filmed.",)
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    with pytest.raises(PermissionDenied):
        pass_swims(swims=[swim], by=cast.checker)


def test_passing_is_refused_for_what_nobody_could_look_at(cast: Cast, swim: Swim) -> None:
    looked_at(swim, cast.checker)
    Clip.objects.filter(pk=cast.clips["tomas"][0].pk).update(state="rendering")
    assert "1 clip is still being made" in kept(swim, cast.checker)
    Clip.objects.filter(swim=swim).update(state="failed")
    assert "no clip to look at" in kept(swim, cast.checker)


def test_a_clip_made_after_passing_waits_for_a_second_look(cast: Cast, swim: Swim) -> None:
    looked_at(swim, cast.checker)
    pass_swims(swims=[swim], by=cast.checker)
    late = make_clip(swim, cast.recordings["start-side"], 2)
    Clip.objects.filter(pk=late.pk).update(rendered_at=timezone.now())
    clips = Clip.objects.filter(swim=swim)
    assert clips.visible_to(cast.coach).count() == 3
    assert clips.handled_by(cast.checker).count() == 4
    assert len(pass_swims(swims=[swim], by=cast.checker)[0]) == 1
    assert clips.visible_to(cast.coach).count() == 4
    assert actions_noted(swim).count("swim.pass") == 2


def test_one_that_cannot_be_passed_does_not_hold_up_the_others(cast: Cast, swim: Swim) -> None:
    wren = looked_at(unchecked(cast.swims["wren"]), cast.checker)
    passed, refused = pass_swims(swims=[swim, wren], by=cast.checker)
    assert [one.pk for one in passed] == [wren.pk]
    assert [one.swim.pk for one in refused] == [swim.pk]


def test_one_look_is_all_or_nothing(cast: Cast, swim: Swim) -> None:
    with pytest.raises(CheckRefused):
        acts.look_at(
            swim=swim,
            by=cast.checker,
            seen="face",
            others=[swimmer(cast, "tomas")],
            pass_on=True,
        )
    assert Swim.objects.get(pk=swim.pk).person == "unconfirmed"
    assert acts.look_at(swim=swim, by=cast.checker, seen="number", others=[], pass_on=True) is None
    assert Swim.objects.get(pk=swim.pk).passed_at is not None
    assert verify_chain().broken_at is None


# --- somebody else's swim -----------------------------------------


def test_reassigning_takes_it_back_and_asks_anew(cast: Cast) -> None:
    swim, wren = cast.swims["tomas"], cast.swims["wren"].entry
    Recognised.objects.create(swim=swim, swimmer=swimmer(cast, "wren"))
    acts.reassign(swim=swim, entry=wren, by=cast.checker)
    row = Swim.objects.get(pk=swim.pk)
    assert (row.entry, row.go, row.person) == (wren, 2, "unconfirmed")
    assert row.others_recorded_at is None and row.recognised.count() == 0
    assert row.passed_at is None and row.given_at is None
    for user in (cast.tomas, cast.wren, cast.coach):
        assert not Swim.objects.filter(pk=swim.pk).visible_to(user).exists()
    assert Swim.objects.filter(pk=swim.pk).handled_by(cast.checker).exists()


def test_reassigning_to_somebody_who_does_not_agree_hides_it_from_all(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    acts.reassign(swim=swim, entry=cast.swims["sol"].entry, by=cast.checker)
    for user in cast.people().values():
        assert not Swim.objects.filter(pk=swim.pk).visible_to(user).exists()
        assert not Swim.objects.filter(pk=swim.pk).handled_by(user).exists()


def test_reassigning_stays_within_the_clinic(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        acts.reassign(swim=cast.swims["tomas"], entry=cast.swims["other"].entry, by=cast.checker)
    with pytest.raises(CheckRefused, match="already"):
        acts.reassign(swim=cast.swims["tomas"], entry=cast.swims["tomas"].entry, by=cast.checker)


def test_not_me_hides_at_once_and_tells_the_checker(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    acts.not_me(swim=swim, by=cast.tomas)
    row = Swim.objects.get(pk=swim.pk)
    assert (row.person, row.passed_at, row.given_at) == ("wrong", None, None)
    for name, user in cast.people().items():
        assert not Swim.objects.filter(pk=swim.pk).visible_to(user).exists(), name
        sees = Swim.objects.filter(pk=swim.pk).handled_by(user).exists()
        assert sees == (name == "checker"), name
    mail = OutboxMail.objects.get()
    assert mail.to == cast.checker.email
    assert f"/swims/{swim.pk}/check/" in mail.body
    assert "Tomas" not in mail.subject + mail.body
    noted = AuditEntry.objects.get(action="swim.not_me")
    assert FIRST_START.strftime("%Y-%m-%d %H:%M:%S") in noted.text.replace("T", " ")


@pytest.mark.parametrize("who", ["wren", "coach", "checker", "admin", "other_swimmer"])
def test_not_me_is_for_the_swimmer_only(cast: Cast, who: str) -> None:
    with pytest.raises(PermissionDenied):
        acts.not_me(swim=cast.swims["tomas"], by=getattr(cast, who))
    assert Swim.objects.get(pk=cast.swims["tomas"].pk).person == "confirmed"


def test_not_me_needs_a_swim_that_was_given(cast: Cast, swim: Swim) -> None:
    looked_at(swim, cast.checker)
    pass_swims(swims=[swim], by=cast.checker)
    with pytest.raises(PermissionDenied):
        acts.not_me(swim=swim, by=cast.tomas)


def test_after_not_me_the_checker_may_confirm_and_pass_anew(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    acts.not_me(swim=swim, by=cast.tomas)
    assert "this is not me" in kept(swim, cast.checker)
    acts.confirm_person(swim=swim, by=cast.checker, person_number=1)
    assert len(pass_swims(swims=[swim], by=cast.checker)[0]) == 1
    assert not Swim.objects.filter(pk=swim.pk).visible_to(cast.tomas).exists()  # to be given anew


# --- the clinic -----------------------------------------


def test_marking_checked_ends_what_crew_see(cast: Cast) -> None:
    takes = cast.recordings["start-side"].__class__.objects.all()
    assert takes.handled_by(cast.crew).count() == 2
    mark_checked(clinic=cast.clinic, by=cast.checker)
    mark_checked(clinic=cast.clinic, by=cast.checker)
    assert takes.handled_by(cast.crew).count() == 0
    assert takes.handled_by(cast.checker).count() == 2
    assert AuditEntry.objects.filter(action="clinic.checked").count() == 1


def test_closing_ends_what_checkers_see_and_keeps_what_was_given(cast: Cast) -> None:
    for user in (cast.checker, cast.coach, cast.other_admin, cast.tomas):
        with pytest.raises(PermissionDenied):
            close_clinic(clinic=cast.clinic, by=user)
    clinic = close_clinic(clinic=cast.clinic, by=cast.admin)
    assert clinic.state == "closed" and clinic.closed_at is not None
    original = cast.recordings["start-side"].files.get().stored
    assert original.delete_by == clinic.closed_at + dt.timedelta(days=30)
    assert cast.recordings["other"].files.get().stored.delete_by is None
    assert Swim.objects.all().handled_by(cast.checker).count() == 0
    assert Swim.objects.all().visible_to(cast.tomas).count() == 1
    assert Swim.objects.all().visible_to(cast.coach).count() == 2


def test_a_clinic_of_tomorrow_is_another_clinic(cast: Cast) -> None:
    """A checker's duty is for one clinic."""
    entry = make_entry(cast.other_clinic, "Bela Roan", 9, None, "")
    swim = make_swim(entry, FIRST_START + dt.timedelta(minutes=9))
    with pytest.raises(PermissionDenied):
        acts.confirm_person(swim=swim, by=cast.checker)
