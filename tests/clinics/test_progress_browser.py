"""The clinic's page tells by itself how far its clips are, on a laptop and on a phone."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from clinics.actions.cut import plan_cuts
from clinics.models import Clip, ClipFile
from tests.browser import fits, shot, signed_in, violations
from tests.cast import Cast
from tests.clinics.test_progress import make_one

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("size", [(1280, 860), (360, 740)], ids=["laptop", "phone"])
def test_progress_goes_on_by_itself_and_can_be_stopped(
    browser: Browser, live_server: Any, cast: Cast, size: tuple[int, int]
) -> None:
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    plan_cuts(clinic=cast.clinic)
    make_one(2.0)
    width, height = size
    context = signed_in(
        browser,
        cast.crew,
        live_server.url,
        viewport={"width": width, "height": height},
        locale="en-GB",
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(f"/clinics/{cast.clinic.pk}/")
    piece = page.locator("[data-progress]")
    expect(piece).to_contain_text("1 of 6 clips are made.")
    expect(piece).to_contain_text("left")
    make_one(2.0)
    expect(piece).to_contain_text("2 of 6 clips are made.")
    assert fits(page) and violations(page) == []
    shot(page, f"progress-{width}")
    page.get_by_role("button", name="Make no more for now").click()
    expect(piece).to_contain_text("Stopped. Cut again to make the rest.")
    expect(page.get_by_role("button", name="Make no more for now")).to_have_count(0)
    shot(page, f"progress-stopped-{width}")
    assert complaints == []
    context.close()
