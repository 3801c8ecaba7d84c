"""What the demo shows on."""

from __future__ import annotations

from clinics.models import Clip, Share, ShelfClip
from feedback.management.demo_showing import show_on_in_demo
from tests import showing
from tests.cast import Cast


def test_the_demo_puts_a_clip_up_and_makes_a_link_once(cast: Cast) -> None:
    showing.tag(cast, cast.clips["wren"][0], "tomas")
    showing.agree(cast, "wren", "coach-education")
    for _twice in range(2):
        show_on_in_demo(cast.clinic, coach=cast.coach)
    put, share = ShelfClip.objects.get(), Share.objects.get()
    assert put.clip == cast.clips["wren"][1]  # Tomas is in the first, and was not asked
    assert Clip.objects.on_shelf_for(cast.other_coach).get() == put.clip
    assert share.swim == cast.swims["tomas"] and share.note == "My sister"
