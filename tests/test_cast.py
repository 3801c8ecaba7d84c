"""The cast itself is as told, before anything is tested with it."""

from __future__ import annotations

import os

from django.conf import settings

from clinics.models import Clip, Recording
from tests.cast import Cast


def test_tests_use_a_data_folder_of_their_own(cast: Cast) -> None:
    table = cast.recordings["start-side"].frame_table.local_path()
    assert table.is_relative_to(os.environ["SIDELANE_DATA"])
    assert not table.is_relative_to(settings.BASE_DIR)


def test_swimmer_and_coach_see_the_swim_and_the_other_club_does_not(cast: Cast) -> None:
    tomas = Clip.objects.filter(swim=cast.swims["tomas"])
    assert tomas.visible_to(cast.tomas).count() == 3
    assert tomas.visible_to(cast.coach).count() == 3
    for stranger in (cast.wren, cast.other_coach, cast.other_admin, cast.admin, cast.crew):
        assert tomas.visible_to(stranger).count() == 0
    assert Recording.objects.all().handled_by(cast.checker).count() == 2
