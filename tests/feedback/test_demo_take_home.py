"""The demo's coach gives pages of the swims that have words, once."""

from __future__ import annotations

from feedback.management.demo_take_home import give_demo_pages
from feedback.models import TakeHome
from portal.models import AuditEntry
from tests.cast import Cast
from tests.feedback.said import drawing
from tests.feedback.taken_home import said_and_marked


def test_pages_of_swims_with_words_are_given_once_with_stills_of_what_was_drawn(
    cast: Cast,
) -> None:
    swim = said_and_marked(cast)
    drawing(swim, cast.coach, cast.recordings["start-side"])
    assert give_demo_pages(clinic=cast.clinic, by=cast.coach) == 1
    page = TakeHome.objects.get()
    assert page.swim == swim and page.given is not None and page.sent is not None
    assert len(page.given["measures"]) == 8 and len(page.given["stills"]) == 1
    noted = AuditEntry.objects.count()
    assert give_demo_pages(clinic=cast.clinic, by=cast.coach) == 0
    assert AuditEntry.objects.count() == noted
