"""Live progress in a real browser, at both widths, without and with a job's end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from portal.actions.jobs import enqueue
from portal.models import Job
from portal.registry import JobKind, job_kinds
from tests.browser import fits, signed_in, violations
from tests.cast import Cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def job(cast: Cast) -> Iterator[Job]:
    job_kinds.register(
        JobKind(
            name="test-live",
            queue="render",
            label="Making clips",
            run=lambda job, pulse: None,
            visible_to=lambda jobs, user: jobs,
        )
    )
    yield enqueue(kind="test-live", subject=cast.clinic, asked_by=cast.coach)
    job_kinds._items.pop("test-live")


@pytest.fixture(params=[360, 1280])
def page(
    request: pytest.FixtureRequest,
    browser: Browser,
    job: Job,
    cast: Cast,
    live_server: Any,
    settings: Any,
) -> Iterator[Page]:
    """The coach's page of jobs; at its end the console must hold no complaint (CSP's too)."""
    settings.ROOT_URLCONF = "tests.portal.job_page"
    settings.SECOND_FACTOR_REQUIRED = False
    said: list[str] = []
    size = {"width": request.param, "height": 800}
    with signed_in(browser, cast.coach, live_server.url, viewport=size) as context:
        opened = context.new_page()
        opened.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
        opened.on("pageerror", lambda error: said.append(str(error)))
        opened.goto("/test-jobs/")
        yield opened
    assert said == []


def test_progress_words_cancel_and_retry_are_live(page: Page, job: Job) -> None:
    words, bar = page.locator("[data-job-words]"), page.locator("progress")
    rows = Job.objects.filter(pk=job.pk)
    expect(words).to_have_text("Waiting")
    rows.update(state="running", progress=0.4, seconds_left=130, lease_until=timezone.now())
    expect(words).to_have_text("40 %, about 2 minutes left")
    assert bar.evaluate("bar => bar.value") == pytest.approx(0.4)
    assert fits(page)
    button = page.get_by_role("button", name="Cancel")
    assert button.bounding_box()["height"] >= 44  # type: ignore[index]
    button.click()
    expect(words).to_have_text("Stopping")
    expect(button).to_be_hidden()
    rows.update(state="cancelled")
    expect(words).to_have_text("Cancelled")
    expect(bar).to_be_hidden()
    page.get_by_role("button", name="Try again").press("Enter")
    expect(words).to_have_text("Waiting")
    expect(button).to_be_visible()
    assert violations(page) == []


def test_end_is_told_to_the_page(page: Page, job: Job) -> None:
    page.evaluate("document.addEventListener('job:ended', e => { window.ended = e.detail.state; })")
    Job.objects.filter(pk=job.pk).update(state="failed", reason="00012.MTS has no video in it.")
    expect(page.locator("[data-job-words]")).to_have_text("Failed: 00012.MTS has no video in it.")
    expect(page.get_by_role("button", name="Try again")).to_be_visible()
    assert page.evaluate("window.ended") == "failed"
