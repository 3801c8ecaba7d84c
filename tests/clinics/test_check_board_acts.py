"""One tap on the board: person, nobody else, pass on, swap, undo; alone and with several rows."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.actions import board as acts
from clinics.models import BoardAct, Clip, DroppedSpan, LaneGroup, Recording, Swim
from tests.cast import FIRST_START, Cast, make_entry, make_swim, sign_in


@pytest.fixture
def checker(cast: Cast) -> Client:
    Swim.objects.filter(entry__clinic=cast.clinic).update(
        person="unconfirmed", others_recorded_at=None, passed_at=None, given_at=None
    )
    return sign_in(Client(), cast.checker)


def url(cast: Cast, name: str) -> str:
    return reverse(f"clinics:{name}", args=[cast.clinic.pk])


def swim(cast: Cast, name: str) -> Swim:
    return Swim.objects.get(pk=cast.swims[name].pk)


def text(answer: Any) -> str:
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def both(cast: Cast) -> list[str]:
    return [str(cast.swims[name].pk) for name in ("tomas", "wren")]


def tap(client: Client, cast: Cast, how: str, **more: Any) -> str:
    answer = client.post(url(cast, "check-confirm"), {"how": how, **more}, follow=True)
    return text(answer)


# --- person and others --------------------


def test_one_tap_acts_on_its_own_row_whatever_is_ticked(cast: Cast, checker: Client) -> None:
    tomas, wren = both(cast)
    answer = checker.post(url(cast, "check-confirm"), {"how": f"card:{tomas}", "swim": [wren]})
    assert answer["Location"].endswith(f"#swim-{tomas}")
    assert swim(cast, "tomas").number_seen == 1
    assert swim(cast, "wren").person == "unconfirmed"
    tap(checker, cast, f"face:{wren}")
    assert (swim(cast, "wren").person, swim(cast, "wren").number_seen) == ("confirmed", None)


def test_several_rows_at_once_are_one_act_that_can_be_undone(cast: Cast, checker: Client) -> None:
    page = tap(checker, cast, "card", swim=both(cast))
    assert "2 swims confirmed by their cards." in page
    tap(checker, cast, "nobody", swim=both(cast))
    assert all(swim(cast, name).others_recorded_at for name in ("tomas", "wren"))
    (last,) = BoardAct.objects.filter(kind="others")
    page = text(checker.post(url(cast, "check-undo"), {"act": str(last.pk)}, follow=True))
    assert "Undone: Nobody else in 2 swims." in page
    assert all(swim(cast, name).others_recorded_at is None for name in ("tomas", "wren"))
    assert all(swim(cast, name).person == "confirmed" for name in ("tomas", "wren"))


def test_nobody_else_does_not_wipe_out_names(cast: Cast, checker: Client) -> None:
    from clinics.actions import check

    other = cast.swims["wren"].entry.swimmer
    check.record_others(swim=swim(cast, "tomas"), swimmers=[other], by=cast.checker)
    tap(checker, cast, "nobody", swim=both(cast))
    assert swim(cast, "tomas").recognised.count() == 1
    assert swim(cast, "wren").others_recorded_at is not None
    page = tap(checker, cast, f"nobody:{cast.swims['tomas'].pk}")
    assert "Who else can be recognised is recorded already." in page


def test_undoing_is_refused_with_what_followed(cast: Cast, checker: Client) -> None:
    tap(checker, cast, "nobody", swim=both(cast))
    tap(checker, cast, "card", swim=both(cast))
    checker.post(url(cast, "check-pass"), {"which": "chosen", "swim": both(cast)})
    (first,) = BoardAct.objects.filter(kind="others")
    page = text(checker.post(url(cast, "check-undo"), {"act": str(first.pk)}, follow=True))
    assert "cannot be undone" in page and "passed on" in page
    assert swim(cast, "tomas").others_recorded_at is not None


@pytest.mark.parametrize("how", ["card", "card:", "card:nobody", "", "face:123"])
def test_without_a_row_nothing_happens(cast: Cast, checker: Client, how: str) -> None:
    assert "messages" in tap(checker, cast, how)
    assert not BoardAct.objects.exists()


def test_rows_of_another_clinic_or_hidden_are_not_chosen(cast: Cast, checker: Client) -> None:
    for name in ("other", "sol"):
        was = swim(cast, name).person
        tap(checker, cast, f"card:{cast.swims[name].pk}")
        assert swim(cast, name).person == was
    assert not BoardAct.objects.exists()


# --- passing on --------------------


def test_never_anything_that_is_not_confirmed(cast: Cast, checker: Client) -> None:
    tomas, wren = both(cast)
    tap(checker, cast, f"card:{tomas}")
    tap(checker, cast, f"nobody:{tomas}")
    answer = checker.post(
        url(cast, "check-pass"), {"which": "chosen", "swim": [tomas, wren]}, follow=True
    )
    page = text(answer)
    assert "1 swim passed to the coaches." in page
    assert "Wren Okada: Nobody has confirmed who it is." in page
    assert swim(cast, "tomas").passed_at and not swim(cast, "wren").passed_at
    page = text(checker.post(url(cast, "check-pass"), {"which": wren}, follow=True))
    assert "Nobody has confirmed who it is." in page and not swim(cast, "wren").passed_at


def test_one_lane_group_at_a_time(cast: Cast, checker: Client) -> None:
    second = LaneGroup.objects.create(clinic=cast.clinic, name="B", order=2)
    entry = cast.swims["wren"].entry
    entry.lane_group = second
    entry.save()
    for how in ("card", "nobody"):
        tap(checker, cast, how, swim=both(cast))
    page = text(checker.get(url(cast, "check")))
    assert "Pass lane group A: 1" in page and "Pass lane group B: 1" in page
    checker.post(url(cast, "check-pass"), {"which": f"group:{second.pk}"})
    assert swim(cast, "wren").passed_at and not swim(cast, "tomas").passed_at


# --- swap --------------------


def test_swapping_shows_both_first_and_mends_all_stations(cast: Cast, checker: Client) -> None:
    page = text(checker.get(url(cast, "check-swap"), {"swim": both(cast)}))
    assert "Swap Tomas Birk and Wren Okada?" in page and page.count("<img") == 6
    assert swim(cast, "tomas").entry.swimmer.name == "Tomas Birk"
    page = text(checker.post(url(cast, "check-swap"), {"swim": both(cast)}))
    assert "Swap Tomas Birk and Wren Okada?" in page  # the button of the bar asks, too
    checker.post(url(cast, "check-swap"), {"swim": both(cast), "sure": "1"})
    names = {swim(cast, name).entry.swimmer.name for name in ("tomas",)}
    assert names == {"Wren Okada"}
    whose = Clip.objects.filter(swim=cast.swims["tomas"]).values_list(
        "swim__entry__swimmer__name", flat=True
    )
    assert list(whose) == ["Wren Okada"] * 3
    page = text(checker.get(url(cast, "check-undo")))
    assert "Tomas Birk and Wren Okada swapped." in page


def test_the_rows_menu_leads_to_what_takes_more_than_a_tap(cast: Cast, checker: Client) -> None:
    page = text(checker.get(url(cast, "check")))
    swim_url = reverse("clinics:check-swim", args=[cast.swims["tomas"].pk])
    there = text(checker.get(swim_url))
    for place in ("whose", "others"):
        assert f'href="{swim_url}#{place}"' in page and f'id="{place}"' in there
    entry = cast.swims["tomas"].entry.pk
    assert f'href="{url(cast, "check-add-swim")}?entry={entry}"' in page
    first, second = both(cast)
    assert f'?swim={first}&amp;swim={second}"> Swap' in page.replace('">Swap', '"> Swap')


def test_one_row_or_three_are_not_swapped(cast: Cast, checker: Client) -> None:
    for chosen in ([], both(cast)[:1], [str(cast.swims["sol"].pk), both(cast)[0]]):
        answer = checker.post(url(cast, "check-swap"), {"swim": chosen, "sure": "1"}, follow=True)
        assert "Choose two rows to swap." in text(answer)


# --- what comes back to the script --------------------


def test_the_script_gets_only_the_rows_that_were_touched(cast: Cast, checker: Client) -> None:
    tomas, wren = both(cast)
    answer = checker.post(
        url(cast, "check-confirm"), {"how": f"card:{tomas}"}, headers={"X-Board": "rows"}
    )
    page = text(checker.get(answer["Location"]))
    assert f'id="swim-{tomas}"' in page and f'id="swim-{wren}"' not in page
    assert "Tomas Birk confirmed by the card." in page and 'id="board-head"' in page
    act = acts.last_act(cast.clinic, cast.checker)
    assert act is not None
    answer = checker.post(
        url(cast, "check-undo"), {"act": str(act.pk)}, headers={"X-Board": "rows"}
    )
    page = text(checker.get(answer["Location"]))
    assert f'id="swim-{tomas}"' in page and f'id="swim-{wren}"' in page


def test_the_list_of_acts_asks_as_often_for_40_as_for_2(cast: Cast, checker: Client) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert checker.get(url(cast, "check-undo")).status_code == 200
        return len(caught)

    for how in ("card", "face"):
        tap(checker, cast, how, swim=both(cast))
    asked()
    with_2 = asked()
    for n in range(38):
        tap(checker, cast, f"{('card', 'face')[n % 2]}:{both(cast)[0]}")
    assert BoardAct.objects.count() == 40
    assert asked() == with_2


# --- why a swim needs a look, and why there is no picture --------------------


def test_two_swims_of_one_start_say_so_and_come_first(cast: Cast, checker: Client) -> None:
    entry = make_entry(cast.clinic, "Ada Quill", 11, None, "")
    make_swim(entry, cast.swims["wren"].start_at + dt.timedelta(seconds=0.7))
    page = text(checker.get(url(cast, "check")))
    assert "The same start as Wren Okada? Only 0.7 s between the two." in page
    assert "The same start as Ada Quill?" in page
    names = [part.split("<")[0] for part in page.split('class="row-name">')[1:]]
    assert names == ["Ada Quill", "Wren Okada", "Tomas Birk"]  # she has no picture at all


def test_an_odd_swim_is_not_passed_with_all_the_others(cast: Cast, checker: Client) -> None:
    for how in ("card", "nobody"):
        tap(checker, cast, how, swim=both(cast))
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(number_seen=7)  # the roster changed
    page = text(checker.get(url(cast, "check")))
    assert "The card was read as 7, and Tomas Birk has number 1." in page
    assert "Pass 1 swim to the coaches" in page


def without_clip(cast: Cast) -> None:
    clip = cast.clips["tomas"][2]  # under water, on the way back
    clip.files.all().delete()
    clip.delete()


def test_why_there_is_no_picture(cast: Cast, checker: Client) -> None:
    without_clip(cast)
    take = cast.recordings["underwater"]
    board = url(cast, "check")
    assert "not cut yet" in text(checker.get(board))
    expected_s = 37.5 / 100 * 90 + 20  # of the recording, which began 20 s before the first start
    span = DroppedSpan.objects.create(
        recording=take,
        from_ticks=int((expected_s - 5) * 90_000),
        to_ticks=int((expected_s + 5) * 90_000),
    )
    assert "somebody swam then who did not agree" in text(checker.get(board))
    span.delete()
    fit = take.clock_fit
    fit.zero_at = FIRST_START - dt.timedelta(hours=1)
    fit.save()
    assert "the camera did not run" in text(checker.get(board))
    fit.zero_at, fit.u_ms, fit.state = None, None, "not-found"
    fit.save()
    assert "the camera&#x27;s clock is not found" in text(checker.get(board))
    Recording.objects.filter(pk=take.pk).update(state="indexing")
    assert "a recording is still being read" in text(checker.get(board))


def test_the_card_can_be_looked_at_where_the_start_camera_ran(cast: Cast, checker: Client) -> None:
    page = text(checker.get(url(cast, "check")))
    card = reverse("clinics:check-card", args=[cast.swims["tomas"].pk])
    assert f'href="{card}?before=4"' in page
    fit = cast.recordings["start-side"].clock_fit
    fit.zero_at = FIRST_START - dt.timedelta(seconds=2)  # it began after the card was shown
    fit.save()
    assert f'href="{card}' not in text(checker.get(url(cast, "check")))
